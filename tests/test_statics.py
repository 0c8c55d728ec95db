"""Static deflection: closed forms of a cantilever and a ring, energy, reciprocity, free bodies, swelling, bad input."""

import numpy as np
import pytest
import shell_cases as cases

from fem.eigen import fixed_unknowns, modes, rigid_modes
from fem.materials import Wood
from fem.model import assemble, strains, weights
from fem.sections import Layer, joint, laminate
from fem.statics import balanced, deflect, free_strain, pinch, spot, twist

pytestmark = pytest.mark.usefixtures("solver")
WOOD = Wood("wood", 11e9, 0.9e9, 0.75e9, 0.7e9, 0.05e9, 0.37, 420.0)
R, WIDTH, H = 0.15, 0.009, 0.003  # m, of the ring: its width squared is a fifth of R H, so it bends as a beam


@pytest.fixture(scope="module")
def ring():
    """(model, weights, mesh, edges {'low', 'high'}) of a narrow ring about z, grain round it."""
    n = 48
    mesh = cases.closed_tube(R, WIDTH, n, 2)
    edges = {}
    for name, z in (("low", 0.0), ("high", WIDTH)):
        at = np.flatnonzero(abs(mesh.nodes[:, 2] - z) < 1e-9)
        at = at[np.argsort(np.arctan2(*mesh.nodes[at, 1::-1].T))]
        edges[name] = np.column_stack([at, np.roll(at, -1)])
    return assemble(mesh), weights({"plate": laminate([Layer(WOOD, H)])}), mesh, edges


def squeeze(ring, angle):
    """(size,) 1 N pressing the ring together along a diameter at an angle, half of it at either edge."""
    model, _, _, edges = ring
    d = R * np.array([np.cos(angle), np.sin(angle), 0])
    ends = [[spot(model.space, edges[e], s * d + [0, 0, z]) for s in (1, -1)] for e, z in (("low", 0), ("high", WIDTH))]
    return sum(pinch(model.space, *pair) for pair in ends) / 2


def test_ring_squeezed_across_a_diameter(ring, record):
    """P R^3/(E I) (pi k1/4 - 2 k2^2/pi), k1 = 1 - a + b, k2 = 1 - a; a = I/(A R^2), b = 6/5 E I/(G A R^2).

    Roark's Formulas for Stress and Strain, circular rings, case 1 (without a and b: Timoshenko, Strength of Materials II,
    .149 P R^3/(E I)); symbols from memory. 1 %: the ring is a polygon of 48 sides, .2 % smaller than its circle in the
    mean and .6 % in the cube, and a strip this narrow is .2 % stiffer than a beam across the grain.
    """
    model, w, *_ = ring
    P, EI = 3.0, WOOD.E_L * WIDTH * H**3 / 12
    a, b = H**2 / (12 * R**2), 1.2 * EI / (WOOD.G_LT * WIDTH * H * R**2)
    hand = P * R**3 / EI * (np.pi * (1 - a + b) / 4 - 2 * (1 - a) ** 2 / np.pi)
    unit = squeeze(ring, 0.0)
    found = unit @ deflect(model, w, P * unit).displacement[:, 0]
    record(
        "ring squeezed across a diameter",
        "Roark's Formulas for Stress and Strain, circular rings, case 1; from memory",
        hand,
        found,
        "m",
    )
    assert found == pytest.approx(hand, rel=0.01)


def test_ring_widens_across_the_squeeze(ring, record):
    """Width gained square to the load: P R^3/(E I) (2/pi - 1/2), Timoshenko, Strength of Materials II. 1 %, as above."""
    model, w, *_ = ring
    hand = R**3 / (WOOD.E_L * WIDTH * H**3 / 12) * (2 / np.pi - 0.5)
    u = deflect(model, w, squeeze(ring, 0.0)).displacement[:, 0]
    found = -squeeze(ring, np.pi / 2) @ u
    record("ring squeezed, width gained across", "Timoshenko, Strength of Materials II", hand, found, "m")
    assert found == pytest.approx(hand, rel=0.01)


def test_free_ring_vibrates_in_and_out_of_its_plane(ring, record):
    """omega^2 = n^2 (n^2-1)^2/(n^2 + c) EI/(m R^4), c = 1 in its plane (Hoppe), EI/GJ out of it.

    Love, Mathematical Theory of Elasticity, art. 293. Out of the plane it bends over its width, and its twist meets the
    drilling stiffness where facets meet at an angle. 2 %: polygon, shear of a strip 3 mm thick, J of a 3 to 1 strip
    (Timoshenko & Goodier, art. 109) as a plate has it.
    """
    model, w, *_ = ring
    wood, m = WOOD, WOOD.density * WIDTH * H
    odd = np.arange(1, 60, 2)
    lam = np.pi * WIDTH / (2 * H) * np.sqrt(wood.G_LT / wood.G_LR)  # art. 109 with two shear moduli
    J = WIDTH * H**3 / 3 * (1 - 192 / np.pi**5 * np.pi / (2 * lam) * np.sum(np.tanh(odd * lam) / odd**5))
    inside, outside, GJ = wood.E_L * WIDTH * H**3 / 12, wood.E_L * H * WIDTH**3 / 12, wood.G_LR * J
    hand = []
    for n in (2, 3):
        common = n**2 * (n**2 - 1) ** 2 / (m * R**4)
        hand += 2 * [np.sqrt(common * inside / (n**2 + 1)), np.sqrt(common * outside / (n**2 + outside / GJ))]
    found = modes(model, w, 8).frequency
    record(
        "free ring as a shell",
        "Love, Mathematical Theory of Elasticity, art. 293",
        np.sort(hand) / (2 * np.pi),
        found,
        "Hz",
    )
    assert found == pytest.approx(np.sort(hand) / (2 * np.pi), rel=0.02)


