"""Tap tones from a recording: which tones ring, and how fast each dies away.

A tone decays as exp(-pi f eta t), eta its loss factor. Each is shifted to zero frequency, smoothed with a Gaussian (an
exponential stays an exponential under it, once its start is past) and its logarithm fitted by a straight line.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.signal import find_peaks, resample_poly

from fem.recordings import Recording, find_impulses

RANGE = 10.0  # dB, least fall that a decay is read from
Reading = tuple[float, float, float, float, float]  # see read_decay
HUM = 2e-4  # loss factor below which a tone is no wood


@dataclass(frozen=True)
class Tone:
    """One tone of the taps. loss None: its decay could not be read, the notes say why."""

    frequency: float  # Hz
    frequency_uncertainty: float  # standard uncertainty, Hz
    loss: float | None
    loss_uncertainty: float | None
    level: float  # dB below the loudest tone
    taps: int  # from how many taps
    notes: tuple[str, ...] = field(default=())


def find_tones(
    recording: Recording, lowest: float = 20.0, highest: float = 1000.0, count: int = 12
) -> tuple[list[Tone], tuple[str, ...]]:
    """([Tone] by frequency, notes) of a recording of taps: the `count` strongest between two frequencies [Hz].

    Raises ValueError if no tap or no tone is found.
    """
    taps, notes = find_impulses(recording)
    if not taps:
        raise ValueError("no tap found in the recording; expected a sharp start and at least 0.2 s of decay")
    down = max(1, int(recording.rate / (5 * highest)))  # fewer samples, all that the tones need
    rate = recording.rate / down
    pieces = [resample_poly(recording.signal[s:e], 1, down) for s, e in taps]
    peaks, levels = _peaks(pieces, rate, lowest, highest, count)
    if not len(peaks):
        raise ValueError(f"no clear tone between {lowest:g} and {highest:g} Hz in the recording; is it too noisy?")
    order = np.argsort(peaks)
    peaks, levels = peaks[order], levels[order]
    gaps = np.diff(np.concatenate([[0.0], peaks, [2 * highest]]))
    tones = [
        _tone(pieces, rate, f, level - levels.max(), min(gaps[i], gaps[i + 1]))
        for i, (f, level) in enumerate(zip(peaks, levels, strict=True))
    ]
    read = [tone for tone in tones if tone.loss is not None]
    if 2 * sum(bool(tone.notes) for tone in read) > len(read):
        notes += ("most tones do not die away evenly: automatic gain, or the plate touches something",)
    if not read:
        notes += ("no decay can be read: too much noise, taps too close together, or automatic gain that levels all",)
    return tones, recording.notes + notes


def _peaks(
    pieces: Sequence[np.ndarray], rate: float, lowest: float, highest: float, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """(frequencies, levels [dB]) of the strongest peaks of the mean spectrum of the taps."""
    pieces = [piece[: int(2 * rate)] for piece in pieces]
    size = max(2 ** int(np.ceil(np.log2(rate / 0.1))), max(map(len, pieces)))
    power = np.zeros(size // 2 + 1)
    for piece in pieces:
        window = np.cos(np.pi / 2 * np.arange(len(piece)) / len(piece)) ** 2
        power = power + abs(np.fft.rfft(piece * window, size)) ** 2
    step = rate / size
    at = np.arange(max(2, int(lowest / step)), min(int(highest / step), len(power) - 2))
    level = 10 * np.log10(power + 1e-12 * power.max())
    floor = median_filter(level[at], size=int(60 / step) | 1)
    peaks, about = find_peaks(level[at], prominence=8, distance=max(1, int(2 / step)))
    clear = (level[at][peaks] > floor[peaks] + 10) & (level[at][peaks] > level[at].max() - 55)
    peaks = at[peaks[clear][np.argsort(-about["prominences"][clear])][:count]]
    left, middle, right = level[peaks - 1], level[peaks], level[peaks + 1]
    return (peaks + 0.5 * (left - right) / (left - 2 * middle + right)) * step, middle


def _tone(pieces: Sequence[np.ndarray], rate: float, frequency: float, level: float, gap: float) -> Tone:
    """Tone at about `frequency`, its nearest neighbour `gap` Hz away, from all taps."""
    reads = [read_decay(piece, rate, frequency, gap) for piece in pieces]
    good = [read for read in reads if read is not None]
    if not good:
        note = "its decay is too short or too near the noise to be read"
        return Tone(float(frequency), 0.5, None, None, float(level), len(pieces), (note,))
    f, loss, f_uncertainty, loss_uncertainty, bend = np.array(good).T
    notes = ("it does not die away evenly",) if np.median(bend) > 0.3 else ()
    if np.median(loss) < HUM:
        return Tone(float(np.median(f)), 0.1, None, None, float(level), len(good), ("it does not die away: hum?",))
    return Tone(
        float(np.median(f)),
        _mean_uncertainty(f, f_uncertainty),
        float(np.median(loss)),
        _mean_uncertainty(loss, loss_uncertainty),
        float(level),
        len(good),
        notes,
    )


def _mean_uncertainty(values: np.ndarray, uncertainties: np.ndarray) -> float:
    """Standard uncertainty of the middle of several readings: their scatter, or their own uncertainty if larger."""
    own = np.sqrt((uncertainties**2).mean() / len(values))
    scatter = values.std(ddof=1) / np.sqrt(len(values)) if len(values) > 1 else 0.0
    return float(max(own, scatter))


def read_decay(signal: np.ndarray, rate: float, frequency: float, gap: float) -> Reading | None:
    """(frequency, loss factor, their uncertainties, bend) of the tone near `frequency` in one tap; None if unreadable.

    gap: distance to the nearest other tone, Hz. bend: relative change of the decay rate between the two halves.
    """
    width = min(gap / 4, frequency / 5)  # Hz, of the Gaussian: the neighbour is 70 dB down
    sigma = 1 / (2 * np.pi * width)  # s
    t = np.arange(len(signal)) / rate
    z = gaussian_filter1d(signal * np.exp(-2j * np.pi * frequency * t), sigma * rate, truncate=5, mode="constant")
    every = max(1, int(0.05 * sigma * rate))
    first, last = int(3.5 * sigma * rate), len(z) - int(3.5 * sigma * rate)
    z, t = z[first:last:every], t[first:last:every]
    if len(t) < 20:
        return None
    level = np.log(abs(z) + 1e-15)
    usable = np.flatnonzero(level < max(_noise(t, level) + 1.0, level[0] - 4.6))  # 9 dB above noise, or 40 dB down
    end = usable[0] if len(usable) else len(level)
    if end < 10 or (level[0] - level[end - 1]) * 8.686 < RANGE:
        return _steady(level, frequency)
    t, level, phase = t[:end], level[:end], np.unwrap(np.angle(z[:end]))
    slope, drift = np.polyfit(t, level, 1), np.polyfit(t, phase, 1)
    independent = max(3.0, (t[-1] - t[0]) / (3.5 * sigma))
    wobble = np.sqrt(12 / independent) / (t[-1] - t[0])  # of a slope, per unit of rms about the line
    halves = [np.polyfit(t[part], level[part], 1)[0] for part in (slice(None, end // 2), slice(end // 2, None))]
    bend = abs(halves[1] - halves[0]) / -slope[0]
    f = frequency + drift[0] / (2 * np.pi)
    f_uncertainty = np.std(phase - np.polyval(drift, t)) * wobble / (2 * np.pi)
    rate_uncertainty = np.hypot(np.std(level - np.polyval(slope, t)) * wobble, 0.25 * bend * slope[0])
    return f, -slope[0] / (np.pi * f), f_uncertainty, rate_uncertainty / (np.pi * f), bend


def _noise(t: np.ndarray, level: np.ndarray) -> float:
    """Highest level (natural logarithm) of the last tenth if the curve has flattened out there, else none at all."""
    fall = np.polyfit(t[: len(t) // 3], level[: len(t) // 3], 1)[0]
    tail = np.polyfit(t[-len(t) // 4 :], level[-len(t) // 4 :], 1)[0]
    return level[-max(2, len(level) // 10) :].max() if tail > 0.5 * fall else -np.inf


def _steady(level: np.ndarray, frequency: float) -> Reading | None:
    """Reading of a tone that hardly falls at all over the recording, as hum does; else None."""
    if np.ptp(level) < 0.3:
        return frequency, 0.0, 0.1, 0.0, 0.0
    return None
