"""The taps of a recording, each cut to where it rings freely, all of one length and rate; what is no tap is left out and told."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy.ndimage import median_filter
from scipy.signal import butter, resample_poly, sosfilt

from fem.recordings import BLOCK, Recording, find_impulses

RATE = 3000  # 1/s, of what is fitted
CONTACT = 0.010  # s after the onset in which the knuckle may still touch; common practice, no source
STARTS, LEAP = (
    (160.0, 700.0),
    9.0,
)  # Hz, above hum, and dB: where the starts of taps are looked for, and how far the level leaps
LONGEST = 1.5  # s of a tap that are fitted
BEATS_NOISE = 6.0  # dB by which a tap must ring above the noise, 30 to 130 ms after its onset
ANOTHER = 10.0  # dB by which the level rises again where another sound comes in
UNLIKE = 0.5  # correlation of a sound's spectrum with that of the other taps below which it is no tap
EVEN = 0.25  # dB, scatter of the taps' levels that no hand is capable of; common practice, no source
EDGES = np.geomspace(40, 1200, 16)  # Hz, of the bands that compare the taps' spectra
PERSIST = 0.06  # s for which it must


@dataclass(frozen=True)
class Taps:
    """signal (taps, N) at RATE, each from CONTACT after its onset on; start (taps,) [s] of the onsets; notes for the maker."""

    signal: np.ndarray
    start: np.ndarray
    notes: tuple[str, ...]


def cut_taps(recording: Recording) -> Taps:
    """Taps of a recording. ValueError where there is none."""
    low = resampled(recording)
    sharp = sosfilt(butter(4, STARTS, "bandpass", fs=RATE, output="sos"), low)
    spans, notes = find_impulses(Recording(sharp, RATE), LEAP)
    if not spans:
        raise ValueError("no tap found in the recording; expected a sharp start and at least 0.2 s of decay")
    onsets, ends = [_onset(low, start) for start, _ in spans], [end for _, end in spans]
    firsts = [int((onset + CONTACT) * RATE) for onset in onsets]
    noise = _noise(low, [int(onset * RATE) for onset in onsets], ends)
    quiet = _noise(sharp, [int(onset * RATE) for onset in onsets], ends)
    rings = [_rings(low, first, noise) or _rings(sharp, first, quiet) for first in firsts]
    if not any(rings):
        raise ValueError("a click without decay: nothing rings on after it; hold what you tap so that it can ring")
    said, lengths, another = [], [], []
    for first, end, onset in zip(firsts, ends, onsets):
        stop, back = _another(sharp, first, end, quiet)
        lengths.append(min(stop - first, int(LONGEST * RATE)))
        another += [onset] if back else []
    if another:
        told = ", ".join(f"{onset:.1f} s" for onset in another)
        said.append(
            f"another sound (speech, a chair?) comes in while the tap at {told} dies away: it is read up to there"
        )
        notes = ()  # a level that rises and falls again is no automatic gain
    keep = np.array(rings) & (np.array(lengths) >= 0.5 * np.median(np.array(lengths)[rings]))
    kept = np.flatnonzero(keep)
    N = min(lengths[k] for k in kept)
    if N < 0.15 * RATE:
        raise ValueError("the taps come too close together; expected at least half a second between them")
    signal = np.array([low[firsts[k] : firsts[k] + N] for k in kept])
    like = _like(signal)
    left = sorted({*np.flatnonzero(~keep & (np.array(onsets) > 0.02)).tolist(), *kept[~like].tolist()})
    if left:
        at = ", ".join(f"{onsets[k]:.1f} s" for k in left)
        said.append(f"left out, cut short or unlike the other taps: at {at}")
    peaks = 20 * np.log10(np.abs(signal[like]).max(axis=1))
    if len(peaks) >= 4 and np.std(peaks, ddof=1) < EVEN:
        said.append(
            f"all {len(peaks)} taps are equally loud to within {np.std(peaks, ddof=1):.1f} dB, as no hand taps: automatic gain may be on; "
            "frequencies hold, decays may not"
        )
    start = np.array(onsets)[kept[like]]
    return Taps(signal[like] - signal[like].mean(axis=1, keepdims=True), start, (*recording.notes, *notes, *said))


def resampled(recording: Recording) -> np.ndarray:
    """The signal at RATE."""
    ratio = Fraction(RATE, round(recording.rate))
    return resample_poly(recording.signal, ratio.numerator, ratio.denominator)


def _onset(low, start):
    """s of the onset of the tap whose block begins at a sample."""
    first = max(0, start - int(BLOCK * RATE))
    piece = np.abs(low[first : start + int(6 * BLOCK * RATE)])
    return float((first + np.argmax(piece > 0.3 * piece.max())) / RATE)


def _noise(low, starts, ends):
    """Power between the taps: the least of any 50 ms before a tap or at its end."""
    width = int(0.05 * RATE)
    quiet = [low[max(0, s - width - 5) : max(0, s - 5)] for s in starts] + [low[e - width : e] for e in ends]
    return min((float(np.mean(x**2)) for x in quiet if len(x) >= width // 2), default=0.0)


def _rings(low, first, noise):
    """Whether something rings on from 20 to 120 ms after the contact."""
    piece = low[first + int(0.02 * RATE) : first + int(0.12 * RATE)]
    loudest = np.abs(low[max(0, first - int(2 * CONTACT * RATE)) : first + 1]).max()
    power = np.mean(piece**2) if len(piece) else 0.0
    return bool(power > noise * 10 ** (BEATS_NOISE / 10) and power > 1e-5 * loudest**2)


def _another(sharp, first, end, noise):
    """(sample where another sound comes in, or the end; whether one does): the level rises by ANOTHER dB and falls again by half."""
    block = int(0.02 * RATE)
    rows = sharp[first:end]
    rows = rows[: len(rows) // block * block].reshape(-1, block)
    if len(rows) < 10:
        return end, False
    level = 10 * np.log10(median_filter((rows**2).mean(1), 3, mode="nearest") + 1e-14)
    least = np.minimum.accumulate(level)
    up = (level > least + ANOTHER) & (level > 10 * np.log10(noise + 1e-14) + ANOTHER)
    count = int(PERSIST / 0.02)
    long = np.convolve(up, np.ones(count), "valid") == count
    beats = level > level[0] - 50
    at = np.flatnonzero(long & beats[: len(long)])
    if not len(at) or level[at[0] :].max() - level[at[0] + int(np.argmax(level[at[0] :])) :].min() < ANOTHER / 2:
        return end, False
    return first + max(0, int(np.flatnonzero(level[: at[0]] == least[at[0]])[-1])) * block, True


def _like(signal):
    """(taps,) whether each tap's spectrum is like the middle one of all; all of fewer than three."""
    if len(signal) < 3:
        return np.ones(len(signal), bool)
    f = np.fft.rfftfreq(signal.shape[1], 1 / RATE)
    power = np.abs(np.fft.rfft(signal)) ** 2
    bands = np.array([power[:, (f >= a) & (f < b)].sum(axis=1) for a, b in zip(EDGES, EDGES[1:])])
    level = np.log(bands + 1e-9 * bands.sum(axis=0))
    middle = np.median(level - level.mean(axis=0), axis=1)
    return np.array([np.corrcoef(column, middle)[0, 1] > UNLIKE for column in level.T])
