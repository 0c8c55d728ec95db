"""What a reader looks for in a mode shape: its nodal lines, the areas that move, the edge of the surface."""

from dataclasses import dataclass
from heapq import heapify, heappop, heappush

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve

from studies.drawing.field import Field, Sampler, point_areas
from studies.drawing.topology import Topology, chains

NEXT_TO_NOTHING = 1e-300  # displacement given to a point of no area, for its sign
STIRS = 0.1  # of a plate's own largest displacement, a step of colour: what moves less is no area
JOINED = 0.06  # of the same: places that move one way, at least so far all along a way between them, are one area
SMALLEST = 0.01  # of the surface: a smaller patch is no area
HARDLY = 0.05  # of the largest displacement in a mode: a plate that moves less is drawn at rest, and said to be
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


@dataclass(frozen=True)
class Area:
    """A part of a surface that moves one way."""

    members: np.ndarray  # (k,) indices of its points that move at least JOINED of the field's largest displacement
    peak: int  # index of the one that moves furthest
    share: float  # of the field's largest displacement, what it moves there, with its sign
    centre: np.ndarray  # (3,) m, middle of its motion
    inner: bool  # a closed nodal line parts it from the outer edge


def nodal_lines(field: Field) -> list[NodalLine]:
    """The lines at rest between areas, judged by the field's own largest displacement.

    Whole ones: each closes upon itself or runs from edge to edge, that of a hole counted, for what parts a surface by sign
    cannot end within it. A patch that moves less than STIRS, or covers less than SMALLEST, has no line round it.
    """
    if not field.largest > 0:
        return []
    settled = _settled(field)
    return [_line(i, j, field.value, settled) for i, j in _zero_runs(settled, field.topology)]


def _line(i, j, value, settled):
    """NodalLine over the edges (i, j): where the value itself changes sign it lies there, elsewhere where it was settled."""
    a, b = np.where(value[i] * value[j] < 0, (value[i], value[j]), (settled[i], settled[j]))
    return NodalLine(i, j, a / (a - b))


def areas(field: Field) -> list[Area]:
    """Areas of a field, that which moves furthest first: what nodal_lines part, and what only hangs together by a neck.

    Counted by topology: pieces of the surface that move one way, at least JOINED of the field's largest displacement.
    """
    if not field.largest > 0:
        return []
    value, size, weight = _settled(field), np.abs(field.value), point_areas(field)
    side = _pieces(value < 0, field.topology)
    far = (size >= JOINED * field.largest) & ((value < 0) == (field.value < 0))
    piece = _pieces(np.where(far, np.sign(value), 0), field.topology)
    outside = set(side[outer_loops(field)[0]].tolist()) if field.topology.loops else set(side.tolist())
    found: list[Area] = []
    for peak in np.flatnonzero(far)[np.argsort(-size[far], kind="stable")]:
        if piece[peak] < 0:
            continue
        members = np.flatnonzero(piece == piece[peak])
        piece[members] = -1
        if size[peak] < STIRS * field.largest or weight[members].sum() < SMALLEST / 2 * weight.sum():
            continue
        centre = np.average(field.points[members], axis=0, weights=weight[members] * size[members])
        inner = bool(outside) and side[peak] not in outside
        found.append(Area(members, int(peak), float(field.value[peak] / field.largest), centre, inner))
    return found


def _pieces(label, topology):
    """(n,) number of the piece that each point lies in: points of one label (n,) that edges join."""
    a, b = topology.edges[label[topology.edges[:, 0]] == label[topology.edges[:, 1]]].T
    links = sp.coo_array((np.ones(len(a)), (a, b)), shape=(len(label),) * 2)
    return connected_components(links, directed=False)[1]


def _settled(field):
    """The field's values, those of patches that are no areas next to nothing, with the sign of what lies round them.

    Where a plate is nearly still, a ripple has a sign too: there values are drawn towards those of the areas round about.
    """
    value, ends = _eased(field), field.topology.edges
    negative = value < 0
    patch, weight = _pieces(negative, field.topology), point_areas(field)
    count = patch.max() + 1
    height, share = np.zeros(count), np.bincount(patch, weight, count) / weight.sum()
    np.maximum.at(height, patch, np.abs(field.value) / field.largest)
    facing = np.unique(patch[ends[negative[ends[:, 0]] != negative[ends[:, 1]]]], axis=0)
    final = negative.copy() if not len(facing) else _absorbed(height, share, facing, negative[_first(patch)])[patch]
    return np.where(final == negative, value, np.where(final, -NEXT_TO_NOTHING, NEXT_TO_NOTHING))


def _first(patch):
    return np.unique(patch, return_index=True)[1]


def _absorbed(height, share, facing, negative):
    """(k,) bool, which of k patches end as negative: small ones take the sign of their neighbours, the stillest first.

    height: largest displacement of each, of the field's; share: of the surface; facing (m, 2): pairs of neighbours.
    """
    height, share, root = height.copy(), share.copy(), list(range(len(height)))
    near: list[set[int]] = [set() for _ in root]
    for a, b in facing.tolist():
        near[a].add(b)
        near[b].add(a)
    small = lambda k: height[k] < STIRS or share[k] < SMALLEST
    waiting = [(float(height[k]), k) for k in root if small(k)]
    heapify(waiting)
    while waiting:
        _, k = heappop(waiting)
        round_it = {_root(root, other) for other in near[k]} - {k}
        if root[k] != k or not small(k) or not round_it:
            continue
        main = max(round_it, key=lambda other: height[other])
        joined = [k, *(other for other in round_it if other != main)]
        for other in joined:
            root[other] = main
        height[main] = max(height[other] for other in (main, *joined))
        share[main] += sum(share[other] for other in joined)
        near[main] = {_root(root, far) for other in (main, *joined) for far in near[other]} - {main}
        if small(main):
            heappush(waiting, (float(height[main]), main))
    return negative[[_root(root, k) for k in range(len(root))]]


def _root(root, k):
    while root[k] != k:
        root[k] = k = root[root[k]]
    return k


def _eased(field):
    """The field's values; those below JOINED drawn towards h, what a membrane held by the others would have there.

    A strip of ripples beside one area takes its sign. Drawn by the cube of h, which hardly shifts a line between two areas,
    where h vanishes too.
    """
    value, level, ends = field.value, JOINED * field.largest, field.topology.edges
    still = np.abs(value) < level
    if not still.any():
        return value
    number = np.where(still, np.cumsum(still) - 1, -1)
    a, b = np.concatenate([ends, ends[:, ::-1]]).T  # each edge from either side
    a, b = a[still[a]], b[still[a]]
    inner, n = still[b], still.sum()
    degree = np.bincount(number[a], minlength=n)
    A = sp.csc_array((-np.ones(inner.sum()), (number[a[inner]], number[b[inner]])), shape=(n, n)) + sp.diags_array(
        degree * 1.0
    )
    pull = np.bincount(number[a[~inner]], np.clip(value[b[~inner]], -level, level), n)
    eased = value.copy()
    h = spsolve(A.tocsc(), pull) / level
    eased[still] += level * h**3
    return np.where(eased == 0, NEXT_TO_NOTHING, eased)


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


def boundary(triangles: np.ndarray) -> np.ndarray:
    """Edges (k, 2) of triangles (n, 3) that have a triangle on one side only."""
    return Topology(triangles).boundary


def outer_loops(surface: Field | Sampler) -> list[np.ndarray]:
    """The boundary as arrays of point indices one after the other round each loop, the longest loop first."""
    return sorted(surface.topology.loops, key=lambda loop: -_length(surface.points[loop]))
