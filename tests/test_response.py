"""Harmonic response and complex modes against closed forms, and the balance of power."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import jve

from fem import radiation as rad
from fem import response
from fem.air import Opening
from fem.attachment_modes import residual_attachment_modes
from fem.complex_modes import complex_modes, undamped_modes
from fem.radiation import DENSITY, SPEED
from fem.response import ModalModel, Support, harmonic, held, opening_resistance, with_air
from tests.sound_cases import box

ONE = np.ones((1, 1))
FREQUENCY = np.arange(40.0, 1001.0, 7.0)


def some_matrix(rng, n, rank, size):
    """(n, n) symmetric, never negative, of a lower rank."""
    B = rng.standard_normal((n, rank))
    return size * B @ B.T / n


@pytest.fixture(scope="module")
def coupled_box():
    """Eight modes of a box's upper face with losses in three parts, a dashpot, an opening, and the air outside."""
    surface = box((0.48, 0.36, 0.10), (10, 8, 2))
    x, y = surface.centroid[:, 0] / 0.48, surface.centroid[:, 1] / 0.36
    up = surface.normal[:, 2] > 0.9
    hole = up & (np.hypot(x - 0.7, y - 0.5) < 0.15)
    numbers = [(1, 1), (2, 1), (1, 2), (3, 1), (2, 2), (4, 1), (3, 2)]
    modal_mass = 1.2 * 0.48 * 0.36 / 4
    shapes = [up * ~hole * np.sin(m * np.pi * x) * np.sin(n * np.pi * y) / np.sqrt(modal_mass) for m, n in numbers]
    v = np.column_stack([*shapes, rad.piston(surface, np.flatnonzero(hole))])
    air = rad.radiation(surface, v)
    rng = np.random.default_rng(3)
    omega = 2 * np.pi * np.array([170, 240, 310, 390, 430, 560, 640.0])
    flow = surface.area @ v
    K = np.diag([*omega**2, 0.0]) + DENSITY * SPEED**2 / 0.0173 * np.outer(flow, flow)
    M = np.diag([*np.ones(7), DENSITY * 0.003 / surface.area[hole].sum()])
    pad = lambda A: np.pad(A, (0, 8 - len(A)))
    loss = {"top": pad(np.diag(0.012 * omega**2)), "sides": pad(some_matrix(rng, 7, 3, 2e4))}
    viscous = {"arm": pad(some_matrix(rng, 7, 1, 30.0)), "opening": np.diag([*np.zeros(7), 300.0])}
    drive = np.array([*(np.sin(m * 0.9) * np.sin(n * 1.4) / np.sqrt(modal_mass) for m, n in numbers), 0.0])
    return ModalModel(K, M, loss, viscous, air), drive


# --- closed forms ---


def test_one_degree_of_freedom():
    """Y = i omega / (k (1 + i eta) - m omega^2 + i omega c), and heat by the amplitude; two losses side by side."""
    k, m, eta, c, force_on = 9e4, 0.08, 0.03, 0.7, 1.7
    model = ModalModel(k * ONE, m * ONE, {"spring": eta * k * ONE}, {"dashpot": c * ONE})
    found, w = harmonic(model, np.array([force_on]), FREQUENCY), 2 * np.pi * FREQUENCY
    u = force_on / (k * (1 + 1j * eta) - m * w**2 + 1j * w * c)
    assert found.mobility == pytest.approx(1j * w * force_on * u, rel=1e-12)
    assert found.velocity[:, 0] == pytest.approx(1j * w * u, rel=1e-12)
    assert found.power["spring"] == pytest.approx(w * eta * k * np.abs(u) ** 2 / 2, rel=1e-12)
    assert found.power["dashpot"] == pytest.approx(w**2 * c * np.abs(u) ** 2 / 2, rel=1e-12)
    assert not found.radiated_power.any()


