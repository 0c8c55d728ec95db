"""A sounding body in a reduced basis: everything of the air is computed once, a variant costs milliseconds.

The basis V (dofs, r) of one mesh takes the place of the modes: its columns' flow over the outer surface (boundary
elements), what they do to the enclosed air, and the motion of the places where the body is held, driven and strung. A
variant's modes y (r, n) then turn all of that into their own coordinates; no array of the size of a mesh is touched.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.linalg as sl

from fem.air import couple
from fem.compressed_terms import Weighted
from fem.eigen import Modes, rigid_modes
from fem.elements import Space
from fem.interpolate import BasisSpace, basis_space
from fem.radiation import FREQUENCIES, Radiation, clipped, in_basis, radiation
from fem.viscothermal_losses import boundary_layer_integrals
from meshes.body import Body
from meshes.coupled_model import (
    Between,
    CoupledModel,
    FluidDomain,
    Structure,
    coupled_model_from,
    structure_from,
    surface_velocities,
    with_attachment,
)
from meshes.enclosed_air import Enclosed, Tones
from meshes.string_places import far_places, saddle_places, string_loads
from meshes.supports import free_suspension, lap_supports

REACH = 0.06  # m, about the places where the body is held and strung: so far is its motion kept
STRINGS = 6


@dataclass(frozen=True)
class CoupledBasis:
    """What a basis of one mesh does to the air outside, and the places where the body is held and strung."""

    space: BasisSpace = field(repr=False)
    radiation: Radiation = field(repr=False)  # of the r columns, then the openings; its negative eigenvalues kept


def coupled_basis(
    body: Body,
    space: Space,
    V: np.ndarray,
    fluid: FluidDomain,
    frequency: Sequence[float] | np.ndarray = FREQUENCIES,
) -> CoupledBasis:
    """CoupledBasis of a basis V (dofs, r) on a Space, and the FluidDomain of a Body; frequency: as for radiation()."""
    return CoupledBasis(support_places(body, space, V), radiation_of(space, V, fluid, frequency))


def support_places(body: Body, space: Space, V: np.ndarray) -> BasisSpace:
    """BasisSpace of the places where a Body is held, driven and strung."""
    return basis_space(space, V, rigid_modes(space.points), places(body), REACH)


def radiation_of(
    space: Space, V: np.ndarray, fluid: FluidDomain, frequency: Sequence[float] | np.ndarray = FREQUENCIES
) -> Radiation:
    """Radiation of the columns of V and the openings, its negative eigenvalues kept; frequency: as for radiation()."""
    return radiation(fluid.surface, surface_velocities(space, V, fluid), frequency, clip=False)


def enclosed(body: Body, space: Space, V: np.ndarray, fluid: FluidDomain) -> Enclosed:
    """Enclosed of a Body, its FluidDomain and a basis V (dofs, r) on a Space."""
    cavity, air = fluid.cavity, fluid.air
    coupling = couple(space, V, cavity, air)
    coupling = replace(coupling, residual_pressure=np.zeros((0, coupling.c.shape[1])))
    tones = Tones(air.frequency, air.density, air.speed)
    volume = cavity.volume - cavity.solid
    return Enclosed(body, tones, cavity.openings, coupling, boundary_layer_integrals(cavity, air), volume)


def places(body: Body) -> dict[str, np.ndarray]:
    """{part: (n, 3) m}: where the body is held, hung or on the lap, driven, and where its strings end."""
    points_of = {"top": [saddle_places(body, STRINGS)]}
    for region, crowns in far_places(body, STRINGS):
        points_of.setdefault(region, []).append(crowns)
    for patch in (*free_suspension(body, 1.0), *lap_supports(body)):
        points_of.setdefault(patch.part, []).append(patch.points)
    return {part: np.concatenate(points) for part, points in points_of.items()}


def structure_in(
    basis: CoupledBasis, body: Body, weighted: Weighted, frequency: np.ndarray, y: np.ndarray, all_parts: bool = True
) -> Structure:
    """Structure of a Body from compressed_terms.Weighted coefficients and its elastic modes: frequency (n,) [Hz], y (r, n).

    all_parts: stiffness and mass of every part between the modes as well, which only `modes_of` needs.
    """
    none = np.zeros(len(frequency))
    K, M = weighted.K, weighted.M
    between = lambda shape: Between(*weighted.between(shape, all_parts), shape.T @ K @ shape, shape.T @ M @ shape)
    loads = string_loads(body, basis.space)
    elastic = with_attachment(basis.space, K, M, Modes(frequency, y, none, none[:0]), loads)
    return structure_from(body, basis.space, elastic, between, sum(weighted.mass.values()))


def coupled_model_in_basis(
    basis: CoupledBasis, air: Enclosed, structure: Structure, fewer: bool = False
) -> CoupledModel:
    """CoupledModel of a Structure in a basis (its shapes are coordinates (r, n)), with the Enclosed air of its body.

    fewer: as for coupled_model.
    """
    T = sl.block_diag(structure.shape, np.eye(len(air.openings)))
    c = air.coupling
    coupling = replace(
        c, c=c.c @ T, residual_mass=T.T @ c.residual_mass @ T, residual_pressure=np.zeros((0, T.shape[1]))
    )
    return coupled_model_from(structure, air, coupling, air.walls, clipped(in_basis(basis.radiation, T)), fewer)
