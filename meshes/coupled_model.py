"""From the structure's modes to the sounding body: air inside and outside, opening, losses of every part, in one model.

The steps are open, so that builds of one outline share the boundary elements: structure_of, surroundings, velocities,
outside, sounding; `coupled_model_of` does them all for one body. How it is held joins last (supports.py).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp

from fem.air import FEWEST, Cavity, CavityModes, Coupling, Opening, cavity_modes, couple, keep_first, wall_loads
from fem.attachment_modes import residual_attachment_modes
from fem.complex_modes import complex_modes, undamped_modes
from fem.coupled_air import CoupledModes, coupled_matrices, coupled_modes, rigid_of, with_rigid
from fem.eigen import SHIFT, Modes
from fem.elements import Space
from fem.energies import masses
from fem.factor import Factor
from fem.interpolate import BasisSpace, normal_displacement
from fem.modal_losses import modal_mass, modal_stiffness_and_losses
from fem.model import Model, weights
from fem.radiation import FREQUENCIES, Boundary, Radiation, added_mass_at, boundary, piston, radiation
from fem.response import ModalModel, energy, opening_resistance, widened, with_air
from fem.sections import Section
from fem.viscothermal_losses import (
    boundary_layer_integrals,
    boundary_layer_matrices,
    pressures,
    viscothermal_losses_from,
)
from meshes import cavity as cavity_mesh
from meshes import outer_surface as outer_mesh
from meshes.body import Body
from meshes.enclosed_air import Enclosed
from meshes.saddle import saddle_load
from meshes.side_ports import openings_of
from meshes.string_places import string_loads

Matrix: TypeAlias = np.ndarray | sp.sparray  # columns: the unknowns of a model

HIGHEST = 1000.0  # Hz: cavity modes are kept below twice this; the boundary elements end here
RIGID = 6
# share of the moving energy in rigid motions, or of the stored in the supports, that makes a mode theirs
SUPPORT_MODE = 0.5
OUTER_GROUPS = ("top", "back", "sides")
AIR, VISCOUS_LOSS, OPENING, SUPPORTS = "air", "air_rubbing", "opening", "supports"


@dataclass(frozen=True)
class Structure:
    """Mass-normalised shapes of the dry body: six rigid, the elastic modes, and how it bends further where its strings end."""

    body: Body
    space: Space | BasisSpace = field(repr=False)
    frequency: np.ndarray  # (n,) Hz; 0 for rigid motions
    shape: np.ndarray = field(repr=False)  # (dofs, n), or coordinates (r, n) in a basis
    loss: dict[str, np.ndarray]  # {part: (n, n)} as modal_losses
    stiffness: dict[str, np.ndarray]  # {part: (n, n)}
    mass: dict[str, np.ndarray]  # {part: (n, n)}
    weight: float  # kg
    drive: np.ndarray  # (n,) displacement out of the top at the saddle's middle
    valid_to: float  # Hz, of the highest elastic mode

    @property
    def elastic_hz(self) -> np.ndarray:
        """Hz of the elastic modes alone: how the strings' ends bend the body beyond them lies above the highest."""
        f = self.frequency[RIGID:]
        return f[f <= self.valid_to]


@dataclass(frozen=True)
class FluidDomain:
    """Air inside a body and the closed surface that it shows to the air outside."""

    cavity: Cavity
    air: CavityModes = field(repr=False)
    surface: Boundary = field(repr=False)
    groups: dict[str, np.ndarray]  # of the surface's triangles

    @property
    def openings(self) -> dict[str, Opening]:
        """{name: Opening}."""
        return self.cavity.openings

    def first(self, k: int) -> "FluidDomain":
        """The same with the first k modes of the air alone."""
        return replace(self, air=self.air.first(k))


@dataclass(frozen=True)
class CoupledModel:
    """A body with its air, not yet held. State (q structure, U openings, s cavity modes), N unknowns."""

    structure: Structure
    around: FluidDomain | Enclosed  # Enclosed: of a model in a basis
    coupling: Coupling = field(repr=False)
    model: ModalModel = field(repr=False)
    stored: dict[str, np.ndarray]  # {part: (N, N)} stiffness of structure parts and 'air'
    moving: dict[str, np.ndarray]  # {part: (N, N)} mass of structure parts, 'air' (inside) and 'opening'
    drive: np.ndarray  # (N,)
    lowest_hz: float  # lowest air-loaded resonance, at which opening and walls are given their friction


@dataclass(frozen=True)
class Between:
    """Losses, stiffness and mass between n shapes: of every part {part: (n, n)}, and K and M of the whole body (n, n)."""

    loss: dict[str, np.ndarray]
    stiffness: dict[str, np.ndarray]
    mass: dict[str, np.ndarray]
    K: np.ndarray
    M: np.ndarray


