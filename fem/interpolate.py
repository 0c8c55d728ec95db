"""Displacement of a shell at points beside it: the nearest place on named parts, and the shell's own shape functions there."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate

import numpy as np
import scipy.sparse as sp
from scipy.spatial import cKDTree
from skfem import Basis
from skfem.element import Element

from fem.elements import Space
from fem.materials import lookup
from fem.mesh import ShellMesh

CHUNK = 4000  # points worked on at a time
SAME = 1e-12  # m: points nearer to each other are one
NEAR = 200  # tetrahedra whose middles are nearest to a point that are tried


def triangles_of(mesh: ShellMesh, parts: Iterable[str]) -> np.ndarray:
    """Sorted indices of the triangles that the named parts cover, or regions: 'neck/shaft' with all of 'neck/shaft/...'.

    ValueError for an unknown name.
    """
    covered: dict[str, list[np.ndarray]] = {}
    for region, surface in mesh.surfaces.items():
        for name in accumulate(region.split("/"), "{}/{}".format):
            covered.setdefault(name, []).append(surface.triangles)
    return np.unique(np.concatenate([t for name in parts for t in lookup(name, covered, "part")]))


def nearest_on(corners: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Nearest place on a set of triangles, corners (m, 3, 3) [m], to points (n, 3): triangle (n,) and place (n, 3)."""
    chunks = [_nearest(corners, points[k : k + CHUNK]) for k in range(0, len(points), CHUNK)]
    triangle, place = (np.concatenate(part) for part in zip(*chunks))
    return triangle, place


