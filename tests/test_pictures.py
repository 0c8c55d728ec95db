"""Mode pictures: sampled fields, nodal lines, signs, colours that survive a grey copy, captions, and what is drawn where."""

import re
from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from PIL import Image
from scipy.sparse.csgraph import connected_components

from fem.elements import space
from fem.mesh import ShellMesh, Surface, along_surface, unit_normals
from meshes.body import top_height
from studies.common import system_check
from studies.drawing import mode_pictures as pictures
from studies.drawing import perspective
from studies.drawing.boards import boards_of, plates_of
from studies.drawing.captions import Caption
from studies.drawing.features import areas, nodal_lines, outer_loops, smoothed
from studies.drawing.field import Field, field_on, phase, sampler, sign_along, turned, unturned
from studies.drawing.mode_pictures import Shapes, draw_modes
from studies.drawing.mode_words import distinct, plain_label, plate_words, still_plates
from studies.drawing.neck_solid import BOARD, METAL, WOOD, neck_solid
from studies.drawing.picture import Shot, drawn_one_by_one
from studies.drawing.plan import RIGHT, Motion, Style, on_true_curves, plan_figure, plate_plan
from studies.drawing.sheet import SCALE, THEMES, save, steps_of_colour
from studies.drawing.topology import Topology


def sheet(nx=6, ny=4, a=0.4, b=0.3, z=0.0, up=1.0, height=lambda x, y: 0 * x):
    """Nodes and triangles of a rectangle, x from 0 to a, y from -b/2 to b/2, facing up (+z) or down."""
    x, y = np.meshgrid(np.linspace(0, a, nx + 1), np.linspace(-b / 2, b / 2, ny + 1), indexing="ij")
    nodes = np.column_stack([x.ravel(), y.ravel(), z + height(x.ravel(), y.ravel())])
    k = np.arange((nx + 1) * (ny + 1)).reshape(nx + 1, ny + 1)
    p, q, r, s = k[:-1, :-1].ravel(), k[1:, :-1].ravel(), k[1:, 1:].ravel(), k[:-1, 1:].ravel()
    triangles = np.concatenate([np.column_stack([p, q, r]), np.column_stack([p, r, s])])
    return nodes, triangles if up > 0 else triangles[:, ::-1]


def shell(pieces):
    """ShellMesh of {name: (nodes, triangles)}, not joined."""
    nodes, triangles, surfaces = [], [], {}
    for name, (x, t) in pieces.items():
        start, first = sum(map(len, nodes)), sum(map(len, triangles))
        nodes.append(x)
        triangles.append(t + start)
        n = unit_normals(x, t)
        surfaces[name] = Surface(first + np.arange(len(t)), along_surface([1.0, 0.3, 0.2], n))
    nodes, triangles = np.concatenate(nodes), np.concatenate(triangles)
    return ShellMesh(nodes, triangles, unit_normals(nodes, triangles), surfaces)


def shape_of(V, u):
    """Unknowns (dofs,) of the displacement u(points) -> (n, 3)."""
    full = np.zeros((len(V.points), 6))
    full[:, :3] = u(V.points)
    return full.ravel()


def lift(w):
    """Displacement w(x, y) along z."""
    return lambda p: np.column_stack([0 * p[:, 0], 0 * p[:, 0], w(p[:, 0], p[:, 1])])


def mode_field(V, shape, region, subdivide=4):
    """Field of one mode shape (dofs,) on a surface group."""
    return field_on(sampler(V, V.mesh.surfaces[region].triangles, subdivide), shape)


def plate_field(w, nx=16, ny=12):
    V = space(shell({"top": sheet(nx, ny)}))
    return mode_field(V, shape_of(V, lift(w)), "top")


# --- sampling ---


def test_a_cubic_is_sampled_without_error_between_the_nodes():
    """Cubic shape functions hold any cubic exactly; values interpolated from the corners would miss it by per cents."""
    w = lambda x, y: 40 * x**3 - 7 * x**2 * y + 90 * x * y**2 - 25 * y**3 + x - 0.3
    V = space(shell({"top": sheet(3, 2)}))
    for subdivide in (1, 2, 4, 7):
        field = mode_field(V, shape_of(V, lift(w)), "top", subdivide)
        assert len(field.triangles) == 12 * subdivide**2
        assert field.value == pytest.approx(w(*field.points[:, :2].T), abs=1e-12)
    corners = field_on(sampler(V, V.mesh.surfaces["top"].triangles, 1), shape_of(V, lift(w)))
    assert len(corners.points) == 12  # each node of the mesh once


def test_outward_is_positive_on_both_plates():
    V = space(shell({"top": sheet(), "back": sheet(z=-0.1, up=-1)}))
    breathing = shape_of(V, lambda p: np.column_stack([0 * p[:, :2], np.where(p[:, 2] > -0.05, 0.7, -0.4)]))
    assert mode_field(V, breathing, "top").value == pytest.approx(0.7)
    assert mode_field(V, breathing, "back").value == pytest.approx(0.4)


def test_normals_of_a_sphere_are_exact_inside_the_patch():
    """Max 1999 states that his weights give the normal of a sphere exactly; the patch's rim, seen from one side, does not."""
    R = 0.5
    nodes, triangles = sheet(7, 5, height=lambda x, y: np.sqrt(R**2 - (x - 0.2) ** 2 - y**2) - R)
    V = space(shell({"top": (nodes, triangles)}))
    found = sampler(V, np.arange(len(triangles)), 1)
    x, y, _ = found.points.T
    inner = (x > 0.01) & (x < 0.39) & (np.abs(y) < 0.14)
    exact = (found.points - [0.2, 0, -R]) / R
    assert inner.sum() == 6 * 4
    assert found.normal[inner] == pytest.approx(exact[inner], abs=1e-12)


def test_normals_are_not_averaged_across_a_crease():
    """An L of two strips that share their nodes: points on the fold appear twice, each with its own normal."""
    nodes, triangles = sheet(4, 2)
    folded = np.where(
        nodes[:, :1] > 0.2, np.column_stack([0.2 + 0 * nodes[:, 0], nodes[:, 1], 0.2 - nodes[:, 0]]), nodes
    )
    V = space(shell({"top": (folded, triangles)}))
    found = sampler(V, np.arange(len(triangles)), 2)
    assert len(found.points) == 2 * (5 * 5)
    axis = np.abs(found.normal).max(axis=1)
    assert axis == pytest.approx(1.0)


