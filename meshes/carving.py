"""What a maker carves: heights along a brace and its cross-section, thickness over a plate, where patches lie."""

import numpy as np

from fem.bar_forms import cap_width, moments
from meshes.body import Board, Body, Brace, Patch
from meshes.outline import Outline, distance, inside

GRID = 4e-3  # m, at which a plate's mean thickness is taken
APART = 3e-3  # m, at least, between two places of a brace where the mesh has nodes for its height
RING_SIDES = 24  # of the polygon that stands for a ring


# --- braces ---


def brace_heights(brace: Brace, run: float | np.ndarray) -> np.ndarray:
    """Height [m] at distances [m] from the brace's real start: its profile, or full, and the tapers of its ends."""
    run = np.asarray(run, float)
    heights = np.full(run.shape, brace.height)
    if brace.heights:
        heights = np.interp(run, *np.array(brace.heights).T)
    for end, distance_to in ((brace.at_start, run), (brace.at_end, brace.length - run)):
        if end.taper > 0:
            rise = (distance_to / end.taper).clip(0, 1)
            heights = np.minimum(heights, end.height + (brace.height - end.height) * rise)
    return heights


def brace_breaks(brace: Brace) -> list[float]:
    """Distances [m] from the real start, ascending from 0 to the length, between which the height runs straight."""
    length = brace.length
    breaks = {0.0, min(brace.at_start.taper, length), max(length - brace.at_end.taper, 0.0), length}
    for place, _ in brace.heights:
        if min(abs(place - other) for other in breaks) > APART and 0 < place < length:
            breaks.add(place)
    return sorted(breaks)


def brace_volume(brace: Brace) -> float:
    """Volume [m3] of a brace as carved; where two cross, the lap is counted twice."""
    places = [*brace_breaks(brace), *(place for place, _ in brace.heights if 0 < place < brace.length)]
    if brace.form.cap:
        places += np.linspace(0, brace.length, 2001).tolist()  # A(height) has a bend where the cap no longer fits
    run = np.unique(places)
    area = moments(brace.form, brace_heights(brace, run) / brace.height)[0]
    return float(brace.width * brace.height * np.trapezoid(area, run))


def is_carved(brace: Brace) -> bool:
    """Whether a brace is anything but a rectangle with straight tapers."""
    return bool(brace.heights) or brace.form.kind != "rectangular"


def section_outline(brace: Brace, height: float) -> np.ndarray:
    """(k, 2) m, across and from the glued face, of the cross-section where the brace has a height."""
    form = brace.form
    cap = min(form.cap * brace.height, height)
    u = np.linspace(0, 1, 25) if cap else np.ones(1)
    right = np.column_stack([brace.width / 2 * cap_width(form, u), height - cap + cap * u])
    right = np.vstack([[brace.width / 2, 0.0], right])
    return np.vstack([right, right[::-1] * [-1, 1]])


# --- plates ---


def is_graded(board: Board) -> bool:
    """Whether a plate is not of one thickness."""
    return bool(board.thickness_map) or board.edge_thickness is not None


def thickness_at(body: Body, plate: str, points: np.ndarray) -> np.ndarray:
    """Thickness [m] of the plate 'top' or 'back' at plan points (n, 2) [m].

    The map is read between and beyond its points by linear radial functions (in one direction: straight lines from point
    to point), never above the thickest or below the thinnest of them. Over the last `edge_width` to the side it comes
    down straight to `edge_thickness`.
    """
    board, points = getattr(body, plate), np.atleast_2d(np.asarray(points, float))
    thickness = np.full(len(points), board.thickness)
    if board.thickness_map:
        thickness = _from_map(np.array(board.thickness_map), points)
    if board.edge_thickness is not None:
        room = np.concatenate([distance(body.outline, some) for some in np.array_split(points, len(points) // 500 + 1)])
        thickness = board.edge_thickness + (thickness - board.edge_thickness) * (room / board.edge_width).clip(0, 1)
    return thickness


def _from_map(known: np.ndarray, points: np.ndarray) -> np.ndarray:
    from scipy.interpolate import RBFInterpolator

    if len(known) == 1:
        return np.full(len(points), known[0, 2])
    read = RBFInterpolator(known[:, :2], known[:, 2], kernel="linear", degree=0)(points)
    return read.clip(known[:, 2].min(), known[:, 2].max())


def thickness_here(body: Body, plate: str, place: tuple[float, float] | np.ndarray) -> float:
    """Thickness [m] of a plate at one plan point [m]."""
    board = getattr(body, plate)
    return float(thickness_at(body, plate, np.array([place]))[0]) if is_graded(board) else board.thickness


def edge_thickness(body: Body, plate: str) -> float:
    """Mean thickness [m] of a plate along the side."""
    board = getattr(body, plate)
    return float(thickness_at(body, plate, body.outline.points).mean()) if is_graded(board) else board.thickness


def mean_thickness(body: Body, plate: str) -> float:
    """Mean thickness [m] of a plate over its area, without the soundhole."""
    board = getattr(body, plate)
    if not is_graded(board):
        return board.thickness
    low, high = body.outline.points.min(axis=0), body.outline.points.max(axis=0)
    x, y = (np.arange(a + GRID / 2, b, GRID) for a, b in zip(low, high))
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    grid = np.concatenate([some[inside(body.outline, some)] for some in np.array_split(grid, len(grid) // 500 + 1)])
    if plate == "top":
        grid = grid[np.hypot(*(grid - body.soundhole.centre).T) > body.soundhole.radius]
    return float(thickness_at(body, plate, grid).mean())


# --- patches ---


def patch_outline(body: Body, patch: Patch) -> np.ndarray:
    """(k, 2) m, counter-clockwise, of a patch in plan; of a ring its outer edge, a polygon of the circle's area."""
    if patch.ring:
        angle = 2 * np.pi * np.arange(RING_SIDES) / RING_SIDES
        radius = (body.soundhole.radius + patch.ring) * np.sqrt(angle[1] / np.sin(angle[1]))
        return body.soundhole.centre + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    start, end = np.array(patch.start), np.array(patch.end)
    along = (end - start) / np.linalg.norm(end - start)
    across = patch.width / 2 * np.array([-along[1], along[0]])
    return np.array([start - across, end - across, end + across, start + across])


def patch_area(body: Body, patch: Patch) -> float:
    """Glued area [m2]."""
    if patch.ring:
        return float(np.pi * ((body.soundhole.radius + patch.ring) ** 2 - body.soundhole.radius**2))
    return float(patch.width * np.hypot(patch.end[0] - patch.start[0], patch.end[1] - patch.start[1]))


def patch_middle(body: Body, patch: Patch) -> tuple[float, float]:
    """Plan point [m] whose plate thickness a patch is laid on."""
    if patch.ring:
        x, y = body.soundhole.centre
        return x - body.soundhole.radius - patch.ring / 2, y
    return (patch.start[0] + patch.end[0]) / 2, (patch.start[1] + patch.end[1]) / 2


def on_patch(body: Body, patch: Patch, points: np.ndarray) -> np.ndarray:
    """Indices of the plan points (n, 2) [m] that lie on a patch (the hole within a ring counts)."""
    return np.flatnonzero(inside(Outline(patch_outline(body, patch), np.empty(0)), points))
