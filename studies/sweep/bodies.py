"""From a variant of a plan to its body, without reading the whole sheet again for every variant.

A key that only moves numbers of the body, each in proportion, is quick: its numbers are found by reading the sheet at
both ends and the middle of the factor's range. A key that changes the mesh, or anything else, is remade: the sheet is
read again for each of its values. Both are checked against the sheet read afresh when rows are checked in full.
"""

import copy
from dataclasses import dataclass, fields, is_dataclass, replace

import numpy as np

from fem.woods import library, scattered
from meshes.build import mesh_body
from meshes.sheet import body_of
from studies.common.builds import builds, complete_linings
from studies.common.inputs import BadInput
from studies.common.kept import fingerprint
from studies.sweep.plan import extremes

PROBE = 0.06  # m, mesh on which it is found out whether a key changes the mesh
UNREAD = {
    "sources",
    "assumed",
    "warnings",
    "measured",
    "strings",
    "weather",
}  # fields that no section and no mesh depends on


@dataclass(frozen=True)
class Move:
    """One number of the body that a factor moves: at_zero + slope times the factor's value."""

    path: tuple  # field names and tuple indices
    at_zero: float
    slope: float


@dataclass(frozen=True)
class Moves:
    """How each factor of a plan acts."""

    quick: dict  # {factor: tuple of Move}
    remade: tuple[str, ...]  # factors for which the sheet is read again


def body_at(night, values):
    """Body of the sheet with the factors' values written into it; factors that are not named keep the sheet's own.

    Its linings have every measure that any build needs, so that all builds share one mesh.
    """
    raw = copy.deepcopy(night.raw)
    for factor in night.plan.factor:
        if factor.name not in values:
            continue
        for key in factor.keys:
            value = values[factor.name]
            _write(raw, night.places[key], night.base[key] * value if factor.times else value)
    return complete_linings(body_of(raw, night.sheet.name, night.sheet.parent, library()))[0]


def _write(raw, place, value):
    for part in place[:-1]:
        raw = raw.setdefault(part, {}) if isinstance(raw, dict) else raw[part]
    if str(place[-1]).endswith("_mm"):
        raw.pop(place[-1].removesuffix("_mm") + "_in", None)
    raw[place[-1]] = value


def find_moves(night, body, say=lambda text: None):
    """Moves of the plan's factors; body: that of the sheet as it is.

    A factor that shares a number of the body with an earlier one is remade: what both do together is not known here.
    """
    quick, remade, taken = {}, [], set()
    own = mesh_print(body)
    for factor in night.plan.factor:
        say(f"how '{factor.name}' acts")
        found, bodies = _probed(night, factor, {})
        if found and any(mesh_print(b) != own for b in bodies):
            found = None
        if found is None or taken & {move.path for move in found}:
            remade.append(factor.name)
        else:
            quick[factor.name] = found
            taken |= {move.path for move in found}
    return Moves(quick, tuple(remade))


def moves_at(night, moves, values):
    """The Moves with the quick factors probed again at values {remade factor: value}; None where one is quick no longer."""
    if not values:
        return moves
    factors = [f for f in night.plan.factor if f.name in moves.quick]
    quick = {f.name: _probed(night, f, values)[0] for f in factors}
    return None if None in quick.values() else Moves(quick, moves.remade)


def _probed(night, factor, values):
    """(tuple of Move, or None where it is not quick; the bodies at both ends) of a factor beside the values of others."""
    if (ends := extremes(factor)) is None or night.whole & set(factor.keys):
        return None, ()
    low, high = ends
    bodies = [body_at(night, {**values, factor.name: v}) for v in (low, (low + high) / 2, high)]
    return _moves(*map(leaves, bodies), low, high), (bodies[0], bodies[2])


def same_body(quick, afresh):
    """Whether two bodies agree in all that sections and mesh depend on, numbers to round-off."""
    a, b = leaves(quick), leaves(afresh)
    number = lambda x: isinstance(x, float | int)
    return a.keys() == b.keys() and all(
        abs(a[k] - b[k]) <= 1e-9 * max(abs(a[k]), abs(b[k]), 1e-9)
        if number(a[k]) and number(b[k])
        else _same(a[k], b[k])
        for k in a
    )


