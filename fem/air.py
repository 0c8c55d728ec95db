"""The air enclosed by a shell: its tetrahedra and openings, rigid-wall modes, and what the walls' motion does to them."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Protocol, cast

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import LinearOperator, eigsh
from skfem import Basis, BilinearForm, ElementTetP2, FacetBasis, MeshTet
from skfem.helpers import dot, grad

from fem.elements import Space
from fem.factor import Factor, Solver
from fem.interpolate import BasisSpace, normal_displacement
from fem.materials import lookup
from fem.still_air import DENSITY, SPEED

FEWEST = 8  # cavity modes kept, the uniform pressure among them


@dataclass(frozen=True)
class Opening:
    """Round opening in a wall: its radius and the wall's thickness there [m]."""

    radius: float
    thickness: float

    @property
    def area(self) -> float:
        """m2."""
        return np.pi * self.radius**2


@dataclass(frozen=True)
class Cavity:
    """Tetrahedra filled with air, and the triangles of its faces; every face belongs to one group.

    A group bears the name of an opening, or of the part of the shell that moves it.
    """

    nodes: np.ndarray  # (n, 3) m
    tetrahedra: np.ndarray  # (m, 4) node indices
    faces: dict[str, np.ndarray]  # {group: (k, 3) node indices}
    openings: dict[str, Opening] = field(default_factory=dict)
    solid: float = 0.0  # m3 of the mesh that is wood: takes no part in the compliance of the uniform pressure

    def __post_init__(self) -> None:
        missing = set(self.openings) - set(self.faces)
        if missing:
            raise ValueError(
                f"cavity: the opening '{min(missing)}' has no faces; known: {', '.join(sorted(self.faces))}"
            )
        if not 0 <= self.solid < self.volume:
            raise ValueError(f"cavity: {self.solid:g} m3 of wood in a mesh of {self.volume:g} m3; expected less")

    @cached_property
    def volume(self) -> float:
        """m3 of the mesh."""
        a, *others = self.nodes[self.tetrahedra].transpose(1, 0, 2)
        return np.abs(np.linalg.det(np.stack([p - a for p in others], axis=1))).sum() / 6

    @cached_property
    def mesh(self) -> MeshTet:
        """As scikit-fem sees it."""
        return MeshTet(np.ascontiguousarray(self.nodes.T), np.ascontiguousarray(self.tetrahedra.T))

    def facets(self, group: str) -> np.ndarray:
        """scikit-fem's facet indices (k,) of a group. ValueError where a triangle is no face of any tetrahedron."""
        n = len(self.nodes)
        key = lambda t: np.sort(t, axis=1) @ np.array([n * n, n, 1])
        known = key(self.mesh.facets.T)
        order, wanted = np.argsort(known), key(lookup(group, self.faces, "group of faces"))
        place = order[np.searchsorted(known, wanted, sorter=order).clip(max=len(order) - 1)]
        if (known[place] != wanted).any():
            raise ValueError(f"cavity: some triangles of '{group}' are faces of no tetrahedron")
        return place


class AirModes(Protocol):
    """What the coupling asks of the air's modes: CavityModes, or the same without shapes."""

    @property
    def frequency(self) -> np.ndarray:
        """(k,) Hz, the uniform pressure first."""

    @property
    def density(self) -> float:
        """kg/m3."""

    @property
    def speed(self) -> float:
        """m/s, of sound."""


@dataclass(frozen=True)
class CavityModes:
    """Modes of the air behind rigid walls, ascending; the first is the uniform pressure.

    M_f = 1/(rho c^2) int p p, K_f = 1/rho int grad p . grad p. Shapes are M_f-normalised, the first one over the air
    alone, without the wood in the mesh.
    """

    frequency: np.ndarray  # (k,) Hz
    shape: np.ndarray  # (unknowns, k) Pa/J^1/2
    basis: Basis = field(repr=False)
    mass: sp.csr_array = field(repr=False)  # M_f
    solve: Solver = field(repr=False)  # loads -> K_f^-1 loads, both without the uniform pressure in the M_f product
    density: float = DENSITY
    speed: float = SPEED

    def first(self, k: int) -> "CavityModes":
        """The same with the first k modes alone."""
        return replace(self, frequency=self.frequency[:k], shape=self.shape[:, :k])


