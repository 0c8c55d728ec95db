"""Side ports in the shell's mesh: the free side about a hole meshed anew between two of its straight generators."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from meshes.body import Body, SidePort, top_height
from meshes.outline import point_at
from meshes.pieces import Rim
from meshes.plan import Segment, inside, outer_edges, triangulate

Port = tuple[float, float, float]  # place on the rim, depth of the centre below the top, radius [m]
MARGIN = 0.004  # m, of flat wall left round a port in the mesh of the air
BESIDE = 0.006  # m of side on either hand of a port that is meshed anew with it
CHORD = 0.7  # of the radius: where the outermost generators cross a port's edge, so that none grazes it
TURN = np.pi / 6  # of a port's edge between two nodes, at most
FINER = 0.75  # of the radius: triangles about a port


@dataclass(frozen=True)
class Patch:
    """The side between two columns of nodes and the two linings, without the port."""

    columns: tuple[int, int]  # first and last
    nodes: np.ndarray  # (n, 3) m, those within its border
    triangles: np.ndarray  # (m, 3), counted with the grid's nodes, then its own from `start` on
    span: np.ndarray  # (m,) of the rim in which each triangle lies
    edge: np.ndarray  # (e, 2) round the port


def openings_of(body: Body) -> tuple[Port, ...]:
    """((arc, depth, radius), ...) [m] of the side ports, as the meshes of the air take them."""
    return tuple((port.arc, port.depth, port.radius) for port in body.side_ports)


def from_tail(body: Body, port: SidePort) -> float:
    """Way [m] along its side from the middle of the tail to a port's centre."""
    return port.arc if port.side == "treble" else body.outline.perimeter - port.arc


def height_of(body: Body, port: SidePort) -> float:
    """z [m] of a port's centre."""
    return float(top_height(body, *point_at(body.outline, port.arc))) - port.depth


def stations(body: Body, others: Iterable[float]) -> tuple[list[float], list[float]]:
    """(places on the rim [m] with those that every port needs, starts of the spans beside ports that stay whole).

    others: places of other parts; one that falls on a span beside a port gives way, so that a brace let in there moves
    to the nearer end of it, by some 8 mm at most.
    """
    flanks = []
    for port in body.side_ports:
        a, b = CHORD * port.radius, port.radius + BESIDE
        flanks += [(port.arc - b, port.arc - a), (port.arc + a, port.arc + b)]
    free = [s for s in others if not any(a - 2e-3 < s < b + 2e-3 for a, b in flanks)]
    return [*free, *(s for flank in flanks for s in flank)], [a for a, _ in flanks]


def patch(body: Body, port: SidePort, rim: Rim, grid: np.ndarray, rows: int, size: float, start: int) -> Patch:
    """Patch of one port. grid: (rows + 1) k nodes (n, 3), row by row from the top, k stations of the rim in each."""
    k = len(rim.arc)
    ends = [int(np.argmin(np.abs(rim.arc - port.arc - d))) for d in np.array([-1, 1]) * (port.radius + BESIDE)]
    column, row = np.arange(ends[0], ends[1] + 1), np.arange(1, rows)
    u = np.append(0.0, np.cumsum(np.hypot(*np.diff(rim.points[column], axis=0).T)))
    border = np.concatenate([
        column + (rows - 1) * k, column[-1] + row[::-1][1:-1] * k, column[::-1] + k, column[0] + row[1:-1] * k,
    ])  # fmt: skip
    place = np.column_stack([u[(border % k) - column[0]], grid[border, 2]])
    centre = np.array([np.interp(port.arc, rim.arc[column], u), 0.0])
    centre[1] = top_height(body, *_on_chords(centre[0], u, rim.points[column]).T) - port.depth
    ring = ring_of(port.radius, u - centre[0]) + centre
    above, below = grid[column + k, 2], grid[column + (rows - 1) * k, 2]
    lines = [*zip(ring, np.roll(ring, -1, axis=0)), *_generators(u, above, below, ring)]
    points, triangles = triangulate(place, lines, None, min(size, FINER * port.radius))
    triangles = triangles[~inside(ring, points[triangles].mean(axis=1))]
    own = np.setdiff1d(triangles, np.arange(len(border)))
    number = np.full(len(points), -1)
    number[: len(border)], number[own] = border, start + np.arange(len(own))
    span = column[0] + np.searchsorted(u, points[triangles].mean(axis=1)[:, 0]) - 1
    edges = outer_edges(triangles)
    on_ring = np.hypot(*(points[:, None] - ring[None]).transpose(2, 0, 1)).min(axis=1) < 1e-7
    edge = edges[on_ring[edges].all(axis=1)]
    nodes = np.column_stack([_on_chords(points[own, 0], u, rim.points[column]), points[own, 1]])
    return Patch((ends[0], ends[1]), nodes, number[triangles], span, number[edge])


def _on_chords(u: float | np.ndarray, places: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Plan points (..., 2) [m] at lengths u along the chords between points (k, 2)."""
    return np.stack([np.interp(u, places, points[:, 0]), np.interp(u, places, points[:, 1])], axis=-1)


def _generators(u: np.ndarray, above: np.ndarray, below: np.ndarray, ring: np.ndarray) -> list[Segment]:
    """Upright lines at the inner columns, from border to border but for the port."""
    lines: list[Segment] = []
    for x, z1, z0 in zip(u[1:-1], above[1:-1], below[1:-1]):
        at = np.sort(ring[np.abs(ring[:, 0] - x) < 1e-9, 1])
        heights = [z0, *at[[0, -1]], z1] if len(at) else [z0, z1]
        lines += [((x, a), (x, b)) for a, b in zip(heights[::2], heights[1::2])]
    return lines


def ring_of(radius: float, columns: np.ndarray) -> np.ndarray:
    """(n, 2) m: polygon of a circle's area about the origin, with corners where upright lines at `columns` cross it."""
    r = radius
    for _ in range(12):
        inner = np.arccos(columns[np.abs(columns) < 0.95 * r] / r)
        corner = np.sort(np.concatenate([inner, 2 * np.pi - inner, [] if len(inner) else [0.0]]))
        gaps = zip(corner, np.append(corner[1:], corner[0] + 2 * np.pi))
        angle = np.concatenate(
            [np.linspace(a, b, int(np.ceil((b - a) / TURN - 1e-9)), endpoint=False) for a, b in gaps]
        )
        ring = r * np.column_stack([np.cos(angle), np.sin(angle)])
        sine = np.sin(np.diff(np.append(angle, angle[0] + 2 * np.pi)))
        r = radius * np.sqrt(2 * np.pi / sine.sum())
    return ring
