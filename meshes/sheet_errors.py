"""Mistakes in a build sheet, told to the maker: file, key, value, what is allowed, and the likely right answer."""

import difflib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from enum import Enum
from typing import Any, Final

from pydantic.json_schema import JsonSchemaValue
from pydantic_core import ErrorDetails

from fem.woods import kin
from meshes.lengths import MM_PER_INCH, length, number
from meshes.plain_text import PLAIN, printable

MISSPELT = 0.85  # likeness from which on a name is taken to be misspelt
LONG = 300  # letters of a key that is shown
HUGE = 1e18  # no measure of an instrument; also more digits than a float holds
UNITS = {"mm": " mm", "in": " inches", "g": " g", "deg": " degrees", "GPa": " GPa", "kg_m3": " kg/m3", "N": " N"}
TomlValue = str | int | float | bool | datetime | date | time | list | dict | None
TomlTable = dict[str, Any]  # of a parsed file: any TomlValue may stand there
Location = tuple[int | str, ...]  # of a value: keys of nested tables and places in lists, outermost first


class Nothing(Enum):
    """What stands for a key that is not there."""

    NOTHING = "nothing given"


NOTHING: Final = Nothing.NOTHING


@dataclass(frozen=True)
class Mistake:
    """One mistake; all fields are plain words."""

    file: str
    key: str
    value: str
    allowed: str = ""
    hint: str = ""

    def __str__(self) -> str:
        allowed = f"; expected {self.allowed}" if self.allowed else ""
        hint = f"; {self.hint}" if self.hint else ""
        return f"{self.file}: {self.key}{' = ' if self.value else ''}{self.value}{allowed}{hint}"


class SheetError(ValueError):
    """A build sheet that cannot be used; .mistakes lists all of them, str() prints one per line."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__("\n".join(map(str, self.mistakes)))


def from_pydantic(
    errors: Iterable[ErrorDetails],
    file: str,
    raw: TomlTable,
    inches: Collection[Location],
    schema: JsonSchemaValue,
) -> list[Mistake]:
    """Mistakes (list) from pydantic's errors.

    raw: the tables as the maker wrote them; inches: set of locations (tuples of keys) written under _in; schema: the
    JSON schema of the sheet (in mm).
    """
    return [_one(error, file, raw, inches, schema) for error in errors]


def _one(
    error: ErrorDetails, file: str, raw: TomlTable, inches: Collection[Location], schema: JsonSchemaValue
) -> Mistake:
    loc = tuple(error["loc"])
    in_inches = any(loc[: i + 1] in inches for i in range(len(loc)))
    written = _as_written(loc, in_inches)
    value, node = value_at(raw, written), schema_at(schema, loc)
    key = key_name(written, raw)
    show = "nothing given" if value is NOTHING or error["type"] == "missing" else show_value(value)
    if error["type"] == "extra_forbidden":
        return Mistake(file, key, show, *_unknown_key(loc, written, schema))
    if error["type"] == "not_plain":
        return Mistake(file, key.removesuffix(".[key]"), show, PLAIN)
    if error["type"] == "unknown_wood":
        hint = error["ctx"]["lacks"] or wood_hint(str(value), error["ctx"]["woods"])
        return Mistake(file, key, show, "a wood of the library or of a [wood.NAME] table", hint)
    scale = 1 / MM_PER_INCH if in_inches else 1
    limits = limits_of(node)
    return Mistake(file, key, show, allowed(node, written, scale), _hint(error, value, limits, scale, node, written))


def _hint(
    error: ErrorDetails,
    value: TomlValue | Nothing,
    limits: tuple[float, float] | None,
    scale: float,
    node: JsonSchemaValue,
    written: Location,
) -> str:
    """The likely right answer, or an empty text."""
    if error["type"] == "missing":
        return node.get("description", "")
    if isinstance(value, str):
        if "enum" in node or "const" in node:
            return nearest(value, node.get("enum", [node.get("const")]))
        plain = number(value)
        unit = unit_of(written)
        if unit not in (UNITS["mm"], UNITS["in"]):
            return "" if plain is None else f"write {plain:g} without quotes"
        read = length(value, "mm" if unit == UNITS["mm"] else "in")
        if read is None:
            return "write lengths as 19.5, '19,5', '19 1/2' or '19 1/2 in'"
        if "/" in value and limits and limits[0] <= read * MM_PER_INCH <= limits[1]:
            return f"did you mean '{value.strip()} in'?"
        value = read
    if isinstance(value, (int, float)) and not isinstance(value, bool) and limits:
        return likely(value, limits[0] * scale, limits[1] * scale, scale != 1, unit_of(written) == UNITS["GPa"])
    return ""


def likely(value: float, low: float, high: float, in_inches: bool = False, in_gpa: bool = False) -> str:
    """'did you mean ...?' for a number outside low..high: a sign, a slipped decimal point, or another unit."""
    if not abs(value) < HUGE:
        return "write a plain number"
    slips: tuple[float, ...] = (-1, 0.1, 10, MM_PER_INCH, 1 / MM_PER_INCH, 0.01, 100, 1000, 0.001)
    if in_gpa:
        slips = (0.001, -1, 0.1, 10, 0.01, 100)
    for factor in (1 / MM_PER_INCH, *slips) if in_inches else slips:
        if low <= value * factor <= high:
            unit = {MM_PER_INCH: " (inches written as mm)", 1 / MM_PER_INCH: " (mm written as inches)"}
            unit |= {0.001: " (MPa written as GPa)"} if in_gpa else {}
            return f"did you mean {value * factor:.4g}?{unit.get(factor, '')}"
    return ""


def nearest(name: str, known: Iterable[str], cutoff: float = 0.5) -> str:
    """'did you mean ...?' for a misspelt name, or an empty text."""
    names = [str(k) for k in known]
    close = difflib.get_close_matches(str(name).lower().replace(" ", "_"), names, n=1, cutoff=cutoff)
    return f"did you mean '{close[0]}'?" if close else ""


def wood_hint(name: str, known: Iterable[str]) -> str:
    """For a wood that is not known: the name that was misspelt, else woods of its kind, else the nearest spelling."""
    known = list(known)
    misspelt, (kind, near) = nearest(name, known, MISSPELT), kin(name)
    if misspelt or not near:
        return misspelt or nearest(name, known)
    return f"{name} is {kind}: {' or '.join(near)} may stand in for it; 'rimwork plate' measures your own board"


def _unknown_key(loc: Location, written: Location, schema: JsonSchemaValue) -> tuple[str, str]:
    """Allowed keys and nearest key for a key that the table does not know."""
    keys = sorted(resolve(schema, schema_at(schema, loc[:-1])).get("properties", {}))
    both = keys + [k.removesuffix("_mm") + "_in" for k in keys if k.endswith("_mm")]
    bare = {k.rsplit("_", 1)[0]: k for k in reversed(both)}
    name = str(written[-1])
    hint = f"did you mean '{bare[name]}'?" if name in bare else nearest(name, both)
    return ("a known key" if hint else f"one of: {', '.join(keys)}"), hint


def allowed(node: JsonSchemaValue, written: Location, scale: float = 1) -> str:
    """What a key takes, in words: '1 to 8 mm'."""
    if node.get("type") == "object" or "properties" in node:
        return f"a table [{'.'.join(str(k) for k in written)}]"
    if node.get("type") == "array":
        return "a list in square brackets"
    if node.get("type") == "boolean":
        return "true or false"
    if "enum" in node or "const" in node:
        return "one of: " + ", ".join(str(v) for v in node.get("enum", [node.get("const")]))
    if node.get("type") == "string":
        return "words in quotes"
    limits = limits_of(node)
    unit = unit_of(written)
    if not limits:
        return f"a number{unit and ' in' + unit}"
    return f"{limits[0] * scale:.4g} to {limits[1] * scale:.4g}{unit}" + (" or 'flat'" if node.get("flat") else "")


def unit_of(written: Location) -> str:
    """Unit in words from the last key: ' mm'."""
    name = next(str(k) for k in reversed(written) if not isinstance(k, int))
    return next((text for end, text in UNITS.items() if name.endswith("_" + end)), "")


def limits_of(node: JsonSchemaValue) -> tuple[float, float] | None:
    """(low, high) of a number's schema, or None."""
    low = node.get("minimum", node.get("exclusiveMinimum"))
    high = node.get("maximum", node.get("exclusiveMaximum"))
    return None if low is None or high is None else (low, high)


