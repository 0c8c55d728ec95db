"""Natural frequencies and mode shapes: block Lanczos on (K - sigma M)^-1 M, rigid modes projected out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp

from fem.attachment_modes import residual_attachment_modes
from fem.elements import Space
from fem.factor import Factor
from fem.model import Model, Weights

SHIFT = -((2 * np.pi * 100.0) ** 2)  # rad2/s2, tried first; below zero, so that K - sigma M is positive definite
FAR = 0.02  # a shift further below zero than the lowest omega^2 over this is replaced by a nearer one
TRIES = 4
BLOCK = 8  # right-hand sides solved at a time: a triangular solve is bound by memory traffic, not by arithmetic


@dataclass(frozen=True)
class Modes:
    """Elastic modes, ascending; shapes are mass-normalised and zero on fixed unknowns."""

    frequency: np.ndarray  # (n,) Hz
    shape: np.ndarray  # (dofs, n) kg^-1/2
    # (n,) bound on the distance of omega^2 to the nearest exact eigenvalue, over omega^2 - shift [-]
    residual: np.ndarray
    rigid_frequency: np.ndarray  # (k,) Hz, of the rigid modes that were projected out: six of a free body
    attachment: np.ndarray | None = None  # (dofs, k) residual attachment modes of loads, where some were given; kg^-1/2


def rigid_modes(points: np.ndarray) -> np.ndarray:
    """(6 n, 6) unit translations along, then rotations about, the axes through the centre of the points (n, 3)."""
    n = len(points)
    R = np.zeros((n, 6, 6))
    R[:, :3, :3] = np.eye(3)
    for k, axis in enumerate(np.eye(3)):
        R[:, :3, 3 + k] = np.cross(axis, points - points.mean(axis=0))
        R[:, 3:, 3 + k] = axis
    return R.reshape(6 * n, 6)


def fixed_unknowns(space: Space, fix: Iterable[str] = (), support: Iterable[str] = ()) -> np.ndarray:
    """Indices of the unknowns of the parts or edges in `fix` (clamped: all six) and `support` (displacements only)."""
    groups = [(name, 6) for name in fix] + [(name, 3) for name in support]
    unknowns = [(6 * space.nodes_of(name)[:, None] + np.arange(k)).ravel() for name, k in groups]
    return np.unique(np.concatenate(unknowns or [np.zeros(0, int)])).astype(int)


def modes(
    model: Model, weights: Weights, count: int, fixed: Sequence[int] | np.ndarray = (), tolerance: float = 1e-7,
    loads: np.ndarray | None = None,
) -> Modes:  # fmt: skip
    """The first `count` elastic modes of a model with the weights {(role, region, kind): f}.

    fixed: indices of unknowns held at zero. The rigid modes that they leave are projected out, never sought by frequency.
    loads: (dofs, k) whose residual attachment modes are wanted too, beyond rigid and elastic ones; the same factor gives them.
    Same input, same answer: the starting block is fixed.
    """
    free = np.setdiff1d(np.arange(model.size), fixed)
    analysis = model.analysis if len(free) == model.size else None
    rigid = _left_free(rigid_modes(model.space.points), fixed)
    shift, solution = SHIFT, None
    for _ in range(TRIES):
        A, M = pencil(model, weights, shift, free)
        rigid = rigid @ np.linalg.inv(np.linalg.cholesky(rigid[free].T @ (M @ rigid[free]))).T
        factor = Factor(A, analysis)
        solution, lowest = _block_lanczos(factor, A, M, rigid[free], count, tolerance, shift)
        if solution is not None:
            break
        shift = -abs(lowest)
    else:
        raise ArithmeticError(f"{count} modes were not found to a part in {1 / tolerance:g}; fewer modes may be")
    omega2, shape, residual = solution
    everywhere = lambda part: _spread(part, free, model.size)
    bent = None
    if loads is not None:
        known = np.hstack([rigid[free], shape])
        bent = everywhere(residual_attachment_modes(factor.solve, shift, M, known, loads[free]))
    rigid_frequency = np.sqrt(_rigid_energy(model, weights, rigid)) / (2 * np.pi)
    return Modes(np.sqrt(omega2) / (2 * np.pi), everywhere(shape), residual, rigid_frequency, bent)


def pencil(
    model: Model, weights: Weights, shift: float, free: np.ndarray | None = None
) -> tuple[sp.csr_array, sp.csr_array]:
    """(K - shift M, M) of the free unknowns, or all: the first on the model's whole pattern, zeros stored too, the second without."""
    K, M = model.matrix("K", weights), model.matrix("M", weights)
    if free is not None and len(free) < model.size:
        K, M = K[free][:, free], M[free][:, free]
    K.data -= shift * M.data
    M.eliminate_zeros()
    return K, M


def _spread(part: np.ndarray, free: np.ndarray, size: int) -> np.ndarray:
    """Values (free, ...) of the free unknowns among all (size, ...), zero on the fixed ones."""
    full = np.zeros((size, *part.shape[1:]))
    full[free] = part
    return full


def _left_free(rigid: np.ndarray, fixed: Sequence[int] | np.ndarray) -> np.ndarray:
    """The rigid modes (n, k), of (n, 6), that leave the fixed unknowns at rest: none, all six, or turns about a held line."""
    if not len(fixed):
        return rigid
    size = np.linalg.norm(rigid, axis=0)
    value, turn = np.linalg.svd(rigid[fixed] / size, full_matrices=True)[1:]
    value = np.pad(value, (0, 6 - len(value)))
    return (rigid / size) @ turn[value < 1e-9 * value[0]].T


