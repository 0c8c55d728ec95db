"""Modes of a body with all its losses: complex frequencies, and how each part adds to the loss factor."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg as sl

from fem.body_modes import RADIATION
from fem.radiation import added_mass_at, radiation_at
from fem.response import ModalModel, energy, losses, matrices_at

STEPS = 30  # of the inverse iteration
AT_ONCE = 32  # modes iterated together
CONVERGED = 1e-10
Refined = tuple[complex, np.ndarray, float]  # lambda, unit shape (n,), residual
STRAYED = 0.1  # of lambda: an iteration that ends further from its start may have found a neighbour


@dataclass(frozen=True)
class ComplexModes:
    """Modes of a model with all its losses, ascending: D x = 0 where omega^2 is replaced by lambda = omega^2 (1 + i eta)."""

    frequency: np.ndarray  # (m,) Hz
    loss_factor: np.ndarray  # (m,) eta
    shape: np.ndarray  # (n, m) complex
    part_loss: dict[str, np.ndarray]  # {part or 'radiation': (m,)}; they sum to eta
    residual: np.ndarray  # (m,) |D x| over its stiffness terms [-]


def undamped_modes(model: ModalModel, frequency: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """omega (n,) [rad/s] and shape (n, n), mass-normalised with the air outside as it is at a frequency [Hz]; real."""
    added = 0 if model.radiation is None else added_mass_at(model.radiation, 2 * np.pi * frequency)[0]
    value, shape = sl.eigh(model.stiffness, model.mass + added)
    return np.sqrt(value.clip(0)), shape


def complex_modes(model: ModalModel, lowest: float = 1.0, highest: float = 1000.0) -> ComplexModes:
    """ComplexModes of a model between two frequencies [Hz].

    Dashpots and the air outside are taken at each mode's own frequency. Inverse iteration with the quotient x'Ax / x'Bx
    (A, B complex symmetric), started from the modes with proportioned losses. Where two starts end in one mode, or one
    strays, the modes are told apart by their rank (_by_rank): alike or equal modes come out as many as they are.
    x^H D x = 0 splits the loss factor exactly: eta = sum_p x^H H_p x / x^H K x. Motions so damped that they do not swing
    are left out. ArithmeticError where a mode's losses change too fast with frequency to settle on one.
    """
    starts = _damped_starts(model, lowest, highest)
    refined: dict[int, Refined | None] = {}
    for i in range(0, len(starts), AT_ONCE):
        refined |= _refined(model, starts[i : i + AT_ONCE])
    again = [rank for rank, value, _ in starts if _astray(refined, rank, value)]
    refined |= _by_rank(model, {rank: value for rank, value, _ in starts if rank in again})
    modes = sorted((mode for mode in refined.values() if mode is not None), key=lambda mode: mode[0].real)
    value = np.array([mode[0] for mode in modes])
    x = np.array([mode[1] for mode in modes]).reshape(len(modes), -1)
    residual = np.array([mode[2] for mode in modes])
    part_loss = _part_loss(model, value, x) if modes else {}
    return ComplexModes(np.sqrt(value.real) / (2 * np.pi), value.imag / value.real, x.T, part_loss, residual)


def _damped_starts(model: ModalModel, lowest: float, highest: float) -> list[tuple[int, complex, np.ndarray]]:
    """[(rank, lambda, x (n,))] within the range, C_ij and R_ij between undamped modes as at the lower one's frequency.

    rank: place among all modes, by the real part of lambda.
    """
    omega, shape = undamped_modes(model, (lowest + highest) / 2)
    lower = np.zeros_like(shape)
    if model.radiation is not None:
        air = radiation_at(model.radiation, omega)
        moved = shape[air.unknowns]
        row = moved.T @ (air.impedance.real @ moved.T[:, :, None])[..., 0].T  # (i, j): i' R(omega_j) j
        lower = np.triu(row.T) + np.triu(row.T, 1).T
    hysteretic, viscous = losses(model)
    G = shape.T @ hysteretic @ shape + (shape.T @ viscous @ shape + lower) * np.minimum.outer(omega, omega)
    value, vector = np.linalg.eig(np.diag(omega**2) + 1j * G)
    order = np.argsort(value.real)
    low, high = (2 * np.pi * lowest) ** 2, (2 * np.pi * highest) ** 2
    return [(r, value[j], shape @ vector[:, j]) for r, j in enumerate(order) if low <= value[j].real <= high]


def _astray(refined: Mapping[int, Refined | None], rank: int, start: complex) -> bool:
    """Whether the iteration from a start failed, ended in another start's mode or lies far from where it began."""
    mode = refined[rank]
    if mode is None:
        return True
    value, x, residual = mode
    if residual > 100 * CONVERGED or abs(value - start) > STRAYED * abs(start):
        return True
    return any(
        other != rank and f is not None and abs(f[0] - value) < 1e-8 * abs(value) and abs(f[1].conj() @ x) > 1 - 1e-6
        for other, f in refined.items()
    )


