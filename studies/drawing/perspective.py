"""The guitar in perspective, its motion exaggerated: seen from the front and, turned end over end, from behind; by pyvista or
else by matplotlib.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.colors import ListedColormap, to_rgb
from matplotlib.tri import LinearTriInterpolator, Triangulation

from meshes.body import Body, back_height, top_height
from meshes.drawing import rectangle, widths
from meshes.lengths import MM_PER_INCH
from studies.drawing.features import HARDLY, NodalLine, nodal_lines, outer_loops, smoothed
from studies.drawing.field import Field, area_vectors
from studies.drawing.neck_solid import BOARD, Solid, closed_slab
from studies.drawing.plan import NODE, tongue
from studies.drawing.sheet import BANDS, DPI, Theme, lettering, sheet, steps_of_colour
from studies.drawing.topology import Topology

EXAGGERATED = 0.05  # largest motion in the picture over the extent of the guitar
# Where the eye is, and what points up: turned end over end, the back has the bass side on the left as the front has
VIEWS = {
    "from the front": ((-0.42, -0.40, 0.95), (1.0, 0.0, 0.0)),
    "from behind, neck down": ((0.30, -0.40, -0.95), (-1.0, 0.0, 0.0)),
}
INSIDE = "#6f6a63"  # colour of inner faces, seen through the soundhole
PLAIN = ("#b79f8c", "#544a43", "#d9d5cf")  # of what has no scale, by neck_solid's kinds of stuff
PALER = 0.28  # part of white in the scale's colours, which the light falls on
RIM_LEAST = 0.02  # of the plates' furthest place: a rim that moves less does not run through all colours
WORDS, LETTERS = 5.0, 7.0  # mm beneath the views, points: for what is seen
DISTANCE = 3.2  # of the eye, in extents
MARGIN = 1.08  # of the frame about the guitar
SIDES_MOVE = 0.10  # of the largest displacement: below that, nodal lines on faces that are not level are left out
LEVEL = 0.5  # least upward or downward part of the normal of a face that belongs to top or back
GRAZING = 0.2  # cosine to the line of sight below which lines on a face are left out
POINT = 0.3528  # mm
FINER = 3  # times finer than print that matplotlib paints
WIDTHS = {"node": 1.5, "edge": 0.8, "board": 0.8, "part": 0.7}  # points

Line = tuple[np.ndarray, np.ndarray | None, str]  # (k, 3), its outward normals (None at an edge); one of WIDTHS


@dataclass(frozen=True)
class Scene:
    """What is drawn: moved surfaces and the lines on them, in m."""

    points: np.ndarray  # (n, 3)
    triangles: np.ndarray  # (k, 3)
    value: np.ndarray  # (n,) -1..1
    stuff: np.ndarray  # (k,) index of PLAIN; -1: coloured by its motion
    lines: tuple[Line, ...]
    rest: np.ndarray  # (n, 3) the points before they moved, which set the frame
    bass: np.ndarray  # (m, 3) places of which the leftmost is marked as the bass side; may be none


@dataclass(frozen=True)
class Scales:
    """Displacements; the same ones give pictures of builds one common scale."""

    largest: float  # of full colour on top and back
    furthest: float  # drawn as EXAGGERATED of the extent
    sides: float  # of full colour on the sides


@dataclass(frozen=True)
class Swing:
    """The neck and its displacement (n, 3) [m]."""

    neck: Solid
    displacement: np.ndarray


@dataclass(frozen=True)
class View:
    """Where the eye is and what it sees."""

    centre: np.ndarray  # (3,) m, looked at
    axes: np.ndarray  # (3, 3) columns: right, up, towards the eye
    distance: float  # m
    height: float  # m across the picture at the distance of the centre


def perspective_scene(
    field: Field, normal: np.ndarray, body: Body | None, scales: Scales, swing: Swing | None = None,
    part: float = 1.0, nodes: bool = True,
) -> Scene:  # fmt: skip
    """Scene of a Field on the whole box; normal (n, 3) as in its Sampler.

    part: of the motion, -1..1, for moving pictures. nodes: draw nodal lines.
    """
    largest, full, sides = (scale or 1.0 for scale in (scales.largest, scales.furthest, scales.sides))
    rest = field.points if swing is None else np.vstack([field.points, swing.neck.points])
    much = part * EXAGGERATED * float(np.max(np.ptp(rest, axis=0))) / full
    place = field.points + much * field.displacement
    clear = _clear_lines(field, normal, largest, full, body is None) if nodes else []
    lines: list[Line] = [(smoothed(line.along(place)), line.along(normal), "node") for line in clear]
    lines += [(place[loop], None, "edge") for loop in outer_loops(field)]
    value = np.clip(part * field.value / np.where(upright(normal), sides, largest), -1, 1)
    pieces = [(place, field.triangles, np.full(len(field.triangles), -1))]
    if body is not None:
        ring = _on_top(rectangle(body.bridge), field, place, normal)
        lines.append((ring, np.tile([0.0, 0, 1], (len(ring), 1)), "part"))
        if body.neck is not None:
            for corners in tongue(body):
                edge, thickness = _on_top(corners, field, place, normal), body.neck.fingerboard_thickness
                lines.append((edge + [0, 0, thickness], None, "board"))
                pieces.append(_board(edge[:-1], thickness))
    if swing is not None:
        neck = swing.neck.points + much * swing.displacement
        lines += [(neck[loop], None, "edge") for loop in swing.neck.loops]
        pieces.append((neck, swing.neck.triangles, swing.neck.stuff))
    starts = np.cumsum([0] + [len(points) for points, *_ in pieces])
    triangles = np.concatenate([t + at for (_, t, _), at in zip(pieces, starts)])
    points, stuff = (np.concatenate([piece[k] for piece in pieces]) for k in (0, 2))
    value = np.append(value, np.zeros(len(points) - len(value)))
    return Scene(points, triangles, value, stuff, tuple(lines), rest, _bass_side(body))


def upright(normal: np.ndarray) -> np.ndarray:
    """(n,) bool, which of the places of these outward normals (n, 3) belong to neither top nor back."""
    return np.abs(normal[:, 2]) <= LEVEL


def _board(edge, thickness):
    """Points, triangles and stuff of the fingerboard's end: its edge (m, 3) on the top with its middle, and the same above."""
    m = len(edge)
    faces = np.column_stack([np.full(m, m), np.arange(m), (np.arange(m) + 1) % m])
    below = np.vstack([edge, edge.mean(axis=0)])
    if area_vectors(below, faces)[:, 2].sum() < 0:
        faces = faces[:, ::-1]
    triangles = closed_slab(faces, m + 1)
    return np.vstack([below, below + [0, 0, thickness]]), triangles, np.full(len(triangles), BOARD)


