"""What a lining adds to the side it is glued to: one kerf period of side strip and lining as orthotropic solid.

Axes: x along the rim, y up the height of the lining, z through the thickness, ZERO AT THE MIDDLE SURFACE OF THE SIDE
AND POSITIVE TOWARD THE INSIDE of the body. Wood L lies along x, R along y, T along z, in side and lining.

The lining's terms are those of the laminate 'side + lining' minus the side alone, per unit area of the side, for a
strip of the shell as high as the lining. 'side + lining' comes from a plate cell: periodic along x, uniform along y,
given the strains eps + z kappa of a plate plus a periodic displacement. A strip of finite height with free edges, made
of solid elements, agrees with that laminate in stretch and both bendings within 1.5 %; in twist it tells the transverse
shear stiffness along the rim, which a plate cell does not hold.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from fem.materials import SHEAR_FACTOR, Wood
from fem.sections import Layer, difference, laminate
from fem.solid import (
    Cell,
    Solid,
    boxes,
    completed,
    graded,
    homogenised,
    quadratic_form,
    rectangles,
    solid,
    solid_losses,
    solid_stiffness,
)
from fem.strips import shear_along, side_by_side
from meshes import cell_cache
from meshes.source_hash import source_hash

PLATE_KINDS = ("11", "12", "22", "66")
PLATE_ROWS = {"A": (0, 0), "B": (0, 3), "D": (3, 3)}  # where A, B, D lie among eps 11, 22, 12, kappa 11, 22, 12


@dataclass(frozen=True)
class KerfCell:
    """One kerf period of side and lining; SI. web = lining_width or kerf_width = 0: a solid lining."""

    side_thickness: float  # m
    side_wood: Wood
    lining_width: float  # m, along z, at the glued-to-plate edge
    lining_height: float  # m, along y
    lining_wood: Wood
    kerf_spacing: float  # m, the period
    kerf_width: float  # m
    web: float  # m, wood left under the kerf
    kerf_side: str = "inside"  # where kerfs open: 'inside' = web glued to the side; 'side' = reversed, web inside
    bevel_width: float | None = None  # m, width left at the free edge; None: rectangular
    bevel_height: float | None = None  # m, height over which the width falls to bevel_width; None: the whole height

    def __post_init__(self) -> None:
        for name in ("side_thickness", "lining_width", "lining_height", "kerf_spacing"):
            if not (np.isfinite(getattr(self, name)) and getattr(self, name) > 0):
                raise ValueError(f"lining: {name} = {getattr(self, name)} m; expected a positive length")
        upper = {"kerf_width": 0.9 * self.kerf_spacing, "web": self.lining_width}
        upper |= {"bevel_width": self.lining_width} if self.bevel_width is not None else {}
        upper |= {"bevel_height": self.lining_height} if self.bevel_height is not None else {}
        lower = {"bevel_width": max(self.web, 0.1 * self.lining_width) if self.kerfed else 0.1 * self.lining_width}
        for name, top in upper.items():
            value, low = getattr(self, name), lower.get(name, 0)
            if not low <= value <= top:
                raise ValueError(
                    f"lining: {name} = {value * 1e3:g} mm; expected between {low * 1e3:g} and {top * 1e3:g} mm"
                )
        if self.kerf_side not in ("inside", "side"):
            raise ValueError(f"lining: kerf_side = '{self.kerf_side}'; expected 'inside' or 'side'")

    @property
    def kerfed(self) -> bool:
        return self.kerf_width > 0 and self.web < self.lining_width

    def bevel(self) -> tuple[float, float]:
        """Height of the bevelled part [m] and its width at the free edge [m]."""
        if self.bevel_width is None:
            return 0.0, self.lining_width
        return self.lining_height if self.bevel_height is None else self.bevel_height, self.bevel_width

    def width_at(self, y: float | np.ndarray) -> float | np.ndarray:
        """Width [m] at the height y (array) from the free edge."""
        height, width = self.bevel()
        fall = np.clip(1 - y / height, 0, 1) if height > 0 else 0 * y
        return self.lining_width + (width - self.lining_width) * fall

    def slices(self) -> list[tuple[float, float]]:
        """[(share of the height, width [m])] that stand for the lining: one, or Gauss points over the bevel."""
        height, _ = self.bevel()
        share = height / self.lining_height
        if share == 0:
            return [(1.0, self.lining_width)]
        t, w = np.polynomial.legendre.leggauss(4)
        bevelled = [(float(share * weight / 2), float(self.width_at(height * (1 + s) / 2))) for s, weight in zip(t, w)]
        return bevelled + ([(1 - share, self.lining_width)] if share < 1 else [])


def _grid(
    cell: KerfCell, width: float, fine: float, coarse: float, growth: float
) -> tuple[np.ndarray, np.ndarray, Callable[[np.ndarray, np.ndarray], np.ndarray]]:
    """Grid lines along x and z, and filled(x, z): where there is wood; lines crowd at the roots of the kerf."""
    p, k, t = cell.kerf_spacing, cell.kerf_width if cell.kerfed else 0.0, cell.side_thickness
    inside = cell.kerf_side == "inside"
    root = t / 2 + (cell.web if inside else width - cell.web)
    cuts_x = (0, (p - k) / 2, (p + k) / 2, p) if cell.kerfed else (0, p)
    cuts_z = (-t / 2, t / 2, root, t / 2 + width) if cell.kerfed else (-t / 2, t / 2, t / 2 + width)
    focus_x = ("b", "ab", "a") if cell.kerfed else ("a",)
    focus_z = ("b", "ab", "a" if inside else "ab") if cell.kerfed else ("b", "a")
    x, z = (
        _distinct(np.concatenate([graded(a, b, fine, coarse, growth, f) for a, b, f in zip(cuts, cuts[1:], focus)]))
        for cuts, focus in ((cuts_x, focus_x), (cuts_z, focus_z))
    )

    def filled(x: np.ndarray, z: np.ndarray) -> np.ndarray:
        kerf = (abs(x - p / 2) < k / 2) & ((z > root) if inside else ((z > t / 2) & (z < root)))
        return ~kerf

    return x, z, filled


def _distinct(lines: np.ndarray) -> np.ndarray:
    """Sorted grid lines; those that differ by round-off only are one: else a row of elements without thickness appears."""
    lines = np.sort(lines)
    return lines[np.r_[True, np.diff(lines) > 1e-9]]


def _woods(cell: KerfCell, body: Solid) -> tuple[np.ndarray, dict[str, np.ndarray] | None]:
    """C of each element of the body, and its losses {channel: C}, or None where a loss factor is not known."""
    in_side = (body.middles[:, 2] < cell.side_thickness / 2)[:, None, None]

    def pick(side: np.ndarray, lining: np.ndarray) -> np.ndarray:
        return np.where(in_side, side, lining)

    C = pick(solid_stiffness(cell.side_wood), solid_stiffness(cell.lining_wood))
    side, lining = solid_losses(cell.side_wood), solid_losses(cell.lining_wood)
    losses = None if side is None or lining is None else {c: pick(side[c], lining[c]) for c in side}
    return C, losses


def plate_cell(
    cell: KerfCell, width: float | None = None, glued: bool = True
) -> tuple[np.ndarray, dict[str, np.ndarray] | None]:
    """Laminate 'side + lining' of a given lining width: stiffness (6, 6) about the side's middle surface, losses.

    Order eps_11, eps_22, eps_12, kappa_11, kappa_22, kappa_12; A [N/m], B [N], D [N m]. losses: {channel: (6, 6)} of
    loss factor times stiffness, or None. glued=False: the lining alone, not glued to anything, same axes.
    """
    body, _, losses, homogeneous = solve_plate_cell(cell, width, glued)
    lost = losses and {
        c: quadratic_form(body.weight, homogeneous.strains, g) / cell.kerf_spacing for c, g in losses.items()
    }
    return homogeneous.stiffness, lost


def solve_plate_cell(
    cell: KerfCell, width: float | None = None, glued: bool = True
) -> tuple[Solid, np.ndarray, dict[str, np.ndarray] | None, Cell]:
    """The cell behind plate_cell: Solid in the plane x, z, C and losses of its elements, Cell of the six strains."""
    width = cell.lining_width if width is None else width
    if not glued and cell.kerfed and cell.web == 0:
        raise ValueError("lining: web = 0 mm; nothing holds the blocks of a lining that is not glued to a side")
    fine = max(cell.lining_width / 60, cell.kerf_spacing / 200)
    x, z, filled = _grid(cell, width, fine, 8 * fine, growth=1.5)
    if not glued:
        z = z[z > cell.side_thickness / 2 - 1e-9]
    body = solid(rectangles(x, z, filled), axes=(0, 2))
    C, losses = _woods(cell, body)
    given = np.zeros((*body.weight.shape, 6, 6))
    for column, row in enumerate((0, 1, 5)):
        given[:, :, row, column] = 1
        given[:, :, row, column + 3] = body.where[..., 2]
    return body, C, losses, homogenised(body, C, given, size=cell.kerf_spacing)


def strip_solid(
    cell: KerfCell, periods: int = 1, fine: float | None = None, layers: int = 4
) -> tuple[Solid, np.ndarray]:
    """Solid of a strip as high as the lining, with free edges, and the C of its elements; y = 0 at half height."""
    fine = max(cell.lining_width / 14, cell.kerf_spacing / 40) if fine is None else fine
    x, z, filled = _grid(cell, cell.lining_width, fine, 4 * fine, growth=1.7)
    p, h, t = cell.kerf_spacing, cell.lining_height, cell.side_thickness
    bevel, _ = cell.bevel()
    y = np.linspace(0, h, layers + 1)
    if 0 < bevel < h:
        lower = min(max(1, round(layers * bevel / h)), layers - 1)
        y = np.unique([*np.linspace(0, bevel, lower + 1), *np.linspace(bevel, h, layers - lower + 1)])
    x = np.unique(np.concatenate([x[:-1] + i * p for i in range(periods)] + [[periods * p]]).round(12))
    mesh = boxes(x, y, z, lambda x, y, z: filled(x % p, z))
    px, py, pz = mesh.p
    web = cell.web if cell.kerfed else 0.0
    low = t / 2 + (web if cell.kerf_side == "inside" else 0.0)  # only between low and high does the bevel shrink z
    high = low + cell.lining_width - web
    shrink = (cell.width_at(py) - web) / max(cell.lining_width - web, 1e-12)
    moved = np.where(pz <= low, pz, low + (np.minimum(pz, high) - low) * shrink + np.maximum(pz - high, 0))
    body = solid(type(mesh)(np.array([px, py - h / 2, moved]), mesh.t))
    return body, _woods(cell, body)[0]


def strip_cell(cell: KerfCell, layers: int = 4) -> np.ndarray:
    """(4, 4) of a strip of lining height with free edges, periodic up to a rigid motion of its section.

    Order: stretch [N], bending with strain z kappa, bending with strain y kappa [N m2], twist per length [N m2]; about
    the side's middle surface at half the height.
    """
    body, C = strip_solid(cell, layers=layers)
    y, z = body.where[..., 1], body.where[..., 2]
    given = np.zeros((*z.shape, 6, 4))
    given[:, :, 0, 0], given[:, :, 0, 1], given[:, :, 0, 2] = 1, z, y
    given[:, :, 5, 3], given[:, :, 4, 3] = -z, y
    return homogenised(body, C, given, size=cell.kerf_spacing, twist_free=True).stiffness


def side_and_lining(cell: KerfCell) -> tuple[np.ndarray, dict[str, np.ndarray] | None]:
    """Laminate of side + lining over the lining's height, (6, 6) and losses as plate_cell, bevel averaged."""
    return side_by_side([(share, *plate_cell(cell, width)) for share, width in cell.slices()])


