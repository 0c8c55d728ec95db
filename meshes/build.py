"""From a Body to its ShellMesh: plates, sides in straight strips, braces, blocks, bars, neck, interface springs between."""

from collections.abc import Sequence

import numpy as np

from fem.mesh import Line, ShellMesh, Surface, along_surface, unit_normals
from meshes.block_root import behind_block, strip_width
from meshes.body import Body, Brace, back_height, braces_of, top_height
from meshes.carving import brace_breaks, brace_heights, is_graded, on_patch, patch_outline, thickness_at
from meshes.joint_geometry import LAND
from meshes.neck_mesh import glue_neck, neck_piece, tongue_area
from meshes.outline import Outline, bend_radius, distance, last_clear, nearest, normal_at, point_at, where_y
from meshes.pieces import Area, Piece, Rim, joined, once_round, within, without_idle_nodes
from meshes.plan import Segment, edges_of, edges_on, inside, triangulate
from meshes.side_ports import patch as port_patch
from meshes.side_ports import stations

DEFAULT_SIZE = 0.025  # m; .6 % on the first 20 frequencies of the example sheets (docs/verification.md)
NO_LINING = 0.008  # m, height of the strips along the edges where there is no lining
LEAST = 1e-3  # m between two stations of the rim
CLEAR = 0.5e-3  # m, that a brace's end which is not let in keeps from the facets of the rim
LONGEST_ARC = 0.35  # of the radius of a bend: keeps the flat facets of the rim within .4 % of its shape


def mesh_body(body: Body, size: float = DEFAULT_SIZE, times: float = 1.0) -> ShellMesh:
    """ShellMesh of a Body with edges of about `size` [m]. Regions are those of parts.sections(body).

    times: so many times longer edges, also in the bends, where `size` alone would leave them as they are.
    """
    rim = _rim(body, size, times)
    size = times * size
    pieces = [_plate(body, "top", rim, size), _plate(body, "back", rim, size), _sides(body, rim, size)]
    if body.neck is not None:
        pieces.append(neck_piece(body, pieces[2], size))
        glue_neck(body, pieces[0], pieces[2])
    return joined(pieces, rim)


# --- the rim ---


def _rim(body: Body, size: float, times: float = 1.0) -> Rim:
    """Rim with stations at block edges, bars, neck edges, let-in brace ends and ports, and about `times size` [m] between."""
    outline = body.outline
    fixed = [0.0, outline.perimeter, where_y(outline, 0.0)[-1]]
    for name, end in (("neck_block", -1), ("tail_block", 0)):
        half = getattr(body, name).width / 2
        for y in (half, half - strip_width(body, name)):
            fixed += [where_y(outline, side * y)[end] for side in (-1, 1)]
    fixed += [bar.arc for bar in body.side_bars] + list(outline.corners)
    if body.neck is not None:
        fixed += [where_y(outline, side * body.neck.width / 2)[-1] for side in (-1, 1)]
    let_in = []
    for brace in body.braces:
        ends = ((brace.at_start, brace.start), (brace.at_end, brace.end))
        let_in += [nearest(outline, point) for end, point in ends if end.kind == "let_in"]
    apart = lambda s, t: abs((s - t + outline.perimeter / 2) % outline.perimeter - outline.perimeter / 2)
    fixed += [s for s in let_in if min(apart(s, t) for t in fixed) >= LEAST]  # a let-in end moves to the other one
    places, whole = stations(body, np.array(fixed) % outline.perimeter)
    knots = _spread(np.array(places), outline.perimeter, LEAST)
    place, radius = bend_radius(outline)
    arcs = []
    for a, b in zip(knots, np.append(knots[1:], knots[0] + outline.perimeter)):
        here = (place - a) % outline.perimeter <= b - a
        longest = times * min(size, LONGEST_ARC * np.min(np.abs(radius[here]), initial=np.inf))
        n = 1 if a in whole else max(1, round((b - a) / longest + 0.2))
        arcs.append(a + (b - a) * np.arange(n) / n)
    arc = np.concatenate(arcs)
    behind = {name: _behind(body, arc, name) for name in ("neck_block", "tail_block")}
    at_block = {
        plate: np.any([at for name, at in behind.items() if plate == "top" or _reaches_back(body, name)], axis=0)
        | np.zeros(len(arc), bool)
        for plate in ("top", "back")
    }
    grain = {plate: _direction(getattr(body, plate).grain_angle)[:2] for plate in ("top", "back")}
    return Rim(arc, point_at(outline, arc), normal_at(outline, arc), at_block, grain)


