"""Model: terms and their sum, sections as coefficients, seams, and the checks of the mesh."""

from dataclasses import replace

import numpy as np
import pytest
import shell_cases as cases
import skfem
from shell_cases import SPRUCE, STEEL

from fem.eigen import fixed_unknowns, modes
from fem.materials import isotropic
from fem.mesh import Line, ShellMesh, Surface, along_surface
from fem.model import assemble, weights
from fem.sections import Layer, beam, difference, joint, laminate, scaled

SECTIONS = {
    "top": laminate([Layer(SPRUCE, 0.003, 0.001)]),
    "back": laminate([Layer(STEEL, 0.001)]),
    "sides": laminate([Layer(SPRUCE, 0.002, across=True)]),
    "rib": beam(SPRUCE, 0.008, 0.014, 0.0015),
}


@pytest.fixture(scope="module")
def box():
    return assemble(cases.folded_box(0.3, 0.2, 0.08, 2))


def same_pattern(a, b):
    return np.array_equal(a.indptr, b.indptr) and np.array_equal(a.indices, b.indices)


@pytest.mark.parametrize("role", ["K", "M"])
def test_matrix_is_the_sum_of_its_terms(box, role):
    w = weights(SECTIONS)
    whole = box.matrix(role, w)
    total = 0 * whole
    for (r, region, kind), f in w.items():
        if r == role:
            term = box.term(role, region, kind)
            assert same_pattern(term, whole)
            total = total + f * term
    assert np.abs(total - whole).max() < 1e-12 * np.abs(whole).max()


@pytest.mark.parametrize("role", ["K", "M"])
def test_matrix_is_symmetric_and_linear_in_the_weights(box, role):
    w = weights(SECTIONS)
    other = {key: f * (1 + k % 3) for k, (key, f) in enumerate(w.items())}
    A, B = box.matrix(role, w), box.matrix(role, other)
    both = box.matrix(role, {key: 2 * w[key] - 0.5 * other[key] for key in w})
    assert np.abs(A - A.T).max() < 1e-12 * np.abs(A).max()
    assert np.abs(2 * A - 0.5 * B - both).max() < 1e-12 * np.abs(B).max()
    assert same_pattern(A, both)


def test_stiffness_has_no_negative_energy(box):
    """All eigenvalues of K of a real section are at least 0 (round-off of the largest aside); of M too."""
    for role in "KM":
        values = np.linalg.eigvalsh(box.matrix(role, weights(SECTIONS)).toarray())
        assert values[0] > -1e-10 * values[-1]


def test_regions_may_overlap():
    """A strip given twice, once as plate and once as what a doubler adds, is the doubled plate there."""
    mesh = cases.plate(0.3, 0.2, 4, 3, grain=27)
    strip = np.arange(0, len(mesh.triangles), 3)
    surface = Surface(strip, mesh.surfaces["plate"].grain[strip])
    rest = np.setdiff1d(np.arange(len(mesh.triangles)), strip)
    side, doubled = laminate([Layer(SPRUCE, 0.002)]), laminate([Layer(SPRUCE, 0.002), Layer(STEEL, 0.001, 0.0015)])
    over = ShellMesh(mesh.nodes, mesh.triangles, mesh.normal, mesh.surfaces | {"doubler": surface})
    apart = {"rest": Surface(rest, mesh.surfaces["plate"].grain[rest]), "strip": surface}
    beside = ShellMesh(mesh.nodes, mesh.triangles, mesh.normal, apart)
    A = assemble(over).matrix("K", weights({"plate": side, "doubler": difference(doubled, side)}))
    B = assemble(beside).matrix("K", weights({"rest": side, "strip": doubled}))
    assert np.abs(A - B).max() < 1e-12 * np.abs(A).max()


def test_frequencies_scale_with_stiffness_and_mass(box):
    w = {r: scaled(s, stiffness=2.0, mass=0.5) for r, s in SECTIONS.items()}
    f, g = (modes(box, weights(s), 3).frequency for s in (SECTIONS, w))
    assert g == pytest.approx(2 * f, rel=1e-6)


# Seams

PLATE = laminate([Layer(SPRUCE, 0.003, 0.0005)])


def test_a_stiff_seam_makes_two_plates_one():
    """Within 1e-4 of the undivided plate: the glue line's own give."""
    halves = assemble(cases.split_plate(0.4, 0.3, 6, 4))
    whole = assemble(cases.plate(0.4, 0.3, 12, 4))
    f = modes(whole, weights({"plate": PLATE}), 6).frequency
    g = modes(halves, weights({"left": PLATE, "right": PLATE, "joint": joint()}), 6).frequency
    assert g == pytest.approx(f, rel=1e-4)


STRIP = laminate([Layer(isotropic("strip", 10e9, 0.0, 500.0), 0.003)])
SOFT = {"translation": [1e6, 2e6, 3e6], "rotation": [2.0, 5e3, 7e3]}  # along the seam, across it, out of the plane


