"""Rim builds on the same draws: the dry box after a tap, and plucked notes, ratios note by note with one median a draw."""

from dataclasses import dataclass

import numpy as np

from studies.common.draws import PairedSummary, paired_summary
from studies.sweep.design import Variant
from studies.sweep.numbers import SweepTable, five
from studies.sweep.result import Notes
from studies.sweep.store import Store

COMPARED = ("decay_time", "early_decay_time", "rim_dissipated", "radiated", "energy")


@dataclass(frozen=True)
class PairedBuild:
    """A build against the first one, on the same draws; all but the grams in per cent or points."""

    rim: str
    draws: int
    dissipated: tuple[float, ...]  # points of heat in the rim: median, its 95 % interval, 5 and 95 % of the draws
    decay: tuple[float, ...]  # per cent longer ringing (mean loss factor), the same five
    grams: tuple[float, ...]


@dataclass(frozen=True)
class PairedNotes:
    """A build against the first one, held one way; draw i of both from the same boards."""

    rim: str
    how: str
    decay: PairedSummary  # ratios of T60
    early: PairedSummary  # ratios of the early decay time
    dissipated: tuple[float, ...]  # points of the pluck's energy turned to heat in the rim: five as in PairedBuild
    radiated: tuple[float, ...]  # per cent more energy radiated, the same five


def paired_builds(table: SweepTable) -> list[PairedBuild]:
    """Every other build against the first; builds with fewer than two samples in common are left out."""
    builds = list(dict.fromkeys(table.rim))
    base = {s: i for i, s in enumerate(table.sample) if table.rim[i] == builds[0]}
    rows = []
    for rim in builds[1:]:
        pairs = np.array([(i, base[s]) for i, s in enumerate(table.sample) if table.rim[i] == rim and s in base])
        if len(pairs) >= 2:
            new, old = pairs.T
            share, loss, grams = (table.outputs[name] for name in ("heat_in_rim", "mean_loss_factor", "rim_g"))
            values = 100 * (share[new] - share[old]), 100 * (loss[old] / loss[new] - 1), grams[new] - grams[old]
            rows.append(PairedBuild(rim, len(pairs), *map(five, values)))
    return rows


def paired_notes(variants: list[Variant], keys: dict[int, str], store: Store) -> list[PairedNotes]:
    """Every other build against the first, in each way to hold it; builds without two draws and a note in common are left
    out.
    """
    of_key = {keys[v.number]: v for v in variants}
    notes: dict[str, dict[int, Notes]] = {v.rim: {} for v in variants}
    for key, of_row in store.notes(keys.values()):
        notes[of_key[key].rim][of_key[key].sample] = of_row
    reference, *others = notes
    pairs = []
    for rim in others:
        common = sorted(notes[rim].keys() & notes[reference].keys())
        if len(common) >= 2:
            new, old = ([notes[r][s] for s in common] for r in (rim, reference))
            for h, how in enumerate(new[0].holdings):
                pairs += _against(rim, how, _stacked(new, h), _stacked(old, h))
    return pairs


def _stacked(notes, h):
    """{name of COMPARED: (draws, notes)} held one way."""
    return {name: np.array([getattr(n, name)[h] for n in notes]) for name in COMPARED}


def _against(rim, how, new, old):
    try:
        ratios = [paired_summary(new[name], old[name], seed=0) for name in ("decay_time", "early_decay_time")]
    except ValueError:
        return []
    middle = lambda values: np.array([np.median(row[np.isfinite(row)]) for row in values if np.isfinite(row).any()])
    points = middle(100 * (new["rim_dissipated"] - old["rim_dissipated"]))
    louder = middle(100 * (new["radiated"] * new["energy"] / (old["radiated"] * old["energy"]) - 1))
    return [PairedNotes(rim, how, *ratios, five(points), five(louder))]
