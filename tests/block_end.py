"""The neck's end of a box, half of it, as shells and as a solid: neck block glued to side, top and back, turned at the heel's place.

Axes x along the body (0 at the side's outer face), y across, z up. The plates are held at x = -X, the side where y = Y. LOADS are
tractions on the side over |y| < HEEL: 'yaw' turns the heel sideways, 'roll' about the body's length, 'pitch' up and down.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from solid_rim import WHOLE

from fem.mesh import ShellMesh, Surface, unit_normals
from fem.model import assemble, weights
from fem.sections import Section
from fem.solid import boxes, graded, solid, solid_stiffness, solve, stiffness, tractions
from fem.statics import deflect
from meshes.block_root import strip_width
from meshes.linings import lining_section
from meshes.parts import blocks, plates, side_laminate

X, Y, HEIGHT, HEEL = 0.15, 0.145, 0.097, 0.025  # m
LOADS = {  # axis of the traction, how it grows, axes of displacement that are nought in the plane of symmetry
    "yaw": (0, lambda p: p[:, 1], (0, 2)),
    "roll": (2, lambda p: p[:, 1], (0, 2)),
    "pitch": (0, lambda p: p[:, 2] - HEIGHT / 2, (1,)),
}
AXES = {"toward_top": (2, 1, 0), "across_body": (1, 2, 0), "along_body": (0, 1, 2)}  # L, R, T


def end_of(body, grain):
    """The body without neck, its neck block whole; top and back alike; linings solid."""
    lining = replace(body.lining_top, kind="solid_laminated", glue_line=0.0)
    block = replace(body.neck_block, grain=grain, height=HEIGHT, **WHOLE)
    return replace(body, neck=None, back=body.top, lining_top=lining, lining_back=lining, neck_block=block)


def sizes(body):
    block = body.neck_block
    return block.width / 2, block.thickness, body.side_thickness, body.lining_top, body.top.thickness


def solid_turn(body, load):
    """Work of the unit load [J], doubled, in hexahedra."""
    half, deep, side, lining, plate = sizes(body)
    low, high = plate + lining.height, HEIGHT - plate - lining.height
    spread = lambda *pieces: np.concatenate([*(np.linspace(a, b, n + 1)[:-1] for a, b, n in pieces), [pieces[-1][1]]])
    x = spread(
        (-X, -side - deep, 5), (-side - deep, -side - lining.width, 4), (-side - lining.width, -side, 2), (-side, 0, 1)
    )
    y = [
        0,
        *spread((0, HEEL, 3))[1:-1],
        *graded(HEEL, half, 0.002, 0.008, 1.5, "b")[:-1],
        *graded(half, Y, 0.002, 0.03, 1.5, "a"),
    ]
    z = spread((0, plate, 1), (plate, low, 1), (low, high, 3), (high, HEIGHT - plate, 1), (HEIGHT - plate, HEIGHT, 1))

    def part(x, y, z):
        inside = (z > plate) & (z < HEIGHT - plate)
        on_block = inside & (x < -side) & (x > -side - deep) & (y < half)
        lined = inside & (x < -side) & (x > -side - lining.width) & (y > half) & ((z < low) | (z > high))
        return np.select([~inside, x > -side, on_block, lined], [1, 2, 3, 4], 0)

    found = solid(boxes(x, np.array(y), z, lambda *p: part(*p) > 0))
    unit, points = np.eye(3), found.points
    woods = [(body.top.wood, (0, 1, 2)), (body.sides[0].wood, (1, 2, 0)), (body.neck_block.wood, AXES[body.neck_block.grain]),
             (lining.wood, (1, 2, 0))]  # fmt: skip
    C = np.array([solid_stiffness(wood, unit[list(axes)]) for wood, axes in woods])[part(*found.middles.T) - 1]
    axis, grows, nought = LOADS[load]
    on_heel = lambda p: (p[:, 1] < HEEL) & (p[:, 2] > plate) & (p[:, 2] < HEIGHT - plate)
    stress = lambda p: (on_heel(p) * grows(p))[:, None, None] * unit[axis][:, None]
    F, K = tractions(found, 0, 0.0, stress).reshape(-1, 1), stiffness(found, C)
    held = np.flatnonzero((abs(points[:, 0] + X) < 1e-9) | (abs(points[:, 1] - Y) < 1e-9))
    middle = np.flatnonzero(abs(points[:, 1]) < 1e-9)
    fixed = np.concatenate([*(3 * held + k for k in range(3)), *(3 * middle + k for k in nought)])
    return float(F.ravel() @ solve(K, F, fixed).ravel())


def shell_turn(body, load, strips=True):
    """The same of the model's own shells. strips: those at the block's edge as they are, or as the rest of the block."""
    half, deep, side, lining, plate = sizes(body)
    strip, block = strip_width(body, "neck_block"), body.neck_block
    lines = lambda *at: np.unique(
        np.concatenate([np.linspace(a, b, max(2, round((b - a) / 0.02) + 1)) for a, b in pairwise(at)])
    )
    x, y = lines(-X, -side - deep, -side / 2), lines(0, HEEL, half - strip, half, Y)
    z = lines(plate / 2, plate + lining.height, HEIGHT - plate - lining.height, HEIGHT - plate / 2)
    nodes, triangles, kinds = {}, [], []
    for kind, u, v, place in (
        ("top", x, y, lambda u, v: (u, v, HEIGHT - plate / 2)),
        ("back", y, x, lambda u, v: (v, u, plate / 2)),
        ("sides", y, z, lambda u, v: (-side / 2, u, v)),
    ):
        for i, j in np.ndindex(len(u) - 1, len(v) - 1):
            corners = [place(u[i + p], v[j + q]) for p, q in ((0, 0), (1, 0), (1, 1), (0, 1))]
            a, b, c, d = (nodes.setdefault(tuple(np.round(p, 7)), len(nodes)) for p in corners)
            triangles += [[a, b, c], [a, c, d]] if (i + j) % 2 else [[a, b, d], [b, c, d]]
            kinds += [kind, kind]
    nodes, triangles, kinds = np.array(list(nodes)), np.array(triangles), np.array(kinds)
    middle = nodes[triangles].mean(axis=1)
    on = {kind: kinds == kind for kind in ("top", "back", "sides")}
    foot = (middle[:, 0] > -side - deep) & (middle[:, 1] < half)
    inside, edge = on["sides"] & (middle[:, 1] < half), middle[:, 1] > half - strip
    low, high = middle[:, 2] < plate + lining.height, middle[:, 2] > HEIGHT - plate - lining.height
    along, across, up = np.eye(3)
    on_plate = along if block.grain == "along_body" else across
    on_side = up if block.grain == "toward_top" else across
    regions = {
        "top": (on["top"], along), "back": (on["back"], along), "sides": (on["sides"], across),
        "neck_block/top": (on["top"] & foot, on_plate), "neck_block/back": (on["back"] & foot, on_plate),
        "neck_block/sides": (inside & ~edge, on_side), "neck_block/edge": (inside & edge & ~low & ~high, on_side),
        "neck_block/edge_top": (inside & edge & high, on_side), "neck_block/edge_back": (inside & edge & low, on_side),
        "lining_top": (on["sides"] & ~inside & high, across), "lining_back": (on["sides"] & ~inside & low, across),
        "heel": (on["sides"] & (middle[:, 1] < HEEL), across),
    }  # fmt: skip
    surfaces = {r: Surface(np.flatnonzero(at), np.tile(grain, (at.sum(), 1))) for r, (at, grain) in regions.items()}
    model = assemble(ShellMesh(nodes, triangles, unit_normals(nodes, triangles), surfaces))
    given = plates(body) | blocks(body) | {"sides": side_laminate(body.sides)}
    given |= dict.fromkeys(("lining_top", "lining_back"), lining_section(lining, body.sides))
    given = {region: section for region, section in given.items() if region in surfaces}
    if not strips:
        given |= {f"neck_block/{edge}": given["neck_block/sides"] for edge in ("edge", "edge_top", "edge_back")}
    points, (axis, grows, nought) = model.space.points, LOADS[load]
    field = np.zeros((len(points), 6))
    field[:, axis] = grows(points)
    F = model.matrix("M", {("M", "heel", "m0"): 1.0}) @ field.ravel()
    held = np.flatnonzero((abs(points[:, 0] + X) < 1e-9) | (abs(points[:, 1] - Y) < 1e-9))
    cut = np.flatnonzero(abs(points[:, 1]) < 1e-9)
    turned = (3, 5) if nought == (1,) else (4,)  # alike on both sides: about x and z; opposite: about y
    fixed = np.concatenate([*(6 * held + k for k in range(6)), *(6 * cut + k for k in (*nought, *turned))])
    given["heel"] = Section("shell", {}, {"m0": 0.0, "m1": 0.0, "m2": 0.0}, None)
    return float(F @ deflect(model, weights(given), F, fixed).displacement[:, 0])
