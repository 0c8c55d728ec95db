"""The air outside, solved by boundary elements once for a surface and its motions, and kept."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fem.radiation import FREQUENCIES, Boundary, Radiation
from meshes.body import Body, top_height
from meshes.coupled_model import outside
from studies.common.kept import Kind, kept_all
from studies.common.ranges import in_order, numbers

DISTANCE = 1.0  # m in front of the saddle


def in_front(body: Body) -> np.ndarray:
    """(3,) m: DISTANCE in front of the saddle, where sounds are heard unless another place is given."""
    x = body.bridge.saddle_x
    return np.array([x, 0.0, float(top_height(body, x, 0.0)) + DISTANCE])


def pack(found: Radiation) -> dict[str, np.ndarray | float]:
    """{name: array} of a Radiation."""
    return {name: value for name, value in vars(found).items() if value is not None}


def unpack(arrays: dict[str, np.ndarray]) -> Radiation:
    """The Radiation that was packed."""
    fields = dict(arrays)
    return Radiation(speed=float(fields.pop("speed")), **fields)


def check(found: Radiation) -> None:
    """ArithmeticError unless a Radiation's numbers are in range."""
    what = "air outside"
    in_order(what, found.frequency)
    numbers(what, {"resistance": found.resistance, "added_mass": found.added_mass, "pressure": found.pressure})


OUTSIDE = Kind("outside", ("meshes.coupled_model",), pack, unpack, check)


def stored_outside(
    surface: Boundary, columns: Sequence[np.ndarray], store: Path, points: np.ndarray
) -> list[Radiation]:
    """[Radiation] as meshes.coupled_model.outside, each kept in the folder `store` (Path), with the pressure at points (p, 3) [m].

    A point costs next to nothing beside the surface, and one that all ask for makes them share what is kept.
    """
    inputs = [(FREQUENCIES, surface.corners, V, points) for V in columns]
    return kept_all(store, OUTSIDE, inputs, lambda some: outside(surface, [columns[i] for i in some], points=points))
