"""Side ports: read from the sheet, drawn, cut out of the shell, open to the air inside and outside."""

import re
from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest

from fem.eigen import modes
from fem.energies import masses
from fem.mesh import areas
from fem.model import assemble, weights
from meshes import describe
from meshes.body import top_height
from meshes.build import mesh_body
from meshes.cavity import mesh_cavity
from meshes.coupled_model import coupled_model, fluid_domain, modes_of, outside, structure_of, velocities
from meshes.drawing import draw_plan
from meshes.open_rim import mesh_open_rim, sections_on
from meshes.outer_surface import outer_surface
from meshes.outline import distance, point_at
from meshes.parts import sections
from meshes.sheet import SheetError
from meshes.side_ports import openings_of, ring_of
from meshes.side_profile import draw_profile, ports_on, side_profile
from meshes.supports import FREE, with_supports
from studies.common.groups import grouped

BASS = {"side": "bass", "from_neck_mm": 235, "below_top_mm": 48, "diameter_mm": 40}
SHAPE = {"length_mm": 490, "lower_bout_width_mm": 380, "lower_bout_place_mm": 138, "waist_place_mm": 298}
TREBLE = {"side": "treble", "from_tail_mm": 355, "below_top_mm": 55, "diameter_mm": 30}


@pytest.fixture(scope="module")
def body():
    return cases.guitar(side_port=[BASS, TREBLE])


@pytest.fixture(scope="module")
def mesh(body):
    return mesh_body(body, 0.04)


def along_the_side(body, side, from_tail):
    """Plan point [m] found by walking the drawn polygon from the tail up one side, as a tape does."""
    points = body.outline.points
    points = points if side == "treble" else np.vstack([points[:1], points[:0:-1]])
    steps = np.hypot(*np.diff(points, axis=0).T)
    k = np.searchsorted(np.cumsum(steps), from_tail)
    left = from_tail - np.sum(steps[:k])
    return points[k] + left / steps[k] * (points[k + 1] - points[k])


def centre_of(points):
    return (points.min(axis=0) + points.max(axis=0)) / 2


# --- the sheet ---


def test_place_is_measured_along_the_side_it_names(body):
    bass, treble = body.side_ports
    half = body.outline.perimeter / 2
    assert point_at(body.outline, treble.arc) == pytest.approx(along_the_side(body, "treble", 0.355), abs=1e-6)
    assert point_at(body.outline, bass.arc) == pytest.approx(along_the_side(body, "bass", half - 0.235), abs=1e-6)
    assert point_at(body.outline, bass.arc)[1] > 0.1 > -0.1 > point_at(body.outline, treble.arc)[1]
    assert (bass.depth, bass.radius, treble.depth, treble.radius) == pytest.approx((0.048, 0.02, 0.055, 0.015))


def test_both_ways_to_give_a_place_and_inches(body):
    half = 1e3 * body.outline.perimeter / 2
    other = {"side": "bass", "from_tail_in": (half - 235) / 25.4, "below_top_in": 48 / 25.4, "diameter_in": 40 / 25.4}
    (port,) = cases.guitar(side_port=[other]).side_ports
    assert vars(port) == pytest.approx(vars(body.side_ports[0]), abs=1e-9)
    assert not cases.guitar().side_ports


def test_sides_of_a_cutaway_are_measured_each_for_itself(tmp_path):
    """The treble side runs through the bay and is longer; from the neck, its ports are as far along as was said."""
    far = {**TREBLE, "from_tail_mm": 330}
    body = cases.cutaway(tmp_path, side_port=[far])
    length = side_profile(body, "treble")[0][-1]
    near = {key: value for key, value in far.items() if key != "from_tail_mm"} | {"from_neck_mm": 1e3 * length - 330}
    assert cases.cutaway(tmp_path, side_port=[near]).side_ports[0].arc == pytest.approx(0.33, abs=1e-9)
    assert body.side_ports[0].arc == pytest.approx(0.33, abs=1e-9)


