"""Plan views of modes for print: top and back as seen by a reader facing each, in SVG, PDF or PNG at a print width."""

from dataclasses import dataclass
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.tri import Triangulation
from scipy.spatial import cKDTree

from meshes.body import braces_of
from meshes.drawing import block_outlines, brace_outline, rectangle
from meshes.outline import closed, point_at
from studies.mode_field import boundary, moving_areas, nodal_lines

MM_PER_INCH = 25.4
DPI = 300
FULL_WIDTH = 120.0  # mm of print at which line widths have their plain size
FORMATS = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}, ".png": {}}  # and what not to write: no dates
BANDS = 10  # steps of colour from rest to full scale
GAP = 0.10  # between top and back, of the width of a plate
SIDE = {"top": -1.0, "back": 1.0}  # what points right on the page, neck up: -y when facing the top, +y facing the back

# Lightness L* climbs evenly from 27 (full inward) over 61 (rest) to 95 (full outward), blue to yellow: the pair that all
# common kinds of colour blindness tell apart. A grey copy therefore still tells in from out.
SCALE = LinearSegmentedColormap.from_list("rimwork", ["#004084", "#274f8c", "#465f94", "#61709a", "#79819c", "#959390",
                                                      "#b4a47e", "#ccb67d", "#e4c87e", "#fbdb82", "#ffee87"])  # fmt: skip


@dataclass(frozen=True)
class Theme:
    """Colours of everything but the plates."""

    page: str
    ink: str  # outlines and words
    node: str  # nodal lines
    part: str  # braces, bridge, blocks


THEMES = {
    "light": Theme("#ffffff", "#1a1a1a", "#000000", "#1a1a1a"),
    "dark": Theme("#14171c", "#e8e6e0", "#000000", "#1a1a1a"),
}


@dataclass(frozen=True)
class Plate:
    """One plate ready to be drawn: plan places of its field's points, and the lines of what is on it."""

    name: str  # 'top' or 'back'
    plan: np.ndarray  # (n, 2) m, right and up on the page
    edges: tuple  # polylines (k, 2): outline and soundhole
    parts: tuple  # polylines (k, 2): braces, blocks, bridge


def plate_plan(name, field, body=None):
    """Plate of a field on the top or the back; with a body, edges follow its true curves and its parts are drawn."""
    flip = np.array([SIDE[name], 1.0])
    turn = lambda xy: np.asarray(xy)[:, ::-1] * flip  # noqa: E731  body's (x, y) to the page's (right, up)
    xy = field.points[:, :2].copy()
    rim = boundary(field)
    if body is None:
        edges = tuple(turn(xy[e]) for e in rim)
        return Plate(name, turn(xy), edges, ())
    curves = [closed(point_at(body.outline, np.linspace(0, body.outline.perimeter, 3000, endpoint=False)))]
    if name == "top":
        angle = np.linspace(0, 2 * np.pi, 181)
        curves.append(body.soundhole.centre + body.soundhole.radius * np.column_stack([np.cos(angle), np.sin(angle)]))
    on_rim = np.unique(rim)
    true = np.concatenate(curves)
    xy[on_rim] = true[cKDTree(true).query(xy[on_rim])[1]]
    shapes = [brace_outline(brace) for brace in braces_of(body, name)] + block_outlines(body)
    if name == "top":
        shapes += [rectangle(part) for part in (body.bridge, body.bridge_plate) if part is not None]
    return Plate(name, turn(xy), tuple(map(turn, curves)), tuple(turn(closed(s)) for s in shapes))