def structure_of(body: Body, model: Model, sections: Mapping[str, Section], elastic: Modes) -> Structure:
    """Structure of a Body from its Model, whole or reduced, {region: Section} and elastic Modes."""
    w, loads = weights(sections), string_loads(body, model.space)

    def between(shape: np.ndarray) -> Between:
        stiffness, losses = modal_stiffness_and_losses(model, sections, shape)
        mass = modal_mass(model, sections, shape)
        K, M = (np.sum([*parts.values()], axis=0) for parts in (stiffness, mass))
        return Between(losses, stiffness, mass, K, M)

    if elastic.attachment is None:
        elastic = with_attachment(model.space, model.matrix("K", w), model.matrix("M", w), elastic, loads)
    return structure_from(body, model.space, elastic, between, sum(masses(model, sections).values()))


def structure_from(
    body: Body, space: Space | BasisSpace, elastic: Modes, between: Callable[[np.ndarray], Between], weight: float
) -> Structure:
    """As structure_of, from Modes with attachment modes and the weight [kg]; between: shapes (size, n) -> Between them."""
    assert elastic.attachment is not None
    n, shape = RIGID + len(elastic.frequency), np.hstack([rigid_of(space), elastic.shape, elastic.attachment])
    found = between(shape)
    omega2, turn = sl.eigh(found.K[n:, n:])
    upright = np.linalg.inv(np.linalg.cholesky(found.M[:RIGID, :RIGID])).T  # rigid motions, mass-normalised
    T = sl.block_diag(upright, np.eye(n - RIGID), turn)
    turned = lambda parts: {part: T.T @ A @ T for part, A in parts.items()}
    frequency = np.concatenate([np.zeros(RIGID), elastic.frequency, np.sqrt(omega2) / (2 * np.pi)])
    shape = shape @ T
    return Structure(
        body, space, frequency, shape, turned(found.loss), turned(found.stiffness), turned(found.mass), weight,
        saddle_load(body, space) @ shape, float(elastic.frequency[-1]),
    )  # fmt: skip


def with_attachment(space: Space | BasisSpace, K: Matrix, M: Matrix, elastic: Modes, loads: np.ndarray) -> Modes:
    """Modes with the residual attachment modes of loads (dofs, k), which bend the body beyond its modes; K, M: sparse or dense."""
    shift = max(SHIFT, -((2 * np.pi * elastic.frequency[0]) ** 2))
    known = with_rigid(space, M, elastic).shape
    bent = residual_attachment_modes(_solver(K - shift * M), shift, M, known, loads)
    return replace(elastic, attachment=bent)


def _solver(A: Matrix) -> Callable[[np.ndarray], np.ndarray]:
    """Function loads (size, m) -> A^-1 loads, for a positive definite matrix, sparse or dense."""
    return Factor(A).solve if sp.issparse(A) else partial(sl.cho_solve, sl.cho_factor(A))


def fluid_domain(
    body: Body,
    highest: float = HIGHEST,
    cavity_size: float = cavity_mesh.DEFAULT_SIZE,
    surface_size: float = outer_mesh.SIZE,
) -> FluidDomain:
    """FluidDomain of a Body; cavity modes below twice `highest` [Hz]; sizes [m] of both meshes."""
    ports = openings_of(body)
    cavity, outer = (
        cavity_mesh.mesh_cavity(body, cavity_size, ports),
        outer_mesh.outer_surface(body, surface_size, ports),
    )
    return FluidDomain(cavity, cavity_modes(cavity, highest), boundary(outer.nodes, outer.triangles), outer.groups)


@dataclass(frozen=True)
class Walls:
    """What any motion of one shell does to the air at its walls, and the thin layers there; made by walls_of()."""

    inside: Matrix = field(repr=False)  # wall_loads
    outside: Matrix = field(repr=False)  # as normal_velocities
    layers: tuple[sp.csr_array, sp.csr_array] = field(repr=False)  # boundary_layer_matrices


def walls_of(space: Space | BasisSpace, fluid: FluidDomain) -> Walls:
    """Walls of a Space and a FluidDomain; all builds of one mesh and one cavity share them."""
    cavity, basis = fluid.cavity, fluid.air.basis
    return Walls(
        wall_loads(space, cavity, basis), normal_velocities(space, fluid), boundary_layer_matrices(cavity, basis)
    )


