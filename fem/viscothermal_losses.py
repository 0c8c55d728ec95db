"""Heat that the enclosed air leaves at its walls: thin layers where it rubs along them and trades warmth with them.

Power per area 1/2 omega ((gamma - 1) d_t/2 |p|^2/(rho c^2) + rho d_v/2 |u|^2), u along the wall, d_v = sqrt(2 mu/(rho
omega)), d_t = d_v/sqrt(Pr) (Pierce, Acoustics, 1981, 10-4). Smooth, tight, isothermal walls: pores and rough wood add to it.
"""

import numpy as np
import scipy.sparse as sp
from skfem import Basis, BilinearForm, FacetBasis
from skfem.helpers import dot, grad

from fem.air import AirModes, Cavity, CavityModes, Coupling
from fem.still_air import VISCOSITY

GAMMA, PRANDTL = 1.4, 0.71  # of air at 20 C (textbook)


def viscothermal_losses(
    cavity: Cavity, air: CavityModes, coupling: Coupling, lowest_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    """H (N, N) [rad2/s2], hysteretic, of warmth, and C (N, N) [1/s], dashpots, of rubbing: state of coupled_matrices.

    The layers' thickness is frozen: of a cavity mode at its own frequency, of the uniform pressure at lowest_hz, which
    should be the lowest resonance of the air. The flow near an opening is not in it: that is the opening's friction.
    """
    return viscothermal_losses_from(boundary_layer_integrals(cavity, air), air, coupling, lowest_hz)


def boundary_layer_matrices(cavity: Cavity, basis: Basis) -> tuple[sp.csr_array, sp.csr_array]:
    """int N N' dS over the walls and int grad N . grad N' dS along them, of the air's unknowns."""
    facets = np.concatenate([cavity.facets(group) for group in cavity.faces if group not in cavity.openings])
    walls = FacetBasis(cavity.mesh, basis.elem, facets=facets)
    along = BilinearForm(lambda p, q, w: dot(grad(p), grad(q)) - dot(grad(p), w.n) * dot(grad(q), w.n))
    thermal, viscous = BilinearForm(lambda p, q, w: p * q).assemble(walls), along.assemble(walls)
    return sp.csr_array(thermal), sp.csr_array(viscous)


def boundary_layer_integrals(
    cavity: Cavity, air: CavityModes, matrices: tuple[sp.csr_array, sp.csr_array] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """int psi psi' dS (k, k) over the walls, and int grad psi . grad psi' dS along them (k - 1, k - 1).

    The second leaves out the first mode, the uniform pressure. matrices: boundary_layer_matrices, where they are there.
    """
    thermal, viscous = matrices or boundary_layer_matrices(cavity, air.basis)
    return air.shape.T @ (thermal @ air.shape), air.shape[:, 1:].T @ (viscous @ air.shape[:, 1:])


def viscothermal_losses_from(
    integrals: tuple[np.ndarray, np.ndarray], air: AirModes, coupling: Coupling, lowest_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    """As viscothermal_losses, from boundary_layer_integrals. air: anything with the frequency, density and speed of CavityModes."""
    thermal, viscous = integrals
    omega = 2 * np.pi * np.append(lowest_hz, air.frequency[1:])
    d_v = np.sqrt(2 * VISCOSITY / (air.density * omega))
    thermal_layer = np.sqrt(d_v / np.sqrt(PRANDTL))
    W = (GAMMA - 1) / (2 * air.density * air.speed**2) * (thermal_layer[:, None] * thermal * thermal_layer)
    pressure = pressures(air, coupling)
    H = pressure.T @ W @ pressure
    viscous_layer = np.sqrt(d_v[1:] / omega[1:])
    C, n = np.zeros_like(H), coupling.c.shape[1]
    C[n:, n:] = viscous_layer[:, None] * viscous * viscous_layer / (2 * air.density)
    return (H + H.T) / 2, (C + C.T) / 2


def pressures(air: AirModes, coupling: Coupling) -> np.ndarray:
    """(k, n) modal pressures of the kept cavity modes per unit of the state (q, U, s): omega_j s_j - c_j'(q, U)."""
    own = np.vstack([np.zeros((1, len(air.frequency) - 1)), np.diag(2 * np.pi * air.frequency[1:])])
    return np.hstack([-coupling.c, own])
