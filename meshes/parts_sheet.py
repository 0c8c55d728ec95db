"""The parts sheet of a foreign mesh (TOML): materials, and what each named group is made of."""

import math
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError
from pydantic.json_schema import JsonSchemaValue

from fem.materials import Wood, isotropic
from meshes.lengths import read_lengths
from meshes.sheet_errors import Mistake, SheetError, TomlTable, TomlValue, from_pydantic, nearest, show_value
from meshes.toml_text import parsed

GPA, MM = 1e9, 1e-3
METRES = {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "in": 25.4e-3}
THREE = "three numbers such as [1, 0, 0], not all zero"
SHAPES = {  # what the keys take that hold more than one number
    "grain": f"{THREE}, or 'rim'",
    "up": THREE,
    "offset_mm": "three numbers [x, y, z] in mm, or {inward = 3, up = -7}",
}
SLIPS = {  # ending of the key: factor that mends a value in the wrong unit, and what was wrong
    "_GPa": ((1e-3, "MPa written as GPa"), (1e-9, "Pa written as GPa")),
    "_kg_m3": ((1e3, "g/cm3 written as kg/m3"),),
    "_mm": ((1e3, "m written as mm"),),
    "loss": ((1e-2, "per cent written as a fraction"),),
}

Stiffness = Annotated[float, Field(ge=0.005, le=1500)]
ThroughShear = Annotated[float, Field(ge=0.0005, le=1e6)]  # may be raised a thousand-fold: thin-plate theory
Density = Annotated[float, Field(ge=20, le=25000)]
Loss = Annotated[float, Field(ge=0, le=0.5)]
Size = Annotated[float, Field(ge=0.02, le=2000)]
Offset = Annotated[float, Field(ge=-5000, le=5000)]
Three = Annotated[list[float], Field(min_length=3, max_length=3)]


def _some_direction(three: str | list[float] | None) -> str | list[float] | None:
    if isinstance(three, list) and not any(three):
        raise ValueError("has no direction")
    return three


class Table(BaseModel):
    """A table of the sheet: unknown keys are mistakes, and so are numbers in quotes, nan and inf."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Isotropic(Table):
    """A material alike in all directions."""

    E_GPa: Stiffness
    nu: Annotated[float, Field(ge=-0.9, le=0.5)]
    density_kg_m3: Density
    loss: Loss | None = None


class Orthotropic(Table):
    """Wood: along the grain, across it in the plane of the plate, and the plate's normal."""

    E_along_GPa: Stiffness
    E_across_GPa: Stiffness
    nu_along_across: Annotated[float, Field(ge=-10, le=10)]
    G_in_plane_GPa: Stiffness
    G_along_normal_GPa: ThroughShear
    G_across_normal_GPa: ThroughShear
    density_kg_m3: Density
    loss_along: Loss | None = None
    loss_across: Loss | None = None
    loss_shear: Loss | None = None


class Part(Table):
    """A named surface group. Only an isotropic material may leave the grain out."""

    material: str
    thickness_mm: Size
    grain: Annotated[Literal["rim"] | Three | None, AfterValidator(_some_direction)] = None


class Following(Table):
    """An offset that follows the curve: toward its inside square to `up`, and along the section's height."""

    inward: Offset = 0.0
    up: Offset = 0.0


class Beam(Table):
    """A named curve group lying on the shell. A wooden one has its grain along the curve."""

    material: str
    width_mm: Size
    height_mm: Size
    up: Annotated[Three, AfterValidator(_some_direction)]
    offset_mm: Annotated[list[Offset], Field(min_length=3, max_length=3)] | Following = [0.0, 0.0, 0.0]


class Parts(Table):
    """The whole parts sheet."""

    parts_version: Literal[1] = 1
    length_unit: Literal["m", "cm", "mm", "in"] = "m"
    material: dict[str, Isotropic | Orthotropic] = {}
    part: dict[str, Part] = {}
    beam: dict[str, Beam] = {}


