"""The box in perspective, its motion exaggerated: front and back side by side, by pyvista or else by matplotlib."""

from dataclasses import dataclass

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.tri import LinearTriInterpolator, Triangulation

from meshes.drawing import rectangle
from studies.mode_features import QUIET, nodal_lines, outer_loops, smoothed
from studies.plan_picture import BANDS, DPI, MM_PER_INCH, NODE, SCALE

EXAGGERATED = 0.05  # largest motion in the picture over the extent of the box
TOWARDS_EYE = {"front": (-0.50, -0.42, 0.95), "back": (-0.50, 0.42, -0.95)}  # body's x points up in both
INSIDE = "#57534d"  # colour of inner faces, seen through the soundhole
PROPORTION = 0.62  # height over width of the picture
DISTANCE = 3.2  # of the eye, in extents
MARGIN = 1.10  # of the frame about the box
SIDES_MOVE = 0.10  # of the largest displacement: below that, nodal lines on the sides are left out
GRAZING = 0.2  # cosine to the line of sight below which lines on a face are left out
POINT = 0.3528  # mm
FINER = 3  # times finer than print that matplotlib paints
WIDTHS = {"node": 1.5, "edge": 0.8, "part": 0.7}  # points


@dataclass(frozen=True)
class Scene:
    """What is drawn: a moved surface and the lines on it, in m."""

    points: np.ndarray  # (n, 3)
    triangles: np.ndarray  # (k, 3)
    value: np.ndarray  # (n,) -1..1
    lines: tuple  # (polyline (k, 3), its outward normals (k, 3) or None at an edge, 'node', 'edge' or 'part')
    rest: np.ndarray  # (n, 3) the points before they moved, which set the frame


@dataclass(frozen=True)
class Frame:
    """Where the eye is and what it sees."""

    centre: np.ndarray  # (3,) m, looked at
    axes: np.ndarray  # (3, 3) columns: right, up, towards the eye
    distance: float  # m
    height: float  # m across the picture at the distance of the centre


def scene(field, normal, body=None, largest=None, full=None):
    """Scene of a Field on the whole box; normal (n, 3) as in its Sampler.

    largest: displacement of full colour, the field's own if not given. full: displacement drawn as EXAGGERATED of the
    extent; the largest in any direction if not given. The same two values give pictures of builds one common scale.
    """
    largest = largest or field.largest or 1.0
    full = full or np.max(np.linalg.norm(field.displacement, axis=1), initial=0) or 1.0
    extent = float(np.max(np.ptp(field.points, axis=0)))
    moved = field.points + EXAGGERATED * extent / full * field.displacement
    nodes = _clear_lines(field, normal, largest)
    lines = [(smoothed(line.along(moved)), line.along(normal), "node") for line in nodes]
    lines += [(moved[loop], None, "edge") for loop in outer_loops(field)]
    if body is not None:
        bridge = _on_top(rectangle(body.bridge), field, moved, normal)
        lines.append((bridge, np.tile([0.0, 0, 1], (len(bridge), 1)), "part"))
    return Scene(moved, field.triangles, np.clip(field.value / largest, -1, 1), tuple(lines), field.points)


def _clear_lines(field, normal, largest):
    """Nodal lines: of faces towards top and back all, of the others only where these move much."""
    flat = lambda line: np.mean(np.abs(line.along(normal)[:, 2])) > 0.5
    loud = nodal_lines(field, largest * SIDES_MOVE / QUIET)
    return [line for line in nodal_lines(field, largest) if flat(line)] + [line for line in loud if not flat(line)]


def frame(rest, eye, aspect):
    """Frame that holds the points (n, 3), seen from the direction `eye`; aspect: height over width of the picture."""
    toward = np.array(eye) / np.linalg.norm(eye)
    up = np.array([1.0, 0, 0]) - toward[0] * toward
    up /= np.linalg.norm(up)
    axes = np.array([np.cross(up, toward), up, toward]).T
    distance = DISTANCE * float(np.max(np.ptp(rest, axis=0)))
    centre = (rest.min(axis=0) + rest.max(axis=0)) / 2
    for _ in range(3):  # the middle of the picture depends on where the eye is
        seen = projected(rest, Frame(centre, axes, distance, 1.0))
        centre = centre + axes[:, :2] @ (seen.min(axis=0) + seen.max(axis=0)) / 2
    wide, high = np.ptp(projected(rest, Frame(centre, axes, distance, 1.0)), axis=0)
    return Frame(centre, axes, distance, MARGIN * max(high, wide * aspect))


