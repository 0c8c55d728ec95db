"""Peaks of the driving-point admittance Y = v/F: what a tap at the bridge shows, with frequency, Q and effective mass.

Near a mode Y(omega) = i omega sum_k r_k / (lambda_k - omega^2), lambda_k = omega_k^2 (1 + i eta_k) and residue
r_k = (f'x_k)^2 / (x_k' B x_k): a peak of height Q/(m omega) where the nearest pole stands clear, Q = 1/eta and m = 1/|r|. Both are
taken from the pole, not from the peak's half-power width: a neighbour or the modes further off widen that, or leave no
half-power point at all. Ewins, Modal Testing (2000), ch. 2 and 4.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fem.radiation import RadiationAt, added_mass_at, radiation_at
from fem.response import CHUNK, ModalModel, losses

LEAST_DB = 3.0  # prominence from which on a maximum is told as a peak; common practice, no source


@dataclass(frozen=True)
class Poles:
    """Poles of a model and their residues at k places."""

    frequency: np.ndarray  # (m,) Hz
    loss_factor: np.ndarray  # (m,)
    residue: np.ndarray  # (k, m) complex, 1/kg


@dataclass(frozen=True)
class Peak:
    """A maximum of |Y|, and the pole that makes it."""

    frequency: float  # Hz, of the maximum
    mobility: float  # s/kg, |Y| there
    prominence_db: float  # above the higher of the lowest points between it and a higher maximum, or the range's ends
    quality: float  # Q of the pole
    effective_mass: float  # kg, of the pole
    pole: int  # its place among the poles


def admittance(
    model: ModalModel, loads: np.ndarray, frequency: np.ndarray, outside: RadiationAt | None = None
) -> np.ndarray:
    """Y (w, k) [s/kg] at k places, each driven by itself: forces whose work on the unknowns is loads (k, n), frequency (w,) [Hz].

    outside: radiation_at of the model's radiation and these frequencies, where it is there already.
    """
    omega, (hysteretic, viscous) = 2 * np.pi * frequency, losses(model)
    if outside is None and model.radiation is not None:
        outside = radiation_at(model.radiation, omega)
    Y = np.empty((len(omega), len(loads)), complex)
    for rows in (slice(i, i + CHUNK) for i in range(0, len(omega), CHUNK)):
        w = omega[rows, None, None]
        D = model.stiffness + 1j * hysteretic + 1j * w * viscous - w**2 * model.mass
        if outside is not None:
            D[:, outside.unknowns[:, None], outside.unknowns] += 1j * w * outside.impedance[rows]
        u = np.linalg.solve(D, np.broadcast_to(loads.T.astype(complex), (len(D), *loads.T.shape)))
        Y[rows] = 1j * omega[rows, None] * np.einsum("kn,wnk->wk", loads, u)
    return Y


class DampedModes(Protocol):
    """What is known of complex modes, here and with air alike."""

    @property
    def frequency(self) -> np.ndarray:
        """(m,) Hz."""
        ...

    @property
    def loss_factor(self) -> np.ndarray:
        """(m,)"""
        ...

    @property
    def shape(self) -> np.ndarray:
        """(n, m) complex."""
        ...


def poles(model: ModalModel, modes: DampedModes, loads: np.ndarray) -> Poles:
    """Poles of a model from its complex modes, at loads (k, n) as in `admittance`.

    B holds the air outside as at each mode's own frequency; how dashpots and sound change with frequency is left out of the
    residue, which is right to the order of the loss factor.
    """
    x = modes.shape
    B_x = model.mass @ x
    if model.radiation is not None:
        added = added_mass_at(model.radiation, 2 * np.pi * modes.frequency)
        B_x = B_x + np.einsum("mij,jm->im", added, x)
    return Poles(modes.frequency, modes.loss_factor, (loads @ x) ** 2 / np.sum(x * B_x, axis=0))


def peaks(frequency: np.ndarray, Y: np.ndarray, found: Poles, place: int, least_db: float = LEAST_DB) -> list[Peak]:
    """[Peak] of Y (w,) over frequency (w,) [Hz] at one place of the Poles, ascending.

    A maximum counts if it stands out by least_db and if the pole that adds most to it lies within its own half-power width of it: so
    a swell beside an antiresonance is no peak, nor is a mode that hardly moves the place. frequency: steps finer than the
    half-power widths; the maximum is that of a parabola through three points of the level.
    """
    level = 20 * np.log10(np.abs(Y))
    lam = (2 * np.pi * found.frequency) ** 2 * (1 + 1j * found.loss_factor)
    told = []
    for i in (np.flatnonzero((level[1:-1] > level[:-2]) & (level[1:-1] >= level[2:])) + 1).tolist():
        stands_out = _prominence(level, i)
        w = 2 * np.pi * frequency[i]
        k = int(np.argmax(np.abs(found.residue[place] / (lam - w**2))))
        if stands_out < least_db or abs(frequency[i] - found.frequency[k]) > found.frequency[k] * found.loss_factor[k]:
            continue
        a, b, c = level[i - 1 : i + 2]
        shift = (a - c) / (a - 2 * b + c) / 2
        step = (frequency[i + 1] - frequency[i - 1]) / 2
        height = 10 ** ((b - (a - c) * shift / 4) / 20)
        mass = 1 / abs(found.residue[place, k])
        at, quality = float(frequency[i] + shift * step), float(1 / found.loss_factor[k])
        told.append(Peak(at, float(height), stands_out, quality, float(mass), k))
    return told


def _prominence(level: np.ndarray, i: int) -> float:
    """By how much the maximum at i stands above the higher of the lowest points on the way to a higher one on either side."""
    lowest = []
    for side in (level[i::-1], level[i:]):
        higher = np.flatnonzero(side > level[i])
        lowest.append(side[: higher[0] if len(higher) else len(side)].min())
    return float(level[i] - max(lowest))


def main_peaks(found: Sequence[Peak], heaviest: float, count: int = 2) -> list[Peak]:
    """The first `count` Peaks of an effective mass up to the heaviest [kg]: F1, F2 of a guitar, the neck's own modes left out."""
    return [p for p in found if p.effective_mass <= heaviest][:count]


def mean_level(frequency: np.ndarray, Y: np.ndarray, low: float, high: float) -> float:
    """Mean of 20 lg |Y| [dB re 1 s/kg] of Y (w,) over the logarithm of frequency (w,) between two frequencies [Hz]."""
    keep = (frequency >= low) & (frequency <= high)
    x, level = np.log(frequency[keep]), 20 * np.log10(np.abs(Y[keep]))
    return float(np.trapezoid(level, x) / (x[-1] - x[0]))
