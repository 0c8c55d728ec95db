"""How long a sound lasts: decay times from level curves, and Schroeder's backward integration of recordings."""

import numpy as np
from numpy.typing import ArrayLike


def level(power: ArrayLike) -> np.ndarray:
    """dB of a power or energy curve below its first value; silence is -inf."""
    power = np.asarray(power, float)
    with np.errstate(divide="ignore"):
        return 10 * np.log10(power / power[0])


def last_crossing(t: np.ndarray, level: np.ndarray, threshold: float) -> float:
    """Time [s] after which a level curve [dB] stays below a threshold, linear between samples; nan if it does not."""
    above = np.flatnonzero(level >= threshold)
    if not len(above):
        return float(t[0])
    i = above[-1]
    return float("nan") if i + 1 == len(t) else _between(t, level, i, threshold)


def first_crossing(t: np.ndarray, level: np.ndarray, threshold: float) -> float:
    """Time [s] at which a level curve [dB] first falls below a threshold; nan if it never does."""
    below = np.flatnonzero(level < threshold)
    if not len(below):
        return float("nan")
    return float(t[0]) if below[0] == 0 else _between(t, level, below[0] - 1, threshold)


def _between(t: np.ndarray, level: np.ndarray, i: int, threshold: float) -> float:
    """Where the straight line from sample i to i + 1 meets the threshold."""
    if not np.isfinite(level[i + 1]):
        return float(t[i + 1])
    part = (level[i] - threshold) / (level[i] - level[i + 1])
    return float(t[i] + part * (t[i + 1] - t[i]))


def decay_time(t: np.ndarray, level: np.ndarray) -> float:
    """T60 [s]: the last crossing of -60 dB; nan if the curve ends before."""
    return last_crossing(t, level, -60.0)


def early_decay_time(t: np.ndarray, level: np.ndarray) -> float:
    """[s] 6 x the time of the first 10 dB: what T60 would be if the note went on as it begins."""
    return 6 * first_crossing(t, level, -10.0)


def schroeder(power: ArrayLike, tail: float = 0.0) -> np.ndarray:
    """Level [dB] of the energy still to come, of evenly sampled power (k,). Schroeder, JASA 37:409 (1965).

    tail: energy after the last sample, in samples x power; 0 cuts the note off there, which bends the end of the curve
    down.
    """
    return level(np.cumsum(np.asarray(power, float)[::-1])[::-1] + tail)


def slope_decay_time(t: np.ndarray, level: np.ndarray, start: float = -5.0, end: float = -35.0) -> tuple[float, float]:
    """(T60 [s], rms [dB] off the line) of a straight line fitted to a level curve from `start` to `end` dB.

    Two decays compare only over the same range. ISO 3382-1 (2009) fits from -5 to -35 dB (T30). Raises ValueError if
    the curve does not reach so far down.
    """
    if not start > end:
        raise ValueError(f"decay from {start:g} to {end:g} dB: expected the first above the second")
    first, last = first_crossing(t, level, start), first_crossing(t, level, end)
    if not np.isfinite([first, last]).all():
        lowest = np.min(level[np.isfinite(level)])
        raise ValueError(f"the level falls by {-lowest:.0f} dB only; expected {-end:g} dB: record longer or quieter")
    inside = (t >= first) & (t <= last)
    if np.count_nonzero(inside) < 3:
        raise ValueError(f"{np.count_nonzero(inside)} samples between {start:g} and {end:g} dB; expected 3 or more")
    line = np.polyfit(t[inside], level[inside], 1)
    return float(-60 / line[0]), float(np.std(level[inside] - np.polyval(line, t[inside])))


def usable_range(power: ArrayLike, tail: float = 0.1) -> float:
    """dB from the start of a recording down to its noise, the mean of the last tenth: what a decay may be read over."""
    power = np.asarray(power, float)
    noise = power[-max(1, int(tail * len(power))) :].mean()
    return float(10 * np.log10(power.max() / noise)) if noise > 0 else float("inf")