def _rigid_energy(model: Model, weights: Weights, rigid: np.ndarray) -> np.ndarray:
    """x' K x of each projected rigid mode, from its strains: round-off in K itself would hide the true value."""
    if not rigid.shape[1]:
        return np.zeros(0)
    energy = model.unit_energies("K", weights, rigid)
    terms = (np.abs(weights["K", region, kind] * e) for (region, kind), e in energy.items())
    return sum(terms, np.zeros(rigid.shape[1]))


def _block_lanczos(
    factor: Factor, A: sp.csr_array, M: sp.csr_array, rigid: np.ndarray, count: int, tolerance: float, shift: float
) -> tuple[tuple[np.ndarray, np.ndarray, np.ndarray] | None, float]:
    """((lambda (count,), M-orthonormal x (n, count), residual (count,)), lowest lambda) of K x = lambda M x beside `rigid`.

    A = K - shift M, factor: of A. None in place of the triple where the shift lies too far from the lowest lambda to converge soon.

    Grimes, Lewis & Simon, SIAM J. Matrix Anal. Appl. 15:228 (1994), with full reorthogonalisation in place of restarts.
    """
    n, r = rigid.shape
    most = min(n, r + max(20 * BLOCK, 8 * count))
    V, MV = np.zeros((n, most + BLOCK), order="F"), np.zeros((n, most + BLOCK), order="F")
    V[:, :r], MV[:, :r] = rigid, M @ rigid
    T = np.zeros((most + BLOCK, most + BLOCK))
    X = factor.solve(M @ np.random.default_rng(0).standard_normal((n, BLOCK)))
    X, MX, _ = _orthogonalised(X, M @ X, V[:, :r], MV[:, :r])
    size = r
    while True:
        X, MX = _normalised(X, MX)
        new = slice(size, size := size + X.shape[1])
        V[:, new], MV[:, new] = X, MX
        X = factor.solve(MX)
        X, MX, T[:size, new] = _orthogonalised(X, M @ X, V[:, :size], MV[:, :size], recent=2 * BLOCK)
        T[new, :size] = T[:size, new].T
        mu, Y = sl.eigh(T[r:size, r:size])
        mu, Y = mu[::-1][:count], Y[:, ::-1][:, :count]
        tail = Y[new.start - r :]
        residual = np.sqrt(np.sum(tail * ((X.T @ MX) @ tail), axis=0).clip(0))  # M-norm of A^-1 M x - mu x
        if size - r >= count and np.all(residual < tolerance * mu):
            break
        lowest = 1 / mu[0] + shift
        if size >= most or (size - r >= 3 * BLOCK and lowest < FAR * abs(shift)):
            return None, lowest
    shape = V[:, r:size] @ Y
    omega2 = 1 / mu + shift
    return (omega2, shape, _residual(factor, A, M, shape, 1 / mu)), omega2[0]


def _residual(factor: Factor, A: sp.csr_array, M: sp.csr_array, shape: np.ndarray, value: np.ndarray) -> np.ndarray:
    """|A^-1 (A x - value M x)|_M / |x|_M (count,) of A = K - shift M: the nearest eigenvalue omega^2 - shift is no further
    from `value` (count,) than that times `value`.

    Computed afresh from A and M, so that it also tells of a bad factorisation. Parlett, The Symmetric Eigenvalue Problem, 4.5.
    """
    found = np.empty(len(value))
    for k in range(0, len(value), BLOCK):  # few at a time: memory
        some = slice(k, k + BLOCK)
        x, Mx = shape[:, some], M @ shape[:, some]
        error = factor.solve(A @ x - Mx * value[some])
        found[some] = np.sqrt(np.sum(error * (M @ error), axis=0) / np.sum(x * Mx, axis=0))
    return found


def _orthogonalised(
    X: np.ndarray, MX: np.ndarray, V: np.ndarray, MV: np.ndarray, recent: int = 0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """X and M X made orthogonal to V (M-orthonormal), and the components taken out.

    recent: last columns of V that hold all of X but round-off, as the two last blocks of a Lanczos step do; 0 for any X.
    A first pass takes out what is large, a second one over all of V the round-off.
    """
    component = np.zeros((V.shape[1], X.shape[1]))
    for last in (slice(-recent, None) if recent else slice(None), slice(None)):
        part = MV[:, last].T @ X
        X, MX = X - V[:, last] @ part, MX - MV[:, last] @ part
        component[last] += part
    return X, MX, component


def _normalised(X: np.ndarray, MX: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """M-orthonormal basis of the columns of X, and M times it; directions lost in round-off are dropped."""
    for _ in range(2):
        value, vector = sl.eigh(X.T @ MX)
        keep = value > 1e-14 * value[-1]
        turn = vector[:, keep] / np.sqrt(value[keep])
        X, MX = X @ turn, MX @ turn
    return X, MX


def mac(M: sp.csr_array | np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Modal assurance criterion (na, nb) between mass-normalised shapes a (dofs, na) and b (dofs, nb), in the mass norm.

    Allemang & Brown 1982, with M for the unit weight, so that fine patches of mesh count no more than coarse ones.
    """
    Ma = M @ a
    cross = Ma.T @ b
    return cross**2 / np.outer(np.einsum("ij,ij->j", a, Ma), np.einsum("ij,ij->j", b, M @ b))