def _refined(model: ModalModel, starts: Sequence[tuple[int, complex, np.ndarray]]) -> dict[int, Refined | None]:
    """{rank: (lambda, unit x (n,), |D x| / |K x|)} of the modes near starts [(rank, lambda, x)]; None for a motion that
    does not swing.
    """
    value, x = np.array([v for _, v, _ in starts]), np.array([x for *_, x in starts])
    residual, still = np.full(len(value), np.inf), np.arange(len(value))
    for _ in range(STEPS):
        still = still[value[still].real > 0]
        A, B = matrices_at(model, np.sqrt(value[still].real))
        residual[still] = _residual(A, B, value[still], x[still])
        on = residual[still] >= CONVERGED
        still, A, B = still[on], A[on], B[on]
        if not len(still):
            break
        D = A - (value[still] * (1 + 1e-14))[:, None, None] * B
        y = np.linalg.solve(D, B @ x[still, :, None])[..., 0]
        x[still] = y = y / np.linalg.norm(y, axis=1)[:, None]
        A_y, B_y = ((C @ y[..., None])[..., 0] for C in (A, B))
        value[still] = np.sum(y * A_y, axis=1) / np.sum(y * B_y, axis=1)
    found = zip(starts, value, x, residual)
    return {rank: (complex(v), y, float(r)) if v.real > 0 else None for (rank, *_), v, y, r in found}


def _by_rank(model: ModalModel, starts: Mapping[int, complex]) -> dict[int, Refined | None]:
    """{rank: as _refined} of {rank: lambda}: the eigenvalue of that rank of the whole matrices at its own frequency.

    Every rank has a mode of its own, for the ranked real parts change without a jump as the frequency does. Equal modes
    are taken from one and the same decomposition, so that none is found twice.
    """
    refined: dict[int, Refined | None] = {}
    known: list[tuple[float, np.ndarray, np.ndarray]] = []
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
        refined[rank] = None
        if value.real > 0:
            A, B = matrices_at(model, np.sqrt([value.real]))
            refined[rank] = value, x, float(_residual(A, B, np.array([value]), x[None])[0])
    return refined


def _decomposed(
    model: ModalModel, square: float, known: list[tuple[float, np.ndarray, np.ndarray]]
) -> tuple[np.ndarray, np.ndarray]:
    """Every lambda (n,), ascending in its real part, and shapes (n, n) of the matrices as at omega^2 = square.

    They are added to the list `known` [(square, lambda, shapes)] unless it holds them already.
    """
    for at, values, shapes in known:
        if abs(at - square) <= CONVERGED * at:
            return values, shapes
    A, B = matrices_at(model, np.sqrt([square]))
    value, vector = sl.eig(A[0], B[0])
    order = np.argsort(value.real)
    known.append((square, value[order], vector[:, order]))
    return known[-1][1:]


def _residual(A: np.ndarray, B: np.ndarray, value: np.ndarray, x: np.ndarray) -> np.ndarray:
    """|D x| / |K x| (m,) of matrices (m, n, n), lambda (m,) and x (m, n)."""
    A_x, B_x = ((C @ x[..., None])[..., 0] for C in (A, B))
    return np.linalg.norm(A_x - value[:, None] * B_x, axis=1) / np.linalg.norm(A_x, axis=1)


def _part_loss(model: ModalModel, value: np.ndarray, x: np.ndarray) -> dict[str, np.ndarray]:
    """{part or 'radiation': share of eta (m,)} of modes lambda (m,), x (m, n)."""
    omega = np.sqrt(value.real)
    part = {p: energy(H, x) for p, H in model.loss.items()}
    part |= {p: omega * energy(C, x) for p, C in model.viscous.items()}
    if model.radiation is not None:
        air = radiation_at(model.radiation, omega)
        part[RADIATION] = omega * energy(air.impedance.real, x[:, air.unknowns])
    stored = energy(model.stiffness, x)
    return {p: e / stored for p, e in part.items()}