def test_two_degrees_of_freedom():
    """Two masses, three springs and a dashpot between the masses, driven at the first: Cramer's rule by hand."""
    k1, k2, k3, m1, m2, c = 5e4, 2e4, 9e4, 0.05, 0.12, 1.3
    K, M = np.array([[k1 + k2, -k2], [-k2, k2 + k3]]), np.diag([m1, m2])
    C = c * np.array([[1, -1], [-1, 1]])
    eta1 = 0.02
    model = ModalModel(K, M, {"one": np.diag([eta1 * k1, 0])}, {"between": C})
    found, w = harmonic(model, np.array([1.0, 0.0]), FREQUENCY), 2 * np.pi * FREQUENCY
    a = k1 * (1 + 1j * eta1) + k2 - w**2 * m1 + 1j * w * c
    b = k2 + 1j * w * c
    d = k2 + k3 - w**2 * m2 + 1j * w * c
    u1, u2 = d / (a * d - b**2), b / (a * d - b**2)
    assert found.mobility == pytest.approx(1j * w * u1, rel=1e-10)
    assert found.displacement[:, 1] == pytest.approx(u2, rel=1e-10)
    assert found.power["between"] == pytest.approx(w**2 * c * np.abs(u1 - u2) ** 2 / 2, rel=1e-10)


@pytest.mark.parametrize("eta", [0.005, 0.03])
def test_the_width_of_a_peak_is_the_loss_factor(eta):
    """|u|^2 falls to half at omega0^2 (1 -+ eta) exactly, so that (f2^2 - f1^2) / (2 f0^2) = eta. Read off steps of 0.02 Hz."""
    k, m = 4.0e5, 0.1
    f0 = np.sqrt(k / m) / (2 * np.pi)
    f = np.arange(0.9 * f0, 1.1 * f0, 0.02)
    power = (
        np.abs(harmonic(ModalModel(k * ONE, m * ONE, {"part": eta * k * ONE}), np.ones(1), f).displacement[:, 0]) ** 2
    )
    above = f[power >= power.max() / 2]
    assert (above[-1] ** 2 - above[0] ** 2) / (2 * f0**2) == pytest.approx(eta, abs=2 * 0.02 / f0)


def test_helmholtz_resonator_radiates_as_a_monopole(record):
    """One unknown, the flow through the opening of a small rigid box: R = rho omega^2 / (4 pi c) (Pierce, Acoustics, 1981).

    1 %: the box is 1/12 of a wavelength. Frequency with the end correction .85 a of a wide flange: 4 %, this one is narrow.
    """
    surface = box((0.2, 0.2, 0.1), (6, 6, 3))
    hole = np.flatnonzero((surface.normal[:, 2] > 0.9) & (np.abs(surface.centroid[:, :2] - 0.1).max(axis=1) < 0.034))
    S = surface.area[hole].sum()
    air = rad.radiation(surface, rad.piston(surface, hole)[:, None], [50, 90, 140, 200.0])
    K = DENSITY * SPEED**2 / 0.02 * ONE
    found = complex_modes(ModalModel(K, DENSITY * 0.003 / S * ONE, radiation=air))
    omega = 2 * np.pi * found.frequency
    assert omega == pytest.approx(np.sqrt(K[0] * S / DENSITY / (0.003 + 0.85 * np.sqrt(S / np.pi))), rel=0.04)
    hand = omega**3 * DENSITY / (4 * np.pi * SPEED) / K[0]
    record(
        "radiation loss factor of a resonator's opening", "Pierce, Acoustics, 1981: ρω²/(4πc)", hand, found.loss_factor
    )
    assert found.loss_factor == pytest.approx(hand, rel=0.01)


# --- balance ---


def test_the_balance_closes_at_every_frequency(coupled_box):
    """Input power from the mobility at the drive against heat and sound summed over all parts: 1e-9."""
    model, drive = coupled_box
    found = harmonic(model, drive)
    assert len(found.frequency) == 961 and found.frequency[[0, -1]] == pytest.approx([40, 1000])
    assert found.imbalance.max() < 1e-9
    assert sorted(found.power) == ["arm", "opening", "radiation", "sides", "top"]
    assert all(p.min() >= 0 and p.max() > 0 for p in found.power.values())
    assert sum(found.share.values()) == pytest.approx(1, abs=1e-9)
    assert 0.02 < found.share["radiation"].max() < 1


