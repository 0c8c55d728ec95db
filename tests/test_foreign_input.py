"""Foreign shell meshes: which way triangles face, and what is refused."""

import meshio
import numpy as np
import pytest
from foreign_cases import BOX, STEEL, box, grid, marked_file, parts_file, plate_file
from shell_cases import folded_box

from meshes.foreign import outward_normals, read_foreign

# Normals


def shuffled(triangles):
    flip = np.random.default_rng(2).random(len(triangles)) < 0.5
    return np.where(flip[:, None], triangles[:, [0, 2, 1]], triangles)


def test_inner_wall_does_not_turn_the_box(tmp_path):
    """Where three triangles meet nothing is carried over; each half of the box still faces outward."""
    made = folded_box(0.4, 0.3, 0.1, 4, turn=np.eye(3), braces=False)
    at = np.flatnonzero(np.abs(made.nodes[:, 0] - 0.2) < 1e-9)
    ring = at[np.argsort(np.arctan2(made.nodes[at, 2] - 0.05, made.nodes[at, 1] - 0.15))]
    nodes = np.vstack([made.nodes, [[0.2, 0.15, 0.05]]])
    wall = np.column_stack([ring, np.roll(ring, -1), np.full(len(ring), len(nodes) - 1)])
    normal = outward_normals(nodes, shuffled(np.vstack([wall, made.triangles])))
    assert normal[len(wall) :] == pytest.approx(made.normal, abs=1e-12)
    assert normal[: len(wall)] == pytest.approx(np.tile([1.0, 0, 0], (len(wall), 1)), abs=1e-12)


def test_fin_on_a_plate_is_turned_on_its_own():
    """Carried over from the left half, which faces up, the fin would face -x."""
    points = np.array([(0, 0, 0), (0, 1, 0), (0, 0.5, 1), (-1, 0.5, 0), (1, 0.5, 0)])
    normal = outward_normals(points, np.array([(0, 2, 1), (0, 3, 1), (0, 1, 4)]))
    assert normal == pytest.approx(np.array([(1, 0, 0), (0, 0, 1), (0, 0, 1)]))


@pytest.mark.parametrize(
    ("columns", "expected"),
    [([0, 1, 2], [0, 0, 1]), ([2, 0, 1], [1, 0, 0]), ([0, 2, 1], [0, 1, 0])],
    ids=["flat", "in the y-z plane", "in the x-z plane"],
)
def test_sheets_face_up_or_along_their_axis(columns, expected):
    points, quads = grid(3, 2, 3, 2)
    triangles = shuffled(np.vstack([quads[:, :3], quads[:, [0, 2, 3]]]))
    assert outward_normals(points[:, columns], triangles) == pytest.approx(np.tile(expected, (12, 1)))


# What is refused


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[part.top]", "[part.topp]", ["box.msh: surface group 'top' has no [part.top]", "did you mean 'top'?"]),
        ("[beam.rib]", "[beam.rip]", ["[beam.rip] names no curve group", "did you mean 'rib'?"]),
        ("up = [0, 0, 1]", "up = [2, 1, 0]", ["beam.rib.up", "along the curve"]),
        ("grain = [1, 0, 0]", "grain = [0, 0, 1]", ["part.top.grain", "square to the surface"]),
        ("grain = [1, 0, 0]", 'grain = "rim"', ["part.top.grain", "lies flat near (", "upright"]),
        ("thickness_mm = 2.8", "thickness_mm = 28", ["part.top.thickness_mm = 28", "did you mean 2.8?"]),
        ("[material.spruce]", "length_unit = 'mm'\n[material.spruce]", ["part.top.thickness_mm = 2.8 on a shell", "did you mean 'm'?"]),
        ("up = -7.4", "up = -740", ["beam.rib.offset_mm", "smaller than the shell"]),
    ],
)  # fmt: skip
def test_mistakes_against_the_mesh(tmp_path, old, new, words):
    assert old in BOX
    with pytest.raises(ValueError) as told:
        read_foreign(box(tmp_path / "box.msh"), parts_file(tmp_path / "p.toml", BOX.replace(old, new, 1)))
    assert all(word in str(told.value) for word in words), str(told.value)