def _spread(places: np.ndarray, perimeter: float, least: float) -> np.ndarray:
    """Sorted places on the rim without those closer than `least` to the one before."""
    places = np.sort(places)
    kept = [0.0]
    for s in places:
        if s - kept[-1] >= least and perimeter - s >= least:
            kept.append(float(s))
    return np.array(kept)


# --- top and back ---


def _plate(body: Body, plate: str, rim: Rim, size: float) -> Piece:
    height = top_height if plate == "top" else back_height
    footprints = _footprints(body, plate)
    hole = (body.soundhole.centre, body.soundhole.radius) if plate == "top" else None
    braces = [(brace, _ends(brace, rim)) for brace in braces_of(body, plate)]
    areas = [*footprints.values(), *([tongue_area(body)] if plate == "top" and body.neck and body.neck.tongue else [])]
    creases: list[Segment] = [line for area in areas for line in _rectangle(*area)]
    creases += [line for brace, ends in braces for line in _at_tapers(brace, *ends)]
    patches = [patch for patch in body.patches if patch.plate == plate]
    creases += [line for patch in patches for line in _round(patch_outline(body, patch))]
    inner = _land_edge(rim.points, creases)
    lands = [(inner[i], inner[(i + 1) % len(inner)]) for i in np.flatnonzero(~rim.at_block[plate])]
    plan, triangles = triangulate(rim.points, creases, hole, size, lands)
    nodes = np.column_stack([plan, height(body, *plan.T)])
    if plate == "back":
        triangles = triangles[:, ::-1]
    normal = unit_normals(nodes, triangles)
    panel = body.top if plate == "top" else body.back
    grain = _direction(panel.grain_angle)
    everywhere = np.arange(len(triangles))
    tau = None
    if is_graded(panel):
        tau = (thickness_at(body, plate, plan) / panel.thickness)[triangles]
    surfaces = {plate: Surface(everywhere, along_surface(grain, normal), tau)}
    for region, area in footprints.items():
        inside = within(plan[triangles].mean(axis=1), area)
        surfaces[region] = Surface(inside, along_surface(_grain_of(body, region), normal[inside]))
    land, along = _on_land(rim, inner, plate, plan[triangles].mean(axis=1))
    surfaces[f"{plate}/land"] = Surface(land, along_surface(along, normal[land]))
    for patch in patches:
        at = on_patch(body, patch, plan[triangles].mean(axis=1))
        surfaces[f"{plate}/{patch.name}"] = Surface(at, along_surface(_direction(patch.grain_angle), normal[at]))
    edges = edges_of(triangles)
    lines: dict[str, Line] = {}
    inward = np.array([0, 0, -1.0 if plate == "top" else 1.0])
    for brace, (start, end) in braces:
        on_brace, place = edges_on(plan, edges, start, end)
        offset = np.zeros((len(on_brace), 3))
        if is_graded(panel):  # the brace lies on the inner face there: its own lift counts half the full thickness
            thickness = thickness_at(body, plate, plan[on_brace].mean(axis=1))
            offset = (thickness - panel.thickness)[:, None] / 2 * inward
        lines[f"{plate}_braces/{brace.name}"] = Line(
            on_brace, np.tile(inward, (len(on_brace), 1)), _taper(brace, place), offset, brace.form
        )
    ring = once_round(len(rim.arc))
    named = {f"{plate}_edge": ring}
    if plate == "top":
        from_hole = np.hypot(*(plan - body.soundhole.centre).T)
        round_hole = edges[(np.abs(from_hole - body.soundhole.radius) < 1e-6)[edges].all(axis=1)]
        named["soundhole"] = round_hole
    return Piece(nodes, triangles, normal, surfaces, lines, named)


