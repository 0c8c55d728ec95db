"""Foreign mesh files: every format, kind of cell and way of naming groups; what cannot serve."""

import meshio
import numpy as np
import pytest
from foreign_cases import RIB_LENGTH, box, grid, marked_file

from meshes.mesh_file import read_mesh_file

AREAS = {"top": 0.12, "back": 0.12, "sides": 0.14}  # m2 of the box 0.4 x 0.3 x 0.1


def area(found, group):
    a, b, c = (found.points[found.triangles[found.faces[group], k]] for k in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2


def length(found, group):
    return np.linalg.norm(np.diff(found.points[found.edges[group]], axis=1), axis=2).sum()


@pytest.mark.parametrize(("version", "binary"), [(2.2, 0), (2.2, 1), (4.1, 0), (4.1, 1)])
@pytest.mark.parametrize("how", [{}, {"order": 2}, {"order": 4}, {"quads": True}, {"quads": True, "order": 2}], ids=str)
def test_every_gmsh_format(tmp_path, version, binary, how):
    """Flat faces, so areas and the rib's length are exact whatever the cells; midside nodes are dropped."""
    found = read_mesh_file(box(tmp_path / "box.msh", version, binary, **how))
    assert {name: area(found, name) for name in found.faces} == pytest.approx(AREAS, rel=1e-9)
    assert list(found.edges) == ["rib"]
    assert length(found, "rib") == pytest.approx(RIB_LENGTH, rel=1e-9)
    assert np.array_equal(np.unique(found.triangles), np.arange(len(found.points)))  # no unused points
    assert len(found.points) - 1.5 * len(found.triangles) + len(found.triangles) == 2  # Euler: a closed box


@pytest.mark.parametrize("binary", [0, 1])
def test_gmsh_file_with_cells_in_no_group(tmp_path, binary):
    """gmsh's 'save all elements': points and curves without a group stand in the file and do no harm."""
    found = read_mesh_file(box(tmp_path / "box.msh", 4.1, binary, save_all=1))
    assert {name: area(found, name) for name in found.faces} == pytest.approx(AREAS, rel=1e-9)
    assert list(found.edges) == ["rib"]


def test_gmsh_2_2_with_all_elements_has_lost_its_groups(tmp_path):
    found = read_mesh_file(box(tmp_path / "box.msh", 2.2, 0, save_all=1))
    assert not found.faces
    assert "save all elements" in found.hint and "top" in found.hint


@pytest.mark.parametrize("version", [2.2, 4.1])
def test_triangle_in_two_groups_stands_once(tmp_path, version):
    """gmsh 2.2 writes such a triangle twice."""
    found = read_mesh_file(box(tmp_path / "box.msh", version, 0, extra=True))
    assert np.array_equal(np.sort(found.faces["patch"]), np.sort(found.faces["back"]))
    assert area(found, "patch") == pytest.approx(0.12, rel=1e-9)
    assert len(np.unique(np.sort(found.triangles, axis=1), axis=0)) == len(found.triangles)


def two_halves():
    """Points, quadrilaterals and the indices of those left of the middle, of a plate 4 x 1; the lower edge as lines."""
    points, quads = grid(4, 2, 4, 1)
    lower = np.flatnonzero(points[:, 1] == 0)
    return points, quads, points[quads].mean(axis=1)[:, 0] < 2, np.column_stack([lower[:-1], lower[1:]])


def as_sets(path):
    """meshio turns cell sets into one array 'left-right_half-edge' of set numbers."""
    points, quads, left, lines = two_halves()
    none = np.zeros(0, int)
    sets = {
        "left": [np.flatnonzero(left), none],
        "right_half": [np.flatnonzero(~left), none],
        "edge": [none, np.arange(len(lines))],
    }
    meshio.Mesh(points, [("quad", quads), ("line", lines)], cell_sets=sets).write(path)


def as_sets_with_a_dash(path):
    """A name with '-' makes meshio join with another sign."""
    points, quads, left, lines = two_halves()
    none = np.zeros(0, int)
    sets = {
        "left": [np.flatnonzero(left), none],
        "right-half": [np.flatnonzero(~left), none],
        "edge": [none, np.arange(len(lines))],
    }
    meshio.Mesh(points, [("quad", quads), ("line", lines)], cell_sets=sets).write(path)


def as_marks(path):
    points, quads, left, lines = two_halves()
    groups = [("left", "quad", quads[left]), ("right_half", "quad", quads[~left]), ("edge", "line", lines)]
    marked_file(path, points, groups)


def as_numbers(key):
    def write(path):
        points, quads, left, lines = two_halves()
        numbers = [np.where(left, 1, 2), np.full(len(lines), 1)]  # gmsh counts groups of each dimension afresh
        mesh = meshio.Mesh(points, [("quad", quads), ("line", lines)], cell_data={key: numbers})
        mesh.write(path)
        fields = "".join(
            f'<DataArray type="Int64" Name="{name}" NumberOfTuples="2" format="ascii">{n} {dim}</DataArray>'
            for name, (n, dim) in {"left": (1, 2), "right_half": (2, 2), "edge": (1, 1)}.items()
        )
        text = path.read_text().replace("<UnstructuredGrid>", f"<UnstructuredGrid><FieldData>{fields}</FieldData>")
        path.write_text(text)

    return write


def as_msh(file_format):
    def write(path):
        points, quads, left, lines = two_halves()
        numbers = [np.where(left, 1, 2), np.full(len(lines), 1)]
        mesh = meshio.Mesh(
            points, [("quad", quads), ("line", lines)], cell_data={"gmsh:physical": numbers, "gmsh:geometrical": numbers},
            field_data={"left": np.array([1, 2]), "right_half": np.array([2, 2]), "edge": np.array([1, 1])},
        )  # fmt: skip
        mesh.write(path, file_format=file_format, binary=False)

    return write


@pytest.mark.parametrize(
    ("suffix", "write", "right"),
    [
        ("vtu", as_sets, "right_half"), ("vtu", as_sets_with_a_dash, "right-half"), ("vtu", as_marks, "right_half"),
        ("vtu", as_numbers("part"), "right_half"), ("vtu", as_numbers("gmsh:physical"), "right_half"),
        ("msh", as_msh("gmsh22"), "right_half"),
    ],
    ids=["joined sets", "joined sets with a dash", "0/1 arrays", "part numbers", "physical numbers", "msh by meshio"],
)  # fmt: skip
def test_every_way_of_naming_groups(tmp_path, suffix, write, right):
    write(tmp_path / f"plate.{suffix}")
    found = read_mesh_file(tmp_path / f"plate.{suffix}")
    assert {name: area(found, name) for name in found.faces} == pytest.approx({"left": 2.0, right: 2.0})
    middle = found.points[found.triangles].mean(axis=1)[:, 0]
    assert (middle[found.faces["left"]] < 2).all() and (middle[found.faces[right]] > 2).all()
    assert {name: length(found, name) for name in found.edges} == pytest.approx({"edge": 4.0})


@pytest.mark.parametrize("version", [2.2, 4.1])
def test_group_of_reversed_surfaces(tmp_path, version):
    """gmsh numbers a group of reversed surfaces with a minus sign in its format 4.1."""
    found = read_mesh_file(box(tmp_path / "box.msh", version, reverse=True))
    assert {name: area(found, name) for name in found.faces} == pytest.approx(AREAS, rel=1e-9)


def test_joined_names_that_could_be_read_in_two_ways(tmp_path):
    """'left-right_half': meshio would not join with '_' without need, so the names are 'left' and 'right_half'."""
    points, quads, left, _ = two_halves()
    sets = {"left": [np.flatnonzero(left)], "right_half": [np.flatnonzero(~left)]}
    meshio.Mesh(points, [("quad", quads)], cell_sets=sets).write(tmp_path / "p.vtu")
    assert list(read_mesh_file(tmp_path / "p.vtu").faces) == ["left", "right_half"]


def test_single_cell_set(tmp_path):
    """meshio numbers the one set 0 everywhere."""
    points, quads = grid(3, 2, 3, 2)
    meshio.Mesh(points, [("quad", quads)], cell_sets={"plate": [np.arange(6)]}).write(tmp_path / "p.vtu")
    assert area(read_mesh_file(tmp_path / "p.vtu"), "plate") == pytest.approx(6.0)


def test_other_cell_arrays_name_no_groups(tmp_path):
    points, quads = grid(3, 2, 3, 2)
    data = {
        "plate": [np.ones(6, int)],
        "state": [np.zeros(6, int)],
        "stress": [np.linspace(0, 1, 6)],
        "id": [np.arange(6)],
    }
    meshio.Mesh(points, [("quad", quads)], cell_data=data).write(tmp_path / "p.vtu")
    assert list(read_mesh_file(tmp_path / "p.vtu").faces) == ["plate"]


def test_numbers_without_names(tmp_path):
    points, quads = grid(3, 2, 3, 2)
    meshio.Mesh(points, [("quad", quads)], cell_data={"gmsh:physical": [np.arange(6)]}).write(tmp_path / "p.vtu")
    found = read_mesh_file(tmp_path / "p.vtu")
    assert not found.faces and "numbers but no names" in found.hint


def test_quadrilaterals_are_cut_along_the_shorter_diagonal(tmp_path):
    """Also one with an inward corner, whose longer diagonal would lie outside, and one collapsed to a triangle."""
    points = np.array([(0, 0), (2, 0.2), (3, 2), (0.9, 1), (0, -1)], float)  # a dart at corner 3, read as 2-D or 3-D
    dart, collapsed = [0, 1, 2, 3], [0, 4, 1, 1]
    marked_file(tmp_path / "p.vtu", np.column_stack([points, 0 * points[:, 0]]), [("plate", "quad", [dart, collapsed])])
    found = read_mesh_file(tmp_path / "p.vtu")
    assert {tuple(sorted(t)) for t in found.triangles.tolist()} == {(0, 1, 3), (1, 2, 3), (0, 1, 4)}


def test_coincident_nodes_stay_apart(tmp_path):
    points, quads = grid(2, 1, 2, 1)
    points, quads = np.vstack([points, points + np.array([2, 0, 0])]), np.vstack([quads, quads + len(points)])
    marked_file(tmp_path / "p.vtu", points, [("plate", "quad", quads)])
    assert len(read_mesh_file(tmp_path / "p.vtu").points) == len(points)


def test_unused_points_are_dropped(tmp_path):
    points, quads = grid(2, 1, 2, 1)
    marked_file(tmp_path / "p.vtu", np.vstack([[[9, 9, 9]], points]), [("plate", "quad", quads + 1)])
    found = read_mesh_file(tmp_path / "p.vtu")
    assert np.array_equal(found.points, points)


def test_curve_off_the_triangles_is_told(tmp_path):
    points, quads = grid(2, 1, 2, 1)
    points = np.vstack([points, [[0, 5, 0], [1, 5, 0]]])
    marked_file(tmp_path / "p.vtu", points, [("plate", "quad", quads), ("bar", "line", [[6, 7]])])
    with pytest.raises(ValueError, match="'bar' leaves the shell"):
        read_mesh_file(tmp_path / "p.vtu")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.msh", b""), ("empty.vtu", b""), ("noise.msh", bytes(range(256))), ("noise.vtu", bytes(range(256))),
        ("cut.msh", b"$MeshFormat\n4.1 0 8\n$EndMeshFormat\n$Nodes\n1 3 1 3\n2 1 0 3\n1\n2\n"),
        ("head.msh", b"$MeshFormat\n4.1 0 8\n"), ("other.vtu", b"<VTKFile type='PolyData'></VTKFile>"),
    ],
)  # fmt: skip
def test_unreadable_files_are_told_in_one_line(tmp_path, capfd, name, content):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(ValueError, match=f"^{name}: cannot be read as a mesh.*expected a sound mesh file") as told:
        read_mesh_file(tmp_path / name)
    assert "\n" not in str(told.value)
    assert capfd.readouterr() == ("", "")


def test_volume_mesh_is_no_shell(tmp_path):
    points = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], float)
    meshio.Mesh(points, [("tetra", [[0, 1, 2, 3]])]).write(tmp_path / "t.vtu")
    with pytest.raises(ValueError, match="no triangles or quadrilaterals"):
        read_mesh_file(tmp_path / "t.vtu")
