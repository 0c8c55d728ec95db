"""Complex modes that lie close together: equal and nearly equal modes, and a body's six motions on its supports."""

import numpy as np
import pytest
import scipy.linalg as sl

from fem import complex_modes as cm
from fem import radiation as rad
from fem.complex_modes import complex_modes, undamped_modes
from fem.response import ModalModel
from tests.sound_cases import box

BAND = 2.0  # Hz


def turned(rng, *matrices):
    """The matrices in unknowns turned at random, so that round-off parts what was equal."""
    T = np.linalg.qr(rng.standard_normal(matrices[0].shape))[0]
    return [T.T @ A @ T for A in matrices]


def apart(shape):
    """Smallest singular value of unit vectors (n, m): 0 where one is made of the others."""
    return np.linalg.svd(shape, compute_uv=False)[-1]


def pair(gap, seed, losses):
    """Model of five modes, the second and third apart by `gap` of their frequency, with losses of its own unknowns."""
    f = np.array([110.0, 200.0, 200.0 * (1 + gap), 330.0, 415.0])
    K, M, H, C = turned(np.random.default_rng(seed), np.diag((2 * np.pi * f) ** 2), np.eye(5), *losses)
    symmetric = lambda A: (A + A.T) / 2
    return ModalModel(symmetric(K), symmetric(M), {"wood": symmetric(H)}, {"dashpot": symmetric(C)}), f


@pytest.mark.parametrize("gap", [0.0, 1e-12, 1e-9, 1e-6, 1e-3])
@pytest.mark.parametrize("seed", range(4))
def test_equal_and_nearly_equal_modes_with_losses_in_proportion(gap, seed):
    """Losses that do not part them: five modes, both of the pair, each with its own loss factor."""
    square = (2 * np.pi * np.array([110, 200, 200, 330, 415.0])) ** 2
    model, f = pair(gap, seed, (np.diag(0.02 * square), np.zeros((5, 5))))
    found = complex_modes(model)
    assert found.frequency == pytest.approx(f, rel=1e-9)
    assert found.loss_factor == pytest.approx(np.full(5, 0.02), rel=2e-6 + 4 * gap)
    assert apart(found.shape[:, 1:3]) > 0.05 and found.residual.max() < 1e-9


@pytest.mark.parametrize("gap", [0.0, 1e-9, 1e-6, 1e-4, 3e-3])
@pytest.mark.parametrize("seed", range(4))
def test_a_dashpot_that_parts_a_pair(gap, seed):
    """A dashpot on the sum of two equal motions damps one mode and leaves the other: by the poles of s^2 M + s C + K.

    f = |s|/2pi and eta = -2 Re s/|s|, alike to eta^2; the loss is 1 % of the stiffness.
    """
    both = np.array([0, 1, 1, 0, 0.3]) / np.sqrt(2)
    C = 0.02 * 2 * np.pi * 200 * np.outer(both, both)
    model, _ = pair(gap, seed, (np.zeros((5, 5)), C))
    found = complex_modes(model)
    first = np.linalg.solve(model.mass, np.hstack([-model.stiffness, -model.viscous["dashpot"]]))
    s = np.linalg.eigvals(np.vstack([np.hstack([np.zeros((5, 5)), np.eye(5)]), first]))
    s = s[s.imag > 0]
    poles = sorted(zip(np.abs(s) / (2 * np.pi), -2 * s.real / np.abs(s)))
    modes = sorted(zip(found.frequency, found.loss_factor))
    assert [f for f, _ in modes] == pytest.approx([f for f, _ in poles], rel=3e-4)
    eta = lambda rows: sorted(e for f, e in rows if 190 < f < 210)
    assert eta(modes) == pytest.approx(eta(poles), rel=5e-3, abs=2e-5)
    assert apart(found.shape[:, 1:3]) > 0.05 and found.residual.max() < 1e-8


