"""Statistics of paired draws of the wood."""

import numpy as np
import pytest

from studies.common.draws import log_ratios, paired_summary


def draws(count=60, notes=30, effect=-0.05, seed=4):
    """Decay times of two builds: boards move all notes of a draw, notes differ, the effect is the same throughout."""
    draw = np.random.default_rng(seed)
    boards = draw.normal(0, 0.15, (count, 1)) + draw.normal(0, 0.05, (count, notes))
    reference = np.exp(1.5 + np.linspace(-0.5, 0.5, notes) + boards)
    return reference * np.exp(effect + draw.normal(0, 0.01, (count, notes))), reference


def test_paired_summary_finds_the_effect_and_the_spread_a_maker_meets():
    build, reference = draws()
    found = paired_summary(build, reference)
    assert found.median == pytest.approx(np.exp(-0.05), rel=2e-3)
    assert found.low < found.median_low < found.median < found.median_high < found.high
    # two unlike boards: sqrt(2) x 0.15, 5 to 95 % is +- 1.645 of it; 20 %: 60 draws
    assert np.log(found.unpaired_high / found.unpaired_low) == pytest.approx(2 * 1.645 * 0.15 * np.sqrt(2), rel=0.2)
    assert np.log(found.unpaired_high / found.unpaired_low) > 20 * np.log(found.high / found.low)
    assert (found.draws, found.notes) == (60, 30)


def test_more_draws_narrow_the_median_but_not_the_range():
    few, many = (paired_summary(*draws(count)) for count in (40, 640))
    width = lambda s: np.log(s.median_high / s.median_low)
    assert width(many) < 0.45 * width(few)
    assert np.log(many.high / many.low) == pytest.approx(np.log(few.high / few.low), rel=0.4)


def test_notes_missing_in_any_draw_are_left_out():
    build, reference = draws(5, 4)
    build[2, 1] = np.nan
    reference[3, 0] = np.inf
    assert paired_summary(build, reference).notes == 2
    assert np.isnan(log_ratios(build, reference)).sum() == 2
    with pytest.raises(ValueError, match="1 draws"):
        paired_summary(build[:1], reference[:1])
    with pytest.raises(ValueError, match="same notes"):
        paired_summary(build, reference[:, :2])