def _as_written(loc: Location, in_inches: bool) -> Location:
    return tuple(
        k.removesuffix("_mm") + "_in" if in_inches and isinstance(k, str) and k.endswith("_mm") else k for k in loc
    )


def value_at(raw: TomlTable, loc: Location) -> TomlValue | Nothing:
    """The value at a location of nested tables and lists, or NOTHING."""
    value: Any = raw
    for part in loc:
        try:
            value = value[part]
        except (KeyError, IndexError, TypeError):
            return NOTHING
    return value


def key_name(loc: Location, raw: TomlTable) -> str:
    """'top.thickness_mm'; a list's entries are counted from 1 and named where they have a name."""
    words: list[str] = []
    for i, part in enumerate(loc):
        if isinstance(part, int):
            entry = value_at(raw, loc[: i + 1])
            name = f" ({entry['name']})" if isinstance(entry, dict) and isinstance(entry.get("name"), str) else ""
            words[-1] += f" {part + 1}{name}"
        else:
            words.append(str(part))
    name = ".".join(words)
    return name if len(name) <= LONG else name[:LONG] + "..."


def show_value(value: TomlValue) -> str:
    """A value as the maker would write it in TOML, shortened."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list) and any(isinstance(entry, dict) for entry in value):
        return "a list of tables"
    text = f"'{value}'" if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else f"{value}"
    text = printable(text).replace("\n", "\\n")
    return text if len(text) <= 60 else text[:57] + "..."


def schema_at(schema: JsonSchemaValue, loc: Location) -> JsonSchemaValue:
    """The JSON schema of a location, with references resolved; {} where there is none."""
    node = resolve(schema, schema)
    for part in loc:
        if isinstance(part, int):
            ordered = node.get("prefixItems", [])
            node = ordered[part] if part < len(ordered) else node.get("items", {})
        else:
            node = node.get("properties", {}).get(part, node.get("additionalProperties") or {})
        node = resolve(schema, node if isinstance(node, dict) else {})
    return node


def resolve(schema: JsonSchemaValue, node: JsonSchemaValue) -> JsonSchemaValue:
    """The node behind $ref, allOf and 'this or null'; keeps the description; 'flat' marks a radius."""
    if "$ref" in node:
        return resolve(schema, {**schema["$defs"][node["$ref"].rsplit("/", 1)[1]], **_without(node, "$ref")})
    if "anyOf" in node:
        options = [resolve(schema, option) for option in node["anyOf"]]
        flat = any(option.get("const") == "flat" for option in options)
        return {**options[0], **_without(node, "anyOf"), **({"flat": True} if flat else {})}
    return node


def _without(node: JsonSchemaValue, key: str) -> JsonSchemaValue:
    return {k: v for k, v in node.items() if k != key}
