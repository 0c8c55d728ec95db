"""Figures in words: one meaning each, a true minus sign, no sign before nothing."""

from studies.common.measured import shown
from studies.common.words import (
    bars,
    change_bars,
    close_change,
    decibels,
    hertz,
    percent,
    percent_bars,
    percent_change,
    points,
    rough_percent,
    rounded,
    signed,
)


def test_signs():
    assert [signed(v, 1) for v in (1.24, -1.24, 0.04, -0.04)] == ["+1.2", "−1.2", "0.0", "0.0"]
    assert [rounded(v, 2) for v in (1.0, -0.3, -0.001)] == ["1.00", "−0.30", "0.00"]


def test_a_share_a_change_and_points_are_three_things():
    assert [percent(v) for v in (0.123, 0.0002, 0.0, None)] == ["12.3 %", "< 0.1 %", "0.0 %", "–"]
    assert [percent(v, 0) for v in (0.123, 0.002)] == ["12 %", "< 1 %"]
    assert [percent_change(v) for v in (1.123, 0.95, 1.0)] == ["+12.3 %", "−5.0 %", "0.0 %"]
    assert [close_change(v) for v in (1.0004, 0.99)] == ["+0.04 %", "−1.0 %"]
    assert points(-0.0123, 0.004) == "−1.2 ± 0.4 points"
    assert [rough_percent(v) for v in (0.412, 0.004, -0.1)] == ["41 %", "0.4 %", "0.0 %"]


def test_decibels_and_hertz():
    assert [decibels(v) for v in (0.3, -0.3, 0.04, None)] == ["+0.3 dB", "−0.3 dB", "< 0.1 dB", "–"]
    assert decibels(-0.3, 2) == "−0.30 dB"
    assert (hertz(104.23), hertz(None)) == ("104.2", "–")


def test_error_bars():
    assert bars(12.34, 0.4, 1, "mm") == "12.3 ± 0.4 mm"
    assert change_bars(-0.5, 0.1, 1, "dB") == "−0.5 ± 0.1 dB"
    assert percent_bars(0.123, 0.0001) == "12.3 ± 0.1 %" and percent_bars(None, None) == "not known"


def test_what_was_measured():
    assert [shown(*v) for v in ((-0.0021, "mm", "+"), (0.35, "g"), (None, "Hz"), (-0.0123, "", "+"))] == [
        "−2.10 mm", "350 g", "–", "−0.012",
    ]  # fmt: skip
