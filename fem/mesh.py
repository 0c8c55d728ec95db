"""A shell in space: triangles, the regions that parts cover, the lines that beams follow, the seams that joints close."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from fem.bar_forms import RECTANGLE, Form

_NO_EDGES = np.zeros((0, 2), int)


@dataclass(frozen=True)
class Surface:
    """Triangles covered by one part, and its grain on each of them."""

    triangles: np.ndarray  # (k,) indices
    grain: np.ndarray  # (k, 3) unit vectors in the plane of the triangle
    taper: np.ndarray | None = None  # (k, 3) thickness at the corners over the full one [-]; None: full everywhere


@dataclass(frozen=True)
class Line:
    """Edges of triangles followed by a beam."""

    edges: np.ndarray  # (k, 2) node pairs
    up: np.ndarray  # (k, 3) unit vectors: direction of the section's height
    taper: np.ndarray  # (k, 2) height at the two nodes over the full height [-]
    offset: np.ndarray  # (k, 3) m, from the shell's middle surface to the line the section's own offset counts from
    form: Form = RECTANGLE  # of the cross-section


@dataclass(frozen=True)
class InterfaceSpring:
    """Pairs of coincident edges, their nodes duplicated, held together by a joint."""

    edges_a: np.ndarray  # (k, 2) node pairs on the plate
    edges_b: np.ndarray  # (k, 2) node pairs on the rim, in the same order
    inward: np.ndarray  # (k, 2, 3) unit vectors at both ends of an edge, in the plane of the plate, away from the rim
    angle: np.ndarray | None = None  # (k,) rad, from edge (first node to second) over inward to the plate's grain


@dataclass(frozen=True)
class ShellMesh:
    """Triangles in space with named regions. A region 'block/top' belongs to the part 'block'."""

    nodes: np.ndarray  # (n, 3) m
    triangles: np.ndarray  # (m, 3) node indices
    normal: np.ndarray  # (m, 3) unit vectors; of a closed box: outward
    surfaces: dict[str, Surface] = field(default_factory=dict)
    lines: dict[str, Line] = field(default_factory=dict)
    interface_springs: dict[str, InterfaceSpring] = field(default_factory=dict)
    edges: dict[str, np.ndarray] = field(default_factory=dict)  # {name: (k, 2)} further edges that may be fixed

    def __post_init__(self) -> None:
        if not np.isfinite(self.nodes).all():
            raise ValueError("mesh: some node coordinates are not finite numbers")
        twice_area = np.linalg.norm(_edge_product(self.nodes[self.triangles]), axis=1)
        longest = np.linalg.norm(np.ptp(self.nodes[self.triangles], axis=1), axis=1)
        flat = np.flatnonzero(twice_area < 1e-6 * longest**2)
        if flat.size:
            where = ", ".join(f"{x:.4g}" for x in self.nodes[self.triangles[flat[0]]].mean(axis=0))
            raise ValueError(f"mesh: {flat.size} triangles have no area, the first one near ({where}) m")
        bare = np.setdiff1d(np.arange(len(self.triangles)), self.covered())
        if bare.size:
            raise ValueError(f"mesh: {bare.size} of {len(self.triangles)} triangles belong to no named part")

    def covered(self) -> np.ndarray:
        """Indices of the triangles that belong to at least one region."""
        return np.unique(np.concatenate([s.triangles for s in self.surfaces.values()] or [_NO_EDGES[:, 0]]))

    @property
    def names(self) -> list[str]:
        """Names of everything that can be fixed or given a section."""
        return sorted({*self.surfaces, *self.lines, *self.interface_springs, *self.edges})

    def nodes_of(self, name: str) -> np.ndarray:
        """Node indices of a named region, or of all regions of a part. ValueError for an unknown name."""
        from fem.materials import lookup

        nodes: dict[str, list[np.ndarray]] = {}
        for region, surface in self.surfaces.items():
            nodes.setdefault(part_of(region), []).append(self.triangles[surface.triangles].ravel())
        for region, line in self.lines.items():
            nodes.setdefault(part_of(region), []).append(line.edges.ravel())
        for edge, pairs in self.edges.items():
            nodes.setdefault(edge, []).append(np.asarray(pairs).ravel())
        return np.unique(np.concatenate(lookup(name, nodes, "part or edge")))


def part_of(region: str) -> str:
    """'neck_block' of 'neck_block/top'."""
    return region.split("/")[0]


def _edge_product(corners: np.ndarray) -> np.ndarray:
    """Twice the area vector of triangles given by corners (..., 3, 3)."""
    return np.cross(corners[..., 1, :] - corners[..., 0, :], corners[..., 2, :] - corners[..., 0, :])


def unit_normals(nodes: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(m, 3) unit normals by the right-hand rule of the vertex order."""
    n = _edge_product(nodes[triangles])
    return n / np.linalg.norm(n, axis=1, keepdims=True)


def areas(mesh: ShellMesh, triangles: slice | np.ndarray = slice(None)) -> np.ndarray:
    """(k,) m2."""
    return np.linalg.norm(_edge_product(mesh.nodes[mesh.triangles[triangles]]), axis=1) / 2


def along_surface(direction: ArrayLike, normal: np.ndarray) -> np.ndarray:
    """The unit vector in the surface nearest to a direction: (k, 3) from (3,) or (k, 3) and normals (k, 3)."""
    d = np.broadcast_to(np.asarray(direction, float), normal.shape)
    d = d - np.sum(d * normal, axis=1, keepdims=True) * normal
    length = np.linalg.norm(d, axis=1, keepdims=True)
    if (length < 1e-6).any():
        raise ValueError("grain direction is square to the surface somewhere; expected one that lies along it")
    return d / length