def leaves(value, path=()):
    """{path: leaf} of a body: every number, word and array that sections or mesh may depend on."""
    if is_dataclass(value):
        return {
            k: v
            for f in fields(value)
            if f.name not in UNREAD
            for k, v in leaves(getattr(value, f.name), (*path, f.name)).items()
        }
    if isinstance(value, tuple):
        found = {k: v for i, item in enumerate(value) for k, v in leaves(item, (*path, i)).items()}
        return found | {(*path, "length"): len(value)}
    return {path: value}


def _moves(low, middle, high, a, b):
    """Moves (tuple) from three {path: leaf} at a, (a + b) / 2 and b; None where a leaf does not move in proportion."""
    if not low.keys() == middle.keys() == high.keys():
        return None
    found = []
    for path in low:
        x, y, z = low[path], middle[path], high[path]
        if isinstance(x, float | int) and isinstance(z, float | int):
            if x == y == z:
                continue
            slope = (z - x) / (b - a)
            if abs(y - (x + z) / 2) > 1e-9 * max(abs(x), abs(z)):
                return None
            found.append(Move(path, x - slope * a, slope))
        elif not _same(x, y) or not _same(y, z):
            return None
    return tuple(found)


def _same(x, y):
    return np.array_equal(x, y) if isinstance(x, np.ndarray) or isinstance(y, np.ndarray) else x == y


def mesh_print(body, size=PROBE):
    """Fingerprint of the mesh of a body: bodies of the same print share one mesh."""
    return fingerprint_of(mesh_body(body, size))


def fingerprint_of(mesh):
    """Fingerprint of a ShellMesh."""
    return fingerprint(mesh)


def moved(body, moves, values):
    """The body with the quick factors at their values {factor: value}."""
    changes = {m.path: m.at_zero + m.slope * v for name, v in values.items() for m in moves.quick.get(name, ())}
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


def with_draws(body, draws):
    """The body made of other boards: draws {board: (4,)} for fem.woods.scattered."""

    drawn = {}

    def other(part, board):
        if part is None or part.wood is None or board not in draws:
            return part
        if (key := (board, part.wood)) not in drawn:
            drawn[key] = scattered(part.wood, draws[board])
        return replace(part, wood=drawn[key])

    single = ("top", "back", "bridge", "bridge_plate", "lining_top", "lining_back", "neck_block", "tail_block", "neck")
    changes = {name: other(getattr(body, name), name) for name in single if name in draws}
    if "sides" in draws:
        changes["sides"] = tuple(other(layer, "sides") for layer in body.sides)
    if "side_bars" in draws:
        changes["side_bars"] = tuple(other(bar, "side_bars") for bar in body.side_bars)
    if {"top_braces", "back_braces"} & set(draws):
        changes["braces"] = tuple(other(brace, f"{brace.plate}_braces") for brace in body.braces)
    return replace(body, **changes) if changes else body


def rim_build(body, name):
    """The Build of that name for a body from body_at. BadInput where the sheet's own rim already is that build."""
    found = {b.name: b for b in builds(body)}
    if name not in found:
        raise BadInput(
            f"rim.builds: '{name}' is what the sheet builds already, or does not apply to it; "
            f"expected some of: {', '.join(found)}"
        )
    return found[name]


def check_builds(night):
    """BadInput, with the plan's file, for a build of the rim that does not apply to the base sheet."""
    body = body_at(night, {})
    for name in night.plan.rim.builds:
        try:
            rim_build(body, name)
        except BadInput as error:
            raise BadInput(f"{night.path}: {error}") from None


def variant_build(body, moves, variant):
    """The Build of a variant, from the body at its remade factors."""
    return rim_build(with_draws(moved(body, moves, variant.values), variant.draws), variant.rim)