def normal_velocities(space: Space | BasisSpace, fluid: FluidDomain) -> Matrix:
    """(m, space.size) normal velocity of the outer surface per unit of each unknown of the shell; 0 on the openings."""
    s, groups = fluid.surface, [fluid.groups[group] for group in OUTER_GROUPS]
    parts = [normal_displacement(space, (g,), s.centroid[i], s.normal[i]) for g, i in zip(OUTER_GROUPS, groups)]
    rows = np.concatenate(groups)
    place = sp.csr_array((np.ones(len(rows)), (rows, np.arange(len(rows)))), shape=(len(s.area), len(rows)))
    return place @ (np.vstack(parts) if isinstance(space, BasisSpace) else sp.vstack(parts, format="csr"))


def velocities(structure: Structure, fluid: FluidDomain, walls: Walls | None = None) -> np.ndarray:
    """(m, n + openings) normal velocities of the outer surface per unit of each structure mode and opening.

    walls: walls_of the same space and fluid, where they are there already.
    """
    return surface_velocities(structure.space, structure.shape, fluid, None if walls is None else walls.outside)


def surface_velocities(
    space: Space | BasisSpace, shape: np.ndarray, fluid: FluidDomain, outside: Matrix | None = None
) -> np.ndarray:
    """As `velocities`, of shapes (dofs, n) on a Space. outside: normal_velocities, where they are there already."""
    V = (normal_velocities(space, fluid) if outside is None else outside) @ shape
    return np.column_stack([V, *(piston(fluid.surface, fluid.groups[name]) for name in fluid.openings)])


def outside(
    surface: Boundary,
    columns: Sequence[np.ndarray],
    frequency: Sequence[float] | np.ndarray = FREQUENCIES,
    points: np.ndarray | None = None,
) -> list[Radiation]:
    """[Radiation] of several sets of velocities (m, n_i) on one surface, solved together, as radiation() of each."""
    whole = radiation(surface, np.hstack(columns), frequency, points)
    ends = np.cumsum([0, *(c.shape[1] for c in columns)])
    cut = lambda a, b: replace(
        whole,
        resistance=whole.resistance[:, a:b, a:b],
        added_mass=whole.added_mass[:, a:b, a:b],
        pressure=None if whole.pressure is None else whole.pressure[:, :, a:b],
    )
    return [cut(a, b) for a, b in pairwise(ends)]


def coupled_model(
    structure: Structure, fluid: FluidDomain, radiated: Radiation, fewer: bool = False, walls: Walls | None = None
) -> CoupledModel:
    """CoupledModel of a Structure with its FluidDomain and the Radiation of its motions.

    fewer: keep only the cavity's modes below twice the frequency that the structure is valid to; the others as mass.
    walls: walls_of the same space and fluid, where they are there already.
    """
    loads, layers = (None, None) if walls is None else (walls.inside, walls.layers)
    coupling = couple(structure.space, structure.shape, fluid.cavity, fluid.air, loads)
    integrals = boundary_layer_integrals(fluid.cavity, fluid.air, layers)
    return coupled_model_from(structure, fluid, coupling, integrals, radiated, fewer)


def coupled_model_from(
    structure: Structure,
    fluid: FluidDomain | Enclosed,
    coupling: Coupling,
    walls: tuple[np.ndarray, np.ndarray],
    radiated: Radiation,
    fewer: bool = False,
) -> CoupledModel:
    """As coupled_model, with the Coupling of the structure's modes to the cavity's and boundary_layer_integrals made before."""
    s, air, openings = structure, fluid.air, fluid.openings
    if fewer:
        k = max(FEWEST, int(np.sum(air.frequency < 2 * s.valid_to)))
        coupling, walls = keep_first(coupling, air, k), (walls[0][:k, :k], walls[1][: k - 1, : k - 1])
        fluid = fluid.first(k)
        air = fluid.air
    lowest = lowest_air_resonance(coupled_modes(s.frequency, coupling, air, openings))
    K, M = coupled_matrices(s.frequency, coupling, air, openings, "boundary_elements")
    n, moved, N = len(s.frequency), coupling.c.shape[1], len(K)
    wide = lambda A: np.pad(A, ((0, N - len(A)),) * 2)
    friction = {name: opening_resistance(o, lowest) for name, o in openings.items()}
    model = with_air(K, M, n, s.loss, friction, radiated)
    thermal, viscous = viscothermal_losses_from(walls, air, coupling, lowest)
    model = replace(model, loss={**model.loss, AIR: thermal}, viscous={**model.viscous, VISCOUS_LOSS: viscous})
    own = np.zeros(N)
    own[n:moved] = np.diag(M)[n:moved] - np.diag(coupling.residual_mass)[n:]
    moving = {part: wide(A) for part, A in s.mass.items()}
    moving |= {OPENING: np.diag(own), AIR: M - np.diag(own) - np.diag(np.append(np.ones(n), np.zeros(N - n)))}
    P = pressures(air, coupling)
    stored = {part: wide(A) for part, A in s.stiffness.items()} | {AIR: P.T @ P}
    drive = np.append(s.drive, np.zeros(N - n))
    return CoupledModel(s, fluid, coupling, model, stored, moving, drive, lowest)


