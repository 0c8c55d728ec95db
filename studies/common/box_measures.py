"""Measures of a closed box at rest: places on its plates, motion as seen from its rim, stress averaged over patches."""

import numpy as np
from scipy.spatial import cKDTree

from fem.mesh import part_of
from fem.statics import Spot, spot
from meshes.open_rim import pressed_places
from meshes.outline import normal_at, point_at

PATCH = 0.012  # m, radius over which a stress is averaged: at a brace's end and at a seam it has no limit of its own
STATION = 0.020  # m between places along the rim
FEWEST = 8  # quadrature points in a patch; a coarse mesh takes the nearest ones


# --- places ---


def surface_spot(space, triangles, x, y):
    """The Spot of some triangles (indices) over the plan point x, y [m]. ValueError where none lies there."""
    corners = space.mesh.nodes[space.mesh.triangles[triangles]]
    share = _barycentric(corners[:, :, :2], np.array([x, y]))
    k = int(np.argmax(share.min(axis=1)))
    if share[k].min() < -0.02:
        raise ValueError(f"nothing of the body lies at {1e3 * x:.1f}, {1e3 * y:.1f} mm in plan; expected wood there")
    mesh = space.basis.mesh
    order = mesh.t[:, triangles[k]]  # scikit-fem's own order of the corners, to which its shape functions belong
    mine = _barycentric(mesh.doflocs.T[order][None, :, :2], np.array([x, y]))[0]
    X = mine[1:, None]
    phi = np.array([space.element.lbasis(X, i)[0][0] for i in range(space.basis.Nbfun)])
    nodes = space.basis.dofs.element_dofs[:, triangles[k]]
    return Spot(nodes, phi, mine @ mesh.doflocs.T[order])


def _barycentric(corners, place):
    """(k, 3) shares of the corners (k, 3, 2) at a place (2,)."""
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    d = place - corners[:, 0]
    area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    area = np.where(np.abs(area) < 1e-12, np.nan, area)  # upright triangles have no plan
    one, two = (d[:, 0] * b[:, 1] - d[:, 1] * b[:, 0]) / area, (a[:, 0] * d[:, 1] - a[:, 1] * d[:, 0]) / area
    return np.nan_to_num(np.column_stack([1 - one - two, one, two]), nan=-np.inf)


def force_at(space, where, place, force):
    """(size,) load of a force (3,) [N] that acts at a place (3,) [m] off the surface, held by the Spot beneath it."""
    F = np.zeros((space.size // 6, 6))
    F[where.nodes, :3] = np.outer(where.shares, force)
    F[where.nodes, 3:] = np.outer(where.shares, np.cross(place - where.point, force))
    return F.ravel()


def at_spot(where, u):
    """(3,) displacement of a Spot; u (nodes, 3)."""
    return where.shares @ u[where.nodes]


# --- motion ---


def rigid_fit(points, u):
    """(shift (3,), turn (3,), centre (3,)) of the rigid motion nearest to displacements u (n, 3) of points (n, 3)."""
    centre = points.mean(axis=0)
    r = points - centre
    A = np.zeros((len(r), 3, 6))
    A[:, :, :3] = np.eye(3)
    for k, axis in enumerate(np.eye(3)):
        A[:, :, 3 + k] = np.cross(axis, r)
    found = np.linalg.lstsq(A.reshape(-1, 6), u.ravel(), rcond=None)[0]
    return found[:3], found[3:], centre


def moved(motion, points):
    """(n, 3) displacement of points (n, 3) in a rigid motion."""
    shift, turn, centre = motion
    return shift + np.cross(turn, points - centre)


def seen_from_rim(space, displacement):
    """(nodes, 3) displacements without the rigid motion of the rim's two edges."""
    u = displacement.reshape(-1, 6)[:, :3]
    ring = np.unique(np.concatenate([space.edge_nodes(space.mesh.edges[e]).ravel() for e in ("rim_top", "rim_back")]))
    return u - moved(rigid_fit(space.points[ring], u[ring]), space.points)


def nodes_on(space, *regions):
    """Shape-function nodes of surface regions."""
    surfaces = space.mesh.surfaces
    return np.unique(np.concatenate([space.basis.dofs.element_dofs[:, surfaces[r].triangles].ravel() for r in regions]))


def regions_of(space, part):
    """Surface regions of a part."""
    return [region for region in space.mesh.surfaces if part_of(region) == part]


def rim_spots(space, body):
    """{place: ((treble, bass) at the top edge, (treble, bass) at the back edge)}, each a Spot."""
    found = {}
    for name, (treble, bass) in pressed_places(body).items():
        edges = [space.mesh.edges[e] for e in ("rim_top", "rim_back")]
        found[name] = tuple((spot(space, e, treble[k]), spot(space, e, bass[k])) for k, e in enumerate(edges))
    return found


def width_changes(spots, u):
    """{place: (at the top edge, at the back edge)} m, positive where the body gets wider; u (nodes, 3)."""
    return {
        name: tuple(float(at_spot(bass, u)[1] - at_spot(treble, u)[1]) for treble, bass in pairs)
        for name, pairs in spots.items()
    }


# --- stress over patches ---


def near_linings(body, plate):
    """(k, 2) m in plan: places along the rim, a patch's radius inside of the lining's inner face."""
    lining = getattr(body, f"lining_{plate}")
    width = lining.width if lining.kind != "none" else 0.0
    count = max(8, round(body.outline.perimeter / STATION))
    s = np.arange(count) * body.outline.perimeter / count
    inset = body.side_thickness - body.sides[0].thickness / 2 + width + PATCH
    return point_at(body.outline, s) - inset * normal_at(body.outline, s)


def brace_ends(body, plate):
    """({name of an end}, (k, 2) m in plan) of the ends of the braces of a plate."""
    names, places = [], []
    for brace in (b for b in body.braces if b.plate == plate):
        for place, which in ((brace.start, "first end"), (brace.end, "second end")):
            names.append(f"{brace.name}, {which}")
            places.append(place)
    return names, np.array(places).reshape(-1, 2)


class Patches:
    """Means over round patches of the quadrature points of a plate, and the same for picture points."""

    def __init__(self, space, triangles, places, radius=PATCH):
        phi, _, weight = space.shell_fields
        nodes = space.basis.dofs.element_dofs[:, triangles].T
        points = np.einsum("qa,eax->eqx", phi, space.points[nodes])[..., :2].reshape(-1, 2)
        tree, self.weight = cKDTree(points), weight[triangles].ravel()
        near = tree.query_ball_point(places, radius) if len(places) else []
        fewest = [np.atleast_1d(tree.query(place, FEWEST)[1]) for place in places]
        self.members = [np.array(n) if len(n) >= FEWEST else f for n, f in zip(near, fewest)]

    def mean(self, value):
        """(places,) of a value (elements, points)."""
        value = value.ravel()
        return np.array([np.average(value[m], weights=self.weight[m]) for m in self.members])


def nodal(space, triangles, value):
    """(nodes,) a value (elements, points) averaged round every node of the triangles; for pictures only."""
    weight = space.shell_fields[2][triangles]
    mean = np.sum(value * weight, axis=1) / weight.sum(axis=1)
    nodes, area = space.basis.dofs.element_dofs[:, triangles], weight.sum(axis=1)
    total, share = (
        np.bincount(nodes.ravel(), np.broadcast_to(v, nodes.shape).ravel(), space.basis.N) for v in (mean * area, area)
    )
    return total / np.where(share > 0, share, 1)