def _bass_side(body):
    """(2, 3) m, the narrowest place of the bass side, at the top and at the back; (0, 3) without a body."""
    if body is None:
        return np.zeros((0, 3))
    x, _, y = min(widths(body.outline), key=lambda found: found[2] - found[1])
    return np.array([[x, y, float(height(body, x, y))] for height in (top_height, back_height)])


def _clear_lines(field, normal, largest, full, all_round):
    """Nodal lines of top and back, each by itself, unless it hardly moves. all_round: on other faces too, where these move
    much; a box's sides show theirs by colour alone.
    """
    up, down = (np.all(sign * normal[field.triangles, 2] > LEVEL, axis=1) for sign in (1, -1))
    clear, floor = [], HARDLY * max(largest, full)
    others = ~up & ~down & all_round
    for faces, least in ((up, floor), (down, floor), (others, max(SIDES_MOVE * largest, floor))):
        used, index = np.unique(field.triangles[faces], return_inverse=True)
        if used.size:
            own = Field(field.points[used], Topology(index.reshape(-1, 3)), field.value[used], field.displacement[used])
            if own.largest >= least:
                clear += [NodalLine(used[line.i], used[line.j], line.t) for line in nodal_lines(own)]
    return clear


def view_from(rest: np.ndarray, view: str, aspect: float) -> View:
    """View of this name that holds the points (n, 3); aspect: height over width of the picture."""
    eye, above = map(np.array, VIEWS[view])
    toward = eye / np.linalg.norm(eye)
    up = above - (toward @ above) * toward
    up /= np.linalg.norm(up)
    axes = np.array([np.cross(up, toward), up, toward]).T
    distance = DISTANCE * float(np.max(np.ptp(rest, axis=0)))
    centre = (rest.min(axis=0) + rest.max(axis=0)) / 2
    for _ in range(3):  # the middle of the picture depends on where the eye is
        seen = projected(rest, View(centre, axes, distance, 1.0))
        centre = centre + axes[:, :2] @ (seen.min(axis=0) + seen.max(axis=0)) / 2
    wide, high = np.ptp(projected(rest, View(centre, axes, distance, 1.0)), axis=0)
    return View(centre, axes, distance, MARGIN * max(high, wide * aspect))


