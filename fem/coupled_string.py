"""One string on a body: complex modes of the whole, decay after a pluck, and where the energy of the pluck goes.

String: w(x, t) = (1 - x/L) u_nut + (x/L) u_saddle + sum q_k sin(k pi x/L), away from the top and along it, on hinged ends.
Woodhouse, Acta Acustica 90:928 and 90:945 (2004), for strings and body solved together; the other strings are damped.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from fem.body_modes import HAND, STRING, BodyModes, dampings, held_by_hand
from fem.strings import Pluck, String, fretted_length, loss_factor, modal_mass, partials, plucked_shape

POLARISATIONS = (2, 1)  # axes of the body: away from the top, along it
SPARE = 4  # sines kept above the highest frequency answered for: they let the string's end force converge
FORGOTTEN = 1e-18  # of its first size: a motion so small is left out of a curve
LONGEST = 1e4  # s; a note that rings longer is said to ring for ever


@dataclass(frozen=True)
class CoupledString:
    """String and body as N oscillators with dashpots: N = n body modes + 2 m sines (m away from the top, m along it).

    State z = (omega X^-1 q, X^-1 qd) of the undamped modes X of the whole: its energy is |z|^2/2, and zd = A z.
    """

    string: String
    fret: int
    body: BodyModes
    sines: int  # m
    M: np.ndarray  # (N, N); the sines carry unit mass: y = sqrt(mu L/2) q
    K: np.ndarray  # (N, N)
    C: np.ndarray  # (N, N)
    X: np.ndarray  # (N, N) undamped modes, X'MX = 1
    omega: np.ndarray  # (N,) rad/s of the undamped modes
    poles: np.ndarray  # (2 N,) 1/s, in conjugate pairs or real
    states: np.ndarray  # (2 N, 2 N) columns z of each complex mode

    @property
    def body_size(self) -> int:
        return len(self.body.omega)


@dataclass(frozen=True)
class FreeDecay:
    """Free motion of a CoupledString: z(t) = sum_i amplitude_i state_i exp(pole_i t)."""

    coupled: CoupledString
    amplitude: np.ndarray  # (2 N,) complex
    energy: float  # J at the start


@dataclass(frozen=True)
class Motions:
    """What a note's figures are read from: k motions after a pluck, all running as Re(column exp(rate t)).

    A motion that swings stands for its conjugate too. |state|^2/2 is the energy [J] of string and body.
    """

    body: BodyModes
    fret: int
    rate: np.ndarray  # (k,) 1/s
    velocity: np.ndarray  # (N, k) complex, of the body modes and the sines
    loss: np.ndarray  # (2 m,) 1/s, of the sines
    state: np.ndarray  # (any, k) complex
    energy: float  # J at the start


def motions_of(ringing: "FreeDecay | Motions") -> Motions:
    """Motions of a FreeDecay."""
    if isinstance(ringing, Motions):
        return ringing
    c, terms = ringing.coupled, ringing.coupled.states * ringing.amplitude
    rate, state = halved(c.poles, terms)
    velocity, loss = c.X @ state[len(c.omega) :], np.diag(c.C)[c.body_size :]
    return Motions(c.body, c.fret, rate, velocity, loss, state, ringing.energy)


def valid_partials(string: String, fret: int, body: BodyModes) -> int:
    """How many partials of a note lie below the highest frequency that the body modes answer for; may be 0."""
    n = np.arange(1, 200)
    return int(np.count_nonzero(partials(string, fret, n) < 2 * np.pi * body.highest_valid))


def matrices(
    string: String, index: int, fret: int, body: BodyModes, sines: int, damping: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(M, K, C) (N, N) of string number `index` at a fret; N = body modes + 2 sines. C sums every part, the hand and the string.

    damping: sum of dampings(body), (n, n), where it is known already; the hand's own comes on top.
    """
    n, L, k = len(body.omega), fretted_length(string, fret), np.arange(1, sines + 1)
    M, K, C = np.eye(n + 2 * sines), np.diag(np.zeros(n + 2 * sines)), np.zeros((n + 2 * sines,) * 2)
    K[:n, :n] = np.diag(body.omega**2)
    C[:n, :n] = sum(dampings(body).values()) if damping is None else damping
    if body.hand is not None:
        for A, of_hand in zip((M, K, C), held_by_hand(body, fret)):
            A[:n, :n] += of_hand
    for p, axis in enumerate(POLARISATIONS):
        s, f = body.saddle[index, :, axis], body.far_end(index, fret)[:, axis]
        own = slice(n + p * sines, n + (p + 1) * sines)
        M[:n, :n] += string.mass * L / 6 * (np.outer(s, s) + np.outer(f, f) + np.outer(s + f, s + f))
        M[:n, own] = (np.outer(f, 1 / k) - np.outer(s, (-1.0) ** k / k)) * np.sqrt(2 * string.mass * L) / np.pi
        M[own, :n] = M[:n, own].T
        K[:n, :n] += string.tension / L * np.outer(s - f, s - f)
        omega = partials(string, fret, k)
        K[own, own] = np.diag(omega**2)
        C[own, own] = np.diag(loss_factor(string, fret, k) * omega)
    return M, K, C


