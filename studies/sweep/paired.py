"""Plucked notes of rim builds on the same draws: ratios note by note, one median a draw."""

from dataclasses import dataclass

import numpy as np

from studies.common.draws import PairedSummary, paired_summary
from studies.sweep.numbers import five


@dataclass(frozen=True)
class PairedNotes:
    """A build against the first one, held one way; draw i of both from the same boards."""

    rim: str
    how: str
    decay: PairedSummary  # ratios of T60
    early: PairedSummary  # ratios of the early decay time
    heat: tuple[float, ...]  # points of the pluck's energy turned to heat in the rim: as night_numbers.Paired.heat
    radiated: tuple[float, ...]  # per cent more energy radiated, the same five


def paired_notes(variants, keys, store, seed=0):
    """[PairedNotes] of every other build against the first, in each way to hold it; builds without two draws and a note
    in common are left out.
    """
    number = {keys[v.number]: v for v in variants}
    found, rims = {}, list(dict.fromkeys(v.rim for v in variants))
    for key, notes in store.notes(keys.values()):
        found[number[key].rim, number[key].sample] = notes
    pairs = []
    for rim in rims[1:]:
        common = sorted({s for r, s in found if r == rim} & {s for r, s in found if r == rims[0]})
        if len(common) < 2:
            continue
        new, old = ([found[r, s] for s in common] for r in (rim, rims[0]))
        for h, how in enumerate(new[0].holdings):
            made = _against(rim, how, *({n: _stacked(side, n, h) for n in WANTED} for side in (new, old)), seed)
            pairs += [made] if made else []
    return pairs


WANTED = ("decay_time", "early_decay_time", "rim_heat", "radiated", "energy")


def _stacked(notes, name, h):
    """(draws, notes)."""
    return np.array([getattr(n, name)[h] for n in notes])


def _against(rim, how, new, old, seed):
    try:
        ratios = [paired_summary(new[name], old[name], seed=seed) for name in ("decay_time", "early_decay_time")]
    except ValueError:
        return None
    middle = lambda values: np.array([np.median(row[np.isfinite(row)]) for row in values if np.isfinite(row).any()])
    heat = middle(100 * (new["rim_heat"] - old["rim_heat"]))
    louder = middle(100 * (new["radiated"] * new["energy"] / (old["radiated"] * old["energy"]) - 1))
    return PairedNotes(rim, how, *ratios, five(heat, seed), five(louder, seed))
