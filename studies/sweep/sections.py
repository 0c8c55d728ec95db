"""Sections of a variant in milliseconds: what costs a solid cell is tabulated or fitted over the plan's ranges first.

Plates, braces, blocks and the like are computed for each variant as ever. A kerfed lining and the joints cost seconds:
where a plan needs few different ones they are computed for all; else a polynomial in the factors that matter is fitted to
`cells` of them, and the error of the fit is told (each cell left out in turn). Rows solved in full use the cells themselves.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import norm, qmc

from fem.mesh import part_of
from fem.sections import RIGID_ROTATION, RIGID_TRANSLATION, Section, beam, joint, scaled
from fem.woods import LOSSES
from meshes import parts
from meshes.body import Body
from meshes.joints import grain_angles, joint_geometry, joint_of
from meshes.linings import lining_section
from studies.common.builds import STIFFENED, Build
from studies.common.kept import fingerprint
from studies.sweep.design import Coordinate, Value

SLOW = ("lining_top", "lining_back", "joint_top", "joint_back")
ROOM = 1.4  # cells for each coefficient of a fit
REACH = 3.0  # standard deviations that a fit covers
Axis = tuple[Coordinate, float, float]  # with the middle and half the range of it
Axes = tuple[Axis, ...]


def sides_and_bars(body: Body) -> dict[str, Section]:
    """Sections of the sides and of the bars on them."""
    lift = body.side_thickness - body.sides[0].thickness / 2
    bars = {
        f"side_bars/{number}": beam(bar.wood, bar.width, bar.thickness, lift)
        for number, bar in enumerate(body.side_bars, 1)
    }
    return {"sides": parts.side_laminate(body.sides), **bars}


CHEAP = (parts.plates, parts.blocks, parts.braces, parts.bridge, parts.patches, parts.neck, sides_and_bars)


def unchanged(body: Body, others: Iterable[Body]) -> dict[str, dict[str, Section]]:
    """{name of a function of CHEAP: its sections} of those that are the same for a body and all the others."""
    same = {make: make(body) for make in CHEAP}
    for other in others:
        same = {make: s for make, s in same.items() if make(other) == s}
    return {make.__name__: s for make, s in same.items()}


def slow_section(body: Body, piece: str) -> Section:
    """Section of a lining or joint as the cells give it."""
    place = piece.split("_")[1]
    if piece.startswith("lining"):
        return lining_section(getattr(body, piece), body.sides)
    return joint_of(body, place).section


def inputs(body: Body, piece: str) -> str:
    """What the section of a lining or joint depends on: a fingerprint. A joint's stiffness knows no losses of the woods, and
    its own loss factor only scales it.
    """
    place = piece.split("_")[1]
    if piece.startswith("lining"):
        return fingerprint(_unsourced(getattr(body, piece)), [_unsourced(board) for board in body.sides])
    try:
        return fingerprint(_unsourced(joint_geometry(body, place), *LOSSES), grain_angles(body, place))
    except ValueError as error:
        return fingerprint(str(error))


def _unsourced(value: Any, *others: str) -> Any:
    """Nested dataclasses as dicts without the sources of woods and the fields `others`, for a fingerprint."""
    if hasattr(value, "__dataclass_fields__"):
        names = [name for name in value.__dataclass_fields__ if name not in ("sources", *others)]
        return {name: _unsourced(getattr(value, name), *others) for name in names}
    return value


def cheap(body: Body, piece: str) -> bool:
    """Whether a piece needs no solid cell."""
    lining = getattr(body, piece) if piece.startswith("lining") else None
    return lining is not None and (
        lining.kind == "none" or (lining.kind == "solid_laminated" and lining.bevel_width is None)
    )


def quick_sections(
    build: Build,
    slow: dict[str, "Tabulated | Fitted"],
    point: dict[Coordinate, Value],
    constant: dict[str, dict[str, Section]],
) -> dict[str, Section]:
    """{region: Section} of a Build.

    slow {piece: Tabulated or Fitted}; point {coordinate: value} of the variant; constant {name of a function of CHEAP: its
    sections} for what the plan does not change.
    """
    body = build.body
    made: dict[str, Section] = {}
    for make in CHEAP:
        made |= constant[make.__name__] if make.__name__ in constant else make(body)
    for piece in SLOW:
        made[piece] = slow_section(body, piece) if cheap(body, piece) else slow[piece].section(body, piece, point)
    if build.stiffness == 1:
        return made
    return {region: scaled(s, build.stiffness) if part_of(region) in STIFFENED else s for region, s in made.items()}


# --- tables and fits ---


@dataclass(frozen=True)
class Tabulated:
    """Sections by the fingerprint of their inputs."""

    by_inputs: dict[str, Section]

    def section(self, body: Body, piece: str, point: dict[Coordinate, Value]) -> Section:
        first, *others = self.by_inputs.values()
        return _with_loss(self.by_inputs[inputs(body, piece)] if others else first, body, piece)


@dataclass(frozen=True)
class Fitted:
    """Polynomials in the coordinates that matter."""

    axes: Axes
    powers: np.ndarray  # (terms, d)
    coefficients: np.ndarray  # (terms, values)
    keys: tuple[tuple[str, str], ...]  # (group, kind) of the values
    family: str
    error: float  # largest, over the values, rms error of cells left out in turn, over the largest value

    def section(self, body: Body, piece: str, point: dict[Coordinate, Value]) -> Section:
        x = np.array([(float(point[name]) - middle) / half for name, middle, half in self.axes])
        values = np.prod(x**self.powers, axis=1) @ self.coefficients
        return _with_loss(_unflat(dict(zip(self.keys, values)), self.family), body, piece)


def _with_loss(section, body, piece):
    """A joint with the body's own loss factor."""
    if section.family != "interface":
        return section
    loss = getattr(body, piece).loss
    return Section("interface", section.stiffness, {}, {"joint": {k: loss * f for k, f in section.stiffness.items()}})


