"""What a reader looks for in a mode shape: its nodal lines, the areas that move, the edge of the surface."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from studies.drawing.field import Field, Sampler
from studies.drawing.topology import Topology, chains, edges_of

QUIET = 0.015  # of the largest displacement: a zero line between two sides that move less is noise
REACH = 0.08  # of the extent of the surface: how far from the line the two sides are looked at
ROUND_OFF = 1e-9  # of the largest displacement: a point that moves less is at rest
SHORTEST = 0.04  # of the extent: a shorter nodal line is not drawn
MOSTLY = 1 / 3  # a line is drawn, right to the edge, if this part of it passes between moving sides; else not
MOVES = 0.15  # of the largest displacement: an area that does not reach this does not count as moving
PROMINENT = 0.3  # of its height: what one must come down from a peak before climbing to a higher one
PASSES = 6  # of the smoothing of lines


@dataclass(frozen=True)
class NodalLine:
    """A run of points at rest, each on the line from point i to point j of a field, at part t of the way."""

    i: np.ndarray
    j: np.ndarray
    t: np.ndarray

    def along(self, values: np.ndarray) -> np.ndarray:
        """Values (n, ...) given at the points of the field, on the nodal line."""
        t = self.t.reshape(-1, *[1] * (values.ndim - 1))
        return (1 - t) * values[self.i] + t * values[self.j]


def nodal_lines(field: Field, largest: float | None = None) -> list[NodalLine]:
    """Lines at rest as NodalLines, where the plate moves more than QUIET of `largest` on both sides, within REACH.

    largest: displacement that counts as full scale (of all plates of the picture); the field's own if not given.
    """
    value = _without_zeros(field)
    extent = float(np.max(np.ptp(field.points, axis=0)))
    floor = QUIET * (largest or field.largest)
    sides = [cKDTree(field.points[loud]) for loud in (value >= floor, value <= -floor) if loud.any()]
    if len(sides) < 2:
        return []
    lines = []
    for i, j in _zero_runs(value, field.topology):
        line = NodalLine(i, j, value[i] / (value[i] - value[j]))
        place = line.along(field.points)
        loud = np.max([tree.query(place)[0] for tree in sides], axis=0) <= REACH * extent
        if loud.mean() >= MOSTLY and _length(place) >= SHORTEST * extent:
            lines.append(line)
    return lines


def _without_zeros(field):
    """The field's values, those of points at rest (a held edge) replaced by next to nothing with their neighbours' sign."""
    value, ends = field.value, edges_of(field.triangles)
    moves = np.abs(value) > ROUND_OFF * field.largest
    if moves.all():
        return value
    around = np.bincount(ends.ravel(), value[ends[:, ::-1]].ravel(), len(value))
    return np.where(moves, value, np.where(around < 0, -1e-300, 1e-300))


def _zero_runs(value, topology):
    """Pairs (i, j) of arrays: the edges that a line of zero value crosses one after the other."""
    ends, sides = topology.edges, topology.sides
    crossed = (value[ends[:, 0]] < 0) != (value[ends[:, 1]] < 0)
    number = np.cumsum(crossed) - 1
    links = number[sides[crossed[sides]]].reshape(-1, 2)  # a triangle is crossed on two of its edges or on none
    unique = ends[crossed]
    return (unique[chain].T for chain in chains(links, len(unique)))


def smoothed(points: np.ndarray) -> np.ndarray:
    """A polyline (k, d) without its small kinks; ends stay, and a closed line stays closed."""
    ring = len(points) > 3 and np.allclose(points[0], points[-1])
    for _ in range(PASSES):
        beyond = np.vstack([points[-2:-1], points, points[1:2]]) if ring else points
        mean = (beyond[:-2] + 2 * beyond[1:-1] + beyond[2:]) / 4
        points = mean if ring else np.vstack([points[:1], mean, points[-1:]])
    return points


def _length(points):
    return float(np.sum(np.linalg.norm(np.diff(points, axis=0), axis=1)))


def peaks(field: Field, largest: float | None = None) -> np.ndarray:
    """Indices of the points where areas move furthest, either way, furthest first.

    Areas that move less than MOVES of `largest` do not count, nor rises of a larger area that are not PROMINENT.
    """
    size, extreme = np.abs(field.value), MOVES * (largest or field.largest)
    high = (size >= (1 - PROMINENT) * extreme) & (size > 0)
    points = np.flatnonzero(high)
    points = points[np.argsort(-size[points], kind="stable")]  # numbered from here on from the furthest on
    number = np.full(len(size), -1)
    number[points] = np.arange(len(points))
    ends = field.topology.edges
    together = high[ends].all(axis=1) & (np.sign(field.value[ends]).prod(axis=1) > 0)
    upper, lower = np.sort(number[ends[together]], axis=1).T
    summit = np.arange(len(points))  # of each point: the peak that the steepest way leads to
    np.minimum.at(summit, lower, upper)
    while np.any(summit != (further := summit[summit])):
        summit = further
    height, between = size[points], summit[upper] != summit[lower]
    root = {p: p for p in np.flatnonzero(summit == np.arange(len(points))).tolist()}
    stands = dict.fromkeys(root, True)
    for pair in sorted(
        zip(lower[between].tolist(), upper[between].tolist())
    ):  # passes from peak to peak, highest first
        one, other = sorted(_root(root, int(summit[p])) for p in pair)
        if one != other:
            root[other] = one
            stands[other] = bool(height[other] - height[pair[0]] >= PROMINENT * height[other])
    return points[[p for p, stays in stands.items() if stays and height[p] >= extreme]]


def _root(root, p):
    while root[p] != p:
        root[p] = p = root[root[p]]
    return p


def boundary(triangles: np.ndarray) -> np.ndarray:
    """Edges (k, 2) of triangles (n, 3) that have a triangle on one side only."""
    return Topology(triangles).boundary


def outer_loops(surface: Field | Sampler) -> list[np.ndarray]:
    """The boundary as arrays of point indices one after the other round each loop, the longest loop first."""
    return sorted(surface.topology.loops, key=lambda loop: -_length(surface.points[loop]))
