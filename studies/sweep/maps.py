"""How a plan's factors act on the body, so that not every variant reads the whole sheet again.

A key that only sets numbers of the body, each along a straight line, is quick: its numbers are found by reading the sheet at
both ends and the middle of the factor's range. A key that changes the mesh, or anything else, is remade: the sheet is
read again for each of its values. Both are checked against the sheet read afresh when rows are checked in full.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np

from meshes.body import Body
from meshes.build import mesh_body
from studies.common.builds import Build
from studies.common.kept import fingerprint
from studies.sweep.bodies import body_at, rim_build, with_draws
from studies.sweep.design import Value, Variant
from studies.sweep.fields import Factor
from studies.sweep.plan import Sweep

Say = Callable[[str], None]
Path = tuple[str | int, ...]
PROBE = 0.06  # m, mesh on which it is found out whether a key changes the mesh
UNREAD = {"sources", "assumed", "warnings", "measured", "strings", "weather"}  # no section and no mesh depends on them


@dataclass(frozen=True)
class ParameterMap:
    """One number of the body as a factor sets it: at_zero + slope times the factor's value."""

    path: Path  # field names and tuple indices
    at_zero: float
    slope: float


@dataclass(frozen=True)
class ParameterMaps:
    """How each factor of a plan acts on the body."""

    quick: dict[str, tuple[ParameterMap, ...]]  # {factor: the numbers that it sets}
    remade: tuple[str, ...]  # factors for which the sheet is read again


def parameter_maps(sweep: Sweep, body: Body, say: Say = lambda text: None) -> ParameterMaps:
    """ParameterMaps of the plan's factors; body: that of the sheet as it is.

    A factor that shares a number of the body with an earlier one is remade: what both do together is not known here.
    """
    quick, remade = {}, []
    taken: set[Path] = set()
    own = mesh_print(body)
    for factor in sweep.plan.factor:
        say(f"how '{factor.name}' acts")
        maps, bodies = _probed(sweep, factor, {})
        if maps and any(mesh_print(b) != own for b in bodies):
            maps = None
        if maps is None or taken & {one.path for one in maps}:
            remade.append(factor.name)
        else:
            quick[factor.name] = maps
            taken |= {one.path for one in maps}
    return ParameterMaps(quick, tuple(remade))


def maps_at(sweep: Sweep, maps: ParameterMaps, values: dict[str, Value]) -> ParameterMaps | None:
    """The maps with the quick factors probed again at values {remade factor: value}; None where one is quick no longer."""
    if not values:
        return maps
    quick = {}
    for factor in sweep.plan.factor:
        if factor.name in maps.quick:
            if (probed := _probed(sweep, factor, values)[0]) is None:
                return None
            quick[factor.name] = probed
    return ParameterMaps(quick, maps.remade)


def _probed(
    sweep: Sweep, factor: Factor, values: dict[str, Value]
) -> tuple[tuple[ParameterMap, ...] | None, tuple[Body, ...]]:
    """(maps, or None where it is not quick; the bodies at both ends) of a factor beside the values of others."""
    if (ends := factor.range) is None or sweep.whole & set(factor.keys):
        return None, ()
    low, high = ends
    bodies = [body_at(sweep, {**values, factor.name: v}) for v in (low, (low + high) / 2, high)]
    first, middle, last = map(leaves, bodies)
    return _linear(first, middle, last, low, high), (bodies[0], bodies[2])


def same_body(quick: Body, afresh: Body) -> bool:
    """Whether two bodies agree in all that sections and mesh depend on, numbers to round-off."""
    a, b = leaves(quick), leaves(afresh)
    return a.keys() == b.keys() and all(_same(a[k], b[k]) for k in a)


def leaves(value: Any, path: Path = ()) -> dict[Path, Any]:
    """{path: leaf} of a body (or what lies in one): every number, word and array that sections or mesh may depend on."""
    if is_dataclass(value):
        inner: dict[str | int, Any] = {f.name: getattr(value, f.name) for f in fields(value) if f.name not in UNREAD}
    elif isinstance(value, tuple):
        inner = {**dict(enumerate(value)), "length": len(value)}
    else:
        return {path: value}
    return {k: v for name, item in inner.items() for k, v in leaves(item, (*path, name)).items()}


def _linear(low, middle, high, a, b):
    """Maps (tuple) from three {path: leaf} at a, (a + b) / 2 and b; None where a leaf does not follow a straight line."""
    if not low.keys() == middle.keys() == high.keys():
        return None
    maps = []
    for path in low:
        x, y, z = low[path], middle[path], high[path]
        if _number(x) and _number(z):
            if x == y == z:
                continue
            slope = (z - x) / (b - a)
            if abs(y - (x + z) / 2) > 1e-9 * max(abs(x), abs(z)):
                return None
            maps.append(ParameterMap(path, x - slope * a, slope))
        elif not _same(x, y) or not _same(y, z):
            return None
    return tuple(maps)


def _number(x):
    return isinstance(x, float | int)


def _same(x, y):
    if _number(x) and _number(y):
        return abs(x - y) <= 1e-9 * max(abs(x), abs(y), 1e-9)
    return np.array_equal(x, y) if isinstance(x, np.ndarray) or isinstance(y, np.ndarray) else x == y


def mesh_print(body: Body, size: float = PROBE) -> str:
    """Fingerprint of the mesh of a body: bodies of the same print share one mesh."""
    return fingerprint(mesh_body(body, size))


def with_values(body: Body, maps: ParameterMaps, values: dict[str, Value]) -> Body:
    """The body with the quick factors at their values {factor: value}; words are of remade ones."""
    quick = {name: maps.quick[name] for name in values if name in maps.quick}
    changes = {m.path: m.at_zero + m.slope * float(values[name]) for name, all_of in quick.items() for m in all_of}
    return _put(body, changes) if changes else body


def _put(value, changes):
    """A copy of nested dataclasses and tuples with leaves {path: new value} replaced."""
    if () in changes:
        return changes[()]
    below = {}
    for path, new in changes.items():
        below.setdefault(path[0], {})[path[1:]] = new
    if isinstance(value, tuple):
        return tuple(_put(item, below[i]) if i in below else item for i, item in enumerate(value))
    return replace(value, **{name: _put(getattr(value, name), inner) for name, inner in below.items()})


def variant_build(body: Body, maps: ParameterMaps, variant: Variant) -> Build:
    """The Build of a variant, from the body at its remade factors."""
    return rim_build(with_draws(with_values(body, maps, variant.values), variant.draws), variant.rim)
