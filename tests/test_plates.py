"""Flat plates: patch tests, frequencies against Navier's, Ritz's and benchmark values, laminates with B terms."""

import numpy as np
import pytest
import scipy.linalg as sl
import shell_cases as cases
from shell_cases import SKEW, SPRUCE, STEEL, stiff_in_shear

from fem.eigen import fixed_unknowns, modes
from fem.materials import Wood, isotropic, turned
from fem.mesh import ShellMesh, Surface
from fem.model import assemble, weights
from fem.sections import Layer, laminate, shifted

EDGES = ("west", "east", "south", "north")


def section(wood, thickness):
    return {"plate": laminate([Layer(wood, thickness)])}


def frequencies(mesh, sections, count, fix=(), fixed=None):
    """Hz; fix: names of clamped edges, fixed(space): indices of unknowns held."""
    model = assemble(mesh)
    held = fixed(model.space) if fixed else fixed_unknowns(model.space, fix)
    return modes(model, weights(sections), count, held).frequency


# Laminate theory of its own, for references only (Jones, Mechanics of Composite Materials, ch. 2 and 4)


def ABD(plies):
    """(6, 6) of plies (wood, thickness, middle, angle in degrees)."""
    out = np.zeros((6, 6))
    for wood, h, z, angle in plies:
        S = np.array([
            [1 / wood.E_L, -wood.nu_LR / wood.E_L, 0], [-wood.nu_LR / wood.E_L, 1 / wood.E_R, 0], [0, 0, 1 / wood.G_LR]
        ])  # fmt: skip
        c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
        T = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])
        Q = T.T @ np.linalg.inv(S) @ T
        for i, j, power in ((0, 0, 0), (0, 3, 1), (3, 0, 1), (3, 3, 2)):
            z1, z0 = z + h / 2, z - h / 2
            out[i : i + 3, j : j + 3] += Q * (z1 ** (power + 1) - z0 ** (power + 1)) / (power + 1)
    return out


def constant_strain(points, eps, kappa, turn):
    """Displacement and rotation (6 n,) of constant strains eps, kappa with no transverse shear, in a frame turned."""
    x, y = (points @ turn)[:, :2].T
    u = [
        eps[0] * x + eps[2] / 2 * y,
        eps[1] * y + eps[2] / 2 * x,
        -(kappa[0] * x**2 + kappa[1] * y**2 + kappa[2] * x * y) / 2,
    ]
    th = [-kappa[1] * y - kappa[2] / 2 * x, kappa[0] * x + kappa[2] / 2 * y, 0 * x]
    return np.hstack([np.column_stack(u) @ turn.T, np.column_stack(th) @ turn.T]).ravel()


FIELDS = {
    "membrane": ([1e-3, -2e-3, 1.5e-3], [0, 0, 0]),
    "bending": ([0, 0, 0], [0.5, -0.3, 0.4]),
}


@pytest.mark.parametrize("name", FIELDS)
def test_patch_of_constant_strain(name):
    """An irregular patch in a skew plane, its rim moved as a constant strain says, follows inside to 1e-9."""
    model = assemble(cases.plate(1.0, 0.7, 4, 3, grain=20, irregular=0.25, turn=SKEW))
    exact = constant_strain(model.space.points, *FIELDS[name], SKEW)
    K = model.matrix("K", weights(section(SPRUCE, 0.01)))
    rim = np.unique(np.concatenate([fixed_unknowns(model.space, [e]) for e in EDGES]))
    found = cases.solved(K, np.zeros(model.size), rim, exact)
    assert np.abs(found - exact).max() < 1e-9 * np.abs(exact).max()


def test_patch_of_constant_transverse_shear():
    """w = 1e-3 x + 2e-3 y without rotation: constant shear, in balance with a moment of Q per area."""
    mesh = cases.plate(1.0, 0.7, 4, 3, irregular=0.25, turn=SKEW)
    model = assemble(mesh)
    x, y = (model.space.points @ SKEW)[:, :2].T
    exact = np.hstack([np.outer(1e-3 * x + 2e-3 * y, SKEW[:, 2]), np.zeros((len(x), 3))]).ravel()
    h = 0.01
    Q = 5 / 6 * h * np.array([SPRUCE.G_LT * 1e-3, SPRUCE.G_RT * 2e-3])
    F = cases.surface_load(model.space, np.r_[0, 0, 0, Q[0] * SKEW[:, 1] - Q[1] * SKEW[:, 0]])
    rim = np.unique(np.concatenate([fixed_unknowns(model.space, [e]) for e in EDGES]))
    found = cases.solved(model.matrix("K", weights(section(SPRUCE, h))), F, rim, exact)
    assert np.abs(found - exact).max() < 1e-9 * np.abs(exact).max()


