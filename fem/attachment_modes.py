"""Residual attachment modes: how a load bends a structure beyond the modes that are kept."""

import numpy as np
import scipy.sparse as sp

from fem.factor import Solver


def residual_attachment_mode(
    solve: Solver,
    shift: float,
    M: sp.csr_array,
    shape: np.ndarray,
    load: np.ndarray,
    tolerance: float = 1e-12,
    most: int = 200,
) -> np.ndarray:
    """(dofs,) Ritz vector: how a load (dofs,) bends the structure beyond its kept modes; mass-normalised, orthogonal to them.

    shape (dofs, k): kept modes of K x = lambda M x, rigid ones among them. solve: (K - shift M)^-1 on columns; shift below
    zero, well nearer to it than the first mode left out. With the vector the static receptance is exact.
    The statics K r = f - M shape shape'f are iterated from the shifted solve. Craig & Kurdila, Fundamentals of Structural
    Dynamics, 2006 (residual flexibility, inertia relief).
    """
    M_shape = M @ shape
    clean = lambda x: x - shape @ (M_shape.T @ x)
    rest = load - M_shape @ (shape.T @ load)
    if np.linalg.norm(rest) <= 1e-10 * np.linalg.norm(load):
        raise ArithmeticError("the kept modes already answer for the whole load: there is no residual vector")
    r = np.zeros_like(rest)
    for _ in range(most):
        new = clean(solve((rest - shift * (M @ r))[:, None])[:, 0])
        change, r = np.linalg.norm(new - r), new
        if change <= tolerance * np.linalg.norm(r):
            break
    else:
        raise ArithmeticError(
            "the residual vector did not settle: the shift lies too far below the first mode left out"
        )
    r = clean(r)
    return r / np.sqrt(r @ (M @ r))
