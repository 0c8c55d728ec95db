"""From the changes of two builds and their doubts to words: each measure, each way to hold the guitar, all joined."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from studies.common.mesh_error import LIMIT
from studies.sustain import rule
from studies.sustain.doubts import in_squares
from studies.sustain.result import MESH, Compared, Judged, SingleNotes, Study
from studies.sustain.rule import CANNOT_TELL, Range
from studies.sustain.thresholds import LIMITS, MEASURES

SIZES = (0.05, 0.04, 0.03, 0.025, 0.02, 0.015, 0.012, 0.01, 0.008, 0.006, 0.005)  # m, meshes that may be asked for
FALLS = 1.0  # power of the mesh size with which the doubt about a note falls


def judged(ratio: float, doubts: dict[str, Range], key: str) -> Judged:
    """Judged of a median ratio of the measure `key`."""
    low, high = rule.combined(ratio, doubts)
    return Judged(ratio, doubts, low, high, _word(rule.side(low, high, LIMITS[key])))


def single_notes(change: np.ndarray, doubts: dict[str, np.ndarray | float], key: str) -> SingleNotes:
    """SingleNotes of changes (strings, frets + 1) of the measure `key`; doubts: half bars."""
    bar = np.where(np.isfinite(change), in_squares(doubts), np.nan)
    sides = rule.note_sides(change, bar, LIMITS[key])
    word = _word(np.array(rule.side_of_notes(sides, np.isfinite(change))))
    return SingleNotes(change, doubts, bar, sides, word)


def _word(one_side):
    return rule.joined(one_side.reshape(1, 1))


# --- all measures, every holding ---


def whole_word(held: Iterable[Compared], left: Callable[[str], float] = lambda name: True) -> str:
    """Word on the guitar on the whole; left: which doubts are counted."""
    return rule.joined(np.array([[_side(c.judged[key], key, left) for key in LIMITS] for c in held]))


def _side(j, key, left):
    ends = rule.combined(j.ratio, {name: span for name, span in j.doubts.items() if left(name)})
    return rule.side(*ends, LIMITS[key])


def notes_word(held: Iterable[Compared], times: Callable[[str], float] = lambda name: 1.0) -> str:
    """Word on single notes; times: by which each doubt is multiplied."""
    return rule.joined(np.array([[_notes_side(c.notes[key], key, times) for key in LIMITS] for c in held]))


def _notes_side(n, key, times):
    bar = in_squares({name: times(name) * np.asarray(half) for name, half in n.doubts.items() if times(name)})
    return rule.side_of_notes(rule.note_sides(n.change, bar, LIMITS[key]), n.known)


def held_words(compared: Compared) -> tuple[str, str]:
    """(on the whole, single notes) by one way to hold the guitar alone."""
    return whole_word([compared]), notes_word([compared])


@dataclass(frozen=True)
class Verdict:
    """The two words on a build, every way to hold the guitar and every measure joined, and what keeps them open."""

    whole: str
    notes: str
    whole_open: tuple[
        str, ...
    ]  # doubts without one of which the word would be another; empty where it is told, or where none alone would do
    measures_open: tuple[str, ...]  # names of measures that do not lie within, where the word on the whole is open
    notes_open: tuple[str, ...]
    # m, on which single notes could be told if the changes stay as they are; None: told already, or by no mesh
    mesh: float | None


def verdict_of(study: Study, name: str) -> Verdict:
    """Verdict on a build beside the sheet's own. ValueError for a build that the run left out."""
    held = list(study.beside(name).values())
    if not held:
        raise ValueError(
            f"build '{name}' is not in this run; expected one of {', '.join(b.name for b in study.builds[1:])}"
        )
    whole, notes = whole_word(held), notes_word(held)
    names = dict.fromkeys(doubt for c in held for j in c.judged.values() for doubt in j.doubts)
    open_whole = [d for d in names if whole == CANNOT_TELL and whole_word(held, _all_but(d)) != whole]
    open_notes = [d for d in names if notes == CANNOT_TELL and notes_word(held, _all_but(d)) != notes]
    wide = [m.name for m in MEASURES if any(_side(c.judged[m.key], m.key, lambda name: True) != 0 for c in held)]
    mesh = mesh_that_tells(held, study.sizes[0]) if notes == CANNOT_TELL else None
    return Verdict(
        whole, notes, tuple(open_whole), tuple(wide) if whole == CANNOT_TELL else (), tuple(open_notes), mesh
    )


def _all_but(doubt):
    """Function that is 0 (or false) of the name of one doubt, and 1 of all others."""
    return lambda name: int(name != doubt)


def mesh_that_tells(held: list[Compared], size: float) -> float | None:
    """The coarsest of SIZES below `size` [m] on which single notes could be told, their mesh doubt falling with its power FALLS.

    The changes are taken as they are; None where none of SIZES is fine enough.
    """
    scaled = lambda h: lambda name: (h / size) ** FALLS if name == MESH else 1.0
    finer = (h for h in SIZES if h < size)
    return next((h for h in finer if notes_word(held, scaled(h)) != CANNOT_TELL), None)


def real(study: Study, how: str) -> list[Compared]:
    """Of the builds that can be built."""
    return [
        study.compared[b.name, how] for b in study.builds[1:] if b.name != LIMIT and (b.name, how) in study.compared
    ]
