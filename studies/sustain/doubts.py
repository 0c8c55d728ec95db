"""Every doubt about a change, by itself: of the median over notes as a range of its ratio, of single notes as a half bar.

All are to hold 95 %. Half bars are natural logarithms, as changes are.
"""

from collections.abc import Iterable, Mapping

import numpy as np
from scipy.special import stdtrit

from studies.common.draws import log_ratios
from studies.common.mesh_error import COARSER
from studies.common.note_names import semitones
from studies.sustain.result import without_hand
from studies.sustain.rule import Range
from studies.sweep.scatter import ScatteredNotes

NEAR = 2.0  # semitones within which notes lend each other their difference of two meshes
HOLDS = 95.0  # per cent
TWO_SIDED = 1.96  # standard deviations of a normal that hold so much


def median_ratio(build: np.ndarray, reference: np.ndarray) -> float:
    """Median over notes of build/reference, missing notes left out. ValueError where none is left."""
    ratios = log_ratios(build, reference)
    if not np.isfinite(ratios).any():
        raise ValueError("no note has a decay time in both builds; expected more body modes (--modes) or a finer mesh")
    return float(np.exp(np.nanmedian(ratios)))


# --- mesh ---


def mesh_uncertainty(fine: np.ndarray, coarse: np.ndarray) -> Range:
    """(low, high) of the median over notes of ratios, from the ratios of every note on two meshes (arrays of one shape).

    The difference of the two medians, but at least TWO_SIDED standard errors of the median that the notes' own differences
    make (1.25 sigma/sqrt(n), sigma from their quartiles): two medians may agree by chance. Either way, times what is left on
    the finer mesh.
    """
    off = np.log(fine) - np.log(coarse)
    off = off[np.isfinite(off)]
    if not off.size:
        raise ValueError("no note has a decay time on both meshes; expected more body modes (--modes) or a finer mesh")
    middle, rough = (float(np.exp(np.nanmedian(np.log(r)))) for r in (fine, coarse))
    chance = TWO_SIDED * 1.25 * np.subtract(*np.percentile(off, [75, 25])) / 1.349 / np.sqrt(off.size)
    left = max(abs(np.log(middle / rough)), chance) / (COARSER - 1)
    return float(middle * np.exp(-left)), float(middle * np.exp(left))


def mesh_of_notes(fine: np.ndarray, coarse: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """Half bar of each note from its change on two meshes; frequency [Hz]; all of one shape, nan where not known.

    What its own difference leaves on the finer mesh, but at least what 95 % of the notes within NEAR semitones have left: a
    note may come out alike on two meshes by chance. inf where the coarser mesh does not answer.
    """
    left = np.abs(fine - coarse).ravel() / (COARSER - 1)
    pitch, known = semitones(frequency).ravel(), np.isfinite(left)
    around = np.full(left.shape, np.inf)
    for k in np.flatnonzero(known):
        near = known & (np.abs(pitch - pitch[k]) < NEAR + 0.1)
        around[k] = max(left[k], np.percentile(left[near], HOLDS))
    return np.where(np.isfinite(fine), around.reshape(fine.shape), np.nan)


# --- boards ---


def drawn_changes(scatter: ScatteredNotes, name: str, how: str, key: str) -> np.ndarray:
    """(draws, notes) changes of a measure between a build and the sheet's own, both from the same boards; no hand is drawn."""
    h, b, a = scatter.holdings.index(without_hand(how)), scatter.builds.index(name), scatter.builds.index("sheet")
    values = getattr(scatter, key)
    return log_ratios(values[:, b, h], values[:, a, h])


def drawn_of(scatter: ScatteredNotes, name: str) -> list[str]:
    """Names of the builds whose draws tell of a build: its own, or of one that was not drawn all but the sheet's."""
    return [name] if name in scatter.builds else [b for b in scatter.builds if b != "sheet"]


def wood_uncertainty(ratio: float, scatter: ScatteredNotes, name: str, how: str, key: str) -> Range:
    """(low, high) of a ratio: how far the median of the notes of one more pair of boxes may lie from that of the draws.

    Student's t for one further draw; of a build that was not drawn the widest of those that were.
    """
    half = max(_further(np.nanmedian(drawn_changes(scatter, b, how, key), axis=1)) for b in drawn_of(scatter, name))
    return float(ratio * np.exp(-half)), float(ratio * np.exp(half))


def _further(medians):
    """Half of the 95 % interval of one further value beside values (n,)."""
    n = len(medians)
    return float(stdtrit(n - 1, 0.975) * np.std(medians, ddof=1) * np.sqrt(1 + 1 / n))


def wood_of_notes(scatter: ScatteredNotes, name: str, how: str, key: str) -> float:
    """Half bar of a note: what 95 % of the drawn notes move from their own median over the draws, one further draw in mind."""
    return max(_pooled(drawn_changes(scatter, b, how, key)) for b in drawn_of(scatter, name))


def _pooled(changes):
    """Deviations around a median of n draws are smaller than those of a further draw: by sqrt((n - 1)/(n + 1))."""
    n, off = len(changes), np.abs(changes - np.nanmedian(changes, axis=0))
    return float(np.percentile(off[np.isfinite(off)], HOLDS) * np.sqrt((n + 1) / (n - 1)))


# --- ranges of losses and of the pluck, from few notes ---


def range_uncertainty(ratio: float, given: float, ends: Iterable[float]) -> Range:
    """(low, high) of a ratio from the ratios of few notes as given and at the ends of a range."""
    ratios = [float(ratio), *(float(ratio * end / given) for end in ends)]
    return min(ratios), max(ratios)


def range_of_notes(few: np.ndarray, few_frequency: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """Half bar of each note from changes (1 + ends, k) of few notes, as given and at the ends of a range.

    What 95 % of the few notes within NEAR semitones move, of all of them where none is so near. few_frequency (k,), frequency
    (any shape) [Hz]: those that are asked for.
    """
    off, pitch = np.abs(few[1:] - few[0]).max(axis=0), semitones(few_frequency)
    known, bar = np.isfinite(off), np.full(frequency.shape, np.nan)
    for place, at in np.ndenumerate(semitones(frequency)):
        near = known & (np.abs(pitch - at) < NEAR + 0.1)
        bar[place] = np.percentile(off[near if near.any() else known], HOLDS)
    return bar


def in_squares(half: Mapping[str, np.ndarray | float]) -> np.ndarray:
    """Half bar of all doubts together: independent, so that they add in squares."""
    return np.sqrt(sum((np.asarray(v) ** 2 for v in half.values()), np.zeros(())))
