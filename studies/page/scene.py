"""Surface and mode shapes of the sounding box as small arrays for the page's viewer, alike in sign and scale for all builds."""

import base64
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse as sp
from matplotlib.path import Path as Ring

from fem.interpolate import normal_displacement
from meshes.body import back_height, braces_of, top_height
from meshes.drawing import brace_outline, rectangle
from meshes.outer_surface import outer_surface
from meshes.outline import point_at
from meshes.side_ports import openings_of
from studies.drawing.features import boundary
from studies.drawing.mode_names import furthest

SIZE = 0.013  # m, edge of the drawn triangles
STEP = 0.008  # m, between points of a drawn line
PLATES = ("top", "back", "sides")
WHOLE = 32767  # full scale of 16 bits


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
class Scene:
    """Modes of several builds on one surface."""

    surface: Surface
    builds: tuple[tuple[str, str], ...]  # (name, label), the sheet's own first
    shapes: dict[
        str, list[Shape | None]
    ]  # {name: one for each mode of the sheet's own, None where no mode looks like it}
    labels: tuple[str, ...]  # plain words for each mode


# --- the surface ---


def surface_of(body, size=SIZE):
    """Surface of a Body's box without its neck; openings stay open."""
    outer = outer_surface(body, size, openings_of(body))
    plates = np.concatenate([outer.groups["top"], outer.groups["back"]])
    points, normal, triangles, groups, lines, start = [], [], [], {}, {"edge": [], "part": [], "inside": []}, 0
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
    found = {kind: np.concatenate(edges) for kind, edges in lines.items() if edges}
    return Surface(np.concatenate(points), np.concatenate(normal), np.concatenate(triangles), found, groups)


def _normals(points, triangles):
    """(n, 3) unit normals, weighted by the areas of the triangles round a point."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    total = np.zeros_like(points)
    for k in range(3):
        np.add.at(total, triangles[:, k], np.cross(b - a, c - a))
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


def motions(surface, structure, state):
    """(n, 3, m) complex displacements of a Surface's points in states (N, m) of a sounding body's Structure."""
    found = np.zeros((len(surface.points), 3, state.shape[1]), complex)
    modal = state[: len(structure.frequency)]
    for name, i in surface.groups.items():
        for axis in range(3):
            along = np.tile(np.eye(3)[axis], (len(i), 1))
            rows = normal_displacement(structure.space, (name,), surface.points[i], along)
            found[i, axis] = sp.csr_array(rows) @ structure.shape @ modal
    return found


def aligned(base, other=None):
    """Complex motions (n, 3, m) turned to the instant at which they are furthest out, real (n, 3, m).

    other: motions of another build, paired column by column; they are turned so as to go along with the base's.
    """
    if other is None:
        return np.real(base * furthest(base.reshape(-1, base.shape[2])))
    against = np.sum(base * other, axis=(0, 1))
    return np.real(other * np.exp(-1j * np.angle(against)))


def outward(surface, motion):
    """(m,) signs that turn the largest motion of the top outward, or that of the back where the top hardly moves."""
    square = np.einsum("nim,ni->nm", motion, surface.normal)
    found = []
    for w in square.T:
        top, back = (w[surface.groups[name]] for name in ("top", "back"))
        leads = top if np.abs(top).max() > 0.2 * np.abs(back).max() else back
        found.append(1.0 if leads[np.argmax(np.abs(leads))] > 0 else -1.0)
    return np.array(found)


def paired_shapes(surface, base, others, partners):
    """{name: [Shape or None]} of the base and of other builds.

    base, others[name]: (structure, SoundingModes); partners[name] (count,): each base mode's partner, -1 for none.
    """
    count = len(next(iter(partners.values())))
    shown = lambda structure, modes, which: motions(surface, structure, modes.shape[:, which])
    own = aligned(shown(*base, np.arange(count)))
    own = own * outward(surface, own)
    found = {"sheet": _shapes(base[1], np.arange(count), own)}
    for name, (structure, modes) in others.items():
        partner = partners[name]
        moved = aligned(own, shown(structure, modes, np.maximum(partner, 0)))
        found[name] = _shapes(modes, partner, moved)
    return found


def _shapes(modes, which, motion):
    return [
        None if k < 0 else Shape(float(modes.frequency[k]), float(modes.loss_factor[k]), motion[..., column])
        for column, k in enumerate(which)
    ]


# --- for the page ---


def packed(scene):
    """The Scene as plain values for JSON: arrays as base64 of little-endian integers.

    A point's place is its integer times `unit` [m]; a mode's motion its integers times `scale`, 1 being the furthest
    that a point of the sheet's own build moves along its normal, which is full colour for every build.
    """
    surface = scene.surface
    unit = float(np.abs(surface.points).max()) / WHOLE
    modes = []
    for k, label in enumerate(scene.labels):
        own = scene.shapes["sheet"][k].motion
        full = np.abs(np.einsum("ni,ni->n", own, surface.normal)).max()
        builds = {}
        for name, _ in scene.builds:
            shape = scene.shapes[name][k]
            if shape is not None:
                builds[name] = _packed_shape(shape, full)
        modes.append({"label": label, "builds": builds})
    return {
        "unit": unit,
        "points": _base64(np.round(surface.points / unit), "<i2"),
        "normal": _base64(np.round(127 * surface.normal), "<i1"),
        "triangles": _base64(surface.triangles, "<u2"),
        "lines": {kind: _base64(edges, "<u2") for kind, edges in surface.lines.items()},
        "builds": [{"name": name, "label": label} for name, label in scene.builds],
        "modes": modes,
    }


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
