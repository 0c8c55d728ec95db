"""Plan views of modes for print: top and back as seen by a reader facing each, in SVG, PDF or PNG at a print width."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from textwrap import wrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.tri import Triangulation
from scipy.spatial import cKDTree

from meshes.body import Body, braces_of
from meshes.drawing import block_outlines, brace_outline, rectangle
from meshes.outline import point_at
from studies.drawing.features import HARDLY, NodalLine, areas, nodal_lines, outer_loops, smoothed
from studies.drawing.field import Field, Sampler, turned, unturned
from studies.drawing.sheet import BANDS, SCALE, THEMES, Sheet, Theme, sheet, steps_of_colour

FULL_WIDTH = 120.0  # mm of print at which line widths have their plain size
OUTLINE_POINTS, HOLE_POINTS, FINER = 400, 120, 8  # points drawn, and how many times finer the rim follows the curves
EASED = 0.03  # m from an edge within which points are moved along with it
INSIDE = 1 - 1e-9  # of full scale: what lies on its very end, or beyond, would be left unpainted
GAP, BORDER = 0.10, 0.012  # between plates, of the width of one; around them, of the width of the picture
ROOM = 5.0  # mm between panels and around them
RIGHT = {"top": -1.0, "back": 1.0}  # what points right on the page, neck up: -y when facing the top, +y facing the back
NODE, PART = "#000000", "#1a1a1a"  # nodal lines; braces, blocks and bridge: they lie on the plates, whatever the page


@dataclass(frozen=True)
class PlatePlan:
    """One plate ready to be drawn; places on the page [m], right and up."""

    plan: np.ndarray  # (n, 2), of the points of its field
    edges: tuple[np.ndarray, ...] = ()  # closed polygons: outline first, then soundhole
    under: tuple[np.ndarray, ...] = ()  # polygons of what is glued inside: braces, blocks, bridge plate
    on_top: tuple[np.ndarray, ...] = ()  # polygons of what is seen: the bridge


@dataclass(frozen=True)
class Motion:
    """What plates of these names do at one instant, and what it is measured by."""

    fields: dict[str, Field]
    largest: float  # displacement of full colour
    furthest: float = 0.0  # of whatever moves most, neck and sides counted
    nodes: dict[str, Field] | None = None  # fields whose nodal lines are drawn, {} for none; None: those of `fields`

    def lines(self, name: str) -> list[NodalLine]:
        """Nodal lines of a plate."""
        whole = self.fields if self.nodes is None else self.nodes
        return [] if name not in whole or self.still(name) else nodal_lines(whole[name])

    def still(self, name: str) -> bool:
        """Whether a plate hardly moves: it is drawn at rest, without lines."""
        whole = self.fields if self.nodes is None else self.nodes
        return name in whole and whole[name].largest < HARDLY * max(self.largest, self.furthest)


@dataclass(frozen=True)
class Mode:
    """One mode ready to be drawn."""

    number: int  # from 1
    column: int  # of the shapes
    frequency: float  # Hz
    motion: Motion = field(repr=False)
    sign: float  # +1 or -1, already applied to the fields; 0 where no plates could tell
    label: str
    remarks: tuple[str, ...]  # sentences for the caption


@dataclass(frozen=True)
class Style:
    """How plates are drawn."""

    theme: Theme = THEMES["light"]
    scale: float = 1.0  # of the line widths
    marks: bool = True  # + and - where areas move furthest
    rest: bool = True  # what moves less than a step has one tone, nodal lines drawn through it or not


@dataclass(frozen=True)
class Panel:
    """One of several pictures on a page, with words beneath."""

    plates: dict[str, PlatePlan]
    motion: Motion
    heading: str
    label: str


# --- what is drawn ---


def on_page(xy: np.ndarray, plate: str = "top") -> np.ndarray:
    """Plan points or motions (n, 2) [m] as a reader who faces a plate sees them: right and up, neck up."""
    return np.asarray(xy)[:, ::-1] * [RIGHT[plate], 1.0]


def true_curves(body: Body) -> tuple[np.ndarray, np.ndarray]:
    """Closed curves of a body in plan as points (k, 2) [m], finer than print: outline, soundhole."""
    arc = np.linspace(0, body.outline.perimeter, OUTLINE_POINTS * FINER, endpoint=False)
    angle = np.linspace(0, 2 * np.pi, HOLE_POINTS * FINER, endpoint=False)
    round_hole = body.soundhole.radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return point_at(body.outline, np.union1d(arc, body.outline.corners)), body.soundhole.centre + round_hole


def on_true_curves(sampler: Sampler, body: Body) -> Sampler:
    """The Sampler with its points on the sides, the rim and the edge of the soundhole moved off the mesh's chords.

    Points of the plates near an edge move along, ever less with distance; where a narrow triangle would be turned over
    nevertheless, its corners stay where the mesh has them.
    """
    upright = np.abs(sampler.normal[:, 2]) < 0.5
    rim = np.union1d(sampler.topology.boundary, np.flatnonzero(upright))
    true, points = np.concatenate(true_curves(body)), sampler.points
    shift = np.zeros((len(points), 2))
    shift[rim] = true[cKDTree(true).query(points[rim, :2])[1]] - points[rim, :2]
    inner = np.setdiff1d(np.arange(len(points)), rim)
    far, nearest = cKDTree(points[rim]).query(points[inner])
    shift[inner] = (1 - far / EASED).clip(0)[:, None] * shift[rim[nearest]]
    level = ~upright[sampler.triangles].any(axis=1)
    shift = unturned(points[:, :2], sampler.triangles[level], shift)
    return replace(sampler, points=np.column_stack([points[:, :2] + shift, points[:, 2]]))


def plate_plan(name: str, sampler: Sampler, body: Body | None = None) -> PlatePlan:
    """PlatePlan of the sampled 'top' or 'back', with the parts of a body if there is one."""
    turn = partial(on_page, plate=name)
    xy = sampler.points[:, :2]
    if body is None:
        return PlatePlan(turn(xy), tuple(turn(xy[loop]) for loop in outer_loops(sampler)))
    edges = [curve[::FINER] for curve in true_curves(body)]
    under = [brace_outline(brace) for brace in braces_of(body, name)] + block_outlines(body)
    if name == "back":
        edges, on_top = edges[:1], []
    else:
        on_top = [rectangle(body.bridge), *tongue(body)]
        under += [rectangle(body.bridge_plate)] if body.bridge_plate else []
    return PlatePlan(turn(xy), *(tuple(map(turn, group)) for group in (edges, under, on_top)))


def tongue(body: Body) -> list[np.ndarray]:
    """The end of the fingerboard that lies on the top, as a list of at most one polygon (4, 2) [m] in plan."""
    if body.neck is None or not body.neck.tongue:
        return []
    length, half = body.outline.length, body.neck.width / 2
    start = length - body.neck.tongue
    return [np.array([[start, -half], [length, -half], [length, half], [start, half]])]


def draw_plates(ax: Axes, plates: dict[str, PlatePlan], motion: Motion, style: Style = Style()) -> None:
    """Plates side by side on one axes that they fill."""
    placed, right, (low, high) = _side_by_side(plates)
    for name, plate in placed.items():
        shown = turned(motion.fields[name], 0.0 if motion.still(name) else 1.0)
        _plate(ax, plate, shown, motion.largest, motion.lines(name), style)
    ax.set_xlim(-BORDER * right, (1 + BORDER) * right)
    ax.set_ylim(low - BORDER * right, high + BORDER * right)
    ax.set_aspect("equal")
    ax.set_axis_off()


def _side_by_side(plates):
    """{name: PlatePlan moved to the right}, whole width, (lowest, highest) place; the first plate starts at 0."""
    placed, right = {}, 0.0
    for name, plate in plates.items():
        width = np.ptp(plate.plan[:, 0])
        start = right + (GAP * width if placed else 0.0)
        shift = np.array([start - plate.plan[:, 0].min(), 0.0])
        groups = (tuple(polygon + shift for polygon in group) for group in (plate.edges, plate.under, plate.on_top))
        placed[name] = PlatePlan(plate.plan + shift, *groups)
        right = start + width
    upward = np.concatenate([plate.plan[:, 1] for plate in plates.values()])
    return placed, right, (upward.min(), upward.max())


def _plate(ax, plate, field, largest, lines, style):
    xy, scale = plate.plan, style.scale
    value = np.clip(field.value / largest, -INSIDE, INSIDE) if largest > 0 else 0 * field.value
    _bands(ax, Triangulation(*xy.T, field.triangles), value, style)
    rim = Polygon(plate.edges[0], closed=True, transform=ax.transData).get_path()
    _polygons(ax, plate.under, PART, 0.35 * scale, alpha=0.7).set_clip_path(rim, ax.transData)
    _polygons(ax, plate.on_top, PART, 0.7 * scale).set_clip_path(rim, ax.transData)
    nodes = [smoothed(line.along(xy)) for line in lines]
    drawn = LineCollection(nodes, colors=NODE, linewidths=1.5 * scale, capstyle="butt", joinstyle="round")
    ax.add_collection(drawn, autolim=False).set_clip_path(rim, ax.transData)
    _polygons(ax, plate.edges, style.theme.ink, 0.8 * scale)
    if style.marks:
        _signs(ax, plate, field, scale)


def _bands(ax, tri, value, style):
    """Bands of colour, and a thin line every second band: solid outward, dashed inward."""
    bands = ax.tricontourf(tri, value, levels=np.linspace(-1, 1, 2 * BANDS + 1), colors=steps_of_colour(style.rest))
    bands.set_edgecolor("face")  # closes the hairlines between bands
    bands.set_linewidth(0.25)
    for sign, dashes in ((1, "solid"), (-1, (0, (4, 2.5)))):
        lines = np.sort(sign * np.linspace(-1, 1, 2 * BANDS + 1)[BANDS + 2 :: 2])
        if value.min() < lines[-1] and value.max() > lines[0]:
            width = 0.3 * style.scale
            ax.tricontour(tri, value, levels=lines, colors=NODE, linewidths=width, linestyles=[dashes], alpha=0.55)


def _polygons(ax, shapes, ink, width, alpha=1.0):
    drawn = PolyCollection(shapes, facecolors="none", edgecolors=ink, linewidths=width, alpha=alpha, joinstyle="round")
    return ax.add_collection(drawn, autolim=False)


def _signs(ax, plate, field, scale):
    """+ where an area moves outward, - where it moves inward, at its furthest place a little off the edge."""
    xy = plate.plan
    away = cKDTree(np.concatenate(plate.edges)).query(xy)[0] > 0.04 * np.max(np.ptp(xy, axis=0))
    for area in areas(field):
        inside = area.members[away[area.members]]
        near = inside if inside.size else area.members
        place = xy[near[np.argmin(np.hypot(*(xy[near] - xy[area.peak]).T))]]
        up = area.share > 0
        ax.plot(*place, "+" if up else "_", color=NODE if up else "w", ms=7 * scale, mew=1.3 * scale)


# --- figures ---


def proportion(plates: dict[str, PlatePlan]) -> float:
    """Height over width of a picture of the plates side by side."""
    _, right, (low, high) = _side_by_side(plates)
    return float(((high - low) / right + 2 * BORDER) / (1 + 2 * BORDER))


def plan_figure(
    plates: dict[str, PlatePlan], motion: Motion, width_mm: float = FULL_WIDTH, theme: Theme = THEMES["light"],
    style: Style = Style(),
) -> Figure:  # fmt: skip
    """Figure of one mode: the plates side by side, nothing else; the style's line widths as for FULL_WIDTH."""
    page, style = sheet(width_mm, width_mm * proportion(plates), theme), replace(style, theme=theme)
    style = replace(style, scale=style.scale * width_mm / FULL_WIDTH)
    draw_plates(page.axes(0, 0, page.width, page.height), plates, motion, style)
    return page.figure


