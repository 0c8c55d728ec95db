"""Beams on the edges of shells: alone, against beam theory; on a strip, against composite beam theory."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.linalg as sl
import shell_cases as cases
from shell_cases import unknowns

from fem.bar_forms import RECTANGLE
from fem.eigen import fixed_unknowns
from fem.materials import Wood, isotropic
from fem.mesh import Line, ShellMesh, Surface, unit_normals
from fem.model import assemble, weights
from fem.sections import Layer, beam, laminate, torsion_constant

WOOD = Wood("beam", 10e9, 1e9, 0.7e9, 0.7e9, 0.7e9, 0.3, 450.0)


class Alone:
    """A beam along x, on the middle line of a plate that has no section: its unknowns only. up is +z, a is +y."""

    def __init__(self, length, section, elements=8, taper=(1.0, 1.0), offset=(0, 0, 0), form=RECTANGLE):
        mesh = cases.plate(length, 0.1, elements, 2)
        line = cases.line_at(elements, 2, 0.5, (0, 0, 1.0), taper)
        line = replace(line, offset=np.tile(np.asarray(offset, float), (elements, 1)), form=form)
        model = assemble(ShellMesh(mesh.nodes, mesh.triangles, mesh.normal, mesh.surfaces, {"rib": line}))
        at = model.space.edge_nodes(line.edges)
        at = at[:, :].ravel()[np.sort(np.unique(at.ravel(), return_index=True)[1])]
        self.at = at[np.argsort(model.space.points[at, 0])]
        rows = (6 * self.at[:, None] + np.arange(6)).ravel()
        self.K, self.M = (model.matrix(r, weights({"rib": section}))[rows][:, rows].toarray() for r in "KM")

    def unknowns(self, end, components):
        """Indices of unknowns at an end (0 or -1), or at all nodes (None)."""
        k = np.arange(len(self.at)) if end is None else np.atleast_1d(np.arange(len(self.at))[end])
        return (6 * k[:, None] + np.asarray(components)).ravel()

    def tip(self, force, root=range(6)):
        """Displacement and rotation (6,) of the tip under a (6,) force there, the other end held."""
        return self._static(force, self.unknowns(0, root))

    def _static(self, force, fixed):
        free = np.setdiff1d(np.arange(len(self.K)), fixed)
        F, u = np.zeros(len(self.K)), np.zeros(len(self.K))
        F[-6:] = force
        u[free] = np.linalg.solve(self.K[np.ix_(free, free)], F[free])
        return u[-6:]

    def frequencies(self, fixed):
        """All natural frequencies [Hz], ascending; rigid ones come out as nearly 0."""
        free = np.setdiff1d(np.arange(len(self.K)), fixed)
        return dense_frequencies(self.K[np.ix_(free, free)], self.M[np.ix_(free, free)])


def dense_frequencies(K, M, shift=1e3):
    """Hz, from dense matrices; M may be singular."""
    mu = sl.eigvalsh(M, K + shift * M)
    mu = mu[mu > 1e-12 * mu[-1]][::-1]
    return np.sqrt(np.abs(1 / mu - shift)) / (2 * np.pi)


IN_PLANE = (1, 3, 5)  # unknowns that a beam bending in the x-z plane does not use


def test_timoshenko_beam(literature, record):
    """Simply supported, deep: shear and rotary inertia lower the third mode by a third."""
    case = literature["timoshenko_beam"]
    rib = Alone(0.5, beam(WOOD, 0.02, 0.05, -0.025))
    fixed = np.r_[rib.unknowns(None, (0, *IN_PLANE)), rib.unknowns(0, [2]), rib.unknowns(-1, [2])]
    found = rib.frequencies(fixed)[:3]
    record("Timoshenko beam, simply supported, deep", case["source"], case["value"], found, "Hz")
    assert found == pytest.approx(case["value"], rel=case["tolerance"])


@pytest.mark.parametrize(("size", "plane"), [((0.004, 0.005), IN_PLANE), ((0.005, 0.004), (2, 3, 4))])
@pytest.mark.parametrize("lift", [None, 0.0, -0.02])
def test_free_beam_vibrates_alike_wherever_its_line_lies(size, plane, lift, literature, record):
    """Free-free, bending in the plane of the height and of the width; a line outside the beam must change nothing.

    Lift moves the beam in the plane of its height: stiffness and inertia both carry the offset.
    """
    case, (w, h), L = literature["euler_free_beam"], size, 0.5
    wood = isotropic("rod", 10e9, 0.0, 450.0)
    rib = Alone(L, beam(wood, w, h, -h / 2 if lift is None else lift), elements=12)
    depth = h if plane == IN_PLANE else w
    radius = depth / np.sqrt(12)
    found = rib.frequencies(rib.unknowns(None, plane))
    elastic = np.sqrt(2 * np.pi * found[found > 1.0][:3] / radius / np.sqrt(wood.E_L / wood.density)) * L
    assert np.sum(found < 1.0) == 3
    where = (
        f"{'height' if plane == IN_PLANE else 'width'}, {'centred' if lift is None else f'lifted {1e3 * lift:g} mm'}"
    )
    record(f"free beam, βL, bending over its {where}", case["source"], case["value"], elastic)
    assert elastic == pytest.approx(case["value"], rel=case["tolerance"])


def test_lift_is_an_offset():
    """A beam lifted by e and one of no lift whose line has the offset e along up: K and M equal to 1e-12."""
    lifted = Alone(0.4, beam(WOOD, 0.01, 0.02, 0.007), taper=(1, 0.4))
    moved = Alone(0.4, beam(WOOD, 0.01, 0.02, 0.0), taper=(1, 0.4), offset=(0, 0, 0.007))
    for name in ("K", "M"):
        a, b = getattr(lifted, name), getattr(moved, name)
        assert np.abs(a - b).max() < 1e-12 * np.abs(a).max()


def test_pull_on_an_eccentric_beam_bends_it_towards_the_line(record):
    """N along the line, the beam's centre e above it: M = -N e, so the tip goes up by N e L^2/(2 EI); sign and size."""
    w, h, lift, L, N = 0.01, 0.02, 0.005, 0.3, 1000.0
    tip = Alone(L, beam(WOOD, w, h, lift)).tip([N, 0, 0, 0, 0, 0])
    e, EI, EA = lift + h / 2, WOOD.E_L * w * h**3 / 12, WOOD.E_L * w * h
    record("pull on an eccentric beam, tip's lift", "beam theory: N e L²/(2 EI)", N * e * L**2 / (2 * EI), tip[2], "m")
    assert tip[2] == pytest.approx(N * e * L**2 / (2 * EI), rel=1e-9)
    assert tip[0] == pytest.approx(N * L * (1 / EA + e**2 / EI), rel=1e-9)


