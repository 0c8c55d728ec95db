"""Body: the whole instrument as its maker describes it, in SI units; what mesh and sections are built from.

Coordinates [m]: x along the body from the tail (0) to the neck, y across it (positive on the bass side), z out of the
top. The outline is the middle surface of the sides; the top's edge lies at z = 0 on average; the back lies at negative
z. Top and back are described by their middle surfaces, which stand one side height apart at the rim.
"""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from fem.bar_forms import RECTANGLE, Form
from fem.materials import Wood
from meshes.measured import Measured
from meshes.outline import Outline
from meshes.string_sets import StringSet

LiningKind = Literal["kerfed", "reversed_kerfed", "solid_laminated", "none"]
BlockGrain = Literal["toward_top", "along_body", "across_body"]
BraceEndKind = Literal["stops_short", "let_in", "free"]
LINING_KINDS, BLOCK_GRAINS, BRACE_ENDS = map(get_args, (LiningKind, BlockGrain, BraceEndKind))
TAPER_STEPS = 6  # stretches of equal section that stand for a tapered neck


@dataclass(frozen=True)
class Surface:
    """Plane with a parabolic cap: z = level + slope (x - centre) - along (x - centre)^2 / 2 - across y^2 / 2.

    A cap of radius R has the curvature 1/R. The parabola differs from the sphere by r^4 / (8 R^3) at distance r:
    6 um at r = 0.26 m, R = 4.5 m.
    """

    level: float  # z at the centre [m]
    slope: float = 0.0  # dz/dx of the plane [-]
    centre: float = 0.0  # x of the cap's crown [m]
    along: float = 0.0  # curvature along the body [1/m], positive when the crown is up (top), negative for a back
    across: float = 0.0  # curvature across the body [1/m]


@dataclass(frozen=True)
class Board:
    """Top, back, or one layer of a side."""

    wood: Wood
    thickness: float  # m
    grain_angle: float = 0.0  # rad from the centre line towards the bass side (+y); for a side: from the rim's run
    edge_thickness: float | None = None  # m, at the side; None: not thinned toward the edge
    edge_width: float = 0.0  # over which it comes down to that [m]
    thickness_map: tuple[tuple[float, float, float], ...] = ()  # (x, y, thickness) [m]; empty: one thickness


@dataclass(frozen=True)
class BraceEnd:
    """How one end of a brace finishes."""

    kind: str  # 'stops_short' of the side, 'let_in' (reaches the side), 'free' (exactly where it is drawn)
    taper: float  # length over which the height comes down [m]; 0 = cut square
    height: float  # height left at the end [m]


@dataclass(frozen=True)
class Brace:
    """A bar glued to the inside of the top or the back, straight in plan."""

    name: str
    plate: str  # 'top' or 'back'
    start: tuple[float, float]  # plan point of its real end [m]
    end: tuple[float, float]
    width: float  # m
    height: float  # m, at its full section
    wood: Wood  # grain along the brace
    at_start: BraceEnd
    at_end: BraceEnd
    form: Form = RECTANGLE  # of its cross-section
    heights: tuple[tuple[float, float], ...] = ()  # (distance from `start`, height) [m]; empty: full but for the tapers

    @property
    def length(self) -> float:
        """Length in plan [m]."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


@dataclass(frozen=True)
class Soundhole:
    """Round hole in the top."""

    centre: tuple[float, float]  # m
    radius: float  # m


@dataclass(frozen=True)
class SidePort:
    """Round hole in a side."""

    arc: float  # place of its centre on the rim: arc length of the outline [m]
    depth: float  # of its centre below the top's edge there [m]
    radius: float  # m
    side: str  # 'bass' or 'treble'


@dataclass(frozen=True)
class Bridge:
    """Bridge on the outside of the top; its grain runs across the body."""

    centre: tuple[float, float]  # m
    length: float  # across the body [m]
    width: float  # along the body [m]
    thickness: float  # m
    wood: Wood
    saddle_x: float  # place of the saddle line [m]
    saddle_height: float  # of the strings above the top [m]


@dataclass(frozen=True)
class BridgePlate:
    """Rectangle glued under the bridge to the inside of the top."""

    centre: tuple[float, float]  # m
    length: float  # across the body [m]
    width: float  # along the body [m]
    thickness: float  # m
    wood: Wood
    grain_angle: float  # rad from the centre line


@dataclass(frozen=True)
class Patch:
    """Thin wood glued to the inside of a plate: a ring around the soundhole, or a straight strip."""

    name: str
    plate: str  # 'top' or 'back'
    wood: Wood
    thickness: float  # m
    grain_angle: float  # rad from the centre line
    ring: float = 0.0  # width of a ring around the soundhole [m]; 0: a strip
    start: tuple[float, float] = (0.0, 0.0)  # plan points of a strip's ends [m]
    end: tuple[float, float] = (0.0, 0.0)
    width: float = 0.0  # of a strip [m]


@dataclass(frozen=True)
class Lining:
    """Strip glued into the corner between the side and a plate, along the whole rim."""

    kind: str  # one of LINING_KINDS
    width: float = 0.0  # inward from the side [m]
    height: float = 0.0  # along the side [m]
    wood: Wood | None = None  # grain along the rim; None when kind is 'none'
    kerf_spacing: float = 0.0  # from one saw cut to the next [m]; kerfed kinds only
    kerf_width: float = 0.0  # m
    web: float = 0.0  # wood left under the saw cut [m]
    laminations: int = 1  # solid_laminated only
    lamination_thickness: float = 0.0  # m; solid_laminated only
    bevel_width: float | None = None  # left at the free edge [m]; None: rectangular
    bevel_height: float | None = None  # over which the width falls to bevel_width [m]; None: the whole height
    glue_line: float = 0.0  # thickness of the glue behind each lamination, part of its thickness [m]
    glue_shear: float = 0.0  # shear modulus of that glue [Pa]

    @property
    def mean_width(self) -> float:
        """Width [m] averaged over the height, kerfs not counted."""
        if self.bevel_width is None:
            return self.width
        bevel = self.height if self.bevel_height is None else self.bevel_height
        return self.width - (self.width - self.bevel_width) / 2 * bevel / self.height


@dataclass(frozen=True)
class PlateJoint:
    """Joint of a plate to the rim: the binding's rebate, and the loss factor."""

    rebate_width: float  # inward from the side's outer face [m]; 0: no rebate
    rebate_height: float  # down from the plate's outer face [m]
    binding: Wood | None  # None: the rebate is left open
    loss: float  # loss factor of the joint


