"""Plan and sections of a body, drawn to scale with a bar of 100 mm to check a print by; black on white."""

from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Patch, Polygon

from meshes.body import (
    Body,
    Brace,
    Bridge,
    BridgePlate,
    SideBar,
    SidePort,
    back_height,
    braces_of,
    side_height,
    top_height,
)
from meshes.carving import (
    brace_breaks,
    brace_heights,
    is_carved,
    patch_outline,
    section_outline,
    thickness_at,
    thickness_here,
)
from meshes.figures import Figure
from meshes.lengths import MM_PER_INCH
from meshes.outline import Outline, closed, crossings, distance, normal_at, point_at, where_y
from meshes.side_ports import height_of
from meshes.whole_file import whole_file

LineStyle = str | tuple[float, tuple[float, ...]]
GAP = 90.0  # mm on the instrument between the views
MARGIN = 54.0
ROW = 40.0  # mm on the instrument for a carved brace drawn from its side
NECK_SHOWN = 45.0  # mm of the neck in the section
SHORT, BESIDE = 0.1, 0.003  # m: length of a brace that its name would cover, and how far beside it the name stands
FORMATS = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}, ".png": {}}  # and what not to write: no dates
TEXT = {"title": 16, "note": 13, "small": 10.5}  # points on a print at 1:2
PAPER = {"fc": "white", "ec": "none", "pad": 0.4, "alpha": 0.85}
FILL = {"plate": "0.75", "brace": "0.9", "block": "0.82", "bridge": "0.6"}


