"""Poles of what rings after taps: frequency and Q with standard uncertainties, from all taps of a recording together.

After a tap a body's sound is a sum of dying exponentials, y(t) = sum_k a_k z_k^t. Over N samples its discrete Fourier transform
is, at the transform's own frequencies, exactly sum_k A_k / (1 - z_k exp(-i theta)), A_k = a_k (1 - z_k^N): no window, no
leakage, nothing cut, and white noise stays independent from line to line (Pintelon and Schoukens, System Identification, 2nd
ed. 2012, ch. 6: the transient term). Taps share the z_k and differ in A_k, as columns of a response matrix do.

A band is fitted with one pole, two, three and so on, each new one started where it explains most of what is left, and all refined by
nonlinear least squares on the exact sum: amplitudes projected out (Golub and Pereyra, SIAM J. Numer. Anal. 10:413, 1973; Kaufman,
BIT 15:49, 1975), far poles a polynomial. For white noise that is the maximum-likelihood estimate, its covariance the inverse of
the normal matrix. The Bayesian information criterion says how many poles there are (Schwarz, Ann. Statist. 6:461, 1978); the
orders beyond show which of them stay where they are.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

BEYOND = 3  # orders past the one that the criterion chooses
TWINS = 0.3  # half widths within which two poles are told as one
MOST = 24  # poles in one band
GRID_Q = (8.0, 25.0, 80.0, 1e4)  # of a new pole
SAME_WIDTHS, SAME_DAMPING = (
    0.3,
    0.3,
)  # change, in half widths and of the decay rate, of a pole found again at another order
BACKGROUND = 3  # terms of the polynomial that stands for poles outside a band
BAND = 0.35  # width of a band over its lower end, at least NARROWEST Hz
NARROWEST = 60.0  # Hz
STEPS = 40  # of Gauss and Newton at most


@dataclass(frozen=True)
class Pole:
    """One pole of the taps."""

    frequency: float  # Hz, of the ringing: Im s / 2 pi
    frequency_uncertainty: float  # Hz, standard
    loss_factor: float  # 2 decay rate / omega; Q is its inverse
    loss_factor_uncertainty: float
    amplitude: np.ndarray  # (taps,) at the start of each tap
    orders: int  # at how many orders in a row it came back
    scatter: float  # by how much taps differ beyond the noise, in standard deviations; 1: not at all

    @property
    def quality(self) -> float:
        return 1 / self.loss_factor

    @property
    def quality_uncertainty(self) -> float:
        return self.loss_factor_uncertainty / self.loss_factor**2


@dataclass(frozen=True)
class Stabilisation:
    """What each order found, (n,) each: order, frequency [Hz], loss factor, whether it was there at the order before."""

    order: np.ndarray
    frequency: np.ndarray
    loss_factor: np.ndarray
    stable: np.ndarray


def find_poles(taps: np.ndarray, rate: float, lowest: float, highest: float) -> tuple[list[Pole], Stabilisation]:
    """([Pole] by frequency, Stabilisation) of taps (taps, N), each from where it rings freely, between two frequencies [Hz]."""
    N = taps.shape[1]
    frequency, Y = np.fft.rfftfreq(N, 1 / rate), np.fft.rfft(taps)
    found: list[Pole] = []
    seen = [np.empty((0, 4))]
    for low, high in bands(lowest, highest):
        margin = (high - low) / 2
        lines = (frequency >= max(low - margin, 0.5 * lowest)) & (frequency <= min(high + margin, 0.48 * rate))
        band = Band(frequency[lines], np.concatenate([Y[:, lines].real, Y[:, lines].imag], axis=1).T, rate, N)
        fits = orders(band)
        rows, poles = told(band, fits)
        seen.append(rows[(rows[:, 1] >= low) & (rows[:, 1] < high)])
        found += [
            p for p in poles if low - rate / N <= p.frequency < high + rate / N and not _known(p, found, rate / N)
        ]
    order, f, d, stable = np.concatenate(seen).T
    return sorted(found, key=lambda p: p.frequency), Stabilisation(order.astype(int), f, 2 * d / f, stable.astype(bool))


def _known(pole: Pole, found: Sequence[Pole], line: float) -> bool:
    """Whether a pole on the edge of two bands was found in the other; line: Hz between lines."""
    width = max(line, pole.loss_factor * pole.frequency) / 2
    return any(abs(other.frequency - pole.frequency) < width for other in found[-3:])


def bands(lowest: float, highest: float) -> list[tuple[float, float]]:
    """[(low, high)] that fill a range [Hz]."""
    edges = [lowest]
    while (end := edges[-1] + max(NARROWEST, BAND * edges[-1])) < highest:
        edges.append(end)
    if len(edges) > 1 and highest - edges[-1] < NARROWEST / 2:
        edges.pop()
    edges.append(highest)
    return list(zip(edges, edges[1:]))


@dataclass(frozen=True)
class Band:
    """Lines of the transform: frequency (lines,) [Hz]; y (2 lines, taps), real parts above imaginary ones; rate [1/s] and N samples."""

    frequency: np.ndarray
    y: np.ndarray
    rate: float
    N: int


@dataclass(frozen=True)
class _Fit:
    """Poles (K,) [Hz + i Hz], amplitudes (2K + 2B, taps), residual (rows, taps) and the projected derivatives (rows, 2K, taps)."""

    pole: np.ndarray
    amplitude: np.ndarray
    residual: np.ndarray
    derivative: np.ndarray
    basis: np.ndarray  # orthonormal, of all columns

    @property
    def normal(self) -> np.ndarray:
        return np.tensordot(self.derivative, self.derivative, ((0, 2), (0, 2)))

    @property
    def sum(self) -> float:
        return float(np.sum(self.residual**2))


def orders(band: Band) -> list[_Fit]:
    """[_Fit] with 0, 1, 2 ... poles, BEYOND past the best by the criterion."""
    f = band.frequency[1:-1]
    grid = np.concatenate([f + 1j * f / (2 * Q) for Q in GRID_Q])
    columns = _columns(band, grid)[0]
    fits = [_fit(band, np.empty(0, complex))]
    room = band.y.shape[0] // 4
    while len(fits) <= min(MOST, room) and len(fits) - 1 <= best(band, fits) + BEYOND:
        fits.append(_converged(band, np.append(fits[-1].pole, grid[_next(columns, fits[-1])])))
    return fits


def best(band: Band, fits: Sequence[_Fit]) -> int:
    """The order of the least Bayesian information criterion, of those without twins."""
    size, taps = band.y.size, band.y.shape[1]
    cost = [size * np.log(fit.sum) + len(fit.pole) * (2 + 2 * taps) * np.log(size) for fit in fits]
    return int(np.argmin([np.inf if _twins(fit.pole) else c for fit, c in zip(fits, cost)]))


def _twins(pole: np.ndarray) -> bool:
    """Whether two poles lie so near that they are one whose frequency wanders from tap to tap."""
    f, d = pole.real, pole.imag
    near = np.abs(f[:, None] - f) < TWINS * np.minimum(d[:, None], d)
    alike = np.abs(np.log(d[:, None] / d)) < np.log(3)
    return bool(np.any(np.triu(near & alike, 1)))


def _next(columns: np.ndarray, fit: _Fit) -> int:
    """Which pole, of those whose two columns each are given (2 lines, 2 n), would lower the sum of squares most."""
    of = lambda x, y: np.einsum("ik,ik->k", x, y)
    (a, b), (pa, pb) = ((m[:, 0::2], m[:, 1::2]) for m in (columns, fit.basis.T @ columns))
    aa, ab, bb = of(a, a) - of(pa, pa), of(a, b) - of(pa, pb), of(b, b) - of(pb, pb)
    y = fit.residual.T @ columns
    ya, yb = y[:, 0::2], y[:, 1::2]
    size = np.maximum(aa * bb - ab**2, 1e-9 * of(a, a) * of(b, b))
    return int(np.argmax((bb * of(ya, ya) - 2 * ab * of(ya, yb) + aa * of(yb, yb)) / size))


def told(band: Band, fits: Sequence[_Fit]) -> tuple[np.ndarray, list[Pole]]:
    """(rows (n, 4) of order, frequency and half width [Hz], 1 where found again at the order before; [Pole] of the best order)."""
    rows = []
    for n, fit in enumerate(fits):
        rows += [(n, p.real, p.imag, float(n > 0 and _again(p, fits[n - 1].pole))) for p in fit.pole]
    chosen = best(band, fits)
    fit = fits[chosen]
    K, taps = len(fit.pole), band.y.shape[1]
    if not K:
        return np.array(rows).reshape(-1, 4), []
    free = band.y.size - taps * (2 * K + 2 * BACKGROUND) - 2 * K
    noise = fit.sum / max(free, 1)
    covariance = np.linalg.pinv(fit.normal) * noise
    scatter = _scatter(fit, noise)
    sd = np.sqrt(np.diag(covariance)) * np.repeat(scatter, 2)
    found = []
    for k, p in enumerate(fit.pole):
        z = np.exp(2 * np.pi * (-p.imag + 1j * p.real) / band.rate)
        amplitude = 2 * np.hypot(*fit.amplitude[2 * k : 2 * k + 2]) / max(abs(1 - z**band.N), 1e-9)
        count = sum(_again(p, other.pole) for other in fits[chosen:])
        found.append(
            Pole(
                p.real, sd[2 * k], 2 * p.imag / p.real, 2 * sd[2 * k + 1] / p.real, amplitude, count, float(scatter[k])
            )
        )
    return np.array(rows).reshape(-1, 4), found


def _again(pole: complex, others: np.ndarray) -> bool:
    near = np.abs(others.real - pole.real) < SAME_WIDTHS * pole.imag
    return bool(np.any(near & (np.abs(others.imag / pole.imag - 1) < SAME_DAMPING)))


def _scatter(fit: _Fit, noise: float) -> np.ndarray:
    """(K,) by how much the taps' own poles scatter over what the noise lets them; 1 where it is no more than chance."""
    taps, K = fit.residual.shape[1], len(fit.pole)
    if taps < 3:
        return np.ones(K)
    step, weight = np.zeros((taps, 2 * K)), np.zeros((taps, 2 * K))
    for t in range(taps):
        J = fit.derivative[:, :, t]
        inverse = np.linalg.pinv(J.T @ J)
        step[t], weight[t] = inverse @ (J.T @ fit.residual[:, t]), 1 / np.maximum(np.diag(inverse) * noise, 1e-300)
    mean = (step * weight).sum(0) / weight.sum(0)
    chi = (((step - mean) ** 2) * weight).sum(0) / (taps - 1)
    birge = np.sqrt(np.maximum(chi[0::2], chi[1::2]))
    return np.where(birge > 1 + 2 * np.sqrt(0.5 / (taps - 1)), birge, 1.0)


