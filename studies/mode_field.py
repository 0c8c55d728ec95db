"""A mode shape on a surface: sampled with the elements' own shape functions, given a sign, its nodal lines traced."""

from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

CREASE = np.radians(40)  # triangles meeting at a sharper angle do not share a normal
NEAR_PEAK = 0.9  # places whose displacement is this part of the largest decide the sign together
QUIET = 0.01  # of the largest displacement: a zero line between two sides that move less is noise
REACH = 0.08  # of the extent of the surface: how far from the line the two sides are looked at
SHORTEST = 0.04  # of the extent: a shorter nodal line is not drawn
MOSTLY = (
    1 / 3
)  # a line is drawn, to the edge of the plate, if this part of it passes between moving sides; else not at all
MOVES = 0.15  # of the largest displacement: an area that does not reach this does not count as moving
PROMINENT = 0.3  # of its height: what one must come down from a peak before climbing to a higher one


@dataclass(frozen=True)
class Sampler:
    """Refined triangles on part of a ShellMesh, and the matrix that evaluates the shape functions on their corners."""

    points: np.ndarray  # (n, 3) m
    triangles: np.ndarray  # (k, 3) indices of points
    normal: np.ndarray  # (n, 3) unit vectors, outward on a closed box
    matrix: sp.csr_array  # (n, shape-function nodes)


@dataclass(frozen=True)
class Field:
    """A mode on refined triangles."""

    points: np.ndarray  # (n, 3) m
    triangles: np.ndarray  # (k, 3)
    value: np.ndarray  # (n,) displacement along the outward normal, in the unit of the mode shape
    displacement: np.ndarray  # (n, 3)

    @property
    def largest(self):
        """Largest displacement along the normal, either way."""
        return float(np.max(np.abs(self.value), initial=0.0))


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


# --- sampling ---


def mode_field(space, shape_column, region, subdivide=4):
    """Field of one mode shape (dofs,) on the surface region `region`; every triangle becomes subdivide^2 triangles."""
    return field_on(sampler(space, space.mesh.surfaces[region].triangles, subdivide), shape_column)


def field_on(sampler, shape_column):
    """Field of one mode shape (dofs,) on a Sampler."""
    u = sampler.matrix @ shape_column.reshape(-1, 6)[:, :3]
    return Field(sampler.points, sampler.triangles, np.sum(u * sampler.normal, axis=1), u)


def sampler(space, triangles, subdivide=4):
    """Sampler of the given triangles (indices) of a Space. Normals are averaged, but not across creases."""
    basis = space.basis
    corner = basis.mesh.t[:, triangles].T  # in scikit-fem's order, to which element_dofs belong
    steps, small = _lattice(subdivide)
    patch = smooth_patches(space.mesh, triangles)
    used = np.where(steps > 0, (corner[:, None] * (subdivide + 1)) + steps, -1)  # (elements, q, 3): who and how much
    key = np.concatenate([np.sort(used, axis=2), np.broadcast_to(patch[:, None, None], (*used.shape[:2], 1))], axis=2)
    _, first, index = np.unique(key.reshape(-1, 4), axis=0, return_index=True, return_inverse=True)
    index = index.reshape(len(triangles), -1)
    points = np.einsum("qc,ecx->eqx", steps / subdivide, basis.mesh.doflocs.T[corner]).reshape(-1, 3)[first]
    X = (steps[:, 1:] / subdivide).T
    phi = np.array([space.element.lbasis(X, k)[0] for k in range(basis.Nbfun)]).T  # (q, nodes)
    nodes = basis.dofs.element_dofs[:, triangles].T
    element, place = np.divmod(first, len(steps))
    rows = np.repeat(np.arange(len(first)), phi.shape[1])
    matrix = sp.csr_array((phi[place].ravel(), (rows, nodes[element].ravel())), shape=(len(first), basis.N))
    lean = _corner_normals(basis.mesh.doflocs.T, corner, patch, space.mesh.normal[triangles])
    normal = np.einsum("qc,ecx->eqx", steps / subdivide, lean).reshape(-1, 3)[first]
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return Sampler(points, _facing(points, index[:, small].reshape(-1, 3), normal), normal, matrix)


def _lattice(n):
    """Barycentric steps (q, 3) of a triangle cut into n^2, each row summing to n, and the small triangles (n^2, 3)."""
    steps = np.array([(n - a - b, a, b) for b in range(n + 1) for a in range(n + 1 - b)])
    number = {(a, b): k for k, (_, a, b) in enumerate(steps.tolist())}
    up = [(number[a, b], number[a + 1, b], number[a, b + 1]) for b in range(n) for a in range(n - b)]
    down = [(number[a + 1, b], number[a + 1, b + 1], number[a, b + 1]) for b in range(n) for a in range(n - b - 1)]
    return steps, np.array(up + down)


