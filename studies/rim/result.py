"""What is known of the builds of a rim, dry and with the air inside and out."""

from dataclasses import dataclass, field

import numpy as np

from fem.model import Model
from meshes.body import Body
from meshes.coupled_model import CoupledModel, VibroacousticModes
from meshes.supports import FREE, LAP
from studies.common.builds import Build
from studies.common.inputs import NO_SOURCE, Source
from studies.common.measured import Beside
from studies.solved.bridge_tap import BridgeTap
from studies.solved.dry import Row
from studies.solved.power import Driven

SUPPORT_CONDITIONS = (FREE, LAP)
WHOLE_RIM = "rim"


@dataclass(frozen=True)
class Comparison:
    """A build beside the sheet's own, dry; index of its partner for every mode of the base, -1 where it has none."""

    row: Row
    coarse: Row
    partner: np.ndarray  # (n,) into row's modes
    coarse_partner: np.ndarray  # (n,) into coarse's modes
    match: np.ndarray  # (n,) modal assurance criterion with the partner


@dataclass(frozen=True)
class DryStudy:
    """Everything that the dry report is made from."""

    body: Body
    size: float  # m, of the finer mesh
    comparisons: tuple[Comparison, ...]  # the sheet's own build first
    models: tuple[Model, Model]  # of the finer and the coarser mesh
    count: int  # modes compared
    measured: tuple[Beside, ...] = ()  # what the maker measured, and the computed value
    source: Source = NO_SOURCE

    @property
    def unknowns(self) -> tuple[int, int]:
        """Of the finer and the coarser mesh."""
        fine, coarse = self.models
        return int(fine.size), int(coarse.size)


@dataclass(frozen=True)
class Result:
    """One build with air on its supports, on one mesh."""

    build: Build
    rim_g: float
    modes: VibroacousticModes  # of the body, those of its supports left out
    motion: np.ndarray = field(repr=False)  # (m, k) complex normal velocity of the outer surface in each mode
    driven: Driven = field(repr=False)
    dry_hz: np.ndarray  # (n,) Hz of the dry elastic modes
    tap: BridgeTap | None = None  # of the sheet's own build


@dataclass(frozen=True)
class Level:
    """Every build with air on one mesh."""

    size: float  # m
    unknowns: int
    results: dict[tuple[str, str], Result]  # {(build name, how)}
    area: np.ndarray = field(repr=False)  # (m,) m2 of the outer surface's triangles


@dataclass(frozen=True)
class AirStudy:
    """Everything that the report with air is made from."""

    body: Body
    builds: tuple[Build, ...]  # the sheet's own first
    fine: Level
    coarse: Level
    base: CoupledModel = field(repr=False)  # of the sheet's own build, on the finer mesh
    count: int  # modes compared
    firmness: dict[
        float, dict[str, float]
    ]  # {times the flesh's stiffness: summary of the sheet's own build on the lap}
    clothing: dict[str, dict[str, float]]  # {'bare' or 'thick': as firmness}
    sensitivity: dict[tuple[str, str, float], dict[str, float]]  # {(how, part or 'rim', times its losses): as firmness}
    unexplained: dict[tuple[str, str, str], dict[str, float]]  # as of rim.unexplained.with_unexplained
    unexplained_in_joints: float  # loss factor that joints and linings would then have
    measured: tuple[Beside, ...] = ()  # what the maker measured, and the computed value (dry)
    source: Source = NO_SOURCE

    @property
    def size(self) -> float:
        """m, of the finer mesh."""
        return self.fine.size

    @property
    def unknowns(self) -> tuple[int, int]:
        """Of the finer and the coarser mesh."""
        return self.fine.unknowns, self.coarse.unknowns

    def both(self, name: str, how: str) -> tuple[Result, Result]:
        """Results of a build on the finer and the coarser mesh."""
        return self.fine.results[name, how], self.coarse.results[name, how]