@pytest.mark.parametrize(
    ("ports", "message"),
    [
        ([{**BASS, "side": "base"}], "side_port 1.side = 'base'; expected one of: bass, treble; did you mean 'bass'?"),
        ([{**BASS, "diameter_mm": 400}], "side_port 1.diameter_mm = 400; expected 6 to 120 mm; did you mean 40?"),
        ([{**BASS, "diametre_mm": 40}], "diametre_mm = 40; expected a known key; did you mean 'diameter_mm'?"),
        ([{"side": "bass", "from_tail_mm": 300, "diameter_mm": 30}], "side_port 1.below_top_mm = nothing given"),
        ([{**BASS, "from_tail_mm": 300}], "both given; expected one of from_tail_mm and from_neck_mm"),
        ([{**BASS, "side": "base", "from_tail_mm": 300}], "from_tail_mm = both given; expected one of from_tail_mm and"),
        ([BASS, {**BASS, "from_neck_mm": 250}], "side_port 2.from_neck_mm = 250; expected a place that leaves 12 mm "
         "of side between the port and side_port 1; did you mean 287?"),
        ([{**BASS, "from_neck_mm": 50}], "from_neck_mm = 50; expected a place that leaves 12 mm of side between the port "
         "and the neck block; did you mean 73?"),
        ([{**TREBLE, "from_tail_mm": 800}], "from_tail_mm = 800; expected less than the treble side's length, 740 mm"),
        ([{**BASS, "below_top_mm": 25}], "below_top_mm = 25; expected 40 to 61.1 mm there"),
        ([{**BASS, "diameter_mm": 70}], "diameter_mm = 70; expected at most 60 mm: the side is 103 mm high there"),
    ],
)  # fmt: skip
def test_mistakes_are_told(ports, message):
    with pytest.raises(SheetError, match=re.escape(message)):
        cases.guitar(side_port=ports)


def test_the_hint_is_a_place_that_will_do():
    with pytest.raises(SheetError) as told:
        cases.guitar(side_port=[{**BASS, "from_neck_mm": 50}])
    hint = float(re.search(r"did you mean (\d+)\?", str(told.value))[1])
    assert cases.guitar(side_port=[{**BASS, "from_neck_mm": hint}]).side_ports
    with pytest.raises(SheetError):
        cases.guitar(side_port=[{**BASS, "from_neck_mm": hint - 2}])


def test_side_bars_and_corners_are_kept_clear_of(tmp_path):
    with pytest.raises(SheetError, match="the port and the side bar 298 mm from the tail"):
        cases.guitar(side_bars={"places_mm": [298]}, side_port=[{**BASS, "from_neck_mm": 275}])
    plain = cases.cutaway(tmp_path)
    horn = {**TREBLE, "from_tail_mm": float(1e3 * plain.outline.corners[0]) - 20, "diameter_mm": 20}
    with pytest.raises(SheetError, match="the port and the corner of the outline"):
        cases.cutaway(tmp_path, side_port=[horn])
    with pytest.raises(SheetError, match="from the neck block, which stands behind it"):
        cases.cutaway(tmp_path, side_port=[{**TREBLE, "from_tail_mm": 656, "below_top_mm": 40, "diameter_mm": 15}])


def test_a_port_needs_a_side_that_is_nearly_straight():
    """A shoulder bent to 34 mm."""
    sharp = {"waist_width_mm": 200, "upper_bout_width_mm": 230, "upper_bout_place_mm": 440}
    port = {**TREBLE, "from_tail_mm": 603, "diameter_mm": 50}
    with pytest.raises(SheetError, match="expected a smaller port, or a place where the side bends less"):
        cases.guitar(body=SHAPE | sharp, side_port=[port])
    assert cases.guitar(body=SHAPE | sharp, side_port=[{**port, "diameter_mm": 30}]).side_ports