def read_parts(path: str | Path) -> tuple[Parts, dict[str, Wood]]:
    """(Parts, {material: Wood}) of the parts sheet at `path`. SheetError with every mistake found."""
    path = Path(path)
    raw = _parse(path)
    groups, mistakes = {}, []
    for kind in ("material", "part", "beam"):
        groups[kind], wrong = _tables(raw, kind, path.name)
        mistakes += wrong
        for name, table in groups[kind].items():
            mistakes += _mistakes_in(_model(kind, table), table, path.name, f"{kind}.{name}.")
    for name in [k for k, v in raw.items() if isinstance(v, dict) and k not in Parts.model_fields]:
        known = "a table [material.NAME], [part.NAME] or [beam.NAME]"
        mistakes.append(Mistake(path.name, name, "", known, nearest(name, groups)))
    single = {k: v for k, v in raw.items() if k not in groups and (k in Parts.model_fields or not isinstance(v, dict))}
    mistakes += _mistakes_in(Parts, single, path.name, "")
    mistakes += _across_tables(path.name, **groups)
    if mistakes:
        raise SheetError(mistakes)
    sheet = Parts.model_validate(raw)
    return sheet, {name: _wood(name, table) for name, table in sheet.material.items()}


def is_isotropic(table: TomlTable) -> bool:
    """Whether a raw [material.NAME] table is that of an isotropic material: no key that tells of directions."""
    return not any(word in key for key in table for word in ("along", "across", "in_plane", "normal", "shear"))


def _model(kind: str, table: TomlTable) -> type[Table]:
    return {"material": Isotropic if is_isotropic(table) else Orthotropic, "part": Part, "beam": Beam}[kind]


def _parse(path: Path) -> dict[str, TomlValue]:
    """The tables of a TOML file, not empty."""
    expected = "a parts sheet with [material.NAME] and [part.NAME] tables"
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = parsed(text)
    except OSError as error:
        raise SheetError([Mistake(path.name, f"cannot be read ({error.strerror})", "", expected)]) from None
    except UnicodeDecodeError:
        raise SheetError([Mistake(path.name, "is not a text file", "", f"{expected}, in UTF-8")]) from None
    except tomllib.TOMLDecodeError as error:
        raise SheetError([_not_toml(path.name, text, str(error))]) from None
    if not raw:
        raise SheetError([Mistake(path.name, "is empty", "", expected)])
    return {name: _with_lengths(table) for name, table in raw.items()}


def _with_lengths(node: TomlValue) -> TomlValue:
    """Nested tables with lengths written as text, '3/32 in', turned into numbers of mm."""
    if not isinstance(node, dict):
        return node
    return {k: read_lengths(v, "mm") if k.endswith("_mm") else _with_lengths(v) for k, v in node.items()}


def _not_toml(file: str, text: str, message: str) -> Mistake:
    """Mistake that shows the line where the TOML breaks."""
    place = re.search(r"line (\d+)", message)
    lines = text.splitlines() or [""]
    line = min(int(place[1]), len(lines)) if place else len(lines)
    shown = show_value(lines[line - 1].strip())
    return Mistake(file, f"not TOML at line {line}, {shown}", "", "lines such as thickness_mm = 2.8", message)


def _tables(raw: TomlTable, kind: str, file: str) -> tuple[dict[str, TomlTable], list[Mistake]]:
    """({name: table}, mistakes) of [kind.NAME]."""
    group = raw.get(kind, {})
    if not isinstance(group, dict):
        return {}, [Mistake(file, kind, show_value(group), f"tables [{kind}.NAME]")]
    wrong = [
        Mistake(file, f"{kind}.{name}", show_value(value), f"a table [{kind}.NAME]")
        for name, value in group.items()
        if not isinstance(value, dict)
    ]
    return {name: table for name, table in group.items() if isinstance(table, dict)}, wrong


def _mistakes_in(model: type[Table], table: TomlTable, file: str, prefix: str) -> list[Mistake]:
    """Every mistake in one table against its pydantic model."""
    try:
        model.model_validate(table)
    except ValidationError as error:
        errors = error.errors()
    else:
        return []
    schema = model.model_json_schema()
    mistakes: dict[str, Mistake] = {}
    for one in errors:
        key = str(one["loc"][0])
        if key in SHAPES and one["type"] != "missing":
            m = Mistake(file, key, show_value(table[key]), SHAPES[key])
        else:
            m = from_pydantic([one], file, table, set(), schema)[0]
            m = replace(m, hint=_unit_slip(key, table.get(key), schema) or m.hint)
            if key in SHAPES:
                m = replace(m, allowed=SHAPES[key])
        mistakes.setdefault(key, replace(m, key=prefix + m.key))
    return list(mistakes.values())


