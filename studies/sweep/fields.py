"""Tables of a sweep's plan: names, kinds and limits of all its keys."""

import math
from collections.abc import Sequence
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

from meshes.sheet_types import Text

MOST = 200_000  # variants of one plan
OWN_STRINGS = "sheet"
Board = Literal[
    "top", "back", "sides", "top_braces", "back_braces", "bridge", "bridge_plate", "lining_top", "lining_back",
    "neck_block", "tail_block", "side_bars", "neck",
]  # fmt: skip
RimBuild = Literal[
    "sheet", "kerfed", "reversed_kerfed", "solid_laminated", "solid_trimmed", "doubled_sides", "single_sides",
    "stiff_limit",
]  # fmt: skip
BOARDS, RIM_BUILDS = get_args(Board), get_args(RimBuild)
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Name = Annotated[Text, Field(min_length=1)]


class PlanTable(BaseModel):
    """A table of the plan: unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Factor(PlanTable):
    """One thing that varies: one or more keys of the sheet that take the same value."""

    name: Name
    keys: list[Name] = Field(min_length=1, description="keys of the sheet, as 'top.thickness_mm'")
    low: Number | None = Field(default=None, alias="from", description="least value of a range")
    high: Number | None = Field(default=None, alias="to", description="largest value of a range")
    steps: int | None = Field(default=None, ge=2, le=100, strict=True, description="of the range, in a grid")
    mean: Number | None = Field(default=None, description="of a normal distribution, cut at three standard deviations")
    deviation: Number | None = Field(default=None, gt=0, description="standard deviation of that distribution")
    levels: list[Whole | Number | Name] | None = Field(default=None, min_length=2, max_length=100)
    times: bool = Field(default=False, strict=True, description="true: the values multiply what the sheet says")

    @property
    def range(self) -> tuple[float, float] | None:
        """(least, largest) number that it takes, or None for words."""
        if self.levels:
            numbers = [v for v in self.levels if not isinstance(v, str)]
            return (min(numbers), max(numbers)) if len(numbers) == len(self.levels) else None
        if self.mean is not None and self.deviation is not None:
            return self.mean - 3 * self.deviation, self.mean + 3 * self.deviation
        return None if self.low is None or self.high is None else (self.low, self.high)


class Scatter(PlanTable):
    """Boards of one species differ: density and stiffness scatter as the library of woods says."""

    name: Name
    boards: list[Board] = Field(min_length=1)
    correlation: Number = Field(default=1.0, ge=0, le=1, description="between these boards; 1: cut from one plank")

    @property
    def planks(self) -> Sequence[Sequence[str]]:
        """The boards that are cut from each plank."""
        return [self.boards] if self.correlation == 1 else [[board] for board in self.boards]


class Design(PlanTable):
    """How the variants are spread."""

    kind: Literal["grid", "latin_hypercube", "sobol", "random"] = "sobol"
    samples: int = Field(default=1024, ge=2, le=MOST, strict=True)
    paired: bool = Field(default=True, strict=True, description="true: each rim build is computed for the same draws")


class Rim(PlanTable):
    """Which builds of the rim are compared."""

    builds: list[RimBuild] = Field(default=["sheet"], min_length=1)


class Accuracy(PlanTable):
    """How exact, and what is done where the reduced model is not."""

    estimate: Number = Field(default=0.02, ge=1e-6, le=0.5, description="a variant above is solved in full")
    basis: int = Field(default=200, ge=20, le=500, strict=True, description="columns of the reduced basis at most")
    cells: int = Field(
        default=24, ge=1, le=2000, strict=True,
        description="solid cells per lining or joint that varies; 1: they stay as the sheet's own boards make them",
    )  # fmt: skip
    check_percent: Number = Field(default=1.0, ge=0, le=100, description="of the variants solved in full afterwards")
    check_most: int = Field(default=200, ge=1, le=2000, strict=True)
    full_share: Number = Field(
        default=0.1, ge=0, le=1, description="pause when more variants than this need a full solve"
    )


class Sustain(PlanTable):
    """Which notes are plucked, and how the guitar is held; only with the output 'sustain'."""

    strings: Name = Field(
        default=OWN_STRINGS, description="'sheet': as the sheet says, or the name of a set of strings"
    )
    notes: int = Field(default=12, ge=1, le=48, strict=True, description="spread over strings and frets")
    held: list[Literal["hung free", "on the lap"]] = Field(default=["on the lap"], min_length=1)


class Plan(PlanTable):
    """A whole sweep."""

    plan_version: Literal[1] = 1
    name: Name = "night"
    sheet: Name = Field(default="hazel.toml", description="the base sheet, beside the plan or one of the examples")
    seed: int = Field(default=1, ge=0, strict=True)
    mesh_size_mm: Number = Field(default=25.0, ge=5, le=100)
    modes: int = Field(default=30, ge=2, le=60, strict=True)
    outputs: list[Literal["frequencies", "shares", "sustain"]] = Field(
        default=["frequencies", "shares"],
        description="kept for each mode, beside the summary of each variant; 'sustain': plucked notes, with air and strings",
    )
    design: Design = Design()
    factor: list[Factor] = []
    scatter: list[Scatter] = []
    rim: Rim = Rim()
    accuracy: Accuracy = Accuracy()
    sustain: Sustain = Sustain()

    @property
    def plucked(self) -> bool:
        """Whether strings are plucked."""
        return "sustain" in self.outputs

    @property
    def count(self) -> int:
        """How many variants it has."""
        grid = self.design.kind == "grid"
        samples = math.prod(len(f.levels or ()) or f.steps or 1 for f in self.factor) if grid else self.design.samples
        return samples * (len(self.rim.builds) if grid or self.design.paired else 1)
