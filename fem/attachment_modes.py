"""Residual attachment modes: how a load bends a structure beyond the modes that are kept."""

import numpy as np
import scipy.sparse as sp

from fem.factor import Solver

DEPENDENT = 1e-10  # directions of which so small a share of the modal mass is left are those of the other loads


def residual_attachment_modes(
    solve: Solver,
    shift: float,
    M: sp.csr_array,
    shape: np.ndarray,
    loads: np.ndarray,
    tolerance: float = 1e-10,
    most: int = 200,
) -> np.ndarray:
    """(dofs, k) Ritz vectors: how loads (dofs, k) bend the structure beyond its kept modes; M-orthonormal, orthogonal to
    them, fewer than k where the loads bend it alike.

    shape (dofs, n): kept modes of K x = lambda M x, rigid ones among them. solve: (K - shift M)^-1 on columns; shift below
    zero, well nearer to it than the first mode left out. With the vectors the static answer to all loads is exact.
    The statics K r = f - M shape shape'f are iterated from the shifted solve. Craig & Kurdila, Fundamentals of Structural
    Dynamics, 2006 (residual flexibility, inertia relief).
    """
    M_shape = M @ shape
    clean = lambda x: x - shape @ (M_shape.T @ x)
    rest = loads - M_shape @ (shape.T @ loads)
    size = lambda x: np.linalg.norm(x, axis=0)
    if np.any(size(rest) <= 1e-10 * size(loads)):
        raise ArithmeticError("the kept modes already answer for the whole load: there is no residual attachment mode")
    r = np.zeros_like(rest)
    for _ in range(most):
        new = clean(solve(rest - shift * (M @ r)))
        change, r = size(new - r), new
        if np.all(change <= tolerance * size(r)):
            break
    else:
        raise ArithmeticError(
            "the residual attachment modes did not settle: the shift lies too far below the first mode left out"
        )
    for _ in range(2):
        r = clean(r)
        r = r / np.sqrt(np.sum(r * (M @ r), axis=0))
        value, turn = np.linalg.eigh(r.T @ (M @ r))
        keep = value > DEPENDENT * value[-1]
        r = r @ (turn[:, keep] / np.sqrt(value[keep]))
    return r