@pytest.mark.parametrize("angle", [27, -27])
def test_end_moment_on_an_unsymmetric_laminate_off_its_axes(angle):
    """M_11 on two opposite edges gives the strains (A B; B D)^-1 (0; M), stretch and twist with their signs, to 1e-8.

    Jones, Mechanics of Composite Materials, ch. 4. Any slip in B, in the sign of the grain or in L and R shows.
    """
    hard = Wood("hard", 13e9, 1.8e9, 1.4e9, 1.1e9, 0.4e9, 0.36, 750.0)
    layers = [Layer(SPRUCE, 0.003, 0.0005), Layer(hard, 0.002, 0.003), Layer(hard, 0.001, 0.0045, across=True)]
    plies = [(la.wood, la.thickness, la.middle, angle + 90 * la.across) for la in layers]
    a, b, M = 0.4, 0.3, 2.0
    model = assemble(cases.plate(a, b, 4, 3, grain=angle, irregular=0.2, turn=SKEW))
    strain = np.linalg.solve(ABD(plies), [0, 0, 0, M, 0, 0])
    exact = constant_strain(model.space.points, strain[:3], strain[3:], SKEW)
    edge = model.space.mesh.edges
    F = cases.edge_load(model.space, edge["east"], np.r_[0, 0, 0, M * SKEW[:, 1]])
    F -= cases.edge_load(model.space, edge["west"], np.r_[0, 0, 0, M * SKEW[:, 1]])
    corner = cases.unknowns(model.space, lambda x: np.linalg.norm(x, axis=1) < 1e-9, range(6))
    found = cases.solved(model.matrix("K", weights({"plate": laminate(layers)})), F, corner)
    assert np.abs(found - exact).max() < 1e-8 * np.abs(exact).max()


def navier(wood, a, b, h, count, most=14):
    """Hz of a simply supported shear-flexible orthotropic plate, lowest first; modes sin(m pi x/a) sin(n pi y/b).

    Mindlin's plate with rotary inertia, shear factor 5/6 (Mindlin 1951; Reddy, Mechanics of Laminated Composite
    Plates, ch. 5). Unknowns: w, slopes psi_x, psi_y.
    """
    nu_RL = wood.nu_LR * wood.E_R / wood.E_L
    D11 = wood.E_L * h**3 / 12 / (1 - wood.nu_LR * nu_RL)
    D22, D12, D66 = D11 * wood.E_R / wood.E_L, D11 * nu_RL, wood.G_LR * h**3 / 12
    S1, S2 = 5 / 6 * h * wood.G_LT, 5 / 6 * h * wood.G_RT
    found = []
    for m in range(1, most):
        for n in range(1, most):
            p, q = m * np.pi / a, n * np.pi / b
            K = [
                [S1 * p * p + S2 * q * q, S1 * p, S2 * q],
                [S1 * p, D11 * p * p + D66 * q * q + S1, (D12 + D66) * p * q],
                [S2 * q, (D12 + D66) * p * q, D66 * p * p + D22 * q * q + S2],
            ]
            inertia = wood.density * h * np.array([1, h * h / 12, h * h / 12])
            found.append(sl.eigvalsh(K, np.diag(inertia))[0])
    return np.sqrt(np.sort(found)[:count]) / (2 * np.pi)


@pytest.mark.parametrize("h", [0.003, 0.012])
def test_simply_supported_orthotropic_plate_with_shear(h, record):
    """Twelve modes within 0.1 % of Navier's solution with the same shear moduli; G_RT is 0.003 E_L."""
    found = frequencies(
        cases.plate(0.5, 0.4, 16, 16), section(SPRUCE, h), 12, fixed=lambda s: cases.hard_support(s, 0.5, 0.4)
    )
    hand = navier(SPRUCE, 0.5, 0.4, h, 12)
    record(f"simply supported spruce with shear, {1e3 * h:g} mm", "Navier's solution, Mindlin 1951", hand, found, "Hz")
    assert found == pytest.approx(hand, rel=1e-3)


def test_simply_supported_plate_without_shear(literature, record):
    case = literature["simply_supported_spruce"]
    found = frequencies(
        cases.plate(0.5, 0.4, 12, 12), section(stiff_in_shear(SPRUCE), 0.003), 5,
        fixed=lambda s: cases.hard_support(s, 0.5, 0.4),
    )  # fmt: skip
    record("simply supported spruce, shear rigid", case["source"], case["value"], found, "Hz")
    assert found == pytest.approx(case["value"], rel=case["tolerance"])


