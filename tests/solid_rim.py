"""Half of an open rim as orthotropic solid: what gives under the presses of the squeeze study, without a line of the shells' code.

Hexahedra along the rim (close together at the blocks' edges), inward (plies of the side, lining, block) and downward. A block's
inner face is flat, its edges run along the body; a lining butts against it. Squeezes are alike in both halves, the twist opposite.
"""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from skfem import MeshHex

from fem import solid
from fem.solid import graded
from meshes.body import back_height, top_height
from meshes.open_rim import block_corners, pressed_places
from meshes.outline import nearest, normal_at, point_at
from meshes.sheet import read_sheet
from studies.squeeze.result import BATTEN

STORED = Path(__file__).parent / "solid_rim.json"
WHOLE = {"cut_width": 0.0, "cut_depth": 0.0, "cut_height": 0.0, "hole": 0.0}
GRAINS = (  # sheet, grain of neck block and of tail block: each three times, three pairs of different ones
    ("hazel", "toward_top", "across_body"),
    ("hazel", "across_body", "toward_top"),
    ("hazel", "along_body", "along_body"),
    ("linnet", "toward_top", "toward_top"),
    ("linnet", "along_body", "across_body"),
    ("linnet", "across_body", "along_body"),
)
CASES = [(*grains, lining) for grains in GRAINS for lining in ("solid_laminated", "none")]
FINE = {"size": 0.012, "fine": 0.001, "across": (3, 4), "rows": (2, 4)}
MIDDLING = {"size": 0.02, "fine": 0.0025, "across": (2, 3), "rows": (2, 3)}


def rim_of(sheet, neck_grain, tail_grain, lining):
    """Body of a sheet without side bars, its blocks whole, its linings solid and without glue, or none."""
    given = read_sheet(Path(__file__).parents[1] / "meshes" / "bodies" / f"{sheet}.toml")
    glued = replace(given.lining_top, kind=lining, glue_line=0.0)
    blocks = {"neck_block": neck_grain, "tail_block": tail_grain}
    whole = {name: replace(getattr(given, name), grain=grain, **WHOLE) for name, grain in blocks.items()}
    return replace(given, lining_top=glued, lining_back=glued, side_bars=(), **whole)


def places(body):
    """(arcs of the blocks' edges (tail, neck), {press: arc}) [m] on the half from tail to neck."""
    half = body.outline.perimeter / 2
    arc = lambda point: round(min(s := nearest(body.outline, point), 2 * half - s), 7)
    press = {name: arc(pair[0][0, :2]) for name, pair in pressed_places(body).items()}
    return sorted({arc(corner[:2]) for corner in block_corners(body)}), dict(sorted(press.items(), key=lambda p: p[1]))


def stations(body, size, fine):
    """(k,) m along half the rim: about `size` apart, `fine` at the blocks' edges."""
    edges, press = places(body)
    fixed = [0.0, edges[0], *press.values(), edges[1], body.outline.perimeter / 2]
    arcs = [0.0]
    for a, b in pairwise(fixed):
        focus = "a" * (a in edges) + "b" * (b in edges)
        even = np.linspace(a, b, max(1, round((b - a) / size)) + 1)
        arcs += list(graded(a, b, fine, size, 1.5, focus) if focus else even)[1:]
    return np.array(arcs)


def half_rim(body, blocks, size, fine, across, rows):
    """Solid of the half, and C of its elements. across: elements over lining and rest of a block; rows: over lining and free side."""
    arc, (tail, neck) = stations(body, size, fine), places(body)[0]
    plies, (in_lining, deep) = len(body.sides), across
    lined = body.lining_top.kind != "none"
    levels = np.concatenate([k + np.linspace(0, 1, n + 1)[k > 0 :] for k, n in enumerate((rows[0], rows[1], rows[0]))])
    columns = np.arange(plies + in_lining + deep + 1.0)
    grid = MeshHex.init_tensor(np.arange(len(arc) + 0.0), columns, levels)
    i, column, level = grid.p[:, grid.t].mean(axis=1)
    s = np.interp(i, np.arange(len(arc)), arc)
    owner = np.where(column < plies, "sides", "").astype(object)
    behind = {"tail_block": s < tail, "neck_block": s > neck}
    if lined:
        owner[(column > plies) & (column < plies + in_lining) & ((level < 1) | (level > 2))] = "lining"
    if blocks:
        for name, at in behind.items():
            owner[at & (column > plies)] = name
    kept = np.flatnonzero(owner != "")
    mesh = grid.restrict(kept)
    i, column, level = mesh.p
    s = np.interp(i, np.arange(len(arc)), arc)
    flat = blocks & ((s <= tail + 1e-9) | (s >= neck - 1e-9))
    laid = MeshHex(_laid(body, s, column, level, flat, (plies, in_lining, deep)), mesh.t)
    middle, ply = s[mesh.t].mean(axis=0), column[mesh.t].mean(axis=0).astype(int)
    C = [_stiffness(body, *element) for element in zip(middle, ply, owner[kept])]
    return solid.solid(laid), np.array(C)


