"""Reads a maker's build sheet (TOML; mm or inches, g, degrees) into a Body, or tells all of its mistakes at once."""

import copy
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import ErrorDetails

from fem.materials import Wood
from fem.woods import library
from meshes import dome, sheet_strings, slips
from meshes.body import Body
from meshes.defaults import fill, stated_defaults
from meshes.lengths import LENGTH, MM_PER_INCH, read_lengths
from meshes.outline import Outline, outline_from_measures
from meshes.outline_csv import HEADERS, has_drawing, read_drawing
from meshes.sheet_body import MM, body_from, heavy_bridge
from meshes.sheet_bracing import with_bracing
from meshes.sheet_checks import MEASURES, check_measures, check_shape, check_whole
from meshes.sheet_errors import (
    HUGE,
    Location,
    Mistake,
    SheetError,
    TomlTable,
    TomlValue,
    from_pydantic,
    key_name,
    nearest,
    resolve,
    show_value,
)
from meshes.sheet_fields import Shape, Sheet
from meshes.sheet_port_checks import check_port_heights, check_port_places
from meshes.sheet_woods import woods_of
from meshes.toml_text import parsed

REQUIRED = ("body", "heights", "soundhole")


def read_sheet(path: str | Path) -> Body:
    """Body of the build sheet at `path`; SheetError with every mistake found.

    A drawn outline is looked for beside the sheet. What the sheet leaves out is listed in Body.assumed.
    """
    path = Path(path)
    return body_of(read_tables(path), path.name, path.parent, library())


def body_of(raw: TomlTable, file: str, folder: Path, library: Mapping[str, Wood]) -> Body:
    """Body from the parsed tables `raw` of a sheet called `file`; drawings lie in `folder`; library: {name: Wood}."""
    tables, inches, mistakes = _in_millimetres(raw, file)
    for name in REQUIRED:
        tables.setdefault(name, {})
    sheet, wrong = _validate(tables, file, raw, inches, library)
    mistakes += [*wrong, *check_port_places(file, tables.get("side_port"))]
    shape = tables["body"] if isinstance(tables["body"], dict) else {}
    shapeless = check_measures(file, shape)
    mistakes += shapeless
    if sheet is None:
        raise SheetError(mistakes)
    woods, wrong = woods_of(sheet.wood, library, file, {mistake.key for mistake in mistakes})
    mistakes += wrong
    outline, wrong = (None, []) if shapeless else _outline(sheet.body, file, folder)
    mistakes += wrong
    if outline is None:
        raise SheetError(mistakes)
    stated = stated_defaults(sheet)
    sheet, patterns, wrong = with_bracing(sheet, outline, file)
    mistakes += wrong
    filled, assumed = fill(sheet, outline)
    faulty = {mistake.key.split(".")[0] for mistake in mistakes}  # their tables hold defaults now
    mistakes += [m for m in check_whole(file, filled, outline) if m.key.split(".")[0] not in faulty]
    if mistakes:
        raise SheetError(mistakes)
    body = body_from(filled, outline, woods, (*stated, *patterns, *assumed))
    _check_depth(body, file)
    if not_fitting := check_port_heights(file, body):
        raise SheetError(not_fitting)
    more = (*heavy_bridge(filled, body), *dome.warnings(body), *slips.warnings(body), *sheet_strings.warnings(body))
    return replace(body, warnings=(*body.warnings, *more))


def sheet_schema() -> JsonSchemaValue:
    """JSON schema (dict) of a build sheet; each length is listed under its _mm and its _in key, as a number or as text."""
    schema = Sheet.model_json_schema()
    for table in (schema, *schema["$defs"].values()):
        for key, node in list(table.get("properties", {}).items()):
            if key.endswith("_mm"):
                twin = key.removesuffix("_mm") + "_in"
                table["properties"][twin] = _scaled(resolve(schema, node))
                if key in table.get("required", []):
                    table["required"].remove(key)
                    table.setdefault("allOf", []).append({"oneOf": [{"required": [key]}, {"required": [twin]}]})
        properties = table.get("properties", {})
        properties |= {key: _or_text(node) for key, node in properties.items() if key.endswith(("_mm", "_in"))}
    return schema