def _land_edge(points: np.ndarray, creases: Sequence[Segment]) -> np.ndarray:
    """(k, 2) places LAND inside the vertices (k, 2) of the rim's polygon; where a crease meets a vertex, along it."""
    forth = np.roll(points, -1, axis=0) - points
    outward = np.column_stack([forth[:, 1], -forth[:, 0]]) / np.hypot(*forth.T)[:, None]
    corner = outward + np.roll(outward, 1, axis=0)  # its length is twice the cosine to each of the two sides
    inner = points - 2 * LAND * corner / np.sum(corner**2, axis=1, keepdims=True)
    normal = corner / np.linalg.norm(corner, axis=1, keepdims=True)
    for start, end in creases:
        start, run = np.asarray(start, float), np.subtract(end, start)
        length = np.hypot(*run)
        place = np.clip((points - start) @ run / length**2, 0, 1)
        for i in np.flatnonzero(np.hypot(*(start + place[:, None] * run - points).T) < 1e-6):
            steep = normal[i] @ run / length
            if abs(steep) > 0.5:
                inner[i] = points[i] - LAND * run / length / steep
    return inner


def _on_land(rim: Rim, inner: np.ndarray, plate: str, middles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Indices of the triangles (their middles (m, 2)) on a plate's land, and the direction of the edge there (n, 3)."""
    along = np.zeros((len(middles), 3))
    for i in np.flatnonzero(~rim.at_block[plate]):
        j = (i + 1) % len(inner)
        on = inside(np.array([rim.points[i], rim.points[j], inner[j], inner[i]]), middles)
        along[on, :2] = rim.points[j] - rim.points[i]
    land = np.flatnonzero(along.any(axis=1))
    return land, along[land]


def _footprints(body: Body, plate: str) -> dict[str, Area]:
    """{region: (x0, x1, y0, y1)} [m] of what is glued to a plate over an area."""
    length = body.outline.length
    footprints = {}
    for name, block in (("neck_block", body.neck_block), ("tail_block", body.tail_block)):
        if plate == "top" or _reaches_back(body, name):
            x = (length - block.thickness, length + 1) if name == "neck_block" else (-1.0, block.thickness)
            footprints[f"{name}/{plate}"] = (*x, -block.width / 2, block.width / 2)
    if plate == "top":
        for name in ("bridge", "bridge_plate"):
            part = getattr(body, name)
            if part is not None:
                (x, y), w, h = part.centre, part.width / 2, part.length / 2
                footprints[name] = (x - w, x + w, y - h, y + h)
    return footprints


def _reaches_back(body: Body, name: str) -> bool:
    block = getattr(body, name)
    x = body.outline.length if name == "neck_block" else 0.0
    return block.height > 0.9 * float(top_height(body, x, 0.0) - back_height(body, x, 0.0))


def _rectangle(x0: float, x1: float, y0: float, y1: float) -> list[Segment]:
    return _round(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]))


def _round(corners: np.ndarray) -> list[Segment]:
    return list(zip(corners, np.roll(corners, -1, axis=0)))


def _ends(brace: Brace, rim: Rim) -> list[np.ndarray]:
    """The brace's ends in plan [m], a let-in end moved onto the nearest vertex of the rim's polygon, others inside it."""
    ends = []
    for point, end in ((brace.start, brace.at_start), (brace.end, brace.at_end)):
        if end.kind == "let_in":
            point = rim.points[np.argmin(np.hypot(*(rim.points - point).T))]
        ends.append(np.asarray(point, float))
    polygon, middle = Outline(rim.points, np.empty(0)), (ends[0] + ends[1]) / 2
    for i, end in enumerate((brace.at_start, brace.at_end)):
        if end.kind != "let_in":
            ends[i] = _inside(polygon, ends[i], middle)
    return ends


