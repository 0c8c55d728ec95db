"""Surface and mode shapes of the sounding box as small arrays for the page's viewer, alike in sign and scale for all builds."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from matplotlib.colors import to_hex
from matplotlib.path import Path as Ring

from fem.interpolate import normal_displacement
from meshes.body import Body, back_height, braces_of, top_height
from meshes.coupled_model import Structure, VibroacousticModes
from meshes.drawing import brace_outline, rectangle
from meshes.outer_surface import outer_surface
from meshes.outline import point_at
from meshes.side_ports import openings_of
from studies.common.files import Plain
from studies.drawing.features import boundary
from studies.drawing.field import area_vectors
from studies.drawing.mode_names import furthest
from studies.drawing.sheet import SCALE

CoupledString = tuple[Structure, VibroacousticModes]  # a body with its air
SIZE = 0.013  # m, edge of the drawn triangles
STEP = 0.008  # m, between points of a drawn line
PLATES = ("top", "back", "sides")
WHOLE = 32767  # full scale of 16 bits
TONES = 11


@dataclass(frozen=True)
class Surface:
    """What the viewer draws: triangles of each part by themselves, so that edges stay sharp, then the points of the lines."""

    points: np.ndarray  # (n, 3) m
    normal: np.ndarray  # (n, 3) unit, outward
    triangles: np.ndarray  # (m, 3)
    lines: dict[str, np.ndarray]  # {'edge', 'part' or 'inside': (k, 2)}
    groups: dict[str, np.ndarray]  # {'top', 'back', 'sides': point indices}


@dataclass(frozen=True)
class Shape:
    """One mode of one build."""

    frequency: float  # Hz
    loss_factor: float
    motion: np.ndarray = field(repr=False)  # (n, 3) of the Surface's points at the instant at which they move furthest


@dataclass(frozen=True)
class ViewerScene:
    """Modes of several builds on one surface."""

    surface: Surface
    builds: tuple[tuple[str, str], ...]  # (name, label), the sheet's own first
    shapes: dict[str, list[Shape | None]]  # {name: one for each mode of the sheet's own, None: no mode looks like it}
    labels: tuple[str, ...]  # plain words for each mode

    @property
    def own(self) -> list[Shape]:
        """Modes of the sheet's own build, none of which is missing."""
        return [shape for shape in self.shapes["sheet"] if shape is not None]


# --- the surface ---


def surface_of(body: Body, size: float = SIZE) -> Surface:
    """Surface of a Body's box without its neck; openings stay open."""
    outer = outer_surface(body, size, openings_of(body))
    plates = np.concatenate([outer.groups["top"], outer.groups["back"]])
    lines: dict[str, list[np.ndarray]] = {"edge": [], "part": [], "inside": []}
    points, normal, triangles, groups, start = [], [], [], {}, 0
    for name in PLATES:
        nodes, faces = np.unique(outer.triangles[outer.groups[name]], return_inverse=True)
        faces = faces.reshape(-1, 3)
        p = outer.nodes[nodes]
        points.append(p)
        normal.append(_normals(p, faces))
        triangles.append(faces + start)
        groups[name] = np.arange(start, start + len(p))
        edges = boundary(faces)
        if name == "sides":  # those along the rim are drawn as the plates'
            edges = edges[~np.isin(nodes[edges], outer.triangles[plates]).all(axis=1)]
        lines["edge"].append(edges + start)
        start += len(p)
    for name, kind, curve in _curves(body):
        x, y = curve.T
        height, up = (top_height, 1.0) if name == "top" else (back_height, -1.0)
        points.append(np.column_stack([x, y, height(body, x, y)]))
        normal.append(np.tile([0.0, 0.0, up], (len(x), 1)))
        along = start + np.arange(len(x))
        lines[kind].append(np.column_stack([along[:-1], along[1:]]))
        groups[name] = np.append(groups[name], along)
        start += len(x)
    joined = {kind: np.concatenate(edges) for kind, edges in lines.items() if edges}
    return Surface(np.concatenate(points), np.concatenate(normal), np.concatenate(triangles), joined, groups)


def _normals(points, triangles):
    """(n, 3) unit normals, weighted by the areas of the triangles round a point."""
    total = np.zeros_like(points)
    for k in range(3):
        np.add.at(total, triangles[:, k], area_vectors(points, triangles))
    return total / np.linalg.norm(total, axis=1, keepdims=True)


def _curves(body):
    """(plate, kind, (k, 2) m) of bridge and braces in plan; what runs out of the outline is cut off."""
    rim = Ring(point_at(body.outline, np.linspace(0, body.outline.perimeter, 400, endpoint=False)))
    yield "top", "part", _dense(rectangle(body.bridge))
    for plate in ("top", "back"):
        for brace in braces_of(body, plate):
            curve = _dense(brace_outline(brace))
            inside = np.diff(np.concatenate([[0], rim.contains_points(curve).astype(int), [0]]))
            for a, b in zip(np.flatnonzero(inside == 1), np.flatnonzero(inside == -1)):
                if b - a > 1:
                    yield plate, "inside", curve[a:b]