def test_the_radiated_power_is_that_of_the_moving_surface(coupled_box):
    """At a frequency of the table: 1/2 omega^2 q^H R q against q in full."""
    model, drive = coupled_box
    f = model.radiation.frequency[4]
    found = harmonic(model, drive, [f])
    R = model.radiation.resistance[4]
    v = found.velocity[0]
    assert found.radiated_power[0] == pytest.approx(np.real(v.conj() @ R @ v) / 2, rel=1e-9)


def test_one_preparation_of_the_air_outside_serves_all_losses_and_supports(coupled_box, monkeypatch):
    """Against D q = f written out at each frequency; a cavity mode that the air outside does not meet comes first."""
    box_alone, drive = coupled_box
    wide = lambda A, own=0.0: np.block([[np.full((1, 1), own), np.zeros((1, 8))], [np.zeros((8, 1)), A]])
    viscous = {part: wide(C, 20.0) for part, C in box_alone.viscous.items()}
    model = ModalModel(wide(box_alone.stiffness, 4e6), wide(box_alone.mass, 1.0), {}, viscous)
    model = replace(model, radiation=rad.in_basis(box_alone.radiation, np.eye(9)[1:]))
    lap = Support("lap", np.random.default_rng(5).standard_normal((1, 9)), np.array([3e3]), np.array([2.0]))
    drive, f = np.append(0.5, drive), np.array([61.0, 183.0, 305.0, 702.0])
    prepared = rad.radiation_at(model.radiation, 2 * np.pi * f)
    monkeypatch.setattr(response, "CHUNK", 3)  # several blocks of frequencies
    for times in (0.5, 2.0):
        loss = {part: times * wide(H) for part, H in box_alone.loss.items()}
        other = held(replace(model, loss=loss), [lap])
        found = harmonic(other, drive, f, prepared)
        assert found.displacement == pytest.approx(harmonic(other, drive, f).displacement, rel=1e-10)
        for k, w in enumerate(2 * np.pi * f):
            Z = w * (sum(other.viscous.values()) + rad.resistance_at(other.radiation, w)[0])
            D = other.stiffness + 1j * (sum(other.loss.values()) + Z)
            D = D - w**2 * (other.mass + rad.added_mass_at(other.radiation, w)[0])
            assert found.displacement[k] == pytest.approx(np.linalg.solve(D, drive), rel=1e-9)
        assert found.imbalance.max() < 1e-9
    with pytest.raises(ValueError, match="other frequencies"):
        harmonic(model, drive, f + 1, prepared)


def test_any_basis_gives_the_same_answer(coupled_box):
    model, drive = coupled_box
    _, T = undamped_modes(model, 300.0)
    turn = lambda A: T.T @ A @ T
    loss, viscous = ({p: turn(A) for p, A in group.items()} for group in (model.loss, model.viscous))
    turned = ModalModel(turn(model.stiffness), turn(model.mass), loss, viscous, rad.in_basis(model.radiation, T))
    one, other = harmonic(model, drive, FREQUENCY), harmonic(turned, T.T @ drive, FREQUENCY)
    assert other.mobility == pytest.approx(one.mobility, rel=1e-6)
    assert other.power["sides"] == pytest.approx(one.power["sides"], rel=1e-6)


