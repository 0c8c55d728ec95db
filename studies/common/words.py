"""Figures and lists in words: one way to write each, a true minus sign, no sign before nothing, '–' where nothing is known."""

from collections.abc import Iterable, Sequence
from pathlib import Path

UNKNOWN = "–"
GLUED_WOOD = 0.2  # loss factor, more than any wood or hard glue has; from memory

# --- figures ---


def rounded(value: float, digits: int) -> str:
    """'1.2', '−0.3', '0.0'."""
    text = f"{value:.{digits}f}"
    return minus(text) if float(text) else text.removeprefix("-")


def signed(value: float, digits: int) -> str:
    """'+1.2', '−0.3', '0.0'."""
    text = rounded(value, digits)
    return f"+{text}" if float(text.replace("−", "-")) > 0 else text


def minus(text: str) -> str:
    """Hyphens of numbers as minus signs."""
    return text.replace("-", "−")


def percent(share: float | None, digits: int = 1) -> str:
    """'12.3 %' of a share of one; '< 0.1 %' of one that rounds to nothing."""
    if share is None:
        return UNKNOWN
    if 0 < share < 0.5 * 10 ** (-2 - digits):
        return f"< {10.0**-digits:g} %"
    return f"{rounded(100 * share, digits)} %"


def rough_percent(share: float) -> str:
    """'41 %' of a share of one; below one per cent with a decimal, '0.0 %' of one that came out negative."""
    value = 100 * max(0.0, share)
    return f"{value:.0f} %" if value >= 1 else f"{value:.1f} %"


def percent_change(ratio: float, digits: int = 1) -> str:
    """'+3.1 %' of a ratio."""
    return f"{signed(100 * (ratio - 1), digits)} %"


def close_change(ratio: float) -> str:
    """'+3.1 %' of a ratio, '+0.03 %' of one close to 1."""
    return percent_change(ratio, 1 if abs(ratio - 1) >= 1e-3 else 2)


def change(ratio: float) -> str:
    """'3.1 % longer' of a ratio of decay times."""
    if abs(ratio - 1) < 5e-4:
        return "as long (within 0.1 %)"
    return f"{100 * abs(ratio - 1):.1f} % {'longer' if ratio >= 1 else 'shorter'}"


def span(low: float, high: float, digits: int = 1) -> str:
    """Of two ratios '−0.8 to +3.2 %', '±5 %' where both lie equally far, '+0.2 %' where both round to it."""
    ends = [signed(100 * (v - 1), digits) for v in (low, high)]
    if ends[0] == ends[1]:
        return f"{ends[0]} %"
    if ends[0][0] == "−" and ends[1][0] == "+" and ends[0][1:] == ends[1][1:]:
        return f"±{ends[1][1:]} %"
    return f"{ends[0]} to {ends[1]} %"


def decibels(level: float | None, digits: int = 1) -> str:
    """'−0.3 dB'; '< 0.1 dB' of one that rounds to nothing."""
    if level is None:
        return UNKNOWN
    return f"{signed(level, digits)} dB" if abs(level) >= 0.5 * 10**-digits else f"< {10.0**-digits:g} dB"


def hertz(frequency: float | None) -> str:
    """'104.2'."""
    return UNKNOWN if frequency is None else f"{frequency:.1f}"


def grams_more(grams: float) -> str:
    """'20 g more', '3 g less'."""
    return f"{abs(grams):.0f} g {'more' if grams >= 0 else 'less'}"


# --- with their errors ---


def bars(value: float, error: float, digits: int, unit: str) -> str:
    """'12.3 ± 0.4 mm'."""
    return f"{rounded(value, digits)} ± {error:.{digits}f} {unit}"


def change_bars(value: float, error: float, digits: int, unit: str) -> str:
    """'+1.2 ± 0.4 dB'."""
    return f"{signed(value, digits)} ± {error:.{digits}f} {unit}"


def percent_bars(share: float | None, error: float | None, digits: int = 1) -> str:
    """'12.3 ± 0.4 %' of a share of one; no error smaller than the last digit."""
    if share is None or error is None:
        return "not known"
    return bars(100 * share, max(100 * error, 10.0**-digits), digits, "%")


def points(change: float, error: float) -> str:
    """'+1.2 ± 0.3 points' of a difference of two shares of one."""
    return change_bars(100 * change, 100 * error, 1, "points")


def points_beyond(change: float, error: float) -> str:
    """As points; in words where the change is no larger than its mesh error."""
    return "no change beyond the mesh error" if abs(change) <= error else points(change, error)


# --- lists and sentences ---


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def with_files(text: str, written: Sequence[Path]) -> str:
    """The text, and below it what was written."""
    return "\n".join([text, "", *map(wrote, written)])


def wrote(path: Path) -> str:
    return f"wrote {path}"


def quoted(text: str) -> str:
    return f"'{text}'"


def several(words: Iterable[str], joint: str = "and") -> str:
    """'a', 'a and b', 'a, b and c'."""
    words = list(words)
    return "".join(words) if len(words) < 2 else f"{', '.join(words[:-1])} {joint} {words[-1]}"


def shortened(text: str, most: int) -> str:
    """The text, cut at a word and with dots after it where it has more letters than `most`."""
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0] + " ..."


def joints_would_need(loss_factor: float) -> str:
    """'joints and linings would then need a loss factor of 3, which no glued wood has: ...': of a loss that no part explains."""
    told = f"joints and linings would then need a loss factor of {loss_factor:.2g}"
    return f"{told}, which no glued wood has: that end lies too far out" if loss_factor > GLUED_WOOD else told
