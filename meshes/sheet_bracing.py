"""Braces in makers' terms: across the body, crossed, fanned, in a lattice; each [[bracing]] becomes plain braces."""

from collections.abc import Iterator

import numpy as np

from meshes.body import Assumption
from meshes.outline import Outline, crossings
from meshes.sheet_errors import Mistake
from meshes.sheet_fields import BraceForm, BraceTable, BracingTable, Sheet

Line = tuple[np.ndarray, np.ndarray]  # point [mm] on the line, direction toward the neck or the bass side
NEEDS = {  # keys of a pattern: needed, and allowed besides; one of 'a|b' is needed
    "across": (("at_mm",), ("count", "apart_mm")),
    "cross": (("angle_deg", "at_mm|below_hole_mm"), ("from_mm", "to_mm")),
    "fan": (("count", "apart_deg", "from_mm", "to_mm"), ("meet_mm",)),
    "lattice": (("at_mm", "count", "apart_mm", "angle_deg"), ("from_mm", "to_mm")),
}
OWN = set(BracingTable.model_fields) - set(BraceForm.model_fields) - {"pattern"}


def bracing_mistakes(file: str, sheet: Sheet) -> list[Mistake]:
    """Keys that a pattern lacks or has no use for."""
    mistakes = []
    for i, table in enumerate(sheet.bracing):
        key = f"bracing {i + 1} ({table.name})"
        needed, more = NEEDS[table.pattern]
        given = {name for name in OWN if getattr(table, name) is not None}
        for names in (need.split("|") for need in needed):
            if len(given.intersection(names)) != 1:
                what = ", ".join(sorted(given.intersection(names))) or "nothing given"
                allowed = f"{' or '.join(names)} of pattern '{table.pattern}'"
                mistakes.append(Mistake(file, f"{key}.{names[0]}", what, allowed))
        if table.pattern == "across" and (table.count or 1) > 1 and table.apart_mm is None:
            mistakes.append(Mistake(file, f"{key}.apart_mm", "nothing given", "how far the bars lie apart"))
        for name in sorted(given - {n for need in (*needed, *more) for n in need.split("|")}):
            known = ", ".join(n for need in (*needed, *more) for n in need.split("|"))
            mistakes.append(Mistake(file, f"{key}.{name}", "", f"of pattern '{table.pattern}' only {known}"))
    return mistakes


def with_bracing(sheet: Sheet, outline: Outline, file: str) -> tuple[Sheet, list[Assumption], list[Mistake]]:
    """(the sheet with a brace for each line of its patterns, what each pattern stands for, mistakes); outline in m, all else mm."""
    braces, told, mistakes = list(sheet.brace), [], bracing_mistakes(file, sheet)
    for i, table in enumerate([] if mistakes else sheet.bracing):
        new = [_brace(table, number, line, outline) for number, line in enumerate(_lines(table, sheet, outline), 1)]
        if missing := [str(n) for n, brace in enumerate(new, 1) if brace is None]:
            allowed = "lines that run in the body between from_mm and to_mm"
            mistakes.append(Mistake(file, f"bracing {i + 1} ({table.name})", f"brace {', '.join(missing)}", allowed))
        here = [brace for brace in new if brace is not None]
        words = "; ".join(f"'{b.name}' from {_point(b.from_mm)} to {_point(b.to_mm)}" for b in here)
        told.append(Assumption(f"bracing '{table.name}'", words, "worked out from the pattern"))
        braces += here
    return sheet.model_copy(update={"brace": braces, "bracing": []}), told, mistakes


def _point(point: tuple[float, float]) -> str:
    return f"[{point[0]:.1f}, {point[1]:.1f}]"


def _lines(table: BracingTable, sheet: Sheet, outline: Outline) -> Iterator[Line]:
    """The lines of a pattern."""
    degrees = np.pi / 180
    middle = lambda x: np.array([x, 0.0])
    count = table.count or 1
    steps = np.arange(count) - (count - 1) / 2
    if table.pattern == "across":
        for k in range(count):
            yield middle(_given(table.at_mm) + k * (table.apart_mm or 0.0)), np.array([0.0, 1.0])
    elif table.pattern == "cross":
        below = sheet.soundhole.place_mm - sheet.soundhole.diameter_mm / 2 - (table.below_hole_mm or 0.0)
        half = _given(table.angle_deg) * degrees / 2
        for sign in (-1, 1):  # from the lower bass side first
            yield middle(below if table.at_mm is None else table.at_mm), np.array([np.cos(half), sign * np.sin(half)])
    elif table.pattern == "fan":
        meet = outline.length * 1e3 if table.meet_mm is None else table.meet_mm
        for angle in -steps * _given(table.apart_deg) * degrees:  # from the treble side to the bass side
            toward = np.array([np.cos(angle), np.sin(angle)])
            yield middle(meet) - toward / toward[0] * (meet - (_given(table.from_mm) + _given(table.to_mm)) / 2), toward
    else:
        half = _given(table.angle_deg) * degrees / 2
        for sign in (-1, 1):
            toward, square = (
                np.array([np.cos(half), sign * np.sin(half)]),
                np.array([-np.sin(half), sign * np.cos(half)]),
            )
            for step in steps:
                yield middle(_given(table.at_mm)) + step * _given(table.apart_mm) * square, toward


def _given(value: float | None) -> float:
    assert value is not None  # see bracing_mistakes
    return value


def _brace(table: BracingTable, number: int, line: Line, outline: Outline) -> BraceTable | None:
    """The brace on a line: between the sides on either hand of its point, and between from_mm and to_mm. None if nothing is left."""
    point, toward = line
    t = 1e3 * crossings(outline, point / 1e3, toward)[0]
    low, high = t[t < 0].max(initial=-np.inf), t[t > 0].min(initial=np.inf)
    if (t < 0).sum() % 2 == 0:  # the point lies outside the body
        return None
    if toward[0] > 0 and table.from_mm is not None:
        low = max(low, (table.from_mm - point[0]) / toward[0])
    if toward[0] > 0 and table.to_mm is not None:
        high = min(high, (table.to_mm - point[0]) / toward[0])
    if not high - low > 0:
        return None
    form = {name: getattr(table, name) for name in BraceForm.model_fields if name in table.model_fields_set}
    start, end = (tuple(np.round(point + s * toward, 3).tolist()) for s in (low, high))
    return BraceTable(**{**form, "name": f"{table.name} {number}"}, from_mm=start, to_mm=end)
