"""Modes of a body with all its losses: complex frequencies, and how each part adds to the loss factor."""

from dataclasses import dataclass

import numpy as np
import scipy.linalg as sl

from fem.body_modes import RADIATION
from fem.radiation import added_mass_at, resistance_at
from fem.response import matrices_at

STEPS = 30  # of the inverse iteration
CONVERGED = 1e-10
STRAYED = 0.1  # of lambda: an iteration that ends further from its start may have found a neighbour


@dataclass(frozen=True)
class ComplexModes:
    """Modes of a model with all its losses, ascending: D x = 0 where omega^2 is replaced by lambda = omega^2 (1 + i eta)."""

    frequency: np.ndarray  # (m,) Hz
    loss_factor: np.ndarray  # (m,) eta
    shape: np.ndarray  # (n, m) complex
    part_loss: dict[str, np.ndarray]  # {part or 'radiation': (m,)}; they sum to eta
    residual: np.ndarray  # (m,) |D x| over its stiffness terms [-]


def undamped_modes(model, frequency=0.0):
    """omega (n,) [rad/s] and shape (n, n), mass-normalised with the air outside as it is at a frequency [Hz]; real."""
    added = 0 if model.radiation is None else added_mass_at(model.radiation, 2 * np.pi * frequency)[0]
    value, shape = sl.eigh(model.stiffness, model.mass + added)
    return np.sqrt(value.clip(0)), shape


def complex_modes(model, lowest=1.0, highest=1000.0):
    """ComplexModes of a model between two frequencies [Hz].

    Dashpots and the air outside are taken at each mode's own frequency. Inverse iteration with the quotient x'Ax / x'Bx
    (A, B complex symmetric), started from the modes with proportioned losses. Where two starts end in one mode, or one
    strays, the modes are told apart by their rank (_by_rank): alike or equal modes come out as many as they are.
    x^H D x = 0 splits the loss factor exactly: eta = sum_p x^H H_p x / x^H K x. Motions so damped that they do not swing
    are left out. ArithmeticError where a mode's losses change too fast with frequency to settle on one.
    """
    starts = _damped_starts(model, lowest, highest)
    found = {rank: _refined(model, value, x) for rank, value, x in starts}
    again = [rank for rank, value, _ in starts if _astray(found, rank, value)]
    found |= _by_rank(model, {rank: value for rank, value, _ in starts if rank in again})
    found = sorted((f for f in found.values() if f is not None), key=lambda f: f[0].real)
    value = np.array([f[0] for f in found])
    x = np.array([f[1] for f in found]).reshape(len(found), -1).T
    frequency = np.sqrt(value.real) / (2 * np.pi)
    parts = [_part_loss(model, v, y) for v, y in zip(value, x.T)]
    part_loss = {part: np.array([p[part] for p in parts]) for part in (parts[0] if parts else {})}
    return ComplexModes(frequency, value.imag / value.real, x, part_loss, np.array([f[2] for f in found]))


def _damped_starts(model, lowest, highest):
    """[(rank, lambda, x (n,))] within the range, C_ij and R_ij between undamped modes as at the lower one's frequency.

    rank: place among all modes, by the real part of lambda.
    """
    omega, shape = undamped_modes(model, (lowest + highest) / 2)
    hysteretic, viscous, R, _ = matrices_at(model, omega)
    row = shape.T @ (np.einsum("jab,bj->aj", R, shape) if len(R) > 1 else R[0] @ shape)  # (i, j): i' R(omega_j) j
    lower = np.triu(row.T) + np.triu(row.T, 1).T
    root = np.sqrt(omega)
    G = shape.T @ hysteretic @ shape + (shape.T @ viscous @ shape + lower) * root[:, None] * root
    value, vector = np.linalg.eig(np.diag(omega**2) + 1j * G)
    order = np.argsort(value.real)
    low, high = (2 * np.pi * lowest) ** 2, (2 * np.pi * highest) ** 2
    return [(r, value[j], shape @ vector[:, j]) for r, j in enumerate(order) if low <= value[j].real <= high]


def _astray(found, rank, start):
    """Whether the iteration from a start failed, ended in another start's mode or lies far from where it began."""
    if found[rank] is None:
        return True
    value, x, miss = found[rank]
    if miss > 100 * CONVERGED or abs(value - start) > STRAYED * abs(start):
        return True
    return any(
        other != rank and f is not None and abs(f[0] - value) < 1e-8 * abs(value) and abs(f[1].conj() @ x) > 1 - 1e-6
        for other, f in found.items()
    )


def _refined(model, value, x):
    """(lambda, unit x (n,), |D x| / |K x|) of the mode near a start; None for a motion that does not swing."""
    for _ in range(STEPS):
        if value.real <= 0:
            return None
        A, B = _frozen(model, np.sqrt(value.real))
        if (miss := _miss(A, B, value, x)) < CONVERGED:
            break
        x = np.linalg.solve(A - value * (1 + 1e-14) * B, B @ x)
        x = x / np.linalg.norm(x)
        value = (x @ A @ x) / (x @ B @ x)
    return value, x, miss


def _by_rank(model, starts):
    """{rank: as _refined} of {rank: lambda}: the eigenvalue of that rank of the whole matrices at its own frequency.

    Every rank has a mode of its own, for the ranked real parts change without a jump as the frequency does. Equal modes
    are taken from one and the same decomposition, so that none is found twice.
    """
    found, known = {}, []
    for rank, value in starts.items():
        for _ in range(STEPS):
            values, shape = _decomposed(model, value.real, known)
            before, value = value, values[rank]
            if value.real <= 0 or abs(value - before) < CONVERGED * abs(value):
                break
        else:
            hertz = np.sqrt(value.real) / (2 * np.pi)
            raise ArithmeticError(
                f"the complex mode near {hertz:.4g} Hz does not settle: its losses are too large to follow"
            )
        x = shape[:, rank] / np.linalg.norm(shape[:, rank])
        found[rank] = None if value.real <= 0 else (value, x, _miss(*_frozen(model, np.sqrt(value.real)), value, x))
    return found


def _decomposed(model, square, known):
    """Every lambda (n,), ascending in its real part, and shapes (n, n) of the matrices as at omega^2 = square.

    They are added to the list `known` [(square, lambda, shapes)] unless it holds them already.
    """
    for at, *both in known:
        if abs(at - square) <= CONVERGED * at:
            return both
    value, vector = sl.eig(*_frozen(model, np.sqrt(square)))
    order = np.argsort(value.real)
    known.append((square, value[order], vector[:, order]))
    return known[-1][1:]


def _miss(A, B, value, x):
    """|D x| / |K x|."""
    return np.linalg.norm(A @ x - value * (B @ x)) / np.linalg.norm(A @ x)


def _frozen(model, omega):
    """A = K + i sum H_p + i omega (sum C_p + R) and B = M + M_a, all as at omega [rad/s]."""
    hysteretic, viscous, R, added = matrices_at(model, np.array([omega]))
    return model.stiffness + 1j * (hysteretic + omega * (viscous + R[0])), model.mass + added[0]


def _part_loss(model, value, x):
    """{part or 'radiation': share of eta} of one mode."""
    omega = np.sqrt(value.real)
    energy = lambda A: np.real(x.conj() @ A @ x)
    part = {p: energy(H) for p, H in model.loss.items()}
    part |= {p: omega * energy(C) for p, C in model.viscous.items()}
    if model.radiation is not None:
        part[RADIATION] = omega * energy(resistance_at(model.radiation, omega)[0])
    stored = energy(model.stiffness)
    return {p: e / stored for p, e in part.items()}
