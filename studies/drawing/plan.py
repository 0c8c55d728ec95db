"""Plan views of modes for print: top and back as seen by a reader facing each, in SVG, PDF or PNG at a print width."""

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from textwrap import wrap

import matplotlib
import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.tri import Triangulation
from scipy.spatial import cKDTree

from meshes.body import braces_of
from meshes.drawing import block_outlines, brace_outline, rectangle
from meshes.outline import point_at
from studies.drawing.features import boundary, nodal_lines, outer_loops, peaks, smoothed
from studies.drawing.field import unturned

MM_PER_INCH = 25.4
DPI = 300
FULL_WIDTH = 120.0  # mm of print at which line widths have their plain size
FORMATS = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}, ".png": {}}  # and what not to write: no dates
OUTLINE_POINTS, HOLE_POINTS, FINER = 400, 120, 8  # points drawn, and how many times finer the rim follows the curves
EASED = 0.03  # m from an edge within which points are moved along with it
INSIDE = 1 - 1e-9  # of full scale: what lies on its very end, or beyond, would be left unpainted
BANDS = 10  # steps of colour from rest to full scale
GAP, BORDER = 0.10, 0.012  # between plates, of the width of one; around them, of the width of the picture
RIGHT = {"top": -1.0, "back": 1.0}  # what points right on the page, neck up: -y when facing the top, +y facing the back
LETTERING = ("Source Sans 3", "Helvetica Neue", "Helvetica", "Arial", "Liberation Sans", "DejaVu Sans")

# Lightness L* climbs evenly from 28 (full inward) over 60 (rest) to 92 (full outward), blue to yellow: the pair that
# all common kinds of colour blindness tell apart. A grey copy therefore still tells in from out.
SCALE = LinearSegmentedColormap.from_list(
    "rimwork",
    [
        "#053e90",
        "#354d97",
        "#505d9c",
        "#676da0",
        "#7d7fa0",
        "#93928e",
        "#afa280",
        "#c5b480",
        "#dbc583",
        "#f0d788",
        "#ffe98d",
    ],
)


@dataclass(frozen=True)
class Theme:
    """Colours of everything but the plates."""

    page: str
    ink: str  # outlines and words
    quiet: str  # small print


THEMES = {"light": Theme("#ffffff", "#1a1a1a", "#5a5a5a"), "dark": Theme("#14171c", "#ece9e2", "#a9a69f")}
NODE, PART = "#000000", "#1a1a1a"  # nodal lines; braces, blocks and bridge: they lie on the plates, whatever the page


@dataclass(frozen=True)
class Plate:
    """One plate ready to be drawn; places on the page [m], right and up."""

    plan: np.ndarray  # (n, 2), of the points of its field
    edges: tuple = ()  # closed polygons: outline first, then soundhole
    under: tuple = ()  # polygons of what is glued inside: braces, blocks, bridge plate
    on_top: tuple = ()  # polygons of what is seen: the bridge

    @property
    def width(self):
        return np.ptp(self.plan[:, 0])


# --- what is drawn ---


def true_curves(body):
    """Closed curves of a body in plan as points (k, 2) [m], finer than print: outline, soundhole."""
    arc = np.linspace(0, body.outline.perimeter, OUTLINE_POINTS * FINER, endpoint=False)
    angle = np.linspace(0, 2 * np.pi, HOLE_POINTS * FINER, endpoint=False)
    round_hole = body.soundhole.radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return point_at(body.outline, np.union1d(arc, body.outline.corners)), body.soundhole.centre + round_hole