def _or_text(node):
    """A length's schema that takes text such as '19 1/2' too, through lists and alternatives; limits are a number's alone."""
    if isinstance(node, list):
        return [_or_text(item) for item in node]
    if not isinstance(node, dict):
        return node
    if node.get("type") == "number":
        return {**node, "type": ["number", "string"], "pattern": "^" + re.sub(r"\?P<\w+>", "?:", LENGTH.pattern) + "$"}
    return {key: _or_text(value) if key in ("anyOf", "items", "prefixItems") else value for key, value in node.items()}


def _scaled(node):
    """A length's schema in inches: limits and default divided by 25.4."""
    if isinstance(node, list):
        return [_scaled(item) for item in node]
    if not isinstance(node, dict):
        return node
    lengths = ("minimum", "maximum", "default")
    return {
        key: value / MM_PER_INCH if key in lengths and isinstance(value, (int, float)) else _scaled(value)
        for key, value in node.items()
    }


def read_tables(path: Path) -> TomlTable:
    """The tables (dict) of a TOML file; SheetError if it cannot be read."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = parsed(text)
    except FileNotFoundError:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.toml")], 0.75) if path.parent.is_dir() else ""
        raise SheetError([Mistake(str(path), "file", "not found", "a build sheet (TOML)", near)]) from None
    except OSError as error:
        raise SheetError([Mistake(str(path), "file", f"cannot be read: {error.strerror}", "a build sheet")]) from None
    except UnicodeDecodeError:
        raise SheetError([Mistake(str(path), "file", "is not a text file", "a build sheet (TOML, UTF-8)")]) from None
    except tomllib.TOMLDecodeError as error:
        raise SheetError([wrong_toml(path.name, text, str(error))]) from None
    if not raw:
        hint = "'rimwork new FILE' writes a sheet to start from"
        raise SheetError([Mistake(path.name, "file", "is empty", "a build sheet with [body] and its measures", hint)])
    return raw


def wrong_toml(file: str, text: str, message: str) -> Mistake:
    """Mistake for text that is not TOML, with its line."""
    where = re.search(r"\(at line (\d+), column (\d+)\)", message)
    lines = text.splitlines()
    line = int(where[1]) if where else len(lines)
    shown = lines[line - 1].strip() if line <= len(lines) else ""
    place = f"line {where[1]}, column {where[2]}" if where else f"line {line}, the end"
    reason = re.sub(r"\s*\(at .*\)", "", message)
    hint = "words need quotes, each key its own line"
    if re.search(r"=\s*-?\d+,\d+", shown):
        hint = "write a decimal point, not a comma"
    elif fraction := re.search(r"=\s*(-?[\d ]*\d\s*/\s*\d+[^#]*)", shown):
        hint = f"put quotes around it: '{fraction[1].strip()}'"
    elif "Cannot declare" in reason or "overwrite" in reason:
        hint = "each table and each key may stand only once"
    return Mistake(file, place, show_value(shown), f"a line such as thickness_mm = 2.8 (TOML: {reason})", hint)


def _in_millimetres(raw: TomlTable, file: str) -> tuple[TomlTable, set[Location], list[Mistake]]:
    """(tables with every _in key turned into its _mm twin, locations of those keys, mistakes)."""
    inches, mistakes = set(), []

    def walk(node, loc):
        if isinstance(node, list):
            return [walk(item, (*loc, i)) for i, item in enumerate(node)]
        if not isinstance(node, dict):
            return math.inf if isinstance(node, int) and abs(node) > HUGE else copy.deepcopy(node)
        out = {}
        for key, value in node.items():
            twin = key.removesuffix("_in") + "_mm"
            if not key.endswith("_in"):
                read = walk(value, (*loc, key))
                out[key] = read_lengths(read, "mm") if key.endswith("_mm") else read
            elif twin in node:
                name = key_name((*loc, key), raw)
                mistakes.append(Mistake(file, name, show_value(value), f"only one of {key} and {twin}"))
            else:
                inches.add((*loc, twin))
                out[twin] = _times(read_lengths(walk(value, (*loc, key)), "in"))
        return out

    return walk(raw, ()), inches, mistakes


def _times(value: TomlValue) -> TomlValue:
    """Inches to mm, through lists; anything but a number is left for the field check."""
    if isinstance(value, list):
        return [_times(item) for item in value]
    return value * MM_PER_INCH if isinstance(value, (int, float)) and not isinstance(value, bool) else value


def _validate(
    tables: TomlTable, file: str, raw: TomlTable, inches: set[Location], library: Mapping[str, Wood]
) -> tuple[Sheet | None, list[Mistake]]:
    """(Sheet or None, mistakes). With mistakes the Sheet is what is left of the tables without the wrong keys."""
    own = tables.get("wood")
    context = {"woods": set(library) | (set(own) if isinstance(own, dict) else set())}
    try:
        return Sheet.model_validate(tables, context=context), []
    except ValidationError as error:
        errors = error.errors()
    mistakes = from_pydantic(errors, file, raw, inches, Sheet.model_json_schema())
    try:
        return Sheet.model_validate(_pruned(tables, errors), context=context), mistakes
    except ValidationError:
        return None, mistakes


def _pruned(tables: TomlTable, errors: Sequence[ErrorDetails]) -> TomlTable:
    """The tables without the keys that have mistakes; a list's entry with a mistake goes as a whole."""
    tables = copy.deepcopy(tables)
    for loc in sorted((e["loc"] for e in errors), key=str, reverse=True):
        cut = next((i for i, part in enumerate(loc) if isinstance(part, int)), len(loc) - 1)
        node: Any = tables
        for part in loc[:cut]:
            node = node[part] if isinstance(node, dict) and part in node else {}
        last = loc[cut]
        if isinstance(node, list) and isinstance(last, int) and last < len(node):
            node[last] = None
        elif isinstance(node, dict):
            node.pop(last, None)
    for name in ("brace", "bracing", "patch", "side_port"):
        if isinstance(tables.get(name), list):
            tables[name] = [entry for entry in tables[name] if entry is not None]
    strings = tables.get("strings")
    if isinstance(strings, dict) and isinstance(strings.get("string"), list):
        strings["string"] = [entry for entry in strings["string"] if entry is not None]
    return tables


def _outline(shape: Shape, file: str, folder: Path) -> tuple[Outline | None, list[Mistake]]:
    """(Outline or None, mistakes) of the table [body]."""
    for kind in HEADERS:
        if has_drawing(shape, kind):
            return read_drawing(folder / getattr(shape, kind), kind)
    if shape.length_mm is None or any(getattr(shape, key) is None for key in MEASURES):
        return None, []
    mistakes = check_shape(file, shape)
    if mistakes:
        return None, mistakes
    lower, waist, upper = (
        (getattr(shape, f"{name}_place_mm") * MM, getattr(shape, f"{name}_width_mm") * MM)
        for name in ("lower_bout", "waist", "upper_bout")
    )
    flats = shape.flat_tail_mm * MM, shape.flat_neck_mm * MM
    return outline_from_measures(shape.length_mm * MM, lower, waist, upper, *flats), []


def _check_depth(body: Body, file: str) -> None:
    """SheetError where heights and doming leave no room between top and back."""
    depth = dome.shallowest(body)
    if depth < 0.01:
        value = f"{1e3 * depth:.0f} mm between top and back at the shallowest place"
        raise SheetError([Mistake(file, "heights", value, "at least 10 mm", "larger radii or higher sides")])