def test_ranks_find_what_iterations_from_one_start_cannot():
    """Every start put on one mode: the iterations all end there, and the ranks still find five."""
    square = (2 * np.pi * np.array([110, 200, 200, 330, 415.0])) ** 2
    both = np.array([0, 1, 1, 0, 0.3])
    model, f = pair(1e-6, 1, (np.diag([0.02, 0.01, 0.03, 0.02, 0.02] * square), 20 * np.outer(both, both)))
    exact = complex_modes(model)
    starts = {rank: complex(v) for rank, v in enumerate(square * 1.01)}
    found = cm._by_rank(model, starts)
    assert [found[r][0] for r in range(5)] == pytest.approx(
        np.square(2 * np.pi * exact.frequency) * (1 + 1j * exact.loss_factor), rel=1e-7
    )
    assert cm._astray({0: found[1], 1: found[1]}, 0, found[1][0])
    assert not cm._astray(found, 1, found[1][0]) and cm._astray({0: None}, 0, 1.0 + 0j)
    assert cm._astray({0: found[0]}, 0, 1.2 * found[0][0]) and not cm._astray({0: found[0]}, 0, 1.05 * found[0][0])
    assert apart(np.column_stack([found[r][1] for r in range(5)])) > 0.05 and f[0] == pytest.approx(110)


def on_bands(seed, drag):
    """Six equal motions on bands and five modes above, all dragged at by air of four patterns, as omega^2; drag [1/s] of
    each at 300 Hz. Carried air parts the six.
    """
    rng = np.random.default_rng(seed)
    square = (2 * np.pi * np.array([*[BAND] * 6, 104.0, 187.0, 230.0, 300.0, 410.0])) ** 2
    n, f = len(square), np.linspace(40, 1000, 10)
    pattern, carried = rng.standard_normal((n, 4)), rng.standard_normal((n, n))
    R, carried = pattern @ pattern.T, 0.01 * carried @ carried.T / n
    air = rad.Radiation(f, np.array([drag * (x / 300) ** 2 * R for x in f]), np.array([carried] * len(f)))
    bands = np.append(np.ones(6), np.zeros(n - 6))
    loss = {"bands": np.diag(0.1 * square * bands), "wood": np.diag(0.015 * square * (1 - bands))}
    return ModalModel(np.diag(square), np.eye(n), loss, radiation=air), carried


@pytest.mark.parametrize("drag", [5.0, 60.0])
@pytest.mark.parametrize("seed", range(6))
def test_all_eleven_modes_of_a_body_on_bands(seed, drag):
    """Drag at 300 Hz is 20 000 times that at 2 Hz: starts that took it from the middle of the range lost modes here."""
    model, carried = on_bands(seed, drag)
    found = complex_modes(model, 0.05, 600.0)
    assert len(found.frequency) == 11 and found.residual.max() < 1e-8
    assert apart(found.shape[:, :6]) > 0.01
    hand = np.sqrt(sl.eigh(model.stiffness, model.mass + carried, eigvals_only=True)[:6]) / (2 * np.pi)
    assert found.frequency[:6] == pytest.approx(hand, rel=1e-3)
    assert found.part_loss["bands"][:6] == pytest.approx(np.full(6, 0.1), rel=0.01)
    assert sum(found.part_loss.values()) == pytest.approx(found.loss_factor, rel=1e-6)


def test_losses_too_large_to_follow_are_told():
    """Drag that makes a mode's loss factor grow as fast as its frequency falls."""
    model, _ = on_bands(17, 200.0)
    with pytest.raises(ArithmeticError, match="does not settle"):
        complex_modes(model, 0.05, 600.0)


def test_ranks_count_from_the_lowest_mode_of_all(monkeypatch):
    """Every mode of a range by its rank: those below the range are counted too."""
    square = (2 * np.pi * np.array([110, 200, 200, 330, 415.0])) ** 2
    model, _ = pair(1e-3, 2, (np.diag([0.02, 0.01, 0.03, 0.02, 0.04] * square), np.zeros((5, 5))))
    exact = complex_modes(model)
    monkeypatch.setattr(cm, "_astray", lambda *_: True)
    found = complex_modes(model, 150.0, 400.0)
    assert found.frequency == pytest.approx(exact.frequency[1:4], rel=1e-8)
    assert found.loss_factor == pytest.approx(exact.loss_factor[1:4], rel=1e-6)


