"""A mode shape on a surface: sampled with the elements' own shape functions, and given a sign."""

from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fem.elements import Space
from fem.mesh import ShellMesh
from studies.drawing.topology import Topology, edges_of

CREASE = np.radians(40)  # triangles meeting at a sharper angle do not share a normal
NEAR_PEAK = 0.9  # places whose displacement is this part of the largest decide the sign together
FLATTENED = 0.02  # of its area: what a triangle keeps at least when its points are moved


@dataclass(frozen=True)
class Sampler:
    """Refined triangles on part of a ShellMesh, and the matrix that evaluates the shape functions on their corners."""

    points: np.ndarray  # (n, 3) m
    topology: Topology  # of k triangles of the points
    normal: np.ndarray  # (n, 3) unit vectors, outward on a closed box
    matrix: sp.csr_array  # (n, shape-function nodes)

    @property
    def triangles(self) -> np.ndarray:
        """(k, 3) indices of points."""
        return self.topology.triangles


@dataclass(frozen=True)
class Field:
    """A mode on refined triangles."""

    points: np.ndarray  # (n, 3) m
    topology: Topology  # of k triangles of the points
    value: np.ndarray  # (n,) displacement along the outward normal, in the unit of the mode shape
    displacement: np.ndarray  # (n, 3)

    @property
    def triangles(self) -> np.ndarray:
        """(k, 3) indices of points."""
        return self.topology.triangles

    @property
    def largest(self) -> float:
        """Largest displacement along the normal, either way."""
        return float(np.max(np.abs(self.value), initial=0.0))


def area_vectors(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(k, 3) right-hand normals of triangles (k, 3), twice as long as their areas."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return np.cross(b - a, c - a)


# --- sampling ---


def field_on(sampler: Sampler, shape_column: np.ndarray) -> Field:
    """Field of one mode shape (dofs,) on a Sampler."""
    u = sampler.matrix @ shape_column.reshape(-1, 6)[:, :3]
    return Field(sampler.points, sampler.topology, np.sum(u * sampler.normal, axis=1), u)


def sampler(space: Space, triangles: np.ndarray, subdivide: int = 4) -> Sampler:
    """Sampler of the given triangles (indices) of a Space. Normals are averaged, but not across creases."""
    basis = space.basis
    corner = basis.mesh.t[:, triangles].T  # in scikit-fem's order, to which element_dofs belong
    steps, small = lattice(subdivide)
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
    triangles = _facing(points, index[:, small].reshape(-1, 3), normal)
    return Sampler(points, Topology(triangles), normal, matrix)


def lattice(n: int) -> tuple[np.ndarray, np.ndarray]:
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
    against = np.sum(area_vectors(points, triangles) * normal[triangles].sum(axis=1), axis=1) < 0
    return np.where(against[:, None], triangles[:, ::-1], triangles)


def smooth_patches(mesh: ShellMesh, triangles: np.ndarray) -> np.ndarray:
    """(k,) number of the patch that each of the triangles belongs to; patches end at creases."""
    edges = np.sort(edges_of(mesh.triangles[triangles]), axis=1)
    owner = np.repeat(np.arange(len(triangles)), 3)
    order = np.lexsort(edges.T)
    same = (edges[order[1:]] == edges[order[:-1]]).all(axis=1)
    a, b = owner[order[1:][same]], owner[order[:-1][same]]
    n = mesh.normal[triangles]
    smooth = np.sum(n[a] * n[b], axis=1) > np.cos(CREASE)
    links = sp.coo_array((np.ones(smooth.sum()), (a[smooth], b[smooth])), shape=(len(triangles),) * 2)
    return connected_components(links, directed=False)[1]


def unturned(plan: np.ndarray, triangles: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """The shifts (n, 2) of points (n, 2), without those that turn a triangle over or nearly flatten it."""
    shift, before = np.array(shift, float), _turn(plan, triangles)
    while True:
        flat = _turn(plan + shift, triangles) * np.sign(before) < FLATTENED * np.abs(before)
        corners = np.unique(triangles[flat])
        if not np.any(shift[corners]):
            return shift
        shift[corners] = 0.0


def _turn(plan, triangles):
    """(k,) twice the area of triangles in plan, negative if they run clockwise."""
    p, q, r = plan[triangles].transpose(1, 0, 2)
    a, b = q - p, r - p
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


# --- sign ---


def phase(field: Field) -> float:
    """+1 or -1: the sign that makes the largest displacement of a field point outward.

    Of several places that move almost as far, the one furthest towards the bass side decides, so that a mode with two
    equal and opposite halves comes out the same way every time.
    """
    near = np.flatnonzero(np.abs(field.value) >= NEAR_PEAK * field.largest)
    if not near.size:
        return 1.0
    decides = near[np.argmax(field.points[near, 1])]
    return 1.0 if field.value[decides] >= 0 else -1.0


def sign_along(reference: Field, field: Field) -> float:
    """+1 or -1: the sign that makes a field go along with the reference; the two may come from different meshes."""
    _, nearest = cKDTree(reference.points).query(field.points)
    together = np.sum(point_areas(field) * field.value * reference.value[nearest])
    return -1.0 if together < 0 else 1.0


def turned(field: Field, sign: float = -1.0) -> Field:
    """The field times a sign."""
    return replace(field, value=sign * field.value, displacement=sign * field.displacement)


def longest(*displacements: np.ndarray) -> float:
    """Largest length of displacements (n, 3)."""
    return max(float(np.max(np.linalg.norm(u, axis=1), initial=0)) for u in displacements)


def point_areas(field: Field) -> np.ndarray:
    """(n,) m2: a third of the area of the triangles around each point."""
    area = np.linalg.norm(area_vectors(field.points, field.triangles), axis=1) / 2
    return np.bincount(field.triangles.ravel(), np.repeat(area / 3, 3), len(field.points))
