"""What a reader looks for in a mode shape: its nodal lines, the areas that move, the edge of the surface."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

QUIET = 0.015  # of the largest displacement: a zero line between two sides that move less is noise
REACH = 0.08  # of the extent of the surface: how far from the line the two sides are looked at
ROUND_OFF = 1e-9  # of the largest displacement: a point that moves less is at rest
SHORTEST = 0.04  # of the extent: a shorter nodal line is not drawn
MOSTLY = 1 / 3  # a line is drawn, right to the edge, if this part of it passes between moving sides; else not
MOVES = 0.15  # of the largest displacement: an area that does not reach this does not count as moving
PROMINENT = 0.3  # of its height: what one must come down from a peak before climbing to a higher one


@dataclass(frozen=True)
class NodalLine:
    """A run of points at rest, each on the line from point i to point j of a field, at part t of the way."""

    i: np.ndarray
    j: np.ndarray
    t: np.ndarray

    def along(self, values):
        """Values (n, ...) given at the points of the field, on the nodal line."""
        t = self.t.reshape(-1, *[1] * (values.ndim - 1))
        return (1 - t) * values[self.i] + t * values[self.j]


def nodal_lines(field, largest=None):
    """Lines at rest as NodalLines, where the plate moves more than QUIET of `largest` on both sides, within REACH.

    largest: displacement that counts as full scale (of all plates of the picture); the field's own if not given.
    """
    value = _without_zeros(field)
    extent = float(np.max(np.ptp(field.points, axis=0)))
    floor = QUIET * (largest or field.largest)
    sides = [cKDTree(field.points[loud]) for loud in (value >= floor, value <= -floor) if loud.any()]
    found = []
    if len(sides) < 2:
        return found
    for i, j in _zero_runs(value, field.triangles):
        line = NodalLine(i, j, value[i] / (value[i] - value[j]))
        place = line.along(field.points)
        loud = np.max([tree.query(place)[0] for tree in sides], axis=0) <= REACH * extent
        if loud.mean() >= MOSTLY and _length(place) >= SHORTEST * extent:
            found.append(line)
    return found


def _without_zeros(field):
    """The field's values, those of points at rest (a held edge) replaced by next to nothing with their neighbours' sign."""
    value, ends = field.value, field.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    around = np.bincount(ends.ravel(), value[ends[:, ::-1]].ravel(), len(value))
    return np.where(np.abs(value) > ROUND_OFF * field.largest, value, np.where(around < 0, -1e-300, 1e-300))


def _zero_runs(value, triangles):
    """Pairs (i, j) of arrays: the edges that a line of zero value crosses one after the other."""
    edges = triangles[:, [[0, 1], [1, 2], [2, 0]]]
    edges = np.sort(edges.reshape(-1, 2), axis=1)
    crossed = (value[edges[:, 0]] < 0) != (value[edges[:, 1]] < 0)
    unique, number = np.unique(edges[crossed], axis=0, return_inverse=True)
    links = number.reshape(-1, 2)  # a triangle is crossed on two of its edges or on none
    neighbours = [[] for _ in unique]
    for a, b in links.tolist():
        neighbours[a].append(b)
        neighbours[b].append(a)
    open_ends = [k for k, n in enumerate(neighbours) if len(n) == 1]
    seen = np.zeros(len(unique), bool)
    for start in [*open_ends, *range(len(unique))]:
        if not seen[start]:
            chain = _walk(start, neighbours, seen)
            yield unique[chain, 0], unique[chain, 1]


def _walk(start, neighbours, seen):
    """The chain from `start`; a closed one ends where it began."""
    chain, here = [start], start
    seen[start] = True
    while ahead := [k for k in neighbours[here] if not seen[k]]:
        here = ahead[0]
        seen[here] = True
        chain.append(here)
    if len(chain) > 2 and start in neighbours[here]:
        chain.append(start)
    return np.array(chain)


def smoothed(points, passes=6):
    """A polyline (k, d) without its small kinks; ends stay, and a closed line stays closed."""
    points = np.array(points, float)
    ring = len(points) > 3 and np.allclose(points[0], points[-1])
    for _ in range(passes):
        before = np.vstack([points[-2:-1], points[:-1]]) if ring else points[[0, *range(len(points) - 1)]]
        after = np.vstack([points[1:], points[1:2]]) if ring else points[[*range(1, len(points)), len(points) - 1]]
        new = (before + 2 * points + after) / 4
        points = new if ring else np.vstack([points[:1], new[1:-1], points[-1:]])
    return points


def _length(points):
    return float(np.sum(np.linalg.norm(np.diff(points, axis=0), axis=1)))


def peaks(field, largest=None):
    """Indices of the points where areas move furthest, either way, furthest first.

    Areas that move less than MOVES of `largest` do not count, nor rises of a larger area that are not PROMINENT.
    """
    size, extreme = np.abs(field.value), MOVES * (largest or field.largest)
    high = np.flatnonzero((size >= (1 - PROMINENT) * extreme) & (size > 0))
    neighbours = _neighbours(field, high)
    root, found = {}, {}  # of each point dealt with: its peak; of each peak: whether it stands
    for p in high[np.argsort(-size[high], kind="stable")].tolist():
        meets = {_root(root, q) for q in neighbours[p] if q in root}
        top = max(meets, key=lambda q: size[q], default=p)
        for other in {p, *meets} - {top}:
            root[other] = top
            if other in meets:
                found[other] = size[other] - size[p] >= PROMINENT * size[other]
        root[top] = top
        found.setdefault(top, True)
    return np.array([p for p, stands in found.items() if stands and size[p] >= extreme], int)


def _neighbours(field, points):
    """{point: the points of the same sign that share a triangle with it}."""
    edges = np.unique(np.sort(field.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1), axis=0)
    wanted = np.zeros(len(field.points), bool)
    wanted[points] = True
    joined = wanted[edges].all(axis=1) & (np.sign(field.value[edges]).prod(axis=1) > 0)
    found = {p: [] for p in points.tolist()}
    for a, b in edges[joined].tolist():
        found[a].append(b)
        found[b].append(a)
    return found


def _root(root, p):
    while root[p] != p:
        root[p] = p = root[root[p]]
    return p


def boundary(triangles: np.ndarray) -> np.ndarray:
    """Edges (k, 2) of triangles (n, 3) that have a triangle on one side only."""
    edges = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    return unique[count == 1]


def outer_loops(field):
    """The boundary as arrays of point indices one after the other round each loop, the longest loop first."""
    edges = boundary(field.triangles)
    points, number = np.unique(edges, return_inverse=True)
    neighbours = [[] for _ in points]
    for a, b in number.reshape(-1, 2).tolist():
        neighbours[a].append(b)
        neighbours[b].append(a)
    seen = np.zeros(len(points), bool)
    loops = [points[_walk(start, neighbours, seen)] for start in range(len(points)) if not seen[start]]
    return sorted(loops, key=lambda loop: -_length(field.points[loop]))