def test_pull_on_a_beam_offset_sideways():
    """Offset e along +y: the pull bends the line in the x-y plane; checks the operator r x, not the section."""
    w, h, e, L, N = 0.01, 0.02, 0.004, 0.3, 1000.0
    tip = Alone(L, beam(WOOD, w, h, -h / 2), offset=(0, e, 0)).tip([N, 0, 0, 0, 0, 0])
    EI = WOOD.E_L * h * w**3 / 12
    assert tip[1] == pytest.approx(N * e * L**2 / (2 * EI), rel=1e-9)
    assert tip[2] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("taper", [(1.0, 0.3), (0.4, 1.0)])
def test_tapered_cantilever(taper, record):
    """Tip deflection = int M^2/(P EI) dx + int P/(k G A) dx, integrated here; height linear along x."""
    w, h, L, P = 0.008, 0.016, 0.2, 1.0
    tip = Alone(L, beam(WOOD, w, h, 0.0), elements=16, taper=taper).tip([0, 0, P, 0, 0, 0])
    x = (np.arange(20000) + 0.5) * L / 20000
    height = h * (taper[0] + (taper[1] - taper[0]) * x / L)
    bending = P * (L - x) ** 2 / (WOOD.E_L * w * height**3 / 12)
    shear = P / (5 / 6 * WOOD.G_LT * w * height)
    hand = np.sum(bending + shear) * L / 20000
    record(f"tapered cantilever, {taper[0]:g} to {taper[1]:g}", "beam theory, integrated", hand, tip[2], "m")
    assert tip[2] == pytest.approx(hand, rel=2e-3)


def exact_torsion_constant(a, b):
    """J [m4] of a rectangle a >= b, the series of Timoshenko & Goodier, Theory of Elasticity, art. 109."""
    n = np.arange(1, 200, 2)
    return a * b**3 / 3 * (1 - 192 / np.pi**5 * b / a * np.sum(np.tanh(n * np.pi * a / (2 * b)) / n**5))


