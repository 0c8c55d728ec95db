"""Closed triangle surface of the body as the sound outside meets it: top, back, sides and the openings' discs."""

from dataclasses import dataclass

import numpy as np

from meshes.body import back_height, top_height
from meshes.outline import point_at
from meshes.plan import triangulate

SIZE = 0.031  # m; some 1200 triangles on a steel-string guitar
EDGE_OF_HOLE = 0.25  # length of a triangle at the edge of the soundhole, over the hole's radius


@dataclass(frozen=True)
class OuterSurface:
    """Closed surface with outward normals; the middle surfaces of plates and sides stand for their outsides."""

    nodes: np.ndarray  # (n, 3) m
    triangles: np.ndarray  # (m, 3)
    groups: dict[str, np.ndarray]  # 'top', 'back', 'sides', 'soundhole' -> indices of triangles; together all, once


def outer_surface(body, size=SIZE):
    """OuterSurface of a Body with triangles of about `size` [m], finer at the soundhole's edge. The neck is left out."""
    count = int(np.ceil(body.outline.perimeter / size))
    rim = point_at(body.outline, body.outline.perimeter * np.arange(count) / count)
    hole = _ring(body.soundhole)
    pieces = [_plate(body, rim, hole, size), _plate(body, rim, None, size), _sides(body, rim, size)]
    (top, top_faces), (back, back_faces), (middle, side_faces) = pieces
    back_faces = back_faces[:, ::-1]
    # sides' nodes: the top's rim, rows between, the back's rim; the first `count` nodes of a plate are its rim
    place = np.concatenate(
        [np.arange(count), len(top) + len(back) + np.arange(len(middle)), len(top) + np.arange(count)]
    )
    in_hole = _inside(hole, top[top_faces].mean(axis=1)[:, :2])
    faces = [top_faces[~in_hole], top_faces[in_hole], back_faces + len(top), place[side_faces]]
    ends = np.cumsum([0, *map(len, faces)])
    groups = {name: np.arange(a, b) for name, a, b in zip(("top", "soundhole", "back", "sides"), ends, ends[1:])}
    return OuterSurface(np.concatenate([top, back, middle]), np.concatenate(faces), groups)


def _ring(soundhole):
    """Polygon (k, 2) [m], counter-clockwise, with the area of the round soundhole."""
    count = round(2 * np.pi / EDGE_OF_HOLE)
    turn = 2 * np.pi / count
    radius = soundhole.radius * np.sqrt(turn / np.sin(turn))
    angle = turn * np.arange(count)
    return np.asarray(soundhole.centre) + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def _inside(ring, points):
    """Which points (m, 2) lie inside the convex counter-clockwise polygon."""
    along = np.roll(ring, -1, axis=0) - ring
    d = points[:, None] - ring
    return (along[:, 0] * d[..., 1] - along[:, 1] * d[..., 0] > 0).all(axis=1)


def _plate(body, rim, hole, size):
    """Nodes (n, 3) and counter-clockwise triangles of the top (with the hole's edge in it) or, without hole, the back."""
    height = back_height if hole is None else top_height
    lines = [] if hole is None else list(zip(hole, np.roll(hole, -1, axis=0)))
    plan, faces = triangulate(rim, lines, None, size)
    return np.column_stack([plan, height(body, *plan.T)]), faces


def _sides(body, rim, size):
    """Nodes of the rows between both rims and outward triangles, numbered: top rim, rows between, back rim."""
    top, back = top_height(body, *rim.T), back_height(body, *rim.T)
    rows, k = max(2, round(float(np.mean(top - back)) / size)), len(rim)
    between = [np.column_stack([rim, top + (back - top) * j / rows]) for j in range(1, rows)]
    i, j = (v.ravel() for v in np.meshgrid(np.arange(k), np.arange(rows)))
    a, b = j * k + i, j * k + (i + 1) % k
    c, d = a + k, b + k
    one = ((i + j) % 2 == 0)[:, None]  # diagonals alternate
    first = np.where(one, np.column_stack([a, c, d]), np.column_stack([a, c, b]))
    second = np.where(one, np.column_stack([a, d, b]), np.column_stack([b, c, d]))
    return np.concatenate(between), np.concatenate([first, second])