# --- sign ---


def test_the_largest_motion_points_outward():
    bump = lambda x, y: -np.exp(-((x - 0.1) ** 2 + y**2) / 0.003) + 0.5 * np.exp(-((x - 0.3) ** 2 + y**2) / 0.003)
    field = plate_field(bump)
    assert phase(field) == -1
    assert phase(turned(field)) == 1


def test_equal_halves_are_decided_by_the_bass_side():
    field = plate_field(lambda x, y: 3 * y * (1 + 0.03 * np.sign(-y)))  # the treble half a little further, inward
    assert phase(field) == 1
    assert phase(turned(field)) == -1


def test_fields_go_along_across_different_meshes():
    w = lambda x, y: np.sin(3 * np.pi * x / 0.4) * np.cos(np.pi * y / 0.3)
    first, second = plate_field(w, 16, 12), plate_field(w, 11, 9)
    assert sign_along(first, second) == 1
    assert sign_along(first, turned(second)) == -1


# --- nodal lines and areas ---


# of the largest displacement: what a plate may move on a nodal line, which is eased where it is still
STILL_THERE = 0.005


def test_a_nodal_line_runs_from_edge_to_edge():
    """x + .2 y = 130 mm; towards an edge it may bend within the strip that moves less than STILL_THERE of 300 mm: 1.5 mm."""
    (line,) = nodal_lines(field := plate_field(lambda x, y: x - 0.13 + 0.2 * y))
    place = line.along(field.points)
    assert place[:, 0] + 0.2 * place[:, 1] == pytest.approx(0.13, abs=STILL_THERE * 0.3)
    assert place[np.abs(place[:, 1]) < 0.1, 0] + 0.2 * place[np.abs(place[:, 1]) < 0.1, 1] == pytest.approx(
        0.13, abs=3e-4
    )
    assert np.sort(place[[0, -1], 1]) == pytest.approx([-0.15, 0.15])


def test_a_nodal_line_stops_at_an_edge_that_is_held():
    """The edges y = -b/2, b/2 are exactly at rest: the line across must not turn along them."""
    field = plate_field(lambda x, y: np.cos(np.pi * x / 0.4) * np.cos(np.pi * y / 0.3), 15)
    field = replace(field, value=np.where(np.abs(field.points[:, 1]) > 0.1499, 0.0, field.value))
    (line,) = nodal_lines(field)
    place = line.along(field.points)
    assert place[np.abs(place[:, 1]) < 0.12, 0] == pytest.approx(0.2, abs=0.0034)  # half a sample
    assert place[:, 0] == pytest.approx(0.2, abs=0.021)
    assert np.sort(place[[0, -1], 1]) == pytest.approx([-0.15, 0.15])


def test_a_nodal_circle_closes():
    """Radius 80 mm; the plate moves 1 - (r / 80 mm)^2 in a middle of .11 of the corners' motion: STILL_THERE is .9 mm here."""
    (line,) = nodal_lines(field := plate_field(lambda x, y: (x - 0.2) ** 2 + y**2 - 0.08**2))
    place = line.along(field.points)
    off = np.hypot(place[:, 0] - 0.2, place[:, 1]) - 0.08
    assert np.abs(off).max() < 2e-3 and np.median(np.abs(off)) < 1.3e-4
    assert place[0] == pytest.approx(place[-1])


def test_a_plates_own_motion_decides_whether_it_has_lines():
    """Ripples all over a plate have their lines, whatever else moves; beside a dome twelve times as high they have none."""
    ripples = lambda x, y: np.sin(3 * np.pi * x / 0.4)
    for size in (1.0, 1e-6):
        assert len(nodal_lines(turned(plate_field(ripples), size))) == 2
    dome = lambda x, y: 12 * np.sin(np.pi * x / 0.4) * np.cos(np.pi * y / 0.3)
    assert nodal_lines(plate_field(lambda x, y: dome(x, y) + ripples(x, y))) == []


HOLE = (0.26, 0.01, 0.05)  # where a made plate is pierced, and its radius: off the middle


def pierced(w, nx=16, ny=12):
    """A made field on a plate with a round hole."""
    field = plate_field(w, nx, ny)
    middle = field.points[field.triangles].mean(axis=1)
    kept = field.triangles[np.hypot(middle[:, 0] - HOLE[0], middle[:, 1] - HOLE[1]) > HOLE[2]]
    used, index = np.unique(kept, return_inverse=True)
    return Field(field.points[used], Topology(index.reshape(-1, 3)), field.value[used], field.displacement[used])


def waves(seed):
    """Some waves of the order of a plate's modes, without any symmetry, upon ripples of 3 % that have no order."""
    rng = np.random.default_rng(seed)
    k, at = rng.uniform(0.3, 3.5, (6, 2)) * np.pi / [0.4, 0.3], rng.uniform(0, 2 * np.pi, 6)
    rough = np.random.default_rng(seed + 100)
    return lambda x, y: np.sum([np.sin(k[i, 0] * x + k[i, 1] * y + at[i]) for i in range(6)], axis=0) + 0.1 * rough.normal(size=x.shape)  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("plate", [plate_field, pierced])
def test_no_nodal_line_ends_within_a_plate(plate, seed):
    """An open line ends on two points of edges that have a triangle on one side only, any other one closes."""
    field = plate(waves(seed))
    edge = {tuple(pair) for pair in np.sort(field.topology.boundary, axis=1).tolist()}
    lines = nodal_lines(field)
    assert lines
    for line in lines:
        ends = [tuple(sorted((int(line.i[k]), int(line.j[k])))) for k in (0, -1)]
        assert ends[0] == ends[1] or (ends[0] in edge and ends[1] in edge)
        assert np.all((line.t >= 0) & (line.t <= 1))


