"""What is known of the builds of a rim, dry and with the air inside and out."""

from dataclasses import dataclass, field

import numpy as np

from fem.elements import Space
from meshes.body import Body
from meshes.coupled_model import CoupledModel, VibroacousticModes
from meshes.supports import FREE, LAP
from studies.common.builds import Build
from studies.common.inputs import NO_SOURCE, Source
from studies.common.measured import Beside
from studies.common.mesh_error import Pairs
from studies.common.pairing import Followed
from studies.solved.bridge_tap import BridgeTap
from studies.solved.dry import Row
from studies.solved.level import Level
from studies.solved.power import Driven

SUPPORT_CONDITIONS = (FREE, LAP)
WHOLE_RIM = "rim"


@dataclass(frozen=True)
class Comparison:
    """A build beside the sheet's own, dry; index of its partner for every mode of the base, -1 where it has none."""

    row: Row
    partner: np.ndarray  # (n,) into row's modes
    match: np.ndarray  # (n,) modal assurance criterion with the partner
    richer: Row  # in the richer space
    faceted: Row  # likewise, on longer edges
    numbers: tuple[np.ndarray, ...]  # (n,) each: the base's modes among those of these two

    @property
    def levels(self) -> tuple[Row, Row, Row]:
        """The build in cubic elements, in the richer space, on longer edges."""
        return self.row, self.richer, self.faceted

    @property
    def pairs(self) -> Pairs:
        return self.partner, self.match


@dataclass(frozen=True)
class DryStudy:
    """Everything that the dry report is made from."""

    body: Body
    size: float  # m, of the mesh
    comparisons: tuple[Comparison, ...]  # the sheet's own build first
    followed: Followed  # modes of the sheet's own build in the richer space and on longer edges
    levels: tuple[Level, Level, Level]  # cubic, richer, on longer edges
    count: int  # modes compared
    measured: tuple[Beside, ...] = ()  # what the maker measured, and the computed value
    source: Source = NO_SOURCE

    @property
    def own(self) -> tuple[Row, Row, Row]:
        """The sheet's own build in cubic elements, in the richer space, on longer edges."""
        return self.comparisons[0].levels

    @property
    def space(self) -> Space:
        """Of the cubic elements."""
        return self.levels[0].model.space

    @property
    def unknowns(self) -> tuple[int, ...]:
        """On each level."""
        return tuple(int(level.model.size) for level in self.levels)


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
class InAir:
    """Builds with air in one space."""

    size: float  # m
    unknowns: int
    results: dict[tuple[str, str], Result]  # {(build name, how)}
    area: np.ndarray = field(repr=False)  # (m,) m2 of the outer surface's triangles


@dataclass(frozen=True)
class AirStudy:
    """Everything that the report with air is made from."""

    body: Body
    builds: tuple[Build, ...]  # the sheet's own first
    fine: InAir
    richer: InAir  # the sheet's own build alone, as on longer edges
    faceted: InAir
    base: CoupledModel = field(repr=False)  # of the sheet's own build, in cubic elements
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
        """m, of the mesh."""
        return self.fine.size

    @property
    def unknowns(self) -> tuple[int, ...]:
        """Of cubic elements, the richer ones, and those on longer edges."""
        return self.fine.unknowns, self.richer.unknowns, self.faceted.unknowns

    def own(self, how: str) -> tuple[Result, Result, Result]:
        """Results of the sheet's own build in cubic elements, in the richer space, on longer edges."""
        fine, richer, faceted = (level.results["sheet", how] for level in (self.fine, self.richer, self.faceted))
        return fine, richer, faceted