def test_torsion_constant_of_rectangles(literature, record):
    case = literature["torsion_of_rectangles"]
    found = [torsion_constant(ratio, 1.0) / ratio for ratio in case["ratio"]]
    record("torsion of rectangles, J/(a b³)", case["source"], case["value"], found)
    for ratio, value in zip(case["ratio"], case["value"]):
        assert exact_torsion_constant(ratio, 1.0) / ratio == pytest.approx(value, rel=3e-3)  # the table itself, rounded
        for size in ((ratio, 1.0), (1.0, ratio)):
            assert torsion_constant(*size) / ratio == pytest.approx(value, rel=case["tolerance"])


@pytest.mark.parametrize(("w", "h"), [(0.02, 0.02), (0.01, 0.03), (0.03, 0.01)])
@pytest.mark.parametrize("lift", ["centred", 0.0, 0.01])
def test_rod_twists_by_its_torsion_constant(w, h, lift):
    """Twist = T L/(G J) whatever line the beam counts from: the offset may add shear, not torsional stiffness.

    3 %: Roark's formula, then the fit of J by a cubic of the taper. Warping is free in Saint-Venant's theory.
    """
    rib = Alone(0.3, beam(WOOD, w, h, -h / 2 if lift == "centred" else lift))
    twist = rib.tip([0, 0, 0, 1.0, 0, 0])[3]
    assert twist == pytest.approx(0.3 / (WOOD.G_LT * exact_torsion_constant(max(w, h), min(w, h))), rel=0.03)


@pytest.mark.parametrize("component", [1, 2])
def test_end_load_in_both_planes(component):
    """P L^3/(3 EI) + P L/(k G A): each load meets the EI and the G of its own plane."""
    wood = Wood("two shears", 10e9, 1e9, 0.9e9, 0.3e9, 0.1e9, 0.3, 450.0)
    w, h, L = 0.012, 0.03, 0.1
    rib = Alone(L, beam(wood, w, h, -h / 2))
    force = np.zeros(6)
    force[component] = 1.0
    EI, G = ((wood.E_L * h * w**3 / 12, wood.G_LR), (wood.E_L * w * h**3 / 12, wood.G_LT))[component - 1]
    assert rib.tip(force)[component] == pytest.approx(L**3 / (3 * EI) + L / (5 / 6 * G * w * h), rel=1e-6)


# A ring


def ring_model(R, section, n=48):
    """Model of a ring of n straight beams, up along z, on the inner edge of an annulus; the annulus' other unknowns."""
    angle = 2 * np.pi * np.arange(n) / n
    circle = np.column_stack([np.cos(angle), np.sin(angle), 0 * angle])
    k, nxt = np.arange(n), (np.arange(n) + 1) % n
    nodes = np.vstack([R * circle, 1.2 * R * circle])
    triangles = np.vstack([np.column_stack([k, k + n, nxt + n]), np.column_stack([k, nxt + n, nxt])])
    normal = unit_normals(nodes, triangles)
    line = Line(np.column_stack([k, nxt]), np.tile([0, 0, 1.0], (n, 1)), np.ones((n, 2)), np.zeros((n, 3)))
    surface = Surface(np.arange(2 * n), np.tile([1.0, 0, 0], (2 * n, 1)))
    model = assemble(ShellMesh(nodes, triangles, normal, {"plate": surface}, {"ring": line}))
    rows = (6 * np.unique(model.space.edge_nodes(line.edges))[:, None] + np.arange(6)).ravel()
    return [model.matrix(r, weights({"ring": section}))[rows][:, rows].toarray() for r in "KM"]


