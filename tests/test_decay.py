"""Decay times from level curves, against exponentials and sums of two of them."""

import numpy as np
import pytest
from string_cases import LOSSY, wooden_box

from fem.coupled_string import (
    couple,
    dissipated,
    energy,
    fall_time,
    pluck_note,
    velocity,
)
from fem.decay import (
    decay_time,
    early_decay_time,
    first_crossing,
    last_crossing,
    level,
    schroeder,
    slope_decay_time,
    usable_range,
)  # fmt: skip
from fem.radiated_sound import (
    OCTAVES,
    first_radiated,
    octave_edges,
    radiated_decay_time,
    radiated_in_octaves,
    radiated_later,
    sound_of,
)
from fem.strings import Pluck

RATE = 2000
T = np.arange(0, 6, 1 / RATE)
ALPHA = 6.9078 / 2.5  # amplitude rate of a T60 of 2.5 s


def test_an_exponential_has_one_decay_time_by_every_measure():
    power = 3.0 * np.exp(-2 * ALPHA * T)
    assert decay_time(T, level(power)) == pytest.approx(2.5, rel=1e-4)
    assert early_decay_time(T, level(power)) == pytest.approx(2.5, rel=1e-4)
    found, off = slope_decay_time(T, level(power))
    assert found == pytest.approx(2.5, rel=1e-4)
    assert off < 1e-9


def test_two_slopes_give_two_answers():
    """A fast part 20 dB above a slow one: -60 dB is met on the slow line, 10 dB on the fast one; both worked by hand."""
    fast, slow = 6.9078 / 0.8, 6.9078 / 5.0
    power = 0.99 * np.exp(-2 * fast * T) + 0.01 * np.exp(-2 * slow * T)
    assert decay_time(T, level(power)) == pytest.approx(5.0 * 40 / 60, rel=1e-3)
    assert early_decay_time(T, level(power)) == pytest.approx(6 * 0.8 / 6 * np.log10(0.99 / 0.0938), rel=1e-2)
    early, late = (slope_decay_time(T, level(power), *span)[0] for span in ((0, -10), (-30, -55)))
    assert early == pytest.approx(0.85, abs=0.06) and late == pytest.approx(5.0, rel=0.02)


def test_last_crossing_waits_for_the_beats():
    """Two partials of near pitch beat; the curve dips below -20 dB long before it stays there."""
    power = np.exp(-2 * T) * (1.02 + np.cos(2 * np.pi * 2 * T)) / 2.02
    curve = level(power)
    first, last = first_crossing(T, curve, -20.0), last_crossing(T, curve, -20.0)
    assert first < 0.3 and last > 2.0
    assert (curve[last + 1 / RATE < T] < -20).all()
    assert np.isnan(last_crossing(T, curve, -60.0))
    assert np.isnan(first_crossing(T, curve, -100.0))


def test_silence_after_a_sample_ends_the_note_there():
    power = np.where(T < 1.0, 1.0, 0.0)
    assert decay_time(T, level(power)) == pytest.approx(1.0, abs=1 / RATE)


def test_schroeder_smooths_beats_and_agrees_over_the_same_range(record):
    """Schroeder, JASA 37:409 (1965): of a pure decay the integral falls as the decay; of a beating one as its mean.

    By hand: int_t^inf exp(-2 a s)(1 + cos(w s)) ds = e^{-2at} [1/(2a) + (2a cos wt - w sin wt)/(4a^2 + w^2)].
    """
    pure = np.exp(-2 * ALPHA * T)
    tail = pure[-1] / (1 - pure[1])
    curve = schroeder(pure, tail - pure[-1])
    assert curve == pytest.approx(level(pure), abs=1e-6)
    w, a = 2 * np.pi * 4, ALPHA
    beating = pure * (1 + np.cos(w * T))
    exact = pure * (1 / (2 * a) + (2 * a * np.cos(w * T) - w * np.sin(w * T)) / (4 * a**2 + w**2))
    found = schroeder(beating)
    upto = T < 3  # the sum stops at 6 s: 70 dB above what is cut off
    assert found[upto] == pytest.approx(level(exact)[upto], abs=0.05)
    record(
        "T60 of a beating decay by backward integration",
        "Schroeder, JASA 37:409 (1965)",
        2.5,
        slope_decay_time(T, found)[0],
        "s",
    )
    assert slope_decay_time(T, found)[0] == pytest.approx(2.5, rel=0.02)


def test_a_cut_recording_bends_the_schroeder_curve_down():
    """Half a decay recorded: the range -5 to -25 dB reads too short, and the missing tail mends it."""
    t = T[T < 1.1]
    power = np.exp(-2 * ALPHA * t)
    cut, mended = (
        slope_decay_time(t, schroeder(power, tail), -5, -25)[0] for tail in (0.0, power[-1] / (2 * ALPHA) * RATE)
    )
    assert cut < 2.42
    assert mended == pytest.approx(2.5, rel=2e-3)


