"""Foreign shell meshes through the whole path: file and parts sheet to modes; orientation, grain, beams."""

import json
import math

import numpy as np
import pytest
from foreign_cases import BOX, SPRUCE, STEEL, box, edge, grid, marked_file, parts_file, plate_file
from shell_cases import SKEW, folded_box

from fem.eigen import fixed_unknowns, modes
from fem.energies import masses
from fem.materials import Wood
from fem.mesh import Line, ShellMesh
from fem.model import assemble, weights
from fem.sections import Layer, beam, laminate
from meshes.foreign import read_foreign
from studies.modes import question as study


def frequencies(mesh, parts, count, **more):
    return np.array(study.find_modes(mesh, parts, count, **more)["frequency_hz"])


# Plates against published values


@pytest.mark.parametrize(("case", "fixed"), [("nafems_fv12", ()), ("nafems_fv16", ("root",))])
def test_nafems_plate(tmp_path, literature, record, case, fixed):
    """NAFEMS FV12 (free) and FV16 (cantilever) against converged values; 0.5 %: triangles of 1.25 m, 0.05 m thick."""
    points, quads = grid(8, 8, 10, 10)
    mesh = plate_file(tmp_path / "plate.vtu", points, quads, root=edge(points, points[:, 0] < 1e-9))
    found = frequencies(mesh, parts_file(tmp_path / "p.toml", STEEL), 6, fix=fixed)
    record(
        f"{case.replace('_', ' ').upper()} as a foreign mesh",
        literature[case]["source"],
        literature[case]["exact"],
        found,
        "Hz",
    )
    assert found == pytest.approx(literature[case]["exact"], rel=0.005)


def test_held_edge_is_softer_than_clamped(tmp_path):
    points, quads = grid(4, 4, 10, 10)
    mesh = plate_file(tmp_path / "plate.vtu", points, quads, root=edge(points, points[:, 0] < 1e-9))
    parts = parts_file(tmp_path / "p.toml", STEEL)
    clamped, held = (frequencies(mesh, parts, 4, **{how: ("root",)}) for how in ("fix", "support"))
    assert held[0] > clamped[0]  # swinging about the held edge is rigid: projected out, so this mode bends
    assert held[1] < clamped[2]
    told = study.find_modes(mesh, parts, 4, support=("root",))["rigid_frequency_hz"]
    assert len(told) == 1 and told[0] < 1e-3


@pytest.mark.parametrize(("unit", "metres"), [("mm", 1e-3), ("cm", 1e-2), ("in", 25.4e-3)])
def test_units_agree(tmp_path, unit, metres):
    points, quads = grid(3, 5, 10, 7, skew=0.2)
    plain = plate_file(tmp_path / "m.vtu", points, quads)
    other = plate_file(tmp_path / "other.vtu", points, quads, scale=1 / metres)
    parts = parts_file(tmp_path / "m.toml", STEEL)
    theirs = parts_file(tmp_path / "other.toml", f'length_unit = "{unit}"\n' + STEEL)
    assert frequencies(other, theirs, 5) == pytest.approx(frequencies(plain, parts, 5), rel=1e-9)


def test_grain_mirrors_and_does_not_commute(tmp_path):
    """A skewed plate with grain at +27 degrees is the mirror image of the plate skewed the other way at -27."""

    def at(skew, degrees):
        points, quads = grid(6, 5, 0.4, 0.3, skew)
        mesh = plate_file(tmp_path / "plate.vtu", points, quads)
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        text = f'{SPRUCE}[part.plate]\nmaterial = "spruce"\nthickness_mm = 3\ngrain = [{c}, {s}, 0]\n'
        return frequencies(mesh, parts_file(tmp_path / "p.toml", text), 5)

    right = at(0.5, 27)
    assert at(-0.5, -27) == pytest.approx(right, rel=1e-8)  # each quadrilateral is cut along its shorter diagonal
    assert np.max(np.abs(at(0.5, -27) / right - 1)) > 0.02


# Grain along the rim, against bars and rings

UPRIGHT = SPRUCE + '[part.side]\nmaterial = "spruce"\nthickness_mm = 2.2\ngrain = "rim"\n'


