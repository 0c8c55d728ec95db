"""Measures of a closed box at rest: places on its plates, motion as seen from its rim, stress averaged over patches."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fem.elements import Space
from fem.mesh import part_of
from fem.statics import Spot, spot
from meshes.body import Body
from meshes.joint_geometry import LAND
from meshes.open_rim import pressed_places
from meshes.outline import normal_at, point_at

PATCH = 0.012  # m, radius over which a stress is averaged: at a brace's end and at a seam it has no limit of its own
STATION = 0.020  # m between places along the rim
FEWEST = 8  # quadrature points in a patch; a coarse mesh takes the nearest ones


# --- places ---


def surface_spot(space: Space, triangles: np.ndarray, x: float, y: float) -> Spot:
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


def force_at(space: Space, where: Spot, place: np.ndarray, force: np.ndarray) -> np.ndarray:
    """(size,) load of a force (3,) [N] that acts at a place (3,) [m] off the surface, held by the Spot beneath it."""
    F = np.zeros((space.size // 6, 6))
    F[where.nodes, :3] = np.outer(where.shares, force)
    F[where.nodes, 3:] = np.outer(where.shares, np.cross(place - where.point, force))
    return F.ravel()


def at_spot(where: Spot, u: np.ndarray) -> np.ndarray:
    """(3,) displacement of a Spot; u (nodes, 3)."""
    return where.shares @ u[where.nodes]


# --- motion ---


@dataclass(frozen=True)
class RigidMotion:
    """A small motion without deformation."""

    shift: np.ndarray  # (3,) m
    turn: np.ndarray  # (3,) rad
    centre: np.ndarray  # (3,) m

    def at(self, points: np.ndarray) -> np.ndarray:
        """(n, 3) displacement of points (n, 3)."""
        return self.shift + np.cross(self.turn, points - self.centre)


def rigid_fit(points: np.ndarray, u: np.ndarray) -> RigidMotion:
    """The RigidMotion nearest to displacements u (n, 3) of points (n, 3)."""
    centre = points.mean(axis=0)
    turns = np.stack([np.cross(axis, points - centre) for axis in np.eye(3)], axis=2)
    A = np.concatenate([np.broadcast_to(np.eye(3), turns.shape), turns], axis=2).reshape(-1, 6)
    motion = np.linalg.lstsq(A, u.ravel(), rcond=None)[0]
    return RigidMotion(motion[:3], motion[3:], centre)


def seen_from_rim(space: Space, displacement: np.ndarray) -> np.ndarray:
    """(nodes, 3) displacements without the rigid motion of the rim's two edges."""
    u = displacement.reshape(-1, 6)[:, :3]
    ring = np.unique(np.concatenate([space.edge_nodes(space.mesh.edges[e]).ravel() for e in ("rim_top", "rim_back")]))
    return u - rigid_fit(space.points[ring], u[ring]).at(space.points)


def nodes_on(space: Space, *regions: str) -> np.ndarray:
    """Shape-function nodes of surface regions."""
    surfaces = space.mesh.surfaces
    return np.unique(np.concatenate([space.basis.dofs.element_dofs[:, surfaces[r].triangles].ravel() for r in regions]))


def regions_of(space: Space, part: str) -> list[str]:
    """Surface regions of a part."""
    return [region for region in space.mesh.surfaces if part_of(region) == part]


Across = tuple[Spot, Spot]  # on the treble side and on the bass side


def rim_spots(space: Space, body: Body) -> dict[str, tuple[Across, ...]]:
    """{place: (at the top edge, at the back edge)}."""
    edges = [space.mesh.edges[e] for e in ("rim_top", "rim_back")]
    return {
        name: tuple((spot(space, e, treble[k]), spot(space, e, bass[k])) for k, e in enumerate(edges))
        for name, (treble, bass) in pressed_places(body).items()
    }


def width_changes(spots: Mapping[str, tuple[Across, ...]], u: np.ndarray) -> dict[str, tuple[float, ...]]:
    """{place: (at the top edge, at the back edge)} m, positive where the body gets wider; u (nodes, 3)."""
    return {
        name: tuple(float(at_spot(bass, u)[1] - at_spot(treble, u)[1]) for treble, bass in pairs)
        for name, pairs in spots.items()
    }


# --- stress over patches ---


def near_linings(body: Body, plate: str) -> np.ndarray:
    """(k, 2) m in plan: places along the rim, a patch's radius inside of the lining's inner face and of the plate's land."""
    lining = getattr(body, f"lining_{plate}")
    width = lining.width if lining.kind != "none" else 0.0
    count = max(8, round(body.outline.perimeter / STATION))
    s = np.arange(count) * body.outline.perimeter / count
    inset = max(body.side_thickness - body.sides[0].thickness / 2 + width, LAND) + PATCH
    return point_at(body.outline, s) - inset * normal_at(body.outline, s)


def brace_ends(body: Body, plate: str) -> tuple[list[str], np.ndarray]:
    """([name of an end], (k, 2) m in plan) of the ends of the braces of a plate."""
    braces = [brace for brace in body.braces if brace.plate == plate]
    names = [f"{brace.name}, {which}" for brace in braces for which in ("first end", "second end")]
    return names, np.array([place for b in braces for place in (b.start, b.end)]).reshape(-1, 2)


class Patches:
    """Means over round patches of the quadrature points of a plate, and the same for picture points."""

    def __init__(self, space: Space, triangles: np.ndarray, places: np.ndarray):
        phi, _, weight = space.shell_fields
        nodes = space.basis.dofs.element_dofs[:, triangles].T
        points = np.einsum("qa,eax->eqx", phi, space.points[nodes])[..., :2].reshape(-1, 2)
        tree, self.weight = cKDTree(points), weight[triangles].ravel()
        near = tree.query_ball_point(places, PATCH) if len(places) else []
        fewest = [np.atleast_1d(tree.query(place, FEWEST)[1]) for place in places]
        self.members = [np.array(n) if len(n) >= FEWEST else f for n, f in zip(near, fewest)]

    def mean(self, value: np.ndarray) -> np.ndarray:
        """(places,) of a value (elements, points)."""
        value = value.ravel()
        return np.array([np.average(value[m], weights=self.weight[m]) for m in self.members])


def nodal(space: Space, triangles: np.ndarray, value: np.ndarray) -> np.ndarray:
    """(nodes,) a value (elements, points) averaged round every node of the triangles; for pictures only."""
    weight = space.shell_fields[2][triangles]
    nodes = space.basis.dofs.element_dofs[:, triangles]
    at_nodes = lambda v: np.bincount(nodes.ravel(), np.broadcast_to(v, nodes.shape).ravel(), space.basis.N)
    total, area = at_nodes(np.sum(value * weight, axis=1)), at_nodes(weight.sum(axis=1))
    return total / np.where(area > 0, area, 1)