def test_a_state_with_enclosed_air(coupled_box):
    """Two cavity modes appended behind the opening, tied to it: losses and radiation stay on the unknowns they belong to."""
    model, drive = coupled_box
    K, M = np.pad(model.stiffness, (0, 2)), np.pad(model.mass, (0, 2))
    K[8:, 8:], M[8:, 8:] = np.diag([4e6, 9e6]), np.eye(2)
    K[[7, 8], [8, 7]] = -300.0
    seven = {part: H[:7, :7] for part, H in model.loss.items()}
    found = harmonic(
        with_air(K, M, 7, seven, {"soundhole": 300.0}, model.radiation), np.append(drive, [0, 0]), FREQUENCY
    )
    w, flow = 2 * np.pi * FREQUENCY, found.velocity[:, 7]
    assert found.imbalance.max() < 1e-9
    assert found.power["soundhole"] == pytest.approx(150 * np.abs(flow) ** 2, rel=1e-9)
    q = found.displacement[:, :7]
    heat = w / 2 * np.real(np.einsum("wi,ij,wj->w", q.conj(), seven["sides"], q))
    assert found.power["sides"] == pytest.approx(heat, rel=1e-9)
    loose = K.copy()
    loose[[7, 8], [8, 7]] = 0
    alone = harmonic(
        with_air(loose, M, 7, seven, {"soundhole": 300.0}, model.radiation), np.append(drive, [0, 0]), FREQUENCY
    )
    bare = ModalModel(model.stiffness, model.mass, model.loss, {"opening": model.viscous["opening"]}, model.radiation)
    assert alone.mobility == pytest.approx(harmonic(bare, drive, FREQUENCY).mobility, rel=1e-9)


# --- residual attachment modes ---


def chain(n, ends):
    """K and M of n unequal masses in a row; the springs at the ends hold it, or ends = 0 leaves it free."""
    rng = np.random.default_rng(5)
    k, m = rng.uniform(1e5, 4e5, n + 1), rng.uniform(0.02, 0.06, n)
    k[0] *= ends
    k[-1] *= ends
    return np.diag(k[:-1] + k[1:]) - np.diag(k[1:-1], 1) - np.diag(k[1:-1], -1), np.diag(m)


def with_attachment(K, M, kept, load):
    """omega^2 and shapes of the first modes with the residual attachment mode; and those without it."""
    value, shape = np.linalg.eigh(K / np.sqrt(np.outer(np.diag(M), np.diag(M))))
    shape = (shape / np.sqrt(np.diag(M))[:, None])[:, :kept]
    shift = -100.0
    extra = residual_attachment_modes(lambda B: np.linalg.solve(K - shift * M, B), shift, M, shape, load[:, None])[:, 0]
    both = np.column_stack([shape, extra])
    assert both.T @ M @ both == pytest.approx(np.eye(kept + 1), abs=1e-9)
    assert shape.T @ K @ extra == pytest.approx(np.zeros(kept), abs=1e-6 * (extra @ K @ extra))
    return value[:kept], shape, np.append(value[:kept], extra @ K @ extra), both


def test_the_static_limit_is_one_over_the_stiffness():
    """Receptance at 0.01 Hz against load' K^-1 load: exact with the vector, short by more than 5 % with four modes alone."""
    K, M = chain(30, ends=1)
    load = np.zeros(30)
    load[[11, 12]] = [1.0, -0.4]
    few, shape, more, both = with_attachment(K, M, 4, load)
    static = load @ np.linalg.solve(K, load)
    receptance = lambda value, s: (
        harmonic(ModalModel(np.diag(value), np.eye(len(value))), s.T @ load, [0.01]).displacement @ (s.T @ load)
    )
    assert receptance(more, both)[0].real == pytest.approx(static, rel=1e-6)
    assert receptance(few, shape)[0].real < 0.95 * static


def test_the_residual_attachment_modes_of_a_free_structure():
    """A free chain between its resonances, against the whole chain: ten times nearer with the vector than without it."""
    K, M = chain(30, ends=0)
    load = np.zeros(30)
    load[11] = 1.0
    few, shape, more, both = with_attachment(K, M, 5, load)
    w = 0.5 * np.sqrt(few[1]) + 0.5 * np.sqrt(few[2])
    exact = load @ np.linalg.solve(K - w**2 * M, load)
    found = [
        harmonic(ModalModel(np.diag(v.clip(0)), np.eye(len(v))), s.T @ load, [w / (2 * np.pi)]).displacement[0]
        @ (s.T @ load)
        for v, s in ((few, shape), (more, both))
    ]
    assert abs(found[1] - exact) < 0.1 * abs(found[0] - exact)
    assert found[1].real == pytest.approx(exact, rel=0.02)