def _dense(polygon):
    """Closed polygon with points at least every STEP."""
    ring = np.vstack([polygon, polygon[:1]])
    pieces = [
        a + np.linspace(0, 1, 1 + int(np.ceil(np.linalg.norm(b - a) / STEP)))[:-1, None] * (b - a)
        for a, b in zip(ring[:-1], ring[1:])
    ]
    return np.vstack([*pieces, ring[:1]])


# --- the modes ---


def motions(surface: Surface, structure: Structure, state: np.ndarray) -> np.ndarray:
    """(n, 3, m) complex displacements of a Surface's points in states (N, m) of a sounding body's Structure."""
    moved = np.zeros((len(surface.points), 3, state.shape[1]), complex)
    modal = state[: len(structure.frequency)]
    for name, i in surface.groups.items():
        for axis in range(3):
            along = np.tile(np.eye(3)[axis], (len(i), 1))
            rows = normal_displacement(structure.space, (name,), surface.points[i], along)
            moved[i, axis] = sp.csr_array(rows) @ structure.shape @ modal
    return moved


def aligned(base: np.ndarray, other: np.ndarray | None = None) -> np.ndarray:
    """Complex motions (n, 3, m) turned to the instant at which they are furthest out, real (n, 3, m).

    other: motions of another build, paired column by column; they are turned so as to go along with the base's.
    """
    if other is None:
        return np.real(base * furthest(base.reshape(-1, base.shape[2])))
    against = np.sum(base * other, axis=(0, 1))
    return np.real(other * np.exp(-1j * np.angle(against)))


def outward(surface: Surface, motion: np.ndarray) -> np.ndarray:
    """(m,) signs that turn the largest motion of the top outward, or that of the back where the top hardly moves."""
    square = np.einsum("nim,ni->nm", motion, surface.normal)
    plates = (square[surface.groups[name]] for name in ("top", "back"))
    top, back = (w[np.argmax(np.abs(w), axis=0), range(w.shape[1])] for w in plates)
    leads = np.where(np.abs(top) > 0.2 * np.abs(back), top, back)
    return np.where(leads > 0, 1.0, -1.0)


def paired_shapes(
    surface: Surface, base: CoupledString, others: dict[str, CoupledString], partners: dict[str, np.ndarray]
) -> dict[str, list[Shape | None]]:
    """{name: [Shape or None]} of the base, 'sheet', and of other builds.

    partners[name] (count,): each base mode's partner in that build, -1 for none.
    """
    shown = lambda coupled, which: motions(surface, coupled[0], coupled[1].shape[:, which])
    first = np.arange(len(next(iter(partners.values()))))
    own = aligned(shown(base, first))
    own = own * outward(surface, own)
    shapes = {"sheet": _shapes(base[1], first, own)}
    for name, coupled in others.items():
        moved = aligned(own, shown(coupled, np.maximum(partners[name], 0)))
        shapes[name] = _shapes(coupled[1], partners[name], moved)
    return shapes


def _shapes(modes, which, motion):
    return [
        None if k < 0 else Shape(float(modes.frequency[k]), float(modes.loss_factor[k]), motion[..., column])
        for column, k in enumerate(which)
    ]


# --- for the page ---


def packed(scene: ViewerScene, short: Mapping[str, str]) -> dict[str, Plain]:
    """The ViewerScene as plain values for JSON: arrays as base64 of little-endian integers. short: {build: words}, as far as told.

    A point's place is its integer times `unit` [m]; a mode's motion its integers times `scale`, 1 being the furthest
    that a point of the sheet's own build moves along its normal, which is full colour for every build.
    """
    surface = scene.surface
    unit = float(np.abs(surface.points).max()) / WHOLE
    modes = []
    for k, (own, label) in enumerate(zip(scene.own, scene.labels)):
        full = np.abs(np.einsum("ni,ni->n", own.motion, surface.normal)).max()
        shapes = {name: scene.shapes[name][k] for name, _ in scene.builds}
        modes.append({"label": label, "builds": {name: _packed_shape(s, full) for name, s in shapes.items() if s}})
    return {
        "unit": unit,
        "points": _base64(np.round(surface.points / unit), "<i2"),
        "normal": _base64(np.round(127 * surface.normal), "<i1"),
        "triangles": _base64(surface.triangles, "<u2"),
        "lines": {kind: _base64(edges, "<u2") for kind, edges in surface.lines.items()},
        "builds": [{"name": name, "label": label, "short": short.get(name, label)} for name, label in scene.builds],
        "modes": modes,
        "tones": tones(),
    }


def tones() -> list[str]:
    """TONES colours of the printed pictures, from inward to outward."""
    return [to_hex(SCALE(k / (TONES - 1))) for k in range(TONES)]


def _packed_shape(shape, full):
    motion = shape.motion / full
    scale = float(np.abs(motion).max())
    return {
        "hz": round(shape.frequency, 2),
        "loss_factor": round(shape.loss_factor, 5),
        "scale": scale,
        "motion": _base64(np.round(motion / scale * WHOLE), "<i2"),
    }


def _base64(values, kind):
    return base64.b64encode(np.ascontiguousarray(values).astype(kind).tobytes()).decode("ascii")
