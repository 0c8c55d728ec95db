"""Sustain in a night: what becomes of a dozen plucked notes in every variant, and paired draws of wood over rim builds.

`scatter` is the whole night machinery in one call: a reduced basis with air, radiation and strings, every draw of the wood
in every rim build, rows in a store so that a broken run goes on where it stopped.
"""

import io
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from meshes.holding import FREE, LAP
from meshes.sheet_errors import SheetError, from_pydantic
from studies.common.inputs import writable_folder
from studies.sweep.errors import observed
from studies.sweep.fields import Plan
from studies.sweep.log import Log
from studies.sweep.notes import spread
from studies.sweep.plan import night_of
from studies.sweep.question import run
from studies.sweep.rows import ARRAYS
from studies.sweep.store import Store

BOARDS = (("top",), ("back", "sides"), ("top_braces", "back_braces"))  # from one plank each


@dataclass(frozen=True)
class Scatter:
    """Notes of paired draws: draw i of every build is made from the same boards.

    Arrays (draws, builds, holdings, notes) unless said otherwise; nan where a note is not valid (its fundamental lies above
    `valid_to`). Feed two builds to studies.paired: paired_summary(decay_time[:, 1, h], decay_time[:, 0, h]).
    """

    builds: tuple[str, ...]  # names as in studies.rim_builds, the reference first
    holdings: tuple[str, ...]  # of 'hung free', 'on the lap'
    notes: tuple[tuple[int, int], ...]  # (string, fret)
    frequency: np.ndarray  # (notes,) Hz of the fundamental on ends that do not move
    valid_to: np.ndarray  # (draws, builds) Hz
    decay_time: np.ndarray  # T60 of the energy [s]
    early_decay_time: np.ndarray  # 6 x the first 10 dB [s]
    no_rim_loss: np.ndarray  # T60 [s] with no loss in the rim, all else equal
    rim_heat: np.ndarray  # share of the pluck's energy turned to heat in the rim
    radiated: np.ndarray  # share of the pluck's energy radiated
    energy: np.ndarray  # J of the pluck in the valid partials; radiated energy = radiated * energy
    sound_decay_time: np.ndarray  # T60 of the energy still to be radiated [s]
    body_g: np.ndarray  # (draws, builds) g
    rim_g: np.ndarray  # (draws, builds) g of the rim
    checks: tuple  # of store.Check: rows solved again in full, errors of frequency, shares and sustain
    words: tuple[str, ...]  # what was done and the observed error, in plain sentences


def scatter(
    sheet, builds=("sheet", "solid_laminated", "doubled_sides"), draws=50, *, holdings=(FREE, LAP), strings=None, notes=12,
    places=None, modes=40, mesh_size_mm=25.0, boards=None, seed=1, checks=2, pluck=None, cells=24, estimate=0.03, out=None,
    workers=1, log=None,
):  # fmt: skip
    """Scatter of a sheet (path of a TOML file): paired draws of the wood over rim builds, by the reduced model.

    strings: tuple of fem.strings.String, the name of a set of strings, or None for the sheet's. notes: how many, spread over
    strings and frets; places: ((string, fret), ...) instead. modes: elastic modes of the dry structure, the validity limit
    follows. boards: ((board, ...), ...) cut from one plank each, correlated with 1; None: top | back and sides | braces.
    pluck: fem.strings.Pluck, or None for the sheet's. cells: of each lining and joint, to which its dependence on the woods is
    fitted (at least as many as a linear fit needs; 1: it is left out). estimate: the error at which a row is solved in full instead. checks: rows solved again in full, whose errors come back. out: folder
    of the store (kept: the same call again goes on where it stopped and computes no row twice); None: a temporary folder,
    nothing is kept. workers: processes; log: a night_log.Log, or None for silence. BadInput or SheetError for anything the
    user has to mend; KeyboardInterrupt after a clean stop.
    """
    kept = tempfile.TemporaryDirectory() if out is None else None
    try:
        folder = writable_folder(kept.name if kept else out)
        night = night_of_draws(
            Path(sheet), builds, draws, holdings, strings, notes, places, modes, mesh_size_mm, boards, seed, checks, pluck, cells,
            estimate,
        )  # fmt: skip
        with Store(folder) as store:
            keys = run(night, store, folder, workers, None, log or Log(out=io.StringIO()))
            return gathered(night, keys, store)
    finally:
        if kept:
            kept.cleanup()


def night_of_draws(
    sheet, builds, draws, holdings=(FREE, LAP), strings=None, notes=12, places=None, modes=40, mesh_size_mm=25.0,
    boards=None, seed=1, checks=2, pluck=None, cells=24, estimate=0.03,
):  # fmt: skip
    """Night of paired draws of the wood over rim builds; arguments as for `scatter`."""
    count = draws * len(builds)
    tables = {
        "name": "Wood scatter", "sheet": sheet.name, "seed": seed, "mesh_size_mm": mesh_size_mm, "modes": modes,
        "outputs": ["frequencies", "sustain"], "design": {"kind": "random", "samples": draws}, "rim": {"builds": list(builds)},
        "scatter": [{"name": " and ".join(b).replace("_", " "), "boards": list(b)} for b in boards or BOARDS],
        "accuracy": {"full_share": 1.0, "cells": cells, "estimate": estimate, "check_percent": min(100.0, 100 * checks / count), "check_most": max(checks, 1)},
        "sustain": {"held": list(holdings), "notes": notes} | ({"strings": strings} if isinstance(strings, str) else {}),
    }  # fmt: skip
    try:
        plan = Plan.model_validate(tables)
    except ValidationError as error:
        schema = Plan.model_json_schema(by_alias=True)
        raise SheetError(from_pydantic(error.errors(), "wood scatter", tables, set(), schema)) from None
    night = night_of(plan, sheet, sheet)
    given = {} if strings is None or isinstance(strings, str) else {"strings": tuple(strings)}
    if given and places is None:
        given["notes_at"] = spread(notes, len(strings))
    if places is not None:
        given["notes_at"] = tuple(map(tuple, places))
    return replace(night, **given, **({} if pluck is None else {"pluck": pluck}))


def gathered(night, keys, store):
    """Scatter of the rows of a night of paired draws."""
    builds, plan = tuple(night.plan.rim.builds), night.plan
    shape = (plan.design.samples, len(builds))
    found = [notes for _, notes in store.notes(keys.values())]
    stack = lambda name: np.array([getattr(n, name) for n in found]).reshape(*shape, len(plan.sustain.held), -1)
    summary = [values for *_, values in store.summaries(keys.values())]
    grams = lambda name: np.array([values[name] for values in summary]).reshape(shape)
    checks = store.checks()
    return Scatter(
        builds, tuple(plan.sustain.held), found[0].places, found[0].frequency,
        np.array([n.valid_to for n in found]).reshape(shape), *(stack(name) for name in ARRAYS), grams("body_g"),
        grams("rim_g"), tuple(checks[k] for k in keys.values() if k in checks),
        (told(plan, shape, len(found[0].places)), observed(store, keys)),
    )  # fmt: skip


def told(plan, shape, notes):
    """What was drawn, in words; shape: (draws, builds)."""
    return (
        f"Wood scatter: {shape[0]} draws of the boards in {shape[1]} builds of the rim, {notes} notes each, on a mesh of "
        f"{plan.mesh_size_mm:g} mm with {plan.modes} modes"
        + (
            "; joints and kerfed linings keep the stiffness that the sheet's own boards give them."
            if plan.accuracy.cells == 1
            else "."
        )
    )
