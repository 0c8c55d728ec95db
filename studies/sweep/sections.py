"""Sections of a variant in milliseconds: what costs a solid cell is tabulated or fitted over the plan's ranges first.

Plates, braces, blocks and the like are computed for each variant as ever. A kerfed lining, the joints and blocks' edges cost more:
where a plan needs few different ones they are computed for all; else a polynomial in the factors that matter is fitted to
`cells` of them, and the error of the fit is told (each cell left out in turn). Rows solved in full use the cells themselves.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import norm, qmc

from fem.mesh import part_of
from fem.sections import Section, beam, scaled
from fem.woods import LOSSES
from meshes import parts
from meshes.block_root import Yielding, roots_of, yielding
from meshes.body import Body
from meshes.joint_section import Corner, corner_between
from meshes.joints import joint_geometry, joint_of, joint_sections
from meshes.linings import lining_section
from studies.common.builds import STIFFENED, Build
from studies.common.kept import fingerprint
from studies.sweep.design import Coordinate, Value

SLOW = ("lining_top", "lining_back", "joint_top", "joint_back", "edges_neck_block", "edges_tail_block")
EDGES = "edges_"  # of a block, before its name
ROOM = 1.4  # cells for each coefficient of a fit
REACH = 3.0  # standard deviations that a fit covers
Axis = tuple[Coordinate, float, float]  # with the middle and half the range of it
Axes = tuple[Axis, ...]
# section of a lining, corner of a joint, what a block's edges yield; None: a joint that cannot be computed
Slow = Section | Corner | Yielding | None


def sides_and_bars(body: Body) -> dict[str, Section]:
    """Sections of the sides and of the bars on them."""
    lift = body.side_thickness - body.sides[0].thickness / 2
    bars = {
        f"side_bars/{number}": beam(bar.wood, bar.width, bar.thickness, lift)
        for number, bar in enumerate(body.side_bars, 1)
    }
    return {"sides": parts.side_laminate(body.sides), **bars}


CHEAP = (parts.plates, parts.block_layers, parts.braces, parts.bridge, parts.patches, parts.neck, sides_and_bars)


def unchanged(body: Body, others: Iterable[Body]) -> dict[str, dict[str, Section]]:
    """{name of a function of CHEAP: its sections} of those that are the same for a body and all the others."""
    same = {make: make(body) for make in CHEAP}
    for other in others:
        same = {make: s for make, s in same.items() if make(other) == s}
    return {make.__name__: s for make, s in same.items()}


def slow_piece(body: Body, piece: str) -> Slow:
    """Section of a lining, corner of a joint, or what a block's edges yield, as the solids give it."""
    if piece.startswith(EDGES):
        return yielding(roots_of(body, piece.removeprefix(EDGES)))
    place = piece.split("_")[1]
    if piece.startswith("lining"):
        return lining_section(getattr(body, piece), body.sides)
    return joint_of(body, place).corner


def sections_of_piece(body: Body, piece: str, found: Slow) -> dict[str, Section]:
    """{region: Section} of a slow piece; a joint with the body's own loss factor."""
    if isinstance(found, Yielding):
        return parts.block_edges(body, piece.removeprefix(EDGES), found)
    return {piece: found} if isinstance(found, Section) else joint_sections(body, piece.split("_")[1], found)


def inputs(body: Body, piece: str) -> str:
    """What a slow piece depends on: a fingerprint. Corners and edges know no losses."""
    if piece.startswith(EDGES):
        return fingerprint([_unsourced(root) for root in roots_of(body, piece.removeprefix(EDGES))])
    place = piece.split("_")[1]
    if piece.startswith("lining"):
        return fingerprint(_unsourced(getattr(body, piece)), [_unsourced(board) for board in body.sides])
    try:
        return fingerprint(_unsourced(joint_geometry(body, place), *LOSSES))
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
        found = slow_piece(body, piece) if cheap(body, piece) else slow[piece].at(body, piece, point)
        made |= sections_of_piece(body, piece, found)
    if build.stiffness == 1:
        return made
    return {region: scaled(s, build.stiffness) if part_of(region) in STIFFENED else s for region, s in made.items()}


# --- tables and fits ---


@dataclass(frozen=True)
class Tabulated:
    """Slow pieces by the fingerprint of their inputs."""

    by_inputs: dict[str, Slow]

    def at(self, body: Body, piece: str, point: dict[Coordinate, Value]) -> Slow:
        first, *others = self.by_inputs.values()
        return self.by_inputs[inputs(body, piece)] if others else first


