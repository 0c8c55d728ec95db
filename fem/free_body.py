"""A body hung free, its stiffness factorised once: any number of balanced loads, and what only K can tell of modes.

The same answers as statics.deflect without supports; kept open for many loads, one after the other.
"""

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp
from scipy.sparse.linalg import LinearOperator, eigsh

from fem.eigen import rigid_modes
from fem.model import Model, Weights
from fem.statics import REFINEMENTS, Deflection, _check_balance, _check_energy, _solver, internal_forces


class FreeBody:
    """A model with its weights {(role, region, kind): f}, held in six unknowns that stop no deformation.

    ValueError where some part is held by nothing.
    """

    def __init__(self, model: Model, weights: Weights) -> None:
        self.model, self.weights = model, weights
        self.rigid = rigid_modes(model.space.points)
        supported = sl.qr(self.rigid.T, mode="r", pivoting=True)[1][:6]
        self.free = np.setdiff1d(np.arange(model.size), supported)
        self.K = model.matrix("K", weights)
        self._solve = _solver(self.K[self.free][:, self.free])

    def solve(self, loads: np.ndarray) -> np.ndarray:
        """(size, m) displacement under balanced loads (size, m), six unknowns at rest; one pass, unchecked."""
        u = np.zeros(loads.shape)
        u[self.free] = self._solve(loads[self.free])
        return u

    def deflect(self, loads: np.ndarray) -> Deflection:
        """Deflection under balanced loads (size, m); its displacement leaves the body's nodes, taken alike, at rest."""
        F = np.array(loads, float).reshape(len(loads), -1)
        _check_balance(self.model.space.points, self.rigid, F)
        u = self.solve(F)
        for _ in range(REFINEMENTS):  # takes back what round-off in K has cost
            u += self.solve(F - internal_forces(self.model, self.weights, u))
        u = at_rest(u, self.rigid)
        unit = self.model.unit_energies("K", self.weights, u)
        energy = {key: self.weights[("K", *key)] * e / 2 for key, e in unit.items()}
        answer = Deflection(u, np.sum(F * u, axis=0) / 2, energy, np.zeros((0, F.shape[1])))
        _check_energy(answer)
        return answer

    def modes(self, M: sp.csr_array, count: int, tolerance: float = 1e-5) -> tuple[np.ndarray, np.ndarray]:
        """(omega^2 (count,), mass-normalised shapes (size, count)): the lowest, from the factor of K alone, by Lanczos."""
        MR = M @ self.rigid
        mass_inverse = np.linalg.inv(self.rigid.T @ MR)
        free_of_rigid = lambda u: u - self.rigid @ (mass_inverse @ (MR.T @ u))
        pseudo = lambda f: free_of_rigid(self.solve((f - MR @ (mass_inverse @ (self.rigid.T @ f)))[:, None])[:, 0])
        n = self.model.size
        start = free_of_rigid(np.random.default_rng(0).standard_normal(n))
        inverse = LinearOperator((n, n), matvec=pseudo)
        return eigsh(self.K, count, M, sigma=0.0, OPinv=inverse, v0=start, ncv=2 * count + 2, tol=tolerance)


def at_rest(u: np.ndarray, rigid: np.ndarray) -> np.ndarray:
    """Displacements (size, m) without the rigid motion that the nodes' displacements share, by least squares."""
    moves = np.arange(len(u)) % 6 < 3
    return u - rigid @ np.linalg.lstsq(rigid[moves], u[moves], rcond=None)[0]