def test_isotropic_parts_need_no_grain_that_fits(tmp_path):
    """Grain along x on a box whose ends are square to x: refused for wood, of no matter for metal."""
    metal = BOX.split("[part.top]")[1].replace('"spruce"', '"steel"').replace('"rim"', "[1, 0, 0]")
    metal = STEEL.split("[part.plate]")[0] + "[part.top]" + metal
    shell, _ = read_foreign(box(tmp_path / "box.msh"), parts_file(tmp_path / "p.toml", metal))
    assert np.linalg.norm(shell.surfaces["sides"].grain, axis=1) == pytest.approx(1)
    with pytest.raises(ValueError, match=r"part\.sides\.grain"):
        read_foreign(tmp_path / "box.msh", parts_file(tmp_path / "p.toml", BOX.replace('"rim"', "[1, 0, 0]")))


def test_mesh_in_millimetres_read_as_metres(tmp_path):
    points, quads = grid(3, 2, 400, 300)
    mesh = plate_file(tmp_path / "p.vtu", points, quads)
    with pytest.raises(ValueError, match="length_unit = 'm'; did you mean 'mm'"):
        read_foreign(mesh, parts_file(tmp_path / "p.toml", STEEL.replace("= 50", "= 2.8")))


def test_all_mistakes_against_the_mesh_at_once(tmp_path):
    text = BOX.replace("grain = [1, 0, 0]", "grain = [0, 0, 1]").replace("up = [0, 0, 1]", "up = [2, 1, 0]")
    with pytest.raises(ValueError) as told:
        read_foreign(box(tmp_path / "box.msh"), parts_file(tmp_path / "p.toml", text))
    lines = str(told.value).splitlines()
    assert len(lines) == 3
    assert all(any(key in line for line in lines) for key in ("part.top.grain", "part.back.grain", "beam.rib.up"))


def refused(tmp_path, words, points, groups):
    parts = parts_file(tmp_path / "p.toml", STEEL)
    with pytest.raises(ValueError, match=words):
        read_foreign(marked_file(tmp_path / "m.vtu", points, groups), parts)


def test_nameless_mesh(tmp_path):
    points, quads = grid(2, 2, 10, 10)
    meshio.Mesh(points, [("quad", quads)]).write(tmp_path / "n.vtu")
    with pytest.raises(ValueError, match=r"n\.vtu: has no named surface groups"):
        read_foreign(tmp_path / "n.vtu", parts_file(tmp_path / "p.toml", STEEL))


@pytest.mark.parametrize(
    ("far", "words"),
    [(20, r"2 pieces that share no nodes \(plate \| plate\)"), (10, "3 nodes lie on another node: merge them")],
)
def test_shell_in_two_pieces(tmp_path, far, words):
    points, quads = grid(2, 2, 10, 10)
    both = np.vstack([points, points + np.array([far, 0, 0])])
    refused(tmp_path, words, both, [("plate", "quad", np.vstack([quads, quads + 9]))])


def test_curve_across_the_triangles(tmp_path):
    points, quads = grid(2, 2, 10, 10)
    groups = [("plate", "quad", quads), ("cut", "line", [[0, 8], [0, 1]])]
    refused(tmp_path, r"'cut' leaves the shell: 1 of its 2 edges.*near \(5, 5, 0\)", points, groups)


def test_coordinates_that_make_no_shell(tmp_path):
    points, quads = grid(2, 2, 10, 10)
    refused(tmp_path, "not finite", np.vstack([points[:8], [[np.nan, 0, 0]]]), [("plate", "quad", quads)])
    points[4] = points[3]
    refused(tmp_path, r"2 triangles have no area, the first one near", points, [("plate", "quad", quads)])


def test_triangles_in_no_group(tmp_path):
    points, quads = grid(2, 2, 10, 10)
    mesh = plate_file(tmp_path / "p.vtu", points, quads)
    raw = meshio.read(mesh)
    raw.cell_data["plate"][0][0] = 0
    raw.write(mesh)
    with pytest.raises(ValueError, match="2 of 8 triangles belong to no named group"):
        read_foreign(mesh, parts_file(tmp_path / "p.toml", STEEL))