def _corner_normals(nodes, corner, patch, facing):
    """(k, 3, 3) unit normals at the three corners of each triangle, one for all triangles of a patch that meet there.

    Weights of Max, J. Graphics Tools 4(2):1 (1999): exact for vertices on a sphere.
    """
    p = nodes[corner]
    normal = np.zeros_like(p)
    for c in range(3):
        a, b = p[:, (c + 1) % 3] - p[:, c], p[:, (c + 2) % 3] - p[:, c]
        normal[:, c] = np.cross(a, b) / (np.sum(a * a, axis=1) * np.sum(b * b, axis=1))[:, None]
    normal *= np.sign(np.sum(normal * facing[:, None], axis=2))[..., None]
    key = np.stack([corner, np.broadcast_to(patch[:, None], corner.shape)], axis=2).reshape(-1, 2)
    _, index = np.unique(key, axis=0, return_inverse=True)
    total = np.zeros((index.max() + 1, 3))
    np.add.at(total, index.ravel(), normal.reshape(-1, 3))
    total /= np.linalg.norm(total, axis=1, keepdims=True)
    return total[index].reshape(p.shape)


def _facing(points, triangles, normal):
    """The triangles turned so that their right-hand normals agree with the points' normals."""
    p = points[triangles]
    against = np.sum(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]) * normal[triangles].sum(axis=1), axis=1) < 0
    return np.where(against[:, None], triangles[:, ::-1], triangles)


def smooth_patches(mesh, triangles):
    """(k,) number of the patch that each of the triangles belongs to; patches end at creases."""
    t = mesh.triangles[triangles]
    edges = np.sort(t[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(len(t)), 3)
    order = np.lexsort(edges.T)
    same = (edges[order[1:]] == edges[order[:-1]]).all(axis=1)
    a, b = owner[order[1:][same]], owner[order[:-1][same]]
    n = mesh.normal[triangles]
    smooth = np.sum(n[a] * n[b], axis=1) > np.cos(CREASE)
    links = sp.coo_array((np.ones(smooth.sum()), (a[smooth], b[smooth])), shape=(len(t), len(t)))
    return connected_components(links, directed=False)[1]


# --- sign ---


def phase(field):
    """+1 or -1: the sign that makes the largest displacement of a field point outward.

    Of several places that move almost as far, the one furthest towards the bass side decides, so that a mode with two
    equal and opposite halves comes out the same way every time.
    """
    near = np.flatnonzero(np.abs(field.value) >= NEAR_PEAK * field.largest)
    if not near.size:
        return 1.0
    decides = near[np.argmax(field.points[near, 1])]
    return 1.0 if field.value[decides] >= 0 else -1.0


def same_phase(reference, field):
    """The field, turned round if it moves against the reference; the two may come from different meshes."""
    _, nearest = cKDTree(reference.points).query(field.points)
    weight = point_areas(field)
    return turned(field) if np.sum(weight * field.value * reference.value[nearest]) < 0 else field


def turned(field, sign=-1.0):
    """The field times a sign."""
    return replace(field, value=sign * field.value, displacement=sign * field.displacement)


def point_areas(field):
    """(n,) m2: a third of the area of the triangles around each point."""
    p = field.points[field.triangles]
    area = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / 2
    return np.bincount(field.triangles.ravel(), np.repeat(area / 3, 3), len(field.points))


# --- what a reader looks for ---


def nodal_lines(field, largest=None):
    """Lines at rest as NodalLines, where the plate moves more than QUIET of `largest` on both sides, within REACH.

    largest: displacement that counts as full scale (of all plates of the picture); the field's own if not given.
    """
    value = np.where(field.value == 0, 1e-300, field.value)
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


def boundary(field):
    """Edges (k, 2) of the triangles of a Field or Sampler that have a triangle on one side only."""
    edges = np.sort(field.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    return unique[count == 1]


def outer_loops(field):
    """The boundary as arrays of point indices one after the other round each loop, the longest loop first."""
    edges = boundary(field)
    points, number = np.unique(edges, return_inverse=True)
    neighbours = [[] for _ in points]
    for a, b in number.reshape(-1, 2).tolist():
        neighbours[a].append(b)
        neighbours[b].append(a)
    seen = np.zeros(len(points), bool)
    loops = [points[_walk(start, neighbours, seen)] for start in range(len(points)) if not seen[start]]
    return sorted(loops, key=lambda loop: -_length(field.points[loop]))
