"""Reads the plan of a sweep (TOML): a base sheet, what varies and how, how exact; or tells all of its mistakes at once."""

import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import ValidationError

from fem.strings import Pluck, String
from fem.woods import library
from meshes.sheet import body_of, read_tables, wrong_toml
from meshes.sheet_errors import Mistake, SheetError, from_pydantic, nearest, schema_at, show_value
from meshes.sheet_fields import Sheet
from meshes.sheet_strings import strung
from meshes.string_sets import set_names
from meshes.toml_text import parsed
from studies.common.inputs import BadInput
from studies.sweep.design import Value
from studies.sweep.fields import MOST, OWN_STRINGS, Factor, Plan
from studies.sweep.keys import Place, Tables, base_value, check_range, locate
from studies.sweep.notes import spread
from studies.sweep.result import SUMMARY

RESERVED = ("rim", "variant", "key", "method", "scatter", *SUMMARY)  # heads of tables that no factor may have
PLANS, BODIES = Path(__file__).with_name("plans"), Path(__file__).parents[2] / "meshes" / "bodies"


@dataclass(frozen=True)
class Sweep:
    """A checked plan with its base sheet."""

    plan: Plan
    path: Path
    sheet: Path
    raw: Tables  # the sheet's tables as written
    places: dict[str, Place]  # {key of a factor: its location in the tables}
    whole: frozenset[str]  # keys that take whole numbers only
    base: dict[str, float | str | None]  # {key: what the sheet, its defaults or the library of woods say}
    strings: tuple[String, ...] = ()  # of a sweep with plucked notes
    notes_at: tuple[tuple[int, int], ...] = ()  # (string, fret) of its notes
    pluck: Pluck = Pluck()

    def written(self, values: dict[str, Value]) -> dict[str, Value]:
        """{key of the sheet: what the factors put there}; those that are not among the values {factor: value} put nothing."""
        written = {}
        for factor in self.plan.factor:
            for key in factor.keys if factor.name in values else ():
                base, value = self.base[key], values[factor.name]
                if factor.times and isinstance(base, int | float) and isinstance(value, int | float):
                    value = base * value
                written[key] = value
        return written


def read_plan(plan: Path | str, sheet: Path | str | None = None) -> Sweep:
    """Sweep of a plan file or of the name of a ready plan; `sheet` replaces its base sheet. SheetError with all mistakes."""
    path = plan_path(plan)
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = parsed(text)
    except UnicodeDecodeError:
        raise SheetError([Mistake(path.name, "file", "is not a text file", "a plan (TOML, UTF-8)")]) from None
    except tomllib.TOMLDecodeError as error:
        raise SheetError([wrong_toml(path.name, text, str(error))]) from None
    checked = checked_plan(raw, path.name)
    beside, example = path.parent / checked.sheet, BODIES / checked.sheet
    named = example if example.is_file() and not beside.is_file() else beside
    return sweep_of(checked, path, Path(sheet) if sheet else named)


def checked_plan(tables: Tables, name: str) -> Plan:
    """Plan of tables as written, each key by itself; name: of their file. SheetError with all mistakes."""
    try:
        return Plan.model_validate(tables)
    except ValidationError as error:
        schema = Plan.model_json_schema(by_alias=True)
        raise SheetError(from_pydantic(error.errors(), name, tables, set(), schema)) from None


def sweep_of(plan: Plan, path: Path, sheet: Path) -> Sweep:
    """Sweep of a checked Plan, the path that it is named by, and its base sheet. SheetError with all mistakes."""
    if not sheet.is_file():
        raise SheetError([Mistake(path.name, "sheet", show_value(str(sheet)), "a build sheet that exists")])
    tables = read_tables(sheet)
    places, base, mistakes = {}, {}, list(_check_whole(plan, path.name))
    for i, factor in enumerate(plan.factor, 1):
        where = f"factor {i} ({factor.name})"
        mistakes += _check_values(factor, plan.design.kind, path.name, where)
        for key in factor.keys:
            place, wrong = locate(key, tables, path.name, where)
            mistakes += wrong
            if place:
                places[key] = place
                base[key] = base_value(tables, place)
                mistakes += check_range(factor, key, place, base[key], path.name, where)
    if mistakes:
        raise SheetError(mistakes)
    schema = Sheet.model_json_schema()
    whole = frozenset(key for key, place in places.items() if schema_at(schema, place).get("type") == "integer")
    sweep = Sweep(plan, path, sheet, tables, places, whole, base)
    if not plan.plucked:
        return sweep
    given = None if plan.sustain.strings == OWN_STRINGS else plan.sustain.strings
    own = strung(body_of(tables, sheet.name, sheet.parent, library()), given)
    strings = own.strings.strings
    return replace(sweep, strings=strings, notes_at=spread(plan.sustain.notes, len(strings)), pluck=own.pluck)