def _laid(body, s, column, level, flat, counts):
    """(3, n) m: places of the grid's nodes."""
    plies, in_lining, deep = counts
    outer, lining = body.sides[0].thickness / 2, body.lining_top.width
    edge, out = point_at(body.outline, s), normal_at(body.outline, s)
    at_neck = s > body.outline.perimeter / 4
    out[np.isclose(s, 0)], out[np.isclose(s, s.max())] = (-1, 0), (1, 0)
    faces = np.cumsum([0.0, *(board.thickness for board in body.sides)]) - outer
    depth = np.interp(column, np.arange(plies + 1), faces)
    xy = edge - depth[:, None] * out
    into = np.interp(column, [plies, plies + in_lining], [0, lining])  # the side's inner face
    away = np.where(at_neck, 1.0, -1.0)
    xy -= into[:, None] * np.where(flat[:, None], np.column_stack([away, 0 * away]), out)
    thickness = np.where(at_neck, body.neck_block.thickness, body.tail_block.thickness)
    inner = np.where(at_neck, body.outline.length - faces[-1] - thickness, faces[-1] + thickness)
    rest = ((column - plies - in_lining).clip(0) / deep) ** 1.3
    xy[:, 0] += rest * flat * (inner - xy[:, 0])
    top, back, height = top_height(body, *edge.T), back_height(body, *edge.T), body.lining_top.height
    below = (
        level.clip(0, 1) * height + (level - 1).clip(0, 1) * (top - back - 2 * height) + (level - 2).clip(0, 1) * height
    )
    return np.vstack([xy.T, top - below])


def _stiffness(body, s, ply, owner):
    """C (6, 6) of an element at arc s."""
    nx, ny = normal_at(body.outline, s)
    along, up, out = (-ny, nx, 0), (0, 0, 1), (nx, ny, 0)
    if owner in ("neck_block", "tail_block"):
        block = getattr(body, owner)
        L = {"toward_top": 2, "across_body": 1, "along_body": 0}[block.grain]  # x along the body, y across, z up
        R = {"toward_top": 1, "across_body": 2, "along_body": 1}[block.grain]
        return solid.solid_stiffness(block.wood, np.eye(3)[[L, R, 3 - L - R]])
    wood = body.lining_top.wood if owner == "lining" else body.sides[ply].wood
    return solid.solid_stiffness(wood, (along, up, out))


def solid_pressed(body, blocks=True, size=FINE["size"], fine=FINE["fine"], across=FINE["across"], rows=FINE["rows"]):
    """{press: m under 1 N} of the free rim, pressed along lines through side and lining at top and back; twisted at the blocks' corners."""
    found, C = half_rim(body, blocks, size, fine, across, rows)
    points, K = found.points, solid.stiffness(found, C)
    used, arcs = np.flatnonzero(K.diagonal()[::3] > 0), places(body)
    outer = body.sides[0].thickness / 2 + 1e-6

    def through(s, height, inner):
        """Nodes at station s of the edge at `height`, from the side's outer face down to a depth `inner` [m]."""
        edge, (nx, ny) = point_at(body.outline, s), normal_at(body.outline, s)
        depth, off = -(points[:, :2] - edge) @ (nx, ny), (points[:, :2] - edge) @ (-ny, nx)
        at = (
            (abs(off) < 1e-6)
            & (depth > -outer)
            & (depth < inner + 1e-6)
            & (abs(points[:, 2] - height(body, *edge)) < 1e-6)
        )
        return np.intersect1d(np.flatnonzero(at), used)

    F = np.zeros((len(points), 3, len(arcs[1]) + 1))
    whole = body.side_thickness - outer + (body.lining_top.width if body.lining_top.kind != "none" else 0.0)
    for k, s in enumerate(arcs[1].values()):
        for height in (top_height, back_height):
            nodes = through(s, height, whole)
            F[nodes, 1, k] = -np.sign(point_at(body.outline, s)[1]) / 2 / len(nodes)
    corners = np.array([point_at(body.outline, nearest(body.outline, c[:2])) for c in block_corners(body)])
    force = np.linalg.svd(np.vstack([np.ones(4), corners.T]))[2][-1]  # in balance, up to a factor
    force *= BATTEN / (force[:2] @ corners[:2, 1])
    for corner, f in zip(corners, force):
        if np.sign(corner[1]) == np.sign(point_at(body.outline, arcs[0][0])[1]):
            nodes = through(nearest(body.outline, corner), top_height, outer)
            F[nodes, 2, -1] = f / len(nodes)
    F = F.reshape(len(K.indptr) - 1, -1)
    cut = np.intersect1d(np.flatnonzero(abs(points[:, 1]) < 1e-7), used)
    tail, neck = cut[points[cut, 0] < 0.1], cut[points[cut, 0] > 0.2][0]
    low, high = tail[np.argmin(points[tail, 2])], tail[np.argmax(points[tail, 2])]
    alike = [*(3 * cut + 1), 3 * low, 3 * low + 2, 3 * neck + 2]
    opposite = [*(3 * cut), *(3 * cut + 2), 3 * low + 1, 3 * high + 1, 3 * neck + 1]
    u = [solid.solve(K, F[:, :-1], alike), solid.solve(K, F[:, -1:], opposite)]
    u = np.concatenate(u, axis=2).reshape(F.shape)
    return dict(zip([*arcs[1], "twist"], (2 * np.sum(F * u, axis=0)).tolist()))
