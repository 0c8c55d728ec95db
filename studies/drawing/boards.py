"""The plates of a mesh made ready for pictures: sampled finely, laid on the page, given values."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fem.elements import Space
from fem.mesh import ShellMesh
from meshes.body import Body
from studies.drawing.field import Field, Sampler, field_on, sampler, turned
from studies.drawing.plan import PlatePlan, on_true_curves, plate_plan

FACING = {"top": 0.9, "back": -0.9}  # least mean normal along z of a group that can be shown in plan


@dataclass(frozen=True)
class Boards:
    """Samplers by the plates' names; body: whose parts are drawn on them, None for a foreign mesh."""

    samplers: dict[str, Sampler]
    body: Body | None

    @cached_property
    def plates(self) -> dict[str, PlatePlan]:
        """The plates as they lie on the page."""
        return {name: plate_plan(name, s, self.body) for name, s in self.samplers.items()}

    def moving(self, shape: np.ndarray, sign: float = 1.0) -> dict[str, Field]:
        """Fields of one mode shape (dofs,), times a sign."""
        return {name: turned(field_on(s, shape), sign) for name, s in self.samplers.items()}

    def painted(self, values: dict[str, np.ndarray], most: float = np.inf) -> dict[str, Field]:
        """Fields of values (nodes,) by plate, cut off at `most` either way."""
        fields = {}
        for name, s in self.samplers.items():
            value = (s.matrix @ values[name]).clip(-most, most)
            fields[name] = Field(s.points, s.topology, value, value[:, None] * s.normal)
        return fields


def boards_of(space: Space, body: Body | None, subdivide: int = 4, names: tuple[str, ...] | None = None) -> Boards:
    """Boards of the plates of these names; of all that can be shown in plan, if not given."""
    wanted = plates_of(space.mesh) if names is None else names
    return Boards({n: body_sampler(space, space.mesh.surfaces[n].triangles, body, subdivide) for n in wanted}, body)


def plates_of(mesh: ShellMesh) -> list[str]:
    """Names of the surface groups that can be shown in plan: 'top' facing +z, 'back' facing -z."""
    normals = {name: mesh.normal[mesh.surfaces[name].triangles, 2] for name in FACING if name in mesh.surfaces}
    return [name for name, n in normals.items() if np.mean(n) * np.sign(FACING[name]) > abs(FACING[name])]


def body_sampler(space: Space, triangles: np.ndarray, body: Body | None, subdivide: int = 4) -> Sampler:
    """Sampler of triangles (indices), its edges on the true curves of a body, if there is one."""
    on_chords = sampler(space, triangles, subdivide)
    return on_chords if body is None else on_true_curves(on_chords, body)