def panels_sheet(
    panels: Sequence[Panel], width: float, columns: int, rooms: tuple[float, float, float],
    sizes: tuple[tuple[float, float], ...], style: Style = Style(),
) -> Sheet:  # fmt: skip
    """A Sheet of panels in rows, each with its heading and label beneath.

    rooms: mm above all panels, beneath each and beneath all. sizes: of headings and of labels, mm from the panel down and
    points. Lines are as broad as for a picture of their own, and a quarter more.
    """
    head, text, foot = rooms
    rows = -(-len(panels) // columns)
    wide = (width - (columns + 1) * ROOM) / columns
    high = wide * max(proportion(p.plates) for p in panels)
    page = sheet(width, head + rows * (high + text + ROOM) + ROOM + foot, style.theme)
    style = replace(style, scale=1.25 * wide / FULL_WIDTH)
    for k, panel in enumerate(panels):
        left = ROOM + (k % columns) * (wide + ROOM)
        bottom = page.height - head - (k // columns + 1) * (high + text + ROOM) + text
        draw_plates(page.axes(left, bottom, wide, high), panel.plates, panel.motion, style)
        inks = (style.theme.ink, style.theme.quiet)
        for words, (down, size), ink in zip((panel.heading, panel.label), sizes, inks):
            page.words(left + wide / 2, bottom - down, words, size, ink, "center", "top")
    return page


def contact_figure(
    panels: Sequence[Panel], theme: Theme, width_mm: float = 180.0, columns: int = 3, upward: str = "neck", title: str = ""
) -> Figure:  # fmt: skip
    """Figure of many modes with a key. title: words above all, a second line after a line break is smaller."""
    lines = title.splitlines()
    wide = (width_mm - (columns + 1) * ROOM) / columns
    broken = [
        replace(p, label="\n".join(wrap(p.label, max(24, int(0.75 * wide)), break_long_words=False)[:3]))
        for p in panels
    ]
    rooms = (6.0 + 5.0 * len(lines) if title else 0.0, 12.0, 13.0)
    page = panels_sheet(broken, width_mm, columns, rooms, ((1.2, 8.5), (5.2, 7)), Style(theme))
    for k, line in enumerate(lines):
        size, ink = ((11, theme.ink), (8, theme.quiet))[min(k, 1)]
        fits = (width_mm - 2 * ROOM) / (0.22 * size * max(len(line), 1))  # a letter is some .6 of its size wide
        page.words(ROOM, page.height - 8.0 - 5.0 * k, line, size * min(1.0, fits), ink, va="baseline")
    _key(page, upward)
    return page.figure


def _key(page, upward):
    """Colours and lines explained along the foot of a contact sheet."""
    words = partial(page.words, size=7, ink=page.theme.quiet)
    at = lambda part: part * page.width
    page.colours(at(0.08), 8.5, at(0.30), 3.2)
    for x, text in ((-1, "inward"), (0, "at rest"), (1, "outward")):
        words(at(0.23 + 0.15 * x), 6, text, ha="center")
    line = page.axes(at(0.45), 8.5, at(0.04), 3.2)
    line.plot([0, 1], [0, 0], color=NODE, lw=1.5)
    line.set(xlim=(0, 1), ylim=(-1, 1), xticks=[], yticks=[], facecolor=SCALE(0.5))
    line.spines[:].set_visible(False)
    words(at(0.50), 10, "nodal line: the plate stays at rest")
    words(at(0.45), 6, f"top as you face it on the left, back as you face it on the right, {upward} upward")
