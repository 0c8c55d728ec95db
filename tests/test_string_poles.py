"""A note by the roots of its few coordinates against the eigenproblem of all unknowns, and where that one has to answer."""

from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest
from scipy.linalg import eigvals
from string_cases import LOSSY, wooden_box

from fem import string_poles
from fem.body_modes import BodyModes, Hand, dampings
from fem.coupled_string import couple, dissipated, fall_time, matrices, motions_of, pluck_note, valid_partials
from fem.damped_body import damped_body
from fem.eigen import modes
from fem.model import assemble, weights
from fem.radiated_sound import first_radiated, radiated_decay_time, radiated_in_octaves, sound_of
from fem.string_poles import plucked
from fem.strings import Pluck
from meshes.build import mesh_body
from meshes.coupled_model import coupled_model_of
from meshes.parts import sections
from meshes.sheet_strings import strung
from meshes.string_body import string_body
from meshes.string_places import string_loads
from meshes.supports import FREE, LAP, hand_on, with_supports
from studies.common.builds import complete_linings


def figures(ringing, body):
    """All that is read from a note."""
    sound = sound_of(ringing)
    times = [fall_time(ringing, 60.0), radiated_decay_time(sound, 10.0), radiated_decay_time(sound, 60.0)]
    octaves = radiated_in_octaves(sound, body.highest_valid)
    shares = [share for share in dissipated(ringing).values() if share]
    return np.array([*times, first_radiated(sound), *octaves[np.isfinite(octaves) & (octaves > 0)], *shares])


def in_full(string, index, fret, body):
    return pluck_note(couple(string, index, fret, body), Pluck())


def with_hand(body, held=(3,), frets=9):
    motion = np.zeros((frets, 3, len(body.omega)))
    motion[list(held)] = np.random.default_rng(1).normal(size=(3, len(body.omega))) * 0.5
    return replace(
        body, hand=Hand(motion, np.array([500.0, 800.0, 900.0]), np.array([2.0, 3.0, 5.0]), np.full(3, 0.011))
    )


@pytest.fixture
def asked_in_full(monkeypatch):
    """The frets at which the full eigenproblem had to answer."""
    frets = []

    def counted(string, index, fret, *rest, **named):
        frets.append(fret)
        return couple(string, index, fret, *rest, **named)

    monkeypatch.setattr(string_poles, "couple", counted)
    return frets