def couple(
    string: String, index: int, fret: int, body: BodyModes, sines: int | None = None, damping: np.ndarray | None = None
) -> CoupledString:
    """CoupledString of string number `index` at a fret; `sines` of each polarisation, by default four above the valid ones.

    damping: as for `matrices`.
    """
    sines = valid_partials(string, fret, body) + SPARE if sines is None else sines
    M, K, C = matrices(string, index, fret, body, sines, damping)
    omega, X = undamped(M, K)
    return CoupledString(string, fret, body, sines, M, K, C, X, omega, *_damped(omega, X, C))


def _damped(omega: np.ndarray, X: np.ndarray, C: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Poles and states of the undamped modes with dashpots C between the unknowns."""
    N = len(omega)
    A = np.zeros((2 * N, 2 * N))
    A[:N, N:], A[N:, :N], A[N:, N:] = np.diag(omega), -np.diag(omega), -X.T @ C @ X
    return np.linalg.eig(A)


def undamped(M: np.ndarray, K: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(omega (N,), X (N, N)) of K x = omega^2 M x, X'MX = 1, by a Cholesky factor of M."""
    lower = np.linalg.inv(np.linalg.cholesky(M))
    square, vectors = np.linalg.eigh(lower @ K @ lower.T)
    return np.sqrt(np.maximum(square, 0)), lower.T @ vectors


def release(coupled: CoupledString, q: np.ndarray, velocity: np.ndarray | None = None) -> FreeDecay:
    """FreeDecay from displacements q (N,) and velocities (N,), in the unknowns of the CoupledString."""
    c, velocity = coupled, np.zeros(len(q)) if velocity is None else velocity
    z = np.concatenate([c.omega * (c.X.T @ (c.M @ q)), c.X.T @ (c.M @ velocity)])
    return FreeDecay(c, _amplitudes(c.poles, c.states, z), float(z @ z / 2))


def _amplitudes(poles: np.ndarray, states: np.ndarray, z: np.ndarray) -> np.ndarray:
    """a (2 N,) of a real z = sum_i a_i state_i, from real equations; a pole above the real axis comes before its conjugate."""
    up, real = np.flatnonzero(poles.imag > 0), np.flatnonzero(poles.imag == 0)
    re, im, rest = np.split(
        np.linalg.solve(np.hstack([states[:, up].real, -states[:, up].imag, states[:, real].real]), z),
        [len(up), 2 * len(up)],
    )
    a = np.zeros(len(poles), complex)
    a[up], a[up + 1], a[real] = (re + 1j * im) / 2, (re - 1j * im) / 2, rest
    return a


def halved(poles: np.ndarray, terms: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Half of the poles and of the terms (n, k), of conjugates one: sum_i terms_i exp(pole_i t) = Re of that sum."""
    up, real = poles.imag > 0, poles.imag == 0
    return np.concatenate([poles[up], poles[real]]), np.hstack([2 * terms[:, up], terms[:, real]])


def overlaps(rates: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(A, B) (k, k) s: int_0^inf Re(a exp(r_i t)) Re(b exp(r_j t)) dt = Re(a conj(b) A_ij + a b B_ij)."""
    return -0.5 / (rates[:, None] + rates.conj()), -0.5 / (rates[:, None] + rates)


def pluck_note(coupled: CoupledString, pluck: Pluck) -> FreeDecay:
    """FreeDecay after a pluck: the body at rest, the string held aside on ends that have not moved.

    Only partials below the highest valid frequency are set off. The body's own give under the finger's pull is left
    out: the hand that pulls also holds the guitar, and the body is some hundred times stiffer than the string.
    """
    c = coupled
    m = valid_partials(c.string, c.fret, c.body)
    q = np.zeros((2, c.sines))
    q[:, :m] = plucked_shape(c.string, c.fret, pluck, np.arange(1, m + 1)).T
    q *= np.sqrt(modal_mass(c.string, c.fret))
    return release(c, np.concatenate([np.zeros(c.body_size), q.ravel()]))


def energy(ringing: FreeDecay, t: float | np.ndarray) -> np.ndarray:
    """Energy [J] of string and body at times t (k,)."""
    c = ringing.coupled
    z = c.states @ (ringing.amplitude[:, None] * np.exp(np.outer(c.poles, np.atleast_1d(t))))
    return 0.5 * (abs(z) ** 2).sum(0)


def velocity(ringing: FreeDecay, t: float | np.ndarray, rows: np.ndarray) -> np.ndarray:
    """rows' qd at times t (k,): rows (N,) or (N, r) -> (k,) or (k, r)."""
    c = ringing.coupled
    shape = (rows.T @ c.X) @ c.states[len(c.omega) :]
    return ((shape * ringing.amplitude) @ np.exp(np.outer(c.poles, np.atleast_1d(t)))).real.T


def fall_time(ringing: FreeDecay | Motions, decibel: float) -> float:
    """Time [s] at which the energy of string and body has fallen by so many dB; inf if it never does."""
    m = motions_of(ringing)
    order = np.argsort(-m.rate.real)
    rate, state = m.rate[order], m.state[:, order]

    def energy(t: float) -> float:
        left = still_heard(rate, t)
        z = (state[:, :left] @ np.exp(rate[:left] * t)).real
        return 0.5 * (z @ z)

    return crossing(energy, m.energy, decibel)


def still_heard(rate: np.ndarray, t: float) -> int:
    """How many motions, the slowest first, have not fallen below FORGOTTEN of what they were at first."""
    return int(np.count_nonzero(rate.real * t > np.log(FORGOTTEN)))


def crossing(curve: Callable[[float], float], start: float, decibel: float) -> float:
    """Time [s] at which a falling curve(t) lies so many dB below its start. Dashpots only take energy away, so that the
    first crossing is the last one too.
    """
    level = lambda log_t: 10 * np.log10(max(curve(np.exp(log_t)) / start, 1e-30)) + decibel
    high = 0.0
    while level(high) > 0:
        high += 1.0
        if high > np.log(LONGEST):
            return np.inf
    low = high - 1.0
    while level(low) < 0:
        low -= 2.0
    return float(np.exp(brentq(level, low, high, xtol=1e-6)))


def dissipated(ringing: FreeDecay | Motions, parts: Mapping[str, np.ndarray] | None = None) -> dict[str, float]:
    """{part: share of the pluck's energy} turned to heat in each part of the body and in the string, or radiated.

    W_p/E_0 = int qd' C_p qd dt/E_0 in closed form, by the overlaps of the complex modes. The shares sum to 1 because
    nothing is left in the end; the sum is a check, not a normalisation. parts: dampings(body), where they are known
    already. ValueError if some motion of string and body has no loss at all.
    """
    m = motions_of(ringing)
    if not m.rate.real.max() < 0:
        raise ValueError(
            "some motion of string and body has no loss and never ends, so that no shares of its energy can be given; "
            "expected a loss of the string and of every body mode (of the supports, for a rigid motion)"
        )
    n, (A, B) = len(m.body.omega), overlaps(m.rate)
    v = np.hstack([m.velocity.real, m.velocity.imag])
    w = v @ np.block(
        [[(A + B).real, (A - B).imag], [-(A + B).imag, (A - B).real]]
    )  # integrals of their products, s (m/s)^2 kg
    velocities, own = w[:n] @ v[:n].T, np.einsum("ik,ik->i", v[n:], w[n:])  # of the sines, each with itself
    parts = dict(parts or dampings(m.body))
    if m.body.hand is not None:
        parts[HAND] = held_by_hand(m.body, m.fret)[2]
    shares = {part: float(np.vdot(C, velocities) / m.energy) for part, C in parts.items()}
    return shares | {STRING: float(m.loss @ own / m.energy)}
