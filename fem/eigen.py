"""Natural frequencies and mode shapes: block Lanczos on (K - sigma M)^-1 M, rigid modes projected out."""

from dataclasses import dataclass

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from fem.model import unit_energies

SHIFT = -((2 * np.pi * 100.0) ** 2)  # rad2/s2; below zero, so that K - sigma M is positive definite
BLOCK = 8  # right-hand sides solved at a time: a triangular solve is bound by memory traffic, not by arithmetic


@dataclass(frozen=True)
class Modes:
    """Elastic modes, ascending; shapes are mass-normalised and zero on fixed unknowns."""

    frequency: np.ndarray  # (n,) Hz
    shape: np.ndarray  # (dofs, n) kg^-1/2
    residual: np.ndarray  # (n,) bound on the relative distance of omega^2 - SHIFT to the nearest exact eigenvalue [-]
    rigid_frequency: np.ndarray  # (6,) or (0,) Hz, of the rigid modes that were projected out


def rigid_modes(points):
    """(6 n, 6) unit translations along, then rotations about, the axes through the centre of the points (n, 3)."""
    n = len(points)
    R = np.zeros((n, 6, 6))
    R[:, :3, :3] = np.eye(3)
    for k, axis in enumerate(np.eye(3)):
        R[:, :3, 3 + k] = np.cross(axis, points - points.mean(axis=0))
        R[:, 3:, 3 + k] = axis
    return R.reshape(6 * n, 6)


def fixed_unknowns(space, fix=(), hold=()):
    """Indices of the unknowns of the parts or edges in `fix` (clamped: all six) and `hold` (displacements only)."""
    groups = [(name, 6) for name in fix] + [(name, 3) for name in hold]
    found = [(6 * space.nodes_of(name)[:, None] + np.arange(k)).ravel() for name, k in groups]
    return np.unique(np.concatenate(found or [np.zeros(0, int)])).astype(int)


class Factor:
    """(K - sigma M)^-1 by a sparse LU in a symmetric fill-reducing order: `solve(B)` for B (n, m)."""

    def __init__(self, A):
        order = dissection(A)
        options = dict(diag_pivot_thresh=0.0, options=dict(SymmetricMode=True))
        if order is None:
            self.solve = splu(A.tocsc(), permc_spec="MMD_AT_PLUS_A", **options).solve
            return
        lu, back = splu(A[order][:, order].tocsc(), permc_spec="NATURAL", **options), np.argsort(order)
        self.solve = lambda B: lu.solve(B[order])[back]


def dissection(A):
    """Nested dissection order (n,) of a symmetric sparse matrix by METIS, or None where METIS is not installed.

    Karypis & Kumar, SIAM J. Sci. Comput. 20:359 (1998). Halves the time of the factorisation on shells.
    """
    try:
        import pymetis
    except ImportError:
        return None
    graph = A.tocoo()
    off = graph.row != graph.col
    graph = sp.csr_array((np.ones(off.sum(), np.int8), (graph.row[off], graph.col[off])), A.shape)
    adjacency = pymetis.CSRAdjacency(graph.indptr, graph.indices)
    return np.asarray(pymetis.nested_dissection(adjacency)[0])


def modes(model, weights, count, fixed=(), tolerance=1e-7):
    """The first `count` elastic modes of a model with the weights {(role, region, kind): f}.

    fixed: indices of unknowns held at zero. A free body's six rigid modes are projected out, never sought by frequency.
    Same input, same answer: the starting block is fixed.
    """
    K, M = model.matrix("K", weights), model.matrix("M", weights)
    M.eliminate_zeros()
    free = np.setdiff1d(np.arange(model.size), fixed)
    rigid = rigid_modes(model.space.points) if len(free) == model.size else np.zeros((model.size, 0))
    if len(free) < model.size:
        K, M, rigid = K[free][:, free], M[free][:, free], rigid[free]
    if rigid.shape[1]:
        rigid = rigid @ np.linalg.inv(np.linalg.cholesky(rigid.T @ (M @ rigid))).T
    omega2, shape, residual = _block_lanczos(K, M, rigid, count, tolerance)
    full = np.zeros((model.size, count))
    full[free] = shape
    rigid_omega2 = _rigid_energy(model, weights, rigid)
    return Modes(np.sqrt(omega2) / (2 * np.pi), full, residual, np.sqrt(rigid_omega2) / (2 * np.pi))


