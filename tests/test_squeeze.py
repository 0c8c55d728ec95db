"""The open rim squeezed and twisted: against solid elements, by symmetry, and what the study says of it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from skfem import MeshHex

from fem import solid
from fem.model import assemble, weights
from fem.statics import deflect
from meshes.body import back_height, top_height
from meshes.open_rim import block_corners, mesh_open_rim, pressed_places, sections_on
from meshes.outline import nearest, normal_at, point_at
from meshes.parts import sections
from meshes.sheet import read_sheet
from studies import squeeze

SHEET = Path(__file__).parents[1] / "meshes" / "bodies" / "hazel.toml"
SIZE = 0.035  # m
MM = 1e-3


@pytest.fixture(scope="module")
def body():
    """The example sheet with solid linings: those need no kerf cell, and solid elements can copy them."""
    given = read_sheet(SHEET)
    lining = replace(given.lining_top, kind="solid_laminated")
    return replace(given, lining_top=lining, lining_back=lining, side_bars=())


@pytest.fixture(scope="module")
def free(body):
    """(model, weights, loads {press: (size,)}, Deflection under 1 N of each) of the free rim."""
    mesh = mesh_open_rim(body, SIZE)
    model, w = assemble(mesh), weights(sections_on(mesh, sections(body)))
    loads = squeeze.unit_loads(model.space, body, "free")
    return model, w, loads, deflect(model, w, np.array(list(loads.values())).T)


# --- the solid reference ---


def stations(body, size):
    """(k,) m along the rim: block corners, pressed places, and equal steps of about `size` between them."""
    places = [p[0, :2] for pair in pressed_places(body).values() for p in pair] + [c[:2] for c in block_corners(body)]
    fixed = np.unique([0.0, *(nearest(body.outline, p) for p in places)])
    ends = np.append(fixed, body.outline.perimeter)
    return np.concatenate([np.linspace(a, b, max(1, round((b - a) / size)) + 1)[:-1] for a, b in zip(ends, ends[1:])])


def solid_rim(body, blocks, rows=(2, 3), size=0.025):
    """Solid of the rim, C of its elements, and places (arc [m], depth inward [m], depth below the top [m]) of its nodes.

    Mapped hexahedra: along the rim, inward (side, lining, block), downward; a block takes the place of the linings.
    """
    arc = stations(body, size)
    side, lining, block = body.side_thickness, body.lining_top.width, 0.0
    block = max(body.neck_block.thickness, body.tail_block.thickness)
    faces = [-side / 2, side / 2, side / 2 + lining, side / 2 + body.tail_block.thickness, side / 2 + block]
    inward = np.concatenate([np.linspace(a, b, n + 1)[:-1] for a, b, n in zip(faces, faces[1:], (1, 2, 2, 2))])
    down = np.concatenate([np.linspace(0, 1, rows[0] + 1), np.linspace(1, 2, rows[1] + 1)[1:], np.linspace(2, 3, rows[0] + 1)[1:]])
    grid = MeshHex.init_tensor(np.arange(len(arc) + 1.0), np.append(inward, faces[-1]), down)
    i, depth, level = grid.p[:, grid.t].mean(axis=1)
    ends = np.append(arc, body.outline.perimeter)
    s = np.interp(i, np.arange(len(ends)), ends)
    x, y = point_at(body.outline, s).T
    keep, owner = depth < side / 2, np.where(depth < side / 2, "sides", "lining").astype(object)
    behind = np.zeros(len(s), bool)
    for name, end in (("neck_block", x > body.outline.length / 2), ("tail_block", x < body.outline.length / 2)):
        part = getattr(body, name)
        at = end & (np.abs(y) < part.width / 2)
        behind |= at
        inside = at & (depth > side / 2) & (depth < side / 2 + part.thickness)
        if blocks:
            owner[inside], keep = name, keep | inside
    keep |= ~(behind & blocks) & (depth < side / 2 + lining) & ((level < 1) | (level > 2))
    mesh = grid.restrict(np.flatnonzero(keep))
    woods = {"sides": body.sides[0].wood, "lining": body.lining_top.wood,
             "neck_block": body.neck_block.wood, "tail_block": body.tail_block.wood}  # fmt: skip
    C = []
    for middle, part in zip(s[keep], owner[keep]):
        nx, ny = normal_at(body.outline, middle)
        along, up, out = (-ny, nx, 0), (0, 0, 1), (nx, ny, 0)
        C.append(solid.solid_stiffness(woods[part], (up, along, out) if part == "neck_block" else (along, up, out)))
    return solid.solid(_closed(mesh, body, ends)), np.array(C)


def _closed(mesh, body, ends):
    """The grid of (station, depth, level) laid along the outline, its two ends made one."""
    p = mesh.p.copy()
    p[0, np.isclose(p[0], len(ends) - 1)] = 0
    _, first, back = np.unique(np.round(p.T, 9), axis=0, return_index=True, return_inverse=True)
    i, depth, level = p[:, first]
    s = np.interp(i, np.arange(len(ends)), ends)
    edge = point_at(body.outline, s)
    xy = edge - depth[:, None] * normal_at(body.outline, s)
    top, back_z = top_height(body, *edge.T), back_height(body, *edge.T)
    lining, free = body.lining_top.height, top - back_z - 2 * body.lining_top.height
    below = np.interp(level, [0, 1], [0, lining]) + (level - 1).clip(0, 1) * free + (level - 2).clip(0, 1) * lining
    return MeshHex(np.vstack([xy.T, top - below]), back.ravel()[mesh.t])


@pytest.fixture(scope="module")
def reference(body):
    """{press: m under 1 N} of solid elements, and the squeezed places that its nodes allow."""
    found, C = solid_rim(body)
    points = found.points
    F = np.zeros((len(points), 3, 4))
    at = lambda place: int(np.argmin(np.linalg.norm(points - place, axis=1)))
    for k, (treble, bass) in enumerate(pressed_places(body).values()):
        for a, b in zip(treble, bass):
            a, b = at(a), at(b)
            d = (points[b] - points[a]) / np.linalg.norm(points[b] - points[a])
            F[a, :, k] += d / 2
            F[b, :, k] -= d / 2
    corners = [at(c) for c in block_corners(body)]
    conditions = np.vstack([np.ones(4), points[corners, :2].T])
    force = np.linalg.svd(conditions)[2][-1]
    force *= squeeze.BATTEN / (force[1] * points[corners[1], 1] + force[0] * points[corners[0], 1])
    F[corners, 2, 3] = force
    F = F.reshape(-1, 4)
    held = [3 * corners[0] + c for c in range(3)] + [3 * corners[1] + 2, 3 * corners[1], 3 * corners[2] + 2]
    u = solid.solve(solid.stiffness(found, C), F, held)
    return dict(zip([*pressed_places(body), "twist"], np.einsum("ik,ik->k", F, u.reshape(-1, 4))))


def test_solid(free, reference):
    model, w, loads, answer = free
    mine = {p: float(u @ answer.displacement[:, k]) for k, (p, u) in enumerate(loads.items())}
    print()
    for p in mine: print(p, mine[p]*1e3, reference[p]*1e3, mine[p]/reference[p])
    assert 0