def on_true_curves(sampler, body):
    """The Sampler with its points on the sides, the rim and the edge of the soundhole moved off the mesh's chords.

    Points of the plates near an edge move along, ever less with distance; where a narrow triangle would be turned over
    nevertheless, its corners stay where the mesh has them.
    """
    upright = np.abs(sampler.normal[:, 2]) < 0.5
    rim = np.union1d(boundary(sampler), np.flatnonzero(upright))
    true, points = np.concatenate(true_curves(body)), sampler.points
    shift = np.zeros((len(points), 2))
    shift[rim] = true[cKDTree(true).query(points[rim, :2])[1]] - points[rim, :2]
    inner = np.setdiff1d(np.arange(len(points)), rim)
    far, nearest = cKDTree(points[rim]).query(points[inner])
    shift[inner] = (1 - far / EASED).clip(0)[:, None] * shift[rim[nearest]]
    level = ~upright[sampler.triangles].any(axis=1)
    shift = unturned(points[:, :2], sampler.triangles[level], shift)
    return replace(sampler, points=np.column_stack([points[:, :2] + shift, points[:, 2]]))


def plate_plan(name, sampler, body=None):
    """Plate of the sampled 'top' or 'back', with the parts of a body if there is one."""
    turn = lambda xy: np.asarray(xy)[:, ::-1] * [RIGHT[name], 1.0]
    xy = sampler.points[:, :2]
    if body is None:
        return Plate(turn(xy), tuple(turn(xy[loop]) for loop in outer_loops(sampler)))
    edges = [curve[::FINER] for curve in true_curves(body)]
    under = [brace_outline(brace) for brace in braces_of(body, name)] + block_outlines(body)
    if name == "back":
        edges, on_top = edges[:1], []
    else:
        on_top = [rectangle(body.bridge), *tongue(body)]
        under += [rectangle(body.bridge_plate)] if body.bridge_plate else []
    return Plate(turn(xy), *(tuple(map(turn, group)) for group in (edges, under, on_top)))


def tongue(body):
    """The end of the fingerboard that lies on the top, as a list of at most one polygon (4, 2) [m] in plan."""
    if body.neck is None or not body.neck.tongue:
        return []
    length, half = body.outline.length, body.neck.width / 2
    start = length - body.neck.tongue
    return [np.array([[start, -half], [length, -half], [length, half], [start, half]])]


def draw_plates(ax, plates, fields, theme, largest, scale=1.0, marks=True, furthest=None, nodes=None, tones=2 * BANDS):
    """Plates side by side on one axes that they fill; plates and fields by name.

    largest: displacement of full scale. scale: of the line widths. marks: + and - where areas move furthest.
    furthest: displacement of whatever moves most, beside which nodal lines in still places are left out; `largest` if not
    given. nodes: fields whose nodal lines are drawn, {} for none; the fields themselves if not given. tones: steps of
    colour; an odd number gives what is at rest a tone of its own.
    Returns the middle of each plate on the page, {name: x}, and the lowest point of all.
    """
    shifts, middle, right = _side_by_side(plates)
    nodes = fields if nodes is None else nodes
    for name, plate in plates.items():
        lines = nodal_lines(nodes[name], max(largest, furthest or 0)) if name in nodes else []
        _plate(ax, plate, fields[name], shifts[name], theme, largest, scale, marks, lines, tones)
    low, high = (f([f(p.plan[:, 1]) for p in plates.values()]) for f in (np.min, np.max))
    ax.set_xlim(-BORDER * right, (1 + BORDER) * right)
    ax.set_ylim(low - BORDER * right, high + BORDER * right)
    ax.set_aspect("equal")
    ax.set_axis_off()
    return middle, low


def _side_by_side(plates):
    """{name: shift to the right}, {name: middle}, whole width; the first plate starts at 0."""
    shifts, middle, right = {}, {}, 0.0
    for name, plate in plates.items():
        start = right + (GAP * plate.width if shifts else 0.0)
        shifts[name] = np.array([start - plate.plan[:, 0].min(), 0.0])
        middle[name], right = start + plate.width / 2, start + plate.width
    return shifts, middle, right


