"""The box in perspective, its motion exaggerated: front and back side by side, by pyvista or, without it, matplotlib."""

from dataclasses import dataclass

import numpy as np

from meshes.drawing import rectangle
from studies.mode_field import Field, nodal_lines, outer_loops, smoothed
from studies.plan_picture import BANDS, DPI, MM_PER_INCH, NODE, SCALE

EXAGGERATED = 0.05  # largest motion in the picture over the extent of the box
TOWARDS_EYE = {"front": (-0.62, -0.50, 0.95), "back": (-0.62, 0.50, -0.95)}  # body's x points up in both
INSIDE = "#6f6a62"  # colour of inner faces, seen through the soundhole
PROPORTION = 0.66  # height over width of the picture
LIFT = 0.0015  # of the extent: how far lines stand off the surface, so that they are not half hidden in it


@dataclass(frozen=True)
class Scene:
    """What is drawn: a moved surface and the lines on it, in m."""

    points: np.ndarray  # (n, 3)
    normal: np.ndarray  # (n, 3) outward
    triangles: np.ndarray  # (k, 3)
    value: np.ndarray  # (n,) -1..1
    nodes: tuple  # polylines (k, 3): nodal lines
    edges: tuple  # polylines: where the surface ends or has a crease
    parts: tuple  # polylines: the bridge
    extent: float  # m, of the box at rest


def scene(field, normal, body=None, largest=None, full=None):
    """Scene of a Field on the whole box; normal (n, 3) as in its Sampler.

    largest: displacement of full colour, the field's own if not given. full: displacement drawn as EXAGGERATED of the
    extent; the largest in any direction if not given. The same two values give pictures of builds one common scale.
    """
    largest = largest or field.largest or 1.0
    full = full or np.max(np.linalg.norm(field.displacement, axis=1), initial=0) or 1.0
    extent = float(np.max(np.ptp(field.points, axis=0)))
    moved = field.points + EXAGGERATED * extent / full * field.displacement
    off = moved + LIFT * extent * normal
    nodes = tuple(smoothed(line.along(off)) for line in nodal_lines(field, largest))
    edges = tuple(np.vstack([moved[loop], moved[loop[:1]]]) for loop in outer_loops(field))
    parts = () if body is None else (_on_top(rectangle(body.bridge), field, off, normal),)
    return Scene(moved, normal, field.triangles, np.clip(field.value / largest, -1, 1), nodes, edges, parts, extent)


def _on_top(corners, field: Field, places, normal):
    """A plan polygon (k, 2) laid on the top at `places` (n, 3), closed: (m, 3)."""
    from matplotlib.tri import LinearTriInterpolator, Triangulation

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

    pixels = round(width_mm / MM_PER_INCH * DPI)
    size = (pixels // 2, round(pixels * PROPORTION))
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)  # no word about a display that is not needed
    views = []
    for eye in TOWARDS_EYE.values():
        plotter = pv.Plotter(off_screen=True, window_size=size, lighting="none")
        _fill(plotter, pv, drawn, theme, eye, pixels)
        views.append(plotter.screenshot(return_img=True))
        plotter.close()
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_INFO)
    Image.fromarray(np.hstack(views)).save(path, dpi=(DPI, DPI))


