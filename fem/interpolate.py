"""Displacement of a shell at points beside it: the nearest place on named parts, and the shell's own shape functions there."""

import numpy as np
import scipy.sparse as sp
from scipy.spatial import cKDTree

from fem.materials import lookup
from fem.mesh import part_of

CHUNK = 4000  # points worked on at a time


def triangles_of(mesh, parts):
    """Sorted indices of the triangles that the named parts cover. ValueError for an unknown name."""
    found = {}
    for region, surface in mesh.surfaces.items():
        found.setdefault(part_of(region), []).append(surface.triangles)
    return np.unique(np.concatenate([t for name in parts for t in lookup(name, found, "part")]))


def nearest_on(corners, points):
    """Nearest place on a set of triangles, corners (m, 3, 3) [m], to points (n, 3): triangle (n,) and place (n, 3)."""
    chunks = [_nearest(corners, points[k : k + CHUNK]) for k in range(0, len(points), CHUNK)]
    return tuple(np.concatenate(part) for part in zip(*chunks))


def _nearest(corners, points):
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


def closest_in(corners, points):
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


def local_coordinates(corners, points):
    """(..., 2) coordinates of the points' feet along the triangle's first and last edges, both from its first corner."""
    d = points - corners[..., 0, :]
    J = corners[..., 1:, :] - corners[..., :1, :]
    metric = np.einsum("...ai,...bi->...ab", J, J)
    return np.linalg.solve(metric, np.einsum("...ai,...i->...a", J, d)[..., None])[..., 0]


def normal_displacement(space, parts, points, normals):
    """Sparse matrix (n, space.size): displacement along unit normals (n, 3) of points (n, 3) [m] tied to the named parts.

    A point beside the surface is carried along rigidly by the nearest place on it, u + th x r: a plate's inner face by
    its middle surface, a block's inner face by the side it is glued to. Rigid motions come out exactly.
    """
    triangles, mesh = triangles_of(space.mesh, parts), space.basis.mesh
    corners = mesh.p.T[mesh.t.T[triangles]]  # scikit-fem's own vertex order, not the ShellMesh's
    which, place = nearest_on(corners, points)
    local = local_coordinates(corners[which], place)
    dofs = space.basis.dofs.element_dofs[:, triangles[which]]  # (nodes, n)
    phi = np.array([space.element.lbasis(local.T, i)[0] for i in range(len(dofs))])
    arm = np.cross(points - place, normals)  # n . (th x r) = th . (r x n)
    values = phi[:, :, None] * np.concatenate([normals, arm], axis=1)  # (nodes, n, 6)
    columns = 6 * dofs[:, :, None] + np.arange(6)
    rows = np.broadcast_to(np.arange(len(points))[:, None], columns.shape)
    return sp.csr_array((values.ravel(), (rows.ravel(), columns.ravel())), shape=(len(points), space.size))