def _flat(section):
    """{(group, kind): value}; a joint by its compliances, which are zero where it is rigid."""
    if section.family == "interface":
        return {("compliance", kind): 1 / k for kind, k in section.stiffness.items()}
    groups = {"stiffness": section.stiffness, "mass": section.mass, **(section.losses or {})}
    return {(group, kind): v for group, values in groups.items() for kind, v in values.items()}


def _unflat(values, family):
    if family == "interface":
        rigid = {"k": RIGID_TRANSLATION, "c": RIGID_ROTATION}
        k = {kind: 1 / max(v, 1 / rigid[kind[0]]) for (_, kind), v in values.items()}
        return joint([k[n] for n in ("kt", "ka", "kb")], [k[n] for n in ("ct", "ca", "cb")])
    groups = {group: {} for group, _ in values}
    for (group, kind), v in values.items():
        groups[group][kind] = v
    return Section(family, groups.pop("stiffness"), groups.pop("mass"), groups or None)


def powers_of(d: int, cells: int) -> np.ndarray:
    """(terms, d) exponents of the richest polynomial that `cells` can carry: linear, with squares, with products."""
    one = np.eye(d, dtype=int)
    products = [one[i] + one[j] for i in range(d) for j in range(i)]
    rows = [np.zeros(d, int), *one]
    for more in (2 * one, products, 3 * one):
        if ROOM * (len(rows) + len(more)) > cells:
            break
        rows += [*more]
    return np.array(rows)


def fit(points: np.ndarray, sections: list[Section], axes: Axes) -> Fitted:
    """Fitted from cells at points (n, d) scaled to -1..1; axes ((coordinate, middle, half range), ...)."""
    powers = powers_of(len(axes), len(points))
    A = np.prod(points[:, None, :] ** powers, axis=2)
    flats = [_flat(s) for s in sections]
    B = np.array([[flat[key] for key in flats[0]] for flat in flats])
    coefficients = np.linalg.lstsq(A, B, rcond=None)[0]
    left_out = (B - A @ coefficients) / (1 - np.diag(A @ np.linalg.pinv(A)).clip(max=0.999))[:, None]
    scale = np.abs(B).max(axis=0)
    ends = np.sqrt(np.mean(left_out**2, axis=0))[scale > 0] / scale[scale > 0]
    return Fitted(tuple(axes), powers, coefficients, tuple(flats[0]), sections[0].family, float(ends.max(initial=0)))


def cell_points(d: int, cells: int, normal: np.ndarray) -> np.ndarray:
    """(n, d) points at which cells are computed, `cells` of them at most unless a linear fit needs more; columns in `normal`
    (bool (d,)) follow a normal distribution.
    """
    richest = (d * d + 7 * d + 2) // 2  # constant, linear, squares, products, cubes
    n = max(min(cells, int(np.ceil(ROOM * richest))), int(np.ceil(ROOM * (d + 1))))
    u = qmc.LatinHypercube(d, rng=0, optimization="random-cd").random(n)
    wide = norm.ppf(norm.cdf(-REACH) + u * (norm.cdf(REACH) - norm.cdf(-REACH))) / REACH
    return np.where(normal, wide, 2 * u - 1)
