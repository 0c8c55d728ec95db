"""The air inside a body: tetrahedra between the inner faces of top, back, sides and blocks, refined at the openings.

A prism over the plan is meshed by gmsh, then its nodes are moved up and down onto the domes of top and back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import ModuleType

import numpy as np

from fem.air import Cavity, Opening
from meshes.body import Block, Body, Lining, back_height, top_height
from meshes.carving import brace_volume, patch_area
from meshes.outline import Outline, normal_at, point_at, self_crossing, where_y
from meshes.plan import MM
from meshes.side_ports import MARGIN, Port

DEFAULT_SIZE = 0.028  # m; rigid-wall modes of the example bodies below 600 Hz within .2 %
OPENING_SIZE = 0.008  # m, along the edge of an opening
SPREAD = 0.06  # m, from an opening's edge to where the mesh has its full size
STEP = 0.016  # m, longest straight piece of the rim: area within .1 %
BLOCKS = ("neck_block", "tail_block")


def mesh_cavity(body: Body, size: float = DEFAULT_SIZE, ports: Sequence[Port] = ()) -> Cavity:
    """Cavity of a Body with edges of about `size` [m]; groups 'top', 'back', 'sides', 'soundhole', 'port 1', ...

    ports: round openings in the sides, (place on the rim as arc length of the outline, depth of the centre below the
    top, radius) [m] each. ValueError where a port does not fit into its side.
    """
    openings = {"soundhole": Opening(body.soundhole.radius, body.top.thickness)}
    openings |= {f"port {k}": Opening(port[2], body.side_thickness) for k, port in enumerate(ports, 1)}
    plan = _plan(body, ports)
    depth = float(np.mean(_ceiling(body, *plan.points.T) - _floor(body, *plan.points.T)))
    hole = circle(body.soundhole.radius)
    rings = {"soundhole": np.column_stack([hole + body.soundhole.centre, np.zeros(len(hole))])}
    rings |= {f"port {k}": _port(body, plan, port, depth, f"port {k}") for k, port in enumerate(ports, 1)}
    nodes, tetrahedra, faces = prism(plan.points, depth, rings, size)
    x, y, z = nodes.T
    top, back = _ceiling(body, x, y), _floor(body, x, y)
    nodes = np.column_stack([x, y, top + (top - back) * z / depth])
    return Cavity(nodes, tetrahedra, faces, openings, wood_inside(body, plan.cut))


def wood_inside(body: Body, cut: Sequence[str] = ()) -> float:
    """m3 of braces, bridge plate, linings, side bars and of the blocks that the mesh is not cut round."""
    volume = sum(brace_volume(brace) for brace in body.braces)
    volume += sum(patch_area(body, patch) * patch.thickness for patch in body.patches)
    blocks = [getattr(body, name) for name in BLOCKS]
    run = body.outline.perimeter - sum(b.width for b in blocks)
    for lining in (body.lining_top, body.lining_back):
        volume += run * lining.height * _mean_width(lining)
    free = float(np.mean([height for *_, height in body.heights])) - body.lining_top.height - body.lining_back.height
    volume += sum(bar.width * bar.thickness * free for bar in body.side_bars)
    if body.bridge_plate is not None:
        volume += body.bridge_plate.length * body.bridge_plate.width * body.bridge_plate.thickness
    return float(volume + sum(b.width * b.thickness * b.height for n, b in zip(BLOCKS, blocks) if n not in cut))


def _mean_width(lining: Lining) -> float:
    """Width [m] of a lining of the same volume without saw cuts."""
    if not lining.kerf_spacing or "kerfed" not in lining.kind:
        return lining.mean_width
    return lining.mean_width - lining.kerf_width / lining.kerf_spacing * (lining.mean_width - lining.web)


def _ceiling(body: Body, x: float | np.ndarray, y: float | np.ndarray) -> np.ndarray:
    """z [m] of the top's inner face."""
    return top_height(body, x, y) - body.top.thickness / 2


def _floor(body: Body, x: float | np.ndarray, y: float | np.ndarray) -> np.ndarray:
    """z [m] of the back's inner face."""
    return back_height(body, x, y) + body.back.thickness / 2


# --- plan ---


@dataclass(frozen=True)
class Plan:
    """Polygon of the inner faces of sides and blocks."""

    points: np.ndarray  # (n, 2) m, counter-clockwise
    arcs: np.ndarray  # (n,) m, places on the outline
    cut: tuple[str, ...] = ()  # blocks that the polygon goes round


