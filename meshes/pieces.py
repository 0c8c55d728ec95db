"""Pieces of a mesh before they are put together: each counts its own nodes, and may share some with an earlier one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.mesh import InterfaceSpring, Line, ShellMesh, Surface

Area = tuple[float, float, float, float]  # x0, x1, y0, y1 [m] in plan


@dataclass(frozen=True)
class Rim:
    """Places on the outline that the plates and the sides share."""

    arc: np.ndarray  # (k,) m, ascending
    points: np.ndarray  # (k, 2) m
    outward: np.ndarray  # (k, 2) unit normals
    at_block: Mapping[str, np.ndarray]  # {'top', 'back': (k,) bool}: spans where that plate is glued to a block
    grain: Mapping[str, np.ndarray]  # {'top', 'back': (2,)} unit vectors


@dataclass
class Piece:
    """Part of the mesh before the pieces are put together; indices count within the piece (or as `shares` says)."""

    nodes: np.ndarray  # (n, 3) m
    triangles: np.ndarray  # (m, 3)
    normal: np.ndarray  # (m, 3)
    surfaces: dict[str, Surface]
    lines: dict[str, Line]
    edges: dict[str, np.ndarray]  # {name: (e, 2)}
    shares: tuple[int, np.ndarray] | None = None  # piece number, its nodes that the first nodes of this piece stand for


def joined(pieces: Sequence[Piece], rim: Rim) -> ShellMesh:
    """ShellMesh of the pieces: indices shifted, shared nodes merged, plates joined to the rim by interface springs."""
    starts: list[int] = []
    nodes: list[np.ndarray] = []
    maps: list[np.ndarray] = []
    for piece in pieces:
        start = sum(map(len, nodes))
        shared = len(piece.shares[1]) if piece.shares else 0
        new = start + np.arange(len(piece.nodes) - shared)
        maps.append(np.concatenate([maps[piece.shares[0]][piece.shares[1]], new]) if piece.shares else new)
        nodes.append(piece.nodes[shared:])
        starts.append(sum(len(p.triangles) for p in pieces[: len(starts)]))
    surfaces: dict[str, Surface] = {}
    lines: dict[str, Line] = {}
    edges: dict[str, np.ndarray] = {}
    for piece, place, start in zip(pieces, maps, starts):
        surfaces |= {name: replace(s, triangles=s.triangles + start) for name, s in piece.surfaces.items()}
        lines |= {name: replace(s, edges=place[s.edges]) for name, s in piece.lines.items()}
        edges |= {name: place[e] for name, e in piece.edges.items()}
    return ShellMesh(
        np.concatenate(nodes),
        np.concatenate([place[piece.triangles] for piece, place in zip(pieces, maps)]),
        np.concatenate([piece.normal for piece in pieces]),
        surfaces,
        lines,
        {name: spring for plate in ("top", "back") for name, spring in _springs(rim, plate, edges).items()},
        edges,
    )


def _springs(rim: Rim, plate: str, edges: Mapping[str, np.ndarray]) -> dict[str, InterfaceSpring]:
    """Interface springs of a plate: three side by side along the linings (see joint_section), one at the blocks.

    Edges run so that out of the plate, edge and inward are right-handed.
    """
    run = np.roll(rim.points, -1, axis=0) - rim.points
    left = np.column_stack([-run[:, 1], run[:, 0]]) / np.hypot(*run.T)[:, None]
    at_vertex = left + np.roll(left, 1, axis=0)
    at_vertex /= np.linalg.norm(at_vertex, axis=1, keepdims=True)
    way = 1 if plate == "top" else -1
    grain = rim.grain[plate]
    angle = np.arctan2(left @ grain, way * (run @ grain) / np.hypot(*run.T))
    ends = np.stack([at_vertex, np.roll(at_vertex, -1, axis=0)], axis=1)[:, ::way]
    inward = np.concatenate([ends, np.zeros((len(ends), 2, 1))], axis=2)
    pairs = [edges[name][:, ::way] for name in (f"{plate}_edge", f"rim_{plate}")]

    def on(at: np.ndarray, angle: np.ndarray | None) -> InterfaceSpring:
        return InterfaceSpring(pairs[0][at], pairs[1][at], inward[at], None if angle is None else angle[at])

    block = rim.at_block[plate]
    lined = {name: on(~block, angle) for name in (f"joint_{plate}", f"{plate}/corner", f"sides/corner_{plate}")}
    return lined | {f"joint_{plate}/blocks": on(block, None)}


def without_idle_nodes(piece: Piece) -> Piece:
    """The piece without nodes that no triangle has; the others keep their order."""
    used, triangles = np.unique(piece.triangles, return_inverse=True)
    number = np.full(len(piece.nodes), -1)
    number[used] = np.arange(len(used))
    return replace(
        piece,
        nodes=piece.nodes[used],
        triangles=triangles.reshape(-1, 3),
        lines={name: replace(line, edges=number[line.edges]) for name, line in piece.lines.items()},
        edges={name: number[edges] for name, edges in piece.edges.items()},
    )


def once_round(k: int) -> np.ndarray:
    """(k, 2) edges between k nodes, the last one back to the first."""
    return np.column_stack([np.arange(k), (np.arange(k) + 1) % k])


def within(points: np.ndarray, area: Area) -> np.ndarray:
    """Indices of the points (k, 2) inside (x0, x1, y0, y1)."""
    (x, y), (x0, x1, y0, y1) = points.T, area
    return np.flatnonzero((x > x0) & (x < x1) & (y > y0) & (y < y1))
