"""The notes of a build that move most, and the mode of the body that lies nearest to each."""

from dataclasses import dataclass

import numpy as np

from fem.strings import String
from studies.common.note_names import place_name, short_name
from studies.common.words import rounded, signed
from studies.sustain.bodies import nearest
from studies.sustain.result import Compared, Study
from studies.sustain.thresholds import LIMITS, MEASURES, Measure

COUNT = 8


@dataclass(frozen=True)
class Moved:
    """One note of a build beside the sheet's own, by the measure that moves it most."""

    how: str
    string: int
    fret: int
    frequency: float  # Hz
    measure: Measure
    change: float  # natural logarithm of build over sheet's own
    bar: float  # half bar
    side: float  # see rule
    mode: float | None  # Hz, the sheet's own mode nearest to the fundamental; None: no mode known
    mode_ratio: float  # of that mode's frequency, build over sheet's own; nan: no partner


def most_moved(study: Study, name: str, count: int = COUNT) -> list[Moved]:
    """The notes of a build that move most, each once, held as it moves most.

    First those whose change is larger than its threshold, by how far the near end of the bar lies from no change, in
    thresholds; then the others in the same order.
    """
    found = [note for c in study.beside(name).values() for note in _notes(study, c)]
    of_place: dict[tuple[int, int], Moved] = {}
    for _, note in sorted(found, key=lambda f: f[0], reverse=True):
        of_place.setdefault((note.string, note.fret), note)
    return list(of_place.values())[:count]


def _notes(study: Study, c: Compared):
    """((larger than its threshold, thresholds of the near end), Moved) of every note that is answered for on both meshes."""
    frequency = study.own[c.how].board.frequency
    for place in zip(*np.nonzero(np.isfinite(c.notes[MEASURES[0].key].bar))):
        how_far, measure = max(((_thresholds(c, m, place), m) for m in MEASURES), key=lambda f: f[0])
        n, at, k = c.notes[measure.key], float(frequency[place]), nearest(c.shifts, float(frequency[place]))
        modes = (None, float("nan")) if k is None else (float(c.shifts.frequency[k]), float(c.shifts.ratio[k]))
        where, side = (int(place[0]), int(place[1])), float(n.side[place])
        yield how_far, Moved(c.how, *where, at, measure, float(n.change[place]), float(n.bar[place]), side, *modes)


def _thresholds(c, measure, place):
    """(whether a note's change is larger than the threshold of its side, how many the near end of its bar lies from no change).

    The second is negative where the bar holds no change; -inf where there is none.
    """
    n, (low, high) = c.notes[measure.key], np.log(LIMITS[measure.key])
    change, bar = float(n.change[place]), float(n.bar[place])
    end = high if change > 0 else -low
    return (abs(change) > end, (abs(change) - bar) / end) if np.isfinite(bar) else (False, -np.inf)


def note_place(note: Moved, strings: tuple[String, ...]) -> str:
    """'F♯3 on string 4, fret 4 (185 Hz)'."""
    return f"{short_name(note.frequency)} on {place_name(strings, note.string, note.fret)} ({note.frequency:.0f} Hz)"


def change_of(note: Moved) -> str:
    """'level +6.1 dB (+4.1 to +8.1 dB)'."""
    of, low, high = note.measure, note.change - note.bar, note.change + note.bar
    return f"{of.name} {of.told(float(np.exp(note.change)))} ({of.span(float(np.exp(low)), float(np.exp(high)))})"


def said_of(note: Moved) -> str:
    """'beyond the threshold', 'within it' or 'open'."""
    return "open" if np.isnan(note.side) else "beyond the threshold" if note.side else "within the threshold"


def reason_of(note: Moved) -> str:
    """'mode at 183.2 Hz passes it on its way to 187.0 Hz (+2.1 %)': what lies nearest, not a proof."""
    if note.mode is None:
        return "no mode known"
    at = f"mode at {note.mode:.1f} Hz"
    if not np.isfinite(note.mode_ratio):
        return f"{at}, no partner in the other build"
    there = note.mode * note.mode_ratio
    passes = min(note.mode, there) < note.frequency < max(note.mode, there)
    how = "passes it on its way to" if passes else "moves to"
    return f"{at} {how} {rounded(there, 1)} Hz ({signed(100 * (note.mode_ratio - 1), 1)} %)"
