"""Linings and joints of a sweep, which cost a solid cell each: which ones its variants need, tabulated or fitted."""

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fem.sections import Section
from fem.woods import DRAWN
from meshes.body import Body
from studies.sweep.design import Variant, Where, point_of
from studies.sweep.fields import Plan
from studies.sweep.kit import Kit
from studies.sweep.maps import ParameterMaps
from studies.sweep.sections import (
    REACH,
    SLOW,
    Axes,
    Axis,
    Fitted,
    Slow,
    Tabulated,
    cell_points,
    cheap,
    fit,
    inputs,
    slow_piece,
    unchanged,
)

SlowPiece = tuple[Body, str]  # a body and its lining or joint that costs a solid cell


def axes_of(plan: Plan, maps: ParameterMaps) -> Axes:
    """((coordinate, middle, half range), ...) of all that varies without remaking the body."""
    ranges = {f.name: f.range for f in plan.factor if f.name in maps.quick and f.range}
    axes: list[Axis] = [(name, (low + high) / 2, (high - low) / 2) for name, (low, high) in ranges.items()]
    boards = [board for s in plan.scatter for board, *_ in s.planks]
    return (*axes, *(((board, k), 0.0, REACH) for board in boards for k in range(DRAWN)))


def variant_at(plan: Plan, base: Variant, axes: Axes, x: np.ndarray) -> Variant:
    """A Variant like `base` whose coordinates stand at x (d,) in -1..1."""
    values = dict(base.values)
    draws: dict[str, np.ndarray] = {b: np.zeros(DRAWN) for s in plan.scatter for b in s.boards}
    planks = {plank[0]: plank for s in plan.scatter for plank in s.planks}
    for (name, middle, half), t in zip(axes, x):
        if isinstance(name, str):
            values[name] = middle + half * t
        else:
            for board in planks[name[0]]:
                draws[board][name[1]] = half * t
    return Variant(-1, -1, values, draws, base.rim)


def slow_pieces(
    kit: Kit, variants: list[Variant], cells: Callable[[list[SlowPiece]], list[Slow]], say: Callable[[str], None]
) -> tuple[dict[Where, dict[str, Tabulated | Fitted]], dict[Where, dict[str, dict[str, Section]]], list[str]]:
    """({(values, rim): {piece: Tabulated or Fitted}}, {(values, rim): what does not change}, words on the fits)."""
    plan = kit.sweep.plan
    axes = axes_of(plan, kit.maps)
    jobs, constant = [], {}
    of_place: dict[Where, list[Variant]] = {}
    for v in variants:
        of_place.setdefault((kit.remade(v), v.rim), []).append(v)
    for where, mine in of_place.items():
        corners = np.vstack([np.zeros(len(axes)), np.eye(len(axes)), -np.eye(len(axes))])
        start, *ends = (kit.build(variant_at(plan, mine[0], axes, x)).body for x in corners)
        constant[where] = unchanged(start, ends)
        for piece in SLOW:
            if not cheap(start, piece):
                say(f"what {piece.replace('_', ' ')} depends on ({where[1]})")
                name = inputs(start, piece)
                pairs = zip(axes, ends, ends[len(axes) :])
                own = tuple(a for a, *bodies in pairs if any(inputs(b, piece) != name for b in bodies))
                jobs.append((where, piece, own, *_bodies(kit, mine, axes, own)))
    made = iter(cells([(body, piece) for _, piece, _, bodies, _ in jobs for body in bodies]))
    slow: dict[Where, dict[str, Tabulated | Fitted]] = {where: {} for where in of_place}
    words = []
    for where, piece, own, bodies, points in jobs:
        found = list(itertools.islice(made, len(bodies)))
        if points is None:
            slow[where][piece] = Tabulated({inputs(b, piece): s for b, s in zip(bodies, found)})
        else:
            slow[where][piece] = fitted = fit(points, found, own)
            words.append(
                f"{piece.replace('_', ' ')} ({where[1]}): fitted to {len(bodies)} cells in {len(own)} coordinate{'s' * (len(own) > 1)}, "
                f"off by {100 * fitted.error:.2g} % of the largest value (rms, each cell left out in turn)"
            )
    return slow, constant, words


def _bodies(kit, variants, axes, own):
    """(bodies whose cells are needed, points of a fit or None for a table); own: those of the axes that matter."""
    plan, most = kit.sweep.plan, kit.sweep.plan.accuracy.cells
    at = lambda axes, x: variant_at(plan, variants[0], axes, x)
    if most == 1:
        return [kit.build(replace(at(axes, np.zeros(len(axes))), draws={})).body], None
    distinct = {}
    for v in variants:
        point = point_of(plan, v)
        distinct.setdefault(tuple(point[name] for name, *_ in own), v)
        if len(distinct) > most:
            break
    else:
        return [kit.build(v).body for v in distinct.values()], None
    points = cell_points(len(own), most, np.array([not isinstance(name, str) for name, *_ in own]))
    return [kit.build(at(own, x)).body for x in points], points


class Cells:
    """Computes sections of linings and corners of joints; given to the workers."""

    def work(self, item: tuple[int, SlowPiece]) -> Slow:
        """What the cell gives of (its number, (body, piece))."""
        return slow_piece(*item[1])
