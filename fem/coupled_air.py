"""Modes of a shell, the air that it encloses and the air in its openings together.

V = 1/2 q'K q + 1/2 sum_j (d_j - c_j'q)^2 and T = 1/2 q.'(M + M_res) q. + 1/2 sum_{j>0} d_j.^2 / omega_j^2: q holds the
structure's modes and the volume displacement U of each opening, d_j = omega_j s_j belongs to cavity mode j. Symmetric and
never negative. The uniform pressure (j = 0) has no unknown of its own; it is the stiffness c_0 c_0'.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp

from fem.air import DENSITY, AirModes, CavityModes, Coupling, Opening
from fem.eigen import Modes, rigid_modes
from fem.elements import Space
from fem.interpolate import BasisSpace
from fem.materials import lookup

OUTSIDE_END = 0.85  # radius: end correction of a flanged opening, 8 / (3 pi) (Rayleigh)
EXTERIORS = ("end_correction", "boundary_elements")
PARTS = ("structure", "air", "openings")


@dataclass(frozen=True)
class CoupledModes:
    """Modes of shell, air and openings together, ascending; without those that store no energy (rigid motions, and air
    that goes in at one opening and out at another). Normalised to a whole mass of 1."""

    frequency: np.ndarray  # (m,) Hz
    q: np.ndarray  # (n, m) of the structure's modes
    U: np.ndarray  # (openings, m) m3, outward
    d: np.ndarray  # (k - 1, m) of the oscillating cavity modes, J^1/2
    modal_pressure: np.ndarray  # (k, m) J^1/2, of the kept cavity modes
    shares: dict[str, np.ndarray]  # {'structure', 'air', 'openings': (m,)} of the whole energy, means of the two below
    potential_share: dict[str, np.ndarray]
    kinetic_share: dict[str, np.ndarray]


def with_rigid(space: Space | BasisSpace, M: sp.csr_array | np.ndarray, elastic: Modes) -> Modes:
    """Modes with the six rigid motions of a free shell before the elastic ones, at 0 Hz; M is the model's mass matrix.

    space: Space, or the BasisSpace of a model in a basis. A free instrument recoils as its openings push air, and that
    moves its coupled modes.
    """
    rigid = rigid_of(space)
    rigid = rigid @ np.linalg.inv(np.linalg.cholesky(rigid.T @ (M @ rigid))).T
    none = np.zeros(6)
    return Modes(
        np.append(none, elastic.frequency),
        np.hstack([rigid, elastic.shape]),
        np.append(none, elastic.residual),
        elastic.rigid_frequency,
    )


def rigid_of(space: Space | BasisSpace) -> np.ndarray:
    """(dofs, 6) rigid motions on a Space, or coordinates (r, 6) in a basis."""
    return space.rigid if isinstance(space, BasisSpace) else rigid_modes(space.points)


def inertances(
    openings: Mapping[str, Opening], exterior: str = "end_correction", density: float = DENSITY
) -> np.ndarray:
    """(openings,) kg/m4 of the air in the openings and outside: rho (t + 0.85 a)/S, or rho t/S beside boundary elements.

    The end correction inside is not here: it comes out of the cavity's modes and residual mass.
    """
    lookup(exterior, dict.fromkeys(EXTERIORS), "exterior")
    end = OUTSIDE_END if exterior == "end_correction" else 0.0
    return np.array([density * (o.thickness + end * o.radius) / o.area for o in openings.values()])


def coupled_matrices(
    frequency: np.ndarray,
    coupling: Coupling,
    air: AirModes,
    openings: Mapping[str, Opening],
    exterior: str = "end_correction",
    added_mass: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """K, M of the state (q structure, U openings, s cavity modes but the first); arguments as in coupled_modes."""
    n, c, omega = len(frequency), coupling.c, 2 * np.pi * air.frequency[1:]
    if n != coupling.structure or tuple(openings) != coupling.openings:
        raise ValueError(
            f"coupling holds {coupling.structure} structure modes and the openings {', '.join(coupling.openings) or 'none'}; "
            f"found {n} frequencies and the openings {', '.join(openings) or 'none'}"
        )
    walls = c.shape[1]
    K, M = np.zeros((2, walls + len(omega), walls + len(omega)))
    K[:walls, :walls] = c.T @ c + np.diag(np.append((2 * np.pi * frequency) ** 2, np.zeros(len(openings))))
    K[:walls, walls:] = -c[1:].T * omega
    K[walls:, :walls] = K[:walls, walls:].T
    K[walls:, walls:] = np.diag(omega**2)
    M[walls:, walls:] = np.eye(len(omega))
    own = np.append(np.ones(n), inertances(openings, exterior, air.density))
    M[:walls, :walls] = np.diag(own) + coupling.residual_mass + (0 if added_mass is None else added_mass)
    return K, M


def coupled_modes(
    frequency: np.ndarray,
    coupling: Coupling,
    air: AirModes,
    openings: Mapping[str, Opening],
    exterior: str = "end_correction",
    added_mass: np.ndarray | None = None,
) -> CoupledModes:
    """CoupledModes of mass-normalised structure modes (frequency (n,) Hz, zeros for rigid ones), air and openings.

    openings: {name: Opening}, as cavity.openings. exterior: see inertances.
    added_mass: (n + openings, n + openings) of the air outside, from boundary elements; counted as 'air'.
    """
    frequency = np.asarray(frequency, float)
    K, M = coupled_matrices(frequency, coupling, air, openings, exterior, added_mass)
    omega2, x = sl.eigh(K, M)
    idle = int(np.sum(frequency == 0)) + max(len(openings) - 1, 0)
    omega2, x = omega2[idle:], x[:, idle:]
    n, walls = len(frequency), coupling.c.shape[1]
    q, U, d = x[:n], x[n:walls], 2 * np.pi * air.frequency[1:, None] * x[walls:]
    pressure = np.vstack([np.zeros((1, d.shape[1])), d]) - coupling.c @ x[:walls]
    elastic = np.sum((2 * np.pi * frequency[:, None] * q) ** 2, axis=0)
    potential = {"structure": elastic, "air": np.sum(pressure**2, axis=0), "openings": np.zeros_like(elastic)}
    moving = {"structure": np.sum(q**2, axis=0)}
    moving["openings"] = inertances(openings, exterior, air.density) @ U**2 if openings else np.zeros_like(elastic)
    moving["air"] = np.einsum("im,ij,jm->m", x, M, x) - moving["structure"] - moving["openings"]
    share = lambda energy: {part: energy[part] / sum(energy.values()) for part in PARTS}
    potential, moving = share(potential), share(moving)
    both = {part: (potential[part] + moving[part]) / 2 for part in potential}
    return CoupledModes(np.sqrt(omega2) / (2 * np.pi), q, U, d, pressure, both, potential, moving)


def cavity_pressure(coupled: CoupledModes, coupling: Coupling, air: CavityModes) -> np.ndarray:
    """(unknowns, m) Pa of every coupled mode at the air's unknowns (air.basis.doflocs); the first ones are the mesh's nodes."""
    omega2 = (2 * np.pi * coupled.frequency) ** 2
    return air.shape @ coupled.modal_pressure + coupling.residual_pressure @ (
        np.vstack([coupled.q, coupled.U]) * omega2
    )
