"""The air inside one body as plain arrays: its modes without shapes, and what the columns of a basis do to it."""

from dataclasses import dataclass, field, replace

import numpy as np

from fem.air import Coupling, Opening
from meshes.body import Body
from meshes.cavity import wood_inside


@dataclass(frozen=True)
class Tones:
    """Rigid-wall modes of enclosed air without their shapes; the first is the uniform pressure."""

    frequency: np.ndarray  # (k,) Hz
    density: float
    speed: float

    def first(self, k: int) -> "Tones":
        """The same with the first k modes alone."""
        return replace(self, frequency=self.frequency[:k])


@dataclass(frozen=True)
class Enclosed:
    """The air inside one body and what the columns of a basis do to it; plain arrays, so that it travels."""

    body: Body = field(repr=False)  # that it was computed for
    air: Tones
    openings: dict[str, Opening]
    coupling: Coupling = field(repr=False)  # of the r columns, then the openings; without residual_pressure
    walls: tuple[np.ndarray, np.ndarray] = field(repr=False)  # boundary_layer_integrals
    volume: float  # m3 of air

    def first(self, k: int) -> "Enclosed":
        """The same with the first k modes of the air alone."""
        return replace(self, air=self.air.first(k))

    def inside(self, body: Body) -> "Enclosed":
        """The same for a body of other thicknesses: openings as thick as its wood, the volume of the uniform pressure
        to first order in the thickness of plates and sides. The other modes of the air stay.
        """
        if body is self.body:
            return self
        volume = self.volume + air_volume_change(self.body, body)
        thick = lambda name: body.top.thickness if name == "soundhole" else body.side_thickness
        openings = {name: replace(o, thickness=thick(name)) for name, o in self.openings.items()}
        scale = np.sqrt(self.volume / volume)
        first = np.append(scale, np.ones(len(self.air.frequency) - 1))
        thermal, viscous = self.walls
        return replace(
            self,
            body=body,
            openings=openings,
            volume=volume,
            walls=(first[:, None] * thermal * first, viscous),
            coupling=replace(self.coupling, c=first[:, None] * self.coupling.c),
        )


def air_volume_change(old: Body, new: Body) -> float:
    """m3 by which the air inside grows from one body to another of the same outline and heights."""
    inward = lambda body: body.side_thickness - body.sides[0].thickness / 2
    plates = (old.top.thickness + old.back.thickness - new.top.thickness - new.back.thickness) / 2
    sides = inward(old) - inward(new)
    height = float(np.mean([h for *_, h in old.heights]))
    return plates * old.outline.area + sides * old.outline.perimeter * height + wood_inside(old) - wood_inside(new)