def _plate(ax, plate, field, shift, theme, largest, scale, marks, lines, tones):
    xy = plate.plan + shift
    value = np.clip(field.value / largest, -INSIDE, INSIDE) if largest > 0 else 0 * field.value
    _bands(ax, Triangulation(*xy.T, field.triangles), value, scale, tones)
    rim = Polygon(plate.edges[0] + shift, closed=True, transform=ax.transData)
    _polygons(ax, plate.under, shift, PART, 0.35 * scale, alpha=0.7).set_clip_path(rim.get_path(), ax.transData)
    _polygons(ax, plate.on_top, shift, PART, 0.7 * scale).set_clip_path(rim.get_path(), ax.transData)
    nodes = [smoothed(line.along(xy)) for line in lines]
    drawn = LineCollection(nodes, colors=NODE, linewidths=1.5 * scale, capstyle="butt", joinstyle="round")
    ax.add_collection(drawn, autolim=False).set_clip_path(rim.get_path(), ax.transData)
    _polygons(ax, plate.edges, shift, theme.ink, 0.8 * scale)
    if marks:
        _signs(ax, xy, field, np.concatenate(plate.edges) + shift, largest, scale)


def _bands(ax, tri, value, scale, tones):
    """Bands of colour, and a thin line every second band: solid outward, dashed inward."""
    levels = np.linspace(-1, 1, 2 * BANDS + 1)
    bands = ax.tricontourf(tri, value, levels=np.linspace(-1, 1, tones + 1), cmap=SCALE, vmin=-1, vmax=1)
    bands.set_edgecolor("face")  # closes the hairlines between bands
    bands.set_linewidth(0.25)
    for sign, style in ((1, "solid"), (-1, (0, (4, 2.5)))):
        lines = np.sort(sign * levels[BANDS + 2 :: 2])
        if value.min() < lines[-1] and value.max() > lines[0]:
            ax.tricontour(tri, value, levels=lines, colors=NODE, linewidths=0.3 * scale, linestyles=[style], alpha=0.55)


def _polygons(ax, shapes, shift, color, width, alpha=1.0):
    shapes = [shape + shift for shape in shapes]
    drawn = PolyCollection(
        shapes, facecolors="none", edgecolors=color, linewidths=width, alpha=alpha, joinstyle="round"
    )
    return ax.add_collection(drawn, autolim=False)


def _signs(ax, xy, field, edge, largest, scale):
    """+ where an area moves outward, - where it moves inward, at its furthest place a little off the edge."""
    away = cKDTree(edge).query(xy)[0] > 0.04 * np.max(np.ptp(xy, axis=0))
    for peak in peaks(field, largest):
        near = np.flatnonzero(away & (field.value / field.value[peak] > 0.5))
        if near.size:
            place = xy[near[np.argmin(np.hypot(*(xy[near] - xy[peak]).T))]]
            up = field.value[peak] > 0
            ax.plot(*place, "+" if up else "_", color=NODE if up else "w", ms=7 * scale, mew=1.3 * scale)


# --- figures ---


def proportion(plates):
    """Height over width of a picture of the plates side by side."""
    right = _side_by_side(plates)[2]
    high = max(p.plan[:, 1].max() for p in plates.values()) - min(p.plan[:, 1].min() for p in plates.values())
    return (high / right + 2 * BORDER) / (1 + 2 * BORDER)


def plan_figure(plates, fields, theme, largest, width_mm=FULL_WIDTH, marks=True, **more):
    """Figure of one mode: the plates side by side, nothing else. more: as draw_plates."""
    figure = _page(width_mm, width_mm * proportion(plates), theme)
    draw_plates(figure.add_axes((0, 0, 1, 1)), plates, fields, theme, largest, width_mm / FULL_WIDTH, marks, **more)
    return figure