def lowest_air_resonance(coupled: CoupledModes) -> float:
    """Frequency [Hz] of the mode in which the openings' air holds most of the moving energy."""
    return float(coupled.frequency[np.argmax(coupled.kinetic_share["openings"])])


def coupled_model_of(
    body: Body,
    model: Model,
    sections: Mapping[str, Section],
    elastic: Modes,
    highest: float = HIGHEST,
    around: Callable[[Body, float], FluidDomain] = fluid_domain,
    fewer: bool = False,
) -> CoupledModel:
    """CoupledModel of one Body: every step above, with the boundary elements' ten frequencies.

    around: function (body, highest) -> FluidDomain. fewer: as for coupled_model.
    """
    structure, fluid = structure_of(body, model, sections, elastic), around(body, highest)
    return coupled_model(structure, fluid, outside(fluid.surface, [velocities(structure, fluid)])[0], fewer)


# --- modes of the held body ---


@dataclass(frozen=True)
class VibroacousticModes:
    """Air-loaded modes of a held body, ascending. Every group of shares sums to 1 per mode."""

    frequency: np.ndarray  # (m,) Hz
    loss_factor: np.ndarray  # (m,)
    shape: np.ndarray = field(repr=False)  # (N or more, m) complex; behind the N, what lies under clothing
    potential_share: dict[str, np.ndarray]  # structure parts, 'air', 'supports'
    kinetic_share: dict[str, np.ndarray]  # structure parts, 'air' (outside included), 'opening', 'supports' (flesh)
    loss_share: dict[
        str, np.ndarray
    ]  # structure parts, 'air' (thermal), 'air_rubbing', openings, supports, 'radiation'
    rigid_share: np.ndarray  # (m,) of the moving energy in rigid motions

    @property
    def air_share(self) -> np.ndarray:
        """(m,) of the whole energy: mean of the potential and kinetic shares."""
        return (self.potential_share[AIR] + self.kinetic_share[AIR]) / 2

    @property
    def elastic(self) -> np.ndarray:
        """(m,) bool: modes of the body, neither rigid on its supports nor stored in them (flesh that swings on clothing)."""
        return (self.rigid_share < SUPPORT_MODE) & (self.potential_share[SUPPORTS] < SUPPORT_MODE)

    @property
    def of_body(self) -> "VibroacousticModes":
        """The elastic ones alone."""
        keep = np.flatnonzero(self.elastic)
        pick = lambda parts: {part: v[keep] for part, v in parts.items()}
        return VibroacousticModes(
            self.frequency[keep], self.loss_factor[keep], self.shape[:, keep], pick(self.potential_share),
            pick(self.kinetic_share), pick(self.loss_share), self.rigid_share[keep],
        )  # fmt: skip


def modes_of(
    coupled: CoupledModel, supported: ModalModel, lowest: float = 0.05, highest: float | None = None
) -> VibroacousticModes:
    """VibroacousticModes of a CoupledModel whose model, supports joined to it, is `supported`; up to `highest` [Hz], by default as
    far as it is valid.
    """
    highest = highest or min(coupled.structure.valid_to, HIGHEST)
    c = complex_modes(supported, lowest, highest)
    x, N = c.shape.T, len(coupled.drive)
    own = np.ascontiguousarray(x[:, :N])
    stored, moving = ({part: energy(A, own) for part, A in parts.items()} for parts in (coupled.stored, coupled.moving))
    bare = widened(coupled.model, len(supported.stiffness))
    stored[SUPPORTS] = energy(supported.stiffness - bare.stiffness, x)
    moving[SUPPORTS] = energy(supported.mass - bare.mass, x)
    if supported.radiation is not None:
        moving[AIR] = moving[AIR] + energy(added_mass_at(supported.radiation, 2 * np.pi * c.frequency), x)
    share = lambda parts: {part: e / sum(parts.values()) for part, e in parts.items()}
    rigid = np.sum(np.abs(c.shape[:RIGID]) ** 2, axis=0) / sum(moving.values())
    loss = {part: e / c.loss_factor for part, e in c.part_loss.items()}
    return VibroacousticModes(c.frequency, c.loss_factor, c.shape, share(stored), share(moving), loss, rigid)


def real_modes(coupled: CoupledModel, supported: ModalModel) -> tuple[np.ndarray, np.ndarray]:
    """omega (m,) [rad/s] and shape (N or more, m) of the held body without losses, what lies under clothing behind the N; motions
    that store nothing are left out.
    """
    omega, shape = undamped_modes(supported, coupled.lowest_hz)
    keep = omega > 1e-6 * omega.max()
    return omega[keep], shape[:, keep]