# --- drawings and text ---


def test_check_tells_where_the_ports_are(body):
    text = describe.check_text(body)
    half = 1e3 * body.outline.perimeter / 2
    assert "port 1: 40 mm across, 48 mm below the top's edge of a side" in text
    assert f"bass side, along it {half - 235:.0f} mm from the tail's middle, 235 mm from the neck's" in text
    assert f"treble side, along it 355 mm from the tail's middle, {half - 355:.0f} mm from the neck's" in text
    assert "side ports" not in describe.check_text(replace(body, side_ports=()))


def test_drawings_show_each_port_on_its_side(body, tmp_path):
    assert [n for n, *_ in ports_on(body, "bass")] == [1] and [n for n, *_ in ports_on(body, "treble")] == [2]
    _, place, z, radius = ports_on(body, "treble")[0]
    s, top, _ = side_profile(body, "treble", 0.001)
    assert place == pytest.approx(0.355) and radius == 0.015
    assert np.interp(place, s, top) - z == pytest.approx(0.055, abs=1e-5)
    drawn = draw_plan(body, tmp_path / "plan.svg")[0].read_text()
    assert len(re.findall(r">port 1<", drawn)) >= 2 and "treble, dashed" in drawn
    assert "port 1" not in draw_plan(replace(body, side_ports=()), tmp_path / "bare.svg")[0].read_text()
    size = lambda b: draw_profile(b, tmp_path / "side.pdf", "bass").stat().st_size
    assert size(body) > size(replace(body, side_ports=())) + 500


# --- the shell ---


def test_ring_has_the_circles_area_and_corners_on_the_generators():
    for columns in ([-0.026, -0.014, 0.014, 0.026], [-0.021, -0.014, -0.003, 0.008, 0.014], []):
        ring = ring_of(0.02, np.array(columns))
        assert cases.shoelace(ring) == pytest.approx(np.pi * 0.02**2, rel=1e-9)
        assert np.ptp(np.hypot(*ring.T)) < 1e-12 and len(ring) >= 12
        for x in columns:
            assert np.sum(np.abs(ring[:, 0] - x) < 1e-12) == (2 if abs(x) < 0.02 else 0)


def test_edge_of_a_port_lies_on_its_circle_on_its_side(body, mesh):
    """Bass and treble change places, or depth is taken from the back: fails."""
    for number, port in enumerate(body.side_ports, 1):
        loop = mesh.nodes[cases.loop_of(mesh.edges[f"port {number}"])]
        assert len(loop) == len(mesh.edges[f"port {number}"])
        x, y = point_at(body.outline, port.arc)
        assert centre_of(loop) == pytest.approx([x, y, top_height(body, x, y) - port.depth], abs=1.5e-3)
        assert np.sign(centre_of(loop)[1]) == (1 if port.side == "bass" else -1)
        assert np.ptp(loop[:, 2]) == pytest.approx(2 * port.radius, rel=0.05)
        vector = sum(np.cross(a, b) for a, b in zip(loop, np.roll(loop, -1, axis=0))) / 2
        assert np.linalg.norm(vector) == pytest.approx(np.pi * port.radius**2, rel=0.02)  # facets bend a little


def test_sides_are_a_tube_with_two_holes(body, mesh):
    """Conforming, two triangles on every inner edge, one on named edges; Euler number 0 - 2; no node left over."""
    triangles = mesh.triangles[mesh.surfaces["sides"].triangles]
    edges, count = cases.edge_counts(triangles)
    named = [cases.as_set(mesh.edges[name]) for name in ("rim_top", "rim_back", "port 1", "port 2")]
    assert set(count.tolist()) == {1, 2}
    assert cases.as_set(edges[count == 1]) == set().union(*named)
    assert len(np.unique(edges)) - len(edges) + len(triangles) == -2
    assert np.array_equal(np.unique(mesh.triangles), np.arange(len(mesh.nodes)))