def test_several_loads_at_once_and_one_that_bends_nothing_new():
    """Static answers to all loads exact together; a load that is the sum of two others brings no vector of its own."""
    K, M = chain(30, ends=1)
    _, shape = np.linalg.eigh(K / np.sqrt(np.outer(np.diag(M), np.diag(M))))
    shape = (shape / np.sqrt(np.diag(M))[:, None])[:, :4]
    loads = np.zeros((30, 4))
    loads[4, 0], loads[[11, 12], 1] = 1.0, [1.0, -0.4]
    loads[:, 2] = 2 * loads[:, 0] - loads[:, 1]
    loads[:, 3], loads[20, 3] = loads[:, 0], 1e-3  # nearly the first: what is its own must stay square to the others
    bent = residual_attachment_modes(lambda B: np.linalg.solve(K + 1e4 * M, B), -1e4, M, shape, loads)
    both = np.hstack([shape, bent])
    assert both.shape == (30, 7) and both.T @ M @ both == pytest.approx(np.eye(7), abs=1e-12)
    found = loads.T @ both @ np.linalg.solve(both.T @ K @ both, both.T @ loads)
    assert found == pytest.approx(loads.T @ np.linalg.solve(K, loads), rel=1e-6)


# --- supports ---


def test_a_mass_held_by_springs_and_dashpots():
    """A rigid mass with two unknowns (rise, turn) on two supports: closed forms of each, and all power in the supports."""
    m, J, a = 1.5, 0.02, 0.15
    free = ModalModel(np.zeros((2, 2)), np.diag([m, J]))
    lap = Support("lap", np.array([[1, a], [1, -a]]), np.array([8e3, 8e3]), np.array([30.0, 30.0]))
    arm = Support("arm", np.array([[0, a]]), np.array([2e3]), np.array([5.0]))
    found = harmonic(held(free, [lap, arm]), np.array([1.0, 0.1]), FREQUENCY)
    w = 2 * np.pi * FREQUENCY
    rise = 1 / (16e3 - w**2 * m + 1j * w * 60)
    turn = 0.1 / (18e3 * a**2 - w**2 * J + 1j * w * 65 * a**2)
    assert found.mobility == pytest.approx(1j * w * (rise + 0.1 * turn), rel=1e-9)
    assert found.power["arm"] == pytest.approx(w**2 * 5 * a**2 * np.abs(turn) ** 2 / 2, rel=1e-9)
    assert found.imbalance.max() < 1e-9


def test_the_drag_of_a_wide_long_tube(record):
    """Against the exact viscous tube, Re of i omega rho t / (S (1 - 2 J1(x)/(x J0(x)))), x = a sqrt(-i omega rho/mu).

    Zwikker & Kosten, Sound Absorbing Materials (1949), without heat conduction: a tube 100 radii long, its ends 1.7 %
    longer here; 3 %, the wall's layer being 1/110 of the radius.
    """
    a, t, f, mu = 0.02, 2.0, 100.0, 1.81e-5
    omega = 2 * np.pi * f
    x = a * np.sqrt(-1j * omega * DENSITY / mu)
    exact = (1j * omega * DENSITY * t / (np.pi * a**2) / (1 - 2 * jve(1, x) / (x * jve(0, x)))).real
    hand, found = exact * (1 + 16 / (300 * np.pi)), opening_resistance(Opening(a, t), f)
    record("drag of air in a long tube", "Zwikker & Kosten, Sound Absorbing Materials (1949)", hand, found, "Pa s/m³")
    assert found == pytest.approx(hand, rel=0.03)


# --- complex modes ---


def test_complex_modes_of_proportional_losses():
    """Every part's losses a multiple of the stiffness: the undamped modes, all with one loss factor."""
    K, M = chain(12, ends=1)
    found = complex_modes(ModalModel(K, M, {"a": 0.01 * K, "b": 0.004 * K}), highest=2000)
    value = np.linalg.eigvalsh(K / np.sqrt(np.outer(np.diag(M), np.diag(M))))
    assert found.frequency == pytest.approx(np.sqrt(value) / (2 * np.pi), rel=1e-9)
    assert found.loss_factor == pytest.approx(np.full(12, 0.014), rel=1e-8)
    assert found.part_loss["b"] == pytest.approx(np.full(12, 0.004), rel=1e-8)