@dataclass(frozen=True)
class LiningTerms:
    """What the lining adds to the side, per area, about the side's middle surface, z POSITIVE TOWARD THE INSIDE."""

    stiffness: dict[str, float]  # A11 A12 A22 A66 [N/m], B.. [N], D.. [N m], S44 S55 [N/m]
    mass: dict[str, float]  # m0 [kg/m2], m1 [kg/m], m2 [kg]: areal density and its moments
    losses: dict[str, dict[str, float]] | None  # {'along', 'across', 'shear': as stiffness}, times loss factor


def _entries(ABD: np.ndarray) -> dict[str, float]:
    return {f"{X}{ij}": float(ABD[a + i, b + j]) for X, (a, b) in PLATE_ROWS.items() for ij, i, j in _indices()}


def _indices() -> list[tuple[str, int, int]]:
    return [(ij, i, j) for ij, i, j in zip(PLATE_KINDS, (0, 0, 1, 2), (0, 1, 1, 2))]


def lining_laminate(cell: KerfCell) -> dict[str, float]:
    """{A11 ... D66: value}: laminate of side + lining minus the side alone, about the side's middle surface."""
    return {kind: f for kind, f in lining_terms(cell).stiffness.items() if kind[0] in "ABD"}


@cache
def lining_terms(cell: KerfCell) -> LiningTerms:
    """LiningTerms of a KerfCell; the result is kept on disk by geometry and wood (see cell_cache).

    S55 is that with which the strip twists as its solid does, less the side's own 5/6 G_LT t, and not below zero (so a
    lining with hardly any web comes out too stiff in twist: 22 % without web); S44 is 5/6 G_RT times the mean thickness
    of lining (the blocks act beside each other).
    """
    name = "kerf_cell-" + cell_cache.key(cell, source_hash("meshes.kerf_cell"))
    terms = cell_cache.recall(name, _accept)
    if terms is None:
        terms = _compute(cell)
        cell_cache.keep(name, {"stiffness": terms.stiffness, "mass": terms.mass, "losses": terms.losses})
    return terms


