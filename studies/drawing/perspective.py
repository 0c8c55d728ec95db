"""The guitar in perspective, its motion exaggerated: front and back side by side, by pyvista or else by matplotlib."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgb
from matplotlib.tri import LinearTriInterpolator, Triangulation

from meshes.body import Body
from meshes.drawing import rectangle
from studies.drawing.features import HARDLY, NodalLine, nodal_lines, outer_loops, smoothed
from studies.drawing.field import Field, area_vectors
from studies.drawing.neck_solid import Solid
from studies.drawing.plan import NODE, tongue
from studies.drawing.sheet import BANDS, DPI, MM_PER_INCH, SCALE, Theme, sheet
from studies.drawing.topology import Topology

EXAGGERATED = 0.05  # largest motion in the picture over the extent of the guitar
TOWARDS_EYE = {"front": (-0.42, -0.40, 0.95), "back": (-0.42, 0.40, -0.95)}  # body's x points up in both
INSIDE = "#57534d"  # colour of inner faces, seen through the soundhole
NECK = "#75695d"  # colour of the neck, which has no scale
DISTANCE = 3.2  # of the eye, in extents
MARGIN = 1.08  # of the frame about the guitar
SIDES_MOVE = 0.10  # of the largest displacement: below that, nodal lines on faces that are not level are left out
LEVEL = 0.5  # least upward or downward part of the normal of a face that belongs to top or back
GRAZING = 0.2  # cosine to the line of sight below which lines on a face are left out
TONES = 2 * BANDS + 1  # an odd number: what is at rest is one tone, not the edge of two
POINT = 0.3528  # mm
FINER = 3  # times finer than print that matplotlib paints
WIDTHS = {"node": 1.5, "edge": 0.8, "part": 0.7}  # points

Line = tuple[
    np.ndarray, np.ndarray | None, str
]  # (k, 3), its outward normals (None at an edge); 'node', 'edge', 'part'


@dataclass(frozen=True)
class Scene:
    """What is drawn: moved surfaces and the lines on them, in m."""

    points: np.ndarray  # (n, 3)
    triangles: np.ndarray  # (k, 3)
    value: np.ndarray  # (n,) -1..1; nan: without colour of its own, the neck
    lines: tuple[Line, ...]
    rest: np.ndarray  # (n, 3) the points before they moved, which set the frame


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
    field: Field, normal: np.ndarray, body: Body | None, scales: tuple[float, float], swing: Swing | None = None,
    part: float = 1.0, nodes: bool = True,
) -> Scene:  # fmt: skip
    """Scene of a Field on the whole box; normal (n, 3) as in its Sampler.

    scales: displacement of full colour, and that drawn as EXAGGERATED of the extent. The same two values give pictures of
    builds one common scale. part: of the motion, -1..1, for moving pictures. nodes: draw nodal lines.
    """
    largest, full = (scale or 1.0 for scale in scales)
    rest = field.points if swing is None else np.vstack([field.points, swing.neck.points])
    much = part * EXAGGERATED * float(np.max(np.ptp(rest, axis=0))) / full
    place = field.points + much * field.displacement
    clear = _clear_lines(field, normal, largest, full, body is None) if nodes else []
    lines: list[Line] = [(smoothed(line.along(place)), line.along(normal), "node") for line in clear]
    lines += [(place[loop], None, "edge") for loop in outer_loops(field)]
    if body is not None:
        laid = [_on_top(polygon, field, place, normal) for polygon in (rectangle(body.bridge), *tongue(body))]
        lines += [(line, np.tile([0.0, 0, 1], (len(line), 1)), "part") for line in laid]
    value, triangles = np.clip(part * field.value / largest, -1, 1), field.triangles
    if swing is not None:
        neck, start = swing.neck.points + much * swing.displacement, len(place)
        lines += [(neck[loop], None, "edge") for loop in swing.neck.loops]
        place, triangles = np.vstack([place, neck]), np.vstack([triangles, swing.neck.triangles + start])
        value = np.append(value, np.full(len(neck), np.nan))
    return Scene(place, triangles, value, tuple(lines), rest)


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


def view_from(rest: np.ndarray, eye: tuple[float, float, float], aspect: float) -> View:
    """View that holds the points (n, 3), seen from the direction `eye`; aspect: height over width of the picture."""
    toward = np.array(eye) / np.linalg.norm(eye)
    up = np.array([1.0, 0, 0]) - toward[0] * toward
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
    seen = [view_from(rest, eye, 1e-6) for eye in TOWARDS_EYE.values()]
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


# --- with pyvista ---


def draw_with_pyvista(drawn: Scene, theme: Theme, width_mm: float, dpi: float = DPI) -> np.ndarray:
    """Pixels (h, w, 3); call only where system_check.works(PERSPECTIVE): a lack of OpenGL kills the process."""
    import pyvista as pv
    from vtkmodules.vtkCommonCore import vtkLogger

    wide, tall = round(width_mm / MM_PER_INCH * dpi / 2), height_over_width(drawn.rest)
    size = (wide, round(2 * wide * tall))
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)  # no word about a display that is not needed
    try:
        views = [_view(pv, drawn, theme, eye, size, width_mm * tall) for eye in TOWARDS_EYE.values()]
    finally:
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_INFO)
    return np.hstack(views)


def _view(pv, drawn, theme, eye, size, high_mm):
    """One view as an array of pixels."""
    plotter = pv.Plotter(off_screen=True, window_size=size, lighting="none")
    plotter.set_background(theme.page)
    seen = view_from(drawn.rest, eye, size[1] / size[0])
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
    soft = {"smooth_shading": True, "ambient": 0.74, "diffuse": 0.28, "specular": 0.0}
    coloured = np.isfinite(drawn.value[drawn.triangles]).all(axis=1)
    poly = lambda triangles: pv.PolyData(drawn.points, np.insert(triangles, 0, 3, axis=1).ravel())
    surface = poly(drawn.triangles[coloured])
    surface.point_data["motion"] = np.nan_to_num(drawn.value)
    surface = surface.compute_normals(cell_normals=False, split_vertices=False, consistent_normals=False)
    plotter.add_mesh(surface, color=INSIDE, culling="front", **soft)
    plotter.add_mesh(
        surface, scalars="motion", cmap=SCALE, clim=(-1, 1), n_colors=TONES, show_scalar_bar=False, culling="back", **soft
    )  # fmt: skip
    if not coloured.all():
        plotter.add_mesh(poly(drawn.triangles[~coloured]), color=NECK, **soft | {"smooth_shading": False})
    for line, kind in visible_lines(drawn, seen, {kind: width / 2 * point for kind, width in WIDTHS.items()}):
        tube = pv.lines_from_points(line).tube(radius=WIDTHS[kind] / 2 * point, n_sides=10)
        plotter.add_mesh(tube, color=theme.ink if kind == "edge" else NODE, lighting=False)
    plotter.reset_camera_clipping_range()


# --- with matplotlib ---


def draw_with_matplotlib(drawn: Scene, theme: Theme, width_mm: float, dpi: float = DPI) -> np.ndarray:
    """Pixels (h, w, 3) without OpenGL: faces and pieces of line painted from the furthest to the nearest."""
    from PIL import Image

    tall = height_over_width(drawn.rest)
    page = sheet(width_mm, width_mm * tall, theme)
    page.figure.set_dpi(FINER * dpi)
    canvas = FigureCanvasAgg(page.figure)
    for k, eye in enumerate(TOWARDS_EYE.values()):
        seen = view_from(drawn.rest, eye, 2 * tall)
        ax = page.axes(k * width_mm / 2, 0, width_mm / 2, page.height)
        ax.set_axis_off()
        ax.set_aspect("equal")
        ax.set_ylim(-seen.height / 2, seen.height / 2)
        ax.set_xlim(-seen.height / 4 / tall, seen.height / 4 / tall)
        _paint(ax, drawn, theme, seen)
    canvas.draw()
    large = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3])
    return np.asarray(large.resize((large.width // FINER, large.height // FINER), Image.Resampling.BOX))


def _paint(ax, drawn, theme, seen):
    toward = seen.axes[:, 2]
    n = area_vectors(drawn.points, drawn.triangles)
    facing = (n @ toward) / np.linalg.norm(n, axis=1)
    shapes = list(projected(drawn.points, seen)[drawn.triangles])
    depth, inks = list(drawn.points[drawn.triangles].mean(axis=1) @ toward), list(map(tuple, _tones(drawn, facing)))
    widths, nearer = [0.6] * len(shapes), 0.01 * seen.height  # a line is painted after the faces it lies on
    for line, kind in visible_lines(drawn, seen, dict.fromkeys(WIDTHS, 0.0)):
        flat = projected(line, seen)
        shapes += list(np.stack([flat[:-1], flat[1:]], axis=1))
        depth += list((line[:-1] + line[1:]) @ toward / 2 + nearer)
        inks += [to_rgb(theme.ink if kind == "edge" else NODE)] * (len(line) - 1)
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
    value = drawn.value[drawn.triangles].mean(axis=1)
    tone = np.where(np.isnan(value)[:, None], to_rgb(NECK), SCALE(0.5 + 0.5 * np.nan_to_num(value))[:, :3])
    return np.where(facing[:, None] > 0, tone * (0.74 + 0.26 * facing.clip(0, 1))[:, None], to_rgb(INSIDE))
