"""Peaks of the admittance: frequency, Q and effective mass on made data, where width and pole tell different things."""

import numpy as np
import pytest

from fem.admittance import Poles, admittance, main_peaks, mean_level, peaks, poles
from fem.complex_modes import complex_modes
from fem.radiation import Radiation
from fem.response import ModalModel, harmonic

FINE = np.arange(40.0, 400.0, 0.05)


def made(hz, kilograms, quality, radiation=None, viscous=None):
    """ModalModel of uncoupled masses and the load (1, n) that meets each with its effective mass."""
    omega2 = (2 * np.pi * np.array(hz)) ** 2
    loss = {"wood": np.diag(omega2 / quality)}
    return ModalModel(np.diag(omega2), np.eye(len(omega2)), loss, viscous or {}, radiation), np.array(kilograms)[
        None
    ] ** -0.5


def told(model, load, frequency=FINE, least_db=3.0):
    Y = admittance(model, load, frequency)
    found = poles(model, complex_modes(model, 20.0, 500.0), load)
    return peaks(frequency, Y[:, 0], found, 0, least_db), Y[:, 0], found


def half_power_quality(frequency, Y, peak):
    """f over the width between the half-power points on either side of a maximum."""
    above = np.abs(Y) > peak.mobility / np.sqrt(2)
    at = int(np.argmin(abs(frequency - peak.frequency)))
    left, right = np.flatnonzero(~above[:at]), np.flatnonzero(~above[at:])
    return peak.frequency / (right[0] + at - left[-1]) / (frequency[1] - frequency[0])


def test_one_mode_is_what_its_mass_spring_and_loss_make_it():
    """|Y| = Q/(m omega) at the peak; Q of 30, 150 g at 100 Hz."""
    model, load = made([100.0], [0.15], 30.0)
    (peak,), _, found = told(model, load)
    assert peak.frequency == pytest.approx(
        100.0 * (1 + 1 / 30**2) ** 0.25, abs=1e-3
    )  # where |omega / (lambda - omega^2)| is largest
    assert peak.mobility == pytest.approx(30 / (0.15 * 2 * np.pi * 100), rel=1e-3)
    assert (peak.quality, peak.effective_mass) == pytest.approx((30.0, 0.15), rel=1e-6)
    assert found.residue == pytest.approx(np.array([[1 / 0.15]]), rel=1e-6)
    ends = np.abs(admittance(model, load, FINE[[0, -1]])[:, 0])
    assert peak.prominence_db == pytest.approx(20 * np.log10(peak.mobility / ends.max()), abs=0.01)


def test_a_parabola_finds_the_maximum_between_coarse_steps():
    """1 Hz steps past a peak at 100.4 Hz, Q 30: within .1 Hz and 1 % of the height."""
    model, load = made([100.4], [0.15], 30.0)
    (peak,), *_ = told(model, load, np.arange(40.0, 400.0, 1.0))
    assert peak.frequency == pytest.approx(100.4, abs=0.1)
    assert peak.mobility == pytest.approx(30 / (0.15 * 2 * np.pi * 100.4), rel=0.01)


@pytest.mark.parametrize(("apart", "off"), [(1.2, 0.5), (1.5, 0.15), (3.0, 0.04), (20.0, 0.0)])
def test_the_pole_is_right_where_the_half_power_width_is_not(apart, off):
    """A neighbour, half as heavy, so many half-power widths above: the width's Q is off by `off` or more; the pole's by less than 1e-6.

    Only far apart does the width agree with it, within 1 %; the lower peak's Q by width is 10, 25, 28.5 and 29.8.
    """
    model, load = made([100.0, 100.0 * (1 + apart / 30)], [0.30, 0.15], 30.0)
    found, Y, _ = told(model, load, least_db=0.2)
    by_width = np.array([half_power_quality(FINE, Y, p) for p in found])
    assert len(found) == 2
    assert [p.quality for p in found] == pytest.approx([30.0, 30.0], rel=1e-6)
    assert [p.effective_mass for p in found] == pytest.approx([0.30, 0.15], rel=1e-6)
    worst = np.max(abs(by_width / 30 - 1))
    assert worst > off if off else worst < 0.01


def test_a_mode_that_hardly_moves_the_place_is_no_peak():
    """9 kg at 185 Hz between 1 kg at 104 and 160 g at 220 Hz: two peaks, though there are three modes, as on a guitar whose back
    does not move the saddle.
    """
    model, load = made([104.0, 185.0, 220.0], [1.0, 9.0, 0.16], np.array([60.0, 30.0, 39.0]))
    found, *_ = told(model, load)
    assert [p.frequency for p in found] == pytest.approx([104.0, 220.0], abs=0.3)
    light = made([104.0, 185.0, 220.0], [1.0, 0.3, 0.16], np.array([60.0, 30.0, 39.0]))
    assert len(told(*light)[0]) == 3


