"""The body as strings meet it, the whole fretboard, and wolf notes."""

from dataclasses import replace

import numpy as np
import pytest
from string_cases import D3, LOSSY, oscillator, wooden_box

from fem.body_modes import Hand, dampings, mobility, radiation_factor, with_losses
from fem.coupled_string import (
    couple,
    dissipated,
    fall_time,
    matrices,
    pluck_note,
    undamped,
    valid_partials,
)
from fem.fretboard import fretboard, wolf_notes
from fem.radiated_sound import first_radiated, radiated_decay_time, radiated_in_octaves, sound_of
from fem.strings import Pluck, fundamental


def test_hysteretic_loss_of_a_mode_is_its_loss_factor():
    """C = eta omega: a mode alone decays by exp(-eta omega t/2); a part's cross terms are divided by both roots."""
    body = wooden_box(5)
    C = dampings(body)
    i, j = 2, 4
    assert C["back"][i, i] == pytest.approx(0.004 * body.omega[i])
    assert C["top"][i, j] == pytest.approx(body.loss["top"][i, j] / np.sqrt(body.omega[i] * body.omega[j]))
    assert C["radiation"] == pytest.approx(body.radiation @ body.radiation.T)


def test_counterfactual_removes_one_share_and_lengthens_the_note():
    body = wooden_box()
    silent = with_losses(body, {"sides": 0.0})
    note, without = (pluck_note(couple(LOSSY, 0, 0, b), Pluck()) for b in (body, silent))
    assert dissipated(without)["sides"] == 0
    assert fall_time(without, 60.0) > fall_time(note, 60.0)
    halved = dampings(with_losses(body, {"radiation": 0.5}))["radiation"]
    assert halved == pytest.approx(0.5 * dampings(body)["radiation"])
    with pytest.raises(ValueError, match=r"'rim'.*known: back, radiation, sides"):
        with_losses(body, {"rim": 0.0})


def test_radiation_factor_keeps_each_modes_own_resistance():
    """B B' = R if R is the same at every frequency; if not, the diagonal is R_ii(omega_i), and nothing is negative."""
    A = np.random.default_rng(2).normal(size=(4, 4))
    same = radiation_factor([A @ A.T] * 4)
    assert same @ same.T == pytest.approx(A @ A.T)
    growing = [f**2 * A @ A.T + f * np.eye(4) for f in (1.0, 1.7, 3.0, 3.3)]
    B = radiation_factor(growing)
    assert np.diag(B @ B.T) == pytest.approx([R[i, i] for i, R in enumerate(growing)])
    assert radiation_factor([np.diag([1.0, -1e-3])] * 2)[1] == pytest.approx([0, 0])


def test_mobility_of_uncoupled_modes_is_their_sum():
    body = replace(wooden_box(6), loss={"back": 0.02 * wooden_box(6).omega ** 2}, radiation=None, viscous={})
    w, f = 1234.0, body.saddle[0]
    by_hand = sum(1j * w * np.outer(f[i], f[i]) / (o**2 - w**2 + 1j * w * 0.02 * o) for i, o in enumerate(body.omega))
    assert mobility(body, 0, w)[0] == pytest.approx(by_hand, rel=1e-10)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"omega": np.array([0.0])}, "0 Hz; expected all above 0.*supports"),
        ({"loss": {"wood": np.ones((2, 2))}}, "'wood' have shape"),
        ({"loss": {"wood": np.array([-1.0])}}, "'wood' are negative"),
        ({"loss": {"string": np.array([1.0])}}, "'string' appears twice"),
        ({"saddle": np.ones((1, 2, 3))}, "saddle has shape"),
        ({"radiation": np.ones((3, 1))}, "expected 1 rows"),
    ],
)
def test_a_body_that_cannot_be_is_refused(change, words):
    with pytest.raises(ValueError, match=words):
        replace(oscillator(0.15, 180.0, 40.0), **change)


# ---------------------------------------------------------------- the fretboard

SET = [replace(LOSSY, name="E2", mass=7.3e-3), LOSSY, replace(LOSSY, name="E4", mass=0.45e-3)]


@pytest.fixture(scope="module")
def board():
    return fretboard(SET, wooden_box(strings=3, highest=500.0), Pluck(), frets=20)


def test_fretboard_balances_and_greys_what_the_modes_do_not_answer_for(board):
    assert board.frequency.shape == (3, 21)
    assert board.imbalance < 1e-6
    assert np.array_equal(board.valid, board.frequency < board.highest_valid)
    assert 0 < board.valid.sum() < 63
    assert np.isnan(board.decay_time[~board.valid]).all()
    assert np.isfinite(board.decay_time[board.valid]).all()
    assert (board.energy_kept[board.valid] <= 1).all()
    assert board.radiated[1, 0] == board.energy[1, 0] * board.share["radiation"][1, 0]
    with pytest.raises(ValueError, match="2 strings on a body with 3"):
        fretboard(SET[:2], wooden_box(strings=3), Pluck())