@dataclass(frozen=True)
class Fitted:
    """Polynomials in the coordinates that matter."""

    axes: Axes
    powers: np.ndarray  # (terms, d)
    coefficients: np.ndarray  # (terms, values)
    like: Section | Corner | Yielding  # one of those fitted: what the values make
    error: float  # largest, over the values, rms error of cells left out in turn, over the largest value

    def at(self, body: Body, piece: str, point: dict[Coordinate, Value]) -> Slow:
        x = np.array([(float(point[name]) - middle) / half for name, middle, half in self.axes])
        return _unflat(np.prod(x**self.powers, axis=1) @ self.coefficients, self.like)


def _flat(found: Slow) -> np.ndarray:
    """(values,) of a section; of what a corner's springs are split from, which unlike them runs smoothly, and its shares of heat; or of
    what a block's edges yield: both without units.
    """
    if found is None:
        raise ValueError("a joint in the plan's range cannot be made; `rimwork check` of such a sheet tells why")
    if isinstance(found, Corner):
        assert found.beyond is not None
        size, over = found.beyond
        return np.concatenate([np.log(size).ravel(), over.ravel(), found.heat.ravel()])
    if isinstance(found, Yielding):
        a, b, ab = found.bent[:, 0, 0], found.bent[:, 1, 1], found.bent[:, 0, 1]
        return np.concatenate([np.log([a, b, found.slid]).ravel(), ab / np.sqrt(a * b)])
    return np.array([v for values in _groups(found) for v in values.values()])


def _groups(section: Section) -> tuple[dict[str, float], ...]:
    return section.stiffness, section.mass, *(section.losses or {}).values()


def _unflat(values: np.ndarray, like: Section | Corner | Yielding) -> Section | Corner | Yielding:
    if isinstance(like, Yielding):
        *sizes, part = values.reshape(4, -1)
        a, b, slid = np.exp(sizes)
        ab = part * np.sqrt(a * b)
        return Yielding(np.array([[a, ab], [ab, b]]).transpose(2, 0, 1), slid)
    if isinstance(like, Corner):
        assert like.beyond is not None
        shapes = [each.shape for each in (*like.beyond, like.heat)]
        size, over, heat = np.split(values, np.cumsum([np.prod(shape) for shape in shapes])[:-1])
        return corner_between(np.exp(size).reshape(shapes[0]), over.reshape(shapes[1]), heat.reshape(shapes[2]))
    each = iter(values.tolist())
    stiffness, mass, *losses = ({kind: next(each) for kind in group} for group in _groups(like))
    return Section(like.family, stiffness, mass, like.losses and dict(zip(like.losses, losses)))


def _scale(found: Section | Corner | Yielding) -> np.ndarray:
    """(values,) what the error of each value is counted over: one, where the values have no unit."""
    values = _flat(found)
    return np.abs(values) if isinstance(found, Section) else np.ones_like(values)


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


def fit(points: np.ndarray, found: Sequence[Slow], axes: Axes) -> Fitted:
    """Fitted from cells at points (n, d) scaled to -1..1; axes ((coordinate, middle, half range), ...)."""
    powers = powers_of(len(axes), len(points))
    A = np.prod(points[:, None, :] ** powers, axis=2)
    B = np.array([_flat(one) for one in found])
    coefficients = np.linalg.lstsq(A, B, rcond=None)[0]
    left_out = (B - A @ coefficients) / (1 - np.diag(A @ np.linalg.pinv(A)).clip(max=0.999))[:, None]
    made = [one for one in found if one is not None]
    scale = np.max([_scale(one) for one in made], axis=0)
    ends = np.sqrt(np.mean(left_out**2, axis=0))[scale > 0] / scale[scale > 0]
    return Fitted(tuple(axes), powers, coefficients, made[0], float(ends.max(initial=0)))


def cell_points(d: int, cells: int, normal: np.ndarray) -> np.ndarray:
    """(n, d) points at which cells are computed, `cells` of them at most unless a linear fit needs more; columns in `normal`
    (bool (d,)) follow a normal distribution.
    """
    richest = (d * d + 7 * d + 2) // 2  # constant, linear, squares, products, cubes
    n = max(min(cells, int(np.ceil(ROOM * richest))), int(np.ceil(ROOM * (d + 1))))
    u = qmc.LatinHypercube(d, rng=0, optimization="random-cd").random(n)
    wide = norm.ppf(norm.cdf(-REACH) + u * (norm.cdf(REACH) - norm.cdf(-REACH))) / REACH
    return np.where(normal, wide, 2 * u - 1)
