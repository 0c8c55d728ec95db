"""Plane triangulation of a plate by gmsh: its outline, straight lines that must be edges, and a hole."""

from collections.abc import Iterator, Sequence
from types import ModuleType

import numpy as np

Segment = tuple[Sequence[float] | np.ndarray, Sequence[float] | np.ndarray]  # two points (2,) in plan
MM = 1e3  # gmsh's geometry kernel has absolute tolerances: work in millimetres


def triangulate(
    outline: np.ndarray,
    lines: Sequence[Segment],
    hole: tuple[tuple[float, float], float] | None,
    size: float,
    whole: Sequence[Segment] = (),
) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 2) [m] and triangles (m, 3), counter-clockwise, of the plate inside a closed polygon.

    outline: (k, 2) vertices [m], counter-clockwise; each polygon side becomes one edge, and the first k points are the
    vertices themselves, in order. lines: ((x, y), (x, y)) pairs [m]. hole: (centre (2,), radius) [m] or None.
    size: edge length [m]. whole: lines that stay one edge unless others cut them. Lines that leave the plate are cut off at
    its edge.
    """
    import gmsh

    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        occ = gmsh.model.occ
        corners = [occ.addPoint(*(MM * p), 0) for p in outline]
        sides = [occ.addLine(a, b) for a, b in zip(corners, corners[1:] + corners[:1])]
        plate = [(2, occ.addPlaneSurface([occ.addCurveLoop(sides)]))]
        if hole is not None:
            (x, y), radius = hole
            plate, _ = occ.cut(plate, [(2, occ.addDisk(MM * x, MM * y, 0, MM * radius, MM * radius))])
        tools = [(1, occ.addLine(*(occ.addPoint(*(MM * np.asarray(p)), 0) for p in line))) for line in [*lines, *whole]]
        if tools:
            occ.fragment(plate, tools)
        occ.synchronize()
        faces = gmsh.model.getEntities(2)
        for dim, tag in gmsh.model.getEntities(1):
            if not len(gmsh.model.getAdjacencies(dim, tag)[0]):  # outside the plate, or across the hole
                gmsh.model.removeEntities([(dim, tag)])
        for option in ("ExtendFromBoundary", "FromPoints", "FromCurvature"):
            gmsh.option.setNumber(f"Mesh.MeshSize{option}", 0)
        gmsh.option.setNumber("Mesh.MeshSizeMax", MM * size)
        gmsh.option.setNumber("Mesh.Algorithm", 6)
        polygon = zip(outline, np.roll(outline, -1, axis=0))
        for tag in _curves(gmsh, MM * np.array([*polygon, *whole]).mean(axis=1)):
            gmsh.model.mesh.setTransfiniteCurve(tag, 2)
        gmsh.model.mesh.generate(2)
        tags, xyz, _ = gmsh.model.mesh.getNodes()
        triangles = np.concatenate([gmsh.model.mesh.getElementsByType(2, tag)[1] for _, tag in faces])
    finally:
        gmsh.finalize()
    return _numbered(
        outline, xyz.reshape(-1, 3)[:, :2] / MM, np.searchsorted(np.sort(tags), triangles), np.argsort(tags)
    )


def _curves(gmsh: ModuleType, middles: np.ndarray) -> Iterator[int]:
    """Tags of the straight curves whose middle is one of `middles` (k, 2) [mm]."""
    for dim, tag in gmsh.model.getEntities(1):
        x0, y0, _, x1, y1, _ = gmsh.model.getBoundingBox(dim, tag)
        if np.min(np.hypot(*(middles - [(x0 + x1) / 2, (y0 + y1) / 2]).T)) < 1e-4:
            yield tag


def _numbered(
    outline: np.ndarray, points: np.ndarray, triangles: np.ndarray, order: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Drop unused points, number the outline's vertices first, turn all triangles counter-clockwise."""
    points, triangles = points[order], triangles.reshape(-1, 3)
    used, triangles = np.unique(triangles, return_inverse=True)
    points, triangles = points[used], triangles.reshape(-1, 3)
    gap = np.hypot(*(points[None] - outline[:, None]).transpose(2, 0, 1))
    rim = np.argmin(gap, axis=1)
    if gap.min(axis=1).max() > 1e-6:
        raise ValueError("the plate's mesh misses a vertex of the outline: lines run along the edge too closely")
    rank = np.concatenate([rim, np.setdiff1d(np.arange(len(points)), rim)])
    place = np.empty(len(points), int)
    place[rank] = np.arange(len(points))
    points, triangles = points[rank], place[triangles]
    a, b, c = points[triangles].transpose(1, 0, 2)
    clockwise = _turn(a, b, c) < 0
    triangles[clockwise] = triangles[clockwise][:, ::-1]
    return points, triangles


def _turn(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Twice the signed area of triangles with corners (m, 2)."""
    return (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])


def inside(ring: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Which points (m, 2) lie inside a convex counter-clockwise polygon (n, 2)."""
    along = np.roll(ring, -1, axis=0) - ring
    d = points[:, None] - ring
    return (along[:, 0] * d[..., 1] - along[:, 1] * d[..., 0] > 0).all(axis=1)


def edges_of(triangles: np.ndarray) -> np.ndarray:
    """(e, 2) the edges of triangles, each once, lower index first."""
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    return np.unique(np.sort(pairs, axis=1), axis=0)


def outer_edges(triangles: np.ndarray) -> np.ndarray:
    """(e, 2) the edges that belong to one triangle only, lower index first."""
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    edges, count = np.unique(np.sort(pairs, axis=1), axis=0, return_counts=True)
    return edges[count == 1]


def edges_on(
    points: np.ndarray,
    edges: np.ndarray,
    start: tuple[float, float] | np.ndarray,
    end: tuple[float, float] | np.ndarray,
    tolerance: float = 1e-6,
) -> tuple[np.ndarray, np.ndarray]:
    """The edges (k, 2) on the straight line from start to end [m], running its way; and their ends' places 0..1 (k, 2)."""
    start, along = np.asarray(start, float), np.subtract(end, start).astype(float)
    place = (points - start) @ along / (along @ along)
    off = np.hypot(*(points - start - place[:, None] * along).T)
    slack = tolerance / np.hypot(*along)
    on = (off < tolerance) & (place > -slack) & (place < 1 + slack)
    on_line = edges[on[edges].all(axis=1)]
    backward = place[on_line[:, 0]] > place[on_line[:, 1]]
    on_line[backward] = on_line[backward][:, ::-1]
    return on_line, place[on_line].clip(0, 1)