def height_over_width(rest: np.ndarray) -> float:
    """Height over width of the picture of both views of the points (n, 3): as tall as these fill it."""
    seen = [view_from(rest, view, 1e-6) for view in VIEWS]
    wide = max(np.ptp(projected(rest, s)[:, 0]) for s in seen)
    return float(np.clip(max(s.height for s in seen) / (2 * MARGIN * wide), 0.4, 1.3))


def projected(points: np.ndarray, seen: View) -> np.ndarray:
    """Places (n, 2) in the picture of points (n, 3), in m at the distance of the centre."""
    p = (points - seen.centre) @ seen.axes
    return p[:, :2] / (1 - p[:, 2:] / seen.distance)


def visible_lines(drawn: Scene, seen: View, lift: dict[str, float]) -> Iterator[tuple[np.ndarray, str]]:
    """The pieces of a scene's lines on faces turned to the eye, (polyline, kind), lifted off by lift[kind] [m]."""
    eye = seen.centre + seen.distance * seen.axes[:, 2]
    for line, outward, kind in drawn.lines:
        if outward is None:
            yield line, kind
            continue
        turned_here = np.sum(outward * (eye - line), axis=1) > GRAZING * seen.distance
        ends = np.flatnonzero(np.diff(np.concatenate([[0], turned_here.astype(int), [0]]))).reshape(-1, 2)
        for a, b in ends[np.diff(ends, axis=1)[:, 0] > 1]:
            yield (line + lift[kind] * outward)[a:b], kind


def _on_top(corners, field, places, normal):
    """A plan polygon (k, 2) laid on the top at `places` (n, 3), closed: (m, 3)."""
    up = np.all(normal[field.triangles, 2] > 0.7, axis=1)
    plan = Triangulation(*field.points[:, :2].T, field.triangles[up])
    ring = np.vstack([corners, corners[:1]])
    s = np.linspace(0, len(corners), 30 * len(corners) + 1)
    x, y = (np.interp(s, range(len(ring)), ring[:, k]) for k in (0, 1))
    laid = np.column_stack([LinearTriInterpolator(plan, places[:, k])(x, y).filled(np.nan) for k in range(3)])
    return laid[np.isfinite(laid).all(axis=1)]


def light_steps() -> np.ndarray:
    """(2 BANDS, 3) the scale's steps of colour as they are in the light."""
    return PALER + (1 - PALER) * steps_of_colour()[:, :3]