def _accept(stored: dict) -> LiningTerms:
    """LiningTerms from a stored object; raises where it is not whole."""
    kinds = {X + ij for X in PLATE_ROWS for ij in PLATE_KINDS} | {"S44", "S55"}
    tables = [stored["stiffness"], *(stored["losses"] or {}).values()]
    if any(set(table) != kinds for table in tables) or set(stored["mass"]) != {"m0", "m1", "m2"}:
        raise ValueError("stored cell is not whole")
    if not all(np.isfinite(float(v)) for table in [*tables, stored["mass"]] for v in table.values()):
        raise ValueError("stored cell has numbers that are not finite")
    return LiningTerms(stored["stiffness"], stored["mass"], stored["losses"])


def _compute(cell: KerfCell) -> LiningTerms:
    side = laminate([Layer(cell.side_wood, cell.side_thickness)])
    ABD, lost = side_and_lining(cell)
    wood = completed(cell.lining_wood)
    thickness = sum(share * filled_thickness(cell, width) for share, width in cell.slices())
    limit = side.stiffness["S55"] + SHEAR_FACTOR * wood.G_LT * sum(share * width for share, width in cell.slices())
    S55 = shear_along(ABD, strip_cell(cell)[3, 3], cell.lining_height, limit)
    shear = {"S55": max(0.0, S55 - side.stiffness["S55"]), "S44": SHEAR_FACTOR * wood.G_RT * thickness}

    def added(matrix: np.ndarray, minus: Mapping[str, float]) -> dict[str, float]:
        return {kind: f - minus[kind] for kind, f in _entries(matrix).items()}

    stiffness = added(ABD, side.stiffness) | shear
    losses = None
    if lost is not None and side.losses is not None and wood.loss_G is not None:
        losses = {c: added(g, side.losses[c]) | dict.fromkeys(shear, 0.0) for c, g in lost.items()}
        losses["shear"] |= {kind: wood.loss_G * f for kind, f in shear.items()}
    return LiningTerms(stiffness, _mass(cell), losses)