def test_generators_stay_straight_about_a_port(body, mesh):
    """Every node of the sides lies over the rim's polygon, and no triangle spans two of its straight pieces."""
    rim = mesh.nodes[cases.loop_of(mesh.edges["rim_top"]), :2]
    a, b = rim, np.roll(rim, -1, axis=0)
    along = b - a
    p = mesh.nodes[mesh.triangles[mesh.surfaces["sides"].triangles]][:, :, :2]
    t = np.einsum("mcnk,nk->mcn", p[:, :, None] - a, along) / np.sum(along**2, axis=1)
    gap = np.linalg.norm(p[:, :, None] - a - t[..., None] * along, axis=3)
    on = (gap < 1e-7) & (t > -1e-6) & (t < 1 + 1e-6)
    assert on.all(axis=1).any(axis=1).all()


def test_normals_and_grain_of_the_new_triangles(body, mesh):
    sides = mesh.surfaces["sides"]
    centre = mesh.nodes[mesh.triangles[sides.triangles]].mean(axis=1)[:, :2]
    assert (distance(body.outline, centre + 0.012 * mesh.normal[sides.triangles, :2]) < 0).all()
    assert np.abs(sides.grain[:, 2]).max() < 1e-9
    assert np.abs(np.sum(sides.grain * mesh.normal[sides.triangles], axis=1)).max() < 1e-9


def test_area_and_mass_of_the_sides_less_the_ports(body, mesh):
    """Only the sides lose anything; .8 %: chords of the bends, finer where a port puts stations."""
    bare = replace(body, side_ports=())
    plain = mesh_body(bare, 0.04)
    hole = np.pi * (0.02**2 + 0.015**2)
    found = [areas(m, m.surfaces["sides"].triangles).sum() for m in (plain, mesh)]
    assert found[0] - found[1] == pytest.approx(hole, rel=0.05)
    told = describe.areas(bare)["sides"] - describe.areas(body)["sides"]
    assert told == pytest.approx(hole) == pytest.approx(describe.areas(body)["side ports"])
    weight = masses(assemble(mesh), sections(body))
    assert weight["sides"] == pytest.approx(describe.masses(body)["sides"], rel=0.006)
    assert weight["lining_top"] == pytest.approx(masses(assemble(plain), sections(bare))["lining_top"], rel=2e-3)
    assert set(sections(body)) == {*mesh.surfaces, *mesh.lines, *mesh.interface_springs}


def test_rigid_modes_stay_six(tmp_path):
    body = cases.oval(tmp_path, side_port=[BASS, TREBLE])
    found = modes(assemble(mesh_body(body, 0.09)), weights(sections(body)), 3)
    assert found.rigid_frequency.shape == (6,) and (found.rigid_frequency < 1e-3).all()
    assert found.frequency[0] > 30


@pytest.mark.parametrize("size", [0.05, 0.03])
def test_ports_soften_an_open_rim_where_it_bends_and_lighten_it_where_it_does_not(tmp_path, size):
    """Two ports at the ends of the short axis of an oval rim without linings: its squash along the axes bends most there
    and falls, the slanting squash does not bend there and rises; two thirds of the side is cut away.
    """
    bare = {"kind": "none"}, {"rebate_height_mm": 4, "rebate_width_mm": 1}
    rim = {"lining_top": bare[0], "lining_back": bare[0], "joint_top": bare[1], "joint_back": bare[1]}
    ports = [{"side": s, "from_neck_mm": 324, "below_top_mm": 52, "diameter_mm": 60} for s in ("bass", "treble")]
    body = cases.oval(tmp_path, side_port=ports, **rim)
    found = []
    for b in (replace(body, side_ports=()), body):
        mesh = mesh_open_rim(b, size)
        found.append(modes(assemble(mesh), weights(sections_on(mesh, sections(b))), 2).frequency)
    shift = found[1] / found[0] - 1
    assert shift == pytest.approx([-0.057, 0.027], abs=0.004)


