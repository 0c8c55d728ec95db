"""The sound of a plucked note in closed form: what is radiated when, how it falls, and in which octave."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fem.coupled_string import FreeDecay, Motions, crossing, motions_of, overlaps, still_heard

FIRST = 0.5  # s of a note by which its level is told
OCTAVES = (63, 125, 250, 500, 1000, 2000)  # Hz, nominal midbands of IEC 61260-1


@dataclass(frozen=True)
class Sound:
    """What a FreeDecay radiates. Its k motions run as b = exp(rate t); after t there comes Re sum b_i (A_ij conj(b_j) + B_ij b_j)."""

    rate: np.ndarray  # (k,) 1/s, of conjugate pairs one, the slowest first
    A: np.ndarray  # (k, k) J
    B: np.ndarray  # (k, k) J

    def later(self, t: float | np.ndarray) -> np.ndarray:
        """Energy [J] radiated after times t (k,)."""
        times = np.atleast_1d(t)
        left = still_heard(self.rate, times.min())
        b = np.exp(np.outer(self.rate[:left], times))
        return (b * (self.A[:left, :left] @ b.conj() + self.B[:left, :left] @ b)).real.sum(0)


def sound_of(ringing: FreeDecay | Motions) -> Sound:
    """Sound of a note, by the overlaps of its complex modes (see dissipated); of no motion where nothing radiates."""
    m = motions_of(ringing)
    if m.body.radiation is None or not m.rate.real.max() < 0:
        return Sound(np.zeros(0, complex), *np.zeros((2, 0, 0), complex))
    order = np.argsort(-m.rate.real)
    rate = m.rate[order]
    v = m.velocity[: len(m.body.omega), order]
    out = m.body.radiation.T @ np.hstack([v.real, v.imag])
    k, pairs, (A, B) = len(rate), out.T @ out, overlaps(rate)
    rr, ii, ri, ir = pairs[:k, :k], pairs[k:, k:], pairs[:k, k:], pairs[k:, :k]
    return Sound(rate, (rr + ii + 1j * (ir - ri)) * A, (rr - ii + 1j * (ir + ri)) * B)


def radiated_later(ringing: FreeDecay) -> Callable[[float | np.ndarray], np.ndarray]:
    """Function t (k,) -> energy [J] radiated after t."""
    return sound_of(ringing).later


def radiated_decay_time(sound: Sound, decibel: float) -> float:
    """Time [s] at which the energy still to be radiated has fallen by so many dB; nan without radiation.

    That is the decay of Schroeder's curve of the sound, JASA 37:409 (1965). It differs from fall_time where a motion that
    hardly radiates, such as the string's along the top, outlives the others.
    """
    start = sound.later(0.0)[0]
    return crossing(lambda t: sound.later(t)[0], start, decibel) if start > 0 else float("nan")


def first_radiated(sound: Sound) -> float:
    """Energy [J] radiated in the FIRST half second; nan without radiation."""
    start, rest = sound.later(np.array([0.0, FIRST]))
    return float(start - rest) if start > 0 else float("nan")


def octave_edges(midband: int) -> tuple[float, float]:
    """Edges [Hz] of an octave band, base ten: exact midbands are 1000 G^k, G = 10^0.3 (IEC 61260-1)."""
    exact = 1000 * 10 ** (0.3 * np.round(np.log2(midband / 1000)))
    return float(exact * 10**-0.15), float(exact * 10**0.15)


def radiated_in_octaves(sound: Sound, highest: float) -> np.ndarray:
    """(octaves,) J radiated in each of OCTAVES by the motions whose frequency lies in it; nan of one that reaches above `highest` [Hz].

    What two motions of different bands radiate together averages out and is left out: the sum may miss the whole by that.
    """
    frequency, pairs = np.abs(sound.rate.imag) / (2 * np.pi), (sound.A + sound.B).real
    found = np.full(len(OCTAVES), np.nan)
    for k, (low, high) in enumerate(map(octave_edges, OCTAVES)):
        inside = (low <= frequency) & (frequency < high)
        if high <= highest:
            found[k] = pairs[np.ix_(inside, inside)].sum()
    return found