def draw_plates(ax, plates, fields, theme, largest, scale=1.0, marks=True):
    """Plates side by side on one axes, widths in m.

    plates, fields: {name: Plate}, {name: Field}. largest: displacement of full scale. scale: of the line widths.
    Returns the middle of each plate on the page, {name: x}.
    """
    right, middle = None, {}
    for name, plate in plates.items():
        low, high = plate.plan.min(axis=0), plate.plan.max(axis=0)
        shift = np.array([0.0 if right is None else right + GAP * (high[0] - low[0]) - low[0], 0.0])
        right = high[0] + shift[0]
        middle[name] = (low[0] + high[0]) / 2 + shift[0]
        _plate(ax, plate, fields[name], shift, theme, largest, scale, marks)
    low = min(plate.plan[:, 1].min() for plate in plates.values())
    high = max(plate.plan[:, 1].max() for plate in plates.values())
    left = min(plate.plan[:, 0].min() for plate in list(plates.values())[:1])
    ax.set_xlim(left - BORDER * (right - left), right + BORDER * (right - left))
    ax.set_ylim(low - BORDER * (right - left), high + BORDER * (right - left))
    ax.set_aspect("equal")
    ax.set_axis_off()
    return middle


def _plate(ax, plate, field, shift, theme, largest, scale, marks):
    xy = plate.plan + shift
    tri = Triangulation(*xy.T, field.triangles)
    value = np.clip(field.value / largest, -1, 1) if largest > 0 else 0 * field.value
    levels = np.linspace(-1, 1, 2 * BANDS + 1)
    bands = ax.tricontourf(tri, value, levels=levels, cmap=SCALE, vmin=-1, vmax=1)
    bands.set_edgecolor("face")  # closes the hairlines between bands
    bands.set_linewidth(0.25)
    for sign, style in ((1, "solid"), (-1, (0, (4, 2.5)))):
        lines = np.sort(sign * levels[BANDS + 2 :: 2])
        if value.min() < lines[-1] and value.max() > lines[0]:
            ax.tricontour(tri, value, levels=lines, colors=theme.node, linewidths=0.3 * scale, linestyles=[style], alpha=0.55)
    for part in plate.parts:
        ax.plot(*(part + shift).T, color=theme.part, lw=0.35 * scale, alpha=0.75, solid_joinstyle="miter")
    for line in nodal_lines(field, largest):
        ax.plot(*line.along(xy).T, color=theme.node, lw=1.7 * scale, solid_capstyle="butt", solid_joinstyle="round")
    for edge in plate.edges:
        ax.plot(*(edge + shift).T, color=theme.ink, lw=0.8 * scale, solid_joinstyle="round")
    if marks:
        _signs(ax, xy, field, theme, largest, scale)


def _signs(ax, xy, field, theme, largest, scale):
    """+ where an area moves outward, - where it moves inward, at its furthest place."""
    for _, peak in moving_areas(field, largest):
        outward = field.value[peak] > 0
        ax.plot(*xy[peak], "+" if outward else "_", color=theme.node if outward else "w", ms=6.5 * scale, mew=1.1 * scale)


def save(figure, stem, formats, dpi=DPI):
    """Writes a figure as stem + each ending; returns the paths."""
    paths = [Path(f"{stem}{ending}") for ending in formats]
    with matplotlib.rc_context({"svg.hashsalt": "rimwork", "svg.fonttype": "none"}):
        for path in paths:
            figure.savefig(path, dpi=dpi, metadata=FORMATS[path.suffix], facecolor=figure.get_facecolor())
    return paths


def figure_of(width_mm, height_mm, theme):
    return Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), facecolor=theme.page)


def plan_figure(plates, fields, theme, largest, width_mm=FULL_WIDTH, marks=True):
    """Figure of one mode: the plates side by side, nothing else."""
    sizes = [np.ptp(p.plan, axis=0) for p in plates.values()]
    wide = sum(s[0] for s in sizes) + GAP * sum(s[0] for s in sizes[1:])
    high = max(s[1] for s in sizes)
    figure = figure_of(width_mm, width_mm * (high / wide), theme)
    ax = figure.add_axes((0, 0, 1, 1))
    draw_plates(ax, plates, fields, theme, largest, width_mm / FULL_WIDTH, marks)
    return figure
