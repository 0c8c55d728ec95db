"""What a body weighs and measures, computed from its geometry alone; the text of `rimwork check`."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fem.materials import Wood
from fem.woods import estimated
from meshes.body import (
    Block,
    Body,
    Bridge,
    BridgePlate,
    Lining,
    SideBar,
    Surface,
    WoodenPart,
    braces_of,
    side_height,
    surface_height,
)
from meshes.carving import brace_breaks, brace_heights, brace_volume, is_carved, is_graded, mean_thickness, patch_area
from meshes.dome import Reconciled, reconcile
from meshes.joints import joint_of
from meshes.outline import Outline, bend_radius, point_at, where_y
from meshes.parts import heel_volume
from meshes.side_ports import from_tail

TURN = 2 * np.pi  # a closed rim turns once: an inner parallel at distance d is shorter by TURN d


@dataclass(frozen=True)
class Bend:
    """Tightest bend of one layer of the side, and the strain of bending it around."""

    radius: float  # of the layer's own middle [m]
    x: float  # place from the tail [m]
    strain: float  # t / (2 R) [-]


@dataclass(frozen=True)
class Description:
    """Figures of a body."""

    areas: dict[str, float]  # m2
    perimeter: float  # m
    air: float  # enclosed volume without the parts inside [m3]
    masses: dict[str, float]  # {part: kg}
    bends: tuple[Bend, ...]  # of each layer, outermost first
    heights: Reconciled

    @property
    def total(self) -> float:
        """Mass of all parts [kg]."""
        return sum(self.masses.values())


def describe(body: Body) -> Description:
    """Description of a body."""
    return Description(
        areas(body), body.outline.perimeter, air_volume(body), masses(body), bends(body), reconcile(body)
    )


def integral(outline: Outline, f: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> float:
    """Integral of f(x, y) over the plan [unit of f x m2]; exact for quadratic f over the polygon.

    Signed triangles from the origin to every side, each by the rule of its three edge midpoints.
    """
    a, b = outline.points, np.roll(outline.points, -1, axis=0)
    signed = 0.5 * (a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1])
    return float(sum(np.sum(signed * f(*middle.T)) for middle in (a / 2, b / 2, (a + b) / 2)) / 3)


def surface_area(outline: Outline, surface: Surface) -> float:
    """Area [m2] of a slightly domed plate: integral of 1 + |grad z|^2 / 2 (next term: |grad z|^4 / 8, below 1e-5)."""

    def density(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        along = surface.slope - surface.along * (x - surface.centre)
        return 1 + (along**2 + (surface.across * y) ** 2) / 2

    return integral(outline, density)


def air_volume(body: Body) -> float:
    """Enclosed volume between the middle surfaces [m3]."""
    return integral(
        body.outline, lambda x, y: surface_height(body.top_surface, x, y) - surface_height(body.back_surface, x, y)
    )


def areas(body: Body) -> dict[str, float]:
    """{part: area [m2]} of top and sides (without their holes), back, soundhole and side ports."""
    hole = np.pi * body.soundhole.radius**2
    ports = sum(np.pi * port.radius**2 for port in body.side_ports)
    arc, loop = (body.outline.arc, np.vstack([body.outline.points, body.outline.points[:1]]))
    return {
        "top": surface_area(body.outline, body.top_surface) - hole,
        "back": surface_area(body.outline, body.back_surface),
        "sides": float(np.trapezoid(side_height(body, *loop.T), arc)) - ports,
        "soundhole": hole,
    } | ({"side ports": ports} if ports else {})


def masses(body: Body) -> dict[str, float]:
    """{part: mass [kg]} from the geometry: boxes for blocks, bridge and neck; linings from block to block."""
    area = areas(body)
    mass_of = {
        "top": area["top"] * mean_thickness(body, "top") * body.top.wood.density,
        "back": area["back"] * mean_thickness(body, "back") * body.back.wood.density,
        "sides": area["sides"] * sum(layer.thickness * layer.wood.density for layer in body.sides),
        "lining_top": lining_mass(body, body.lining_top),
        "lining_back": lining_mass(body, body.lining_back),
        "top_braces": sum(brace_volume(b) * b.wood.density for b in braces_of(body, "top")),
        "back_braces": sum(brace_volume(b) * b.wood.density for b in braces_of(body, "back")),
        "bridge": _box(body.bridge),
        "bridge_plate": _box(body.bridge_plate) if body.bridge_plate else 0.0,
        "patches": sum(patch_area(body, p) * p.thickness * p.wood.density for p in body.patches),
        "neck_block": _block(body.neck_block),
        "tail_block": _block(body.tail_block),
        "side_bars": sum(_side_bar(body, bar) for bar in body.side_bars),
        "neck": _neck(body) if body.neck else 0.0,
    }
    return {part: float(mass) for part, mass in mass_of.items() if mass}


def lining_mass(body: Body, lining: Lining) -> float:
    """Mass [kg] of one lining: its middle line is the rim's inner parallel, interrupted by the two blocks."""
    if lining.kind == "none" or lining.wood is None:
        return 0.0
    inset = body.side_thickness / 2 + lining.width / 2
    run = body.outline.perimeter - TURN * inset - body.neck_block.width - body.tail_block.width
    width = lining.mean_width
    cut = lining.kerf_width / lining.kerf_spacing * (1 - lining.web / width) if lining.kerf_spacing else 0.0
    return run * width * lining.height * (1 - cut) * lining.wood.density


