"""Reads the plan of a night (TOML): a base sheet, what varies and how, how exact; or tells all of its mistakes at once."""

import math
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import ValidationError

from fem.strings import Pluck
from fem.woods import library
from meshes.sheet import body_of, read_tables, wrong_toml
from meshes.sheet_errors import (
    NOTHING,
    Mistake,
    SheetError,
    from_pydantic,
    likely,
    limits_of,
    nearest,
    schema_at,
    show_value,
    value_at,
)
from meshes.sheet_fields import Sheet
from meshes.sheet_strings import strung
from meshes.string_sets import set_names
from studies.common.inputs import BadInput
from studies.sweep.fields import MOST, OWN_STRINGS, Plan
from studies.sweep.notes import spread

PLANS, BODIES = Path(__file__).with_name("plans"), Path(__file__).parents[2] / "meshes" / "bodies"


@dataclass(frozen=True)
class Night:
    """A checked plan with its base sheet."""

    plan: Plan
    path: Path
    sheet: Path
    raw: dict  # the sheet's tables as written
    places: dict  # {key of a factor: location in the tables (tuple)}
    whole: frozenset  # keys that take whole numbers only
    base: dict  # {key: what the sheet, its defaults or the library of woods say, or None}
    strings: tuple = ()  # of fem.strings.String, of a night with plucked notes
    notes_at: tuple = ()  # ((string, fret), ...) of its notes
    pluck: Pluck = Pluck()


def read_plan(plan, sheet=None):
    """Night of a plan file or of the name of a ready plan; `sheet` replaces its base sheet. SheetError with all mistakes."""
    path = plan_path(plan)
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = tomllib.loads(text)
    except UnicodeDecodeError:
        raise SheetError([Mistake(path.name, "file", "is not a text file", "a plan (TOML, UTF-8)")]) from None
    except tomllib.TOMLDecodeError as error:
        raise SheetError([wrong_toml(path.name, text, str(error))]) from None
    try:
        found = Plan.model_validate(raw)
    except ValidationError as error:
        raise SheetError(
            from_pydantic(error.errors(), path.name, raw, set(), Plan.model_json_schema(by_alias=True))
        ) from None
    return night_of(found, path, Path(sheet) if sheet else sheet_of(found, path))


def night_of(found, path, sheet):
    """Night of a checked Plan, the path that it is named by, and its base sheet. SheetError with all mistakes."""
    if not sheet.is_file():
        raise SheetError([Mistake(path.name, "sheet", show_value(str(sheet)), "a build sheet that exists")])
    tables = read_tables(sheet)
    places, base, mistakes = {}, {}, _check_whole(found, path.name)
    for i, factor in enumerate(found.factor, 1):
        where = f"factor {i} ({factor.name})"
        mistakes += _check_values(factor, found.design, path.name, where)
        for key in factor.keys:
            place, wrong = locate(key, tables, path.name, where)
            mistakes += wrong
            if place:
                places[key] = place
                base[key] = base_value(tables, place)
                mistakes += _check_range(factor, key, tables, place, path.name, where)
    if mistakes:
        raise SheetError(mistakes)
    schema = Sheet.model_json_schema()
    whole = frozenset(key for key, place in places.items() if schema_at(schema, place).get("type") == "integer")
    return with_notes(Night(found, path, sheet, tables, places, whole, base))


def with_notes(night):
    """The Night with the strings and notes of its plan, where they are plucked."""
    if not night.plan.plucked:
        return night
    body = body_of(night.raw, night.sheet.name, night.sheet.parent, library())
    own = night.plan.sustain.strings == OWN_STRINGS
    found = strung(body, None if own else night.plan.sustain.strings)
    strings = found.strings.strings
    return replace(night, strings=strings, notes_at=spread(night.plan.sustain.notes, len(strings)), pluck=found.pluck)


def plan_path(plan):
    """Path of a plan file, or of a ready plan by its name. BadInput where there is neither."""
    path = Path(plan)
    if path.is_file():
        return path
    ready = {p.stem: p for p in sorted(PLANS.glob("*.toml"))}
    if str(plan) in ready:
        return ready[str(plan)]
    hint = nearest(path.stem, ready)
    raise BadInput(f"{plan}: no such plan; expected a file, or one of: {', '.join(ready)}{hint and '; ' + hint}")