def _converged(band: Band, pole: np.ndarray) -> _Fit:
    """_Fit at the least sum of squares near `pole`, by Levenberg's and Marquardt's steps."""
    fit, damping = _fit(band, pole), 1e-3
    for _ in range(STEPS):
        normal, slope = fit.normal, np.tensordot(fit.derivative, fit.residual, ((0, 2), (0, 1)))
        step = np.linalg.lstsq(normal + damping * np.diag(np.diag(normal)), slope, rcond=None)[0].reshape(-1, 2)
        tried = fit.pole + step[:, 0] + 1j * step[:, 1]
        tried = tried.real.clip(*band.frequency[[0, -1]]) + 1j * tried.imag.clip(
            1e-3 * band.rate / band.N, band.frequency[-1] / 4
        )
        new = _fit(band, tried)
        if new.sum < fit.sum:
            done = 1 - new.sum / fit.sum < 1e-7
            fit, damping = new, damping / 5
            if done:
                break
        elif (damping := damping * 10) > 1e6:
            break
    return fit


def _columns(band: Band, pole: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Columns (2 lines, 2 K) of real amplitudes, two a pole [Hz + i Hz], and (lines, K) derivatives of both halves by s / 2 pi."""
    w = np.exp(-2j * np.pi * band.frequency[:, None] / band.rate)
    scale = 2 * np.pi / band.rate
    z = np.exp(scale * (1j * pole.real - pole.imag))
    a, b = 1 / (1 - z * w), 1 / (1 - z.conj() * w)
    columns = np.stack([_split(a + b), _split(1j * (a - b))], axis=2).reshape(2 * len(w), -1)
    return columns, scale * z * w * a**2, scale * z.conj() * w * b**2


def _split(c: np.ndarray) -> np.ndarray:
    return np.concatenate([c.real, c.imag])


def _fit(band: Band, pole: np.ndarray) -> _Fit:
    """_Fit of given poles [Hz + i Hz]: amplitudes by least squares."""
    f, y = band.frequency, band.y
    G, da, db = _columns(band, pole)
    x = 2 * (f - f[0]) / (f[-1] - f[0]) - 1
    smooth = np.polynomial.legendre.legvander(x, BACKGROUND - 1) + 0j
    q, r = np.linalg.qr(np.hstack([G, _split(smooth), _split(1j * smooth)]))
    amplitude = np.linalg.lstsq(r, q.T @ y, rcond=None)[0]
    residual = y - q @ (q.T @ y)
    c = amplitude[0 : 2 * len(pole) : 2] + 1j * amplitude[1 : 2 * len(pole) : 2]
    by_f = 1j * da[:, :, None] * c - 1j * db[:, :, None] * c.conj()
    by_d = -da[:, :, None] * c - db[:, :, None] * c.conj()
    D = np.stack([_split(by_f), _split(by_d)], axis=2).reshape(len(y), 2 * len(pole), y.shape[1])
    flat = D.reshape(len(y), D.shape[1] * D.shape[2])
    D = (flat - q @ (q.T @ flat)).reshape(D.shape) if len(pole) else D
    return _Fit(pole, amplitude, residual, D, q)
