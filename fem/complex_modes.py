"""Modes of a body with all its losses: complex frequencies, and how each part adds to the loss factor."""

from dataclasses import dataclass

import numpy as np
import scipy.linalg as sl

from fem.body_modes import RADIATION
from fem.radiation import added_mass_at, resistance_at
from fem.response import matrices_at

STEPS = 30  # of the inverse iteration
CONVERGED = 1e-10


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
    """ComplexModes of a model between two frequencies [Hz], dashpots and air outside each taken at the mode's own frequency.

    Inverse iteration with the quotient x'Ax / x'Bx (A, B complex symmetric), started from the modes with proportioned
    losses. x^H D x = 0 splits the loss factor exactly: eta = sum_p x^H H_p x / x^H K x. Motions so damped that they do not
    swing are left out. ArithmeticError where two starts end in one mode.
    """
    found = [_refined(model, *start) for start in _damped_start(model, lowest, highest)]
    found = sorted((f for f in found if f is not None), key=lambda f: f[0].real)
    value = np.array([f[0] for f in found])
    x = np.array([f[1] for f in found]).reshape(len(found), -1).T
    alike = np.triu(np.abs(x.conj().T @ x), 1) > 1 - 1e-6
    if np.any(alike & (np.abs(value[:, None] - value) < 1e-8 * np.abs(value))):
        raise ArithmeticError("two complex modes came out as one: modes too close, or losses too large, to follow")
    frequency = np.sqrt(value.real) / (2 * np.pi)
    parts = [_part_loss(model, v, y) for v, y in zip(value, x.T)]
    part_loss = {part: np.array([p[part] for p in parts]) for part in (parts[0] if parts else {})}
    return ComplexModes(frequency, value.imag / value.real, x, part_loss, np.array([f[2] for f in found]))


def _damped_start(model, lowest, highest):
    """[(lambda, x (n,))] with C_ij and R_ij between undamped modes as at the mean of both frequencies."""
    omega, shape = undamped_modes(model, (lowest + highest) / 2)
    hysteretic, viscous, R, _ = matrices_at(model, np.array([np.pi * (lowest + highest)]))
    root = np.sqrt(omega)
    G = shape.T @ hysteretic @ shape + (shape.T @ (viscous + R[0]) @ shape) * root[:, None] * root
    value, vector = np.linalg.eig(np.diag(omega**2) + 1j * G)
    within = (value.real >= (2 * np.pi * lowest) ** 2) & (value.real <= (2 * np.pi * highest) ** 2)
    return [(value[j], shape @ vector[:, j]) for j in np.flatnonzero(within)]


def _refined(model, value, x):
    """(lambda, unit x (n,), |D x| / |K x|) of the mode near a start; None for a motion that does not swing."""
    for _ in range(STEPS):
        if value.real <= 0:
            return None
        A, B = _frozen(model, np.sqrt(value.real))
        miss = np.linalg.norm(A @ x - value * (B @ x)) / np.linalg.norm(A @ x)
        if miss < CONVERGED:
            break
        x = np.linalg.solve(A - value * (1 + 1e-14) * B, B @ x)
        x = x / np.linalg.norm(x)
        value = (x @ A @ x) / (x @ B @ x)
    return value, x, miss


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