def _plan(body: Body, ports: Sequence[Port]) -> Plan:
    """Plan of a body, with one straight side at each port. Blocks that reach from top to back are cut out."""
    arcs = _stations(body.outline, ports)
    inward = body.side_thickness - body.sides[0].thickness / 2
    points = point_at(body.outline, arcs)
    inner = points - inward * normal_at(body.outline, arcs)
    plan = Plan(points if self_crossing(inner) else inner, arcs)  # it crosses itself at a horn thinner than its sides
    for name in BLOCKS:
        block, x = getattr(body, name), body.outline.length * (name == "neck_block")
        if block.height > 0.9 * float(top_height(body, x, 0.0) - back_height(body, x, 0.0)):
            around = _without(plan, body.outline, name, block, inward)
            plan = plan if self_crossing(around.points) else around
    return plan


def _flats(outline: Outline, ports: Sequence[Port]) -> list[np.ndarray]:
    """(start, end) [m] on the outline of the straight side at each port."""
    return [np.mod([s - r - MARGIN, s + r + MARGIN], outline.perimeter) for s, _, r in ports]


def _stations(outline: Outline, ports: Sequence[Port]) -> np.ndarray:
    """Arc lengths (n,) [m] of the polygon's vertices, ascending: corners, both ends of every flat, STEP between."""
    flats = _flats(outline, ports)
    fixed = np.unique(np.concatenate([outline.corners, *flats]) if flats or len(outline.corners) else [0.0])
    arcs = []
    for a, b in zip(fixed, np.append(fixed[1:], fixed[0] + outline.perimeter)):
        flat = any(np.isclose(a, start) for start, _ in flats)
        arcs.append(np.linspace(a, b, 1 if flat else max(1, int(np.ceil((b - a) / STEP))), endpoint=False))
    return np.sort(np.concatenate(arcs) % outline.perimeter)


def _without(plan: Plan, outline: Outline, name: str, block: Block, inward: float) -> Plan:
    """The plan with a block cut out: its inner face and flanks take the place of the side behind it."""
    neck = name == "neck_block"
    turn = 1 if neck else -1  # the rim runs towards +y at the neck, towards -y at the tail
    start, end = (where_y(outline, side * turn * block.width / 2)[-1 if neck else 0] for side in (-1, 1))
    behind = np.mod(plan.arcs - start + MARGIN, outline.perimeter)
    kept = behind > (end - start) % outline.perimeter + 2 * MARGIN
    order = np.flatnonzero(kept)[np.argsort(behind[kept], kind="stable")]
    clear = np.flatnonzero(_from_block(outline, name, block, plan.points[order]) > MARGIN / 2)
    order = order[clear[0] : clear[-1] + 1]  # beside a cutaway the side may run along the block's flank
    wall = point_at(outline, [start, end])[:, 0] - turn * inward
    face = outline.length - block.thickness if neck else block.thickness
    flanks = np.column_stack([[wall[0], face, face, wall[1]], turn * block.width / 2 * np.array([-1, -1, 1, 1])])
    return Plan(
        np.vstack([plan.points[order], flanks]),
        np.append(plan.arcs[order], [start, start, end, end]),
        (*plan.cut, name),
    )


def _from_block(outline: Outline, name: str, block: Block, points: np.ndarray) -> np.ndarray:
    """Distance [m] of plan points (m, 2) from a block; 0 inside it."""
    x, y = points.T
    inward = outline.length - x if name == "neck_block" else x
    return np.hypot(np.maximum(inward - block.thickness, 0), np.maximum(np.abs(y) - block.width / 2, 0))


# --- openings ---


def circle(radius: float) -> np.ndarray:
    """(n, 2) m, a polygon about the origin that has the circle's area, its sides OPENING_SIZE long."""
    n = max(12, int(np.ceil(2 * np.pi * radius / OPENING_SIZE)))
    angle = 2 * np.pi * np.arange(n) / n
    r = radius * np.sqrt(angle[1] / np.sin(angle[1]))
    return r * np.column_stack([np.cos(angle), np.sin(angle)])


def _port(body: Body, plan: Plan, port: Port, depth: float, name: str) -> np.ndarray:
    """(n, 3) m, ring of a side port on its flat side of the prism, an ellipse there, a circle once the domes are on."""
    s, below, radius = port
    start, end = _flats(body.outline, [port])[0]
    k = np.flatnonzero(np.isclose(plan.arcs, start))
    if not len(k) or not np.isclose(plan.arcs[(k[0] + 1) % len(plan.arcs)], end):
        raise ValueError(f"{name} at {MM * s:.0f} mm along the rim overlaps a block, a corner or another port")
    a, b = plan.points[k[0]], plan.points[(k[0] + 1) % len(plan.points)]
    x, y = (a + b) / 2
    top, back = float(_ceiling(body, x, y)), float(_floor(body, x, y))
    middle = float(top_height(body, x, y)) - below
    if not back + radius + MARGIN <= middle <= top - radius - MARGIN or np.hypot(*(b - a)) < 2 * radius + MARGIN:
        raise ValueError(
            f"{name} of {2 * MM * radius:.0f} mm, {MM * below:.0f} mm below the top, does not fit into the side of "
            f"{MM * (top - back):.0f} mm with {MM * MARGIN:.0f} mm of wood round it"
        )
    ring = circle(radius)
    along = (b - a) / np.hypot(*(b - a))
    z = (middle + ring[:, 1] - top) * depth / (top - back)
    return np.column_stack([[x, y] + ring[:, :1] * along, z])