def filled_thickness(cell: KerfCell, width: float) -> float:
    """Volume of wood per area of side [m] of a lining of that width."""
    return width - (width - cell.web) * cell.kerf_width / cell.kerf_spacing if cell.kerfed else width


def _mass(cell: KerfCell) -> dict[str, float]:
    """m0, m1, m2 of the wood left after kerfing."""

    def moment(k: int, a: float, b: float) -> float:
        return (b ** (k + 1) - a ** (k + 1)) / (k + 1)

    mass = dict.fromkeys(("m0", "m1", "m2"), 0.0)
    gap = cell.kerf_width / cell.kerf_spacing if cell.kerfed else 0.0
    for share, width in cell.slices():
        face = cell.side_thickness / 2
        kerf = (face + cell.web, face + width) if cell.kerf_side == "inside" else (face, face + width - cell.web)
        for k in (0, 1, 2):
            filled = moment(k, face, face + width) - gap * moment(k, *kerf)
            mass[f"m{k}"] += float(share * cell.lining_wood.density * filled)
    return mass


def solid_lining_laminate(
    side_wood: Wood,
    side_thickness: float,
    lining_wood: Wood,
    laminations: int,
    lamination_thickness: float,
    glue: tuple[Wood, float] | None = None,
) -> LiningTerms:
    """LiningTerms of a solid lining of bent laminations, grain along the rim, glued to the side and to each other.

    Laminate theory. glue: None for lines of no thickness, or (Wood, thickness [m]) of each line; their slip lowers the
    transverse shear stiffness of the whole, 1/S = 1/S_wood + n t/(5/6 G H^2).
    """
    layers, face = [Layer(side_wood, side_thickness)], side_thickness / 2
    for _ in range(laminations):
        for wood, t in ([glue] if glue else []) + [(lining_wood, lamination_thickness)]:
            layers.append(Layer(wood, t, face + t / 2))
            face += t
    side = laminate(layers[:1])
    section = difference(laminate(layers), side)
    H, wood_only = face + side_thickness / 2, laminate([layer for layer in layers if not glue or layer.wood != glue[0]])
    slip = laminations * glue[1] / (SHEAR_FACTOR * glue[0].G_LT * H**2) if glue else 0.0
    shear = {kind: 1 / (1 / wood_only.stiffness[kind] + slip) - side.stiffness[kind] for kind in ("S55", "S44")}
    losses = section.losses
    if losses is not None and lining_wood.loss_G is not None:
        losses = {c: {**g, "S44": 0.0, "S55": 0.0} for c, g in losses.items()}
        losses["shear"] |= {kind: lining_wood.loss_G * f for kind, f in shear.items()}
    return LiningTerms(section.stiffness | shear, section.mass, losses)
