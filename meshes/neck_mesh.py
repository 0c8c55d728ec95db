"""The neck's mesh: a strip in the plane of the top, and the regions where heel and tongue are glued to the body."""

import numpy as np

from fem.mesh import Surface, along_surface, unit_normals
from meshes.body import Body, top_height
from meshes.pieces import Area, Piece, within


def neck_piece(body: Body, sides: Piece, size: float) -> Piece:
    """A strip in the plane of the top from the neck block to the end of the head; its root shares the rim's nodes.

    Its first rows, as long as the heel is, are the region 'neck/heel' as well. A tapered shaft has a region for each of
    its stretches.
    """
    assert body.neck is not None
    rim = sides.nodes[: sides.edges["rim_top"].max() + 1]
    at_neck = (rim[:, 0] > body.outline.length / 2) & (np.abs(rim[:, 1]) < body.neck.width / 2 + 1e-6)
    root = np.flatnonzero(at_neck)[np.argsort(rim[at_neck, 1])]
    heel, length = body.neck.heel_length if body.neck.heel_depth else 0.0, body.neck.length
    ends = {name: length * end for name, (_, end) in body.neck.stretches.items()}
    runs = np.diff(np.unique(np.round([0.0, heel, *ends.values(), length + body.neck.head_length], 9)))
    steps = [np.full(n := max(1, round(run / (1.5 * size))), run / n) for run in runs]
    x = np.cumsum(np.concatenate([[0.0], *steps]))
    narrow = body.neck.at((x / length).clip(0, 1))[0] / body.neck.width
    nodes = np.concatenate([rim[root] * [1, f, 1] + [dx, 0, 0] for dx, f in zip(x, narrow)])
    k, rows = len(root), len(x) - 1
    i, row = (v.ravel() for v in np.meshgrid(np.arange(k - 1), np.arange(rows)))
    a, b = row * k + i, row * k + i + 1
    triangles = np.concatenate([np.column_stack([a, a + k, b]), np.column_stack([b, a + k, b + k])])
    normal = unit_normals(nodes, triangles)
    middle = np.tile((x[row] + x[row + 1]) / 2, 2)
    grain = along_surface([1.0, 0, 0], normal)
    surface = lambda at: Surface(np.flatnonzero(at), grain[at])
    first = dict(zip(ends, [0.0, *ends.values()]))
    surfaces = {name: surface((middle > first[name]) & (middle < end)) for name, end in ends.items()}
    surfaces["neck/head"] = surface(middle > length)
    if heel:
        surfaces["neck/heel"] = surface(middle < heel)
    return Piece(nodes, triangles, normal, surfaces, {}, {}, (2, root))


def glue_neck(body: Body, top: Piece, sides: Piece) -> None:
    """Adds the regions where the neck is glued on: its heel to the sides, the fingerboard's tongue to the top.

    A heel that ends within the back lining's height reaches to the nearer edge of that row.
    """
    neck = body.neck
    assert neck is not None
    if neck.heel_depth:
        corners = sides.nodes[sides.triangles]
        x, y, z = (corners.min(axis=1) + corners.max(axis=1)).T / 2
        at = (
            (x > body.outline.length / 2)
            & (np.abs(y) < neck.width / 2)
            & (top_height(body, x, y) - z < neck.heel_depth)
        )
        upright = np.tile([0.0, 0.0, 1.0], (at.sum(), 1))
        sides.surfaces["neck/heel_side"] = Surface(np.flatnonzero(at), along_surface(upright, sides.normal[at]))
    if neck.tongue:
        at = within(top.nodes[top.triangles].mean(axis=1)[:, :2], tongue_area(body))
        top.surfaces["neck/tongue"] = Surface(at, along_surface([1.0, 0, 0], top.normal[at]))


def tongue_area(body: Body) -> Area:
    """(x0, x1, y0, y1) [m] of the fingerboard glued to the top."""
    assert body.neck is not None
    length, half = body.outline.length, body.neck.width / 2
    return length - body.neck.tongue, length + 1, -half, half