def contact_figure(modes, theme, width_mm=180.0, columns=3, upward="neck", title="", furthest=None):
    """Figure of many modes with a key. modes: (plates, fields, largest, heading, label) of each.

    title: words above all, a second line after a line break is smaller. furthest: of each mode, as draw_plates.
    """
    rows = -(-len(modes) // columns)
    gap, foot, text = 5.0, 13.0, 12.0  # mm
    head = 6.0 + 5.0 * len(title.splitlines()) if title else 0.0
    wide = (width_mm - (columns + 1) * gap) / columns
    high = wide * max(proportion(m[0]) for m in modes)
    height = head + rows * (high + text + gap) + gap + foot
    figure = _page(width_mm, height, theme)
    for k, line in enumerate(title.splitlines()):
        size, color = ((11, theme.ink), (8, theme.quiet))[min(k, 1)]
        size *= min(
            1.0, (width_mm - 2 * gap) / (0.22 * size * max(len(line), 1))
        )  # a letter is some .6 of its size wide
        words = {"size": size, "color": color, "family": lettering(), "va": "baseline"}
        figure.text(gap / width_mm, (height - 8.0 - 5.0 * k) / height, line, **words)
    for k, (plates, fields, largest, heading, label) in enumerate(modes):
        left = gap + (k % columns) * (wide + gap)
        bottom = height - head - (k // columns + 1) * (high + text + gap) + text
        ax = figure.add_axes((left / width_mm, bottom / height, wide / width_mm, high / height))
        most = furthest[k] if furthest else None
        draw_plates(ax, plates, fields, theme, largest, 1.25 * wide / FULL_WIDTH, furthest=most)
        two_lines = "\n".join(wrap(label, max(24, int(0.75 * wide)), break_long_words=False)[:3])
        for words, down, size, color in ((heading, 1.2, 8.5, theme.ink), (two_lines, 5.2, 7, theme.quiet)):
            where = ((left + wide / 2) / width_mm, (bottom - down) / height)
            figure.text(*where, words, size=size, color=color, family=lettering(), ha="center", va="top")
    _key(figure, theme, height, upward)
    return figure


def _key(figure, theme, height, upward):
    """Colours and lines explained along the foot of a contact sheet."""
    words = {"size": 7, "color": theme.quiet, "family": lettering(), "va": "center"}
    ax = figure.add_axes((0.08, 8.5 / height, 0.30, 3.2 / height))
    ax.imshow(SCALE((np.arange(2 * BANDS) + 0.5) / (2 * BANDS))[None], aspect="auto", extent=(-1, 1, 0, 1))
    ax.plot([0, 0], [0, 1], color=NODE, lw=1.2)
    ax.set_axis_off()
    for x, text in ((-1, "inward"), (0, "at rest"), (1, "outward")):
        figure.text(0.23 + 0.15 * x, 6 / height, text, ha="center", **words)
    line = figure.add_axes((0.45, 8.5 / height, 0.04, 3.2 / height), facecolor=SCALE(0.5))
    line.plot([0, 1], [0, 0], color=NODE, lw=1.5)
    line.set(xlim=(0, 1), ylim=(-1, 1), xticks=[], yticks=[])
    line.spines[:].set_visible(False)
    figure.text(0.50, 10 / height, "nodal line: the plate stays at rest", ha="left", **words)
    note = f"top as you face it on the left, back as you face it on the right, {upward} upward"
    figure.text(0.45, 6 / height, note, ha="left", **words)


def _page(width_mm, height_mm, theme):
    return Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), facecolor=theme.page)


@cache
def lettering():
    """The first of LETTERING that this machine has."""
    from matplotlib.font_manager import fontManager

    present = {font.name for font in fontManager.ttflist}
    return next((name for name in LETTERING if name in present), "sans-serif")


def save(figure, stem, formats, dpi=DPI):
    """Writes a figure as stem + each ending; returns the paths."""
    paths = [Path(f"{stem}{ending}") for ending in formats]
    with matplotlib.rc_context({"svg.hashsalt": "rimwork", "svg.fonttype": "none"}):
        for path in paths:
            extra = {"pil_kwargs": {"compress_level": 4}} if path.suffix == ".png" else {}
            figure.savefig(path, dpi=dpi, metadata=FORMATS[path.suffix], facecolor=figure.get_facecolor(), **extra)
    return paths