def plan_path(plan: Path | str) -> Path:
    """Path of a plan file, or of a ready plan by its name. BadInput where there is neither."""
    path = Path(plan)
    if path.is_file():
        return path
    ready = {p.stem: p for p in sorted(PLANS.glob("*.toml"))}
    if str(plan) in ready:
        return ready[str(plan)]
    hint = nearest(path.stem, ready)
    raise BadInput(f"{plan}: no such plan; expected a file, or one of: {', '.join(ready)}{hint and '; ' + hint}")


def _check_whole(plan: Plan, file: str) -> Iterator[Mistake]:
    """Mistakes of tables beside each other: what is named twice, what does not go together."""
    names = [f.name for f in plan.factor] + [s.name for s in plan.scatter]
    builds, held, strings = plan.rim.builds, plan.sustain.held, plan.sustain.strings
    for where, expected, listed in (
        ("name", "a name of its own for each factor and scatter", [*names, *RESERVED]),
        ("factor.keys", "each key in one factor only", [key for f in plan.factor for key in f.keys]),
        ("scatter.boards", "each board in one scatter only", [board for s in plan.scatter for board in s.boards]),
    ):
        for name in sorted(name for name, count in Counter(listed).items() if count > 1):
            yield Mistake(file, where, show_value(name), expected)
    if not names and len(builds) < 2:
        yield Mistake(file, "factor", "nothing varies", "a [[factor]], a [[scatter]] or several rim builds")
    if len(set(builds)) < len(builds):
        yield Mistake(file, "rim.builds", show_value(builds), "each build once")
    if plan.design.kind == "grid" and plan.scatter:
        hint = "scatter of wood cannot lie on a grid"
        yield Mistake(file, "design.kind", "'grid'", "a random design", hint)
    if "sustain" in plan.model_fields_set and not plan.plucked:
        yield Mistake(file, "sustain", "a table", "'sustain' among the outputs as well")
    if plan.plucked and strings not in (known := (OWN_STRINGS, *set_names())):
        expected = f"one of: {', '.join(known)}"
        yield Mistake(file, "sustain.strings", show_value(strings), expected, nearest(strings, known))
    if len(set(held)) < len(held):
        yield Mistake(file, "sustain.held", show_value(held), "each way to hold it once")
    if plan.count > MOST:
        yield Mistake(file, "design", f"{plan.count} variants", f"at most {MOST}")


def _check_values(factor: Factor, design: str, file: str, where: str) -> list[Mistake]:
    """Mistakes in how a factor's values are given: exactly one of range, distribution and levels."""
    given = {
        "from and to": (factor.low, factor.high),
        "mean and deviation": (factor.mean, factor.deviation),
        "levels": (factor.levels, factor.levels),
    }
    begun = [words for words, pair in given.items() if pair != (None, None)]
    if len(begun) != 1 or None in given[begun[0]]:
        return [Mistake(file, where, f"given: {', '.join(begun) or 'nothing'}", f"one of: {', '.join(given)}")]
    if factor.low is not None and factor.high is not None and factor.low >= factor.high:
        return [Mistake(file, f"{where}.from", f"{factor.low:g}", f"less than 'to' = {factor.high:g}")]
    if design == "grid" and not factor.levels and factor.steps is None:
        return [Mistake(file, where, "a range in a grid", "'steps' or 'levels'")]
    return []