def test_rim_grain_of_an_upright_bar(tmp_path):
    """Lowest mode of a free bar, grain along it: 22.3733 sqrt(E_along h^2/(12 rho)) / (2 pi L^2), Euler-Bernoulli.

    0.5 %: 100 times as long as thick. Grain across instead would be 4.4 times lower. The bar stands askew to x and y.
    """
    L, h = 0.22, 2.2e-3
    points, quads = grid(16, 1, L, 0.01)
    turned = np.column_stack([0.8 * points[:, 0], 0.6 * points[:, 0], points[:, 1]])
    mesh = marked_file(tmp_path / "s.vtu", turned, [("side", "quad", quads)])
    hand = 22.3733 * math.sqrt(11.5e9 * h**2 / 12 / 420) / (2 * math.pi * L**2)
    assert frequencies(mesh, parts_file(tmp_path / "p.toml", UPRIGHT), 1)[0] == pytest.approx(hand, rel=0.005)


def test_rim_grain_of_a_ring(tmp_path):
    """Free narrow ring, bending in its plane: omega^2 = n^2 (n^2-1)^2/(n^2+1) E_along h^2/(12 rho R^4), n = 2.

    Love, Mathematical Theory of Elasticity, art. 293. 1 %: a polygon of 32 sides, transverse shear. The mode is a pair.
    """
    R, h, n = 0.2, 2.2e-3, 32
    angle = 2 * np.pi * np.arange(n) / n
    circle = np.column_stack([R * np.cos(angle), R * np.sin(angle), 0 * angle])
    points = np.vstack([circle, circle + np.array([0, 0, 0.02])])
    k, nxt = np.arange(n), (np.arange(n) + 1) % n
    mesh = marked_file(tmp_path / "r.vtu", points, [("side", "quad", np.column_stack([k, nxt, nxt + n, k + n]))])
    hand = math.sqrt(4 * 9 / 5 * 11.5e9 * h**2 / 12 / 420) / R**2 / (2 * math.pi)
    assert frequencies(mesh, parts_file(tmp_path / "p.toml", UPRIGHT), 2) == pytest.approx([hand, hand], rel=0.01)


# Beams


@pytest.mark.parametrize("turn", [np.eye(3), SKEW], ids=["along x", "oblique"])
@pytest.mark.parametrize("how", ["centred", "vector", "following"])
def test_rib_on_a_strip_bends_as_composite_beam(tmp_path, turn, how):
    """Lowest mode out of the plane of a free narrow strip with a rib below: 22.3733 sqrt(EI / m L^4) / 2 pi.

    EI about the common axis. 0.5 %: the strip is 40 times as long as deep, shear lowers the mode by 0.3 %.
    """
    L, w, h, b, d = 1.0, 0.02, 0.01, 0.01, 0.015
    points, quads = grid(20, 2, L, w)
    rib = edge(points, np.abs(points[:, 1] - w / 2) < 1e-9)
    mesh = plate_file(tmp_path / "s.vtu", points @ turn.T, quads, rib=rib)
    below = 0.0 if how == "centred" else -(h + d) / 2
    given = f"{{up = {1e3 * below}}}" if how == "following" else (1e3 * below * turn[:, 2]).tolist()
    text = f"""
[material.m]
E_GPa = 10
nu = 0.0
density_kg_m3 = 500
[part.plate]
material = "m"
thickness_mm = {1e3 * h}
[beam.rib]
material = "m"
width_mm = {1e3 * b}
height_mm = {1e3 * d}
up = {turn[:, 2].tolist()}
offset_mm = {given}
"""
    areas, places = np.array([w * h, b * d]), np.array([0.0, below])
    neutral = areas @ places / areas.sum()
    inertia = w * h**3 / 12 + b * d**3 / 12 + areas @ (places - neutral) ** 2
    hand = 22.3733 / (2 * np.pi) * math.sqrt(10e9 * inertia / (500 * areas.sum() * L**4))
    shell, sections = read_foreign(mesh, parts_file(tmp_path / "p.toml", text))
    model = assemble(shell)
    found = modes(model, weights(sections), 6)
    out = found.shape.reshape(-1, 6, 6)[:, :3].transpose(0, 2, 1) @ turn[:, 2]  # displacement out of the plane
    flat = np.sum(out**2, axis=0) > 0.5 * np.sum(found.shape.reshape(-1, 6, 6)[:, :3] ** 2, axis=(0, 1))
    assert found.frequency[flat][0] == pytest.approx(hand, rel=0.005)
    assert masses(model, sections)["rib"] == pytest.approx(500 * b * d * L, rel=1e-9)