def sheet_of(plan, path):
    """Path of the plan's base sheet: beside the plan, else among the examples."""
    beside = path.parent / plan.sheet
    return beside if beside.is_file() or not (BODIES / plan.sheet).is_file() else BODIES / plan.sheet


def locate(key, tables, file, where):
    """(location of a key of the sheet in its tables, mistakes); a brace is named, as 'brace.upper bar.width_mm', a side port
    numbered as it comes in the sheet, as 'side_port.1.diameter_mm'.
    """
    words = tuple(key.split("."))
    if words[0] == "brace":
        names = [b.get("name") for b in tables.get("brace", [])]
        if len(words) != 3 or words[1] not in names:
            hint = nearest(words[1], names) if len(words) > 1 else ""
            return None, [
                Mistake(file, f"{where}.keys", show_value(key), "'brace.NAME.key' of a brace of the sheet", hint)
            ]
        words = ("brace", names.index(words[1]), words[2])
    if words[0] == "side_port":
        count = len(tables.get("side_port", []))
        if len(words) != 3 or words[1] not in map(str, range(1, count + 1)):
            known = (
                f"'side_port.NUMBER.key', NUMBER up to {count}" if count else "a key of the sheet; it has no side port"
            )
            return None, [Mistake(file, f"{where}.keys", show_value(key), known)]
        words = ("side_port", int(words[1]) - 1, words[2])
    schema = Sheet.model_json_schema()
    node = schema_at(schema, words)
    if not node or "properties" in node or node.get("type") == "object":
        known = _all_keys(schema)
        return None, [Mistake(file, f"{where}.keys", show_value(key), "a key of the sheet", nearest(key, known))]
    if words[0] == "wood" and words[1] not in library() and words[1] not in tables.get("wood", {}):
        return None, [Mistake(file, f"{where}.keys", show_value(key), "a known wood", nearest(words[1], library()))]
    return words, []


def _all_keys(schema):
    found = []
    for table, node in schema["properties"].items():
        keys = schema_at(schema, (table,)).get("properties", {})
        found += [f"{table}.{key}" for key in keys] or [table] * ("properties" in node)
    return found


def base_value(tables, place):
    """What the sheet, its defaults or the library of woods give for a location; None where none of them does."""
    value = value_at(tables, place)
    if value is not NOTHING:
        return value
    short = (*place[:-1], str(place[-1]).removesuffix("_mm") + "_in")
    if str(place[-1]).endswith("_mm") and (inches := value_at(tables, short)) is not NOTHING:
        return 25.4 * inches
    if place[0] == "wood" and place[1] in library():
        from meshes.sheet_woods import WOOD_KEYS

        name, unit = WOOD_KEYS[place[2]]
        value = getattr(library()[place[1]], name)
        return None if value is None else value / unit
    return schema_at(Sheet.model_json_schema(), place).get("default")


def _check_whole(plan, file):
    found = []
    names = [f.name for f in (*plan.factor, *plan.scatter)]
    for name in sorted({n for n in names if names.count(n) > 1} | ({"rim", "variant"} & set(names))):
        found.append(Mistake(file, "name", show_value(name), "a name of its own for each factor and scatter"))
    keys = [key for f in plan.factor for key in f.keys]
    for key in sorted({k for k in keys if keys.count(k) > 1}):
        found.append(Mistake(file, "factor.keys", show_value(key), "each key in one factor only"))
    boards = [b for s in plan.scatter for b in s.boards]
    for board in sorted({b for b in boards if boards.count(b) > 1}):
        found.append(Mistake(file, "scatter.boards", show_value(board), "each board in one scatter only"))
    if not names and len(plan.rim.builds) < 2:
        found.append(Mistake(file, "factor", "nothing varies", "a [[factor]], a [[scatter]] or several rim builds"))
    if len(set(plan.rim.builds)) < len(plan.rim.builds):
        found.append(Mistake(file, "rim.builds", show_value(plan.rim.builds), "each build once"))
    if plan.design.kind == "grid" and plan.scatter:
        found.append(Mistake(file, "design.kind", "'grid'", "a random design", "scatter of wood cannot lie on a grid"))
    if "sustain" in plan.model_fields_set and not plan.plucked:
        found.append(Mistake(file, "sustain", "a table", "'sustain' among the outputs as well"))
    if plan.plucked and plan.sustain.strings not in (known := (OWN_STRINGS, *set_names())):
        given = plan.sustain.strings
        words = f"one of: {', '.join(known)}"
        found.append(Mistake(file, "sustain.strings", show_value(given), words, nearest(given, known)))
    if len(set(plan.sustain.held)) < len(plan.sustain.held):
        found.append(Mistake(file, "sustain.held", show_value(plan.sustain.held), "each way to hold it once"))
    if (count := variant_count(plan)) > MOST:
        found.append(Mistake(file, "design", f"{count} variants", f"at most {MOST}"))
    return found


