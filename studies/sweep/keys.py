"""Keys of the sheet that a plan's factors name: where they lie, what stands there, what may be put there."""

from math import inf
from typing import Any

from fem.woods import library
from meshes.lengths import MM_PER_INCH, read_lengths
from meshes.sheet_errors import NOTHING, Mistake, likely, limits_of, nearest, schema_at, show_value, value_at
from meshes.sheet_fields import Sheet
from meshes.sheet_woods import WOOD_KEYS
from studies.sweep.fields import Factor

Place = tuple[str | int, ...]  # names and places in lists, from the sheet's top down
Tables = dict[str, Any]  # of TOML, as read


def locate(key: str, tables: Tables, file: str, where: str) -> tuple[Place | None, list[Mistake]]:
    """(location of a key of the sheet in its tables, mistakes). A brace is named, as 'brace.upper bar.width_mm', a side port
    numbered as it comes in the sheet, as 'side_port.1.diameter_mm'.
    """

    def wrong(expected: str, hint: str = "") -> tuple[None, list[Mistake]]:
        return None, [Mistake(file, f"{where}.keys", show_value(key), expected, hint)]

    table, *rest = key.split(".")
    place: Place = (table, *rest)
    ports = [str(k) for k, _ in enumerate(_entries(tables, "side_port"), 1)]
    braces = [str(b.get("name")) for b in _entries(tables, "brace")]
    names = {"brace": braces, "side_port": ports}.get(table)
    if names is not None:
        if len(rest) != 2 or rest[0] not in names:
            if table == "brace":
                return wrong("'brace.NAME.key' of a brace of the sheet", nearest(rest[0], names) if rest else "")
            known = f"'side_port.NUMBER.key', NUMBER up to {len(ports)}"
            return wrong(known if ports else "a key of the sheet; it has no side port")
        place = (table, names.index(rest[0]), rest[1])
    schema = Sheet.model_json_schema()
    node = schema_at(schema, place)
    if not node or "properties" in node or node.get("type") == "object":
        return wrong("a key of the sheet", nearest(key, _all_keys(schema)))
    own = tables.get("wood")
    if table == "wood" and rest[0] not in {**library(), **(own if isinstance(own, dict) else {})}:
        return wrong("a known wood", nearest(rest[0], library()))
    return place, []


def _entries(tables: Tables, name: str) -> list[dict[str, Any]]:
    """The tables of a list of tables; none where the sheet holds anything else, which it is told when it is read."""
    found = tables.get(name)
    return [entry if isinstance(entry, dict) else {} for entry in found] if isinstance(found, list) else []


def _all_keys(schema):
    keys = []
    for table, node in schema["properties"].items():
        inner = schema_at(schema, (table,)).get("properties", {})
        keys += [f"{table}.{key}" for key in inner] or [table] * ("properties" in node)
    return keys


def base_value(tables: Tables, place: Place) -> float | str | None:
    """What the sheet, its defaults or the library of woods give for a location; None where none of them does."""
    value = read_lengths(value_at(tables, place), "mm") if str(place[-1]).endswith("_mm") else value_at(tables, place)
    if value is not NOTHING:
        return value if isinstance(value, str | int | float) else None
    key = str(place[-1])
    short = (*place[:-1], key.removesuffix("_mm") + "_in")
    if key.endswith("_mm") and isinstance(inches := read_lengths(value_at(tables, short), "in"), int | float):
        return MM_PER_INCH * inches
    if place[0] == "wood" and place[1] in library():
        name, unit = WOOD_KEYS[key]
        value = getattr(library()[place[1]], name)
        return None if value is None else value / unit
    return schema_at(Sheet.model_json_schema(), place).get("default")


def check_range(
    factor: Factor, key: str, place: Place, base: float | str | None, file: str, where: str
) -> list[Mistake]:
    """Mistakes where a factor's values leave what the sheet allows for a key; base: what it says there."""
    node = schema_at(Sheet.model_json_schema(), place)
    ends, limits, levels = factor.range, limits_of(node), factor.levels or []
    number = node.get("type") in ("number", "integer")
    if ends is None or not number:
        if not number and not levels:
            return [Mistake(file, where, "a range", "levels", f"{key} takes words")]
        wrong = [v for v in levels if isinstance(v, str) == number][:1]
        return [Mistake(file, f"{where}.levels", show_value(v), f"what {key} takes") for v in wrong]
    if node["type"] == "integer" and not (levels and all(isinstance(v, int) for v in levels)):
        return [Mistake(file, where, "a range or fractions", "levels", f"{key} takes whole numbers")]
    if factor.times:
        if not isinstance(base, int | float):
            return [Mistake(file, f"{where}.times", "true", f"a value of {key} in the sheet to multiply")]
        ends = (base * ends[0], base * ends[1])
    least, most = limits or (-inf, inf)
    wrong_ends = [end for end in dict.fromkeys(ends) if not least <= end <= most]
    expected = f"{key} within {least:g} to {most:g}"
    return [Mistake(file, where, f"{end:g}", expected, likely(end, least, most)) for end in wrong_ends]