def test_fretboard_entries_are_those_notes(board):
    """String and fret are not mixed up, and the notes do not depend on how many there are."""
    body = wooden_box(strings=3, highest=500.0)
    ringing = pluck_note(couple(SET[0], 0, 8, body), Pluck())
    assert board.decay_time[0, 8] == pytest.approx(fall_time(ringing, 60.0))
    sound = sound_of(ringing)
    assert board.early_decay_time[0, 8] == pytest.approx(6 * radiated_decay_time(sound, 10.0))
    assert board.sound_decay_time[0, 8] == pytest.approx(radiated_decay_time(sound, 60.0))
    assert board.first_radiated[0, 8] == pytest.approx(first_radiated(sound))
    assert board.octaves[0, 8] == pytest.approx(radiated_in_octaves(sound, body.highest_valid), nan_ok=True)
    assert board.share["top"][0, 8] == pytest.approx(dissipated(ringing)["top"])
    assert board.partials[0, 8] == valid_partials(SET[0], 8, body)
    single = fretboard(SET, body, Pluck(), frets=1)
    assert np.array_equal(single.decay_time, board.decay_time[:, :2], equal_nan=True)


def test_a_hand_at_the_fret_makes_another_wolf():
    """Mass, spring and dashpot of a hand where the string ends on a body of one mode: a heavier body that loses more, by hand. At the
    open string, without it, the lighter one.
    """
    mass, Q, more = 0.4, 150.0, 0.1
    tuned, at_fret = (float(fundamental(D3, fret)) for fret in (0, 1))
    body, omega = oscillator(mass, tuned, Q), 2 * np.pi * tuned
    stiffer = (mass + more) * (2 * np.pi * at_fret) ** 2 - mass * omega**2
    motion = np.array([[[0.0]], [[mass**-0.5]]])
    held = replace(body, hand=Hand(motion, np.array([stiffer]), np.array([0.5]), np.array([more])))
    found = {w.fret: w for w in wolf_notes([D3], held, frets=1)}
    heavier = oscillator(mass + more, at_fret, (mass + more) * 2 * np.pi * at_fret / (mass * omega / Q + 0.5))
    (alone,) = (w for w in wolf_notes([D3], heavier, frets=1) if w.fret == 1)
    assert found[1].strength == pytest.approx(alone.strength) and found[1].split == pytest.approx(alone.split)
    assert found[1].body_frequency == pytest.approx(at_fret)
    assert found[0].strength == pytest.approx(wolf_notes([D3], body, frets=0)[0].strength) and set(found) == {0, 1}


@pytest.mark.parametrize("Q", [8.0, 25.0, 60.0, 150.0])
def test_wolf_note_is_named_when_the_complex_modes_split(Q, record):
    """Gough, Acustica 49:124 (1981): at equal frequencies, K < 1 leaves one pitch and two decays, K > 1 two pitches and
    one decay. 3 % of the split: the string's other partials shift both.
    """
    mass = 0.4
    tuned = undamped(*matrices(D3, 0, 0, oscillator(mass, 2000.0, 40.0), 20)[:2])[0][0] / (2 * np.pi)
    body = oscillator(mass, tuned, Q)
    coupled = couple(D3, 0, 0, body, sines=20)
    positive = coupled.poles[coupled.poles.imag > 0]  # the other polarisation stays at its pitch, without decay
    moving = positive[positive.real < -1e-6]
    pair = moving[np.argsort(abs(moving - 2j * np.pi * tuned))[:2]]
    apart = abs(np.diff(pair.imag))[0] / (2 * np.pi)
    wolves = wolf_notes([D3], body, frets=0)
    share = mass**-0.5 * np.sqrt(2 * D3.mass * D3.length) / np.pi
    assert bool(wolves) == (2 * Q * share > 1)
    if wolves:
        assert wolves[0].strength == pytest.approx(2 * Q * share)
        record(
            f"split of a wolf note, Q {Q:g}",
            "complex modes; Gough, Acustica 49:124 (1981)",
            apart,
            wolves[0].split,
            "Hz",
        )
        assert wolves[0].split == pytest.approx(apart, rel=0.03)
        assert pair.real[0] == pytest.approx(pair.real[1], rel=0.25)
    else:
        assert apart < 0.5 and pair.real.min() < 2 * pair.real.max()
