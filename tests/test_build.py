"""The mesh of the assembled box against geometry worked out apart from it: areas, volume, seams, braces, grain, masses."""

from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest

from fem.eigen import modes
from fem.energies import masses
from fem.mesh import areas
from fem.model import assemble, weights
from meshes import describe
from meshes.body import back_height, top_height
from meshes.build import mesh_body
from meshes.joint_geometry import LAND
from meshes.outline import distance, point_at
from meshes.parts import sections

SIZE = 0.05
FACETS = 0.006  # chords of .35 of the radius of a bend: (.35)^2 / 24 = .5 % of the length, about as much of the area


@pytest.fixture(scope="module", params=["hazel", "linnet"])
def box(request):
    """(body, mesh) of both example sheets."""
    body = cases.example(request.param)
    return body, mesh_body(body, SIZE)


@pytest.fixture(scope="module")
def solved(box):
    """(body, mesh, model, first modes)."""
    body, mesh = box
    model = assemble(mesh)
    return body, mesh, model, modes(model, weights(sections(body)), 6)


def of(mesh, name):
    return mesh.triangles[mesh.surfaces[name].triangles]


def mass_by_area(mesh, body, part):
    """Mass of the surfaces of a part [kg] from mesh areas and areal masses."""
    found = sections(body)
    return sum(
        areas(mesh, s.triangles).sum() * found[region].mass["m0"]
        for region, s in mesh.surfaces.items()
        if region.split("/")[0] == part
    )


# --- shape ---


def test_areas_are_those_of_the_drawing(box):
    """Outline polygon, developed side and doming, computed by describe.py from the drawing alone."""
    body, mesh = box
    told = describe.areas(body)
    for part in ("back", "sides"):
        assert areas(mesh, mesh.surfaces[part].triangles).sum() == pytest.approx(told[part], rel=FACETS)
    hole = cases.shoelace(mesh.nodes[cases.loop_of(mesh.edges["soundhole"]), :2])
    top = areas(mesh, mesh.surfaces["top"].triangles).sum() + hole
    assert top == pytest.approx(told["top"] + told["soundhole"], rel=FACETS)


def test_plates_fill_their_polygon_once(box):
    """Seen from above, the triangles cover the outline's polygon, less the hole's, without gap or overlap."""
    _, mesh = box
    for plate, hole in (("top", True), ("back", False)):
        p = mesh.nodes[of(mesh, plate)][:, :, :2]
        u, v = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
        covered = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum() / 2
        polygon = cases.shoelace(mesh.nodes[cases.loop_of(mesh.edges[f"{plate}_edge"]), :2])
        if hole:
            polygon -= cases.shoelace(mesh.nodes[cases.loop_of(mesh.edges["soundhole"]), :2])
        assert covered == pytest.approx(polygon, rel=1e-9)


def test_heights_are_those_of_the_sheet(box):
    body, mesh = box
    for plate, height in (("top", top_height), ("back", back_height)):
        nodes = mesh.nodes[np.unique(of(mesh, plate))]
        assert nodes[:, 2] == pytest.approx(height(body, *nodes[:, :2].T), abs=1e-12)
    for row in body.heights:  # as the maker measures it, along the side
        place, x, y, given = row
        if place == "tail":
            at = np.hypot(*(mesh.nodes[np.unique(of(mesh, "sides")), :2] - [x, y]).T) < 1e-6
            z = mesh.nodes[np.unique(of(mesh, "sides"))][at, 2]
            assert np.ptp(z) == pytest.approx(given, abs=1.5e-3)  # reconciled with the doming: check tells by how much