def curve_offset(tmp_path, points, quads, pairs, offset, up="[0, 0, 1]"):
    """Line of a rib with an offset on a plate."""
    text = STEEL + f'[beam.rib]\nmaterial = "steel"\nwidth_mm = 5\nheight_mm = 5\nup = {up}\noffset_mm = {offset}\n'
    mesh = plate_file(tmp_path / "c.vtu", points, quads, rib=pairs)
    return read_foreign(mesh, parts_file(tmp_path / "p.toml", text))[0]


def test_inward_on_a_closed_curve_with_a_bay(tmp_path):
    """A U of unit cells: half of its rim turns away from the middle of its bounding box."""
    points, quads = grid(5, 4, 5, 4)
    middle = points[quads].mean(axis=1)
    quads = quads[(np.abs(middle[:, 0] - 2.5) > 1) | (middle[:, 1] < 1)]
    pairs, count = np.unique(
        np.sort(quads[:, [0, 1, 1, 2, 2, 3, 3, 0]].reshape(-1, 2), axis=1), axis=0, return_counts=True
    )
    shell = curve_offset(tmp_path, points, quads, pairs[count == 1], "{inward = 3, up = -7}")
    line = shell.lines["rib"]
    inside = shell.nodes[line.edges].mean(axis=1) + 100 * np.where(
        [1, 1, 0], line.offset, 0
    )  # 0.3 m in: well inside a cell
    cells = shell.nodes[shell.triangles][:, :, :2]
    assert len(inside) == np.sum(count == 1)
    assert all(
        any(np.all(cell.min(axis=0) <= p[:2]) and np.all(p[:2] <= cell.max(axis=0)) for cell in cells) for p in inside
    )
    assert line.offset[:, 2] == pytest.approx(-7e-3)
    assert np.linalg.norm(line.offset[:, :2], axis=1) == pytest.approx(3e-3)


def test_inward_on_open_curves(tmp_path):
    """A half circle turns to its centre; a straight edge to the middle of the shell; the middle line has no inside."""
    points, quads = grid(6, 4, 6, 4)
    u = edge(points, points[:, 0] < 1e-9)
    shell = curve_offset(tmp_path, points, quads, u, "{inward = 2}")
    assert shell.lines["rib"].offset == pytest.approx(np.tile([2e-3, 0, 0], (4, 1)))
    shell = curve_offset(tmp_path, points, quads, edge(points, points[:, 1] > 4 - 1e-9), "{inward = 2}", "[0, 0, -1]")
    assert shell.lines["rib"].offset == pytest.approx(np.tile([0, -2e-3, 0], (6, 1)))
    bend = np.vstack([edge(points, points[:, 0] < 1e-9), edge(points, points[:, 1] < 1e-9)])
    line = curve_offset(tmp_path, points, quads, bend, "{inward = 2}").lines["rib"]
    middle = points[line.edges].mean(axis=1)
    assert line.offset == pytest.approx(np.where((middle[:, :1] < 1e-9), [2e-3, 0, 0], [0, 2e-3, 0]))
    with pytest.raises(ValueError, match="which way is inward"):
        curve_offset(tmp_path, points, quads, edge(points, np.abs(points[:, 1] - 2) < 1e-9), "{inward = 2}")


# Boxes


@pytest.mark.parametrize(("version", "binary"), [(2.2, 0), (2.2, 1), (4.1, 0), (4.1, 1)])
def test_box_in_every_gmsh_format(tmp_path, version, binary):
    mesh, sections = read_foreign(box(tmp_path / "box.msh", version, binary), parts_file(tmp_path / "p.toml", BOX))
    assert set(sections) == {"top", "back", "sides", "rib"}
    middle = mesh.nodes[mesh.triangles].mean(axis=1) - [0.2, 0.15, 0.05]
    assert (np.sum(middle * mesh.normal, axis=1) > 0).all()  # outward
    sides = mesh.surfaces["sides"]
    assert np.abs(sides.grain[:, 2]).max() < 1e-9  # the rim runs level
    assert np.abs(np.sum(sides.grain * mesh.normal[sides.triangles], axis=1)).max() < 1e-9
    assert mesh.lines["rib"].offset[:, 2] == pytest.approx(-7.4e-3)


