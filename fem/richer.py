"""Modes in a richer space on the same triangles, one step from those in hand: what tells how far these are from converged."""

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp
from skfem.element import ElementTriP4

from fem.attachment_modes import residual_attachment_modes
from fem.eigen import SHIFT, Modes, pencil, rigid_modes
from fem.elements import Space
from fem.factor import Factor
from fem.mesh import ShellMesh
from fem.model import Model, Weights, assemble

SAME = 1e-10  # directions of a basis of which less is left than that are dropped


def quartic(mesh: ShellMesh) -> Model:
    """Model of fourth degree on a ShellMesh: cubic shape functions are among its own."""
    return assemble(mesh, ElementTriP4())


def prolongation(given: Space, richer: Space) -> sp.csr_array:
    """(richer.size, given.size): what a field of one Space is in a richer one on the same triangles; exact."""
    at = richer.element.doflocs.T
    dofs, new = given.basis.dofs.element_dofs.T, richer.basis.dofs.element_dofs.T  # (elements, nodes)
    phi = np.array([np.asarray(given.element.lbasis(at, k)[0]) for k in range(dofs.shape[1])]).T  # (new nodes, nodes)
    node, first = np.unique(new.ravel(), return_index=True)
    element, local = np.divmod(first, new.shape[1])
    rows = np.repeat(node, dofs.shape[1])
    P = sp.csr_array((phi[local].ravel(), (rows, dofs[element].ravel())), shape=(richer.size // 6, given.size // 6))
    return sp.kron(P, sp.eye_array(6), format="csr")


def richer_modes(model: Model, weights: Weights, given: Space, found: Modes, loads: np.ndarray | None = None) -> Modes:
    """As many Modes of a free Model as were `found` on the Space `given` on its triangles: one step of block inverse iteration.

    Rayleigh-Ritz in the span of what was found and of (K - shift M)^-1 M times that, so that no frequency lies above the one
    given. On the example guitars within some hundredths of a per cent of the richer space's own, where the step itself is a
    per cent. loads: as in eigen.modes. residual is that of the Ritz pairs in the same norm.
    Bathe, Finite Element Procedures, 11.6 (subspace iteration), from memory.
    """
    A, M = pencil(model, weights, SHIFT)
    factor = Factor(A, model.analysis)
    R = rigid_modes(model.space.points)
    R = R @ np.linalg.inv(np.linalg.cholesky(R.T @ (M @ R))).T
    X, MR = prolongation(given, model.space) @ found.shape, M @ R
    MX = M @ X
    V = np.hstack([X, factor.solve(MX)])
    MV = np.hstack([MX, M @ V[:, X.shape[1] :]])
    for _ in range(2):
        out = MR.T @ V
        V, MV = V - R @ out, MV - MR @ out
        size, turn = sl.eigh(V.T @ MV / np.outer(long := np.sqrt(np.sum(V * MV, axis=0)), long))
        keep = size > SAME * size[-1]
        turn = turn[:, keep] / np.sqrt(size[keep]) / long[:, None]
        V, MV = V @ turn, MV @ turn
    AV = A @ V
    value, turn = sl.eigh(V.T @ AV, subset_by_index=[0, X.shape[1] - 1])
    shape = V @ turn
    error = factor.solve(AV @ turn - MV @ turn * value)
    residual = np.sqrt(np.sum(error * (M @ error), axis=0))
    bent = None
    if loads is not None:
        bent = residual_attachment_modes(factor.solve, SHIFT, M, np.hstack([R, shape]), loads)
    return Modes(np.sqrt(value + SHIFT) / (2 * np.pi), shape, residual, found.rigid_frequency, bent)