def tip_beyond_the_plate(load, soft):
    """(6,) displacement of the tip of a jointed cantilever under a load [N, N m], less that of a stiff joint's."""
    L, b = 0.2, 0.02
    model = assemble(cases.split_plate(L, b, 8, 2))
    edges = model.space.mesh.edges["east"]
    F = cases.edge_load(model.space, edges, np.asarray(load, float) / b)
    tip = model.space.nodes_of("east")
    found = []
    for section in (soft, joint(1e14, 1e9)):
        K = model.matrix("K", weights({"left": STRIP, "right": STRIP, "joint": section}))
        found.append(cases.solved(K, F, fixed_unknowns(model.space, ["west"])).reshape(-1, 6)[tip].mean(axis=0))
    return found[0] - found[1]


@pytest.mark.parametrize(
    ("load", "expected"),
    [
        ([1, 0, 0, 0, 0, 0], {0: 1 / 2e6}),  # pull across the seam
        ([0, 0, 1, 0, 0, 0], {2: 1 / 3e6 + 0.1**2 / 2.0, 4: -0.1 / 2.0}),  # shear, and the hinge's rotation times L/2
        ([0, 0, 0, 0, 1, 0], {2: -0.1 / 2.0, 4: 1 / 2.0}),  # pure moment about the seam
    ],
)
def test_soft_seam_gives_way_as_a_row_of_springs(load, expected):
    """Cantilever of length L and width b with a spring in its middle: rotation M/(k b), tip moved by it times L/2."""
    b = 0.02
    found = tip_beyond_the_plate(load, joint(SOFT["translation"], SOFT["rotation"]))
    for component in (0, 2, 4):
        assert found[component] == pytest.approx(expected.get(component, 0) / b, rel=1e-4, abs=1e-9)


def test_soft_seam_slides_along_itself():
    """Shear along the seam: slip F/(k b), beside the turn of the seam in the plane by F (L/2)/(k_across b^3/12)."""
    b, F, half = 0.02, 1.0, 0.1
    found = tip_beyond_the_plate([0, F, 0, 0, 0, 0], joint([1e6, 2e8, 1e12], [1e6, 1e6, 1e-6]))
    turn = F * half / (2e8 * b**3 / 12)
    assert found[1] == pytest.approx(F / (1e6 * b) + turn * half, rel=1e-2)


# Nodes along edges


@pytest.mark.parametrize("order", [2, 3, 4])
def test_nodes_along_an_edge_run_from_its_first_end_to_its_second(order):
    """Equally spaced, whichever way the edge is given and whichever end has the lower number."""
    mesh = cases.plate(1.0, 0.7, 3, 3, irregular=0.2, turn=cases.SKEW)
    space = assemble(mesh, element=getattr(skfem, f"ElementTriP{order}")()).space
    edges = np.vstack([mesh.triangles[:, [0, 1]], mesh.triangles[:, [2, 1]]])
    s = np.linspace(0, 1, order + 1)[None, :, None]
    first, second = mesh.nodes[edges[:, 0]][:, None], mesh.nodes[edges[:, 1]][:, None]
    assert space.points[space.edge_nodes(edges)] == pytest.approx(first + s * (second - first), abs=1e-12)


def test_a_beam_may_be_drawn_from_either_end(box):
    """Edges and taper reversed: the same K and M."""
    mesh = box.space.mesh
    rib = mesh.lines["rib"]
    back = Line(rib.edges[:, ::-1], rib.up, rib.taper[:, ::-1], rib.offset)
    other = assemble(replace(mesh, lines={"rib": back}))
    for role in "KM":
        A, B = (m.matrix(role, weights({"rib": SECTIONS["rib"]})) for m in (box, other))
        assert np.abs(A - B).max() < 1e-12 * np.abs(A).max()


# The mesh's own checks


def broken(**change):
    mesh = cases.plate(1.0, 1.0, 2, 2)
    fields = {"nodes": mesh.nodes, "triangles": mesh.triangles, "normal": mesh.normal, "surfaces": mesh.surfaces}
    return ShellMesh(**(fields | change))


def test_mesh_says_what_is_wrong_with_it():
    mesh = cases.plate(1.0, 1.0, 2, 2)
    flat = mesh.nodes.copy()
    flat[4] = flat[1]
    with pytest.raises(ValueError, match="no area"):
        broken(nodes=flat)
    with pytest.raises(ValueError, match="not finite"):
        broken(nodes=np.where(mesh.nodes == 0.5, np.nan, mesh.nodes))
    few = Surface(np.arange(3), mesh.surfaces["plate"].grain[:3])
    with pytest.raises(ValueError, match="5 of 8 triangles belong to no named part"):
        broken(surfaces={"plate": few})
    with pytest.raises(ValueError, match="square to the surface"):
        along_surface((0, 0, 1), mesh.normal)


def test_unknown_names_get_the_nearest_right_one():
    space = assemble(cases.plate(1.0, 1.0, 2, 2)).space
    with pytest.raises(ValueError, match="did you mean 'west'"):
        fixed_unknowns(space, ["wset"])
    with pytest.raises(ValueError, match="not an edge of any triangle"):
        space.edge_nodes(np.array([[0, 8]]))
