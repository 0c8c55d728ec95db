"""Checks of the side ports of a build sheet: on the rim, clear of what is glued to it, between the linings."""

from collections.abc import Sequence

import numpy as np

from meshes.body import Body, back_height, top_height
from meshes.build import NO_LINING
from meshes.outline import Outline, normal_at, point_at, where_x, where_y
from meshes.sheet_body import port_arc
from meshes.sheet_errors import Mistake, TomlValue
from meshes.sheet_fields import Sheet, SidePortTable
from meshes.sheet_rim_checks import mistake
from meshes.side_ports import MARGIN

BESIDE = 12.0  # mm of side left between a port and whatever else is on the rim
ROUND_IT = 5.0  # mm of side left between a port and a lining
PLACES = ("from_tail_mm", "from_neck_mm")


def check_port_places(file: str, tables: TomlValue) -> list[Mistake]:
    """Mistakes of the [[side_port]] tables (as written, in mm) that give no place or two."""
    mistakes = []
    for number, table in enumerate(tables if isinstance(tables, list) else [], 1):
        given = [name for name in PLACES if name in table] if isinstance(table, dict) else PLACES[:1]
        if len(given) != 1:
            value = "both given" if given else "nothing given"
            key = f"side_port {number}.from_tail_mm"
            mistakes.append(mistake(file, key, value, "one of from_tail_mm and from_neck_mm"))
    return mistakes