def _box(part: Bridge | BridgePlate) -> float:
    return part.length * part.width * part.thickness * part.wood.density


def _block(block: Block) -> float:
    return block.volume * block.wood.density


def _side_bar(body: Body, bar: SideBar) -> float:
    height = side_height(body, *point_at(body.outline, bar.arc)) - body.lining_top.height - body.lining_back.height
    return bar.width * bar.thickness * float(height) * bar.wood.density


def _neck(body: Body) -> float:
    """Shaft, fingerboard with its tongue, heel, the tenon that fills the neck block's cut, and the head."""
    neck = body.neck
    assert neck is not None
    width, thickness = neck.at(np.array([0.0, 0.5, 1.0]))
    simpson = neck.length * np.array([1, 4, 1]) / 6
    board = simpson @ width + neck.tongue * neck.width  # m2
    fretboard = board * neck.fingerboard_thickness * neck.fingerboard_wood.density
    heel = (heel_volume(neck) + body.neck_block.cut_volume) * neck.wood.density if neck.heel_depth else 0.0
    shaft = np.pi / 4 * simpson @ (width * thickness) * neck.wood.density
    rod = 0.0 if neck.rod is None else neck.length * neck.rod.area * (neck.rod.density - neck.wood.density)
    return float(shaft + fretboard + rod) + heel + neck.head_mass


def bends(body: Body) -> tuple[Bend, ...]:
    """Bend of each layer where it is tightest: an inner layer bends tighter round a bout and wider round the waist."""
    s, radius = bend_radius(body.outline)
    tightest, inward = [], -body.sides[0].thickness / 2  # the outline runs through the middle of the outermost layer
    for layer in body.sides:
        own = np.abs(radius - (inward + layer.thickness / 2))
        at = np.argmin(own)
        tightest.append(
            Bend(float(own[at]), float(point_at(body.outline, s[at])[0]), float(layer.thickness / (2 * own[at])))
        )
        inward += layer.thickness
    return tuple(tightest)


def woods_used(body: Body) -> dict[str, Wood]:
    """{name: Wood} of every part."""
    parts: list[WoodenPart | None] = [body.top, body.back, *body.sides, *body.braces, body.bridge, body.bridge_plate]
    parts += [
        *body.patches,
        body.lining_top,
        body.lining_back,
        body.neck_block,
        body.tail_block,
        *body.side_bars,
        body.neck,
    ]
    woods = [part.wood for part in parts if part is not None and part.wood is not None]
    woods += [made.binding for made in (body.joint_top, body.joint_back) if made.binding and made.rebate_width]
    return {wood.name: wood for wood in woods + ([body.neck.fingerboard_wood] if body.neck else [])}


def check_text(body: Body) -> str:
    """The text of `rimwork check`: areas, masses, doming, tightest bend, warnings and everything assumed."""
    description = describe(body)
    lines = [f"{body.name}", "", "Areas"]
    lines += [f"  {name:<14}{1e4 * area:9.1f} cm2" for name, area in description.areas.items()]
    lines += [
        f"  {'rim length':<14}{1e3 * description.perimeter:9.1f} mm",
        f"  {'air':<14}{1e3 * description.air:9.2f} litres",
    ]
    lines += _port_lines(body)
    lines += ["", "Masses"] + [f"  {part:<14}{1e3 * mass:9.1f} g" for part, mass in description.masses.items()]
    lines += [f"  {'total':<14}{1e3 * description.total:9.1f} g", "", *_carving_lines(body), "Heights and doming"]
    lines += [
        f"  side at {place}: built {f'{1e3 * e:+.2f}'.replace('-', '−')} mm off the height given"
        for place, e in description.heights.mismatch.items()
    ]
    lines += [
        f"  deepest {1e3 * description.heights.deepest:.0f} mm from the tail: {1e3 * description.heights.depth:.1f} mm",
    ]
    lines += ["", "Tightest bend of the side"] + _bend_lines(description.bends)
    lines += ["", "Joints of the plates to the rim"] + _joint_lines(body)
    lines += _listed("Warnings", body.warnings)
    for source in dict.fromkeys(a.source for a in body.assumed):
        title = f"Not in the sheet, so {source}"
        lines += _listed(title, [f"{a.key}: {a.value}" for a in body.assumed if a.source == source])
    return "\n".join(lines + _listed("Wood values", wood_notes(body))) + "\n"


