"""The air outside, solved by boundary elements once for a surface and its motions, and kept."""

from fem.radiation import FREQUENCIES, Radiation
from meshes.sounding import outside
from studies.common.kept import Kind, kept_all
from studies.common.ranges import in_order, numbers


def pack(found):
    """{name: array} of a Radiation."""
    return {name: value for name, value in vars(found).items() if value is not None}


def unpack(arrays):
    """The Radiation that was packed."""
    return Radiation(**{**arrays, "speed": float(arrays["speed"])})


def check(found):
    """ArithmeticError unless a Radiation's numbers are in range."""
    what = "air outside"
    in_order(what, found.frequency)
    numbers(what, {"resistance": found.resistance, "added_mass": found.added_mass, "pressure": found.pressure})


OUTSIDE = Kind("outside", ("meshes.sounding",), pack, unpack, check)


def stored_outside(surface, columns, store, points=None):
    """[Radiation] as meshes.sounding.outside, each kept in the folder `store` (Path). points: (p, 3) m, or None."""
    inputs = [(FREQUENCIES, surface.corners, V, points) for V in columns]
    return kept_all(store, OUTSIDE, inputs, lambda some: outside(surface, [columns[i] for i in some], points=points))