def test_work_is_strain_energy_and_loads_are_reciprocal(ring):
    """Maxwell-Betti, and half the load times the displacement is what the strains store: to 1e-11."""
    model, w, *_ = ring
    loads = np.array([squeeze(ring, angle) for angle in (0.0, 0.7, 2.0)]).T
    found = deflect(model, w, loads)
    assert found.work == pytest.approx(found.energy, rel=1e-11)
    cross = loads.T @ found.displacement
    assert cross == pytest.approx(cross.T, rel=1e-11, abs=1e-11 * abs(cross).max())
    assert abs(cross[0, 1]) > 0.05 * cross[0, 0]


def test_free_body_keeps_still_and_deforms_as_a_held_one(ring):
    """R' M u = 0; held in six unknowns that need no reaction, it deforms alike."""
    model, w, *_ = ring
    F, M = squeeze(ring, 0.3), model.matrix("M", w)
    free = deflect(model, w, F)
    rigid = rigid_modes(model.space.points)
    moved = rigid.T @ (M @ free.displacement[:, 0])
    assert np.abs(moved).max() < 1e-10 * np.abs(rigid).T.dot(M.dot(np.abs(free.displacement[:, 0]))).max()
    far = np.argsort(model.space.points @ [1.0, 0.2, 0.1])[[0, len(model.space.points) // 2, -1]]
    held = np.r_[6 * far[0] + np.arange(3), 6 * far[1] + np.array([0, 2]), 6 * far[2] + 2]
    fixed = deflect(model, w, F, held)
    assert np.abs(fixed.reaction).max() < 1e-6
    assert F @ fixed.displacement == pytest.approx(F @ free.displacement, rel=1e-8)
    apart = fixed.displacement - free.displacement
    assert np.linalg.norm(apart - rigid @ np.linalg.lstsq(rigid, apart, rcond=None)[0]) < 1e-8 * np.linalg.norm(apart)


def test_cantilever(record):
    """P L^3/(3 E I) + P L/(k G A), reactions -P and P L. 1 %: the clamp also stops the strip from widening."""
    L, b, h, P = 0.3, 0.02, 0.004, 2.0
    mesh = cases.plate(L, b, 12, 2)
    model, w = assemble(mesh), weights({"plate": laminate([Layer(WOOD, h)])})
    fixed = fixed_unknowns(model.space, fix=["west"])
    F = cases.edge_load(model.space, mesh.edges["east"], [0, 0, P / b, 0, 0, 0])
    found = deflect(model, w, F, fixed)
    hand = P * L**3 / (3 * WOOD.E_L * b * h**3 / 12) + P * L / (5 / 6 * WOOD.G_LT * b * h)
    tip = F @ found.displacement[:, 0] / P
    record("cantilever strip, tip", "beam theory with shear: P L³/(3 EI) + P L/(k G A)", hand, tip, "m")
    assert tip == pytest.approx(hand, rel=0.01)
    at, component = np.divmod(fixed, 6)
    reaction = found.reaction[:, 0]
    assert reaction[component == 2].sum() == pytest.approx(-P, rel=1e-7)
    lever = model.space.points[at, 0]
    moment = reaction[component == 4].sum() - (lever * reaction)[component == 2].sum()
    assert moment == pytest.approx(P * L, rel=1e-6)
    assert found.work == pytest.approx(found.energy, rel=1e-11)


def test_free_body_with_a_stiff_seam_balances_its_energy():
    """Joint 1e11 N/m per m beside a 3 mm plate: the digits that a free, jointed body costs are not lost."""
    model = assemble(cases.split_plate(0.4, 0.2, 8, 4))
    plate = laminate([Layer(WOOD, 0.003)])
    w = weights({"left": plate, "right": plate, "joint": joint()})
    corners = [
        spot(model.space, model.space.mesh.edges[e], [x, y, 0])
        for e, x in (("west", 0), ("east", 0.4))
        for y in (0, 0.2)
    ]
    found = deflect(model, w, twist(model.space, corners))
    assert found.work == pytest.approx(found.energy, rel=1e-11)
    assert sum(e[0] for (region, _), e in found.strain_energy.items() if region == "joint") > 0


def test_twisted_strip(record):
    """Four corner forces twist a plate evenly: angle = T L/(4 D66 b).

    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, art. 11. A shear-flexible strip loses .63 h/b of its
    torsional stiffness, times the root of G_LT/G_LR, near each free edge, and the forces dent its corners: 1.5 %.
    """
    L, b, h = 0.4, 0.25, 0.002
    mesh = cases.plate(L, b, 10, 8)
    model, w = assemble(mesh), weights({"plate": laminate([Layer(WOOD, h)])})
    corners = [spot(model.space, mesh.edges[e], [x, y, 0]) for e, x in (("west", 0), ("east", L)) for y in (0, b)]
    unit = twist(model.space, corners)
    angle = abs(unit @ deflect(model, w, unit).displacement[:, 0])
    hand = L / (4 * WOOD.G_LR * h**3 / 12 * b)
    record(
        "plate twisted by corner forces",
        "Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, art. 11",
        hand,
        angle,
        "rad",
    )
    assert angle == pytest.approx(hand, rel=0.015)


def test_presses_do_not_feel_a_rigid_motion(ring):
    """A spot reads the displacement at its place, anywhere between nodes; pinch and twist read what is relative."""
    model, _, _, edges = ring
    place = R * np.array([np.cos(0.123), np.sin(0.123), 0])
    here = spot(model.space, edges["low"], place)
    field = np.zeros((model.size // 6, 6))
    field[:, :3] = model.space.points @ np.array([[1, 2, 3], [-1, 0, 4], [2, 5, 1.0]])
    assert here.load(model.space, [0, 1, 0]) @ field.ravel() == pytest.approx(here.point @ [2, 0, 5.0], rel=1e-12)
    assert np.linalg.norm(here.point - place) < 0.01 * R
    rigid = rigid_modes(model.space.points)
    others = [spot(model.space, edges["high"], R * np.array([np.cos(a), np.sin(a), 0])) for a in (0.2, 1.1, 3.0, 4.4)]
    for unit in (pinch(model.space, here, others[2]), twist(model.space, others)):
        assert np.abs(unit @ rigid).max() < 1e-12


@pytest.mark.parametrize("angle", [27, -27])
def test_free_plate_swells_without_stress(angle):
    """Its strain is what it would take up, its stress none: moisture of a free board, off the axes of the mesh."""
    mesh = cases.plate(0.3, 0.2, 6, 5, grain=angle, irregular=0.1)
    model, w = assemble(mesh), weights({"plate": laminate([Layer(WOOD, 0.003)])})
    wanted = np.array([1e-4, 2e-3, 3e-4, 0.02, -0.1, 0.03, 0, 0, 0])
    load = free_strain(model, w, "plate", wanted)
    found = deflect(model, w, load)
    operator = next(op for op in model.operators if op.role == "K")
    e = strains(operator, found.displacement)
    assert e[..., 0] == pytest.approx(np.broadcast_to(wanted, e.shape[:3]), abs=1e-9)


def test_swelling_that_is_held_pushes_with_its_stiffness():
    """Clamped all round, a board swelling by e across its grain pushes with A22 e per length on each long edge."""
    mesh = cases.plate(0.3, 0.2, 6, 4)
    section = laminate([Layer(WOOD, 0.003)])
    model, w = assemble(mesh), weights({"plate": section})
    fixed = fixed_unknowns(model.space, fix=["west", "east", "south", "north"])
    load = free_strain(model, w, "plate", [0, 1e-3, 0, 0, 0, 0, 0, 0, 0])
    held = deflect(model, w, load, fixed)
    at, component = np.divmod(fixed, 6)
    north = (component == 1) & (model.space.points[at, 1] > 0.2 - 1e-9)
    pushed = held.reaction[north, 0].sum()
    assert pushed == pytest.approx(-section.stiffness["A22"] * 1e-3 * 0.3, rel=1e-6)


def test_any_load_of_a_free_body_can_be_balanced(ring):
    """With the inertia forces of the rigid motion it would cause; a load in balance is left as it is."""
    model, w, *_ = ring
    push = np.zeros(model.size)
    push[1] = 1.0
    rigid = rigid_modes(model.space.points)
    assert np.abs(rigid.T @ balanced(model, w, push)).max() < 1e-12
    F = squeeze(ring, 0.4)
    assert balanced(model, w, F)[:, 0] == pytest.approx(F, abs=1e-12)


def test_bad_loads_are_told(ring):
    model, w, _, edges = ring
    push = np.zeros(model.size)
    push[1] = 1.0
    with pytest.raises(ValueError, match=r"load 1 on a free body is out of balance: net force and couple .*balanced"):
        deflect(model, w, push)
    with pytest.raises(ValueError, match="leave the body loose"):
        deflect(model, w, push, fixed=[0, 1, 2, 6, 7, 8])
    with pytest.raises(ValueError, match="not finite"):
        deflect(model, w, push * np.nan, fixed=range(12))
    with pytest.raises(ValueError, match="loads of 5 unknowns; expected"):
        deflect(model, w, np.zeros(5))
    on_line = [spot(model.space, edges["low"], [R, 0, 0])] * 4
    with pytest.raises(ValueError, match="lie on one line"):
        twist(model.space, on_line)
