"""Paired draws of the wood over rim builds: what becomes of a dozen plucked notes, other boards in every draw.

`scatter` is a whole sweep in one call: a reduced basis with air, radiation and strings, every draw of the wood in every
rim build, rows in a store so that a broken run goes on where it stopped.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fem.strings import Pluck, String
from meshes.supports import FREE, LAP
from studies.common.inputs import writable_folder
from studies.sweep.log import Log
from studies.sweep.notes import spread
from studies.sweep.plan import Sweep, checked_plan, sweep_of
from studies.sweep.solve import run
from studies.sweep.store import Store
from studies.sweep.words import observed

BOARDS = (("top",), ("back", "sides"), ("top_braces", "back_braces"))  # from one plank each


@dataclass(frozen=True)
class WoodDraws:
    """What is drawn, and how exactly each draw is computed."""

    builds: tuple[str, ...]  # of the rim, the reference first
    draws: int
    holdings: tuple[str, ...] = (FREE, LAP)
    notes: int = 12  # spread over strings and frets
    strings: tuple[String, ...] | None = None  # None: the sheet's
    pluck: Pluck | None = None  # None: the sheet's
    modes: int = 40  # elastic ones of the dry structure; the validity limit follows
    mesh_size_mm: float = 25.0
    cells: int = 24  # of each lining and joint, to which its dependence on the woods is fitted; 1: it is left out
    estimate: float = 0.03  # of the error at which a row is solved in full instead
    checks: int = 2  # rows solved again in full, whose errors are told


@dataclass(frozen=True)
class ScatteredNotes:
    """Notes of paired draws: draw i of every build is made from the same boards.

    Arrays (draws, builds, holdings, notes), nan where a note is not valid: its fundamental lies above what the modes answer
    for. Two builds go into studies.common.draws: paired_summary(decay_time[:, 1, h], decay_time[:, 0, h]).
    """

    builds: tuple[str, ...]  # the reference first
    holdings: tuple[str, ...]  # of 'hung free', 'on the lap'
    decay_time: np.ndarray  # T60 of the energy [s]
    early_decay_time: np.ndarray  # 6 x the first 10 dB of the energy still to be radiated [s]
    first_radiated: np.ndarray  # J radiated in the first half second
    words: tuple[str, ...]  # what was done and the observed error, in plain sentences


def scatter(sheet: Path, asked: WoodDraws, out: Path, log: Log, kept: Path | None = None) -> ScatteredNotes:
    """Notes of a sheet (path of a TOML file) with other boards of the same woods, by the reduced model, in this process.

    out: folder of the store: the same call again goes on where it stopped and computes no row twice; kept: as for
    `run`. BadInput or SheetError for anything the user has to mend; KeyboardInterrupt after a clean stop.
    """
    sweep = sweep_of_draws(Path(sheet), asked)
    folder = writable_folder(out)
    with Store(folder) as store:
        return scattered_notes(sweep, run(sweep, store, folder, workers=1, log=log, kept=kept), store)


def sweep_of_draws(sheet: Path, asked: WoodDraws) -> Sweep:
    """Sweep of paired draws of the wood over rim builds. SheetError with what is wrong in what was asked for."""
    count = asked.draws * len(asked.builds)
    tables = {
        "name": "Wood scatter",
        "sheet": sheet.name,
        "mesh_size_mm": asked.mesh_size_mm,
        "modes": asked.modes,
        "outputs": ["frequencies", "sustain"],
        "design": {"kind": "random", "samples": asked.draws},
        "rim": {"builds": list(asked.builds)},
        "scatter": [{"name": " and ".join(b).replace("_", " "), "boards": list(b)} for b in BOARDS],
        "accuracy": {
            "full_share": 1.0,
            "cells": asked.cells,
            "estimate": asked.estimate,
            "check_percent": min(100.0, 100 * asked.checks / count),
            "check_most": max(asked.checks, 1),
        },
        "sustain": {"held": list(asked.holdings), "notes": asked.notes},
    }
    sweep = sweep_of(checked_plan(tables, "wood scatter"), sheet, sheet)
    if asked.strings is not None:
        sweep = replace(sweep, strings=asked.strings, notes_at=spread(asked.notes, len(asked.strings)))
    return sweep if asked.pluck is None else replace(sweep, pluck=asked.pluck)


def scattered_notes(sweep: Sweep, keys: dict[int, str], store: Store) -> ScatteredNotes:
    """Notes of the rows of a sweep of paired draws, and words on them."""
    plan = sweep.plan
    builds, held = tuple(plan.rim.builds), tuple(plan.sustain.held)
    rows = [notes for _, notes in store.notes(keys.values())]
    decay, early, first = (
        np.array([getattr(notes, name) for notes in rows]).reshape(plan.design.samples, len(builds), len(held), -1)
        for name in ("decay_time", "early_decay_time", "first_radiated")
    )
    words = (
        f"Wood scatter: {plan.design.samples} draws of the boards in {len(builds)} builds of the rim, {len(sweep.notes_at)} notes "
        f"each, on a mesh of {plan.mesh_size_mm:g} mm with {plan.modes} modes"
    )
    kept = "; joints and kerfed linings keep the stiffness that the sheet's own boards give them"
    words += f"{kept if plan.accuracy.cells == 1 else ''}."
    return ScatteredNotes(builds, held, decay, early, first, (words, observed(store, keys)))
