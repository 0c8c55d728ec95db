"""Linings and joints of a sweep, which cost a solid cell each: which ones its variants need, tabulated or fitted."""

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fem.sections import Section
from meshes.body import Body
from studies.sweep.design import Variant, point_of
from studies.sweep.fields import Plan
from studies.sweep.kit import Kit, Where
from studies.sweep.maps import ParameterMaps
from studies.sweep.sections import (
    REACH,
    SLOW,
    Axes,
    Axis,
    Fitted,
    Tabulated,
    cell_points,
    cheap,
    fit,
    inputs,
    slow_section,
    unchanged,
)

SlowPiece = tuple[Body, str]  # a body and its lining or joint that costs a solid cell


def axes_of(plan: Plan, maps: ParameterMaps) -> Axes:
    """((coordinate, middle, half range), ...) of all that varies without remaking the body."""
    axes: list[Axis] = []
    for f in plan.factor:
        if f.name in maps.quick and f.range:
            low, high = f.range
            axes.append((f.name, (low + high) / 2, (high - low) / 2))
    for s in plan.scatter:
        boards = s.boards[: 1 if s.correlation == 1 else None]
        axes += [((board, k), 0.0, REACH) for board in boards for k in range(4)]
    return tuple(axes)


def variant_at(plan: Plan, base: Variant, axes: Axes, x: np.ndarray) -> Variant:
    """A Variant like `base` whose coordinates stand at x (d,) in -1..1."""
    values = dict(base.values)
    draws: dict[str, np.ndarray] = {b: np.zeros(4) for s in plan.scatter for b in s.boards}
    for (name, middle, half), t in zip(axes, x):
        if isinstance(name, str):
            values[name] = middle + half * t
        else:
            plank = next((s.boards for s in plan.scatter if s.correlation == 1 and name[0] in s.boards), (name[0],))
            for board in plank:
                draws[board] = draws[board].copy()
                draws[board][name[1]] = half * t
    return Variant(-1, -1, values, draws, base.rim)


def slow_pieces(
    kit: Kit, variants: list[Variant], cells: Callable[[list[SlowPiece]], list[Section]], say: Callable[[str], None]
) -> tuple[dict[Where, dict[str, Tabulated | Fitted]], dict[Where, dict[str, dict[str, Section]]], list[str]]:
    """({(values, rim): {piece: Tabulated or Fitted}}, {(values, rim): what does not change}, words on the fits)."""
    plan = kit.sweep.plan
    axes = axes_of(plan, kit.maps)
    plans, todo, constant = [], [], {}
    for key, rim in dict.fromkeys((kit.remade(v), v.rim) for v in variants):
        mine = [v for v in variants if (kit.remade(v), v.rim) == (key, rim)]
        start = kit.body(variant_at(plan, mine[0], axes, np.zeros(len(axes))))
        ends = [kit.body(variant_at(plan, mine[0], axes, x)) for x in (*np.eye(len(axes)), *-np.eye(len(axes)))]
        constant[key, rim] = unchanged(start, ends)
        for piece in SLOW:
            if cheap(start, piece):
                continue
            say(f"what {piece.replace('_', ' ')} depends on ({rim})")
            job = _job(kit, axes, mine, start, ends, piece)
            plans.append((key, rim, piece, *job))
            todo += [(body, piece) for body in job[0]]
    made = iter(cells(todo))
    slow: dict[Where, dict[str, Tabulated | Fitted]] = {(kit.remade(v), v.rim): {} for v in variants}
    words = []
    for key, rim, piece, bodies, points, own in plans:
        sections = list(itertools.islice(made, len(bodies)))
        if points is None:
            slow[key, rim][piece] = Tabulated({inputs(b, piece): s for b, s in zip(bodies, sections)})
        else:
            fitted = fit(points, sections, own)
            slow[key, rim][piece] = fitted
            words.append(
                f"{piece.replace('_', ' ')} ({rim}): fitted to {len(bodies)} cells in {len(own)} coordinate{'s' * (len(own) > 1)}, "
                f"off by {100 * fitted.error:.2g} % of the largest value (rms, each cell left out in turn)"
            )
    return slow, constant, words


def _job(kit, axes, variants, start, ends, piece):
    """(bodies whose cells are needed, points or None for a table, axes that matter)."""
    plan, own, name = kit.sweep.plan, [], inputs(start, piece)
    for axis, low, high in zip(axes, ends, ends[len(axes) :]):
        if any(inputs(body, piece) != name for body in (low, high)):
            own.append(axis)
    if plan.accuracy.cells == 1:
        middle = variant_at(plan, variants[0], axes, np.zeros(len(axes)))
        return [kit.body(replace(middle, draws={}))], None, own
    names = [axis[0] for axis in own]
    distinct = {}
    for v in variants:
        point = point_of(plan, v)
        distinct.setdefault(tuple(point[n] for n in names), v)
        if len(distinct) > plan.accuracy.cells:
            break
    if len(distinct) <= plan.accuracy.cells:
        return [kit.body(v) for v in distinct.values()], None, own
    points = cell_points(len(own), plan.accuracy.cells, np.array([not isinstance(n, str) for n in names]))
    return [kit.body(variant_at(plan, variants[0], own, x)) for x in points], points, own


class Cells:
    """Computes sections of linings and joints; given to the workers."""

    def work(self, item: tuple[int, SlowPiece]) -> Section:
        """Section of (its number, (body, piece))."""
        return slow_section(*item[1])
