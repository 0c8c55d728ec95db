"""Types of the keys of a build sheet: numbers, points, radii, angles, woods that the library or the sheet knows."""

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from fem.woods import find
from meshes.plain_text import is_plain

OPEN = "none"  # in place of the binding's wood: the rebate is left open


def _plain(name: str) -> str:
    if not is_plain(name):
        raise PydanticCustomError("not_plain", "not plain words")
    return name


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Count = Annotated[int, Field(strict=True)]
Text = Annotated[str, Field(strict=True), AfterValidator(_plain)]  # a name
Words = Annotated[str, Field(strict=True, max_length=2000)]  # a passage
YesNo = Annotated[bool, Field(strict=True)]
Place = Annotated[Number, Field(ge=-400, le=700)]
Point = tuple[Place, Place]


def _known_wood(name: str, info: ValidationInfo) -> str:
    woods = (info.context or {}).get("woods")
    if woods is not None and name not in woods:
        raise PydanticCustomError("unknown_wood", "unknown wood", {"woods": sorted(woods), "lacks": _lacks(name)})
    return name


def _binding_wood(name: str, info: ValidationInfo) -> str:
    return name if name == OPEN else _known_wood(name, info)


def _lacks(name: str) -> str:
    """Why a wood that is in the library's file cannot be used, or an empty text."""
    try:
        find(name)
    except ValueError as error:
        return str(error) if "incomplete" in str(error) else ""
    return ""


def _flat_is_none(value: float | str | None) -> float | str | None:
    return None if value == "flat" else value


WoodName = Annotated[Text, AfterValidator(_known_wood)]
BindingName = Annotated[Text, AfterValidator(_binding_wood)]
Radius = Annotated[
    Annotated[Number, Field(ge=1000, le=50000)] | None,
    BeforeValidator(_flat_is_none, json_schema_input_type=Annotated[float, Field(ge=1000, le=50000)] | Literal["flat"]),
]
Angle = Annotated[Number, Field(ge=-180, le=180)]


class Table(BaseModel):
    """A table of the sheet: unknown keys are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True)