def handbook_wood(E, density, ratio_R, G_ratio, nu):
    return stiff_in_shear(Wood("handbook", E, ratio_R * E, G_ratio * E, G_ratio * E, G_ratio * E, nu, density))


FREE_OR_CLAMPED = {
    "free_spruce": (stiff_in_shear(SPRUCE), 0.5, 0.4, 10, 10, ()),
    "clamped_spruce": (stiff_in_shear(SPRUCE), 0.5, 0.4, 12, 12, EDGES),
    "free_spruce_narrow": (stiff_in_shear(SPRUCE), 0.55, 0.2, 10, 5, ()),
    "free_maple": (handbook_wood(1.1 * 12.6e9, 705.6, 0.132, 0.111, 0.424), 0.5, 0.2, 10, 5, ()),
    "free_cedar": (handbook_wood(1.1 * 7.7e9, 358.4, 0.081, 0.087, 0.378), 0.5, 0.2, 10, 5, ()),
}


@pytest.mark.parametrize("name", FREE_OR_CLAMPED)
def test_wooden_plate(name, literature, record):
    wood, a, b, nx, ny, fix = FREE_OR_CLAMPED[name]
    case = literature[name]
    found = frequencies(cases.plate(a, b, nx, ny), section(wood, 0.003), len(case["value"]), fix)
    record(name.replace("_", " "), case["source"], case["value"], found, "Hz")
    assert found == pytest.approx(case["value"], rel=case["tolerance"])


@pytest.mark.parametrize(
    ("name", "fix"), [("square_free", ()), ("square_cantilever", ("west",)), ("square_clamped", EDGES)]
)
def test_square_isotropic_plate(name, fix, literature, record):
    """Side 1 m, h = a/200, on an irregular mesh, grain askew: neither may matter."""
    case, h = literature[name], 0.005
    D = STEEL.E_L * h**3 / 12 / (1 - 0.3**2)
    mesh = cases.plate(1.0, 1.0, 10, 10, grain=33, irregular=0.15)
    found = frequencies(mesh, section(STEEL, h), len(case["value"]), fix)
    scaled = 2 * np.pi * found * np.sqrt(STEEL.density * h / D)
    record(name.replace("_", " ") + ", ω a² √(ρh/D)", case["source"], case["value"], scaled)
    assert scaled == pytest.approx(case["value"], rel=case["tolerance"])


@pytest.mark.parametrize(("name", "fix"), [("nafems_fv12", ()), ("nafems_fv16", ("west",))])
def test_nafems_thin_plate(name, fix, literature, record):
    """At its printed size, 10 x 10 m: modes near 1 Hz, far below those of an instrument."""
    case = literature[name]
    found = frequencies(cases.plate(10, 10, 10, 10), section(STEEL, 0.05), 6, fix)
    record(name.replace("_", " ").upper() + ", converged", case["source"], case["exact"], found, "Hz")
    record(name.replace("_", " ").upper() + ", as printed", case["source"], case["value"], found, "Hz")
    assert found == pytest.approx(case["exact"], rel=0.003)  # 0.1 to 0.2 % of mesh error
    assert np.all(found < np.array(case["value"]) * (1 + 1e-3))
    assert found == pytest.approx(case["value"], rel=1.2 * case["tolerance"])


def test_nafems_thick_plate(literature, record):
    case = literature["nafems_21"]
    found = frequencies(
        cases.plate(10, 10, 8, 8), section(STEEL, 1.0), 8, fixed=lambda s: cases.hard_support(s, 10, 10)
    )
    record("NAFEMS 21, thick plate", case["source"], case["value"], found, "Hz")
    assert found == pytest.approx(case["value"], rel=case["tolerance"])


def square_parameters(wood, layers, h, count):
    """omega a^2 sqrt(rho h / D0) of a square simply supported plate of side 1 m."""
    D0 = wood.E_L * h**3 / 12 / (1 - wood.nu_LR**2 * wood.E_R / wood.E_L)
    mesh = cases.plate(1.0, 1.0, 12, 12)
    found = frequencies(mesh, {"plate": laminate(layers)}, count, fixed=lambda s: cases.hard_support(s, 1, 1))
    return 2 * np.pi * found * np.sqrt(wood.density * h / D0)