@dataclass(frozen=True)
class Block:
    """Neck block or tail block, glued to the inside of the sides, the top and the back, centred on the centre line."""

    width: float  # across the body [m]
    thickness: float  # along the body [m]
    height: float  # from the top downward [m]
    wood: Wood
    grain: str  # direction of L, one of BLOCK_GRAINS
    cut_width: float = 0.0  # mean width of the mortise or dovetail for the neck, open toward the side [m]
    cut_depth: float = 0.0  # of that cut, along the body [m]
    cut_height: float = 0.0  # of that cut, from the top downward [m]
    hole: float = 0.0  # diameter of a hole through the block along the body [m]

    @property
    def cut_volume(self) -> float:
        """Wood cut away for the neck [m3]."""
        return self.cut_width * self.cut_depth * self.cut_height

    @property
    def volume(self) -> float:
        """Wood left [m3]."""
        solid = self.width * self.thickness * self.height
        return solid - self.cut_volume - np.pi * self.hole**2 / 4 * self.thickness


@dataclass(frozen=True)
class SideBar:
    """Bar glued to the inside of a side, upright, across the side's grain, from lining to lining."""

    arc: float  # place on the rim: arc length of the outline [m]
    x: float  # the same place along the body [m]
    width: float  # along the rim [m]
    thickness: float  # inward [m]
    wood: Wood  # grain upright


@dataclass(frozen=True)
class Rod:
    """Bar or round rod in a slot of the shaft, from the body to the nut, that stiffens it."""

    width: float  # m, of a round one the diameter
    height: float  # m
    depth: float  # of its middle below the fingerboard's underside [m]
    modulus: float  # Pa
    density: float  # kg/m3
    round: bool
    glued: bool  # stretched with the neck; else it slides in its slot, and bends alone

    @property
    def area(self) -> float:
        """m2."""
        return self.width * self.height * (np.pi / 4 if self.round else 1.0)

    @property
    def second_moment(self) -> float:
        """Of the area about its own middle [m4]."""
        return self.area * self.height**2 / (16 if self.round else 12)