def check_side_ports(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """On its side, clear of blocks, neck, side bars, sharp corners and other ports, not bent too much."""
    mistakes: list[Mistake] = []
    before: list[tuple[str, float, float]] = []
    for number, port in enumerate(sheet.side_port, 1):
        key = f"side_port {number}"
        given = [name for name in PLACES if getattr(port, name) is not None]
        if len(given) != 1:
            continue  # told by check_port_places
        obstacles = [*_obstacles(sheet, outline), *before]
        mistakes += (
            _check_place(file, key, given[0], port, outline, obstacles)
            or _check_behind(file, key, given[0], port, sheet, outline)
            or _check_bend(file, key, port, sheet, outline)
        )
        arc = 1e3 * port_arc(port, outline)
        before.append((f"side_port {number}", arc - port.diameter_mm / 2, arc + port.diameter_mm / 2))
    return mistakes


def _obstacles(sheet: Sheet, outline: Outline) -> list[tuple[str, float, float]]:
    """[(name, start, end)] of what a port must keep clear of, as arc lengths [mm]; the tail block from below 0 on."""
    rim = 1e3 * outline.perimeter
    tail, neck = sheet.tail_block.width_mm / 2, sheet.neck_block.width_mm / 2
    if sheet.neck.included:
        neck = max(neck, sheet.neck.width_mm / 2)
    edge = lambda y, end: 1e3 * float(where_y(outline, 1e-3 * y)[end])
    obstacles = [("the neck block", edge(-neck, -1), edge(neck, -1)), ("the tail block", -1.0, edge(-tail, 0))]
    obstacles.append(("the tail block", edge(tail, 0), rim + 1.0))
    half = sheet.side_bars.width_mm / 2
    for place in sheet.side_bars.places_mm:
        if place < 1e3 * outline.length:
            bars = 1e3 * where_x(outline, 1e-3 * place)[[0, -1]]
            obstacles += [(f"the side bar {place:g} mm from the tail", s - half, s + half) for s in bars]
    return [*obstacles, *(("the corner of the outline", s, s) for s in 1e3 * outline.corners)]


def _check_place(
    file: str, key: str, name: str, port: SidePortTable, outline: Outline, obstacles: Sequence[tuple[str, float, float]]
) -> list[Mistake]:
    """The mistake of a place beyond the side's end or too near to an obstacle, with the nearest place that is free."""
    neck, rim = 1e3 * where_y(outline, 0.0)[-1], 1e3 * outline.perimeter
    start, end = (0.0, neck) if port.side == "treble" else (neck, rim)
    value, keep = getattr(port, name), port.diameter_mm / 2 + BESIDE
    if value >= end - start:
        allowed = f"less than the {port.side} side's length, {end - start:.0f} mm"
        return [mistake(file, f"{key}.{name}", value, allowed)]
    arc = 1e3 * port_arc(port, outline)
    taken = [(what, a - keep, b + keep) for what, a, b in obstacles]
    hit = [what for what, a, b in taken if a + 1e-6 < arc < b - 1e-6]
    if not hit:
        return []
    free = lambda s: start <= s <= end and not any(a + 1e-6 < s < b - 1e-6 for _, a, b in taken)
    from_tail = (lambda s: s) if port.side == "treble" else (lambda s: rim - s)
    told = lambda s: from_tail(s) if name == "from_tail_mm" else abs(s - neck)
    ways = [told(s) for _, a, b in taken for s in (a, b) if free(s)]
    nearest = min(ways, key=lambda v: abs(v - value), default=None)
    allowed = f"a place that leaves {BESIDE:g} mm of side between the port and {hit[0]}"
    hint = "" if nearest is None else f"did you mean {np.ceil(nearest) if nearest > value else np.floor(nearest):g}?"
    return [mistake(file, f"{key}.{name}", value, allowed, hint)]


def _check_behind(file: str, key: str, name: str, port: SidePortTable, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """No block stands just behind a port, as beside a cutaway."""
    arc = port_arc(port, outline) + 5e-4 * port.diameter_mm * np.linspace(-1, 1, 21)
    x, y = 1e3 * point_at(outline, arc).T
    for words, block, inward in (
        ("neck block", sheet.neck_block, 1e3 * outline.length - x),
        ("tail block", sheet.tail_block, x),
    ):
        gap = np.hypot(np.maximum(inward - block.thickness_mm, 0), np.maximum(np.abs(y) - block.width_mm / 2, 0))
        if gap.min() < BESIDE:
            allowed = f"a place at least {BESIDE:g} mm from the {words}, which stands behind it"
            return [mistake(file, f"{key}.{name}", getattr(port, name), allowed)]
    return []


def _check_bend(file: str, key: str, port: SidePortTable, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """The side is nearly straight across a port: a disc must close it."""
    radius, arc = 5e-4 * port.diameter_mm, port_arc(port, outline)
    ends = arc + np.array([-1, 1]) * (radius + MARGIN)
    sides = sheet.sides
    inward = 1e-3 * (sides.thickness_mm / 2 + (sides.inner_thickness_mm or 0.0))
    a, b = point_at(outline, ends) - inward * normal_at(outline, ends)
    if np.hypot(*(b - a)) >= 2 * radius + MARGIN + 1e-6:
        return []
    allowed = "a smaller port, or a place where the side bends less"
    return [mistake(file, f"{key}.diameter_mm", port.diameter_mm, allowed)]


def check_port_heights(file: str, body: Body) -> list[Mistake]:
    """Mistakes of the ports of a Body that do not lie between its linings, as high as the side is built there."""
    mistakes = []
    linings = [1e3 * max(lining.height, NO_LINING) for lining in (body.lining_top, body.lining_back)]
    for number, port in enumerate(body.side_ports, 1):
        place = port.arc + np.linspace(-1, 1, 21) * (port.radius + 1e-3 * BESIDE / 2)
        x, y = point_at(body.outline, place).T
        top, back = 1e3 * top_height(body, x, y), 1e3 * back_height(body, x, y)
        low = top[10] - top.min() + linings[0] + ROUND_IT
        high = top[10] - back.max() - linings[1] - ROUND_IT
        radius, depth, key = 1e3 * port.radius, 1e3 * port.depth, f"side_port {number}"
        hint = f"{ROUND_IT:g} mm of side must stay between a port and a lining"
        if high - low < 2 * radius + 0.1:
            most = np.floor(max(high - low - 0.1, 0.0))
            allowed = f"at most {most:.0f} mm: the side is {top[10] - back[10]:.0f} mm high there"
            mistakes.append(mistake(file, f"{key}.diameter_mm", 2 * radius, allowed, hint))
        elif not low + radius <= depth <= high - radius:
            least, most = np.ceil(10 * (low + radius)) / 10, np.floor(10 * (high - radius)) / 10
            mistakes.append(mistake(file, f"{key}.below_top_mm", depth, f"{least:g} to {most:g} mm there", hint))
    return mistakes