@pytest.fixture(scope="module")
def hung():
    """A box of 1.9 kg that floats on bands of 2 Hz, moves rigidly in six ways and bends in two, in air that it pushes."""
    surface = box((0.48, 0.36, 0.10), (8, 6, 2))
    centre = np.array([0.24, 0.18, 0.05])
    arm = surface.centroid - centre
    rigid = [surface.normal[:, k] for k in range(3)]
    rigid += [np.einsum("mi,mi->m", np.cross(np.eye(3)[k], arm), surface.normal) for k in range(3)]
    x, y = surface.centroid[:, 0] / 0.48, surface.centroid[:, 1] / 0.36
    up = surface.normal[:, 2] > 0.9
    bent = [up * np.sin(np.pi * x) * np.sin(n * np.pi * y) / np.sqrt(0.05) for n in (1, 2)]
    a, b, c = 0.48, 0.36, 0.10
    inertia = 1.9 / 12 * np.array([b * b + c * c, a * a + c * c, a * a + b * b])
    rigid = [v / np.sqrt(m) for v, m in zip(rigid, [1.9] * 3 + list(inertia))]
    air = rad.radiation(surface, np.column_stack([*rigid, *bent]))
    square = (2 * np.pi * np.array([*[BAND] * 6, 190.0, 330.0])) ** 2
    bands = np.append(np.ones(6), np.zeros(2))
    loss = {"bands": np.diag(0.1 * square * bands), "wood": np.diag(0.015 * square * (1 - bands))}
    return ModalModel(np.diag(square), np.eye(8), loss, radiation=air), bands


def test_six_motions_of_a_body_hung_free(hung):
    """Two directions move alike: all six stand below the bands' frequency by the air they carry, as K, M + M_a say.

    Losses of the bands alone: the air takes next to nothing at 2 Hz.
    """
    model, bands = hung
    found = complex_modes(model, 0.05, 600.0)
    assert len(found.frequency) == 8 and found.residual.max() < 1e-9
    carried = rad.added_mass_at(model.radiation, 2 * np.pi * BAND)[0]
    hand = np.sqrt(sl.eigh(model.stiffness, model.mass + carried, eigvals_only=True)[:6]) / (2 * np.pi)
    assert found.frequency[:6] == pytest.approx(hand, rel=1e-4)
    assert (found.frequency[:6] < BAND).all() and found.frequency[:6].min() > 0.85 * BAND
    assert found.part_loss["bands"][:6] == pytest.approx(np.full(6, 0.1), rel=1e-4)
    assert (found.part_loss["radiation"][:6] < 1e-5).all() and (found.part_loss["radiation"][6:] > 1e-4).all()
    assert apart(found.shape) > 0.5
    assert np.sum(np.abs(bands @ np.abs(found.shape) ** 2) > 0.5) == 6


def test_modes_do_not_depend_on_the_range_asked_for(hung):
    """The six alone, the others alone, or all at once: the same modes, though the starts differ."""
    model, _ = hung
    whole, low, high = (complex_modes(model, *ends) for ends in ((0.05, 600.0), (0.05, 20.0), (20.0, 600.0)))
    assert np.append(low.frequency, high.frequency) == pytest.approx(whole.frequency, rel=1e-8)
    assert np.append(low.loss_factor, high.loss_factor) == pytest.approx(whole.loss_factor, rel=1e-6)


def test_no_mode_is_left_out(hung):
    """As many as there are without losses, however narrow or wide the range."""
    model, _ = hung
    f = undamped_modes(model, 150.0)[0] / (2 * np.pi)
    for high in (20.0, 200.0, 1000.0):
        assert len(complex_modes(model, 0.05, high).frequency) == np.sum(f < high)