@pytest.mark.parametrize("seed", range(6))
def test_nodal_lines_part_what_is_counted(seed):
    """Two areas that move opposite ways lie on two sides of a line: cut along all lines, no piece holds both ways."""
    field = pierced(waves(seed))
    lines, found = nodal_lines(field), areas(field)
    cut = {tuple(sorted(pair)) for line in lines for pair in zip(line.i.tolist(), line.j.tolist())}
    ends = np.array([pair for pair in field.topology.edges.tolist() if tuple(sorted(pair)) not in cut])
    n = len(field.points)
    piece = connected_components(sp.coo_array((np.ones(len(ends)), ends.T), shape=(n, n)), directed=False)[1]
    assert len({area.share > 0 for area in found}) == 2
    for a in found:
        assert len(set(piece[a.members].tolist())) == 1
        for b in found:
            assert a.share * b.share > 0 or piece[a.peak] != piece[b.peak]
    assert {int(p) for p in piece} == {int(piece[a.peak]) for a in found}  # and no line parts off what is not counted


def test_edges_of_two_triangles_by_hand():
    """Each edge once; the one between them has two sides; one loop of four points round both."""
    two = Topology(np.array([[3, 0, 1], [1, 2, 3]]))
    assert two.edges.tolist() == [[0, 1], [0, 3], [1, 2], [1, 3], [2, 3]]
    assert two.edges[two.sides].tolist() == [[[0, 3], [0, 1], [1, 3]], [[1, 2], [2, 3], [1, 3]]]
    assert two.boundary.tolist() == [[0, 1], [0, 3], [1, 2], [2, 3]]
    (loop,) = two.loops
    assert loop[0] == loop[-1] and sorted(loop[:-1]) == [0, 1, 2, 3]
    assert {tuple(sorted(edge)) for edge in zip(loop[:-1], loop[1:])} == {tuple(edge) for edge in two.boundary.tolist()}


def test_edges_are_found_once_for_all_modes_of_a_plate():
    V = space(shell({"top": sheet()}))
    boards = boards_of(V, None)
    one, other = (boards.moving(shape_of(V, lift(w)))["top"] for w in (lambda x, y: x, lambda x, y: y))
    assert one.topology is other.topology is turned(one).topology
    assert one.topology.edges is other.topology.edges


across = lambda x, y: np.cos(np.pi * y / 0.3)
bump = lambda x0, y0, size, r=0.05: lambda x, y: size * np.exp(-((x - x0) ** 2 + (y - y0) ** 2) / r**2)
MADE = {
    "one": (lambda x, y: np.sin(np.pi * x / 0.4) * across(x, y), [1]),
    "one, with a dent of half its height": (lambda x, y: bump(0.12, 0.02, 1)(x, y) + bump(0.23, -0.03, 0.9)(x, y), [1]),
    "two, of different size": (lambda x, y: bump(0.1, 0.05, 1)(x, y) + bump(0.3, -0.04, -0.5)(x, y), [1, -1]),
    "two that move one way, still between them": (lambda x, y: bump(0.08, -0.09, 1, 0.03)(x, y) + bump(0.31, 0.1, 0.7, 0.03)(x, y), [1, 1]),
    "three along": (lambda x, y: np.sin(3 * np.pi * (x / 0.4) ** 1.3) * across(x, y), [1, -1, 1]),
    "three, two of them weak": (lambda x, y: bump(0.2, 0, 1)(x, y) - bump(0.05, 0.02, 0.3, 0.04)(x, y) - bump(0.36, 0, 0.2, 0.04)(x, y), [1, -1, -1]),
    "a ring about a middle": (lambda x, y: np.where((r := np.hypot(x - 0.19, y + 0.01)) < 0.15, np.where(r < 0.05, 1, 0.6) * np.cos(10 * np.pi * r), 0), [1, -1]),
    "a saddle": (lambda x, y: (x - 0.17) * (y - 0.02), [1, 1, -1, -1]),
    "a saddle whose lines just miss each other": (lambda x, y: (x - 0.17) * (y - 0.02) / 0.034 + 0.03, [1, 1, -1, -1]),
    "nine": (lambda x, y: np.sin(3 * np.pi * x / 0.4) * np.cos(3 * np.pi * y / 0.3), [1] * 4 + [-1] * 5),
}  # fmt: skip


@pytest.mark.parametrize("kind", MADE)
@pytest.mark.parametrize("noise", [0.0, 0.02])
@pytest.mark.parametrize("size", [1.0, -1e-7])
def test_areas_are_counted_by_topology(kind, noise, size):
    """However far the plate moves, either way, and with a ripple of 2 % that is at each point another."""
    w, ways = MADE[kind]
    rough = np.random.default_rng(5)
    field = plate_field(lambda x, y: (v := w(x, y)) + noise * np.abs(v).max() * rough.uniform(-1, 1, x.shape), 20, 15)
    found = areas(turned(field, size))
    assert sorted(np.sign(a.share) for a in found) == sorted(np.sign(size) * way for way in ways)
    assert abs(found[0].share) == 1 and np.all(np.diff([abs(a.share) for a in found]) <= 0)


def test_single_points_that_stand_out_are_no_areas():
    still = plate_field(lambda x, y: 0 * x)
    apart = [(x, y) for x in (0.1, 0.2, 0.3) for y in (-0.1, 0.0, 0.1)]
    at = [int(np.argmin(np.hypot(*(still.points[:, :2] - place).T))) for place in apart]
    rough = replace(still, value=np.zeros(len(still.points)))
    rough.value[at] = np.resize([1.0, -1.0, 0.8], 9)
    assert areas(rough) == []
    assert plate_words({"top": rough}) == "top moves in patches too small to tell apart"


def test_an_area_that_a_line_closes_round_is_told():
    middle, edge = areas(plate_field(MADE["a ring about a middle"][0]))
    assert middle.inner and not edge.inner and middle.centre == pytest.approx([0.19, -0.01, 0], abs=5e-3)
    assert not any(area.inner for area in areas(plate_field(MADE["three along"][0])))


def test_smoothing_keeps_ends_and_straight_lines():
    line = np.column_stack([np.arange(20.0), 2 * np.arange(20.0)])
    assert smoothed(line) == pytest.approx(line)
    kinked = line + np.column_stack([np.zeros(20), np.where(np.arange(20) == 10, 1.0, 0)])
    assert np.ptp(smoothed(kinked)[:, 1] - line[:, 1]) < 0.3
    assert smoothed(kinked)[[0, -1]] == pytest.approx(kinked[[0, -1]])
    angle = np.linspace(0, 2 * np.pi, 60)
    ring = smoothed(np.column_stack([np.cos(angle), np.sin(angle)]))
    assert ring[0] == pytest.approx(ring[-1]) and np.hypot(*ring.T) == pytest.approx(0.97, abs=0.02)