def variant_count(plan):
    """How many variants a plan has."""
    sizes = [len(f.levels or ()) or f.steps or 1 for f in plan.factor]
    samples = math.prod(sizes) if plan.design.kind == "grid" else plan.design.samples
    return samples * (len(plan.rim.builds) if plan.design.paired or plan.design.kind == "grid" else 1)


def _check_values(factor, design, file, where):
    """Mistakes in how a factor's values are given: exactly one of range, distribution and levels."""
    given = {
        "from and to": (factor.low, factor.high),
        "mean and deviation": (factor.mean, factor.deviation),
        "levels": (factor.levels, factor.levels),
    }
    begun = [words for words, pair in given.items() if pair != (None, None)]
    if len(begun) != 1 or None in given[begun[0]]:
        return [Mistake(file, where, "given: " + (", ".join(begun) or "nothing"), "one of: " + ", ".join(given))]
    if factor.low is not None and factor.low >= factor.high:
        return [Mistake(file, f"{where}.from", f"{factor.low:g}", f"less than 'to' = {factor.high:g}")]
    if design.kind == "grid" and not factor.levels and factor.steps is None:
        return [Mistake(file, where, "a range in a grid", "'steps' or 'levels'")]
    return []


def extremes(factor):
    """(least, largest) number that a factor takes, or None for words."""
    if factor.levels:
        numbers = [v for v in factor.levels if not isinstance(v, str)]
        return (min(numbers), max(numbers)) if len(numbers) == len(factor.levels) else None
    if factor.mean is not None:
        return factor.mean - 3 * factor.deviation, factor.mean + 3 * factor.deviation
    return None if factor.low is None or factor.high is None else (factor.low, factor.high)


def _check_range(factor, key, tables, place, file, where):
    """Mistakes where a factor's values leave what the sheet allows for a key."""
    node = schema_at(Sheet.model_json_schema(), place)
    ends, limits = extremes(factor), limits_of(node)
    number = node.get("type") in ("number", "integer")
    if ends is None or not number:
        words = [v for v in factor.levels or () if isinstance(v, str)]
        wrong = words[:1] if number else [v for v in factor.levels or () if not isinstance(v, str)][:1]
        if not number and not factor.levels:
            return [Mistake(file, where, "a range", "levels", f"{key} takes words")]
        return [Mistake(file, f"{where}.levels", show_value(v), f"what {key} takes") for v in wrong]
    if node["type"] == "integer" and not (factor.levels and all(isinstance(v, int) for v in factor.levels)):
        return [Mistake(file, where, "a range or fractions", "levels", f"{key} takes whole numbers")]
    if factor.times:
        base = base_value(tables, place)
        if not isinstance(base, (int, float)):
            return [Mistake(file, f"{where}.times", "true", f"a value of {key} in the sheet to multiply")]
        ends = tuple(base * end for end in ends)
    if limits is None:
        return []
    return [
        Mistake(file, where, f"{end:g}", f"{key} within {limits[0]:g} to {limits[1]:g}", likely(end, *limits))
        for end in dict.fromkeys(ends)
        if not limits[0] <= end <= limits[1]
    ]
