"""The air outside, solved by boundary elements once for a surface and its motions, and kept."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fem.radiation import FREQUENCIES, Boundary, Radiation
from meshes.coupled_model import outside
from studies.common.kept import Kind, kept_all
from studies.common.ranges import in_order, numbers


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
    surface: Boundary, columns: Sequence[np.ndarray], store: Path, points: np.ndarray | None = None
) -> list[Radiation]:
    """[Radiation] as meshes.coupled_model.outside, each kept in the folder `store` (Path). points: (p, 3) m, or None."""
    inputs = [(FREQUENCIES, surface.corners, V, points) for V in columns]
    return kept_all(store, OUTSIDE, inputs, lambda some: outside(surface, [columns[i] for i in some], points=points))