def test_a_brace_let_in_beside_a_port_moves_to_its_nearest_end(tmp_path):
    x, y = 0.235, 0.175
    bar = {"name": "bar", "plate": "top", "from_mm": [260, -174], "to_mm": [260, 174], "width_mm": 8,
           "height_mm": 12, "ends": {"kind": "let_in"}}  # fmt: skip
    port = {"side": "bass", "from_neck_mm": 324, "below_top_mm": 52, "diameter_mm": 50}
    body = cases.oval(tmp_path, top={"braced": True}, brace=[bar], side_port=[port])
    mesh = mesh_body(body, 0.05)
    ends = mesh.nodes[np.unique(mesh.lines["top_braces/bar"].edges)]
    bass, treble = ends[np.argmax(ends[:, 1])], ends[np.argmin(ends[:, 1])]
    assert treble[0] - x == pytest.approx(0.025, abs=1e-3)
    assert abs(bass[0] - x - 0.025) < 0.008 and bass[1] == pytest.approx(y, abs=0.004)
    assert body.side_ports[0].arc == pytest.approx(0.5 * body.outline.perimeter + 0.324)


# --- the air ---


def test_the_air_inside_and_outside_opens_where_the_sheet_says(body):
    """Discs of cavity and outer surface against the place on the tape, each within the side's bend across the port."""
    inner, outer = mesh_cavity(body, 0.05, openings_of(body)), outer_surface(body, 0.04, openings_of(body))
    assert list(inner.openings) == ["soundhole", "port 1", "port 2"]
    for number, port in enumerate(body.side_ports, 1):
        name, from_tail = f"port {number}", port.arc if port.side == "treble" else body.outline.perimeter - port.arc
        x, y = along_the_side(body, port.side, from_tail)
        expected = [x, y, float(top_height(body, x, y)) - port.depth]
        for nodes, faces in (
            (inner.nodes, inner.faces[name]),
            (outer.nodes, outer.triangles[outer.groups[name]]),
        ):
            assert centre_of(nodes[np.unique(faces)]) == pytest.approx(expected, abs=3e-3)
        assert inner.openings[name].radius == port.radius
        assert inner.openings[name].thickness == body.side_thickness


STONE = {
    "E_along_GPa": 400, "E_across_GPa": 400, "nu_along_across": 0.2, "G_in_plane_GPa": 160, "G_along_normal_GPa": 160,
    "G_across_normal_GPa": 160, "density_kg_m3": 2500.0, "loss_along": 0.01, "loss_across": 0.01, "loss_shear": 0.01,
}  # fmt: skip
STIFF = {
    "wood": {"stone": STONE},
    "top": {"wood": "stone", "thickness_mm": 8, "braced": False},
    "back": {"wood": "stone", "thickness_mm": 8, "braced": False},
    "sides": {"wood": "stone", "thickness_mm": 6},
    "lining_top": {"kind": "none"},
    "lining_back": {"kind": "none"},
}
FEW = (40.0, 90.0, 150.0, 250.0)  # Hz


def coupled_of(folder, **tables):
    body = cases.oval(folder, **cases.merged(STIFF, tables))
    parts = sections(body)
    model = assemble(mesh_body(body, 0.09))
    structure = structure_of(body, model, parts, modes(model, weights(parts), 6))
    around = fluid_domain(body, 250.0, 0.05, 0.05)
    return coupled_model(structure, around, outside(around.surface, [velocities(structure, around)], frequency=FEW)[0])


def textbook(found, speed=343.2):
    """c/2pi sqrt(sum_i S_i/(t_i + 1.7 r_i) / V): the openings' inertances in parallel on the spring of the air."""
    cavity = found.around.cavity
    conductance = sum(o.area / (o.thickness + 1.7 * o.radius) for o in cavity.openings.values())
    return speed / (2 * np.pi) * np.sqrt(conductance / (cavity.volume - cavity.solid))