def _inside(polygon: Outline, end: np.ndarray, middle: np.ndarray) -> np.ndarray:
    """The end drawn back toward the brace's middle until it is CLEAR of the rim's facets, which cut off its curves."""
    if distance(polygon, end[None])[0] >= CLEAR:
        return end
    clear = last_clear(polygon, middle, end - middle, CLEAR, np.linspace(0, 1, 81))
    return end if clear is None else middle + clear * (end - middle)


def _at_tapers(brace: Brace, start: np.ndarray, end: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """The brace's line cut where its tapers begin, so that the mesh has nodes there."""
    length = np.hypot(*(end - start))
    cuts = {0.0, min(brace.at_start.taper / length, 1.0), max(1 - brace.at_end.taper / length, 0.0), 1.0}
    if brace.heights:
        cuts = {min(run / length, 1.0) for run in brace_breaks(brace)[:-1]} | {1.0}
    points = [start + c * (end - start) for c in sorted(cuts)]
    return list(zip(points, points[1:]))


def _taper(brace: Brace, place: np.ndarray) -> np.ndarray:
    """Height over full height at places 0..1 along the brace."""
    return brace_heights(brace, place * brace.length) / brace.height


def _direction(angle: float) -> np.ndarray:
    return np.array([np.cos(angle), np.sin(angle), 0.0])


def _grain_of(body: Body, region: str) -> np.ndarray:
    """Direction of the part's first axis on a plate."""
    if region == "bridge":
        return np.array([0.0, 1.0, 0.0])
    if region == "bridge_plate" and body.bridge_plate is not None:
        return _direction(body.bridge_plate.grain_angle)
    block = getattr(body, region.split("/")[0])
    return np.array([1.0, 0.0, 0.0] if block.grain == "along_body" else [0.0, 1.0, 0.0])


# --- sides ---


def _sides(body: Body, rim: Rim, size: float) -> Piece:
    """Strips between straight generators from top to back, a row of lining height along both edges."""
    k = len(rim.arc)
    z0, z1 = top_height(body, *rim.points.T), back_height(body, *rim.points.T)
    level = _levels(body, z0 - z1, size)  # (rows + 1, k) depth below the top's edge [m]
    rows = len(level) - 1
    nodes = np.concatenate([np.column_stack([rim.points, z0 - d]) for d in level])
    nodes, triangles, i, row, ports = _with_ports(body, rim, size, nodes, *_strips(k, rows))
    normal = unit_normals(nodes, triangles)
    along = along_surface(np.column_stack([np.roll(rim.points, -1, axis=0) - rim.points, np.zeros(k)])[i], normal)
    angle = body.sides[0].grain_angle
    turned = np.cos(angle) * along + np.sin(angle) * np.cross(normal, along)
    surfaces = {"sides": Surface(np.arange(len(triangles)), turned)}
    depth = ((level[:-1] + level[1:]) / 2)[row, i]
    blocked = np.zeros(len(triangles), bool)  # linings end at the blocks
    for name in ("neck_block", "tail_block"):
        block = getattr(body, name)
        at = _behind(body, rim.arc, name)[i] & (depth < block.height)
        blocked |= at
        grain = np.tile([0.0, 0.0, 1.0], (at.sum(), 1)) if block.grain == "toward_top" else along[at]
        grain = along_surface(grain, normal[at])
        edge = _behind(body, rim.arc, name, strip_width(body, name))[i] & at
        for region, on in {
            "sides": ~edge, "edge": edge & (row != 0) & (row != rows - 1),
            "edge_top": edge & (row == 0), "edge_back": edge & (row == rows - 1),
        }.items():  # fmt: skip
            surfaces[f"{name}/{region}"] = Surface(np.flatnonzero(at & on), grain[on[at]])
    for name, last in (("lining_top", 0), ("lining_back", rows - 1)):
        at = (row == last) & ~blocked
        surfaces[name] = Surface(np.flatnonzero(at), along[at])
    lines = {}
    for number, bar in enumerate(body.side_bars, 1):
        at = int(np.argmin(np.abs(rim.arc - bar.arc)))
        column = at + k * np.arange(1, rows)  # from lining to lining
        edges = np.column_stack([column[:-1], column[1:]])
        up = np.tile(np.append(-rim.outward[at], 0.0), (len(edges), 1))
        lines[f"side_bars/{number}"] = Line(edges, up, np.ones(edges.shape), np.zeros((len(edges), 3)))
    ring = once_round(k)
    return without_idle_nodes(
        Piece(nodes, triangles, normal, surfaces, lines, {"rim_top": ring, "rim_back": ring + rows * k, **ports})
    )


def _strips(k: int, rows: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Triangles (2 k rows, 3) of a grid of k columns that closes on itself, and the span and the row of each."""
    i, row = (v.ravel() for v in np.meshgrid(np.arange(k), np.arange(rows)))
    a, b = row * k + i, row * k + (i + 1) % k
    c, d = a + k, b + k
    one = (i + row) % 2 == 0  # diagonals alternate
    first = np.where(one[:, None], np.column_stack([a, c, d]), np.column_stack([a, c, b]))
    second = np.where(one[:, None], np.column_stack([a, d, b]), np.column_stack([b, c, d]))
    return np.concatenate([first, second]), np.tile(i, 2), np.tile(row, 2)


def _with_ports(
    body: Body, rim: Rim, size: float, nodes: np.ndarray, triangles: np.ndarray, i: np.ndarray, row: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Nodes, triangles, spans and rows of the sides with the patch of each port put in, and {'port 1': its edge}."""
    last, edges = row.max(), {}
    for number, port in enumerate(body.side_ports, 1):
        new = port_patch(body, port, rim, nodes, last + 1, size, len(nodes))
        keep = (i < new.columns[0]) | (i >= new.columns[1]) | (row == 0) | (row == last)
        triangles = np.concatenate([triangles[keep], new.triangles])
        i, row = np.append(i[keep], new.span), np.append(row[keep], np.ones(len(new.span), int))
        nodes, edges[f"port {number}"] = np.concatenate([nodes, new.nodes]), new.edge
    return nodes, triangles, i, row, edges


def _behind(body: Body, arc: np.ndarray, name: str, within: float = np.inf) -> np.ndarray:
    """Which spans (k,) between stations at arc (k,) [m] lie behind a block, no more than `within` [m] from its edges."""
    ends = np.append(arc[1:], arc[0] + body.outline.perimeter)
    _, y = point_at(body.outline, (arc + ends) / 2).T
    start, run = behind_block(body, name)  # a waist may be as narrow as the block: the rim's own run tells them apart
    behind = ((arc + ends) / 2 - start) % body.outline.perimeter < run
    return behind & (getattr(body, name).width / 2 - np.abs(y) < within)


def _levels(body: Body, height: np.ndarray, size: float) -> np.ndarray:
    """Depth below the top (rows + 1, k) [m] of the side's node rows: a lining each, the free side in equal strips.

    A block or a heel that ends short of the back gets a row of its own there.
    """
    top, back = (lining.height or NO_LINING for lining in (body.lining_top, body.lining_back))
    low, high = top + 0.004, height.min() - back - 0.004
    ends = {body.neck_block.height, body.tail_block.height, body.neck.heel_depth if body.neck else 0.0}
    short = sorted(end for end in ends if low < end < high)
    breaks = [np.full_like(height, top), *(np.full_like(height, h) for h in short), height - back]
    rows = [np.zeros_like(height), breaks[0]]
    for above, below in zip(breaks, breaks[1:]):
        strips = max(1, round(float(np.mean(below - above)) / size))
        rows += [above + (below - above) * part for part in np.arange(1, strips + 1) / strips]
    return np.array([*rows, height])