def draw_plan(body: Body, path: str | Path, *more: str | Path, scale: float = 0.5) -> list[Path]:
    """Draws top, back, long section and cross-section of a body into files (.svg, .pdf, .png) and returns their paths.

    scale: drawn length over real length; 1 gives a sheet to lay the work on. ValueError for any other ending.
    """
    paths = [Path(one) for one in (path, *more)]
    for file in paths:
        if file.suffix.lower() not in FORMATS:
            raise ValueError(f"{file}: cannot draw a '{file.suffix}' file; expected one of {', '.join(FORMATS)}")
    length, width = 1e3 * body.outline.length, 1e3 * np.ptp(body.outline.points[:, 1])
    carved = [brace for brace in body.braces if is_carved(brace)]
    below = (len(carved) + 1) // 2 * ROW
    depth = 1e3 * float(np.max(side_height(body, np.linspace(0, body.outline.length, 50), 0.0)))
    sheet = (2 * length + GAP + 2 * MARGIN, width + depth + 2 * GAP + 2 * MARGIN + below)
    figure, ax = _page(sheet, scale)
    middle = sheet[1] - MARGIN - GAP / 2 - width / 2
    section = MARGIN + GAP / 2 + depth + below
    left, right = np.array([MARGIN, middle]), np.array([MARGIN + length + GAP, middle])
    _plan(ax, body, "top", left)
    _plan(ax, body, "back", right)
    _long_section(ax, body, np.array([MARGIN, section]))
    _cross_section(ax, body, np.array([MARGIN + length + GAP + width / 2, section]))
    titles = ((left, "top, seen from the front, braces beneath"), (right, "back, seen from the front, braces above"))
    for place, title in titles:
        ax.text(place[0], middle + width / 2 + 24, f"{body.name}: {title}", fontsize=TEXT["title"])
    for number, brace in enumerate(carved):
        left_low = [MARGIN + number % 2 * (length + GAP), MARGIN + below - (number // 2 + 1) * ROW + 8]
        _carved(ax, brace, np.array(left_low))
    _check_bar(ax, MARGIN, MARGIN / 2, scale)
    with matplotlib.rc_context({"svg.hashsalt": "rimwork", "svg.fonttype": "none"}):
        for file in paths:
            with whole_file(file) as stream:
                ending = file.suffix.lower()
                figure.savefig(stream, format=ending[1:], dpi=150, metadata=FORMATS[ending])
    return paths


def _page(sheet: tuple[float, float], scale: float) -> tuple[Figure, Axes]:
    """Figure, and axes whose unit is 1 mm on the instrument, filling a page of sheet * scale [mm]."""
    figure = Figure(figsize=(sheet[0] * scale / MM_PER_INCH, sheet[1] * scale / MM_PER_INCH))
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set_xlim(0, sheet[0])
    ax.set_ylim(0, sheet[1])
    ax.set_axis_off()
    return figure, ax


def _check_bar(ax: Axes, x: float, y: float, scale: float) -> None:
    """A bar of 100 mm with ticks every 10 mm."""
    ax.plot([x, x + 100], [y, y], "k", lw=1.2)
    for tick in range(0, 101, 10):
        ax.plot([x + tick] * 2, [y, y + (4 if tick % 50 else 7)], "k", lw=0.8)
    ax.text(
        x + 106, y, f"100 mm on the instrument, {100 * scale:g} mm on a print at 1:{1 / scale:g}", fontsize=TEXT["note"]
    )


# --- plans ---


def _plan(ax: Axes, body: Body, plate: str, origin: np.ndarray) -> None:
    """Outline, lining edge, blocks, side bars, and the braces of one plate; plan coordinates [m] from `origin` [mm]."""
    lining = body.lining_top if plate == "top" else body.lining_back
    s = np.linspace(0, body.outline.perimeter, 600)
    _line(ax, closed(body.outline.points), origin, lw=1.2)
    if lining.kind != "none":
        inner = point_at(body.outline, s) - (body.side_thickness / 2 + lining.width) * normal_at(body.outline, s)
        _line(ax, inner, origin, lw=0.4, ls=(0, (6, 3)))
    for block in block_outlines(body):
        _shape(ax, block, origin, fc=FILL["block"], lw=0.6)
    inside = Polygon(origin + 1e3 * body.outline.points, closed=True, transform=ax.transData)
    board = getattr(body, plate)
    if board.edge_thickness is not None:
        thinned = point_at(body.outline, s) - board.edge_width * normal_at(body.outline, s)
        far = distance(body.outline, thinned) > 0.98 * board.edge_width  # a hollow bend has no parallel of its own
        _line(ax, np.where(far[:, None], thinned, np.nan), origin, lw=0.4, ls=(0, (1, 3)))
    for patch in body.patches:
        if patch.plate == plate:
            _line(ax, closed(patch_outline(body, patch)), origin, lw=0.5, ls=(0, (3, 2)))
    for brace in braces_of(body, plate):
        _shape(ax, brace_outline(brace), origin, fc=FILL["brace"], lw=0.7).set_clip_path(inside)
    for bar in body.side_bars:
        _shape(ax, _bar_outline(body, bar), origin, fc="k", lw=0.3)
    for number, port in enumerate(body.side_ports, 1):
        _port_in_plan(ax, body, number, port, origin)
    _line(ax, np.array([[-0.01, 0], [body.outline.length + 0.01, 0]]), origin, lw=0.3, ls="-.")
    _dimensions(ax, body, origin)
    if plate == "top":
        _top_parts(ax, body, origin)
    for brace in braces_of(body, plate):
        _brace_name(ax, brace, origin)


def _top_parts(ax: Axes, body: Body, origin: np.ndarray) -> None:
    hole = body.soundhole
    x, y = origin + 1e3 * np.array(hole.centre)
    ax.add_patch(Circle((x, y), 1e3 * hole.radius, fc="none", ec="k", lw=1))
    _shape(ax, rectangle(body.bridge), origin, fc="none", lw=1)
    saddle = np.array([[body.bridge.saddle_x, -0.036], [body.bridge.saddle_x, 0.036]])
    _line(ax, saddle, origin, lw=1.5)
    if body.bridge_plate:
        _shape(ax, rectangle(body.bridge_plate), origin, fc="none", lw=0.6, ls=(0, (3, 2)))
    if body.neck:
        length, half = body.outline.length, body.neck.width / 2
        _shape(ax, _box(length - body.neck.tongue, length + 1e-3 * NECK_SHOWN, -half, half), origin, fc="none", lw=1)
        if body.neck.tongue:
            x, y = origin + 1e3 * np.array([length - body.neck.tongue / 2, 0.0])
            ax.text(x, y + 6, "fingerboard", fontsize=TEXT["small"], ha="center", bbox=PAPER)


def _dimensions(ax: Axes, body: Body, origin: np.ndarray) -> None:
    """Length of the body and full widths at the extremes of the bass side."""
    length = body.outline.length
    low = 1e3 * body.outline.points[:, 1].min()
    ax.text(
        origin[0] + 500 * length, origin[1] + low - 14, f"{1e3 * length:.0f} mm", fontsize=TEXT["note"], ha="center"
    )
    for x, y0, y1 in widths(body.outline):
        text = f"{1e3 * (y1 - y0):.0f} wide at {1e3 * x:.0f}"
        u, v = origin + 1e3 * np.array([x, y1])
        ax.text(u, v + 4, text, fontsize=TEXT["small"], ha="center")


def widths(outline: Outline) -> list[tuple[float, float, float]]:
    """(x, lowest y, highest y) [m] where the bass side is widest or narrowest."""
    neck = where_y(outline, 0.0)[-1]
    bass = outline.points[outline.arc[:-1] > neck]
    turn = np.flatnonzero(np.diff(np.sign(np.diff(bass[:, 1])))) + 1
    extremes: list[tuple[float, float, float]] = []
    for x in bass[turn, 0]:
        t, _ = crossings(outline, (x, 0.0), (0.0, 1.0))
        if not extremes or abs(x - extremes[-1][0]) > 0.02:
            extremes.append((float(x), float(t[0]), float(t[-1])))
    return extremes


def _brace_name(ax: Axes, brace: Brace, origin: np.ndarray) -> None:
    """On the brace, along it; beside a short one, toward the neck, since it would cover all but a stump of it."""
    start, end = np.array(brace.start), np.array(brace.end)
    angle = np.degrees(np.arctan2(*(end - start)[::-1]))
    angle = (angle + 90) % 180 - 90
    place, va = 0.68 * start + 0.32 * end, "center"
    if brace.length < SHORT:
        up = np.array([-np.sin(np.radians(angle)), np.cos(np.radians(angle))])  # of the letters
        va, side = ("bottom", up) if up[0] >= 0 else ("top", -up)
        place = (start + end) / 2 + (brace.width / 2 + BESIDE) * side
    x, y = origin + 1e3 * place
    ax.text(
        x,
        y,
        brace.name,
        fontsize=TEXT["small"],
        rotation=angle,
        rotation_mode="anchor",
        ha="center",
        va=va,
        bbox=PAPER,
    )


def brace_outline(brace: Brace) -> np.ndarray:
    """Corners (4, 2) [m] of a brace in plan."""
    start, end = np.array(brace.start), np.array(brace.end)
    along = (end - start) / brace.length
    across = brace.width / 2 * np.array([-along[1], along[0]])
    return np.array([start + across, end + across, end - across, start - across])


def rectangle(part: Bridge | BridgePlate) -> np.ndarray:
    """Corners (4, 2) [m] of a bridge or bridge plate in plan."""
    (x, y), a, b = part.centre, part.width / 2, part.length / 2
    return np.array([[x - a, y - b], [x + a, y - b], [x + a, y + b], [x - a, y + b]])


def block_outlines(body: Body) -> list[np.ndarray]:
    """Corners (4, 2) [m] of the tail block and of the neck block, inside the sides."""
    half = body.side_thickness / 2
    tail, neck = body.tail_block, body.neck_block
    spans = (
        (half, half + tail.thickness, tail),
        (body.outline.length - half - neck.thickness, body.outline.length - half, neck),
    )
    return [
        np.array([[x0, -b.width / 2], [x1, -b.width / 2], [x1, b.width / 2], [x0, b.width / 2]]) for x0, x1, b in spans
    ]


def _bar_outline(body: Body, bar: SideBar) -> np.ndarray:
    s = bar.arc + np.array([-1, 1]) * bar.width / 2
    place, n = point_at(body.outline, s), normal_at(body.outline, s)
    inset = body.side_thickness / 2
    return np.vstack([place - inset * n, (place - (inset + bar.thickness) * n)[::-1]])


def _port_in_plan(ax: Axes, body: Body, number: int, port: SidePort, origin: np.ndarray) -> None:
    """The gap that a side port leaves in the side, with its number outside."""
    s = port.arc + port.radius * np.linspace(-1, 1, 15)
    half = body.side_thickness / 2
    place, n = point_at(body.outline, s), normal_at(body.outline, s)
    _shape(ax, np.vstack([place + 1.5 * half * n, (place - 1.5 * half * n)[::-1]]), origin, fc="w", lw=0.5)
    out = normal_at(body.outline, port.arc)
    ha = "center" if abs(out[0]) < 0.3 else "left" if out[0] > 0 else "right"
    x, y = origin + 1e3 * (point_at(body.outline, port.arc) + (0.004 + 0.004 * (ha == "center")) * out)
    ax.text(x, y, f"port {number}", fontsize=TEXT["small"], ha=ha, va="bottom" if out[1] > 0 else "top")


def _port_in_section(ax: Axes, body: Body, number: int, port: SidePort, origin: np.ndarray) -> None:
    """A side port as the section along the centre line sees it: drawn out on the bass side, dashed where cut away."""
    turn = np.linspace(0, 2 * np.pi, 73)
    x = point_at(body.outline, port.arc + port.radius * np.cos(turn))[:, 0]
    z = height_of(body, port) + port.radius * np.sin(turn)
    _line(ax, np.column_stack([x, z]), origin, lw=0.8, ls="-" if port.side == "bass" else (0, (3, 2)))
    u, v = origin + 1e3 * np.array([x.min() / 2 + x.max() / 2, z.mean()])
    ax.text(u, v, f"port {number}\n{port.side}", fontsize=5.5, ha="center", va="center")


def _carved(ax: Axes, brace: Brace, origin: np.ndarray) -> None:
    """A carved brace from its side, glued face down, start left; beyond its end the section at the highest place."""
    run = np.array(brace_breaks(brace))
    heights = brace_heights(brace, run)
    edge = np.vstack([[0, 0], np.column_stack([run, heights]), [brace.length, 0]])
    _shape(ax, edge, origin, fc=FILL["brace"], lw=0.6)
    section = section_outline(brace, float(heights.max())) + [brace.length + 0.008 + brace.width / 2, 0]
    _shape(ax, section, origin, fc=FILL["brace"], lw=0.6)
    text = f"{brace.plate}, {brace.name}: {1e3 * heights.min():.1f} to {1e3 * heights.max():.1f} mm high"
    ax.text(origin[0], origin[1] - 3, text, fontsize=TEXT["small"], va="top")


# --- sections: u along the section, z up, both in m ---


def _long_section(ax: Axes, body: Body, origin: np.ndarray) -> None:
    """Section along the centre line, tail left, with the first part of the neck."""
    length = body.outline.length
    _section(ax, body, origin, np.array([0.0, 0.0]), np.array([1.0, 0.0]), 0.0, length)
    half = body.side_thickness / 2
    for x0, x1, block in (
        (half, half + body.tail_block.thickness, body.tail_block),
        (length - half - body.neck_block.thickness, length - half, body.neck_block),
    ):
        top = top_height(body, (x0 + x1) / 2, 0) - body.top.thickness / 2
        _shape(ax, _box(x0, x1, top - block.height + body.top.thickness, top), origin, fc=FILL["block"], lw=0.6)
    bridge = body.bridge
    top = top_height(body, bridge.centre[0], 0) + body.top.thickness / 2
    ends = bridge.centre[0] - bridge.width / 2, bridge.centre[0] + bridge.width / 2
    _shape(ax, _box(*ends, top, top + bridge.thickness), origin, fc=FILL["bridge"], lw=0.6)
    saddle = np.array([[bridge.saddle_x, top + bridge.thickness], [bridge.saddle_x, top + bridge.saddle_height]])
    _line(ax, saddle, origin, lw=1.5)
    if body.bridge_plate:
        plate = body.bridge_plate
        under = top - body.top.thickness
        ends = plate.centre[0] - plate.width / 2, plate.centre[0] + plate.width / 2
        _shape(ax, _box(*ends, under - plate.thickness, under), origin, fc=FILL["bridge"], lw=0.5)
    if body.neck:
        top = top_height(body, length, 0) + body.top.thickness / 2
        _shape(ax, _box(length, length + 1e-3 * NECK_SHOWN, top - body.neck.thickness, top), origin, fc="w", lw=0.6)
        if body.neck.heel_depth > body.neck.thickness:
            under = top - body.neck.heel_depth
            _shape(ax, _box(length, length + body.neck.heel_length, under, top), origin, fc="w", lw=0.6)
        start = length - body.neck.tongue
        fretboard = _box(start, length + 1e-3 * NECK_SHOWN, top, top + body.neck.fingerboard_thickness)
        _shape(ax, fretboard, origin, fc=FILL["bridge"], lw=0.6)
    for number, port in enumerate(body.side_ports, 1):
        _port_in_section(ax, body, number, port, origin)
    for place, x, y, height in body.heights:
        z = back_height(body, x, y)
        text = f"side at {place}\n{1e3 * height:.1f} given, {1e3 * side_height(body, x, y):.1f} built"
        u, v = origin + 1e3 * np.array([x, float(z)])
        ax.text(u, v - 8, text, fontsize=TEXT["small"], ha="center", va="top")
    ports = "; ports in the sides beyond (bass) and cut away (treble, dashed)" if body.side_ports else ""
    ax.text(origin[0] + 130, origin[1] + 30, f"section along the centre line{ports}", fontsize=TEXT["note"])


def _cross_section(ax: Axes, body: Body, origin: np.ndarray) -> None:
    """Section across the widest place, seen towards the neck: bass left."""
    x, low, high = max(widths(body.outline), key=lambda w: w[2] - w[1])
    _section(ax, body, origin, np.array([x, 0.0]), np.array([0.0, -1.0]), -high, -low)
    ax.text(
        origin[0] - 60, origin[1] + 20, f"section {1e3 * x:.0f} mm from the tail, bass side left", fontsize=TEXT["note"]
    )


def _section(
    ax: Axes, body: Body, origin: np.ndarray, start: np.ndarray, along: np.ndarray, u0: float, u1: float
) -> None:
    """Plates, sides, linings and cut braces on the plan line start + u along, u0 <= u <= u1 [m]."""
    u = np.linspace(u0, u1, 200)
    place = start + u[:, None] * along
    hole = np.linalg.norm(place - body.soundhole.centre, axis=1) < body.soundhole.radius
    for name, height, gap in (("top", top_height, hole), ("back", back_height, np.zeros(len(u), bool))):
        z = height(body, *place.T)
        for run in np.split(np.arange(len(u)), np.flatnonzero(np.diff(gap.astype(int))) + 1):
            if not gap[run[0]]:
                _strip(ax, u[run], z[run], thickness_at(body, name, place[run]), origin)
    for u_side, inward in ((u0, 1), (u1, -1)):
        _side(ax, body, origin, start + u_side * along, u_side, inward)
    for plate, sign in (("top", -1), ("back", 1)):
        for brace in braces_of(body, plate):
            _cut_brace(ax, body, origin, start, along, brace, sign)


def _strip(ax: Axes, u: np.ndarray, z: np.ndarray, thickness: np.ndarray, origin: np.ndarray) -> None:
    edge = np.vstack([np.column_stack([u, z + thickness / 2]), np.column_stack([u, z - thickness / 2])[::-1]])
    _shape(ax, edge, origin, fc=FILL["plate"], lw=0.5)


def _side(ax: Axes, body: Body, origin: np.ndarray, place: np.ndarray, u: float, inward: int) -> None:
    """Side and linings where the section leaves the body."""
    top, back = (top_height(body, *place) - body.top.thickness / 2, back_height(body, *place) + body.back.thickness / 2)
    half = body.side_thickness / 2
    _shape(ax, _box(u - half, u + half, back, top), origin, fc=FILL["plate"], lw=0.5)
    for lining, z, sign in ((body.lining_top, top, -1), (body.lining_back, back, 1)):
        if lining.kind != "none":
            inner = u + inward * half
            box = _box(inner, inner + inward * lining.width, z, z + sign * lining.height)
            _shape(ax, box, origin, fc=FILL["block"], lw=0.5)


def _cut_brace(
    ax: Axes, body: Body, origin: np.ndarray, start: np.ndarray, along: np.ndarray, brace: Brace, sign: int
) -> None:
    """Brace where it crosses the section line; sign -1 hangs from the top, +1 stands on the back."""
    a, b = np.array(brace.start), np.array(brace.end)
    matrix = np.column_stack([b - a, -along])
    if abs(np.linalg.det(matrix)) < 1e-3 * brace.length:
        return
    part, u = np.linalg.solve(matrix, start - a)
    if not 0 <= part <= 1:
        return
    half = brace.width / 2 / abs(np.linalg.det(matrix) / brace.length)
    place, surface = start + u * along, top_height if sign < 0 else back_height
    z = surface(body, *place) + sign * thickness_here(body, brace.plate, place) / 2
    height = float(brace_heights(brace, part * brace.length))
    section = section_outline(brace, height) * [2 * half / brace.width, sign] + [u, z]
    _shape(ax, section, origin, fc=FILL["brace"], lw=0.6)


def _box(u0: float, u1: float, z0: float | np.ndarray, z1: float | np.ndarray) -> np.ndarray:
    return np.array([[u0, z0], [u1, z0], [u1, z1], [u0, z1]])


def _shape(ax: Axes, points: np.ndarray, origin: np.ndarray, fc: str, lw: float, ls: LineStyle = "-") -> Patch:
    return ax.add_patch(Polygon(origin + 1e3 * points, closed=True, fc=fc, ec="k", lw=lw, ls=ls))


def _line(ax: Axes, points: np.ndarray, origin: np.ndarray, lw: float, ls: LineStyle = "-") -> None:
    ax.plot(*(origin + 1e3 * points).T, color="k", lw=lw, ls=ls)
