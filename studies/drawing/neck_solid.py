"""The neck to be drawn: the strip of the mesh given the thickness of neck, fingerboard and heel, a head and tuners."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fem.elements import Space
from meshes.body import Body, Neck
from studies.drawing.field import Sampler, sampler
from studies.drawing.mode_words import neck_alone
from studies.drawing.topology import Topology, edges_of

WOOD, BOARD, METAL = range(3)  # what a part of the drawing is made of
# Plain shapes of what the model has as a mass alone: common practice, drawn only
HEAD_THICKNESS, HEAD_WIDER = 0.015, 1.5  # m, and times the neck's width at the nut
TUNERS, BUTTON, STANDS_OUT = 3, (0.014, 0.018, 0.010), 0.004  # a side; m along, across, up; beyond the head's edge


@dataclass(frozen=True)
class Solid:
    """Closed surfaces carried along by a strip of the mesh; each of n points by a sampled place of it, sections staying plane."""

    strip: Sampler
    carrier: np.ndarray  # (n,) index of the strip's place
    offset: np.ndarray  # (n, 3) m from there
    triangles: np.ndarray  # (k, 3), outward
    stuff: np.ndarray  # (k,) WOOD, BOARD or METAL
    loops: tuple[np.ndarray, ...]  # closed arrays of point indices round the edges

    @property
    def points(self) -> np.ndarray:
        return self.strip.points[self.carrier] + self.offset

    def displacement(self, shape_column: np.ndarray) -> np.ndarray:
        """(n, 3) of one mode shape (dofs,): u + theta x r."""
        both = (self.strip.matrix @ shape_column.reshape(-1, 6))[self.carrier]
        return both[:, :3] + np.cross(both[:, 3:], self.offset)


def neck_solid(space: Space, body: Body | None) -> Solid | None:
    """Solid of a body's neck, or None where there is none to draw."""
    if body is None or body.neck is None or not len(triangles := neck_alone(space.mesh)):
        return None
    strip, neck, end = sampler(space, triangles, 2), body.neck, body.outline.length
    nut = end + neck.length
    shaft = strip.triangles[(strip.points[strip.triangles, 0] < nut + 1e-6).all(axis=1)]
    used, index = np.unique(shaft, return_inverse=True)
    faces = _upward(strip.points[used], index.reshape(-1, 3))
    x, xy = strip.points[used, 0], strip.points[used, :2]
    run = ((x - end) / neck.heel_length).clip(0, 1) if neck.heel_depth else np.ones(len(x))
    # a heel's curve from its cap up to the neck; only drawn, the model has a block there
    depth = neck.at(((x - end) / neck.length).clip(0, 1))[1]
    depth += max(neck.heel_depth - neck.thickness, 0) * (1 - np.sqrt(1 - (1 - run) ** 2))
    flat = np.zeros(len(x))
    slabs = [
        (xy, faces, -depth, flat, WOOD),
        (xy, faces, flat, flat + neck.fingerboard_thickness, BOARD),
        *((*_fan(corners), *heights, stuff) for corners, heights, stuff in _beyond(neck, nut)),
    ]
    return _solid(strip, slabs)


def _beyond(neck: Neck, nut: float):
    """[(corners (m, 2) in plan, (lowest, highest) place over the strip, stuff)] of what lies beyond the nut: head and tuners."""
    narrow, wide, L = neck.at(1.0)[0] / 2, HEAD_WIDER * neck.at(1.0)[0] / 2, neck.head_length
    half = np.array([[0.0, narrow], [0.2 * L, wide], [L, 0.9 * wide]])
    head = np.vstack([half, half[::-1] * [1, -1]]) + [nut, 0]
    shapes = [(head, (-HEAD_THICKNESS, 0.0), WOOD)]
    along, across, up = BUTTON
    for x in nut + np.linspace(0.3, 0.85, TUNERS) * L:
        edge = np.interp(x - nut, half[:, 0], half[:, 1]) + STANDS_OUT
        for side in (1, -1):
            near, far = side * edge, side * (edge + across)
            corners = np.array(
                [[x - along / 2, near], [x + along / 2, near], [x + along / 2, far], [x - along / 2, far]]
            )
            middle = -HEAD_THICKNESS / 2
            shapes.append((corners, (middle - up / 2, middle + up / 2), METAL))
    return shapes


def _fan(corners):
    """Corners of a convex polygon and triangles between them."""
    k = np.arange(1, len(corners) - 1)
    return corners, _upward(corners, np.column_stack([0 * k, k, k + 1]))


def _upward(points, triangles):
    """Triangles turned so that they run round to the left, seen from above."""
    a, b = (points[triangles[:, k], :2] - points[triangles[:, 0], :2] for k in (1, 2))
    return np.where((a[:, 0] * b[:, 1] < a[:, 1] * b[:, 0])[:, None], triangles[:, ::-1], triangles)


def _solid(strip, slabs):
    """Solid of slabs [(plan (p, 2), triangles, lowest and highest place over the strip, stuff)], each closed by itself."""
    near, start = cKDTree(strip.points[:, :2]), 0
    carriers, offsets, triangles, stuffs, loops = [], [], [], [], list[np.ndarray]()
    for plan, faces, low, high, stuff in slabs:
        n, carrier = len(plan), near.query(plan)[1]
        aside = plan - strip.points[carrier, :2]
        offsets += [np.column_stack([aside, np.broadcast_to(z, n)]) for z in (low, high)]
        carriers += [carrier, carrier]
        own = closed_slab(faces, n)
        triangles.append(own + start)
        stuffs.append(np.full(len(own), stuff))
        loops += [loop + at + start for loop in Topology(faces).loops for at in (0, n)]
        start += 2 * n
    join = np.concatenate
    return Solid(strip, join(carriers), join(offsets), join(triangles), join(stuffs), tuple(loops))


def closed_slab(faces: np.ndarray, n: int) -> np.ndarray:
    """(k, 3) outward triangles of a slab: faces (m, 3) that look up, n points below and the same n above."""
    rim = _directed(Topology(faces).boundary, faces)
    walls = np.concatenate([np.column_stack([rim, rim[:, 1] + n]), np.column_stack([rim[:, 0], rim[:, ::-1] + n])])
    return np.concatenate([faces[:, ::-1], faces + n, walls])


def _directed(edges, triangles):
    """Boundary edges (k, 2) in the order in which their triangles run through them."""
    runs = {tuple(e) for e in edges_of(triangles).tolist()}
    return np.array([e if tuple(e) in runs else e[::-1] for e in edges.tolist()])