def test_ranges_that_were_not_recorded_are_refused():
    power = np.exp(-2 * ALPHA * T[T < 1.0])
    with pytest.raises(ValueError, match="falls by 24 dB only"):
        slope_decay_time(T[T < 1.0], level(power))
    with pytest.raises(ValueError, match="first above the second"):
        slope_decay_time(T, level(np.exp(-T)), -35, -5)
    noisy = np.exp(-2 * 4 * T) + 1e-4
    assert usable_range(noisy) == pytest.approx(40, abs=0.5)


def test_decay_of_a_coupled_note_is_read_off_its_energy_curve():
    """Root finding on the energy against the sampled curve; the early decay is another figure than T60."""
    ringing = pluck_note(couple(LOSSY, 0, 2, wooden_box()), Pluck(0.12, 0.004, 0.3))
    sixty, ten = fall_time(ringing, 60.0), fall_time(ringing, 10.0)
    t = np.linspace(0, 1.2 * sixty, 2500)
    curve = level(energy(ringing, t))
    assert np.diff(curve).max() < 1e-9
    assert decay_time(t, curve) == pytest.approx(sixty, rel=2e-3)
    assert early_decay_time(t, curve) == pytest.approx(6 * ten, rel=1e-2)
    assert 6 * ten < 0.9 * sixty


def test_sound_still_to_come_is_the_schroeder_curve_of_the_radiated_power():
    """Closed form against the sum over |B'v|^2 sampled at 16 kHz; both then fitted over the same range, -5 to -35 dB."""
    body = wooden_box()
    ringing = pluck_note(couple(LOSSY, 0, 2, body), Pluck(0.12, 0.004, 0.3))
    rate = 16000
    t = np.arange(0, 1.2 * radiated_decay_time(sound_of(ringing), 60.0), 1 / rate)
    power = radiated_power(ringing, t)
    later = radiated_later(ringing)
    coarse = np.s_[:: rate // 20]
    curve, closed = schroeder(power, later(t[-1])[0] * rate), level(later(t[coarse]))
    upto = closed > -55
    assert curve[coarse][upto] == pytest.approx(closed[upto], abs=0.1)
    assert later(0.0)[0] == pytest.approx(dissipated(ringing)["radiation"] * ringing.energy)
    fits = [slope_decay_time(t[coarse], c)[0] for c in (curve[coarse], closed)]
    assert fits[0] == pytest.approx(fits[1], rel=2e-3)
    assert decay_time(t[coarse], closed) == pytest.approx(radiated_decay_time(sound_of(ringing), 60.0), rel=5e-3)


def radiated_power(ringing, t):
    """|B'v|^2 [W] at times t."""
    rows = np.zeros((len(ringing.coupled.omega), ringing.coupled.body.radiation.shape[1]))
    rows[: ringing.coupled.body_size] = ringing.coupled.body.radiation
    return (velocity(ringing, t, rows) ** 2).sum(1)


def test_the_level_is_what_the_first_half_second_radiates():
    """Closed form against the sum over |B'v|^2 sampled at 40 kHz for half a second."""
    ringing = pluck_note(couple(LOSSY, 0, 2, wooden_box()), Pluck(0.12, 0.004, 0.3))
    t = (np.arange(20000) + 0.5) / 40000
    sound = sound_of(ringing)
    assert first_radiated(sound) == pytest.approx(radiated_power(ringing, t).sum() / 40000, rel=1e-3)
    assert first_radiated(sound) < 0.9 * sound.later(0.0)[0]


def test_octaves_are_those_of_the_standard():
    """IEC 61260-1, base ten: the octave of 500 Hz runs from 354.8 to 707.9 Hz, that of 1000 Hz on to 1412.5 Hz; by hand."""
    assert octave_edges(500) == pytest.approx((354.81, 707.95), abs=0.01)
    assert octave_edges(63)[0] == pytest.approx(44.67, abs=0.01) and octave_edges(1000)[1] == pytest.approx(
        1412.54, abs=0.01
    )


def test_what_is_radiated_in_an_octave_is_that_part_of_the_spectrum():
    """Against the power spectrum of B'v, all of it sampled; octaves that reach above the highest mode are not told."""
    ringing = pluck_note(couple(LOSSY, 0, 2, wooden_box()), Pluck(0.12, 0.004, 0.3))
    found, rate = radiated_in_octaves(sound_of(ringing), 720.0), 4000
    t = np.arange(int(1.5 * rate * radiated_decay_time(sound_of(ringing), 60.0))) / rate
    rows = np.zeros((len(ringing.coupled.omega), 5))
    rows[: ringing.coupled.body_size] = ringing.coupled.body.radiation
    spectrum = (np.abs(np.fft.rfft(velocity(ringing, t, rows), axis=0)) ** 2).sum(1) * 2 / len(t) / rate
    f = np.fft.rfftfreq(len(t), 1 / rate)
    for octave, energy_there in zip(OCTAVES[1:4], found[1:4]):
        low, high = octave_edges(octave)
        assert energy_there == pytest.approx(spectrum[(low <= f) & (f < high)].sum(), rel=0.1), octave
    assert np.isnan(found[4:]).all() and np.isfinite(found[:4]).all()
    assert np.nansum(found) == pytest.approx(sound_of(ringing).later(0.0)[0], rel=0.1)