def test_air_inside_by_the_divergence_theorem(box):
    """Volume = sum of centre . normal area / 3 over the closed surface: positive only if normals point outward."""
    body, mesh = box
    every = np.concatenate([mesh.surfaces[p].triangles for p in ("top", "back", "sides")])
    centre = mesh.nodes[mesh.triangles[every]].mean(axis=1)
    volume = np.sum(np.sum(centre * mesh.normal[every], axis=1) * areas(mesh, every)) / 3
    rim = mesh.nodes[cases.loop_of(mesh.edges["soundhole"])]
    volume += cases.shoelace(rim[:, :2]) * rim[:, 2].mean() / 3  # the lid over the hole, normal +z
    assert volume == pytest.approx(describe.air_volume(body), rel=1.5 * FACETS)  # as area, and height at the rim


def test_each_normal_points_outward(box):
    body, mesh = box
    for t, normal in zip(mesh.triangles, mesh.normal):
        a, b, c = mesh.nodes[t]
        assert np.cross(b - a, c - a) @ normal > 0
    side = mesh.surfaces["sides"].triangles
    centre = mesh.nodes[mesh.triangles[side]].mean(axis=1)[:, :2]
    outside = distance(body.outline, centre + 0.012 * mesh.normal[side, :2])
    assert (outside < 0).all()
    assert (mesh.normal[mesh.surfaces["top"].triangles, 2] > 0.9).all()
    assert (mesh.normal[mesh.surfaces["back"].triangles, 2] < -0.9).all()


# --- topology ---


@pytest.mark.parametrize(("surface", "euler"), [("top", 0), ("back", 1), ("sides", 0)])
def test_conforming(box, surface, euler):
    """Two triangles on every inner edge, one on named edges, and the Euler number of a ring, a disc and a tube."""
    _, mesh = box
    edges, count = cases.edge_counts(of(mesh, surface))
    named = {"top": ("top_edge", "soundhole"), "back": ("back_edge",), "sides": ("rim_top", "rim_back")}[surface]
    assert set(count.tolist()) == {1, 2}
    assert cases.as_set(edges[count == 1]) == set().union(*(cases.as_set(mesh.edges[name]) for name in named))
    assert len(np.unique(edges)) - len(edges) + len(of(mesh, surface)) == euler


def test_every_node_is_used(box):
    _, mesh = box
    assert np.array_equal(np.unique(mesh.triangles), np.arange(len(mesh.nodes)))


@pytest.mark.parametrize("plate", ["top", "back"])
def test_seam_closes_the_box(box, plate):
    """Every outer edge of the plate lies on an edge of the sides, with nodes of its own."""
    _, mesh = box
    lined, blocks = (mesh.interface_springs[region] for region in (f"joint_{plate}", f"joint_{plate}/blocks"))
    on_plate, on_rim = (np.vstack([getattr(s, run) for s in (lined, blocks)]) for run in ("edges_a", "edges_b"))
    assert np.abs(mesh.nodes[on_plate] - mesh.nodes[on_rim]).max() < 1e-9
    assert not set(on_plate.ravel()) & set(on_rim.ravel())
    assert len(on_plate) == len(mesh.edges[f"{plate}_edge"])
    assert cases.as_set(on_plate) == cases.as_set(mesh.edges[f"{plate}_edge"])
    assert cases.as_set(on_rim) == cases.as_set(mesh.edges[f"rim_{plate}"])
    assert set(on_plate.ravel()) <= set(of(mesh, plate).ravel())
    assert set(on_rim.ravel()) <= set(of(mesh, "sides").ravel())
    for region in (f"{plate}/corner", f"sides/corner_{plate}"):
        assert np.array_equal(mesh.interface_springs[region].edges_a, lined.edges_a)
        assert np.array_equal(mesh.interface_springs[region].edges_b, lined.edges_b)


def test_seam_inward_points_into_the_body(box):
    body, mesh = box
    for interface_spring in mesh.interface_springs.values():
        ends = mesh.nodes[interface_spring.edges_a]
        along = ends[:, 1] - ends[:, 0]
        along /= np.linalg.norm(along, axis=1, keepdims=True)
        for inward in (*interface_spring.inward.swapaxes(0, 1), interface_spring.inward.mean(axis=1)):
            middle = ends.mean(axis=1)
            inner = distance(body.outline, (middle + 0.01 * inward)[:, :2])
            assert (inner > distance(body.outline, middle[:, :2]) + 0.006).all()
            assert np.abs(np.sum(along[:, :2] * inward[:, :2], axis=1)).max() < 0.35