def cavity_modes(cavity: Cavity, highest_hz: float, density: float = DENSITY, speed: float = SPEED) -> CavityModes:
    """CavityModes of a Cavity: every mode below twice the highest frequency of interest [Hz], and at least eight.

    What the modes left out do below that frequency is held by the residual mass that `couple` finds.
    """
    basis = Basis(cavity.mesh, ElementTetP2())
    K = sp.csr_array(BilinearForm(lambda p, q, w: dot(grad(p), grad(q)) / density).assemble(basis))
    M = sp.csr_array(BilinearForm(lambda p, q, w: p * q / (density * speed**2)).assemble(basis))
    solve = _without_uniform(K, M)
    count = max(FEWEST, 4 + int(1.5 * _weyl(cavity, 2 * highest_hz, speed)))
    while True:
        count = min(count, K.shape[0] - 2)
        omega, shape = _oscillating(K, M, solve, count)
        if omega[-1] > 4 * np.pi * highest_hz or count == K.shape[0] - 2:
            break
        count *= 2
    kept = max(FEWEST - 1, int(np.sum(omega < 4 * np.pi * highest_hz)))
    uniform = np.full((K.shape[0], 1), np.sqrt(density * speed**2 / (cavity.volume - cavity.solid)))
    frequency = np.append(0.0, omega[:kept] / (2 * np.pi))
    return CavityModes(frequency, np.hstack([uniform, shape[:, :kept]]), basis, M, solve, density, speed)


def _weyl(cavity: Cavity, f: float, c: float) -> float:
    """About how many modes a cavity has below f [Hz]. Weyl's law with the term of the walls; Kuttruff, Room Acoustics, 3.2."""
    a, b, d = (cavity.nodes[np.concatenate(list(cavity.faces.values()))[:, k]] for k in range(3))
    wall = np.linalg.norm(np.cross(b - a, d - a), axis=1).sum() / 2
    return 4 * np.pi / 3 * cavity.volume * (f / c) ** 3 + np.pi / 4 * wall * (f / c) ** 2


def _without_uniform(K: sp.csr_array, M: sp.csr_array) -> Solver:
    """The solver of CavityModes.solve: one unknown held at zero, then the uniform pressure taken out again."""
    factor = Factor(K[1:][:, 1:])
    ones = np.ones((K.shape[0], 1))
    M1 = M @ ones
    total = M1.sum()

    def solve(loads: np.ndarray) -> np.ndarray:
        balanced = loads - M1 @ (ones.T @ loads) / total
        pressure = np.vstack([np.zeros((1, loads.shape[1])), factor.solve(np.ascontiguousarray(balanced[1:]))])
        return pressure - ones @ (M1.T @ pressure) / total

    return solve


def _oscillating(K: sp.csr_array, M: sp.csr_array, solve: Solver, count: int) -> tuple[np.ndarray, np.ndarray]:
    """omega (count,) and M-normalised shapes of K p = omega^2 M p, the uniform pressure left out; fixed start vector."""
    n = K.shape[0]
    column = lambda b: solve(b.reshape(n, 1)).ravel()
    start = column(M @ np.random.default_rng(0).standard_normal(n))
    value, shape = eigsh(K, count, M=M, sigma=0.0, OPinv=LinearOperator((n, n), column, dtype=float), v0=start)
    order = np.argsort(value)
    return np.sqrt(value[order]), shape[:, order]


# --- coupling ---


@dataclass(frozen=True)
class Coupling:
    """What the motions q of the walls (n structure modes, then the openings) do to the air."""

    c: np.ndarray  # (k, n + openings) J^1/2 per unit of q, to the kept cavity modes
    residual_mass: np.ndarray  # (n + openings, n + openings) of the cavity modes left out
    residual_pressure: np.ndarray = field(repr=False)  # (unknowns, n + openings): times omega^2 q, their pressure [Pa]
    openings: tuple[str, ...]

    @property
    def structure(self) -> int:
        """Number of structure modes n."""
        return self.c.shape[1] - len(self.openings)


