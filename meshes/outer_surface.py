"""Closed triangle surface of the body as the sound outside meets it: top, back, sides and the openings' discs."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meshes.body import Body, back_height, side_height, top_height
from meshes.outline import point_at
from meshes.plan import inside, triangulate
from meshes.side_ports import Port

Meshed = tuple[np.ndarray, np.ndarray, np.ndarray]  # nodes, triangles (m, 3), names of their groups (m,)

SIZE = 0.031  # m; some 1200 triangles on a steel-string guitar
EDGE_OF_HOLE = 0.25  # length of a triangle at the edge of an opening, over its radius


@dataclass(frozen=True)
class OuterSurface:
    """Closed surface with outward normals; the middle surfaces of plates and sides stand for their outsides."""

    nodes: np.ndarray  # (n, 3) m
    triangles: np.ndarray  # (m, 3)
    groups: dict[str, np.ndarray]  # 'top', 'back', 'sides', 'soundhole', 'port 1' ... -> triangles; together all, once


def outer_surface(body: Body, size: float = SIZE, ports: Sequence[Port] = ()) -> OuterSurface:
    """OuterSurface of a Body with triangles of about `size` [m], finer at the openings' edges. The neck is left out.

    ports: round openings in the sides, (place on the rim as arc length of the outline, depth of the centre below the
    top, radius) [m] each, as in cavity.mesh_cavity.
    """
    count = int(np.ceil(body.outline.perimeter / size))
    arc = body.outline.perimeter * np.arange(count) / count
    rim = point_at(body.outline, arc)
    hole = {"soundhole": _ring(body.soundhole.centre, body.soundhole.radius)}
    top, top_faces, top_groups = _plate(rim, top_height, body, "top", hole, size)
    back, back_faces, back_groups = _plate(rim, back_height, body, "back", {}, size)
    side, side_faces, side_groups = _sides(body, arc, rim, ports, size)
    # the sides' nodes: the top's rim, the back's rim (the first `count` of each plate), then their own
    own = len(top) + len(back) + np.arange(len(side))
    place = np.concatenate([np.arange(count), len(top) + np.arange(count), own])
    faces = np.concatenate([top_faces, back_faces[:, ::-1] + len(top), place[side_faces]])
    group = np.concatenate([top_groups, back_groups, side_groups])
    groups = {name: np.flatnonzero(group == name) for name in dict.fromkeys(group.tolist())}
    return OuterSurface(np.concatenate([top, back, side]), faces, groups)


def _ring(centre: tuple[float, float], radius: float, stretch: float = 1.0) -> np.ndarray:
    """Polygon (k, 2) [m], counter-clockwise, with the area of a circle; its second coordinate stretched."""
    count = round(2 * np.pi / EDGE_OF_HOLE)
    turn = 2 * np.pi / count
    angle = turn * np.arange(count)
    reach = radius * np.sqrt(turn / np.sin(turn))
    return np.asarray(centre) + reach * np.column_stack([np.cos(angle), stretch * np.sin(angle)])


def _plane(polygon: np.ndarray, rings: Mapping[str, np.ndarray], name: str, size: float) -> Meshed:
    """Points, counter-clockwise triangles and group names (m,) inside a polygon, {group: ring} marked out in it."""
    lines = [line for ring in rings.values() for line in zip(ring, np.roll(ring, -1, axis=0))]
    points, faces = triangulate(polygon, lines, None, size)
    group = np.full(len(faces), name, dtype=object)
    for opening, ring in rings.items():
        group[inside(ring, points[faces].mean(axis=1))] = opening
    return points, faces, group


def _plate(
    rim: np.ndarray,
    height: Callable[[Body, np.ndarray, np.ndarray], np.ndarray],
    body: Body,
    name: str,
    rings: Mapping[str, np.ndarray],
    size: float,
) -> Meshed:
    """Nodes (n, 3), triangles and groups of a plate seen from above; its rim's nodes come first."""
    plan, faces, group = _plane(rim, rings, name, size)
    return np.column_stack([plan, height(body, *plan.T)]), faces, group


def _sides(body: Body, arc: np.ndarray, rim: np.ndarray, ports: Sequence[Port], size: float) -> Meshed:
    """Nodes between the rims, outward triangles and groups; numbered: rim of the top, rim of the back, nodes between.

    The sides are unrolled, seen from outside: arc length to the right, z upward in units of the mean height.
    """
    k, length, mean = len(arc), body.outline.perimeter, float(np.mean(side_height(body, *rim.T)))
    rows = max(1, round(mean / size))
    rings = {f"port {n}": _port(body, port, mean) for n, port in enumerate(ports, 1)}
    along = np.append(arc, length)
    up = mean * np.arange(1, rows) / rows - mean  # heights of the cut's own nodes
    right = np.column_stack([np.full(rows - 1, length), up])
    polygon = np.vstack([_at(along, -mean), right, _at(along[::-1], 0.0), _at(np.zeros(rows - 1), up[::-1])])
    points, faces, group = _plane(polygon, rings, "sides", size)
    bottom, cut, top = np.arange(k + 1), k + 1 + np.arange(rows - 1), k + rows + np.arange(k + 1)[::-1]
    left = 2 * k + rows + 1 + np.arange(rows - 1)[::-1]
    inner = np.arange(2 * k + 2 * rows, len(points))
    place = np.empty(len(points), int)
    place[top], place[bottom] = np.arange(k + 1) % k, k + np.arange(k + 1) % k
    place[left] = place[cut] = 2 * k + np.arange(rows - 1)
    place[inner] = 2 * k + rows - 1 + np.arange(len(inner))
    s, z = points[np.concatenate([left, inner])].T
    x, y = point_at(body.outline, s).T
    return np.column_stack([x, y, top_height(body, x, y) + z / mean * side_height(body, x, y)]), place[faces], group


def _at(s: np.ndarray, z: float | np.ndarray) -> np.ndarray:
    return np.column_stack([s, np.broadcast_to(z, len(s))])


def _port(body: Body, port: Port, mean: float) -> np.ndarray:
    """Ring of a side port in the unrolled sides."""
    place, depth, radius = port
    stretch = mean / float(side_height(body, *point_at(body.outline, place)))
    return _ring((place % body.outline.perimeter, -depth * stretch), radius, stretch)
