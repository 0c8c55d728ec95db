"""The same two builds with losses and pluck as their doubts allow: which of these pairs sounds most alike, which most apart."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.body_modes import BodyModes
from meshes.sheet_strings import Strung
from studies.common.draws import log_ratios
from studies.common.inputs import BadInput
from studies.notes.listen import GIVEN, SMALLEST, Heard, Pair, as_given
from studies.sustain import fretboards as boards
from studies.sustain.fretboards import Playing
from studies.sustain.result import PLUCK, RIM_LOSSES, STRING_LOSSES, UNEXPLAINED
from studies.sustain.thresholds import LIMITS


def chosen(pair: str, heard: Sequence[Heard], strung: Strung, places: Sequence[tuple[int, int]], store: Path) -> Pair:
    """Pair of two builds, `pair` one of listen.PAIRS: as given, or of all that the doubts allow the smallest or largest difference.

    By the notes at the places (string, fret), see `thresholds_apart`. BadInput where none of them can be answered for.
    """
    if pair == GIVEN:
        return as_given(pair, heard, strung, places, store)
    rows = allowed(heard, strung)
    playing = Playing(strung.strings, strung.pluck, (), max(fret for _, fret in places), store, tuple(places))
    away = [thresholds_apart(playing, row) for row in rows]
    if not np.isfinite(away).all():
        raise BadInput("--pair: none of the notes lies below the highest computed mode; expected lower ones (--notes)")
    row = rows[int(np.argmin(away) if pair == SMALLEST else np.argmax(away))]
    told = (
        f"The {pair} difference that the doubts about losses and pluck leave, each by itself: {row.words}. In the median of these notes the measure "
        f"that changes most does so by {thresholds_apart(playing, row):.2g} thresholds; as given by {away[0]:.2g}. Mesh and boards are in doubt as well, and not in "
        "these sounds."
    )
    return replace(row, words=told)


def allowed(heard: Sequence[Heard], strung: Strung) -> list[Pair]:
    """Pair of two builds as given, then at each end of the doubts about losses and pluck, the others at rest."""
    strings, pluck = strung.strings, strung.pluck
    given = Pair("as given", tuple(heard), strings.strings, pluck)
    rows = [given]
    if strings.loss_uncertain:
        rows += [replace(given, words=f"{STRING_LOSSES}, least", strings=strings.least_loss)]
        rows += [replace(given, words=f"{STRING_LOSSES}, most", strings=strings.most_loss)]
    low, high = zip(*(boards.rim_range(h.build.body, h.body) for h in heard))
    rows += [_with(given, low, f"{RIM_LOSSES}, low end"), _with(given, high, f"{RIM_LOSSES}, high end")]
    more = [boards.with_each_unexplained(h.body, h.unexplained) for h in heard]
    rows += [_with(given, [m[place] for m in more], f"{UNEXPLAINED} {place}") for place in more[0]]
    for angle, words in zip(boards.PLUCKED, ("square to the top", "along the top")):
        rows.append(replace(given, words=f"{PLUCK}, {words}", pluck=replace(pluck, angle=angle)))
    return rows


def _with(given: Pair, bodies: Sequence[BodyModes], words: str) -> Pair:
    return replace(given, words=words, heard=tuple(replace(h, body=b) for h, b in zip(given.heard, bodies)))


def thresholds_apart(playing: Playing, row: Pair) -> float:
    """How far two builds are apart: median over the few notes of the measure that changes most, in thresholds of hearing."""
    few = [boards.few_notes(playing, h.body, row.strings, row.pluck.angle) for h in row.heard]
    change = log_ratios(few[1], few[0])
    ends = np.log([LIMITS[key] for key in boards.JUDGED])[:, :, None]
    far = np.abs(change) / np.where(change > 0, ends[:, 1], -ends[:, 0])
    known = np.isfinite(far).all(0)
    return float(np.median(far[:, known].max(0))) if known.any() else float("nan")