def _worded(views, drawn, theme, dpi):
    """Both views (h, w, 3) side by side, with what is seen beneath each and the bass side marked."""
    from matplotlib.font_manager import FontProperties, findfont
    from PIL import Image, ImageDraw, ImageFont

    high, wide = views[0].shape[:2]
    page = Image.new("RGB", (2 * wide, high + round(WORDS / MM_PER_INCH * dpi)), theme.page)
    pen = ImageDraw.Draw(page)
    letters = ImageFont.truetype(findfont(FontProperties(family=lettering())), max(9, round(LETTERS / 72 * dpi)))
    for k, (view, pixels) in enumerate(zip(VIEWS, views)):
        page.paste(Image.fromarray(pixels), (k * wide, 0))
        pen.text(((k + 0.5) * wide, (high + page.height) / 2), view, theme.quiet, letters, "mm")
        if len(drawn.bass):
            seen = view_from(drawn.rest, view, high / wide)
            x, y = min(projected(drawn.bass, seen).tolist()) * np.array([1, -1]) * high / seen.height + [
                wide / 2,
                high / 2,
            ]
            pen.text((k * wide + x - 0.5 * letters.size, y), "bass", theme.quiet, letters, "rm")
    return np.asarray(page)


# --- with pyvista ---


def draw_with_pyvista(drawn: Scene, theme: Theme, width_mm: float, dpi: float = DPI) -> np.ndarray:
    """Pixels (h, w, 3); call only where system_check.works(PERSPECTIVE): a lack of OpenGL kills the process."""
    import pyvista as pv
    from vtkmodules.vtkCommonCore import vtkLogger

    wide, tall = round(width_mm / MM_PER_INCH * dpi / 2), height_over_width(drawn.rest)
    size = (wide, round(2 * wide * tall))
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)  # no word about a display that is not needed
    try:
        views = [_view(pv, drawn, theme, view, size, width_mm * tall) for view in VIEWS]
    finally:
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_INFO)
    return _worded(views, drawn, theme, dpi)


def _view(pv, drawn, theme, view, size, high_mm):
    """One view as an array of pixels."""
    plotter = pv.Plotter(off_screen=True, window_size=size, lighting="none")
    plotter.set_background(theme.page)
    seen = view_from(drawn.rest, view, size[1] / size[0])
    _look(plotter, pv, seen)
    _fill(plotter, pv, drawn, theme, seen, seen.height / high_mm * POINT)
    plotter.enable_anti_aliasing("ssaa")
    picture = plotter.screenshot(return_img=True)
    plotter.close()
    return picture


def _look(plotter, pv, seen):
    right, up, toward = seen.axes.T
    light = seen.centre + seen.distance * (toward + 0.5 * up - 0.3 * right)
    plotter.add_light(pv.Light(position=light, focal_point=seen.centre, light_type="scene light"))
    plotter.camera.focal_point = seen.centre
    plotter.camera.position = seen.centre + seen.distance * toward
    plotter.camera.up = up
    plotter.camera.view_angle = np.degrees(2 * np.arctan(seen.height / 2 / seen.distance))


def _fill(plotter, pv, drawn, theme, seen, point):
    """Surfaces and lines; point: the length in the scene [m] of a point of print."""
    soft = {"smooth_shading": True, "ambient": 0.80, "diffuse": 0.24, "specular": 0.0}
    poly = lambda triangles: pv.PolyData(drawn.points, np.insert(triangles, 0, 3, axis=1).ravel())
    surface = poly(drawn.triangles[drawn.stuff < 0])
    surface.point_data["motion"] = drawn.value
    surface = surface.compute_normals(cell_normals=False, split_vertices=False, consistent_normals=False)
    plotter.add_mesh(surface, color=INSIDE, culling="front", **soft)
    scale = ListedColormap(light_steps())
    plotter.add_mesh(surface, scalars="motion", cmap=scale, clim=(-1, 1), show_scalar_bar=False, culling="back", **soft)
    for stuff, ink in enumerate(PLAIN):
        if (own := drawn.stuff == stuff).any():
            plotter.add_mesh(poly(drawn.triangles[own]), color=ink, **soft | {"smooth_shading": False})
    for line, kind in visible_lines(drawn, seen, {kind: width / 2 * point for kind, width in WIDTHS.items()}):
        tube = pv.lines_from_points(line).tube(radius=WIDTHS[kind] / 2 * point, n_sides=10)
        plotter.add_mesh(tube, color=theme.ink if kind in ("edge", "board") else NODE, lighting=False)
    plotter.reset_camera_clipping_range()