def _unit_slip(key: str, value: TomlValue, schema: JsonSchemaValue) -> str:
    """'did you mean 420?' for a number in the wrong unit, or an empty text."""
    named: JsonSchemaValue = schema["properties"].get(key, {})
    node: JsonSchemaValue = next((n for n in named.get("anyOf", [named]) if "minimum" in n), {})
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not node:
        return ""
    slips = next((slips for end, slips in SLIPS.items() if key.endswith(end) or key.startswith(end)), ())
    for factor, what in slips:
        grows = factor > 1
        if value > 0 and (value < node["minimum"]) == grows and node["minimum"] <= value * factor <= node["maximum"]:
            return f"did you mean {value * factor:.4g}? ({what})"
    return ""


def _across_tables(
    file: str, material: dict[str, TomlTable], part: dict[str, TomlTable], beam: dict[str, TomlTable]
) -> list[Mistake]:
    """Mistakes that only show when tables are read together."""
    mistakes = []
    for name, table in material.items():
        mistakes += _impossible(file, name, table)
    for kind, group in (("part", part), ("beam", beam)):
        for name, table in group.items():
            wanted = table.get("material")
            if isinstance(wanted, str) and wanted not in material:
                hint = nearest(wanted, material) or f"known: {', '.join(sorted(material)) or 'none'}"
                mistakes.append(
                    Mistake(file, f"{kind}.{name}.material", f"'{wanted}'", "the name of a [material.NAME] table", hint)
                )
    for name, table in part.items():
        made_of = table.get("material")
        wood = material.get(made_of) if isinstance(made_of, str) else None
        if wood is not None and not is_isotropic(wood) and "grain" not in table:
            why = f"'{made_of}' differs along and across its grain"
            mistakes.append(Mistake(file, f"part.{name}.grain", "nothing given", SHAPES["grain"], why))
    for name in part.keys() & beam.keys():
        mistakes.append(Mistake(file, f"beam.{name}", "", f"a name of its own: there is a [part.{name}] too"))
    return mistakes


def _impossible(file: str, name: str, table: TomlTable) -> list[Mistake]:
    """Constants that no material can have together, and losses given in part."""
    mistakes = []
    constants = [table.get(k) for k in ("E_along_GPa", "E_across_GPa", "nu_along_across")]
    E, across, nu = (v if isinstance(v, (int, float)) and not isinstance(v, bool) else None for v in constants)
    if E is not None and across is not None and nu is not None and E > 0 and across > 0:
        limit = math.sqrt(E / across)
        if limit <= abs(nu) <= 10:
            allowed = f"less than {limit:.3g}, the square root of E_along/E_across; more would be impossible"
            mistakes.append(Mistake(file, f"material.{name}.nu_along_across", show_value(nu), allowed))
    losses = ("loss_along", "loss_across", "loss_shear")
    given = [k for k in losses if k in table]
    if not is_isotropic(table) and 0 < len(given) < 3:
        for key in (k for k in losses if k not in table):
            mistakes.append(Mistake(file, f"material.{name}.{key}", "nothing given", "all three losses, or none"))
    return mistakes


def _wood(name: str, m: Isotropic | Orthotropic) -> Wood:
    if isinstance(m, Isotropic):
        return isotropic(name, m.E_GPa * GPA, m.nu, m.density_kg_m3, m.loss)
    return Wood(
        name,
        m.E_along_GPa * GPA,
        m.E_across_GPa * GPA,
        m.G_in_plane_GPa * GPA,
        m.G_along_normal_GPa * GPA,
        m.G_across_normal_GPa * GPA,
        m.nu_along_across,
        m.density_kg_m3,
        loss_L=m.loss_along,
        loss_R=m.loss_across,
        loss_G=m.loss_shear,
    )
