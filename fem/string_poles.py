"""A plucked note from a few coordinates: the string meets the damped body at its two ends, and where a hand holds it.

The body's modes are found once (damped_body.py). Of a note h (r,) holds the sum and the difference of the ends' motion over
sqrt(2), of each polarisation, and the hand's motions: r is 4 or 7. The string answers them with a diagonal G(s), the body with
Y(s) = sum_j u_j u_j'/(s - p_j), u_j its motion there, so that the poles are the roots of det(I + Y G).

All roots are looked for at once, each held off by all others (Ehrlich, Comm. ACM 10:107, 1967; Aberth, Math. Comp. 27:339, 1973; from memory):
as many as there are unknowns, every one in the upper half plane standing for its conjugate too. They are believed if all have
settled, no two fall together and what they make of the pluck is the pluck; else the full eigenproblem answers.
"""

from dataclasses import dataclass

import numpy as np

from fem.coupled_string import POLARISATIONS, SPARE, Motions, couple, motions_of, pluck_note, valid_partials
from fem.damped_body import DampedBody
from fem.strings import Pluck, String, fretted_length, loss_factor, modal_mass, partials, plucked_shape

SETTLED, MOST = 1e-15, 30  # square of the last step of a root over its size and its distance from the next; steps
APART = 1e-9  # relative distance below which two roots are not told apart
MISSED = 1e-9  # of the pluck, that may be lost when its motions are summed at the start
NUDGE = 1e-9  # relative, of first guesses off the poles, where nothing can be divided by
LEAP = 0.01  # of a pole: first guesses go no further
ENDS = 2 * len(POLARISATIONS)  # coordinates of the string's ends


@dataclass(frozen=True)
class _Meeting:
    """One string at one fret on a DampedBody: the r coordinates at which they meet, the hand's k behind."""

    omega: np.ndarray  # (m,) rad/s of the sines on ends that do not move
    loss: np.ndarray  # (m,) 1/s
    pull: np.ndarray  # (m,) sqrt(kg): what an end's acceleration does to each sine
    odd: np.ndarray  # (m,) bool: sines that meet the sum of the ends' motions; the others meet the difference
    drawn: np.ndarray  # (m, r) squares of pull, where a sine meets a coordinate
    U: np.ndarray  # (r, n) motion of the body's modes there
    u: np.ndarray  # (r, n) of its damped modes
    mass: np.ndarray  # (r,) kg, of sum, difference, sum, difference, hand
    resistance: np.ndarray  # (r,)
    stiffness: np.ndarray  # (r,)
    own: tuple[np.ndarray, np.ndarray]  # of the body: p and q of s^2 + p s + q, (n,)
    residues: (
        np.ndarray
    )  # (n, 2 r(r+1)/2): a and b of (a s + b)/(s^2 + p s + q), which summed are Y, on and above its diagonal
    places: np.ndarray  # (r, r) where each entry of a symmetric matrix stands among those


def _meeting(string: String, index: int, fret: int, reduced: DampedBody) -> _Meeting:
    body, L, k = (
        reduced.body,
        fretted_length(string, fret),
        np.arange(1, valid_partials(string, fret, reduced.body) + SPARE + 1),
    )
    ends = [(body.saddle[index, :, axis], body.far_end(index, fret)[:, axis]) for axis in POLARISATIONS]
    rows = [row for s, f in ends for row in ((s + f) / np.sqrt(2), (s - f) / np.sqrt(2))]
    mass, stiffness = string.mass * L * np.array([1 / 2, 1 / 6] * 2), string.tension / L * np.array([0.0, 2.0] * 2)
    resistance = np.zeros(ENDS)
    if body.hand is not None and body.hand.motion[fret].any():
        h = body.hand
        rows += [*h.motion[fret]]
        mass, resistance, stiffness = (
            np.r_[a, b] for a, b in ((mass, h.mass), (resistance, h.resistance), (stiffness, h.stiffness))
        )
    U, p = np.array(rows), reduced.pole
    u, omega = U @ reduced.shape, partials(string, fret, k)
    i, j = np.triu_indices(len(U))
    R, places = u[i] * u[j], np.zeros((len(U),) * 2, int)
    places[i, j] = places[j, i] = np.arange(len(i))
    pull, odd = np.where(k % 2, 1, -1) * 2 * np.sqrt(string.mass * L) / (np.pi * k), k % 2 == 1
    drawn = np.zeros((len(k), len(U)))
    drawn[:, :ENDS] = (pull**2)[:, None] * np.column_stack([odd, ~odd, odd, ~odd])
    return _Meeting(
        omega, loss_factor(string, fret, k) * omega, pull, odd, drawn, U, u, mass, resistance, stiffness,
        (-2 * p.real, abs(p) ** 2), 2 * np.hstack([R.real.T, -(R * p.conj()).real.T]), places,
    )  # fmt: skip


def _inverse(s: np.ndarray, p: np.ndarray, q: np.ndarray) -> np.ndarray:
    """(k, n) 1/(s^2 + p s + q), s (k,), p and q (n,)."""
    square = s[:, None] * p
    square += (s**2)[:, None]
    square += q
    square[square == 0] = np.finfo(float).eps ** 2  # a pole itself, met where nothing pulls at it
    return np.divide(1.0, square, out=square)