@pytest.mark.parametrize(
    ("name", "E1", "G", "nu"), [("leissa_narita", 15.4, 0.79, 0.3), ("leissa_narita_glass", 2.45, 0.48, 0.23)]
)
def test_laminated_plate(name, E1, G, nu, literature, record):
    """Three layers make one plate; the wood of the top layer is laid crosswise after being turned, which undoes it."""
    case, h, E2 = literature[name], 0.005, 1e9
    wood = stiff_in_shear(Wood("ply", E1 * E2, E2, G * E2, G * E2, G * E2, nu, 1500.0))
    layers = [Layer(wood, h / 3, -h / 3), Layer(wood, h / 3), Layer(turned(wood), h / 3, h / 3, across=True)]
    value = np.atleast_1d(case["value"])
    found = square_parameters(wood, layers, h, 4)
    found = [f for f in found if np.min(np.abs(f / value - 1)) < 0.02]
    record(
        f"{'glass' if 'glass' in name else 'graphite'}-epoxy of three layers, ω a² √(ρh/D₀)",
        case["source"],
        value,
        found,
    )
    assert found == pytest.approx(value, rel=case["tolerance"])


def test_cross_ply_plate(record):
    """Layers 0/90/0: omega^2 rho h/pi^4 = D11 m^4 + 2 (D12 + 2 D66) m^2 n^2 + D22 n^4. Jones, ch. 5."""
    h = 0.006
    wood = stiff_in_shear(SPRUCE)
    layers = [Layer(wood, h / 3, -h / 3), Layer(wood, h / 3, across=True), Layer(wood, h / 3, h / 3)]
    D = ABD([(wood, h / 3, -h / 3, 0), (wood, h / 3, 0, 90), (wood, h / 3, h / 3, 0)])[3:, 3:]
    m, n = np.meshgrid(np.arange(1, 6), np.arange(1, 6))
    rigidity = D[0, 0] * m**4 + 2 * (D[0, 1] + 2 * D[2, 2]) * m**2 * n**2 + D[1, 1] * n**4
    hand = np.sort(np.pi / 2 * np.sqrt(rigidity / (wood.density * h)), axis=None)[:5]
    mesh = cases.plate(1.0, 1.0, 12, 12)
    found = frequencies(mesh, {"plate": laminate(layers)}, 5, fixed=lambda s: cases.hard_support(s, 1, 1))
    record("cross-ply plate 0/90/0", "Jones, Mechanics of Composite Materials, ch. 5", hand, found, "Hz")
    assert found == pytest.approx(hand, rel=2e-3)


# Grain


def mirrored(mesh):
    """The mesh seen in a mirror y -> -y; the normals stay on the same face."""
    flip = np.array([1, -1, 1])
    surfaces = {k: Surface(s.triangles, s.grain * flip) for k, s in mesh.surfaces.items()}
    return ShellMesh(mesh.nodes * flip, mesh.triangles, mesh.normal, surfaces, edges=mesh.edges)


def test_grain_to_the_left_and_to_the_right():
    """Clamped on two adjoining edges the plate tells +27 from -27 degrees; its mirror image does not."""
    fix = ("west", "south")
    plus, minus = (cases.plate(0.5, 0.35, 7, 6, grain=g) for g in (27, -27))
    f_plus, f_minus = (frequencies(m, section(SPRUCE, 0.003), 6, fix) for m in (plus, minus))
    assert np.max(np.abs(f_plus / f_minus - 1)) > 0.02
    assert frequencies(mirrored(plus), section(SPRUCE, 0.003), 6, fix) == pytest.approx(f_plus, rel=1e-7)


@pytest.mark.parametrize("across", [False, True])
def test_laying_a_ply_across_turning_the_wood_and_turning_the_grain_are_one(across):
    layers = [Layer(SPRUCE, 0.002, -0.001), Layer(STEEL, 0.0005, 0.00025)]
    plain = frequencies(cases.plate(0.4, 0.3, 5, 4, grain=27 + 90 * across), {"plate": laminate(layers)}, 4, ("west",))
    wood = turned(SPRUCE) if across else SPRUCE
    other = [Layer(wood, 0.002, -0.001), Layer(STEEL, 0.0005, 0.00025)]
    assert frequencies(
        cases.plate(0.4, 0.3, 5, 4, grain=27), {"plate": laminate(other)}, 4, ("west",)
    ) == pytest.approx(plain, rel=1e-8)


def test_across_and_turned_give_the_same_section():
    a, b = laminate([Layer(SPRUCE, 0.003, 0.001, across=True)]), laminate([Layer(turned(SPRUCE), 0.003, 0.001)])
    assert a.stiffness == pytest.approx(b.stiffness, rel=1e-12)
    assert a.stiffness["S55"] != pytest.approx(a.stiffness["S44"], rel=0.5)


# Laminates off their middle, and strips as composite beams