@pytest.fixture(scope="module")
def stone(tmp_path_factory):
    """{ports: (CoupledModel, VibroacousticModes)} of a stiff oval with a 50 mm hole in the top."""
    folder, found = tmp_path_factory.mktemp("stone"), {}
    port = {"from_neck_mm": 324, "below_top_mm": 52, "diameter_mm": 30}
    for sides in ((), ("bass",), ("bass", "treble")):
        s = coupled_of(
            folder, soundhole={"place_mm": 320, "diameter_mm": 50}, side_port=[{"side": side, **port} for side in sides]
        )
        found[sides] = s, modes_of(s, with_supports(s, FREE), highest=250.0)
    return found


def test_helmholtz_resonance_rises_with_every_port(stone, record):
    """Two and three openings against inertances in parallel, L_eff = t + 1.7 r (Kinsler, Frey, Coppens & Sanders,
    Fundamentals of Acoustics, 4th ed., 10.8 and 10.10; Fletcher & Rossing, ch. 8; formula from memory).

    2.5 %: both ends flanged in the formula, the outer one hardly so here, and the air between the openings has inertia
    that the formula leaves out; 1.5 % on the ratios, in which the first of these falls out.
    """
    first, formula = [], []
    for s, m in stone.values():
        first.append(m.frequency[m.elastic][0])
        formula.append(textbook(s))
    record("Helmholtz resonance with none, one and two side ports", "Kinsler et al., Fundamentals of Acoustics, ch. 10",
           formula, first, "Hz")  # fmt: skip
    assert first == pytest.approx(formula, rel=0.025)
    ratio = np.array(first[1:]) / first[0]
    assert ratio == pytest.approx(np.array(formula[1:]) / formula[0], rel=0.015)
    assert ratio[0] > 1.2 and ratio[1] > ratio[0] + 0.15


def test_every_opening_has_its_share(stone):
    """The volume through each opening is as its conductance; friction of each is listed under its name and grouped."""
    s, m = stone["bass", "treble"]
    n = len(s.structure.frequency)
    k = np.flatnonzero(m.elastic)[0]
    flow = np.real(m.shape[n : n + 3, k] / m.shape[n, k])
    conductance = [o.area / (o.thickness + 1.7 * o.radius) for o in s.around.cavity.openings.values()]
    assert flow == pytest.approx(np.array(conductance) / conductance[0], rel=0.08)  # the hole's air has the shorter way
    assert flow[1] == pytest.approx(flow[2], rel=0.01)  # mirror images
    assert {"soundhole", "port 1", "port 2"} < set(m.loss_share)
    parts = {part: share[k] for part, share in m.loss_share.items()}
    assert grouped(parts)["opening"] == pytest.approx(parts["soundhole"] + parts["port 1"] + parts["port 2"])
    assert sum(parts.values()) == pytest.approx(1, abs=1e-6)


def test_bass_and_treble_are_not_exchanged_in_the_sounding_body(tmp_path):
    """The piston of a bass port pushes outside air towards +y; no wall moves there; the air inside ends there too."""
    s = coupled_of(tmp_path, side_port=[{"side": "bass", "from_neck_mm": 324, "below_top_mm": 52, "diameter_mm": 40}])
    at = s.around.groups["port 1"]
    push = s.around.surface.normal[at].T @ s.around.surface.area[at]
    assert push[1] == pytest.approx(np.pi * 0.02**2, rel=0.03) and abs(push[0]) < 0.1 * push[1]
    V = velocities(s.structure, s.around)
    assert V[at, -1] == pytest.approx(1 / s.around.surface.area[at].sum())
    assert not V[at, : len(s.structure.frequency)].any()  # no wall moves where there is none
    inside = s.around.cavity.nodes[np.unique(s.around.cavity.faces["port 1"])]
    assert inside[:, 1].mean() > 0.165