def test_ring(record):
    """Free ring: omega^2 = n^2 (n^2-1)^2/(n^2 + c) EI/(m R^4), c = 1 in its plane, EI/GJ out of it.

    Love, Mathematical Theory of Elasticity, art. 293; Timoshenko, Vibration Problems in Engineering, on rings, where a
    round section has c = 1 + nu out of the plane. h/R = 1/50. 1 %: shear, rotary inertia, the torsion constant's fit.
    """
    R, w, h, steel = 0.2, 0.004, 0.006, isotropic("steel", 200e9, 0.3, 8000.0)
    K, M = ring_model(R, beam(steel, w, h, -h / 2))
    found = dense_frequencies(K, M, shift=1e4)[6:]
    m, GJ = steel.density * w * h, steel.G_LR * exact_torsion_constant(h, w)
    inside, outside = steel.E_L * h * w**3 / 12, steel.E_L * w * h**3 / 12
    hand = []
    for n in (2, 3, 4):
        common = n**2 * (n**2 - 1) ** 2 / (m * R**4)
        hand += 2 * [np.sqrt(common * inside / (n**2 + 1)), np.sqrt(common * outside / (n**2 + outside / GJ))]
    hand = np.sort(hand)[:8] / (2 * np.pi)
    record("free ring of beams", "Love, Mathematical Theory of Elasticity, art. 293", hand, found[:8], "Hz")
    assert found[:8] == pytest.approx(hand, rel=0.01)


# On a strip

STRIP = Wood("strip", 10e9, 1e9, 1e9, 1e12, 1e12, 0.0, 500.0)
RIB = Wood("rib", 12e9, 1e9, 1e9, 1e12, 1e12, 0.0, 420.0)


def ribbed_strip(side, layers, load):
    """Tip displacement (3,) of a cantilever strip 0.3 x 0.02 m with a rib 6 x 12 mm on its +z (side 1) or -z face."""
    L, b = 0.3, 0.02
    mesh = cases.plate(L, b, 10, 2, lines={"rib": b / 2})
    line = mesh.lines["rib"]
    turned = Line(line.edges, side * line.up, line.taper, line.offset)
    model = assemble(
        ShellMesh(mesh.nodes, mesh.triangles, mesh.normal, mesh.surfaces, {"rib": turned}, edges=mesh.edges)
    )
    face = max(side * (la.middle + side * la.thickness / 2) for la in layers)
    sections = {"plate": laminate(layers), "rib": beam(RIB, 0.006, 0.012, face)}
    F = cases.edge_load(model.space, mesh.edges["east"], np.r_[np.asarray(load) / b, 0, 0, 0])
    u = cases.solved(model.matrix("K", weights(sections)), F, fixed_unknowns(model.space, ["west"]))
    at = np.flatnonzero(np.linalg.norm(model.space.points - [L, b / 2, 0], axis=1) < 1e-9)[0]
    return u.reshape(-1, 6)[at, :3]


def composite(side, layers):
    """EA, ES, EI about z = 0 of the strip and its rib."""
    face = max(side * (la.middle + side * la.thickness / 2) for la in layers)
    pieces = [(la.wood.E_L * 0.02, la.middle - la.thickness / 2, la.middle + la.thickness / 2) for la in layers]
    pieces.append((RIB.E_L * 0.006, *sorted((side * face, side * (face + 0.012)))))
    return [sum(Eb * (t**k - b**k) / k for Eb, b, t in pieces) for k in (1, 2, 3)]


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    "layers",
    [[Layer(STRIP, 0.003)], [Layer(STRIP, 0.003), Layer(RIB, 0.002, 0.0025)]],
    ids=["plain strip", "strip with a layer above"],
)
def test_eccentric_stiffener(side, layers, record):
    """Bending: P L^3/(3 EI_c); pull: ES/EI eps L^2/2. Composite beam theory; within 1 %.

    1 %: the pull and the force enter along the whole edge, the strip wraps a little about the rib.
    """
    L = 0.3
    EA, ES, EI = composite(side, layers)
    w = ribbed_strip(side, layers, [0, 0, 1.0])[2]
    hand = L**3 / (3 * (EI - ES**2 / EA))
    face = f"{'upper' if side > 0 else 'lower'} face of {len(layers)} layer{'s' * (len(layers) > 1)}"
    record(f"eccentric stiffener, {face}", "composite beam theory", hand, w, "m")
    assert w == pytest.approx(hand, rel=0.01)
    u = ribbed_strip(side, layers, [1e3, 0, 0])
    eps = 1e3 / (EA - ES**2 / EI)
    assert u[2] == pytest.approx(ES / EI * eps * L**2 / 2, rel=0.01)


def test_unknowns_of_the_tests_pick_the_right_points():
    """The tests' own helper: unknowns on x = 0 of a plate with 2 x 2 cubic elements are 7 points."""
    space = assemble(cases.plate(1.0, 1.0, 2, 2)).space
    assert len(unknowns(space, cases.near(0, 0), (0, 1, 2))) == 21
