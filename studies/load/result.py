"""What the load study holds."""

from dataclasses import dataclass

import numpy as np

from studies.common.inputs import NO_SOURCE, Source


@dataclass(frozen=True)
class Pull:
    """One string as a load."""

    name: str
    tension: float  # N
    saddle: np.ndarray  # (3,) m
    nut: np.ndarray  # (3,) m


@dataclass(frozen=True)
class Row:
    """One rim build under the strings; SI, angles in rad, as seen from the rim."""

    build: object
    mass: dict[str, float]  # {part: kg}
    measures: dict[str, float]  # {key of MEASURES: SI}
    displacement: np.ndarray  # (nodes, 3) m
    forces: np.ndarray  # (elements, points, 3) N/m membrane forces of the top
    frequency_ratio: np.ndarray  # (MODES,) with strings over without
    bound: float | None  # largest relative change of any omega^2; the sheet's own build only
    balance: float  # relative difference of work and strain energy
    modes: tuple[np.ndarray, np.ndarray]  # omega^2 (MODES,) and shapes (dofs, MODES) that the shift is told for


@dataclass(frozen=True)
class Load:
    """Everything that the report is made from."""

    body: object
    size: float  # m
    unknowns: tuple[int, int]  # fine, coarse
    pulls: tuple[Pull, ...]
    rows: tuple[Row, ...]  # the sheet's own build first
    coarse: Row  # the sheet's own build on the coarser mesh
    frequency: np.ndarray  # (MODES,) Hz of the sheet's own build without strings
    space: object = None  # for pictures
    source: Source = NO_SOURCE