def _nearest(corners: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """As nearest_on. Triangles are tried by the distance of their centres, until none further off can be nearer."""
    centre = corners.mean(axis=1)
    reach = np.linalg.norm(corners - centre[:, None], axis=2).max()
    tree, count = cKDTree(centre), min(8, len(corners))
    triangle, place, open_ = np.zeros(len(points), int), np.zeros((len(points), 3)), np.arange(len(points))
    while len(open_):
        away, candidate = (v.reshape(len(open_), count) for v in tree.query(points[open_], count))
        foot = closest_in(corners[candidate], points[open_][:, None])
        gap = np.linalg.norm(foot - points[open_][:, None], axis=2)
        best, row = gap.argmin(axis=1), np.arange(len(open_))
        triangle[open_], place[open_] = candidate[row, best], foot[row, best]
        open_ = open_[away[:, -1] < gap.min(axis=1) + reach] if count < len(corners) else open_[:0]
        count = min(2 * count, len(corners))
    return triangle, place


def closest_in(corners: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Nearest place (..., 3) in each triangle, corners (..., 3, 3), to a point (..., 3).

    The foot of the perpendicular where it falls inside, else the nearest place on one of the three edges.
    """
    a, edge = corners, np.roll(corners, -1, axis=-2) - corners
    along = np.einsum("...ki,...ki->...k", points[..., None, :] - a, edge) / np.sum(edge**2, axis=-1)
    on_edge = a + along.clip(0, 1)[..., None] * edge
    gap = np.linalg.norm(on_edge - points[..., None, :], axis=-1)
    nearest = np.take_along_axis(on_edge, gap.argmin(axis=-1)[..., None, None], axis=-2)[..., 0, :]
    local = local_coordinates(corners, points)
    inside = (local.min(axis=-1) >= 0) & (local.sum(axis=-1) <= 1)
    foot = a[..., 0, :] + np.einsum("...k,...ki->...i", local, np.stack([edge[..., 0, :], -edge[..., 2, :]], axis=-2))
    return np.where(inside[..., None], foot, nearest)


def local_coordinates(corners: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(..., 2) coordinates of the points' feet along the triangle's first and last edges, both from its first corner."""
    dot = lambda u, v: np.einsum("...i,...i->...", u, v)
    d, u, v = (
        points - corners[..., 0, :],
        corners[..., 1, :] - corners[..., 0, :],
        corners[..., 2, :] - corners[..., 0, :],
    )
    uu, uv, vv, du, dv = dot(u, u), dot(u, v), dot(v, v), dot(d, u), dot(d, v)
    return np.stack([vv * du - uv * dv, uu * dv - uv * du], axis=-1) / (uu * vv - uv**2)[..., None]


def normal_displacement(
    space: "Space | BasisSpace", parts: Sequence[str], points: np.ndarray, normals: np.ndarray
) -> sp.csr_array | np.ndarray:
    """Sparse matrix (n, space.size): displacement along unit normals (n, 3) of points (n, 3) [m] tied to the named parts.

    A point beside the surface is carried along rigidly by the nearest place on it, u + th x r: a plate's inner face by
    its middle surface, a block's inner face by the side it is glued to. Rigid motions come out exactly. With a
    BasisSpace: (n, r) for the coordinates in its basis.
    """
    if isinstance(space, BasisSpace):
        return space.rows(parts, points, normals)
    return displacement_rows(
        *patch_of(space, triangles_of(space.mesh, parts)), space.element, space.size, points, normals
    )


def patch_of(space: Space, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners (m, 3, 3) [m] of some triangles and nodes (nodes, m) of their shape functions, in scikit-fem's order."""
    mesh = space.basis.mesh
    return mesh.p.T[mesh.t.T[triangles]], space.basis.dofs.element_dofs[:, triangles]


def displacement_rows(
    corners: np.ndarray, nodes: np.ndarray, element: Element, size: int, points: np.ndarray, normals: np.ndarray
) -> sp.csr_array:
    """As normal_displacement, on triangles as patch_of gives them; size: of all the unknowns, six for each node."""
    which, place = nearest_on(corners, points)
    local = local_coordinates(corners[which], place)
    dofs = nodes[:, which]  # (nodes, n)
    phi = np.array([element.lbasis(local.T, i)[0] for i in range(len(dofs))])
    arm = np.cross(points - place, normals)  # n . (th x r) = th . (r x n)
    values = phi[:, :, None] * np.concatenate([normals, arm], axis=1)  # (nodes, n, 6)
    columns = 6 * dofs[:, :, None] + np.arange(6)
    rows = np.broadcast_to(np.arange(len(points))[:, None], columns.shape)
    return sp.csr_array((values.ravel(), (rows.ravel(), columns.ravel())), shape=(len(points), size))


# --- in the air inside ---


def volume_rows(basis: Basis, points: np.ndarray) -> sp.csr_array:
    """Sparse matrix (n, unknowns): a field on the tetrahedra of a scikit-fem basis at points (n, 3) [m].

    By the field's own polynomials. A point outside takes the value at the nearest place on the walls.
    """
    mesh = basis.mesh
    corners = mesh.p.T[mesh.t.T]
    which, local = _in_tetrahedra(corners, points)
    if len(out := np.flatnonzero(local.min(axis=1) < -1e-6)):
        walls = mesh.p.T[mesh.facets[:, mesh.boundary_facets()].T]
        which[out], local[out] = _in_tetrahedra(corners, nearest_on(walls, points[out])[1])
    local = local[:, 1:].clip(0, 1)
    phi = np.array([basis.elem.lbasis(local.T, i)[0] for i in range(basis.Nbfun)])
    columns = basis.element_dofs[:, which]
    rows = np.broadcast_to(np.arange(len(points)), columns.shape)
    return sp.csr_array((phi.ravel(), (rows.ravel(), columns.ravel())), shape=(len(points), basis.N))


def _in_tetrahedra(corners: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The tetrahedron (n,) of corners (m, 4, 3) that holds each point (n, 3), and its four coordinates (n, 4) in there,
    that sum to 1; of a point in none, one of them negative in each of those whose middles are near, the least so.
    """
    inverse = np.linalg.inv((corners[:, 1:] - corners[:, :1]).transpose(0, 2, 1))
    tree = cKDTree(corners.mean(axis=1))
    which, local, open_ = np.zeros(len(points), int), np.zeros((len(points), 4)), np.arange(len(points))
    for count in (16, NEAR):
        count = min(count, len(corners))
        candidate = tree.query(points[open_], count)[1].reshape(len(open_), count)
        d = points[open_][:, None] - corners[candidate, 0]
        three = np.einsum("ncij,ncj->nci", inverse[candidate], d)
        four = np.concatenate([1 - three.sum(axis=2, keepdims=True), three], axis=2)  # barycentric
        best, row = four.min(axis=2).argmax(axis=1), np.arange(len(open_))
        which[open_], local[open_] = candidate[row, best], four[row, best]
        open_ = open_[local[open_].min(axis=1) < -1e-9]
    return which, local


# --- in a basis ---


@dataclass(frozen=True)
class Field:
    """Some triangles of one part and how each column of a basis moves their nodes."""

    corners: np.ndarray = field(repr=False)  # (m, 3, 3) m
    nodes: np.ndarray = field(repr=False)  # (nodes of a triangle, m)
    V: np.ndarray = field(repr=False)  # (6 k, r)
    points: np.ndarray  # (n, 3) m, about which the triangles were cut out
    reach: float  # m
    motion: np.ndarray = field(repr=False)  # (n, 3, r) of the points themselves

    @property
    def tree(self) -> cKDTree:
        """To find the nearest of the points."""
        return cKDTree(self.points)


@dataclass(frozen=True)
class BasisSpace:
    """Places of a shell in a basis V (dofs, r): plain arrays of those parts near which motions are asked for."""

    element: Element  # scikit-fem Lagrange triangle
    rigid: np.ndarray  # (r, 6) coordinates of the rigid motions
    fields: dict[str, Field]

    def rows(self, parts: Sequence[str], points: np.ndarray, normals: np.ndarray) -> np.ndarray:
        """As normal_displacement, (n, r). ValueError away from the places that the basis was cut out for."""
        (part,) = parts
        near = lookup(part, self.fields, "part with places")
        away, which = near.tree.query(points)
        if (away := away.max()) < SAME:
            return np.einsum("na,nar->nr", normals, near.motion[which])
        if away > near.reach / 2:
            raise ValueError(
                f"a place on '{part}' lies {1e3 * away:.0f} mm from those that the reduced basis holds; "
                f"expected {500 * near.reach:.0f} mm at most"
            )
        return displacement_rows(near.corners, near.nodes, self.element, len(near.V), points, normals) @ near.V


def basis_space(
    space: Space, V: np.ndarray, rigid: np.ndarray, places: Mapping[str, np.ndarray], reach: float
) -> BasisSpace:
    """BasisSpace of a basis V (space.size, r) whose columns span `rigid` (size, 6).

    places: {part: points (n, 3) [m]}; motion is kept within `reach` [m] of them.
    """
    fields = {}
    for part, points in places.items():
        triangles = triangles_of(space.mesh, (part,))
        corners, nodes = patch_of(space, triangles)
        which, _ = nearest_on(corners, points)
        near = cKDTree(points).query(corners.mean(axis=1))[0] < reach
        near[which] = True
        used, local = np.unique(nodes[:, near], return_inverse=True)
        moved = V[(6 * used[:, None] + np.arange(6)).ravel()]
        corners, nodes = corners[near], local.reshape(nodes[:, near].shape)
        axes, three = np.repeat(np.eye(3), len(points), axis=0), np.tile(points, (3, 1))
        motion = displacement_rows(corners, nodes, space.element, len(moved), three, axes) @ moved
        motion = motion.reshape(3, len(points), -1).swapaxes(0, 1)
        fields[part] = Field(corners, nodes, moved, points, reach, motion)
    return BasisSpace(space.element, np.linalg.lstsq(V, rigid, rcond=None)[0], fields)