@pytest.mark.parametrize("seed", range(4))
def test_every_pole_is_found_and_every_figure_is_the_full_ones(seed, asked_in_full):
    """Poles of the pencil (M, C, K) by QZ; frets with and without a hand."""
    body = with_hand(wooden_box(24 + 8 * seed, seed))
    reduced = damped_body(body)
    for fret in range(6):
        found = plucked(LOSSY, 0, fret, reduced, Pluck())
        M, K, C = matrices(LOSSY, 0, fret, body, len(found.loss) // 2)
        zero, one = np.zeros_like(M), np.eye(len(M))
        s = eigvals(np.block([[zero, one], [-K, -C]]), np.block([[one, zero], [zero, M]]))
        s = s[s.imag > 0]
        assert len(found.rate) == len(s) == len(M)
        away = abs(found.rate[:, None] - s)
        assert sorted(away.argmin(1)) == list(range(len(s)))
        assert (away.min(1) < 1e-8 * abs(s[away.argmin(1)])).all()
        full = in_full(LOSSY, 0, fret, body)
        assert figures(found, body) == pytest.approx(figures(full, body), rel=1e-8)
    assert not asked_in_full


def two_ways(apart):
    """A body that gives alike away from the top and along it, but for a part of its motion."""
    omega = np.full(2, 2 * np.pi * 180.0)
    saddle = np.zeros((1, 2, 3))
    saddle[0, 0, 2], saddle[0, 1, 1] = 1.3, 1.3 * (1 + apart)
    B = np.eye(2) * np.sqrt(2.0)
    return BodyModes(omega, {"wood": 0.01 * omega**2}, saddle, 0 * saddle, B, valid_to=1500.0)


@pytest.mark.parametrize("apart", [1e-1, 1e-2, 1e-3])
def test_polarisations_that_nearly_fall_together(apart, asked_in_full):
    """Nearly double roots: the modes of each plane by themselves are the reference, one plane plucked at a time."""
    body, pluck = two_ways(apart), Pluck(angle=0.7)
    found = plucked(LOSSY, 0, 2, damped_body(body), pluck)
    alone = []
    for axis, mode, part in ((2, 0, np.cos(0.7)), (1, 1, np.sin(0.7))):
        saddle = np.zeros((1, 1, 3))
        saddle[0, 0, 2] = body.saddle[0, mode, axis]
        one = BodyModes(
            body.omega[[mode]],
            {"wood": body.loss["wood"][[mode]]},
            saddle,
            0 * saddle,
            body.radiation[:1, :1],
            valid_to=1500.0,
        )
        alone.append(pluck_note(couple(LOSSY, 0, 2, one), Pluck(angle=0.0, force=2.0 * part)))
    energy = sum(one.energy for one in alone)
    shares = [dissipated(one) for one in alone]
    assert found.energy == pytest.approx(energy, rel=1e-9)
    for part, share in dissipated(found).items():
        exact = sum(one.energy * s[part] for one, s in zip(alone, shares)) / energy
        assert share == pytest.approx(exact, rel=1e-6)
    exact = sum(first_radiated(sound_of(one)) for one in alone)
    assert first_radiated(sound_of(found)) == pytest.approx(exact, rel=1e-6)
    assert not asked_in_full


@pytest.mark.parametrize("apart", [0.0, 1e-4])
def test_a_double_root_goes_to_the_full_eigenproblem(apart, asked_in_full):
    """Both planes alike: every root of the string is double, or as good as that."""
    body = two_ways(apart)
    found = plucked(LOSSY, 0, 2, damped_body(body), Pluck())
    assert asked_in_full == [2]
    assert figures(found, body) == pytest.approx(figures(in_full(LOSSY, 0, 2, body), body), rel=1e-9)


@pytest.mark.parametrize("fault", ["missing", "moved", "twice"])
def test_roots_that_do_not_make_up_the_pluck_are_not_believed(fault, monkeypatch, asked_in_full):
    """The lowest root of the string's left out, shifted by a thousandth, or found twice in place of its neighbour."""
    body, right = wooden_box(), string_poles._roots

    def wrong(at, guesses):
        s = right(at, guesses)
        k = np.argsort(abs(s.imag - at.omega[0]))
        if fault == "missing":
            return np.delete(s, k[0])
        s[k[0]] = s[k[1]] * (1 + 1e-12) if fault == "twice" else s[k[0]] * (1 + 1e-3j)
        return s

    monkeypatch.setattr(string_poles, "_roots", wrong)
    found = plucked(LOSSY, 0, 1, damped_body(body), Pluck())
    assert asked_in_full == [1]
    assert figures(found, body) == pytest.approx(figures(in_full(LOSSY, 0, 1, body), body), rel=1e-9)


def test_a_body_mode_that_does_not_swing_leaves_its_notes_to_the_full_eigenproblem(asked_in_full):
    body = wooden_box()
    body = replace(body, viscous={"supports": np.where(body.omega < 80, 2.5 * body.omega, 0.0)})
    reduced = damped_body(body)
    assert not len(reduced.pole)
    found = plucked(LOSSY, 0, 0, reduced, Pluck())
    assert asked_in_full == [0]
    assert figures(found, body) == pytest.approx(figures(in_full(LOSSY, 0, 0, body), body), rel=1e-12)


def test_the_damped_modes_sum_to_the_bodys_answer():
    """sum x x'/(s - p) over poles and conjugates is (s^2 + s C + W^2)^-1."""
    body = wooden_box()
    reduced, C, s = damped_body(body), sum(dampings(body).values()), 40 + 900j
    x, p = np.hstack([reduced.shape, reduced.shape.conj()]), np.r_[reduced.pole, reduced.pole.conj()]
    answer = np.linalg.inv(s**2 * np.eye(len(C)) + s * C + np.diag(body.omega**2))
    assert (x / (s - p)) @ x.T == pytest.approx(answer, rel=1e-8, abs=1e-9 * abs(answer).max())


@pytest.mark.slow  # a coupled model of each takes half a minute
@pytest.mark.parametrize("name", ["hazel", "medlar"])
def test_notes_of_a_guitar(name, asked_in_full):
    """Both polarisations of a real box nearly coincide, its losses couple its modes: every 25th note to 1e-8."""
    sheet, _ = complete_linings(cases.example(name))
    model, parts = assemble(mesh_body(sheet, 0.07)), sections(sheet)
    whole = coupled_model_of(
        sheet, model, parts, modes(model, weights(parts), 40, loads=string_loads(sheet, model.space))
    )
    strings = strung(sheet, None).strings.strings
    for how in (FREE, LAP):
        body = string_body(
            whole, with_supports(whole, how), len(strings), hand_on(whole.structure) if how == LAP else None
        )
        reduced = damped_body(body)
        for i, fret in [divmod(k, 21) for k in range(0, 21 * len(strings), 25)]:
            if valid_partials(strings[i], fret, body):
                found = plucked(strings[i], i, fret, reduced, Pluck())
                full = motions_of(in_full(strings[i], i, fret, body))
                away = abs(found.rate[:, None] - full.rate)
                assert sorted(away.argmin(1)) == list(range(len(full.rate)))
                assert (away.min(1) < 1e-8 * abs(full.rate[away.argmin(1)])).all()
                assert figures(found, body) == pytest.approx(figures(full, body), rel=1e-8)
    assert not asked_in_full