@dataclass(frozen=True)
class Neck:
    """Neck as a beam from the neck block to the nut with the headstock's mass at its end, its heel and the tongue."""

    length: float  # from the body to the nut [m]
    width: float  # at the body [m]
    thickness: float  # at the body, without the fingerboard [m]
    wood: Wood
    fingerboard_thickness: float  # m
    fingerboard_wood: Wood
    head_length: float  # m
    head_mass: float  # with tuners [kg]
    heel_depth: float = 0.0  # from the top's edge down the side [m]; 0: no heel
    heel_length: float = 0.0  # along the neck, under the fingerboard [m]
    tongue: float = 0.0  # length of fingerboard glued to the top [m]
    nut_width: float | None = None  # m; None: as at the body
    nut_thickness: float | None = None  # without the fingerboard [m]; None: as at the body
    rod: Rod | None = None

    def at(self, share: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Width and thickness [m] at a share of the way from the body to the nut; they change evenly."""
        ends = (self.width, self.nut_width), (self.thickness, self.nut_thickness)
        width, thickness = (a + np.asarray(share) * ((a if b is None else b) - a) for a, b in ends)
        return width, thickness

    @property
    def stretches(self) -> dict[str, tuple[float, float]]:
        """{region: (start, end) as shares of the length} of one section each; one region, unless the neck tapers."""
        if self.nut_width is None and self.nut_thickness is None:
            return {"neck/shaft": (0.0, 1.0)}
        n = TAPER_STEPS
        return {f"neck/shaft/{k + 1}": (k / n, (k + 1) / n) for k in range(n)}


WoodenPart = Board | Brace | Bridge | BridgePlate | Patch | Lining | Block | SideBar | Neck  # has one wood, or None


@dataclass(frozen=True)
class Strings:
    """String set, from the lowest string to the highest; an empty tuple where the sheet does not say."""

    scale_length: float  # m
    gauge: tuple[float, ...] = ()  # diameter [m]
    unit_mass: tuple[float, ...] = ()  # kg/m
    tension: tuple[float, ...] = ()  # N
    set_name: str | None = None  # of a built-in set
    own: StringSet | None = None  # of the sheet's own tables
    pluck: tuple[float | None, ...] = (None,) * 4  # m from the saddle, m wide, rad away from square to the top, N


@dataclass(frozen=True)
class Weather:
    """Air in which the box was glued up and is used, and how flat the rim was; None and empty where nothing is said."""

    built_at_humidity: float | None = None  # % relative humidity
    used_at_humidity: tuple[float, ...] = ()  # %
    rim_gap: float = 0.0  # m, from the lowest to the highest place of the rim's edge before the top went on


@dataclass(frozen=True)
class Assumption:
    """A value that the sheet does not give."""

    key: str  # as it would be written in the sheet
    value: str  # with unit
    source: str


@dataclass(frozen=True)
class Body:
    """A whole instrument, SI units. Built by sheet.read_sheet."""

    name: str
    outline: Outline
    heights: tuple[tuple[str, float, float, float], ...]  # (place, x, y, side height as the maker gives it) [m]
    top_surface: Surface
    back_surface: Surface
    back_deepest: float | None  # x where the maker wants the body deepest [m]; None when the sheet does not say
    soundhole: Soundhole
    top: Board
    back: Board
    sides: tuple[Board, ...]  # outermost layer first; one layer, or two when doubled
    braces: tuple[Brace, ...]
    bridge: Bridge
    bridge_plate: BridgePlate | None
    lining_top: Lining
    lining_back: Lining
    joint_top: PlateJoint
    joint_back: PlateJoint
    neck_block: Block
    tail_block: Block
    side_bars: tuple[SideBar, ...]
    neck: Neck | None
    strings: Strings | None
    weather: Weather = Weather()
    measured: Measured = Measured()
    side_ports: tuple[SidePort, ...] = ()
    patches: tuple[Patch, ...] = ()
    assumed: tuple[Assumption, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def side_thickness(self) -> float:
        """Whole thickness of the side [m]."""
        return sum(layer.thickness for layer in self.sides)


def surface_height(surface: Surface, x: float | np.ndarray, y: float | np.ndarray) -> np.ndarray:
    """z [m] of a Surface at plan points x, y [m] (arrays of one shape, or two numbers for one)."""
    u = np.asarray(x, float) - surface.centre
    return surface.level + surface.slope * u - surface.along * u**2 / 2 - surface.across * np.asarray(y, float) ** 2 / 2


def top_height(body: Body, x: float | np.ndarray, y: float | np.ndarray) -> np.ndarray:
    """z [m] of the top's middle surface at plan points x, y [m]."""
    return surface_height(body.top_surface, x, y)


def back_height(body: Body, x: float | np.ndarray, y: float | np.ndarray) -> np.ndarray:
    """z [m] (negative) of the back's middle surface at plan points x, y [m]."""
    return surface_height(body.back_surface, x, y)


def side_height(body: Body, x: float | np.ndarray, y: float | np.ndarray) -> np.ndarray:
    """Height of the side [m] from top to back at plan points x, y [m] of the rim."""
    return top_height(body, x, y) - back_height(body, x, y)


def braces_of(body: Body, plate: str) -> tuple[Brace, ...]:
    """The braces of the plate 'top' or 'back'."""
    return tuple(brace for brace in body.braces if brace.plate == plate)
