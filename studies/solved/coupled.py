"""The sounding bodies of all rim builds on one mesh; what took long is kept on disk, so that a broken run goes on."""

from dataclasses import dataclass, field, replace

import numpy as np

from fem.model import Model, assemble
from meshes.build import mesh_body
from meshes.cavity import wood_inside
from meshes.sounding import sounding, structure_of, surroundings, velocities
from studies.common.kept import fingerprint
from studies.common.two_meshes import rim_grams
from studies.solved.dry import stored_row
from studies.solved.outside import stored_outside

STEPS = 4  # of progress per build and mesh


@dataclass(frozen=True)
class Soundings:
    """Every build on one mesh, not yet held; dicts by the build's name."""

    size: float  # m
    model: Model = field(repr=False)
    whole: dict  # of Sounding
    velocity: dict = field(
        repr=False
    )  # of (m, n) normal velocities of the outer surface per structure mode and opening
    rim_g: dict[str, float]

    @property
    def unknowns(self):
        return int(self.model.size)

    @property
    def surface(self):
        """Boundary that all builds share."""
        return next(iter(self.whole.values())).around.surface


def soundings(rows, size, dry, store, progress, weight=1.0, around=surroundings, model=None):
    """Soundings of Builds `rows` on a mesh of one size [m], `dry` structure modes each; `store` (Path) keeps what is done.

    The boundary elements of all builds are solved together, on the first one's surface. around: Body -> Surroundings.
    model: the Model of that size, where it is there already. progress takes STEPS steps a build, times weight.
    """
    if model is None:
        progress.say(f"meshing at {1e3 * size:.0f} mm")
        model = assemble(mesh_body(rows[0].body, size))
    structures, arounds, columns, grams = in_air(rows, model, dry, store, progress, weight, around)
    progress.say("air outside, all builds together")
    radiated = stored_outside(arounds[0].surface, columns, store)
    whole = {}
    for build, structure, own, R in zip(rows, structures, arounds, radiated):
        progress.say(f"{build.label}: body and air together")
        whole[build.name] = sounding(structure, own, R)
        progress.step(weight)
    return Soundings(size, model, whole, {b.name: V for b, V in zip(rows, columns)}, grams)


def in_air(rows, model, dry, store, progress, weight, around=surroundings):
    """([Structure], [Surroundings], [velocities (m, n)], {name: g of the rim}) of Builds, the outer surface the first one's.

    progress takes 3 steps a build, times weight.
    """
    structures, arounds, columns, grams = [], [], [], {}
    for build in rows:
        progress.say(f"{build.label}: modes without air")
        row = stored_row(build, model, dry, store)
        grams[build.name] = rim_grams(row)
        structures.append(structure_of(build.body, model, build.sections(), row.found))
        progress.step(2 * weight)
        progress.say(f"{build.label}: enclosed air")
        own = around(build.body)
        own = replace(own, surface=arounds[0].surface, groups=arounds[0].groups) if arounds else own
        arounds.append(own)
        columns.append(velocities(structures[-1], own))
        progress.step(weight)
    return structures, arounds, columns, grams


DRY_MODES = 60  # of the example bodies: they reach 1 kHz


def dry_modes(count):
    """How many modes of the dry structure are solved for to find `count` with air."""
    return max(DRY_MODES, 2 * count)


def shared(around):
    """`around`, Body -> Surroundings, computed once for all bodies whose cavities differ by their linings' volume alone."""
    known = {}

    def found(body):
        bare = replace(body, lining_top=None, lining_back=None, assumed=())
        key = fingerprint(bare)
        if key not in known:
            known[key] = body, around(body)
        first, there = known[key]
        return there if first is body else refilled(there, wood_inside(body) - wood_inside(first))

    return found


def refilled(around, wood):
    """Surroundings with some more wood [m3] in the cavity: only the compliance of its uniform pressure changes."""
    cavity, air = around.cavity, around.air
    other = replace(cavity, solid=cavity.solid + wood)
    shape = air.shape.copy()
    shape[:, 0] *= np.sqrt((cavity.volume - cavity.solid) / (other.volume - other.solid))
    return replace(around, cavity=other, air=replace(air, shape=shape))