# --- mesh ---


def prism(
    plan: np.ndarray, depth: float, rings: Mapping[str, np.ndarray], size: float
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Nodes (n, 3) [m], tetrahedra (m, 4) and faces {group: (k, 3)} of the prism -depth <= z <= 0 over a polygon.

    plan: (n, 2) m, counter-clockwise. rings: {name: (k, 3) m} round the openings, those at z = 0 in the top, the others
    each about the middle of one side of the polygon. The other groups are 'top', 'back', 'sides'.
    """
    import gmsh

    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        geo, mesh = gmsh.model.geo, gmsh.model.mesh
        edges = {name: _loop(geo, ring)[1] for name, ring in rings.items()}
        loops = {name: geo.addCurveLoop(lines) for name, lines in edges.items()}
        groups = {name: [geo.addPlaneSurface([loop])] for name, loop in loops.items()}
        upper, lower = (_loop(geo, np.column_stack([plan, np.full(len(plan), z)])) for z in (0.0, -depth))
        on_top = [loops[name] for name, ring in rings.items() if not ring[:, 2].any()]
        groups["top"] = [geo.addPlaneSurface([geo.addCurveLoop(upper[1]), *on_top])]
        groups["back"] = [geo.addPlaneSurface([geo.addCurveLoop(lower[1])])]
        groups["sides"] = _walls(geo, plan, upper, lower, {n: r for n, r in rings.items() if r[:, 2].any()}, loops)
        geo.addVolume([geo.addSurfaceLoop([s for surfaces in groups.values() for s in surfaces])])
        geo.synchronize()
        curves = [line for lines in edges.values() for line in lines]
        for line in curves:
            mesh.setTransfiniteCurve(line, 2)
        _sizes(gmsh, curves, size)
        mesh.generate(3)
        tags, xyz, _ = mesh.getNodes()
        rank = np.argsort(tags)
        number = lambda elements, k: np.searchsorted(tags[rank], elements[1]).reshape(-1, k)
        tetrahedra = number(mesh.getElementsByType(4), 4)
        faces = {
            n: np.vstack([number(mesh.getElementsByType(2, s), 3) for s in surfaces]) for n, surfaces in groups.items()
        }
    finally:
        gmsh.finalize()
    used, place = np.unique(tetrahedra, return_inverse=True)
    faces = {name: np.searchsorted(used, f) for name, f in faces.items()}
    return xyz.reshape(-1, 3)[rank][used] / MM, place.reshape(-1, 4), faces


def _loop(geo, points):
    """Tags of the points (n, 3) [m] and of the lines once round them."""
    corners = [geo.addPoint(*(MM * p)) for p in points]
    return corners, [geo.addLine(a, b) for a, b in zip(corners, corners[1:] + corners[:1])]


def _walls(geo, plan, upper, lower, rings, loops):
    """Tags of one plane surface for each side of the plan; openings in the middle of a side are cut out of it."""
    posts = [geo.addLine(low, up) for low, up in zip(lower[0], upper[0])]
    walls = []
    for k, (a, b) in enumerate(zip(plan, np.roll(plan, -1, axis=0))):
        loop = geo.addCurveLoop([lower[1][k], posts[(k + 1) % len(plan)], -upper[1][k], -posts[k]])
        here = [name for name, ring in rings.items() if np.allclose(ring[:, :2].mean(axis=0), (a + b) / 2, atol=1e-6)]
        walls.append(geo.addPlaneSurface([loop, *(loops[name] for name in here)]))
    return walls


def _sizes(gmsh: ModuleType, curves: Sequence[int], size: float) -> None:
    """Background field: OPENING_SIZE at the openings' edges, growing to `size` at SPREAD from them."""
    for option in ("ExtendFromBoundary", "FromPoints", "FromCurvature"):
        gmsh.option.setNumber(f"Mesh.MeshSize{option}", 0)
    add = gmsh.model.mesh.field
    distance, threshold = add.add("Distance"), add.add("Threshold")
    add.setNumbers(distance, "CurvesList", curves)
    near, far = MM * min(OPENING_SIZE, size), MM * size
    for key, value in {"InField": distance, "SizeMin": near, "SizeMax": far, "DistMax": MM * SPREAD}.items():
        add.setNumber(threshold, key, value)
    add.setAsBackgroundMesh(threshold)