def test_complex_modes_with_dashpots():
    """Against the poles s of s^2 M + s C + K: f = |s| / (2 pi), eta = -2 Re s / |s|, alike to eta^2 for light damping."""
    K, M = chain(8, ends=1)
    C = np.zeros((8, 8))
    C[2, 2], C[6, 6] = 1.5, 0.4
    found = complex_modes(ModalModel(K, M, viscous={"dashpot": C}), highest=2000)
    first = np.linalg.solve(M, np.hstack([-K, -C]))
    s = np.linalg.eigvals(np.vstack([np.hstack([np.zeros((8, 8)), np.eye(8)]), first]))
    s = np.sort_complex(1j * s[s.imag > 0])[::-1] / 1j
    s = s[np.argsort(np.abs(s))]
    assert found.frequency == pytest.approx(np.abs(s) / (2 * np.pi), rel=1e-3)
    assert found.loss_factor == pytest.approx(-2 * s.real / np.abs(s), rel=0.01)


def test_complex_modes_of_a_sounding_box(coupled_box):
    """Parts sum to the loss factor, D x = 0, and x'B u of a driven body peaks as a single oscillator, as wide as eta says.

    Half-power width as in the test above; 2 %, since resistances vary over the width.
    """
    model, drive = coupled_box
    found = complex_modes(model)
    assert len(found.frequency) == 8 and found.residual.max() < 1e-9
    assert sum(found.part_loss.values()) == pytest.approx(found.loss_factor, rel=1e-8)
    assert found.part_loss["radiation"].min() >= 0
    narrow = np.flatnonzero(found.loss_factor < 0.04)
    assert len(narrow) >= 4
    for f0, eta, x in zip(found.frequency[narrow], found.loss_factor[narrow], found.shape.T[narrow]):
        B = model.mass + rad.added_mass_at(model.radiation, 2 * np.pi * f0)[0]
        f = np.linspace(f0 * (1 - eta), f0 * (1 + eta), 2001)
        level = np.abs(harmonic(model, drive, f).displacement @ (B @ x)) ** 2
        above = f[level >= level.max() / 2]
        assert (above[-1] ** 2 - above[0] ** 2) / (2 * f0**2) == pytest.approx(eta, rel=0.02)


# --- at the door ---


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"loss": {"top": np.ones((3, 3))}}, "losses of 'top' has shape"),
        ({"loss": {"top": -np.eye(2)}}, "cannot give energy"),
        ({"loss": {"top": np.eye(2)}, "viscous": {"top": np.eye(2)}}, "'top' appears twice"),
        ({"viscous": {"radiation": np.eye(2)}}, "'radiation'"),
        ({"mass": np.array([[1.0, 0.5], [0, 1]])}, "symmetric"),
        ({"radiation": rad.Radiation(np.ones(1), np.ones((1, 3, 3)), np.ones((1, 3, 3)))}, "radiation has shape"),
    ],
)
def test_bad_matrices_are_refused(change, message):
    with pytest.raises(ValueError, match=message):
        ModalModel(**{"stiffness": np.eye(2), "mass": np.eye(2), **change})


def test_residual_attachment_modes_that_cannot_settle_say_so():
    K, M = chain(6, ends=1)
    with pytest.raises(ArithmeticError, match="shift"):
        residual_attachment_modes(lambda B: np.linalg.solve(K + 1e9 * M, B), -1e9, M, np.zeros((6, 0)), np.ones((6, 1)))
    with pytest.raises(ArithmeticError, match="whole load"):
        residual_attachment_modes(lambda B: np.linalg.solve(K, B), 0.0, M, np.linalg.inv(np.sqrt(M)), np.ones((6, 1)))