def _carving_lines(body: Body) -> list[str]:
    """Plates that are thinned, carved braces with their sections, heights and weights, patches; nothing where none is."""
    lines = []
    for plate in ("top", "back"):
        board = getattr(body, plate)
        if is_graded(board):
            edge = (
                f", down to {1e3 * board.edge_thickness:.2f} mm over the last {1e3 * board.edge_width:.0f} mm to the side"
                if board.edge_thickness is not None
                else ""
            )
            mapped = f", a map of {len(board.thickness_map)} places" if board.thickness_map else ""
            lines.append(
                f"  {plate}: {1e3 * board.thickness:.2f} mm{mapped}{edge}; {1e3 * mean_thickness(body, plate):.2f} mm on average"
            )
    for brace in filter(is_carved, body.braces):
        heights = 1e3 * brace_heights(brace, np.array(brace_breaks(brace)))
        form = brace.form
        cap = f", the upper {1e3 * form.cap * brace.height:.1f} mm {form.kind}" if form.cap else ""
        cap += f" to {1e3 * form.top * brace.width:.1f} mm" if form.kind == "gabled" else ""
        lines.append(
            f"  {brace.plate} brace '{brace.name}': {1e3 * brace.width:.1f} mm wide{cap}; heights "
            f"{', '.join(f'{h:.1f}' for h in heights)} mm; {1e3 * brace_volume(brace) * brace.wood.density:.1f} g"
        )
    for p in body.patches:
        mass = patch_area(body, p) * p.thickness * p.wood.density
        lines.append(f"  {p.plate} patch '{p.name}': {1e3 * p.thickness:.1f} mm of {p.wood.name}, {1e3 * mass:.1f} g")
    return ["Carving", *lines, ""] if lines else []


def _port_lines(body: Body) -> list[str]:
    """Where each side port is, from both ends of its side."""
    neck, lines = float(where_y(body.outline, 0.0)[-1]), []
    for number, port in enumerate(body.side_ports, 1):
        high = 1e3 * side_height(body, *point_at(body.outline, port.arc))
        tail, far = 1e3 * from_tail(body, port), 1e3 * abs(port.arc - neck)
        lines.append(
            f"  port {number}: {2e3 * port.radius:.0f} mm across, {1e3 * port.depth:.0f} mm below the top's edge of a "
            f"side {high:.0f} mm high; {port.side} side, along it {tail:.0f} mm from the tail's middle, {far:.0f} mm from "
            "the neck's"
        )
    return ["", "Side ports", *lines] if lines else []


def _bend_lines(bends: Sequence[Bend]) -> list[str]:
    names = [""] if len(bends) == 1 else ["outer layer: ", "inner layer: "]
    return [
        f"  {name}radius {1e3 * b.radius:.0f} mm, {1e3 * b.x:.0f} mm from the tail; bending strain t/(2R) "
        f"{100 * b.strain:.2f} %"
        for name, b in zip(names, bends)
    ]


def _joint_lines(body: Body) -> list[str]:
    """Wood left behind the rebate, glue area and what the solid of the joint says, for top and back."""
    lines = []
    for plate in ("top", "back"):
        joint = joint_of(body, plate)
        if joint.glue is not None and joint.side_left is not None and joint.wood_left is not None:
            lines.append(
                f"  {plate}: behind the rebate {1e3 * joint.side_left:.1f} mm of the side, {1e3 * joint.wood_left:.1f} mm "
                f"with the lining; glue area {1e3 * joint.glue:.1f} mm2 per mm"
            )
        lines.append(f"  {plate}: {joint.words}")
    return lines


def wood_notes(body: Body) -> list[str]:
    """Texts on the woods used: values that rules estimate, losses that nobody knows."""
    notes = []
    for name, wood in sorted(woods_used(body).items()):
        guessed = estimated(wood)
        if guessed:
            notes.append(f"{name}: estimated {', '.join(guessed)}")
        if not wood.losses_known:
            notes.append(f"{name}: loss factors not known")
    return notes


def _listed(title: str, texts: Sequence[str]) -> list[str]:
    return ["", title, *(f"  - {text}" for text in texts)] if texts else []
