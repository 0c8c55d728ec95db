"""The parts sheet of a foreign mesh (TOML): materials, and what each named group is made of."""

import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fem.materials import Wood, isotropic
from meshes.sheet_errors import Mistake, SheetError, from_pydantic, nearest

GPA, MM = 1e9, 1e-3
UNITS = {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "in": 25.4e-3}

Modulus = Annotated[float, Field(ge=1e-3, le=1500)]
Loss = Annotated[float, Field(ge=0, le=0.5)]
Density = Annotated[float, Field(ge=1, le=25000)]
Thickness = Annotated[float, Field(ge=0.01, le=1000)]
Triple = Annotated[list[Annotated[float, Field(ge=-1e6, le=1e6)]], Field(min_length=3, max_length=3)]


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Isotropic(Table):
    """A material alike in all directions."""

    E_GPa: Modulus
    nu: Annotated[float, Field(ge=-0.99, le=0.499)]
    density_kg_m3: Density
    loss: Loss | None = None


class Orthotropic(Table):
    """Wood: along the grain, across it in the plane, and the normal."""

    E_along_GPa: Modulus
    E_across_GPa: Modulus
    nu_along_across: Annotated[float, Field(ge=-5, le=5)]
    G_in_plane_GPa: Modulus
    G_along_normal_GPa: Modulus
    G_across_normal_GPa: Modulus
    density_kg_m3: Density
    loss_along: Loss | None = None
    loss_across: Loss | None = None
    loss_shear: Loss | None = None


class Part(Table):
    """A named surface group."""

    material: str
    thickness_mm: Thickness
    grain: Literal["rim"] | Triple | None = None


class Following(Table):
    """An offset that follows the curve: horizontally toward its inside, and along `up`."""

    inward: Annotated[float, Field(ge=-1e4, le=1e4)] = 0.0
    up: Annotated[float, Field(ge=-1e4, le=1e4)] = 0.0


class Beam(Table):
    """A named curve group lying on the shell."""

    material: str
    width_mm: Thickness
    height_mm: Thickness
    up: Triple
    offset_mm: Triple | Following = [0.0, 0.0, 0.0]


class Parts(Table):
    """The whole parts sheet."""

    parts_version: Literal[1] = 1
    length_unit: Literal["m", "cm", "mm", "in"] = "m"
    material: dict[str, Isotropic | Orthotropic] = {}
    part: dict[str, Part] = {}
    beam: dict[str, Beam] = {}


def read_parts(path):
    """(Parts, {name: Wood}) of the parts sheet at `path`; SheetError with every mistake found."""
    path = Path(path)
    raw = _parse(path)
    mistakes, kinds = [], {}
    for name, table in _tables(raw, "material").items():
        kinds[name] = Isotropic if "E_GPa" in table or "nu" in table else Orthotropic
    for model, places in (
        *((kinds[name], ("material", name)) for name in kinds),
        *((Part, ("part", name)) for name in _tables(raw, "part")),
        *((Beam, ("beam", name)) for name in _tables(raw, "beam")),
    ):
        mistakes += _mistakes_in(model, raw[places[0]][places[1]], path.name, places)
    rest = {key: value for key, value in raw.items() if key not in ("material", "part", "beam")}
    mistakes += _mistakes_in(Parts, rest, path.name, ())
    if not mistakes:
        mistakes += _unknown_materials(raw, kinds, path.name)
    if mistakes:
        raise SheetError(mistakes)
    sheet = Parts.model_validate(raw)
    woods, found = {}, []
    for name, table in sheet.material.items():
        try:
            woods[name] = _wood(name, table)
        except ValueError as error:
            found.append(Mistake(path.name, f"material.{name}", "", "", str(error)))
    if found:
        raise SheetError(found)
    return sheet, woods


def _parse(path):
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SheetError([Mistake(path.name, "the file", "", "a readable text file (TOML)", str(error))]) from None
    if not text.strip():
        raise SheetError([Mistake(path.name, "the file", "empty", "tables [material.NAME] and [part.NAME]")])
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SheetError([Mistake(path.name, "the file", "not TOML", "", str(error))]) from None


def _tables(raw, name):
    """The sub-tables [name.X] that are tables."""
    tables = raw.get(name, {})
    return {k: v for k, v in tables.items() if isinstance(v, dict)} if isinstance(tables, dict) else {}


def _mistakes_in(model, table, file, place):
    try:
        model.model_validate(table)
    except ValidationError as error:
        found = from_pydantic(error.errors(), file, table, set(), model.model_json_schema())
        prefix = ".".join(place)
        return [Mistake(m.file, f"{prefix}.{m.key}" if prefix else m.key, m.value, m.allowed, m.hint) for m in found]
    return []


def _unknown_materials(raw, known, file):
    return [
        Mistake(file, f"{kind}.{name}.material", f"'{table['material']}'", "a [material.NAME] table", nearest(table["material"], known))
        for kind in ("part", "beam")
        for name, table in _tables(raw, kind).items()
        if table["material"] not in known
    ]  # fmt: skip


def _wood(name, m):
    if isinstance(m, Isotropic):
        return isotropic(name, m.E_GPa * GPA, m.nu, m.density_kg_m3, m.loss)
    return Wood(
        name, m.E_along_GPa * GPA, m.E_across_GPa * GPA, m.G_in_plane_GPa * GPA, m.G_along_normal_GPa * GPA,
        m.G_across_normal_GPa * GPA, m.nu_along_across, m.density_kg_m3,
        loss_L=m.loss_along, loss_R=m.loss_across, loss_G=m.loss_shear,
    )  # fmt: skip
