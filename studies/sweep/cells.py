"""Linings and joints of a night, which cost a solid cell each: which ones its variants need, tabulated or fitted."""

import itertools
from dataclasses import replace

import numpy as np

from studies.sweep.bodies import variant_build
from studies.sweep.design import Variant
from studies.sweep.plan import extremes
from studies.sweep.sections import REACH, SLOW, Tabulated, cell_points, cheap, fit, inputs, slow_section, unchanged


def point_of(plan, variant):
    """{coordinate: value}: a factor by its name, a draw by (board, 0..3); boards of one plank count once."""
    point = {f.name: variant.values[f.name] for f in plan.factor}
    for s in plan.scatter:
        for board in s.boards[: 1 if s.correlation == 1 else None]:
            point |= {(board, k): float(z) for k, z in enumerate(variant.draws[board])}
    return point


def axes_of(plan, moves):
    """((coordinate, middle, half range), ...) of all that varies without remaking the body."""
    found = []
    for f in plan.factor:
        if f.name in moves.quick:
            low, high = extremes(f)
            found.append((f.name, (low + high) / 2, (high - low) / 2))
    for s in plan.scatter:
        boards = s.boards[: 1 if s.correlation == 1 else None]
        found += [((board, k), 0.0, REACH) for board in boards for k in range(4)]
    return tuple(found)


def variant_at(plan, base, axes, x):
    """A Variant like `base` whose coordinates stand at x (d,) in -1..1."""
    values, draws = dict(base.values), {b: np.zeros(4) for s in plan.scatter for b in s.boards}
    for (name, middle, half), t in zip(axes, x):
        if isinstance(name, str):
            values[name] = middle + half * t
        else:
            plank = next((s.boards for s in plan.scatter if s.correlation == 1 and name[0] in s.boards), (name[0],))
            for board in plank:
                draws[board] = draws[board].copy()
                draws[board][name[1]] = half * t
    return Variant(-1, -1, values, draws, base.rim)


def slow_pieces(kit, variants, cells, say):
    """({(values, rim): {piece: Tabulated or Fitted}}, {(values, rim): what does not change}, words on the fits)."""
    plan = kit.night.plan
    axes = axes_of(plan, kit.moves)
    plans, todo, constant = [], [], {}
    for key, rim in dict.fromkeys((kit.ground_key(v), v.rim) for v in variants):
        mine = [v for v in variants if (kit.ground_key(v), v.rim) == (key, rim)]
        body_of = lambda v, key=key: variant_build(kit.grounds[key].body, kit.moves, v).body
        start = body_of(variant_at(plan, mine[0], axes, np.zeros(len(axes))))
        ends = [body_of(variant_at(plan, mine[0], axes, x)) for x in (*np.eye(len(axes)), *-np.eye(len(axes)))]
        constant[key, rim] = unchanged(start, ends)
        for piece in SLOW:
            if cheap(start, piece):
                continue
            say(f"what {piece.replace('_', ' ')} depends on ({rim})")
            job = _job(plan, axes, mine, body_of, start, ends, piece)
            plans.append((key, rim, piece, *job))
            todo += [(body, piece) for body in job[0]]
    found = iter(cells(todo))
    slow, words = {(kit.ground_key(v), v.rim): {} for v in variants}, []
    for key, rim, piece, bodies, points, own in plans:
        sections = list(itertools.islice(found, len(bodies)))
        if points is None:
            slow[key, rim][piece] = Tabulated({inputs(b, piece): s for b, s in zip(bodies, sections)})
        else:
            made = fit(points, sections, own)
            slow[key, rim][piece] = made
            words.append(
                f"{piece.replace('_', ' ')} ({rim}): fitted to {len(bodies)} cells in {len(own)} coordinate{'s' * (len(own) > 1)}, "
                f"off by {100 * made.error:.2g} % of the largest value (rms, each cell left out in turn)"
            )
    return slow, constant, words


def _job(plan, axes, variants, body_of, start, ends, piece):
    """(bodies whose cells are needed, points or None for a table, axes that matter)."""
    own, name = [], inputs(start, piece)
    for axis, low, high in zip(axes, ends, ends[len(axes) :]):
        if any(inputs(body, piece) != name for body in (low, high)):
            own.append(axis)
    if plan.accuracy.cells == 1:
        middle = variant_at(plan, variants[0], axes, np.zeros(len(axes)))
        return [body_of(replace(middle, draws={}))], None, own
    names = [axis[0] for axis in own]
    distinct = {}
    for v in variants:
        point = point_of(plan, v)
        distinct.setdefault(tuple(point[n] for n in names), v)
        if len(distinct) > plan.accuracy.cells:
            break
    if len(distinct) <= plan.accuracy.cells:
        return [body_of(v) for v in distinct.values()], None, own
    points = cell_points(len(own), plan.accuracy.cells, np.array([not isinstance(n, str) for n in names]))
    return [body_of(variant_at(plan, variants[0], own, x)) for x in points], points, own


class Cells:
    """Computes sections of linings and joints; given to the workers."""

    def work(self, item):
        """Section of (body, piece)."""
        return slow_section(*item)