def projected(points, frame):
    """Places (n, 2) in the picture of points (n, 3), in m at the distance of the centre."""
    p = (points - frame.centre) @ frame.axes
    return p[:, :2] / (1 - p[:, 2:] / frame.distance)


def visible_lines(drawn, seen, lift):
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
    found = np.column_stack([LinearTriInterpolator(plan, places[:, k])(x, y).filled(np.nan) for k in range(3)])
    return found[np.isfinite(found).all(axis=1)]


# --- with pyvista ---


def draw_with_pyvista(drawn, path, theme, width_mm):
    """Writes the PNG; call only where system_check.probe('pyvista') went well: a lack of OpenGL kills the process."""
    import pyvista as pv
    from PIL import Image
    from vtkmodules.vtkCommonCore import vtkLogger

    wide = round(width_mm / MM_PER_INCH * DPI / 2)
    size = (wide, round(2 * wide * PROPORTION))
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)  # no word about a display that is not needed
    try:
        views = [_view(pv, drawn, theme, eye, size, width_mm) for eye in TOWARDS_EYE.values()]
    finally:
        vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_INFO)
    Image.fromarray(np.hstack(views)).save(path, dpi=(DPI, DPI))


def _view(pv, drawn, theme, eye, size, width_mm):
    """One view as an array of pixels."""
    plotter = pv.Plotter(off_screen=True, window_size=size, lighting="none")
    plotter.set_background(theme.page)
    seen = frame(drawn.rest, eye, size[1] / size[0])
    _look(plotter, pv, seen)
    _fill(plotter, pv, drawn, theme, seen, seen.height / (width_mm * PROPORTION) * POINT)
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
    """Surface and lines; point: the length in the scene [m] of a point of print."""
    surface = pv.PolyData(drawn.points, np.column_stack([np.full(len(drawn.triangles), 3), drawn.triangles]).ravel())
    surface.point_data["motion"] = drawn.value
    surface = surface.compute_normals(cell_normals=False, split_vertices=False, consistent_normals=False)
    soft = {"smooth_shading": True, "ambient": 0.66, "diffuse": 0.36, "specular": 0.0}
    plotter.add_mesh(surface, color=INSIDE, culling="front", **soft)
    plotter.add_mesh(
        surface,
        scalars="motion",
        cmap=SCALE,
        clim=(-1, 1),
        n_colors=2 * BANDS,
        show_scalar_bar=False,
        culling="back",
        **soft,
    )
    for line, kind in visible_lines(drawn, seen, {kind: width / 2 * point for kind, width in WIDTHS.items()}):
        tube = pv.lines_from_points(line).tube(radius=WIDTHS[kind] / 2 * point, n_sides=10)
        plotter.add_mesh(tube, color=theme.ink if kind == "edge" else NODE, lighting=False)
    plotter.reset_camera_clipping_range()


# --- with matplotlib ---


def draw_with_matplotlib(drawn, path, theme, width_mm):
    """Writes the PNG without OpenGL: faces and pieces of line painted from the furthest to the nearest."""
    from PIL import Image

    inches = width_mm / MM_PER_INCH
    figure = Figure(figsize=(inches, inches * PROPORTION), dpi=FINER * DPI, facecolor=theme.page)
    canvas = FigureCanvasAgg(figure)
    for k, eye in enumerate(TOWARDS_EYE.values()):
        seen = frame(drawn.rest, eye, 2 * PROPORTION)
        ax = figure.add_axes((k / 2, 0, 0.5, 1))
        ax.set_axis_off()
        ax.set_aspect("equal")
        ax.set_ylim(-seen.height / 2, seen.height / 2)
        ax.set_xlim(-seen.height / 4 / PROPORTION, seen.height / 4 / PROPORTION)
        _paint(ax, drawn, theme, seen)
    canvas.draw()
    large = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3])
    small = large.resize((large.width // FINER, large.height // FINER), Image.Resampling.BOX)
    small.save(path, dpi=(DPI, DPI))


def _paint(ax, drawn, theme, seen):
    toward = seen.axes[:, 2]
    corners = drawn.points[drawn.triangles]
    n = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facing = (n @ toward) / np.linalg.norm(n, axis=1)
    tone = SCALE(0.5 + 0.5 * drawn.value[drawn.triangles].mean(axis=1))[:, :3]
    tone = np.where(facing[:, None] > 0, tone * (0.70 + 0.30 * facing.clip(0, 1))[:, None], to_rgb(INSIDE))
    shapes = list(projected(drawn.points, seen)[drawn.triangles])
    depth, inks, widths = list(corners.mean(axis=1) @ toward), list(map(tuple, tone)), [0.6] * len(shapes)
    nearer = 0.01 * seen.height  # a line is painted after the faces it lies on
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