def test_the_edge_of_a_plate_with_a_hole_is_two_loops():
    field = plate_field(lambda x, y: x)
    middle = field.points[field.triangles].mean(axis=1)
    pierced = replace(field, topology=Topology(field.triangles[np.hypot(middle[:, 0] - 0.2, middle[:, 1]) > 0.05]))
    outer, inner = outer_loops(pierced)
    assert np.ptp(field.points[outer], axis=0) == pytest.approx([0.4, 0.3, 0])
    assert np.all(np.hypot(field.points[inner, 0] - 0.2, field.points[inner, 1]) < 0.08)


# --- colours ---


def lightness(rgb):
    """CIE L* of sRGB colours (n, 3) in 0..1, IEC 61966-2-1 and CIE 15."""
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    Y = linear @ [0.2126, 0.7152, 0.0722]
    return 116 * np.cbrt(Y) - 16


def test_lightness_climbs_evenly_from_inward_to_outward():
    L = lightness(SCALE(np.linspace(0, 1, 11))[:, :3])
    assert np.diff(L) == pytest.approx(np.full(10, np.diff(L).mean()), rel=0.12)  # 8-bit colours
    assert L[-1] - L[0] > 60


# Machado, Oliveira & Fernandes, IEEE Trans. Vis. Comput. Graph. 15:1291 (2009), severity 1, on linear sRGB; from memory
BLINDNESS = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


@pytest.mark.parametrize("kind", BLINDNESS)
def test_colour_blind_readers_see_the_same_order(kind):
    """Every step towards outward is lighter by at least half an even step; each row of the matrix keeps grey grey."""
    matrix = np.array(BLINDNESS[kind])
    assert matrix.sum(axis=1) == pytest.approx(1, abs=2e-3)
    rgb = SCALE(np.linspace(0, 1, 11))[:, :3]
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = (linear @ matrix.T).clip(0, 1)
    L = 116 * np.cbrt(seen @ [0.2126, 0.7152, 0.0722]) - 16
    assert np.diff(L).min() > 0.5 * np.diff(L).mean() and L[-1] - L[0] > 55


def picture(w, folder, width_mm=120.0, marks=True):
    field = plate_field(w)
    board = sampler(V := space(shell({"top": sheet(16, 12)})), V.mesh.surfaces["top"].triangles)
    figure = plan_figure(
        {"top": plate_plan("top", board)}, Motion({"top": field}, field.largest), width_mm, style=Style(marks=marks)
    )
    return save(figure, folder / "plate", (".png", ".svg", ".pdf"))


