"""What the maker measured on the bench: the table [measured] of a build sheet, and the same in SI units.

Every key is optional. A reading error that the sheet does not give is common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Hertz = Annotated[Number, Field(ge=5, le=5000)]

# key of a weight: the parts whose computed weights make it up, and what is put on the scales
WEIGHTS = {
    "top_g": (("top",), "top plate, soundhole cut, no braces"),
    "top_braced_g": (("top", "top_braces", "bridge_plate"), "top with braces and bridge plate, no bridge"),
    "back_g": (("back",), "back plate, no braces"),
    "back_braced_g": (("back", "back_braces"), "back with braces"),
    "sides_g": (("sides",), "both sides, bent, nothing glued in"),
    "linings_g": (("lining_top", "lining_back"), "all linings"),
    "neck_block_g": (("neck_block",), "neck block"),
    "tail_block_g": (("tail_block",), "tail block"),
    "bridge_g": (("bridge",), "bridge"),
    "rim_g": (
        ("sides", "lining_top", "lining_back", "neck_block", "tail_block", "side_bars"),
        "open rim: sides, linings, blocks, side bars",
    ),
    "body_g": (None, "closed box with its bridge, no neck, no strings"),
}
SQUEEZES = {  # key: the press of studies/squeeze.py
    "squeeze_lower_bout_mm": "lower bout",
    "squeeze_waist_mm": "waist",
    "squeeze_upper_bout_mm": "upper bout",
    "squeeze_widest_place_mm": "widest place",
    "squeeze_twist_mm": "twist",
}
TAPS = {
    "top_tap_hz": "loose top with braces and bridge plate, no bridge",
    "back_tap_hz": "loose back with braces",
    "rim_tap_hz": "open rim held in two fingers",
    "closed_box_tap_hz": "closed box with its bridge and the air in it, no neck, no strings",
}
CLOSED_BOX = "closed_box_tap_hz"
NOT_IN_BODY = ("neck",)


class MeasuredTable(BaseModel):
    """The table [measured] of a build sheet."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    top_g: Number | None = Field(None, ge=20, le=2000, description=WEIGHTS["top_g"][1])
    top_braced_g: Number | None = Field(None, ge=20, le=2500, description=WEIGHTS["top_braced_g"][1])
    back_g: Number | None = Field(None, ge=20, le=2500, description=WEIGHTS["back_g"][1])
    back_braced_g: Number | None = Field(None, ge=20, le=3000, description=WEIGHTS["back_braced_g"][1])
    sides_g: Number | None = Field(None, ge=20, le=2000, description=WEIGHTS["sides_g"][1])
    linings_g: Number | None = Field(None, ge=5, le=1000, description=WEIGHTS["linings_g"][1])
    neck_block_g: Number | None = Field(None, ge=5, le=1500, description=WEIGHTS["neck_block_g"][1])
    tail_block_g: Number | None = Field(None, ge=5, le=1500, description=WEIGHTS["tail_block_g"][1])
    bridge_g: Number | None = Field(None, ge=2, le=200, description=WEIGHTS["bridge_g"][1])
    rim_g: Number | None = Field(None, ge=50, le=4000, description=WEIGHTS["rim_g"][1])
    body_g: Number | None = Field(None, ge=200, le=8000, description=WEIGHTS["body_g"][1])

    squeeze_load_kg: Number = Field(2.0, ge=0.1, le=20, description="weight on the batten, see rimwork squeeze")
    squeeze_held: Literal["free", "mould"] = Field(
        "free", description="the rim stands free, or its back edge in a mould"
    )
    squeeze_lower_bout_mm: Number | None = Field(None, ge=0, le=100, description="what the width loses under the load")
    squeeze_waist_mm: Number | None = Field(None, ge=0, le=100, description="what the width loses under the load")
    squeeze_upper_bout_mm: Number | None = Field(None, ge=0, le=100, description="what the width loses under the load")
    squeeze_widest_place_mm: Number | None = Field(None, ge=0, le=100, description="the same, of a body without waist")
    squeeze_twist_mm: Number | None = Field(None, ge=0, le=200, description="how far the batten's end sinks")

    top_tap_hz: tuple[Hertz, ...] = Field((), max_length=30, description=TAPS["top_tap_hz"])
    back_tap_hz: tuple[Hertz, ...] = Field((), max_length=30, description=TAPS["back_tap_hz"])
    rim_tap_hz: tuple[Hertz, ...] = Field((), max_length=30, description=TAPS["rim_tap_hz"])
    closed_box_tap_hz: tuple[Hertz, ...] = Field((), max_length=30, description=TAPS["closed_box_tap_hz"])
    closed_box_held: Literal["free", "lap"] = Field(
        "free", description="the box hangs in soft bands, or lies on the lap"
    )

    scale_error_g: Number = Field(1.0, ge=0.001, le=50, description="of the kitchen scales")
    ruler_error_mm: Number = Field(0.5, ge=0.001, le=5, description="of a deflection read with a ruler")
    load_error_percent: Number = Field(2.0, ge=0, le=30, description="of the squeeze load")
    tap_error_percent: Number = Field(1.0, ge=0.01, le=20, description="of a tap tone")


@dataclass(frozen=True)
class ReadingErrors:
    """Standard reading errors of the bench."""

    scale: float = 0.001  # kg
    ruler: float = 0.5e-3  # m
    load: float = 0.02  # of the load
    tap: float = 0.01  # of the frequency

    def of_deflection(self, deflection: float) -> float:
        """Reading error [m] of a deflection [m]: the ruler's, and the load's in proportion; they are independent."""
        return (self.ruler**2 + (self.load * deflection) ** 2) ** 0.5


@dataclass(frozen=True)
class Measured:
    """Bench measurements in SI units; empty where the sheet gives none."""

    weights: dict[str, float] = field(default_factory=dict)  # {key of WEIGHTS: kg}
    squeezes: dict[str, float] = field(default_factory=dict)  # {press: m}
    squeeze_load: float = 2.0  # kg
    squeeze_held: str = "free"
    taps: dict[str, tuple[float, ...]] = field(default_factory=dict)  # {key of TAPS: Hz}
    errors: ReadingErrors = ReadingErrors()
    box_held: str = "free"  # or 'lap', as its taps were taken

    def __bool__(self) -> bool:
        return bool(self.weights or self.squeezes or self.taps)


def measured_from(table: MeasuredTable) -> Measured:
    """Measured of a MeasuredTable: g, mm and percent end here."""

    def given(keys: Iterable[str], scale: float) -> dict[str, float]:
        return {key: getattr(table, key) * scale for key in keys if getattr(table, key) is not None}

    return Measured(
        weights=given(WEIGHTS, 1e-3),
        squeezes={SQUEEZES[key]: value for key, value in given(SQUEEZES, 1e-3).items()},
        squeeze_load=table.squeeze_load_kg,
        squeeze_held=table.squeeze_held,
        taps={key: tuple(getattr(table, key)) for key in TAPS if getattr(table, key)},
        errors=ReadingErrors(
            table.scale_error_g * 1e-3,
            table.ruler_error_mm * 1e-3,
            table.load_error_percent / 100,
            table.tap_error_percent / 100,
        ),
        box_held=table.closed_box_held,
    )
