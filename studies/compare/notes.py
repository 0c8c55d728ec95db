"""A few notes of every sheet beside those of the first: level, early and late decay, with the doubts that need no further solving."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.body_modes import BodyModes
from fem.strings import String
from meshes.sheet_strings import strung
from studies.common.draws import log_ratios
from studies.common.inputs import within
from studies.common.mesh_error import mesh_error
from studies.common.progress import Progress
from studies.compare.result import Figure, Noted, Solved
from studies.rim.result import SUPPORT_CONDITIONS
from studies.sustain import fretboards as boards
from studies.sustain.doubts import range_uncertainty
from studies.sustain.fretboards import JUDGED, PLUCKED, Playing
from studies.sustain.result import MESH, PLUCK, RIM_LOSSES, STRING_LOSSES, UNEXPLAINED, Judged
from studies.sustain.thresholds import MEASURES, Measure
from studies.sustain.verdict import judged

MOST_FRETS = 12
NOTES = "notes"
Few = np.ndarray  # (measures, notes), nan where a note is not answered for


def note_sheets(sheets: Sequence[Solved], frets: int, store: Path, progress: Progress | None = None) -> Noted:
    """Noted of sheets: every string at every fifth fret up to `frets`. Each has its own strings and pluck."""
    within("--frets", frets, 0, MOST_FRETS)
    progress = progress or Progress(len(sheets) * len(SUPPORT_CONDITIONS))
    of = [strung(s.body, None) for s in sheets]
    strings = min(len(one.strings.strings) for one in of)
    playing = [Playing.of(one, frets, store) for one in of]
    places = tuple(place for place in playing[0].few if place[0] < strings)
    playing = [replace(p, few=places) for p in playing]
    found: dict[str, list[dict[str, list[Few]]]] = {}
    for how in SUPPORT_CONDITIONS:
        for s, p in zip(sheets, playing):
            progress.say(f"{s.name}, {how}: a few notes")
            found.setdefault(how, []).append(_played(p, s, how, sheets[0].most))
            progress.step()
    progress.close("played")
    beside = []
    for k in range(1, len(sheets)):
        beside.append(
            {
                (how, m.key): _judged(found[how][0], found[how][k], row, m)
                for how in SUPPORT_CONDITIONS
                for row, m in enumerate(MEASURES)
            }
        )
    figures = [_median(found[how], m, row, how) for how in SUPPORT_CONDITIONS for row, m in enumerate(MEASURES)]
    assumed = tuple(dict.fromkeys(a for p in playing for a in p.assumed))
    return Noted(
        places, tuple(figures), tuple(beside), tuple(o.strings for o in of), tuple(o.pluck for o in of), assumed
    )


def _played(playing: Playing, sheet: Solved, how: str, most: dict[str, float]) -> dict[str, list[Few]]:
    """{doubt: [figures of the few notes at its ends]}; MESH: in the three spaces, as given first."""
    held, own = sheet.held[how], playing.strings
    body = held.bodies[0]

    def few(body: BodyModes, strings: Sequence[String] | None = None, angle: float | None = None) -> Few:
        return boards.few_notes(playing, body, strings, angle)

    found = {MESH: [few(one) for one in held.bodies]}
    if own.loss_uncertain:
        found[STRING_LOSSES] = [few(body, strings=own.least_loss), few(body, strings=own.most_loss)]
    found[RIM_LOSSES] = [few(end) for end in boards.rim_range(sheet.body, body)]
    losses = {place: most[place] * unit for place, unit in held.unexplained.items()}
    found[UNEXPLAINED] = [few(more) for more in boards.with_each_unexplained(body, losses).values()]
    found[PLUCK] = [few(body, angle=angle) for angle in PLUCKED]
    return found


def _judged(own: dict[str, list[Few]], other: dict[str, list[Few]], row: int, measure: Measure) -> Judged:
    """Judged of the median ratio of one measure, other over own. Each sheet's mesh errs by itself: both errors joined.

    A sheet with the same notes in all three spaces is the same guitar, and errs as it does.
    """
    logs = lambda a, b: log_ratios(b[row], a[row])
    given = logs(own[MESH][0], other[MESH][0])
    ratio = float(np.exp(np.nanmedian(given)))
    mine, its = (_mesh_error_of([np.log(f[row]) for f in of[MESH]]) for of in (own, other))
    twins = all(np.array_equal(a[row], b[row], equal_nan=True) for a, b in zip(own[MESH], other[MESH]))
    off = 0.0 if twins else float(np.hypot(mine, its))
    doubts = {MESH: (ratio * np.exp(-off), ratio * np.exp(off))}
    for name in own:
        if name != MESH and name in other:
            ends = [float(np.exp(np.nanmedian(logs(a, b)))) for a, b in zip(own[name], other[name])]
            doubts[name] = range_uncertainty(ratio, ratio, ends)
    return judged(ratio, doubts, measure.key)


def _mesh_error_of(logs: Sequence[np.ndarray]) -> float:
    """Mesh error of the median over notes (n,) of logarithms in three spaces, over those that all answer for."""
    known = np.isfinite(logs).all(axis=0)
    return mesh_error(*(float(np.median(one[known])) for one in logs)) if known.any() else float("nan")


def _median(found: Sequence[dict[str, list[Few]]], measure: Measure, row: int, how: str) -> Figure:
    """Figure of the median over the notes that every sheet answers for: seconds, or dB over the first sheet's."""
    rows = [[np.log(f[row]) for f in of[MESH]] for of in found]
    known = np.isfinite([logs[0] for logs in rows]).all(axis=0)
    middle = [float(np.median(logs[0][known])) if known.any() else float("nan") for logs in rows]
    errors = [_mesh_error_of(logs) for logs in rows]
    if measure.decibel:
        told = [10 / np.log(10) * (m - middle[0]) for m in middle]
        off, unit, digits = [10 / np.log(10) * e for e in errors], "dB", 1
    else:
        told = [float(np.exp(m)) for m in middle]
        off, unit, digits = [t * float(np.expm1(e)) for t, e in zip(told, errors)], "s", 2
    safe = lambda values: tuple(float(v) if np.isfinite(v) else None for v in values)
    return Figure(NOTES, JUDGED[row], measure.words, unit, digits, safe(told), safe(off), how)