NO_POISSON = Wood("strip", 10e9, 1e9, 1e9, 1e12, 1e12, 0.0, 500.0)
HARD_NO_POISSON = Wood("hard strip", 25e9, 2e9, 2e9, 1e12, 1e12, 0.0, 1000.0)


def composite(layers):
    """EA, ES, EI per width about the reference surface, of layers without Poisson effect."""
    z = [(la.wood, la.middle - la.thickness / 2, la.middle + la.thickness / 2) for la in layers]
    return [sum(w.E_L * (t**k - b**k) / k for w, b, t in z) for k in (1, 2, 3)]


STRIP = [Layer(NO_POISSON, 0.003, 0.001), Layer(HARD_NO_POISSON, 0.002, 0.0035)]


def test_eccentric_laminate_strip_under_a_tip_force(record):
    """w = P L^3 / (3 EI_c), EI_c = EI - ES^2/EA: composite beam theory (no Poisson effect, no shear) is exact here."""
    L, b, P = 0.3, 0.03, 1.0
    model = assemble(cases.plate(L, b, 8, 2, turn=SKEW))
    EA, ES, EI = np.array(composite(STRIP)) * b
    F = cases.edge_load(model.space, model.space.mesh.edges["east"], np.r_[P / b * SKEW[:, 2], 0, 0, 0])
    u = cases.solved(model.matrix("K", weights({"plate": laminate(STRIP)})), F, fixed_unknowns(model.space, ["west"]))
    tip = model.space.nodes_of("east")
    w = u.reshape(-1, 6)[tip, :3] @ SKEW[:, 2]
    hand = P * L**3 / (3 * (EI - ES**2 / EA))
    record("eccentric laminate strip, tip force", "composite beam theory, exact here", hand, w.mean(), "m")
    assert w == pytest.approx(hand, rel=2e-4)
    assert EI / (EI - ES**2 / EA) > 1.5  # without B the answer would be far off


def test_eccentric_laminate_strip_pulled_along():
    """A pull N in the reference surface lifts the tip by (ES/EI) eps L^2/2, eps = N/(EA - ES^2/EI): B with its sign."""
    L, b, N = 0.3, 0.03, 1e3
    model = assemble(cases.plate(L, b, 8, 2))
    EA, ES, EI = np.array(composite(STRIP)) * b
    F = cases.edge_load(model.space, model.space.mesh.edges["east"], [N / b, 0, 0, 0, 0, 0])
    u = cases.solved(model.matrix("K", weights({"plate": laminate(STRIP)})), F, fixed_unknowns(model.space, ["west"]))
    eps = N / (EA - ES**2 / EI)
    tip = u.reshape(-1, 6)[model.space.nodes_of("east")]
    assert tip[:, 0] == pytest.approx(eps * L, rel=1e-6)
    assert tip[:, 2] == pytest.approx(ES / EI * eps * L**2 / 2, rel=1e-6)


def test_a_laminate_counted_from_elsewhere_is_the_same_plate():
    """Moving the reference surface by 5 mm changes A, B, D and the mass moments, but no frequency of a free plate.

    All is exact but the drilling penalty, whose small energy depends on the surface that it is counted on.
    """
    hard = Wood("hard", 13e9, 1.8e9, 1.4e9, 1.1e9, 0.4e9, 0.36, 750.0)
    layers = [Layer(SPRUCE, 0.003), Layer(hard, 0.002, 0.0025)]
    moved = [Layer(la.wood, la.thickness, la.middle + 0.005, la.across) for la in layers]
    mesh = cases.plate(0.4, 0.3, 5, 4, grain=27)
    f, g = (frequencies(mesh, {"plate": laminate(x)}, 6) for x in (layers, moved))
    assert g == pytest.approx(f, rel=2e-4)
    a, b = laminate(moved), shifted(laminate(layers), 0.005)
    assert b.stiffness == pytest.approx(a.stiffness, rel=1e-9)
    assert b.mass == pytest.approx(a.mass, rel=1e-9)


def test_a_laminate_off_the_middle_is_not_the_centred_one():
    """Held in its reference surface at both ends, an eccentric strip works as an arch."""
    wood = isotropic("plain", 10e9, 0.0, 500.0)
    mesh = cases.plate(0.4, 0.03, 8, 1)
    centred, raised = (
        frequencies(mesh, {"plate": laminate([Layer(wood, 0.004, z)])}, 1, fixed=_pinned) for z in (0, 0.004)
    )
    assert raised[0] > 1.5 * centred[0]


def _pinned(space):
    return fixed_unknowns(space, support=["west", "east"])