def wall_loads(space: Space | BasisSpace, cavity: Cavity, basis: Basis) -> sp.csr_array | np.ndarray:
    """(unknowns of the air, space.size): loads int N u_n dS of each unknown of a shell, by the air's basis; u_n outward."""
    walls = [(g, *face_points(cavity, basis, g)) for g in cavity.faces if g not in cavity.openings]
    return sum(N @ normal_displacement(space, (group,), points, normals) for group, points, normals, N in walls)


def couple(
    space: Space | BasisSpace,
    shape: np.ndarray,
    cavity: Cavity,
    air: CavityModes,
    loads: sp.csr_array | np.ndarray | None = None,
) -> Coupling:
    """Coupling of mode shapes (space.size, n) on a shell with the modes of its Cavity.

    c_j = int psi_j u_n dS with u_n outward; an opening moves as a piston of one unit of volume, so that its entry is the
    mean of psi_j over it. M_res = L'(K_f^-1 - sum_kept psi psi'/omega^2) L is static; L are the loads of the q.
    loads: wall_loads of the same space and cavity, where they are there already.
    """
    L = (wall_loads(space, cavity, air.basis) if loads is None else loads) @ shape
    pistons = [_opening_load(cavity, air.basis, group) for group in cavity.openings]
    return coupling_of(np.column_stack([L, *pistons]), air, tuple(cavity.openings))


def coupling_of(loads: np.ndarray, air: CavityModes, openings: tuple[str, ...] = ()) -> Coupling:
    """Coupling of loads (unknowns of the air, n + openings): int N u_n dS of every motion."""
    kept = air.shape[:, 1:]  # `solve` takes out the uniform pressure
    rest = loads - air.mass @ (kept @ (kept.T @ loads))
    X = air.solve(rest)
    X -= kept @ (kept.T @ (air.mass @ X))
    residual = rest.T @ X
    return Coupling(air.shape.T @ loads, (residual + residual.T) / 2, X, openings)


def keep_first(coupling: Coupling, air: AirModes, k: int) -> Coupling:
    """The Coupling to the first k of the air's modes; what the others do below their frequencies joins the residual
    mass.
    """
    omega, c = 2 * np.pi * air.frequency[k:], coupling.c[k:]
    pressure = coupling.residual_pressure
    if len(pressure):
        pressure = pressure + cast(CavityModes, air).shape[:, k:] @ (c / omega[:, None] ** 2)
    mass = coupling.residual_mass + (c / omega[:, None]).T @ (c / omega[:, None])
    return replace(coupling, c=coupling.c[:k], residual_mass=mass, residual_pressure=pressure)


def face_points(cavity: Cavity, basis: Basis, group: str) -> tuple[np.ndarray, np.ndarray, sp.csr_array]:
    """Quadrature on a group of faces: points (m, 3), outward unit normals (m, 3), and the matrix (unknowns, m) of N dS."""
    faces = FacetBasis(cavity.mesh, basis.elem, facets=cavity.facets(group), intorder=6)
    x = np.asarray(faces.global_coordinates()).reshape(3, -1).T
    normals = np.asarray(faces.normals).reshape(3, -1).T
    phi = np.array([np.broadcast_to(np.asarray(f[0]), faces.dx.shape) * faces.dx for f in faces.basis])
    rows = np.broadcast_to(faces.element_dofs[:, :, None], phi.shape)
    columns = np.broadcast_to(np.arange(faces.dx.size).reshape(faces.dx.shape), phi.shape)
    N = sp.csr_array((phi.ravel(), (rows.ravel(), columns.ravel())), shape=(basis.N, faces.dx.size))
    return x, normals, N


def _opening_load(cavity: Cavity, basis: Basis, group: str) -> np.ndarray:
    load = np.asarray(face_points(cavity, basis, group)[2].sum(axis=1)).ravel()
    return load / load.sum()
