"""The sounding bodies of all rim builds on one mesh; what took long is kept on disk, so that a broken run goes on."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from io import StringIO

import numpy as np

from fem.elements import Space
from fem.model import Model
from fem.radiation import Boundary
from meshes.body import Body
from meshes.cavity import wood_inside
from meshes.coupled_model import (
    CoupledModel,
    FluidDomain,
    Structure,
    Walls,
    coupled_model,
    fluid_domain,
    structure_of,
    velocities,
    walls_of,
)
from studies.common.builds import Build
from studies.common.kept import fingerprint
from studies.common.mesh_error import rim_grams
from studies.common.progress import Progress
from studies.solved.dry import stored_row
from studies.solved.level import Level
from studies.solved.outside import in_front, stored_outside

STEPS = 4  # of progress per build and mesh

Around = Callable[[Body], FluidDomain]


@dataclass(frozen=True)
class AirInside:
    """A build and the air inside it, not yet joined to the air outside."""

    build: Build
    structure: Structure
    fluid: FluidDomain
    walls: Walls = field(repr=False)
    velocity: np.ndarray = field(repr=False)  # (m, n) of the outer surface per structure mode and opening, normal
    rim_g: float


@dataclass(frozen=True)
class CoupledModels:
    """Every build on one mesh, without supports; dicts by the build's name."""

    size: float  # m
    model: Model = field(repr=False)
    surface: Boundary = field(repr=False)  # that all builds share
    whole: dict[str, CoupledModel]
    velocity: dict[str, np.ndarray] = field(repr=False)  # as in AirInside
    rim_g: dict[str, float]

    @property
    def unknowns(self) -> int:
        return int(self.model.size)


def coupled_models(
    rows: Sequence[Build],
    level: Level,
    progress: Progress | None = None,
    weight: float = 1.0,
    around: Around = fluid_domain,
    place: np.ndarray | None = None,
) -> CoupledModels:
    """CoupledModels of builds on a strung Level, whose folder keeps what is done.

    The boundary elements of all builds are solved together, on the first one's surface. progress takes STEPS steps a build,
    times weight; None: nothing is told. place: (3,) m where the sound is heard; in_front of the first one if None.
    """
    progress = progress or Progress(1.0, StringIO())
    inside = in_air(rows, level, progress, weight, around)
    progress.say("air outside, all builds together")
    surface = inside[0].fluid.surface
    place = in_front(rows[0].body) if place is None else place
    radiated = stored_outside(surface, [one.velocity for one in inside], level.store, place[None])
    whole = {}
    for one, R in zip(inside, radiated):
        progress.say(f"{one.build.label}: body and air together")
        whole[one.build.name] = coupled_model(one.structure, one.fluid, R, walls=one.walls)
        progress.step(weight)
    velocity = {one.build.name: one.velocity for one in inside}
    return CoupledModels(
        level.size, level.model, surface, whole, velocity, {one.build.name: one.rim_g for one in inside}
    )


def one_coupled(
    build: Build, level: Level, progress: Progress | None = None, around: Around = fluid_domain
) -> CoupledModel:
    """CoupledModel of one Build on a Level, as coupled_models."""
    return coupled_models((build,), level, progress, around=around).whole[build.name]


def in_air(rows: Sequence[Build], level: Level, progress: Progress, weight: float, around: Around) -> list[AirInside]:
    """[AirInside] of builds on a Level, the outer surface the first one's. progress takes 3 steps a build, times weight."""
    inside: list[AirInside] = []
    walls, around = shared_walls(level.model.space), shared(around)
    for build in rows:
        progress.say(f"{build.label}: modes without air")
        row = stored_row(build, level)
        structure = structure_of(build.body, level.model, build.sections(), row.found)
        progress.step(2 * weight)
        progress.say(f"{build.label}: enclosed air")
        fluid = around(build.body)
        if inside:
            fluid = replace(fluid, surface=inside[0].fluid.surface, groups=inside[0].fluid.groups)
        met = walls(fluid)
        inside.append(AirInside(build, structure, fluid, met, velocities(structure, fluid, met), rim_grams(row)))
        progress.step(weight)
    return inside


def shared(around: Around) -> Around:
    """`around`, computed once for all bodies whose cavities differ by their linings' volume alone."""
    known: dict[str, tuple[Body, FluidDomain]] = {}

    def found(body):
        key = fingerprint(replace(body, lining_top=None, lining_back=None, assumed=()))
        if key not in known:
            known[key] = body, around(body)
        first, there = known[key]
        return there if first is body else refilled(there, wood_inside(body) - wood_inside(first))

    return found


def shared_walls(space: Space) -> Callable[[FluidDomain], Walls]:
    """walls_of a Space, computed once for all cavities of one mesh of air behind one outer surface."""
    known: list[tuple[FluidDomain, Walls]] = []

    def found(fluid):
        for other, walls in known:
            if other.air.basis is fluid.air.basis and other.surface is fluid.surface:
                return walls
        known.append((fluid, walls_of(space, fluid)))
        return known[-1][1]

    return found


def refilled(fluid: FluidDomain, wood: float) -> FluidDomain:
    """FluidDomain with some more wood [m3] in the cavity: only the compliance of its uniform pressure changes."""
    cavity, air = fluid.cavity, fluid.air
    other = replace(cavity, solid=cavity.solid + wood)
    shape = air.shape.copy()
    shape[:, 0] *= np.sqrt((cavity.volume - cavity.solid) / (other.volume - other.solid))
    return replace(fluid, cavity=other, air=replace(air, shape=shape))
