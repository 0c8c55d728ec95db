"""Verdicts in words, and statistics of paired draws."""

import re

import numpy as np
import pytest

from studies.common.draws import log_ratios, paired_summary
from studies.sustain.hearing import (
    AUDIBLE,
    CANNOT_TELL,
    NO_DIFFERENCE,
    TOLERANCES,
    audible_share,
    cause,
    combined,
    decisive,
    verdict,
    why,
)

SYNTHETIC, PLAYERS = TOLERANCES

# ---------------------------------------------------------------- words


def test_tolerances_are_the_published_ones(record):
    """Jarvelainen & Tolonen, JAES 49:1049 (2001): -25 % and +40 % of the decay time. Christian, Savart J. (2011): 5 % of
    the damping, so that the decay time is divided by 1.05 or by 0.95.
    """
    record("tolerance of hearing for a decay time", SYNTHETIC.source, (0.75, 1.4), (SYNTHETIC.low, SYNTHETIC.high))
    assert (SYNTHETIC.low, SYNTHETIC.high) == (0.75, 1.4)
    assert (PLAYERS.low, PLAYERS.high) == pytest.approx((0.9524, 1.0526), abs=1e-4)
    assert "from memory" in SYNTHETIC.source


def test_share_of_notes_outside_a_tolerance():
    ratios = np.array([[0.7, 0.96, 1.0], [1.2, 1.5, np.nan]])
    assert audible_share(ratios, SYNTHETIC) == pytest.approx(2 / 5)
    assert audible_share(ratios, PLAYERS) == pytest.approx(3 / 5)
    assert np.isnan(audible_share(np.array([np.nan]), PLAYERS))


@pytest.mark.parametrize(
    ("low", "high", "word", "text"),
    [
        (0.98, 1.03, NO_DIFFERENCE, "within every"),
        (0.55, 0.70, AUDIBLE, "outside every"),
        (1.45, 1.6, AUDIBLE, r"\+45.0 % to \+60.0 %"),
        (0.82, 0.93, CANNOT_TELL, "disagree"),  # players hear it, the other test says nobody does
        (0.90, 1.02, CANNOT_TELL, "disagree"),
        (0.60, 1.60, CANNOT_TELL, "from inaudible to audible"),
    ],
)
def test_the_verdict_can_say_each_word(low, high, word, text):
    found = verdict(low, high)
    assert found.word == word
    assert found.sentence.startswith(word)
    assert re.search(text, found.sentence)
    assert set(found.by_tolerance) == {t.name for t in TOLERANCES}


BEFORE = {"radiation": 0.05, "top": 0.08, "sides": 0.02, "string": 0.10}


def test_the_cause_is_told():
    louder = BEFORE | {"radiation": 0.14, "sides": 0.01}
    reason = lambda low, high, after, build="the stiffer rim": why(low, high, BEFORE, after, build)
    assert reason(0.6, 0.7, louder) == "the stiffer rim decays faster because it radiates more"
    quieter = BEFORE | {"sides": 0.0, "top": 0.02}
    told = reason(1.45, 1.6, quieter, "the doubled rim")
    assert told == "the doubled rim rings longer because less is turned to heat in the top"
    both = BEFORE | {"radiation": 0.10, "top": 0.13, "sides": 0.07}
    assert "no single part" in reason(0.6, 0.7, both)


def test_no_cause_is_told_of_what_is_not_known():
    louder = BEFORE | {"radiation": 0.14}
    assert why(0.6, 1.6, BEFORE, louder, "it") == ""  # faster or slower
    assert why(1.5, 1.6, BEFORE, louder, "it") == ""  # medians over notes that contradict each other
    assert why(0.6, 0.7, BEFORE, BEFORE, "it") == ""
    with pytest.raises(ValueError, match="the lower first"):
        verdict(1.2, 0.9)


def test_cause_names_the_part_that_draws_more():
    slow = {"radiation": 0.0625, "string": 0.1875}
    part, share = cause(slow, {"radiation": 0.3125, "string": 0.1875})
    assert (part, share) == ("radiation", pytest.approx(1.0))
    assert cause(slow, slow) == ("", 0.0)


def test_separate_doubts_add_in_squares_and_name_what_matters():
    doubts = {"wood": (0.9, 1.1), "loss of the joints": (0.7, 1.0), "mesh": (0.999, 1.001)}
    low, high = combined(1.0, doubts)
    assert low == pytest.approx(np.exp(-np.sqrt(np.log(0.9) ** 2 + np.log(0.7) ** 2 + np.log(0.999) ** 2)))
    assert high == pytest.approx(np.exp(np.sqrt(np.log(1.1) ** 2 + np.log(1.001) ** 2)))
    assert combined(0.8, {}) == (0.8, 0.8)
    narrow = {"wood": (0.98, 1.02), "loss of the joints": (0.8, 1.0)}
    assert decisive(1.0, narrow) == ["loss of the joints"]


# ---------------------------------------------------------------- statistics


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