def test_a_grey_copy_tells_in_from_out(tmp_path):
    """Bass half outward, treble half inward: facing the top the bass side is on the left, and lighter."""
    png, _, _ = picture(lambda x, y: np.sign(y) * np.abs(y) ** 0.5, tmp_path, marks=False)
    grey = np.asarray(Image.open(png).convert("L"), float)
    wide = grey.shape[1]
    left, right = grey[:, wide // 8 : wide // 3], grey[:, -wide // 3 : -wide // 8]
    assert np.median(left) > np.median(right) + 80


def test_print_width_and_resolution(tmp_path):
    png, svg, pdf = picture(lambda x, y: x - 0.1, tmp_path, width_mm=84.0)
    image = Image.open(png)
    assert image.width == pytest.approx(84 / 25.4 * 300, abs=1)
    assert image.info["dpi"] == pytest.approx((300, 300), abs=0.5)
    assert "<text" not in svg.read_text() and pdf.read_bytes()[:4] == b"%PDF"
    before = svg.read_bytes()
    picture(lambda x, y: x - 0.1, tmp_path, width_mm=84.0)
    assert svg.read_bytes() == before  # same input, same file


# --- a guitar ---


@pytest.fixture(scope="module")
def guitar():
    """Body of the example sheet, a coarse mesh of it and a made-up mode: the top's bass side out, the back still."""
    from pathlib import Path

    import meshes
    from meshes.build import mesh_body
    from meshes.sheet import read_sheet

    body = read_sheet(Path(meshes.__file__).parent / "bodies" / "hazel.toml")
    V = space(mesh_body(body, 0.045))
    on_top = lambda p: (p[:, 2] > -0.02) & (p[:, 0] < body.outline.length)
    rocking = shape_of(V, lambda p: np.column_stack([0 * p[:, :2], np.where(on_top(p), p[:, 1], 0.0)]))
    pumping = shape_of(V, lambda p: np.column_stack([0 * p[:, :2], np.where(on_top(p), -np.sin(6 * p[:, 0]), 0.0)]))
    return body, V, np.column_stack([rocking, pumping])


def test_the_back_is_mirrored_as_a_reader_facing_it_sees_it(guitar):
    body, V, _ = guitar
    for name, side in (("top", -1), ("back", 1)):
        board = on_true_curves(sampler(V, V.mesh.surfaces[name].triangles, 2), body)
        plate = plate_plan(name, board, body)
        bass = board.points[:, 1] > 0.05
        assert np.all(np.sign(plate.plan[bass, 0]) == side) and RIGHT[name] == side
        assert np.ptp(plate.plan[:, 1]) == pytest.approx(body.outline.length, abs=1e-4)  # neck upward
        assert np.argmax(plate.plan[:, 1]) == np.argmax(board.points[:, 0])
    treble_end = body.braces[0].end  # 'cross bass' ends at the upper treble side: right of the middle, facing the top
    shapes = plate_plan("top", sampler(V, V.mesh.surfaces["top"].triangles, 1), body).under
    assert treble_end[1] < 0 and shapes[0][:, 0].max() == pytest.approx(-treble_end[1], abs=0.01)


def test_the_rim_follows_the_drawn_outline_not_the_mesh(guitar):
    """Chords of a 45 mm mesh miss the outline by a millimetre or more; moved points lie on it."""
    from meshes.outline import distance

    body, V, _ = guitar
    board = sampler(V, V.mesh.surfaces["top"].triangles, 4)
    rim = np.unique(np.concatenate(outer_loops(board)[:1]))
    off = np.abs(distance(body.outline, board.points[rim, :2])).max()
    moved = np.abs(distance(body.outline, on_true_curves(board, body).points[rim, :2])).max()
    assert off > 5e-4 and moved < 2e-5


def test_no_triangle_is_turned_over_by_a_shift():
    """Flat triangles over a chord, some of whose corners are pulled beyond their tips: these stay, the others move."""
    x = np.linspace(0, 1, 6)
    plan = np.concatenate(
        [np.column_stack([x, 0 * x]), np.column_stack([x[:-1] + 0.1, 0 * x[:-1] + 0.02]), [[0.5, 1.0]]]
    )
    i = np.arange(4)
    flat = np.column_stack([np.arange(5), np.arange(1, 6), np.arange(6, 11)])
    between = np.column_stack([i + 1, i + 7, i + 6])
    triangles = np.concatenate([flat, between, np.column_stack([i + 6, i + 7, np.full(4, 11)])])
    shift = np.zeros_like(plan)
    shift[:6, 1] = [0.01, 0.0, 0.05, 0.05, 0.0, 0.01]

    def turn(p):
        (ax, ay), (bx, by) = ((p[triangles[:, k]] - p[triangles[:, 0]]).T for k in (1, 2))
        return ax * by - ay * bx

    assert (turn(plan + shift) * turn(plan) < 0).sum() >= 3
    found = unturned(plan, triangles, shift)
    assert np.all(turn(plan + found) * turn(plan) > 0)
    assert found[:6, 1] == pytest.approx([0.01, 0, 0, 0, 0, 0.01])
    assert unturned(plan, triangles, 0.2 * shift) == pytest.approx(0.2 * shift)


def test_everything_is_drawn_with_captions(guitar, tmp_path):
    body, V, shape = guitar
    said = []
    caption = Caption(build="Hazel, kerfed linings", mesh_error=[0.004, 0.012])
    paths = draw_modes(
        Shapes(V, body, [101.26, 202.5], shape, ["rocking", "pumping"]),
        tmp_path,
        caption,
        perspectives=1,
        say=said.append,
    )
    names = {p.name for p in paths}
    assert {"mode-01-plan.svg", "mode-01-plan.pdf", "mode-01-plan.png", "mode-01-plan-dark.png", "mode-01-plan.txt",
            "mode-02-plan.txt", "modes-contact-sheet.pdf", "modes-contact-sheet-dark.png", "modes-contact-sheet.txt",
            "mode-01-perspective.png", "mode-01-perspective.txt"} <= names  # fmt: skip
    assert all(p.stat().st_size > 100 for p in paths)
    words = (tmp_path / "mode-01-plan.txt").read_text()
    for said_there in ("101.3 Hz", "mesh error about 0.4 %", "rocking", "Computed", "dry (without air)", "Hazel, kerfed linings",
                       "free", "Computed with Rimwork", "neck"):  # fmt: skip
        assert said_there in words
    assert "1.2 %" in (tmp_path / "mode-02-plan.txt").read_text()
    assert any("contact sheet" in s for s in said) and any("mode 2" in s for s in said)
    front = np.asarray(Image.open(tmp_path / "mode-01-perspective.png").convert("RGB"), float)
    assert (np.abs(front - front[0, 0]).max(axis=2) > 30).mean() > 0.25  # the guitar fills a good part of the page


def test_without_opengl_matplotlib_draws_and_says_why(guitar, tmp_path, monkeypatch):
    body, V, shape = guitar
    lame = system_check.Check(
        system_check.PERSPECTIVE, False, ("libEGL.so.1",), "the system has no libEGL.so.1; plainer"
    )
    monkeypatch.setattr(system_check, "works", lambda name: lame)
    monkeypatch.setattr(perspective, "draw_with_pyvista", lambda *a: pytest.fail("must not touch OpenGL"))
    said = []
    draw_modes(Shapes(V, body, [100.0], shape[:, :1]), tmp_path, perspectives=1, say=said.append)
    assert any("libEGL.so.1" in s for s in said)
    assert "libEGL.so.1" in (tmp_path / "mode-01-perspective.txt").read_text()
    page = np.asarray(Image.open(tmp_path / "mode-01-perspective.png").convert("RGB"), float)
    assert page.shape[1] == pytest.approx(1417, abs=2)
    assert (page.min(axis=2) < 250).mean() > 0.25 and page[0, 0] == pytest.approx([255] * 3)


def test_where_opengl_was_not_checked_a_fault_leads_to_matplotlib(guitar, tmp_path, monkeypatch):
    """As in the process that draws beside the computation, which may die of it."""
    body, V, shape = guitar
    lame = system_check.Check(system_check.PERSPECTIVE, False, (), "the system has no GL; plainer")
    monkeypatch.setattr(system_check, "works", lambda name: lame)
    monkeypatch.setattr(perspective, "FINER", 1)
    tried = []

    def fails(*given):
        tried.append(given)
        raise RuntimeError("no display")

    monkeypatch.setattr(perspective, "draw_with_pyvista", fails)
    ready = pictures.pictures_of_modes(Shapes(V, body, [100.0, 200.0], shape), tmp_path, perspectives=2)
    shots = [one for one in ready if isinstance(one, Shot)]
    drawn = list(drawn_one_by_one(shots, unchecked=True))
    assert len(drawn) == 2 and len(tried) == 1
    assert all("the system has no GL" in files[-1].read_text() for files in drawn)


def test_builds_share_sign_and_scale(guitar):
    """A build that moves half as far, solved with the opposite sign, comes out in phase and half as strong."""
    body, V, shape = guitar
    boards = boards_of(V, body, 1)
    first = pictures.mode_of(Shapes(V, body, [100.0, 200.0], shape), boards, 1)
    other = pictures.mode_of(Shapes(V, body, [100.0, 200.0], -0.5 * shape, reference=shape), boards, 1)
    assert other.motion.largest == pytest.approx(first.motion.largest)
    assert other.motion.fields["top"].value == pytest.approx(0.5 * first.motion.fields["top"].value)
    assert first.motion.fields["top"].value.max() == pytest.approx(first.motion.largest)


def test_plain_words_for_a_mode(guitar):
    body, V, shape = guitar
    boards = boards_of(V, body, 2)
    label = lambda u: pictures.mode_of(Shapes(V, body, [100.0], u), boards, 0).label
    assert label(shape[:, :1]) == "top rocks across its width (1, 2); back hardly moves"
    beyond = lambda p: p[:, 0] > body.outline.length + 0.02
    for along, words in ((1, "neck bends sideways"), (2, "neck bends up and down")):
        swing = shape_of(V, lambda p, k=along: np.where(beyond(p), 1.0, 1e-3)[:, None] * np.eye(3)[k])
        assert label(swing[:, None]).startswith(words + ";")
    twist = shape_of(V, lambda p: np.column_stack([0 * p[:, :2], np.where(beyond(p), p[:, 1], 1e-5)]))
    assert label(twist[:, None]) == "neck twists; plates hardly move"


def test_words_for_what_the_plates_do():
    top = lambda w: plate_field(w)
    back = lambda w: turned(plate_field(w))  # a back's outward is the other way: here only the sign counts
    dome = lambda x, y: np.sin(np.pi * x / 0.4) * np.cos(np.pi * y / 0.3)
    halves = lambda x, y: np.sin(2 * np.pi * x / 0.4) * np.cos(np.pi * y / 0.3)
    sides = lambda x, y: np.sin(np.pi * x / 0.4) * np.sin(2 * np.pi * y / 0.3)
    three = lambda x, y: np.sin(3 * np.pi * x / 0.4) * np.cos(np.pi * y / 0.3)
    grid = lambda x, y: np.sin(2 * np.pi * x / 0.4) * np.sin(2 * np.pi * y / 0.3)
    aslant = lambda x, y: bump(0.09, 0.07, 1)(x, y) - bump(0.31, -0.07, 0.8)(x, y)
    beside = lambda x, y: bump(0.08, -0.05, 1, 0.04)(x, y) + bump(0.31, -0.05, 0.8, 0.04)(x, y)
    low = lambda x, y: bump(0.25, 0, 1)(x, y) - bump(0.06, 0.01, 0.25, 0.04)(x, y)
    part = lambda w, size: lambda x, y: size * w(x, y)
    for first, second, words in (
        (dome, part(dome, -0.5), "top and back swell together (1, 1), the top further"),
        (dome, dome, "top and back move the same way (1, 1), the top further"),
        (part(dome, 0.1), halves, "back rocks along its length (2, 1); top moves 10 % as far"),
        (sides, part(dome, 0.01), "top rocks across its width (1, 2); back hardly moves"),
        (halves, halves, "top and back: each rocks along its length (2, 1)"),
        (aslant, part(dome, 0.5), "top rocks slantwise; back swells as one (1, 1)"),
        (beside, part(dome, 0.5), "top swells in two areas, one behind the other; back swells as one (1, 1)"),
        (low, part(dome, -0.5), "top and back swell together, the top further; the top's lower end against it"),
        (part(low, 0.7), part(low, -1), "top and back swell together, the back further; their lower ends against it"),
        (MADE["a ring about a middle"][0], part(halves, 0.5), "top swells, its edge against it; back rocks along its length (2, 1)"),
        (MADE["three, two of them weak"][0], part(dome, 0.03), "top swells, two weaker areas beside it; back hardly moves"),
        (three, part(dome, 0.02), "top moves in three areas, one behind the other (3, 1); back hardly moves"),
        (grid, part(dome, 0.02), "top moves in four areas, two along by two across (2, 2); back hardly moves"),
        (part(dome, 0.01), part(dome, 0.01), "plates hardly move"),
    ):  # fmt: skip
        fields = {"top": top(first), "back": back(second)}
        assert plate_words(fields, still_plates(fields, 1.0)) == words


def test_a_back_with_three_areas_is_not_said_to_swell_as_one():
    """However weak two of them are, as long as a step of colour shows them."""
    for weak in (0.12, 0.2, 0.3, 0.38, 0.6, 1.0):
        w = lambda x, y, v=weak: (
            bump(0.2, 0, 1)(x, y) - v * (bump(0.04, 0.02, 1, 0.04)(x, y) + bump(0.37, 0, 1, 0.04)(x, y))
        )
        words = plate_words({"back": plate_field(w, 20, 15)})
        assert "as one" not in words and ("two weaker areas" in words or "three areas" in words)


def test_a_box_that_moves_as_a_whole_is_called_so():
    rigid = lambda p: np.column_stack([0 * p[:, :2], p[:, 0] - 0.2])
    V = space(shell({"top": sheet(16, 12), "back": sheet(16, 12, z=-0.1, up=-1)}))
    fields = {name: mode_field(V, shape_of(V, rigid), name) for name in ("top", "back")}
    assert plain_label(V, fields, shape_of(V, rigid)) == "box rocks end to end"
    tilting = lambda p: np.column_stack([0 * p[:, :2], p[:, 1]])
    fields = {name: mode_field(V, shape_of(V, tilting), name) for name in ("top", "back")}
    assert plain_label(V, fields, shape_of(V, tilting)) == "box rocks from side to side"


def test_words_tell_of_the_motion_that_is_drawn():
    """Top and back each move as one area on a rim that tilts the other way: a line crosses both, and the words say so."""
    V = space(shell({"top": sheet(16, 12), "back": sheet(16, 12, z=-0.1, up=-1)}))
    dome = lambda p: np.sin(np.pi * p[:, 0] / 0.4) * np.cos(np.pi * p[:, 1] / 0.3)
    for tilt, words in (
        (0.0, "top and back swell together (1, 1), the top further"),
        (1.2, "top and back swell together, the top further; the top's lower end and the back's upper end against it"),
    ):
        w = np.where(V.points[:, 2] > -0.05, 1.0, -0.8) * dome(V.points) + tilt * (V.points[:, 0] - 0.2)
        shape = shape_of(V, lambda p, w=w: np.column_stack([0 * p[:, :2], w]))
        fields = {name: mode_field(V, shape, name) for name in ("top", "back")}
        assert plain_label(V, fields, shape) == words
        assert [len(nodal_lines(f)) for f in fields.values()] == [bool(tilt)] * 2


def test_no_two_captions_are_alike():
    assert distinct(["a", "b", "a"]) == ["a (first of its kind)", "b", "a (second of its kind)"]


def test_a_plate_that_hardly_moves_is_drawn_at_rest_and_said_to_be(guitar, tmp_path):
    """Plates that run from plus to minus have their line and colours beside a neck that moves ten times as far; at a
    fiftieth of its motion they are said to hardly move, and drawn without either."""
    body, V, _ = guitar
    beyond = lambda p: p[:, 0] > body.outline.length + 0.02
    for ripple, lines in ((0.02, False), (0.1, True)):
        u = lambda p, r=ripple: np.column_stack([0 * p[:, :2], np.where(beyond(p), 1.0, r * np.sin(8 * p[:, 0]))])
        shapes = Shapes(V, body, [50.0], shape_of(V, u)[:, None])
        (mode,) = pictures.modes_to_draw(shapes, 1)
        assert mode.motion.furthest == pytest.approx(1.0)
        drawn = pictures.Stage(V, body, 2).scene(mode, shapes)
        assert any(kind == "node" for _, _, kind in drawn.lines) == lines
        assert [bool(mode.motion.lines(name)) for name in ("top", "back")] == [lines] * 2
        assert [mode.motion.still(name) for name in ("top", "back")] == [not lines] * 2
        assert ("plates hardly move" in mode.label) != lines
        said = "The top and the back hardly move: they are drawn at rest, without lines" in " ".join(mode.remarks)
        assert said != lines
        figure = plan_figure(boards_of(V, body).plates, mode.motion, 40.0, style=Style(marks=False))
        (png,) = save(figure, tmp_path / "plates", (".png",))
        pixels = np.asarray(Image.open(png), int)
        yellow = (pixels[..., 0] - pixels[..., 2] > 60).mean()
        assert (yellow > 0.05) == lines


def test_the_neck_is_a_closed_solid_that_turns_with_its_strip(guitar):
    body, V, _ = guitar
    solid = neck_solid(V, body)
    edges = np.sort(solid.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()
    p = solid.points[solid.triangles]
    volume = np.sum(np.cross(p[:, 0], p[:, 1]) * p[:, 2]) / 6  # positive: faces look outward
    neck = body.neck
    plain = (neck.length + neck.head_length) * neck.width * (neck.thickness + neck.fingerboard_thickness)
    assert plain < volume < plain + neck.heel_depth * neck.heel_length * neck.width
    axis = np.array([0.02, -0.01, 0.03])
    rigid = np.hstack([np.cross(axis, V.points), np.tile(axis, (len(V.points), 1))]).ravel()
    assert solid.displacement(rigid) == pytest.approx(np.cross(axis, solid.points), abs=1e-12)
    assert neck_solid(V, replace(body, neck=None)) is None


def test_head_and_tuners_are_plain_shapes_beyond_the_nut(guitar):
    body, V, _ = guitar
    solid, nut = neck_solid(V, body), body.outline.length + body.neck.length
    corners = lambda stuff: solid.points[np.unique(solid.triangles[solid.stuff == stuff])]
    board, wood, metal = (corners(stuff) for stuff in (BOARD, WOOD, METAL))
    assert board[:, 0].max() == pytest.approx(nut) and np.ptp(board[:, 2]) == pytest.approx(
        body.neck.fingerboard_thickness, rel=0.2
    )
    head = wood[wood[:, 0] > nut + 1e-6]
    assert wood[:, 0].max() == pytest.approx(nut + body.neck.head_length)
    assert np.ptp(head[:, 1]) > 1.3 * np.ptp(board[np.abs(board[:, 0] - nut) < 1e-6, 1])
    assert len(metal) == 6 * 8 and np.abs(metal[:, 1]).min() > 0.02 and (metal[:, 1] > 0).sum() == 24
    assert metal[:, 0].min() > nut and metal[:, 0].max() < nut + body.neck.head_length


def test_the_back_is_the_same_guitar_turned_end_over_end(guitar):
    """Bass left in both views, as on one guitar that is turned about a line across it; the neck up, then down."""
    body, V, shape = guitar
    shapes = Shapes(V, body, [100.0, 200.0], shape)
    drawn = pictures.Stage(V, body, 1).scene(pictures.modes_to_draw(shapes, 1)[0], shapes)
    L = body.outline.length
    for view, up, sees in (("from the front", 1, 1), ("from behind, neck down", -1, -1)):
        seen = perspective.view_from(drawn.rest, view, 1.2)
        bass, treble, head, tail = perspective.projected(
            np.array([[0.3 * L, 0.1, 0], [0.3 * L, -0.1, 0], [2 * L, 0, 0], [0, 0, 0.0]]), seen
        )
        assert bass[0] < treble[0] and up * (head[1] - tail[1]) > 0.5
        assert sees * seen.axes[2, 2] > 0.5
    narrow = drawn.bass[0]
    assert narrow[1] > 0.05 and 0.45 * L < narrow[0] < 0.8 * L  # the waist


def test_sides_are_coloured_by_a_scale_of_their_own(guitar):
    """A rim that moves 3 % of the top's furthest runs through all colours, and the caption says what they stand for; one that
    moves .1 % does not."""
    body, V, _ = guitar
    top = lambda p: (p[:, 2] > -0.02) & (p[:, 0] < body.outline.length)
    for rim, told, most in ((0.03, 3.0, 1.0), (0.001, 2.0, 0.05)):
        u = lambda p, r=rim: np.column_stack(
            [np.zeros(len(p)), r * np.sign(p[:, 1]), np.where(top(p), p[:, 0] / body.outline.length, 0)]
        )
        shapes = Shapes(V, body, [100.0], shape_of(V, u)[:, None])
        (mode,) = pictures.modes_to_draw(shapes, 1)
        stage = pictures.Stage(V, body, 1)
        drawn, side = stage.scene(mode, shapes), perspective.upright(stage.box.normal)
        assert np.abs(drawn.value[: len(side)][side]).max() == pytest.approx(
            most, rel=0.08
        )  # both furthest places as sampled
        assert np.abs(drawn.value[: len(side)][~side]).max() == pytest.approx(1.0, rel=0.08)  # coarser sampling
        said = re.search(
            r"full colour there is ([\d.]+) % of the plates' full scale", " ".join(stage.words(mode, shapes))
        )
        assert said and float(said[1]) == pytest.approx(told, rel=0.1)


def test_the_fingerboards_end_lies_on_the_top_in_perspective(guitar):
    body, V, shape = guitar
    shapes = Shapes(V, body, [100.0, 200.0], shape)
    drawn = pictures.Stage(V, body, 2).scene(pictures.modes_to_draw(shapes, 1)[0], shapes, part=0.0)
    end = drawn.points[np.unique(drawn.triangles[drawn.stuff == BOARD])]
    end = end[end[:, 0] < body.outline.length - 1e-6]
    assert end[:, 0].min() == pytest.approx(body.outline.length - body.neck.tongue, abs=1e-6)
    assert np.abs(end[:, 1]).max() == pytest.approx(body.neck.width / 2, abs=1e-6)
    above = end[:, 2] - top_height(body, end[:, 0], end[:, 1])
    assert above.min() == pytest.approx(0, abs=1e-3) and above.max() == pytest.approx(
        body.neck.fingerboard_thickness, abs=1e-3
    )


def test_light_falls_on_the_perspective():
    """Lighter than the printed scale, in the same order; what is at rest is no dark grey."""
    L = lightness(perspective.light_steps())
    print_L = lightness(steps_of_colour()[:, :3])
    assert np.all(L > print_L) and np.all(np.diff(np.delete(L, 10)) > 1) and L[10] == L[9] > 68


@pytest.mark.parametrize("way", ["draw_with_pyvista", "draw_with_matplotlib"])
def test_both_ways_of_drawing_show_the_same(guitar, way, monkeypatch):
    """The bass half yellow, the treble half blue, on the left and the right of the front view; words beneath and beside."""
    if way == "draw_with_pyvista" and not system_check.works(system_check.PERSPECTIVE).works:
        pytest.skip("no OpenGL here")
    monkeypatch.setattr(perspective, "FINER", 1)
    body, V, shape = guitar
    shapes = Shapes(V, body, [100.0, 200.0], shape)
    drawn = pictures.Stage(V, body, 2).scene(pictures.modes_to_draw(shapes, 1)[0], shapes)
    page = getattr(perspective, way)(drawn, THEMES["light"], 80.0, 100).astype(float)
    high, wide = page.shape[0] - round(perspective.WORDS / 25.4 * 100), page.shape[1] // 2
    seen = perspective.view_from(drawn.rest, "from the front", high / wide)
    L = body.outline.length
    places = perspective.projected(np.array([[0.3 * L, y, 0.0] for y in (0.11, -0.11)]), seen) / seen.height * high
    warm = []
    for x, y in places:
        row, column = round(high / 2 - y), round(wide / 2 + x)
        patch = page[row - 3 : row + 4, column - 3 : column + 4]
        warm.append(float((patch[..., 0] - patch[..., 2]).mean()))
    assert warm[0] > 25 and warm[1] < -15
    assert page[high:].min() < 150 and page[high:, :4].min() > 250  # words in the strip beneath


def test_the_fingerboards_end_is_drawn_on_the_top(guitar):
    body, V, _ = guitar
    plate = plate_plan("top", sampler(V, V.mesh.surfaces["top"].triangles, 1), body)
    end = plate.on_top[-1]
    assert np.ptp(end, axis=0) == pytest.approx([body.neck.width, body.neck.tongue])
    assert end[:, 1].max() == pytest.approx(body.outline.length)


def test_the_furthest_place_is_painted(tmp_path):
    """Values at the very end of the scale, and beyond it on a smaller reference's scale, leave no hole."""
    field = plate_field(lambda x, y: np.sin(np.pi * x / 0.4) * np.cos(np.pi * y / 0.3))
    board = sampler(V := space(shell({"top": sheet(16, 12)})), V.mesh.surfaces["top"].triangles)
    figure = plan_figure(
        {"top": plate_plan("top", board)}, Motion({"top": field}, 0.7 * field.largest), style=Style(marks=False)
    )
    (png,) = save(figure, tmp_path / "plate", (".png",))
    page = np.asarray(Image.open(png).convert("RGB"), int)
    middle = page[page.shape[0] // 2 - 40 : page.shape[0] // 2 + 40, page.shape[1] // 2 - 40 : page.shape[1] // 2 + 40]
    assert np.abs(middle - [255, 233, 141]).max(axis=2).mean() < 12  # the scale's lightest tone, not the page


# --- foreign meshes ---


def test_only_level_groups_of_the_right_name_are_shown_in_plan():
    level, tilted = sheet(), (sheet()[0] @ np.array([[0.6, 0, 0.8], [0, 1, 0], [-0.8, 0, 0.6]]).T, sheet()[1])
    assert plates_of(shell({"top": level, "back": sheet(z=-0.1, up=-1)})) == ["top", "back"]
    assert plates_of(shell({"lid": level})) == []
    assert plates_of(shell({"top": tilted})) == []
    assert plates_of(shell({"top": sheet(up=-1)})) == []


def test_a_foreign_mesh_without_a_top_is_drawn_in_perspective_only(tmp_path, monkeypatch):
    lame = system_check.Check(system_check.PERSPECTIVE, False, (), "not tried")
    monkeypatch.setattr(system_check, "works", lambda name: lame)
    V = space(shell({"lid": sheet()}))
    shape = shape_of(V, lift(lambda x, y: np.sin(np.pi * x / 0.4) * y))[:, None]
    paths = draw_modes(Shapes(V, None, [80.0], shape), tmp_path)
    assert {p.name for p in paths} == {f"mode-01-perspective{end}" for end in (".png", "-dark.png", ".txt")}
    assert "neck is part" not in (tmp_path / "mode-01-perspective.txt").read_text()


def test_a_foreign_mesh_with_a_top_has_plan_views(tmp_path, monkeypatch):
    monkeypatch.setattr(system_check, "works", lambda name: system_check.Check(name, False, (), "not tried"))
    V = space(shell({"top": sheet()}))
    shape = shape_of(V, lift(lambda x, y: np.sin(np.pi * x / 0.4) * y))[:, None]
    names = {p.name for p in draw_modes(Shapes(V, None, [80.0], shape), tmp_path, perspectives=0)}
    assert "mode-01-plan.svg" in names and "mode-01-perspective.png" not in names


def test_a_mode_that_does_not_move_the_plates_is_no_error(tmp_path, monkeypatch):
    V = space(shell({"top": sheet()}))
    paths = draw_modes(Shapes(V, None, [80.0], np.zeros((V.size, 1))), tmp_path, perspectives=0)
    assert "plates hardly move" in next(p for p in paths if p.name == "mode-01-plan.txt").read_text()
    still = Field(np.eye(3), Topology(np.array([[0, 1, 2]])), np.zeros(3), np.zeros((3, 3)))
    assert phase(still) == 1 and nodal_lines(still) == [] and areas(still) == []