@pytest.mark.parametrize("plate", ["top", "back"])
def test_frames_of_a_seam_are_those_of_the_solid(box, plate):
    """Edge, inward and out of the plate are right-handed on both plates; edges that meet have one inward there."""
    _, mesh = box
    spring = mesh.interface_springs[f"joint_{plate}"]
    ends = mesh.nodes[spring.edges_a]
    out = np.cross(ends[:, 1] - ends[:, 0], spring.inward.mean(axis=1))[:, 2]
    assert (np.sign(out) == {"top": 1, "back": -1}[plate]).all()
    at = {}
    for edge, inward in zip(spring.edges_a, spring.inward):
        for node, direction in zip(edge, inward):
            at.setdefault(node, []).append(direction)
    assert sum(len(found) == 2 for found in at.values()) > 0.8 * len(at)
    assert all(np.allclose(found[0], found[-1]) for found in at.values())


@pytest.mark.parametrize("plate", ["top", "back"])
def test_grain_over_a_seam_turns_with_the_edge(plate):
    """Angle from edge over inward to the grain, by hand; grain at 20 degrees, so that left and right differ."""
    body = cases.guitar()
    body = replace(body, **{plate: replace(getattr(body, plate), grain_angle=np.radians(20))})
    mesh = mesh_body(body, 0.06)
    spring = mesh.interface_springs[f"{plate}/corner"]
    ends = mesh.nodes[spring.edges_a][..., :2]
    along = ends[:, 1] - ends[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    inward = np.column_stack([-along[:, 1], along[:, 0]]) * (1 if plate == "top" else -1)
    wanted = np.array([np.cos(np.radians(20)), np.sin(np.radians(20))])
    c, s = np.cos(spring.angle), np.sin(spring.angle)
    assert c[:, None] * along + s[:, None] * inward == pytest.approx(np.tile(wanted, (len(along), 1)), abs=1e-9)


@pytest.mark.parametrize("plate", ["top", "back"])
def test_land_lies_along_the_linings(box, plate):
    """Its area is the edge beside the linings times LAND; no triangle of it reaches further in, its first axis is the edge's."""
    body, mesh = box
    land, spring = mesh.surfaces[f"{plate}/land"], mesh.interface_springs[f"joint_{plate}"]
    ends = mesh.nodes[spring.edges_a]
    run = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()
    assert areas(mesh, land.triangles).sum() == pytest.approx(run * LAND, rel=0.04)  # bends, block ends
    corners = mesh.nodes[mesh.triangles[land.triangles]]
    assert distance(body.outline, corners[..., :2].reshape(-1, 2)).max() < 1.35 * LAND
    middle = corners.mean(axis=1)
    nearest = np.argmin(np.linalg.norm(middle[:, None] - ends.mean(axis=1), axis=2), axis=1)
    along = (ends[:, 1] - ends[:, 0])[nearest, :2]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    assert np.mean(np.abs(np.sum(along * land.grain[:, :2], axis=1)) > 0.9) > 0.9
    assert set(land.triangles) <= set(mesh.surfaces[plate].triangles)


@pytest.mark.parametrize(
    "tables",
    [{}, {"neck": {"included": False}}, {"sides": {"inner_wood": "honduras_mahogany", "inner_thickness_mm": 1.5}},
     {"lining_top": {"kind": "none"}, "lining_back": {"kind": "none"}}, {"neck_block": {"height_mm": 60}},
     {"bridge_plate": {"included": False}, "side_bars": {"places_mm": [138, 298]}}],
)  # fmt: skip
def test_every_region_has_a_section_and_every_section_a_region(tables):
    """A region without a section would silently weigh nothing."""
    body = cases.guitar(**tables)
    mesh = mesh_body(body, 0.06)
    assert set(sections(body)) == {*mesh.surfaces, *mesh.lines, *mesh.interface_springs}


# --- sides ---


def test_generators_are_straight(box):
    """Nodes of the sides stand in columns of one x, y and of equal count, from the top's edge to the back's."""
    body, mesh = box
    nodes = mesh.nodes[np.unique(of(mesh, "sides"))]
    columns, number, count = np.unique(nodes[:, :2], axis=0, return_inverse=True, return_counts=True)
    assert len(columns) == len(mesh.edges["rim_top"]) and np.ptp(count) == 0
    for k, xy in enumerate(columns):
        z = nodes[number.ravel() == k, 2]
        assert z.max() == pytest.approx(top_height(body, *xy), abs=1e-9)
        assert z.min() == pytest.approx(back_height(body, *xy), abs=1e-9)


@pytest.mark.parametrize(("name", "edge", "sign"), [("lining_top", "rim_top", 1), ("lining_back", "rim_back", -1)])
def test_linings_are_strips_of_their_height_between_the_blocks(box, name, edge, sign):
    body, mesh = box
    height = getattr(body, name).height
    z = {tuple(mesh.nodes[n, :2]): mesh.nodes[n, 2] for n in mesh.edges[edge].ravel()}
    drop = [sign * (z[tuple(mesh.nodes[n, :2])] - mesh.nodes[n, 2]) for n in np.unique(of(mesh, name))]
    assert set(np.round(drop, 9)) == {0.0, round(height, 9)}
    a, b = mesh.nodes[mesh.edges[edge]].transpose(1, 0, 2)
    (x, y), run = ((a + b) / 2)[:, :2].T, np.hypot(*(b - a)[:, :2].T)
    half = np.where(x > body.outline.length / 2, body.neck_block.width, body.tail_block.width) / 2
    end = (x > 0.9 * body.outline.length) | (x < 0.1 * body.outline.length)
    free = run[~(end & (np.abs(y) < half))].sum()
    assert areas(mesh, mesh.surfaces[name].triangles).sum() == pytest.approx(free * height, rel=1e-3)  # edge's slope


def test_side_bars_stand_from_lining_to_lining(box):
    body, mesh = box
    lines = [mesh.lines[f"side_bars/{k + 1}"] for k in range(len(body.side_bars))]
    for bar, line in zip(body.side_bars, lines):
        run = mesh.nodes[line.edges[:, 1]] - mesh.nodes[line.edges[:, 0]]
        place = point_at(body.outline, bar.arc)
        assert mesh.nodes[line.edges.ravel(), :2] == pytest.approx(np.tile(place, (2 * len(run), 1)), abs=1e-3)
        height = top_height(body, *place) - back_height(body, *place)
        free = height - body.lining_top.height - body.lining_back.height
        assert np.linalg.norm(run, axis=1).sum() == pytest.approx(free, rel=1e-3)
        assert distance(body.outline, (mesh.nodes[line.edges[0, 0]] + 0.01 * line.up[0])[None, :2])[0] > 0.008


# --- holes, braces, footprints ---


def test_soundhole_lies_on_its_circle(box):
    body, mesh = box
    edges = mesh.edges["soundhole"]
    gap = np.hypot(*(mesh.nodes[np.unique(edges), :2] - body.soundhole.centre).T)
    assert gap == pytest.approx(np.full(len(gap), body.soundhole.radius), abs=1e-8)
    assert len(cases.loop_of(edges)) == len(edges) >= 5
    centres = mesh.nodes[of(mesh, "top")].mean(axis=1)[:, :2]
    assert np.hypot(*(centres - body.soundhole.centre).T).min() > 0.9 * body.soundhole.radius


def test_braces_are_as_long_and_as_tapered_as_drawn(box):
    body, mesh = box
    for brace in body.braces:
        line = mesh.lines[f"{brace.plate}_braces/{brace.name}"]
        a, b = mesh.nodes[line.edges].transpose(1, 0, 2)[..., :2]
        assert np.hypot(*(b - a).T).sum() == pytest.approx(brace.length, abs=1e-3)  # let-in ends move to a rim node
        for nodes, tau in ((a, line.taper[:, 0]), (b, line.taper[:, 1])):
            from_start = np.hypot(*(nodes - brace.start).T)
            places = ((brace.at_start, from_start), (brace.at_end, brace.length - from_start))
            height = [e.height + (brace.height - e.height) * np.minimum(d / e.taper, 1) for e, d in places]
            assert tau * brace.height == pytest.approx(np.min(height, axis=0), abs=1e-4)
        assert line.up[:, 2] == pytest.approx(np.full(len(a), -1 if brace.plate == "top" else 1))
        assert not line.offset.any()
        assert set(line.edges.ravel()) <= set(of(mesh, brace.plate).ravel())


def test_brace_ends_reach_the_rim_only_where_they_are_let_in(box):
    body, mesh = box
    kinds = set()
    for brace in body.braces:
        line = mesh.lines[f"{brace.plate}_braces/{brace.name}"]
        edge = set(mesh.edges[f"{brace.plate}_edge"].ravel())
        for end, drawn in ((brace.at_start, brace.start), (brace.at_end, brace.end)):
            gap = np.hypot(*(mesh.nodes[line.edges.ravel(), :2] - drawn).T)
            node = line.edges.ravel()[np.argmin(gap)]
            kinds.add(end.kind)
            assert gap.min() < 1e-3
            assert (node in edge) == (end.kind == "let_in")
            if end.kind == "stops_short":
                assert distance(body.outline, mesh.nodes[node][None, :2])[0] == pytest.approx(0.0075, abs=1e-5)
    assert "let_in" in kinds and len(kinds) == 2 + (body.name == "Hazel")


def test_footprints_have_their_area(box):
    body, mesh = box
    for name, part in (("bridge", body.bridge), ("bridge_plate", body.bridge_plate)):
        if part is not None:
            xyz = mesh.nodes[np.unique(of(mesh, name))]
            assert np.ptp(xyz, axis=0)[:2] == pytest.approx([part.width, part.length], abs=1e-6)
            assert areas(mesh, mesh.surfaces[name].triangles).sum() == pytest.approx(part.width * part.length, rel=1e-3)
    for name in ("neck_block", "tail_block"):
        block = getattr(body, name)
        xyz = mesh.nodes[np.unique(of(mesh, f"{name}/top"))]
        assert np.ptp(xyz, axis=0)[:2] == pytest.approx([block.thickness, block.width], abs=1e-3)


# --- neck ---


def test_neck_stands_on_the_rim(box):
    body, mesh = box
    neck = np.unique(np.vstack([of(mesh, "neck/shaft"), of(mesh, "neck/head")]))
    rim, plate = set(mesh.edges["rim_top"].ravel()), set(of(mesh, "top").ravel())
    shared = [n for n in neck if n in rim]
    assert not set(neck) & plate
    assert np.ptp(mesh.nodes[shared, 1]) == pytest.approx(body.neck.width, abs=1e-6)
    reach = np.ptp(mesh.nodes[neck, 0])
    bow = np.ptp(mesh.nodes[shared, 0])  # the rim is not quite straight behind the neck
    assert reach == pytest.approx(body.neck.length + body.neck.head_length + bow, abs=1e-6)
    area = areas(mesh, mesh.surfaces["neck/shaft"].triangles).sum()
    assert area == pytest.approx(body.neck.length * body.neck.width, rel=1e-3)


def test_body_without_neck_meshes_and_solves(tmp_path):
    body = cases.oval(tmp_path)
    mesh = mesh_body(body, 0.09)
    assert not [name for name in mesh.names if name.startswith("neck/") or name == "neck"]
    found = modes(assemble(mesh), weights(sections(body)), 2)
    assert (found.frequency > 30).all() and (found.rigid_frequency < 1e-3).all()


# --- grain ---


def test_grain_directions_follow_the_sheet():
    body = cases.guitar(top={"grain_deg": 27}, back={"grain_deg": -40}, neck_block={"grain": "toward_top"})
    mesh = mesh_body(body, 0.06)

    def angle(region):
        g = mesh.surfaces[region].grain
        return np.degrees(np.arctan2(g[:, 1], g[:, 0]))

    # projected on the dome: turned by half the slope squared at most, .3 degrees where the back falls off by 6 degrees
    assert angle("top") == pytest.approx(np.full(len(angle("top")), 27.0), abs=0.3)
    assert angle("back") == pytest.approx(np.full(len(angle("back")), -40.0), abs=0.3)
    assert np.abs(angle("bridge")) == pytest.approx(np.full(len(angle("bridge")), 90.0), abs=0.3)
    sides = mesh.surfaces["sides"]
    assert np.abs(sides.grain[:, 2]).max() < 1e-9
    assert np.abs(np.sum(sides.grain * mesh.normal[sides.triangles], axis=1)).max() < 1e-9
    assert np.abs(mesh.surfaces["neck_block/sides"].grain[:, 2]) == pytest.approx(1.0)


def test_side_grain_follows_the_sheet(tmp_path):
    """A side sawn 35 degrees off its length is another box: the sheet's key must reach the model."""
    first = []
    for angle in (0, 35):
        body = cases.oval(tmp_path, sides={"grain_deg": angle})
        first.append(modes(assemble(mesh_body(body, 0.09)), weights(sections(body)), 4).frequency)
    assert np.max(np.abs(first[1] / first[0] - 1)) > 1e-3


@pytest.mark.slow
def test_inner_grain_of_doubled_sides_follows_the_sheet(tmp_path):
    double = {"inner_wood": "honduras_mahogany", "inner_thickness_mm": 2.2}
    first = []
    for angle in (0, 90):
        body = cases.oval(tmp_path, sides={**double, "inner_grain_deg": angle})
        first.append(modes(assemble(mesh_body(body, 0.09)), weights(sections(body)), 4).frequency)
    assert np.max(np.abs(first[1] / first[0] - 1)) > 1e-3


def lopsided(tmp_path, grain, side):
    """Oval box with one slanting brace on one side of the centre line."""
    bar = {"name": "bar", "plate": "top", "from_mm": [90, side * 100], "to_mm": [250, side * 40], "width_mm": 8,
           "height_mm": 14, "ends": {"kind": "free"}}  # fmt: skip
    body = cases.oval(tmp_path, top={"braced": True, "grain_deg": grain}, brace=[bar])
    return modes(assemble(mesh_body(body, 0.08)), weights(sections(body)), 8).frequency


def test_mirrored_body_has_the_same_frequencies_and_turned_grain_others(tmp_path):
    base, turned, mirror = (lopsided(tmp_path, *case) for case in ((27, 1), (-27, 1), (-27, -1)))
    assert mirror == pytest.approx(base, rel=0.006)  # the two meshes are not mirror images: their error at 80 mm
    assert np.max(np.abs(turned / base - 1)) > 0.02


# --- masses, sizes, odd bodies ---


def test_model_weighs_what_the_drawing_weighs(solved):
    """Part by part against describe.masses, which never sees the mesh."""
    body, _, model, _ = solved
    told, found = describe.masses(body), masses(model, sections(body))
    assert set(told) == {part for part, m in found.items() if m > 0}
    for part in sorted(set(told) - {"neck"}):
        # a lining's middle line is an inner parallel of the rim, 2 pi (t/2 + w/2) or 1.8 % shorter than the mesh's strip
        tolerance = 0.025 if part.startswith("lining") else FACETS
        assert found[part] == pytest.approx(told[part], rel=tolerance), part


def test_neck_weighs_what_the_drawing_weighs(solved):
    body, _, model, _ = solved
    found = masses(model, sections(body))["neck"] - body.neck.head_mass
    assert found == pytest.approx(describe.masses(body)["neck"] - body.neck.head_mass, rel=0.02)


def test_low_lining_keeps_its_mass():
    """The sheet takes linings from 2 mm of height."""
    body = cases.guitar(lining_top={"height_mm": 5, "kind": "solid_laminated"})
    found = mass_by_area(mesh_body(body, 0.06), body, "lining_top")
    assert found == pytest.approx(describe.masses(body)["lining_top"], rel=0.03)


@pytest.mark.parametrize("height", [60, 75])
def test_short_block_keeps_its_mass(height):
    body = cases.guitar(neck_block={"height_mm": height}, neck={"included": False})
    found = mass_by_area(mesh_body(body, 0.04), body, "neck_block")
    assert found == pytest.approx(describe.masses(body)["neck_block"], rel=0.05)


def test_short_block_leaves_the_back_free():
    body = cases.guitar(neck_block={"height_mm": 60})
    mesh = mesh_body(body, 0.06)
    assert "neck_block/top" in mesh.surfaces and "neck_block/back" not in mesh.surfaces
    assert "tail_block/back" in mesh.surfaces


def test_smaller_size_gives_smaller_triangles():
    body = cases.guitar(**cases.BARE)
    number, longest = [], []
    for size in (0.04, 0.02):
        mesh = mesh_body(body, size)
        p = mesh.nodes[of(mesh, "top")]
        number.append(len(of(mesh, "top")))
        longest.append(np.linalg.norm(p - np.roll(p, 1, axis=1), axis=2).max())
        assert longest[-1] < 1.7 * size
    assert number[1] > 2.5 * number[0] and longest[1] < 0.6 * longest[0]


@pytest.mark.slow
def test_frequencies_converge_with_size(tmp_path):
    body = cases.oval(tmp_path)
    rough, middle, fine = (
        modes(assemble(mesh_body(body, h)), weights(sections(body)), 6).frequency for h in (0.05, 0.03, 0.02)
    )
    assert np.abs(middle / fine - 1).max() < 0.6 * np.abs(rough / fine - 1).max()
    assert np.abs(middle / fine - 1).max() < 0.025


def test_rigid_modes_of_the_example_boxes(solved):
    """Free box with folds, seams, eccentric beams and neck: six rigid modes below 1e-3 Hz."""
    *_, found = solved
    assert found.rigid_frequency.shape == (6,)
    assert (found.rigid_frequency < 1e-3).all()
    assert found.frequency[0] > 20


def test_cutaway_meshes_and_solves(tmp_path):
    body = cases.cutaway(tmp_path, **cases.BARE)
    mesh = mesh_body(body, 0.06)
    back = areas(mesh, mesh.surfaces["back"].triangles).sum()
    assert back == pytest.approx(describe.areas(body)["back"], rel=FACETS)
    found = modes(assemble(mesh), weights(sections(body)), 3)
    assert (found.rigid_frequency < 1e-3).all() and (found.frequency > 30).all()


def test_horn_of_a_cutaway_is_a_corner_of_the_mesh(tmp_path):
    body = cases.cutaway(tmp_path, **cases.BARE)
    mesh = mesh_body(body, 0.06)
    rim = mesh.nodes[mesh.edges["rim_top"][:, 0], :2]
    for corner in point_at(body.outline, body.outline.corners):
        assert np.hypot(*(rim - corner).T).min() < 1e-6


def test_heavier_top_leaves_the_mesh_alone():
    """Only geometry is meshed: the same mesh serves every section."""
    body = cases.guitar(**cases.BARE)
    other = replace(body, top=replace(body.top, thickness=2 * body.top.thickness))
    assert np.array_equal(mesh_body(body, 0.06).nodes, mesh_body(other, 0.06).nodes)
