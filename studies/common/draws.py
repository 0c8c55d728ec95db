"""Two builds of the same boards: paired draws of the wood, summed up without confusing four kinds of uncertainty.

One median over the notes per draw (notes of one draw are not independent); the range over draws is what wood scatter
does to a pair of boxes from the same boards; the bootstrap interval of the median shrinks with more draws, the range
does not; the unpaired spread is what a maker meets between two guitars. Uncertainties of losses and model are bars of their own.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

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


def log_ratios(build: ArrayLike, reference: ArrayLike) -> np.ndarray:
    """ln(build/reference), elementwise; nan where one of the two is not a decay time (nan, or for ever)."""
    build, reference = np.asarray(build, float), np.asarray(reference, float)
    if build.shape != reference.shape:
        raise ValueError(f"{build.shape} notes against {reference.shape}; expected the same notes of both builds")
    good = (build > 0) & (reference > 0) & (build < LONGEST) & (reference < LONGEST)
    return np.where(good, np.log(np.where(good, build, 1.0) / np.where(good, reference, 1.0)), np.nan)


def paired_summary(build: np.ndarray, reference: np.ndarray, resamples: int = 2000, seed: int = 1) -> PairedSummary:
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