def test_box_without_losses_has_no_heat(tmp_path):
    out = tmp_path / "o.json"
    study.find_modes(box(tmp_path / "box.msh", 4.1, 0), parts_file(tmp_path / "p.toml", BOX), 3, json_path=out)
    result = json.loads(out.read_text())
    assert result["loss_factor"] == [None] * 3
    assert result["losses_not_given_for"] == ["back", "rib", "sides", "top"]
    assert sum(np.array(v) for v in result["strain_energy_share"].values()) == pytest.approx(1, abs=1e-12)
    hand = {
        "top": 2.8e-3 * 0.12,
        "back": 2.8e-3 * 0.12,
        "sides": 2.2e-3 * 0.14,
        "rib": 8e-3 * 12e-3 * math.hypot(0.3, 0.15),
    }
    assert result["mass_kg"] == pytest.approx({part: 420 * volume for part, volume in hand.items()}, rel=1e-9)
    assert max(result["rigid_frequency_hz"]) < 1e-3


def test_one_loss_factor_for_all_is_that_of_every_mode(tmp_path):
    lossy = SPRUCE + "loss_along = 0.01\nloss_across = 0.01\nloss_shear = 0.01\n"
    parts = parts_file(tmp_path / "p.toml", BOX.replace(SPRUCE, lossy))
    result = study.find_modes(box(tmp_path / "box.msh"), parts, 3)
    assert result["loss_factor"] == pytest.approx(
        [0.01] * 3, rel=0.02
    )  # a beam's shear and a plate's Poisson part are split
    assert sum(np.array(v) for v in result["heat_share"].values()) == pytest.approx(1, abs=1e-12)


def test_shuffled_box_gives_the_modes_of_the_box_made_in_place(tmp_path):
    """Nodes renumbered, windings at random, unused nodes, mm; against ShellMesh and sections made here."""
    made = folded_box(0.4, 0.3, 0.1, 3, turn=np.eye(3))
    pairs = made.lines["rib"].edges
    rib = Line(
        pairs, np.tile([0, 0, 1.0], (len(pairs), 1)), np.ones(pairs.shape), np.tile([0, 2e-3, -7e-3], (len(pairs), 1))
    )
    made = ShellMesh(made.nodes, made.triangles, made.normal, made.surfaces, {"rib": rib})
    wood = Wood("spruce", 11.5e9, 0.6e9, 0.7e9, 0.7e9, 0.06e9, 0.4, 420.0)
    sections = {"rib": beam(wood, 0.008, 0.012, -0.006), "sides": laminate([Layer(wood, 2.2e-3)])}
    sections |= {part: laminate([Layer(wood, 2.8e-3)]) for part in ("top", "back")}
    model = assemble(made)
    found = modes(model, weights(sections), 6)

    random = np.random.default_rng(5)
    place = random.permutation(len(made.nodes) + 5)[: len(made.nodes)]
    points = np.full((len(made.nodes) + 5, 3), 7.0)
    points[place] = made.nodes * 1e3
    groups = [("rib", "line", place[pairs][:, ::-1])]
    for name, surface in made.surfaces.items():
        triangles = place[made.triangles[random.permutation(surface.triangles)]]
        flip = random.random(len(triangles)) < 0.5
        groups.append((name, "triangle", np.where(flip[:, None], triangles[:, [0, 2, 1]], triangles)))
    text = BOX.replace("grain = [1, 0, 0]", "grain = [1, 0.3, 0]")
    text = 'length_unit = "mm"\n' + text.replace("{inward = 0, up = -7.4}", "[0, 2, -7]")
    mesh = marked_file(tmp_path / "b.vtu", points, groups)
    shell, read = read_foreign(mesh, parts_file(tmp_path / "p.toml", text))
    again = assemble(shell)
    assert again.size == model.size
    assert modes(again, weights(read), 6).frequency == pytest.approx(found.frequency, rel=1e-7)
    assert masses(again, read) == pytest.approx(masses(model, sections), rel=1e-9)
    held = fixed_unknowns(again.space, ["back"])
    assert len(held) == len(fixed_unknowns(model.space, ["back"])) > 0
