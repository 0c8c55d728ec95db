"""Displacement of a shell at points beside it: nearest place by brute force, rigid motions, cubic fields, blocks."""

import numpy as np
import pytest
import shell_cases as cases
from skfem import Basis, ElementTetP2, MeshTet

from fem.elements import space
from fem.interpolate import closest_in, nearest_on, normal_displacement, triangles_of, volume_rows


@pytest.fixture(scope="module")
def box():
    return space(cases.folded_box(0.3, 0.2, 0.08, 3, braces=False))


def test_nearest_place_by_brute_force():
    """Against a fine sampling of every triangle, of very unequal sizes: none may be missed, however large."""
    rng = np.random.default_rng(1)
    size = np.where(np.arange(60) < 5, 2.0, 0.05)
    corners = rng.uniform(-1, 1, (60, 1, 3)) + size[:, None, None] * rng.uniform(-1, 1, (60, 3, 3))
    points = rng.uniform(-1.5, 1.5, (80, 3))
    found, place = nearest_on(corners, points)
    s, t = np.meshgrid(np.linspace(0, 1, 60), np.linspace(0, 1, 60))
    s, t = s[s + t <= 1], t[s + t <= 1]
    samples = np.einsum("ks,mki->smi", np.array([1 - s - t, s, t]), corners)
    gap = np.array([np.linalg.norm(samples - p, axis=2).min() for p in points])
    distance = np.linalg.norm(place - points, axis=1)
    assert np.all(distance <= gap + 1e-12)
    assert distance == pytest.approx(gap, abs=0.05)
    own = closest_in(corners[found], points)
    assert own == pytest.approx(place)


def test_nearest_place_inside_on_an_edge_and_at_a_corner():
    corners = np.array([[[0, 0, 0], [2, 0, 0], [0, 2, 0]]] * 4, float)
    points = np.array([[0.5, 0.4, 3], [1, -1, 1], [2, 2, 0], [-1, -2, 1]])
    assert closest_in(corners, points) == pytest.approx(np.array([[0.5, 0.4, 0], [1, 0, 0], [1, 1, 0], [0, 0, 0]]))


def test_rigid_motion_of_points_beside_the_shell(box):
    """Points up to 40 mm off the surface, moved and turned with it."""
    rng = np.random.default_rng(2)
    points = box.points[rng.integers(0, len(box.points), 50)] + rng.uniform(-0.04, 0.04, (50, 3))
    normals = rng.normal(size=(50, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    shift, turn = np.array([0.3, -0.7, 0.2]), np.array([-1.1, 0.4, 0.9])
    y = np.column_stack([shift + np.cross(turn, box.points), np.tile(turn, (len(box.points), 1))]).ravel()
    hand = np.sum((shift + np.cross(turn, points)) * normals, axis=1)
    assert normal_displacement(box, ("top", "back", "sides"), points, normals) @ y == pytest.approx(hand)


def test_cubic_field_comes_out_exactly():
    """The shell's own cubics, not the nearest node: w = x^3 - 2 x y^2 + y^2 on a flat plate, anywhere."""
    plate = space(cases.plate(0.4, 0.3, 3, 2, irregular=0.3))
    x, y = plate.points[:, :2].T
    field = np.zeros((len(x), 6))
    field[:, 2] = x**3 - 2 * x * y**2 + y**2
    rng = np.random.default_rng(3)
    at = rng.uniform([0, 0, -0.01], [0.4, 0.3, 0.01], (40, 3))
    found = normal_displacement(plate, ("plate",), at, np.tile([0, 0, 1.0], (40, 1))) @ field.ravel()
    x, y = at[:, :2].T
    assert found == pytest.approx(x**3 - 2 * x * y**2 + y**2, abs=1e-12)


def test_quadratic_pressure_comes_out_exactly_inside_and_the_walls_outside():
    """p = x^2 - 3 y z + z on graded quadratic tetrahedra; 5 mm outside, the value at the wall."""
    x = np.array([0.0, 0.01, 0.03, 0.1, 0.4])
    mesh = MeshTet.init_tensor(x, np.linspace(0, 0.3, 4), np.linspace(0, 0.1, 3))
    basis = Basis(mesh, ElementTetP2())
    pressure = lambda x, y, z: x**2 - 3 * y * z + z
    field = pressure(*basis.doflocs)
    rng = np.random.default_rng(4)
    at = rng.uniform(0, [0.4, 0.3, 0.1], (300, 3))
    assert volume_rows(basis, at) @ field == pytest.approx(pressure(*at.T), abs=1e-12)
    found = volume_rows(basis, np.column_stack([at[:, :2], np.full(300, 0.105)])) @ field
    assert found == pytest.approx(pressure(at[:, 0], at[:, 1], 0.1), abs=1e-9)


def test_only_the_named_parts_are_asked(box):
    """Beside a fold, the top and the side that meet there move as one, but across the box they do not."""
    field = np.zeros((len(box.points), 6))
    top = np.unique(box.basis.dofs.element_dofs[:, triangles_of(box.mesh, ("top",))])
    field[top, :3] = 1.0
    middle = box.mesh.nodes.mean(axis=0)[None]
    n = np.array([[1.0, 0, 0]])
    assert normal_displacement(box, ("top",), middle, n) @ field.ravel() == pytest.approx([1.0])
    assert normal_displacement(box, ("back",), middle, n) @ field.ravel() == pytest.approx([0.0])
    with pytest.raises(ValueError, match=r"unknown part 'bakc'.*did you mean 'back'"):
        triangles_of(box.mesh, ("bakc",))
