"""Can anybody hear the difference? Decay-time ratios against published tolerances of hearing, and a verdict in words.

The tolerances disagree: each is answered separately, and 'no audible difference' or 'audible difference' is said only
where all of them agree.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from studies.common.words import percent_change

Range = tuple[float, float]  # (low, high) of a ratio
Ranges = Mapping[str, Range]  # {source of uncertainty: (low, high) of one ratio}
AUDIBLE, NO_DIFFERENCE, CANNOT_TELL = "audible difference", "no audible difference", "cannot tell"


@dataclass(frozen=True)
class Tolerance:
    """Ratios of decay times that listeners do not tell from 1."""

    name: str
    low: float
    high: float
    source: str


TOLERANCES = (
    Tolerance(
        "untrained tolerance, synthetic tones", 0.75, 1.40,
        "Jarvelainen & Tolonen, JAES 49:1049 (2001): −25 to +40 % in the time constant of decay inaudible; read "
        "second-hand, the upper limit from memory",
    ),
    Tolerance(
        "experienced players", 1 / 1.05, 1 / 0.95,
        "Christian, Savart Journal (2011): experienced guitarists perceive 5 % in damping; stated there without a test of "
        "its own",
    ),
)  # fmt: skip
NOT_AT_HAND = (
    "Woodhouse, Manuel, Smith, Wheble & Fritz, Acta Acustica 98:475 (2012): just-noticeable differences in the damping of "
    "a guitar's body and strings, in a three-alternative test; numbers not at hand, so they are not applied",
)


@dataclass(frozen=True)
class Verdict:
    """word: one of 'audible difference', 'no audible difference', 'cannot tell'; the rest in plain sentences."""

    word: str
    sentence: str
    by_tolerance: dict[str, str]  # {tolerance: word}


def audible_share(ratios: ArrayLike, tolerance: Tolerance) -> float:
    """Share of notes (of all axes) whose decay-time ratio lies outside a Tolerance; nan notes are left out.

    nan if no note is left.
    """
    known = np.asarray(ratios)[np.isfinite(ratios)]
    outside = (known < tolerance.low) | (known > tolerance.high)
    return float(outside.mean()) if known.size else float("nan")


def word_for(low: float, high: float, tolerance: Tolerance) -> str:
    """Word for a range of ratios, low to high, under one Tolerance."""
    if tolerance.low <= low and high <= tolerance.high:
        return NO_DIFFERENCE
    return AUDIBLE if high < tolerance.low or low > tolerance.high else CANNOT_TELL


def combined(median: float, ranges: Ranges) -> tuple[float, float]:
    """(low, high) of a ratio from separate uncertainties of the same ratio, each with the others at rest.

    Wood, mesh, losses and model are independent: distances from the median add in squares on a log scale, downward and
    upward by themselves. Show them one by one beside it.
    """
    off = np.log([[median, median], *ranges.values()]) - np.log(median)
    down, up = np.sqrt((np.minimum(off[:, 0], 0) ** 2).sum()), np.sqrt((np.maximum(off[:, 1], 0) ** 2).sum())
    return float(median * np.exp(-down)), float(median * np.exp(up))


def decisive(median: float, ranges: Ranges) -> list[str]:
    """Names of the uncertainties without which, one at a time, the word would be another: what to measure first."""
    word = lambda left: verdict(*combined(median, left)).word
    return [name for name in ranges if word({k: v for k, v in ranges.items() if k != name}) != word(ranges)]


def verdict(low: float, high: float) -> Verdict:
    """Verdict on a median decay-time ratio (build over reference) that lies between low and high.

    Every uncertainty that is asked about (wood, losses, mesh, model) must already stand in them. ValueError unless
    0 < low <= high.
    """
    if not 0 < low <= high < np.inf:
        raise ValueError(f"ratio from {low:g} to {high:g}; expected two positive numbers, the lower first")
    words = {t.name: word_for(low, high, t) for t in TOLERANCES}
    agreed = set(words.values())
    word = agreed.pop() if len(agreed) == 1 else CANNOT_TELL
    reach = {
        NO_DIFFERENCE: ", within every published tolerance of hearing",
        AUDIBLE: ", outside every published tolerance of hearing",
        CANNOT_TELL: " reach from inaudible to audible by every published tolerance of hearing",
    }[word]
    if len(set(words.values())) > 1:
        named = "; ".join(f"{w} by '{name}'" for name, w in words.items())
        reach = f", and the published tolerances of hearing disagree ({named})"
    return Verdict(word, f"{word}: decay times {percent_change(low)} to {percent_change(high)}{reach}", words)


def cause(before: Mapping[str, float], after: Mapping[str, float]) -> tuple[str, float]:
    """(part, its part of the change) that changed the decay rate most, from rates {part: median 1/s} of two builds.

    The change of a part over the whole change: may exceed 1 where another part works against it. ('', 0) if nothing
    changed.
    """
    change = {part: rate - before[part] for part, rate in after.items()}
    whole = sum(change.values())
    if abs(whole) <= 1e-9 * sum(map(abs, after.values())):
        return "", 0.0
    part = max(change, key=lambda p: change[p] / whole)
    return part, float(change[part] / whole)


def why(low: float, high: float, before: Mapping[str, float], after: Mapping[str, float], build: str) -> str:
    """Sentence on what changed the decay, from the ratio's range and the rates {part: 1/s} of reference and build.

    '' where not even its direction is known.
    """
    part, share = cause(before, after)
    faster = high < 1
    if not part or low <= 1 <= high or (sum(after.values()) > sum(before.values())) != faster:
        return ""
    way, more = ("decays faster", "more") if faster else ("rings longer", "less")
    if share < 0.5:
        return f"{build} {way}; no single part makes most of the change"
    because = {
        "radiation": f"it radiates {more}",
        "string": f"the strings turn {more} of the energy to heat",
        "player": f"{more} goes into the player",
        "bands": f"{more} goes into the bands that hold it",
    }.get(part, f"{more} is turned to heat in the {part.replace('_', ' ')}")
    return f"{build} {way} because {because}"
