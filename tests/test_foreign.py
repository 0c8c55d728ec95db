"""Foreign shell meshes through the whole path: file and parts sheet to modes, and what is refused."""

import json
import math

import numpy as np
import pytest

from meshes.foreign import read_foreign
from studies import modes as study

gmsh = pytest.importorskip("gmsh")
meshio = pytest.importorskip("meshio")

STEEL = """
[material.steel]
E_GPa = 200
nu = 0.3
density_kg_m3 = 8000
loss = 0.002
[part.plate]
material = "steel"
thickness_mm = 50
"""
SPRUCE = """
[material.spruce]
E_along_GPa = 11.5
E_across_GPa = 0.6
nu_along_across = 0.4
G_in_plane_GPa = 0.7
G_along_normal_GPa = 0.7
G_across_normal_GPa = 0.06
density_kg_m3 = 420
"""


def grid(nx, ny, a, b, skew=0.0):
    """Points (n, 3) and quadrilaterals of a plate."""
    x, y = np.meshgrid(np.linspace(0, a, nx + 1), np.linspace(0, b, ny + 1), indexing="ij")
    points = np.column_stack([(x + skew * y).ravel(), y.ravel(), 0 * x.ravel()])
    i, j = (v.ravel() for v in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
    k = i * (ny + 1) + j
    return points, np.column_stack([k, k + ny + 1, k + ny + 2, k + 1])


def plate_file(path, points, quads, scale=1.0, **curves):
    """A mesh file with the surface group 'plate' and named curve groups {name: pairs}."""
    cells = [("quad", quads), *(("line", np.asarray(pairs)) for pairs in curves.values())]
    names = ["plate", *curves]
    sets = {
        name: [np.arange(len(c)) if k == n else np.zeros(0, int) for k, (_, c) in enumerate(cells)]
        for n, name in enumerate(names)
    }
    data = {
        name: [np.isin(np.arange(len(c)), s).astype(int) for (_, c), s in zip(cells, v)] for name, v in sets.items()
    }
    meshio.Mesh(points * scale, cells, cell_data=data).write(path)
    return path


def parts_file(path, text):
    path.write_text(text)
    return path


def edge(points, at):
    """Pairs of neighbours along the nodes where `at` is true, in order of x + 2 y."""
    nodes = np.flatnonzero(at)
    nodes = nodes[np.argsort(points[nodes, 0] + 2 * points[nodes, 1])]
    return np.column_stack([nodes[:-1], nodes[1:]])


def frequencies(mesh, parts, count, **more):
    return np.array(study.run(mesh, parts, count, **more)["frequency_hz"])


@pytest.mark.parametrize(("case", "fixed"), [("nafems_fv12", ()), ("nafems_fv16", ("root",))])
def test_nafems_plate(tmp_path, literature, case, fixed):
    """NAFEMS FV12 (free) and FV16 (cantilever) against converged values; 0.5 %: cubic triangles 1.25 m on 0.05 m thickness."""
    points, quads = grid(8, 8, 10, 10)
    mesh = plate_file(tmp_path / "plate.vtu", points, quads, root=edge(points, points[:, 0] < 1e-9))
    found = frequencies(mesh, parts_file(tmp_path / "p.toml", STEEL), 6, fix=fixed)
    assert found == pytest.approx(literature[case]["exact"], rel=0.005)


def test_held_edge_is_softer_than_clamped(tmp_path):
    points, quads = grid(4, 4, 10, 10)
    mesh = plate_file(tmp_path / "plate.vtu", points, quads, root=edge(points, points[:, 0] < 1e-9))
    parts = parts_file(tmp_path / "p.toml", STEEL)
    clamped, held = (frequencies(mesh, parts, 4, **{how: ("root",)}) for how in ("fix", "hold"))
    assert held[0] > clamped[0]  # swinging about the held edge is rigid: projected out, so this mode bends
    assert held[1] < clamped[2]
    told = study.run(mesh, parts, 4, hold=("root",))["rigid_frequency_hz"]
    assert len(told) == 1 and told[0] < 1e-3


def test_millimetres_and_metres_agree(tmp_path):
    points, quads = grid(3, 5, 10, 7, skew=0.2)
    metres = plate_file(tmp_path / "m.vtu", points, quads)
    millimetres = plate_file(tmp_path / "mm.vtu", points, quads, scale=1e3)
    parts = parts_file(tmp_path / "m.toml", STEEL)
    other = parts_file(tmp_path / "mm.toml", 'length_unit = "mm"\n' + STEEL)
    assert frequencies(millimetres, other, 5) == pytest.approx(frequencies(metres, parts, 5), rel=1e-9)


def test_grain_mirrors_and_does_not_commute(tmp_path):
    """A skewed plate with grain at +27 degrees is the mirror image of the plate skewed the other way at -27."""

    def at(skew, degrees):
        points, quads = grid(6, 5, 0.4, 0.3, skew)
        mesh = plate_file(tmp_path / "plate.vtu", points, quads)
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        text = f'{SPRUCE}[part.plate]\nmaterial = "spruce"\nthickness_mm = 3\ngrain = [{c}, {s}, 0]\n'
        return frequencies(mesh, parts_file(tmp_path / "p.toml", text), 5)

    right = at(0.5, 27)
    assert at(-0.5, -27) == pytest.approx(right, rel=4e-3)  # the triangles' diagonals do not mirror
    assert np.max(np.abs(at(0.5, -27) / right - 1)) > 0.02


def test_centred_and_eccentric_rib_bend_as_composite_beams(tmp_path):
    """First free-free bending mode of a narrow strip with a rib, E_strip = E_rib: Euler-Bernoulli 22.3733 sqrt(EI / m L^4) / 2 pi.

    0.5 %: the strip is 40 times as long as deep, shear lowers the mode by 0.3 %.
    """
    L, w, h, b, d = 1.0, 0.02, 0.01, 0.01, 0.015
    points, quads = grid(20, 2, L, w)
    mesh = plate_file(tmp_path / "s.vtu", points, quads, rib=edge(points, np.abs(points[:, 1] - w / 2) < 1e-9))
    for offset in (0.0, -(h + d) / 2):
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
up = [0, 0, 1]
offset_mm = [0, 0, {1e3 * offset}]
"""
        areas, places = np.array([w * h, b * d]), np.array([0.0, offset])
        neutral = areas @ places / areas.sum()
        inertia = w * h**3 / 12 + b * d**3 / 12 + areas @ (places - neutral) ** 2
        hand = 22.3733 / (2 * np.pi) * math.sqrt(10e9 * inertia / (500 * areas.sum() * L**4))
        result = study.run(mesh, parts_file(tmp_path / "p.toml", text), 12)
        flat = [f for k, f in enumerate(result["frequency_hz"]) if abs(f / hand - 1) < 0.005]
        assert flat, (hand, result["frequency_hz"])
        assert result["mass_kg"]["rib"] == pytest.approx(500 * b * d * L)


def box(path, version, binary):
    """A gmsh box with groups top, back, sides and a rib across the top; returns the path."""
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        occ = gmsh.model.occ
        volume = occ.addBox(0, 0, 0, 0.4, 0.3, 0.1)
        line = occ.addLine(occ.addPoint(0.05, 0.05, 0.1), occ.addPoint(0.35, 0.2, 0.1))
        _, pieces = occ.fragment([(2, s) for s in range(1, 7)], [(1, line)])
        occ.remove([(3, volume)])
        occ.synchronize()
        groups = {"top": [], "back": [], "sides": []}
        for _, tag in gmsh.model.getEntities(2):
            z = occ.getCenterOfMass(2, tag)[2]
            groups["top" if z > 0.099 else "back" if z < 0.001 else "sides"].append(tag)
        for name, tags in groups.items():
            gmsh.model.addPhysicalGroup(2, tags, name=name)
        gmsh.model.addPhysicalGroup(1, [tag for _, tag in pieces[-1]], name="rib")
        gmsh.option.setNumber("Mesh.MeshSizeMax", 0.1)
        gmsh.model.mesh.generate(2)
        gmsh.option.setNumber("Mesh.MshFileVersion", version)
        gmsh.option.setNumber("Mesh.Binary", binary)
        gmsh.write(str(path))
    finally:
        gmsh.finalize()
    return path


BOX = (
    SPRUCE
    + "".join(f'[part.{p}]\nmaterial = "spruce"\nthickness_mm = 2.8\ngrain = [1, 0, 0]\n' for p in ("top", "back"))
    + """
[part.sides]
material = "spruce"
thickness_mm = 2.2
grain = "rim"
[beam.rib]
material = "spruce"
width_mm = 8
height_mm = 12
up = [0, 0, 1]
offset_mm = {inward = 0, up = -7.4}
"""
)


@pytest.mark.parametrize(("version", "binary"), [(2.2, 0), (2.2, 1), (4.1, 0), (4.1, 1)])
def test_box_in_every_gmsh_format(tmp_path, version, binary):
    mesh, sections = read_foreign(box(tmp_path / "box.msh", version, binary), parts_file(tmp_path / "p.toml", BOX))
    assert set(sections) == {"top", "back", "sides", "rib"}
    middle = mesh.nodes[mesh.triangles].mean(axis=1) - [0.2, 0.15, 0.05]
    assert (np.sum(middle * mesh.normal, axis=1) > 0).all()  # outward
    sides = mesh.surfaces["sides"]
    assert np.abs(sides.grain[:, 2]).max() < 1e-9  # the rim runs level
    rib = mesh.lines["rib"]
    assert np.linalg.norm(np.diff(mesh.nodes[rib.edges], axis=1), axis=2).sum() == pytest.approx(math.hypot(0.3, 0.15))
    assert rib.offset[:, 2] == pytest.approx(-7.4e-3)


def test_box_without_losses_has_no_heat(tmp_path):
    out = tmp_path / "o.json"
    study.run(box(tmp_path / "box.msh", 4.1, 0), parts_file(tmp_path / "p.toml", BOX), 3, json_path=out)
    result = json.loads(out.read_text())
    assert result["loss_factor"] == [None] * 3
    assert result["losses_not_given_for"] == ["back", "rib", "sides", "top"]
    assert sum(np.array(v) for v in result["strain_energy_share"].values()) == pytest.approx(1, abs=1e-12)
    assert result["mass_kg"]["top"] == pytest.approx(420 * 2.8e-3 * 0.12)
    assert max(result["rigid_frequency_hz"]) < 1e-3


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[part.top]", "[part.topp]", ["'top' has no [part.top]", "did you mean 'top'?"]),
        ("[beam.rib]", "[beam.rip]", ["[beam.rip] names no curve group", "did you mean 'rib'?"]),
        ("thickness_mm = 2.2", "thickness_mm = -2.2", ["part.sides.thickness_mm", "-2.2", "did you mean 2.2?"]),
        ("thickness_mm = 2.2", "thickness_mm = nan", ["part.sides.thickness_mm"]),
        ("density_kg_m3 = 420", "density_kg_m3 = 0.42", ["material.spruce.density_kg_m3", "0.42"]),
        ('grain = "rim"', 'grain = "rum"', ["part.sides.grain"]),
        ('material = "spruce"\nthickness_mm = 2.2', 'material = "sprce"\nthickness_mm = 2.2', ["sprce", "did you mean 'spruce'?"]),
        ("nu_along_across = 0.4", "nu_along_across = 4.9", ["impossible"]),
        ("G_in_plane_GPa = 0.7\n", "", ["G_in_plane_GPa"]),
        ("up = [0, 0, 1]", "up = [0, 0, 0]", ["up"]),
        ("up = [0, 0, 1]", "up = [2, 1, 0]", ["beam.rib.up", "along the curve"]),
        ("grain = [1, 0, 0]", "grain = [0, 0, 1]", ["grain", "square to the surface"]),
        ("[part.sides]", "[part.sides", ["not TOML"]),
    ],
)  # fmt: skip
def test_mistakes_are_told(tmp_path, old, new, words):
    assert old in BOX
    with pytest.raises(ValueError) as told:
        read_foreign(box(tmp_path / "box.msh", 4.1, 0), parts_file(tmp_path / "p.toml", BOX.replace(old, new, 1)))
    assert all(word in str(told.value) for word in words), str(told.value)


def test_meshes_that_cannot_serve(tmp_path):
    parts = parts_file(tmp_path / "p.toml", STEEL)
    points, quads = grid(2, 2, 10, 10)
    nameless = tmp_path / "n.vtu"
    meshio.Mesh(points, [("quad", quads)]).write(nameless)
    with pytest.raises(ValueError, match="no named surface groups"):
        read_foreign(nameless, parts)
    apart = plate_file(
        tmp_path / "a.vtu", np.vstack([points, points + [20, 0, 0]]), np.vstack([quads, quads + len(points)])
    )
    with pytest.raises(ValueError, match="2 pieces"):
        read_foreign(apart, parts)
    across = plate_file(tmp_path / "c.vtu", points, quads, cut=[[0, 8]])
    with pytest.raises(ValueError, match="'cut' leaves the shell"):
        read_foreign(across, parts)
    broken = tmp_path / "b.msh"
    broken.write_text("$MeshFormat\n4.1 0 8\n")
    with pytest.raises(ValueError, match="cannot be read"):
        read_foreign(broken, parts)