# --- with matplotlib ---


def draw_with_matplotlib(drawn: Scene, theme: Theme, width_mm: float, dpi: float = DPI) -> np.ndarray:
    """Pixels (h, w, 3) without OpenGL: faces and pieces of line painted from the furthest to the nearest."""
    from PIL import Image

    tall, views = height_over_width(drawn.rest), []
    page = sheet(width_mm / 2, width_mm * tall, theme)
    page.figure.set_dpi(FINER * dpi)
    canvas = FigureCanvasAgg(page.figure)
    for view in VIEWS:
        page.figure.clear()
        seen = view_from(drawn.rest, view, 2 * tall)
        ax = page.axes(0, 0, page.width, page.height)
        ax.set_axis_off()
        ax.set_aspect("equal")
        ax.set_ylim(-seen.height / 2, seen.height / 2)
        ax.set_xlim(-seen.height / 4 / tall, seen.height / 4 / tall)
        _paint(ax, drawn, theme, seen)
        canvas.draw()
        large = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3])
        views.append(np.asarray(large.resize((large.width // FINER, large.height // FINER), Image.Resampling.BOX)))
    return _worded(views, drawn, theme, dpi)


def _paint(ax, drawn, theme, seen):
    toward = seen.axes[:, 2]
    n = area_vectors(drawn.points, drawn.triangles)
    facing = (n @ toward) / np.linalg.norm(n, axis=1)
    shown = (drawn.stuff < 0) | (facing > 0)  # what is closed shows no inner side
    shapes = list(projected(drawn.points, seen)[drawn.triangles[shown]])
    nearer = 0.01 * seen.height  # a line is painted after the faces it lies on, the fingerboard after both
    far = drawn.points[drawn.triangles].mean(axis=1) @ toward + 2 * nearer * ((drawn.stuff == BOARD) & (n[:, 2] > 0))
    depth, inks = list(far[shown]), list(map(tuple, _tones(drawn, facing)[shown]))
    widths = [0.6] * len(shapes)
    for line, kind in visible_lines(drawn, seen, dict.fromkeys(WIDTHS, 0.0)):
        flat = projected(line, seen)
        shapes += list(np.stack([flat[:-1], flat[1:]], axis=1))
        depth += list((line[:-1] + line[1:]) @ toward / 2 + (3 if kind == "board" else 1) * nearer)
        inks += [to_rgb(theme.ink if kind in ("edge", "board") else NODE)] * (len(line) - 1)
        widths += [WIDTHS[kind]] * (len(line) - 1)
    order = np.argsort(depth)
    painted = PolyCollection(
        [shapes[k] for k in order], closed=False, capstyle="round", linewidths=np.array(widths)[order],
        antialiaseds=False,  # smooth edges would leave hairlines between faces; the picture is shrunk instead
        facecolors=np.array(inks)[order], edgecolors=np.array(inks)[order],
    )  # fmt: skip
    ax.add_collection(painted, autolim=False)


def _tones(drawn, facing):
    """(k, 3) colour of each triangle, darker where it turns away; of its inner side where it faces away."""
    scale, plain = light_steps(), np.array([to_rgb(ink) for ink in PLAIN])
    value = drawn.value[drawn.triangles].mean(axis=1)
    step = (BANDS * (1 + value)).astype(int).clip(0, 2 * BANDS - 1)
    tone = np.where((drawn.stuff < 0)[:, None], scale[step], plain[drawn.stuff])
    return np.where(facing[:, None] > 0, tone * (0.80 + 0.20 * facing.clip(0, 1))[:, None], to_rgb(INSIDE))
