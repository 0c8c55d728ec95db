"""The rule by which doubts become words: docs/verdict.md, in code. Arrays of numbers in, words out; knows nothing of guitars.

A side says where a whole bar lies: 0 within the threshold, 1 or -1 wholly beyond it, nan where it reaches across.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr

AUDIBLE, NO_DIFFERENCE, CANNOT_TELL = "audible difference", "no audible difference", "cannot tell"
MISSES = 0.05  # of notes called changed though they are not, and of guitars
UNCHANGED = 0.95  # of the notes: from here on none is said to be heard

Range = tuple[float, float]  # (low, high) of a ratio
Ranges = Mapping[str, Range]  # {doubt: (low, high) of one ratio}


def side(low: ArrayLike, high: ArrayLike, ends: Range) -> np.ndarray:
    """Sides of bars from low to high (any shape, of one shape) against a threshold's ends, all in the same unit; nan of nan."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    cases = [(ends[0] <= low) & (high <= ends[1]), high < ends[0], low > ends[1]]
    return np.select(cases, [0.0, -1.0, 1.0], np.nan)


def combined(ratio: float, ranges: Ranges) -> Range:
    """(low, high) of a ratio from separate doubts of it, each with the others at rest.

    They are independent: distances from the ratio add in squares on a log scale, downward and upward by themselves.
    """
    off = np.log([[ratio, ratio], *ranges.values()]) - np.log(ratio)
    down, up = np.sqrt((np.minimum(off[:, 0], 0) ** 2).sum()), np.sqrt((np.maximum(off[:, 1], 0) ** 2).sum())
    return float(ratio * np.exp(-down)), float(ratio * np.exp(up))


def joined(sides: np.ndarray) -> str:
    """Word for sides (holdings, measures).

    Audible where some measure lies beyond on the same side in every holding; none where all lie within.
    """
    beyond = (sides == 1).all(0) | (sides == -1).all(0)
    if beyond.any():
        return AUDIBLE
    return NO_DIFFERENCE if (sides == 0).all() else CANNOT_TELL


def note_sides(change: np.ndarray, bar: ArrayLike, ends: Range) -> np.ndarray:
    """Sides of single notes: changes and half bars (any shape, or one bar) as natural logarithms, ends as ratios."""
    return side(change - bar, change + bar, (float(np.log(ends[0])), float(np.log(ends[1]))))


def false_alarms(notes: int) -> int:
    """How many of so many notes may come out changed by chance: the 95 % quantile of the binomial of MISSES a note."""
    return int(np.argmax(bdtr(np.arange(notes + 1), notes, MISSES) >= 1 - MISSES))


def side_of_notes(sides: np.ndarray, known: np.ndarray) -> float:
    """Side of all notes together, from their own (any shape); known: those that are answered for.

    1 where more of them are beyond than false alarms, 0 where UNCHANGED of them lie within, nan else.
    """
    count, own = int(known.sum()), sides[known]
    if np.count_nonzero(np.abs(own) == 1) > false_alarms(count):
        return 1.0
    return 0.0 if count and np.count_nonzero(own == 0) >= UNCHANGED * count else float("nan")
