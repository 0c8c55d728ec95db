"""One note out of a recording: where it starts, its pitch, and how its level falls once noise is taken off."""

import numpy as np
from scipy.ndimage import maximum_filter1d

from fem.decay import schroeder, slope_decay_time
from fem.recordings import Recording
from studies.common.note_names import short_name

BLOCK = 0.01  # s, of the power curve
LEAP = 10.0  # dB by which a note's start stands above what was before
ABOVE_FLOOR = 3.0  # times the noise at which a curve ends
SMOOTH = 0.05  # s, over which the noise is met
HEADROOM = 10.0  # dB that must lie between the end of a range and the noise
OUT_OF_TUNE = 60.0  # cents
ANOTHER = 0.7  # natural logarithm of amplitude by which another note's partials must stand higher


def find_notes(recording: Recording) -> list[tuple[int, int]]:
    """[(start, end)] in samples: a note starts where the level leaps by LEAP dB within 50 ms, to within 25 dB of the loudest."""
    block = int(BLOCK * recording.rate)
    rows = recording.signal[: len(recording.signal) // block * block].reshape(-1, block)
    level_dB = 10 * np.log10((rows**2).mean(1) + 1e-14)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(level_dB, 5, constant_values=level_dB.min()), 5).max(axis=1)
    before, after = near[: len(level_dB)], near[5 : 5 + len(level_dB)]  # loudest of the 50 ms before and after
    leap, loud = after - before, after > level_dB.max() - 25
    at = np.flatnonzero((leap > LEAP) & loud)
    runs = [run for run in np.split(at, np.flatnonzero(np.diff(at) * BLOCK > 0.15) + 1) if run.size]
    starts = [int(run[0] + leap[run[0] : run[-1] + 1].argmax()) for run in runs]
    ends = [*(s - 5 for s in starts[1:]), len(level_dB)]
    return [(s * block, e * block) for s, e in zip(starts, ends) if (e - s) * BLOCK > 0.3]


def find_fundamental(signal: np.ndarray, rate: float, nominal: float) -> tuple[float, list[str]]:
    """(fundamental [Hz], warnings) of a note whose nominal pitch [Hz] is known to within OUT_OF_TUNE cents.

    The comb of six partials that stands highest in the spectrum, on a logarithmic scale; a comb elsewhere that stands far
    higher means another note.
    """
    size = 2 ** int(np.ceil(np.log2(8 * rate)))
    piece = signal[int(0.05 * rate) : int(3 * rate)]
    spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), size))
    step = rate / size
    widened = maximum_filter1d(spectrum, 2 * int(1.0 / step) + 1)  # 1 Hz either way
    trial = nominal * 2 ** (np.arange(-1300, 1301, 4) / 1200)
    at = np.round(np.outer(trial, np.arange(1, 7)) / step).astype(int).clip(0, len(spectrum) - 1)
    score = np.log(widened[at] + 1e-6 * spectrum.max()).mean(axis=1)
    near = np.abs(1200 * np.log2(trial / nominal)) < OUT_OF_TUNE
    best, other = trial[near][score[near].argmax()], trial[score.argmax()]
    low, high = (int(best * 2 ** (c / 1200) / step) for c in (-30, 30))
    fundamental = (low + spectrum[low : high + 1].argmax()) * step
    heard, named = short_name(other), short_name(nominal)
    wrong = score.max() > score[near].max() + ANOTHER and heard != named
    return float(fundamental), [f"this sounds like {heard}, not {named}: check the note's name"] if wrong else []


def power_curve(signal: np.ndarray, rate: float) -> tuple[np.ndarray, np.ndarray]:
    """(t (k,), mean power (k,)) of a signal in blocks, t at their starts."""
    block = int(BLOCK * rate)
    rows = signal[: len(signal) // block * block].reshape(-1, block)
    return np.arange(len(rows)) * block / rate, (rows**2).mean(1)


def mean_power(signal: np.ndarray, rate: float) -> float | None:
    """Mean power before the note, or None where less than .2 s is there."""
    return float(np.mean(signal**2)) if len(signal) > 0.2 * rate else None


def decay_curve(t: np.ndarray, power: np.ndarray) -> tuple[np.ndarray, float, float | None]:
    """(level [dB] of the sound still to come (k,), usable range [dB], noise power or None).

    The noise, where the curve flattens out into it, is taken off; the curve ends where it comes within 5 dB of the
    noise, and the tail beyond is added as it falls there. Beyond that end the level is nan.
    """
    floor = _floor(power)
    count = max(1, int(SMOOTH / BLOCK))
    smooth = np.convolve(power, np.ones(count) / count, "same")
    last = floor or max(power[-count:].mean(), 1e-300)
    below = smooth < ABOVE_FLOOR * floor if floor is not None else np.zeros(len(power), bool)
    end = max(int(below.argmax()), 1) if below.any() else len(power)
    clean = np.maximum(power[:end] - (floor or 0.0), 0.0)
    curve = np.full(len(power), np.nan)
    curve[:end] = schroeder(clean, _tail(t[:end], clean))
    return curve, float(10 * np.log10(power.max() / last)), floor


def _tail(t, power):
    """Sum of the power after the last sample, as the last fifth falls; 0 if it does not fall."""
    back = slice(len(power) - max(5, len(power) // 5), None)
    if len(power) < 10:
        return 0.0
    fall, _ = np.polyfit(t[back], np.log(power[back] + 1e-9 * power.max()), 1)
    last = power[back].mean() * np.exp(fall * (t[-1] - t[back].mean()))
    return last / (np.exp(-fall * (t[1] - t[0])) - 1) if fall < 0 else 0.0


def _floor(power):
    """Noise power: the mean of the last tenth, if the last fifth has flattened out; else None."""
    n = len(power)
    if n < 30:
        return None
    last, before = power[-n // 10 :].mean(), power[-n // 5 : -n // 10].mean()
    earlier = power[n // 2 : -n // 5 or None].mean()
    flat = last > 0 and before < 1.6 * last
    return float(last) if flat and (earlier > 1.3 * last or before < 1.15 * last) else None


def read_range(
    t: np.ndarray, curve: np.ndarray, span: tuple[float, float], usable: float
) -> tuple[float | None, float | None]:
    """(T60 [s], rms [dB] off the line) over a range of dB, or (None, None) where the recording does not reach so far."""
    known = np.isfinite(curve)
    if usable + span[1] < HEADROOM:
        return None, None
    try:
        return slope_decay_time(t[known], curve[known], *span)
    except ValueError:
        return None, None