def test_a_swell_beside_an_antiresonance_is_no_peak():
    """A heavy mode at 255 Hz above a strong one: behind the antiresonance |Y| rises again by more than 3 dB, far from any pole."""
    model, load = made([220.0, 300.0, 900.0], [0.166, 12.0, 0.02], np.array([39.0, 9.0, 30.0]))
    found, Y, _ = told(model, load, np.arange(60.0, 880.0, 1.0))
    level = 20 * np.log10(abs(Y))
    rises = np.flatnonzero((level[1:-1] > level[:-2]) & (level[1:-1] > level[2:]))
    assert [round(p.frequency) for p in found] == [220]
    no_rule = Poles(*(np.array([x]) for x in (220.0, 1e9)), np.ones((1, 1), complex))  # a pole as wide as everything
    assert len(peaks(np.arange(60.0, 880.0, 1.0), Y, no_rule, 0, 0.1)) == len(rises)


def test_prominence_is_the_height_above_the_way_to_a_higher_peak():
    """20 dB, 10 dB and 30 dB over valleys at 4 and 6 dB, ends at 0 and 1 dB: 16 dB, 4 dB, 29 dB by hand."""
    level = np.array([0, 20, 4, 10, 6, 30, 1.0])
    wide = Poles(np.array([4.0]), np.array([1e3]), np.ones((1, 1), complex))
    found = peaks(np.arange(1.0, 8.0), 10 ** (level / 20), wide, 0, 0.0)
    assert [p.prominence_db for p in found] == pytest.approx([16, 4, 29])
    assert len(peaks(np.arange(1.0, 8.0), 10 ** (level / 20), wide, 0, 5.0)) == 2


def test_sound_and_dashpots_are_in_pole_and_residue():
    """One mass of 1 kg per (unit)^2 at a place of effective mass .2 kg; the air outside adds a tenth of its mass and R = r omega^2, a dashpot c:
    f by sqrt(1.1), eta = (eta_s k + omega c + omega R)/k, effective mass 1.1 x .2 kg, by hand.
    """
    grid = np.array([40.0, 80.0, 120.0, 160.0, 240.0, 400.0])
    R = 1e-5 * (2 * np.pi * grid) ** 2
    air = Radiation(grid, R[:, None, None], np.full((6, 1, 1), 0.1))
    model, load = made([110.0], [0.2], 50.0, air, {"hand": np.array([[4.0]])})
    (peak,), Y, _ = told(model, load)
    f = 110.0 / np.sqrt(1.1)
    omega, k = 2 * np.pi * f, (2 * np.pi * 110.0) ** 2
    assert peak.frequency == pytest.approx(f, abs=0.2)
    assert 1 / peak.quality == pytest.approx(1 / 50 + omega * (4.0 + 1e-5 * omega**2) / k, rel=1e-3)
    assert peak.effective_mass == pytest.approx(0.22, rel=1e-3)
    assert harmonic(model, load[0], FINE[::100]).mobility == pytest.approx(Y[::100], rel=1e-9)


def test_each_place_is_driven_by_itself():
    """Two places of one body: each column is that of `harmonic` with its own load, and the residue of each pole is its own."""
    model, load = made([100.0, 230.0], [0.3, 0.15], 30.0)
    both = np.vstack([load, load * [0.5, -2.0]])
    f = np.arange(60.0, 300.0, 7.0)
    Y = admittance(model, both, f)
    for column, one in zip(Y.T, both):
        assert column == pytest.approx(harmonic(model, one, f).mobility, rel=1e-9)
    found = poles(model, complex_modes(model, 20.0, 500.0), both)
    assert abs(found.residue) == pytest.approx(np.array([[1 / 0.3, 1 / 0.15], [0.25 / 0.3, 4 / 0.15]]), rel=1e-6)


def test_the_main_peaks_leave_out_what_is_heavier_than_the_instrument():
    model, load = made([60.0, 104.0, 220.0, 330.0], [20.0, 1.0, 0.16, 0.2], 40.0)
    found, *_ = told(model, load)
    assert len(found) == 4
    assert [round(p.frequency) for p in main_peaks(found, 4.0)] == [104, 220]
    assert main_peaks([], 4.0) == []


def test_the_mean_level_is_taken_over_the_logarithm_of_frequency():
    """|Y| = f/100 s/kg: the mean of 20 lg f over lg f is that of the geometric middle of 80 and 1000 Hz; what lies outside does not count."""
    f = np.arange(40.0, 1200.0, 1.0)
    Y = np.where((f < 80) | (f > 1000), 1e6, f / 100) * np.exp(1j)
    assert mean_level(f, Y, 80.0, 1000.0) == pytest.approx(20 * np.log10(np.sqrt(80e3) / 100), abs=1e-3)