def _rigid_energy(model, weights, rigid):
    """x' K x of each projected rigid mode, from its strains: round-off in K itself would hide the true value."""
    if not rigid.shape[1]:
        return np.zeros(0)
    energy = unit_energies(model, "K", weights, rigid)
    return sum(np.abs(weights["K", region, kind] * e) for (region, kind), e in energy.items())


def _block_lanczos(K, M, rigid, count, tolerance):
    """Eigenvalues (count,) and M-orthonormal vectors (n, count) of K x = lambda M x on the complement of `rigid`.

    Grimes, Lewis & Simon, SIAM J. Matrix Anal. Appl. 15:228 (1994), with full reorthogonalisation in place of restarts.
    """
    factor = Factor(K - SHIFT * M)
    n, r = rigid.shape
    most = min(n, r + max(20 * BLOCK, 8 * count))
    V, MV = np.zeros((n, most + BLOCK), order="F"), np.zeros((n, most + BLOCK), order="F")
    V[:, :r], MV[:, :r] = rigid, M @ rigid
    T = np.zeros((most + BLOCK, most + BLOCK))
    X = factor.solve(M @ np.random.default_rng(0).standard_normal((n, BLOCK)))
    X, MX, _ = _purge(X, M @ X, V[:, :r], MV[:, :r])
    size = r
    while True:
        X, MX = _normalised(X, MX)
        new = slice(size, size := size + X.shape[1])
        V[:, new], MV[:, new] = X, MX
        X = factor.solve(MX)
        X, MX, T[:size, new] = _purge(X, M @ X, V[:, :size], MV[:, :size])
        T[new, :size] = T[:size, new].T
        mu, Y = sl.eigh(T[r:size, r:size])
        mu, Y = mu[::-1][:count], Y[:, ::-1][:, :count]
        tail = Y[new.start - r :]
        miss = np.sqrt(np.sum(tail * ((X.T @ MX) @ tail), axis=0).clip(0))  # M-norm of A^-1 M x - mu x
        if size >= most or (size - r >= count and np.all(miss < tolerance * mu)):
            break
    shape = V[:, r:size] @ Y
    omega2 = 1 / mu + SHIFT
    return omega2, shape, _residual(factor, K, M, omega2, shape)


def _residual(factor, K, M, omega2, shape):
    """|A^-1 (K x - omega2 M x)|_M / |x|_M with A = K - SHIFT M: no eigenvalue is further from omega2 - SHIFT than that times it.

    Computed afresh from K and M, so that it also tells of a bad factorisation. Parlett, The Symmetric Eigenvalue Problem, 4.5.
    """
    miss = factor.solve(K @ shape - (M @ shape) * omega2)
    return np.sqrt(np.sum(miss * (M @ miss), axis=0) / np.sum(shape * (M @ shape), axis=0))


def _purge(X, MX, V, MV):
    """X and M X without their components along V (M-orthonormal), and those components; two passes for round-off."""
    first = MV.T @ X
    X, MX = X - V @ first, MX - MV @ first
    second = V.T @ MX
    return X - V @ second, MX - MV @ second, first + second


def _normalised(X, MX):
    """M-orthonormal basis of the columns of X, and M times it; directions lost in round-off are dropped."""
    for _ in range(2):
        value, vector = sl.eigh(X.T @ MX)
        keep = value > 1e-14 * value[-1]
        turn = vector[:, keep] / np.sqrt(value[keep])
        X, MX = X @ turn, MX @ turn
    return X, MX


def mac(M, a, b):
    """Modal assurance criterion (na, nb) between mass-normalised shapes a (dofs, na) and b (dofs, nb), in the mass norm.

    Allemang & Brown 1982, with M for the unit weight, so that fine patches of mesh count no more than coarse ones.
    """
    Ma = M @ a
    cross = Ma.T @ b
    return cross**2 / np.outer(np.einsum("ij,ij->j", a, Ma), np.einsum("ij,ij->j", b, M @ b))