def _string(at: _Meeting, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """G (k, r) at s (k,), its derivative, and that of the logarithm of all sines' s^2 + c s + omega^2."""
    inverse, s = _inverse(s, at.loss, at.omega**2), s[:, None]
    slope = (2 * s + at.loss) * inverse
    total, fourth = 2 * slope.sum(1), s**4
    slope *= inverse
    G = s * (s * at.mass + at.resistance) + at.stiffness - fourth * (inverse @ at.drawn)
    dG = 2 * s * at.mass + at.resistance - 4 * s**3 * (inverse @ at.drawn) + fourth * (slope @ at.drawn)
    return G, dG, total


def _body(at: _Meeting, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Y (k, r, r) at s (k,), its derivative, and that of the logarithm of all modes' s^2 + p s + q."""
    p, q = at.own
    inverse = _inverse(s, p, q)
    slope = (2 * s[:, None] + p) * inverse
    stack = np.empty((4, *slope.shape))
    stack[0], stack[1], total = inverse.real, inverse.imag, slope.sum(1)
    slope *= inverse
    stack[2], stack[3] = slope.real, slope.imag
    re, im, d_re, d_im = (stack.reshape(-1, len(p)) @ at.residues).reshape(4, len(s), -1)
    (a, b), (da, db), s = np.split(re + 1j * im, 2, axis=1), np.split(d_re + 1j * d_im, 2, axis=1), s[:, None]
    whole = lambda v: v[:, at.places]
    return whole(s * a + b), whole(a - s * da - db), total


def _slope(at: _Meeting, s: np.ndarray) -> np.ndarray:
    """d ln/ds (k,) of the characteristic polynomial det(I + Y G) prod (s^2 + p s + q) prod (s^2 + c s + omega^2)^2 at s (k,)."""
    (G, dG, strings), (Y, dY, body) = _string(at, s), _body(at, s)
    change = dY * G[:, None] + Y * dG[:, None]
    return np.einsum("kij,kji->k", np.linalg.inv(np.eye(len(at.U)) + Y * G[:, None]), change) + strings + body


def _first_guesses(at: _Meeting, reduced: DampedBody) -> np.ndarray:
    """(n + 2 m,) poles of body and of string, moved to first order by each other; modes far below the string's with it at rest."""
    p, mu = reduced.pole, -at.loss / 2 + 1j * np.sqrt(at.omega**2 - at.loss**2 / 4)
    moved = lambda pole, by: pole + by / (1 + abs(by) / (LEAP * abs(pole)))
    of_body = moved(p, -np.einsum("jn,nj,jn->n", at.u, _string(at, p)[0], at.u))
    low = np.flatnonzero(reduced.body.omega < at.omega[0] / 2)
    slow = np.argsort(abs(p))[: len(low)]
    of_body[slow] = _at_rest(at, reduced, low)
    Y, part, k = _body(at, mu)[0], np.where(at.odd, 0, 1), np.arange(len(mu))
    residue = mu**4 * at.pull**2 / (2 * mu + at.loss)
    one, other, both = Y[k, part, part], Y[k, part + 2, part + 2], Y[k, part, part + 2]
    middle, half = (one + other) / 2, np.sqrt((one - other) ** 2 / 4 + both**2)
    guesses = np.concatenate([of_body, moved(mu, residue * (middle + half)), moved(mu, residue * (middle - half))])
    return guesses * (1 + SETTLED * 1e3 * np.arange(1, len(guesses) + 1))


def _at_rest(at: _Meeting, reduced: DampedBody, low: np.ndarray) -> np.ndarray:
    """Poles of the body's modes `low` by themselves, string and hand moving with them as they do at rest, ascending."""
    U, k = at.U[:, low], len(low)
    add = lambda each: U.T @ (each[:, None] * U)
    M, K = np.eye(k) + add(at.mass), np.diag(reduced.body.omega[low] ** 2) + add(at.stiffness)
    C = reduced.damping[np.ix_(low, low)] + add(at.resistance)
    A = np.block([[np.zeros((k, k)), np.eye(k)], [-np.linalg.solve(M, K), -np.linalg.solve(M, C)]])
    pole = np.linalg.eigvals(A) if k else np.zeros(0, complex)
    up = pole[pole.imag > 0]
    up = np.concatenate([up, 1j * np.sqrt(np.diag(K)[len(up) :])])  # those that no longer swing
    return up[np.argsort(abs(up))]


def _roots(at: _Meeting, z: np.ndarray) -> np.ndarray | None:
    """(n + 2 m,) roots of the upper half plane from first guesses; None where some do not settle or two fall together."""
    z, active = z.copy(), np.arange(len(z))
    for _ in range(MOST):
        s = z[active]
        off = _inverse(s, -2 * z.real, abs(z) ** 2)  # (2 s - 2 Re z) times it is 1/(s - z) + 1/(s - conj z)
        off[np.arange(len(s)), active] = 0.0
        held_off = 2 * (s * off.sum(1) - off.real @ z.real - 1j * (off.imag @ z.real)) + 0.5 / (1j * s.imag)
        step = 1 / (_slope(at, s) - held_off)
        s = s - step
        z[active] = np.where(s.imag < 0, s.conj(), s)
        gap = np.minimum(0.5 / abs(off).max(1), abs(s) ** 2)  # to the nearest other root, times |s|
        active = active[~(abs(step) ** 2 <= SETTLED * gap)]
        if not len(active):
            break
    apart = abs(z[:, None] - z) + np.diag(np.full(len(z), np.inf))
    return z if not len(active) and (z.imag > 0).all() and (apart.min(1) > APART * abs(z)).all() else None


def _modes(at: _Meeting, reduced: DampedBody, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """x (n, k) of the body, y (2 m, k) of the sines and h (k, r) of each root's mode, normalised as x_j of a DampedBody."""
    G, Y, p = _string(at, s)[0], _body(at, s)[0], reduced.pole
    scale = 1 / (1 + abs(np.einsum("kjj->kj", Y) * G))
    inverse = np.linalg.inv((np.eye(len(at.U)) + Y * G[:, None]) * scale[:, None])
    w = np.take_along_axis(inverse, np.linalg.norm(inverse, axis=1).argmax(1)[:, None, None], 2)
    w = (inverse @ (w / np.linalg.norm(w, axis=1, keepdims=True)))[:, :, 0]
    h = scale * w
    g, tiny = G * h, np.finfo(float).tiny ** 0.25
    part = lambda u, pole: -(g @ u) / np.where(s[:, None] == pole, tiny, s[:, None] - pole)
    here, mirrored = part(at.u, p), part(at.u.conj(), p.conj())
    met = np.where(at.odd, h[:, [0, 2], None], h[:, [1, 3], None]) * at.pull  # (k, 2, m)
    y = -(s[:, None, None] ** 2) * met / (s[:, None] * (s[:, None] + at.loss) + at.omega**2)[:, None]
    size = (here**2).sum(1) + (mirrored**2).sum(1) + (h**2 @ at.resistance) + 2 * s * (h**2 @ at.mass)
    size += (y * (y * (2 * s[:, None] + at.loss)[:, None] + 4 * s[:, None, None] * met)).sum((1, 2))
    plus, minus = (here + mirrored).T, (here - mirrored).T
    re, im = reduced.shape.real, reduced.shape.imag
    x = re @ plus.real - im @ minus.imag + 1j * (re @ plus.imag + im @ minus.real)
    norm = np.sqrt(size)
    return x / norm, y.reshape(len(s), -1).T / norm, h / norm[:, None]


def plucked(string: String, index: int, fret: int, reduced: DampedBody, pluck: Pluck) -> Motions:
    """Motions of string number `index` at a fret after a pluck, as coupled_string.pluck_note has it."""
    found = _plucked(string, index, fret, reduced, pluck) if len(reduced.pole) else None
    if found is None:
        return motions_of(pluck_note(couple(string, index, fret, reduced.body, damping=reduced.damping), pluck))
    return found


def _plucked(string: String, index: int, fret: int, reduced: DampedBody, pluck: Pluck) -> Motions | None:
    """As `plucked`, by the roots; None where they are not believed."""
    at = _meeting(string, index, fret, reduced)
    m, n = len(at.omega), len(reduced.pole)
    valid = m - SPARE
    q = np.zeros((2, m))
    q[:, :valid] = plucked_shape(string, fret, pluck, np.arange(1, valid + 1)).T * np.sqrt(modal_mass(string, fret))
    try:
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            s = _roots(at, _first_guesses(at, reduced))
            if s is None:
                return None
            x, y, h = _modes(at, reduced, s)
    except np.linalg.LinAlgError:
        return None
    met = np.where(at.odd, h[:, [0, 2], None], h[:, [1, 3], None]) * at.pull
    drawn = y.T.reshape(-1, 2, m) * (s[:, None] + at.loss)[:, None] + s[:, None, None] * met
    amplitude = 2 * (drawn * q).sum((1, 2))
    x, y, h, met = amplitude * x, amplitude * y, amplitude * h.T, (amplitude[:, None, None] * met).reshape(-1, 2 * m).T
    free = at.mass - at.drawn.sum(0)
    state = np.vstack([
        s * x, reduced.body.omega[:, None] * x, s * (y + met), np.tile(at.omega, 2)[:, None] * y,
        np.sqrt(free)[:, None] * s * h, np.sqrt(at.stiffness)[:, None] * h,
    ])  # fmt: skip
    start, where = np.tile(at.omega, 2) * q.ravel(), slice(2 * n + 2 * m, 2 * n + 4 * m)
    missed = state.real.sum(1)
    missed[where] -= start
    if not np.linalg.norm(missed) <= MISSED * np.linalg.norm(start):
        return None
    loss = np.tile(at.loss, 2)
    return Motions(reduced.body, fret, s, s * np.vstack([x, y]), loss, state, float(start @ start / 2))
