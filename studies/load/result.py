"""What the load study holds."""

from dataclasses import dataclass

import numpy as np

from studies.common.at_rest import AtRest
from studies.common.builds import Build
from studies.common.mesh_error import mesh_errors


@dataclass(frozen=True)
class Pull:
    """One string as a load."""

    name: str
    tension: float  # N
    saddle: np.ndarray  # (2,) m in plan
    nut: np.ndarray  # (2,) m in plan


@dataclass(frozen=True)
class Row:
    """One rim build under the strings; SI, angles in rad, as seen from the rim."""

    build: Build
    mass: dict[str, float]  # {part: kg}
    measures: dict[str, float]  # {key of MEASURES: SI}
    displacement: np.ndarray  # (nodes, 3) m
    forces: np.ndarray  # (elements, points, 3) N/m membrane forces of the top
    frequency_ratio: np.ndarray  # (MODES,) with strings over without
    bound: float | None  # largest relative change of any omega^2; the sheet's own build only
    balance: float  # relative difference of work and strain energy
    modes: tuple[np.ndarray, np.ndarray]  # omega^2 (MODES,) and shapes (dofs, MODES) that the shift is told for


@dataclass(frozen=True)
class Load(AtRest[Row]):
    """Everything that the report is made from."""

    pulls: tuple[Pull, ...]

    @property
    def frequency(self) -> np.ndarray:
        """(MODES,) Hz of the sheet's own build without strings."""
        return np.sqrt(self.rows[0].modes[0]) / (2 * np.pi)

    @property
    def tension(self) -> float:
        """N of all strings together."""
        return sum(pull.tension for pull in self.pulls)

    @property
    def errors(self) -> dict[str, float]:
        """{key of MEASURES: SI} mesh error of the sheet's own build."""
        return mesh_errors(*(row.measures for row in self.own))