def _fill(plotter, pv, drawn, theme, eye, pixels):
    faces = np.column_stack([np.full(len(drawn.triangles), 3), drawn.triangles])
    surface = pv.PolyData(drawn.points, faces.ravel())
    surface.point_data["motion"] = drawn.value
    surface = surface.compute_normals(cell_normals=False, split_vertices=False, consistent_normals=False)
    plotter.set_background(theme.page)
    plotter.add_mesh(
        surface, scalars="motion", cmap=SCALE, clim=(-1, 1), n_colors=2 * BANDS, show_scalar_bar=False,
        smooth_shading=True, ambient=0.62, diffuse=0.42, specular=0.0,
        backface_params={"color": INSIDE, "ambient": 0.5, "diffuse": 0.4},
    )  # fmt: skip
    for lines, color, width in ((drawn.nodes, NODE, 1.5), (drawn.edges, theme.ink, 0.7), (drawn.parts, NODE, 0.7)):
        for line in lines:
            if len(line) > 1:
                stroke = width * pixels / 1417 * 4
                plotter.add_mesh(pv.lines_from_points(line), color=color, line_width=stroke, lighting=False)
    centre = (drawn.points.min(axis=0) + drawn.points.max(axis=0)) / 2
    away = np.array(eye) / np.linalg.norm(eye)
    plotter.add_light(pv.Light(position=centre + 3 * (away + [0.5, 0.2, 0]), focal_point=centre, light_type="scene light"))
    plotter.camera.up = (1, 0, 0)
    plotter.camera.focal_point = centre
    plotter.camera.position = centre + 3.2 * drawn.extent * away
    plotter.camera.view_angle = 22
    plotter.reset_camera_clipping_range()
    plotter.enable_anti_aliasing("ssaa")


# --- with matplotlib ---


def draw_with_matplotlib(drawn, path, theme, width_mm):
    """Writes the PNG without OpenGL: faces painted from the furthest to the nearest."""
    from matplotlib.figure import Figure

    inches = width_mm / MM_PER_INCH
    figure = Figure(figsize=(inches, inches * PROPORTION), facecolor=theme.page)
    for k, eye in enumerate(TOWARDS_EYE.values()):
        _paint(figure.add_axes((k / 2, 0, 0.5, 1)), drawn, theme, eye, width_mm / 120.0)
    figure.savefig(path, dpi=DPI, facecolor=theme.page)


def _paint(ax, drawn, theme, eye, scale):
    from matplotlib.collections import LineCollection, PolyCollection
    from matplotlib.colors import to_rgb

    toward = np.array(eye) / np.linalg.norm(eye)
    up = np.array([1.0, 0, 0]) - toward[0] * toward
    up /= np.linalg.norm(up)
    view = np.array([np.cross(up, toward), up, toward]).T  # columns: right, up, towards the eye
    centre = (drawn.points.min(axis=0) + drawn.points.max(axis=0)) / 2
    project = lambda p: ((p - centre) @ view)[:, :2] / (1 - ((p - centre) @ view)[:, 2:] / (3.2 * drawn.extent))
    corners = drawn.points[drawn.triangles]
    n = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facing = (n @ toward) / np.linalg.norm(n, axis=1)
    color = SCALE(0.5 + 0.5 * drawn.value[drawn.triangles].mean(axis=1))[:, :3]
    color = np.where(facing[:, None] > 0, color * (0.72 + 0.28 * facing.clip(0, 1))[:, None], to_rgb(INSIDE))
    order = np.argsort(corners.mean(axis=1) @ toward)
    flat = project(drawn.points)[drawn.triangles[order]]
    ax.add_collection(PolyCollection(flat, facecolors=color[order], edgecolors=color[order], linewidths=0.3))
    hidden = _hidden(drawn, view, centre)
    for lines, ink, width in ((drawn.edges, theme.ink, 0.7), (drawn.parts, NODE, 0.7), (drawn.nodes, NODE, 1.5)):
        for line in lines:
            seen = ~hidden(line)
            pairs = np.stack([project(line)[:-1], project(line)[1:]], axis=1)[seen[:-1] & seen[1:]]
            ax.add_collection(LineCollection(pairs, colors=ink, linewidths=width * scale, capstyle="round"))
    ax.set_xlim(-0.5 * drawn.extent, 0.5 * drawn.extent)
    ax.set_aspect("equal")
    ax.set_axis_off()
    ax.set_ylim(-0.5 * drawn.extent, 0.5 * drawn.extent)


def _hidden(drawn, view, centre):
    """Function that tells which points (k, 3) lie behind the surface as seen along the third column of `view`."""
    from matplotlib.tri import LinearTriInterpolator, Triangulation

    place = (drawn.points - centre) @ view
    corners = drawn.points[drawn.triangles]
    n = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) @ view[:, 2]
    del corners, n, LinearTriInterpolator, Triangulation, place
    return lambda p: np.zeros(len(p), bool)
