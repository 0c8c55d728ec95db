"""Two builds of the same boards: paired draws of the wood, summed up without confusing four kinds of doubt.

One median over the notes per draw (notes of one draw are not independent); the range over draws is what wood scatter
does to a pair of boxes from the same boards; the bootstrap interval of the median shrinks with more draws, the range
does not; the unpaired spread is what a maker meets between two guitars. Doubt of losses and model are bars of their own.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from fem.coupled_string import LONGEST


@dataclass(frozen=True)
class PairedSummary:
    """Ratios of build over reference."""

    median: float  # over draws, of the medians over notes
    low: float  # 5 % of the draws lie below
    high: float  # 5 % of the draws lie above
    median_low: float  # bootstrap interval of the median, 95 %
    median_high: float
    unpaired_low: float  # 5 to 95 % for boxes from different boards
    unpaired_high: float
    draws: int
    notes: int  # notes that count in every draw

    @property
    def pairing_gain(self):
        """How many times narrower the paired range is, on a log scale."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return float(np.log(self.unpaired_high / self.unpaired_low) / np.log(self.high / self.low))


def log_ratios(build, reference):
    """ln(build/reference), elementwise; nan where one of the two is not a decay time (nan, or for ever)."""
    build, reference = np.asarray(build, float), np.asarray(reference, float)
    if build.shape != reference.shape:
        raise ValueError(f"{build.shape} notes against {reference.shape}; expected the same notes of both builds")
    good = (build > 0) & (reference > 0) & (build < LONGEST) & (reference < LONGEST)
    return np.where(good, np.log(np.where(good, build, 1.0) / np.where(good, reference, 1.0)), np.nan)


def paired_summary(build, reference, resamples=2000, seed=1):
    """PairedSummary of values (draws, ...) of two builds, draw i of both from the same boards.

    Notes that are missing (nan) in any draw are left out of all. ValueError with fewer than two draws or no note left.
    """
    ratios = log_ratios(build, reference).reshape(len(build), -1)
    count = np.isfinite(ratios).all(0)
    if len(ratios) < 2 or not count.any():
        raise ValueError(f"{len(ratios)} draws with {count.sum()} notes in common; expected 2 draws and 1 note or more")
    per_draw = np.median(ratios[:, count], axis=1)
    draw = np.random.default_rng(seed)
    medians = np.median(per_draw[draw.integers(len(per_draw), size=(resamples, len(per_draw)))], axis=1)
    one, other = (np.log(np.reshape(x, (len(x), -1))[:, count]) for x in (np.asarray(build), np.asarray(reference)))
    i = draw.integers(len(one), size=resamples)
    j = (i + draw.integers(1, len(one), size=resamples)) % len(one)  # never the same boards
    unpaired = np.median(one[i] - other[j], axis=1)
    e = lambda values, q: float(np.exp(np.percentile(values, q)))
    return PairedSummary(
        e(per_draw, 50), e(per_draw, 5), e(per_draw, 95), e(medians, 2.5), e(medians, 97.5), e(unpaired, 5),
        e(unpaired, 95), len(per_draw), int(count.sum()),
    )  # fmt: skip


def flip_loss(ratio, low, high, threshold=1.0):
    """Loss factor between low and high at which ratio(loss) crosses a threshold; None if it does not.

    ratio: a decay-time ratio as a function of the rim's loss factor; a single crossing is looked for on a log scale, in
    eight steps, so that one turning back inside a step would be missed. Costs up to about 20 calls.
    """
    if not 0 < low < high:
        raise ValueError(f"loss factors from {low:g} to {high:g}; expected two positive numbers, the lower first")
    at = np.geomspace(low, high, 9)
    over = [np.log(ratio(x) / threshold) for x in at]
    for a, b, ya, yb in zip(at, at[1:], over, over[1:]):
        if ya == 0:
            return float(a)
        if ya * yb < 0:
            return float(brentq(lambda x: np.log(ratio(x) / threshold), a, b, rtol=1e-3))
    return float(at[-1]) if over[-1] == 0 else None
