"""Wood as a material, and laminates as numbers."""

from dataclasses import replace

import numpy as np
import pytest
from shell_cases import LOSSY, SPRUCE

from fem.materials import Wood, isotropic, lookup, plane_stress_stiffness, transverse_shear_stiffness, turned
from fem.sections import Layer, beam, difference, joint, laminate


def test_plane_stress_stiffness_is_the_inverse_of_the_compliance():
    """Jones, Mechanics of Composite Materials, 2.5: S = [[1/E_L, -nu_LR/E_L], [., 1/E_R]], shear apart."""
    w = SPRUCE
    S = np.array([[1 / w.E_L, -w.nu_LR / w.E_L, 0], [-w.nu_LR / w.E_L, 1 / w.E_R, 0], [0, 0, 1 / w.G_LR]])
    assert plane_stress_stiffness(w) @ S == pytest.approx(np.eye(3), abs=1e-12)


def test_transverse_shear_has_LT_first():
    assert np.diag(transverse_shear_stiffness(SPRUCE)) == pytest.approx([5 / 6 * SPRUCE.G_LT, 5 / 6 * SPRUCE.G_RT])


def test_turning_twice_gives_the_board_back():
    once, twice = turned(LOSSY), turned(turned(LOSSY))
    for name in ("E_L", "E_R", "G_LR", "G_LT", "G_RT", "nu_LR", "density", "loss_L", "loss_R", "loss_G"):
        assert getattr(twice, name) == pytest.approx(getattr(LOSSY, name), rel=1e-12)
    assert (once.E_L, once.G_LT, once.loss_L) == (LOSSY.E_R, LOSSY.G_RT, LOSSY.loss_R)
    assert once.nu_LR / once.E_L == pytest.approx(LOSSY.nu_LR / LOSSY.E_L, rel=1e-12)  # compliance is symmetric


def test_isotropic_material():
    w = isotropic("plain", 70e9, 0.25, 2700.0, 0.001)
    assert w.G_LR == w.G_RT == 28e9
    assert w.losses_known
    assert not isotropic("plain", 70e9, 0.25, 2700.0).losses_known


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"E_R": -1.0}, "E_R = -1.0; expected a positive number"),
        ({"density": float("nan")}, "density = nan"),
        ({"G_RT": 0.0}, "G_RT = 0.0"),
        ({"nu_LR": 4.0}, "Poisson ratio 4.0 is impossible"),
    ],
)
def test_impossible_materials_are_refused(change, message):
    with pytest.raises(ValueError, match=message):
        replace(SPRUCE, **change)


def test_lookup_names_the_nearest():
    with pytest.raises(ValueError, match=r"unknown wood 'spruse' .did you mean 'spruce'"):
        lookup("spruse", {"spruce": 1, "maple": 2}, "wood")


def test_laminate_by_hand():
    """One layer h at z: A = Q h, B = Q h z, D = Q (h^3/12 + h z^2); mass moments likewise."""
    h, z, Q = 0.003, 0.002, plane_stress_stiffness(SPRUCE)
    s = laminate([Layer(SPRUCE, h, z)])
    for letter, moment in (("A", h), ("B", h * z), ("D", h**3 / 12 + h * z**2)):
        for name, value in (("11", Q[0, 0]), ("12", Q[0, 1]), ("22", Q[1, 1]), ("66", Q[2, 2])):
            assert s.stiffness[letter + name] == pytest.approx(value * moment, rel=1e-12)
    mass = {"m0": SPRUCE.density * h, "m1": SPRUCE.density * h * z, "m2": SPRUCE.density * (h**3 / 12 + h * z**2)}
    assert s.mass == pytest.approx(mass, rel=1e-12)
    assert s.stiffness["S55"] == pytest.approx(5 / 6 * SPRUCE.G_LT * h, rel=1e-12)


def test_losses_are_not_invented():
    assert laminate([Layer(LOSSY, 0.003), Layer(SPRUCE, 0.001)]).losses is None
    assert beam(SPRUCE, 0.01, 0.02).losses is None
    assert difference(laminate([Layer(LOSSY, 0.003)]), laminate([Layer(SPRUCE, 0.001)])).losses is None
    assert joint().losses["joint"]["kt"] == 0


def test_losses_of_a_beam_and_of_a_joint():
    s = beam(LOSSY, 0.01, 0.02, 0.001)
    assert s.losses["along"]["EI3"] == pytest.approx(LOSSY.loss_L * s.stiffness["EI3"])
    assert s.losses["shear"]["GJ1"] == pytest.approx(LOSSY.loss_G * s.stiffness["GJ1"])
    assert {k for c in s.losses.values() for k in c} == set(s.stiffness)
    assert joint([1, 2, 3], [4, 5, 6], 0.1).losses["joint"] == pytest.approx(
        dict(zip(("kt", "ka", "kb", "ct", "ca", "cb"), (0.1, 0.2, 0.3, 0.4, 0.5, 0.6)))
    )


def test_difference_undoes_addition():
    side, both = laminate([Layer(LOSSY, 0.002)]), laminate([Layer(LOSSY, 0.002), Layer(LOSSY, 0.006, 0.004)])
    lining, alone = difference(both, side), laminate([Layer(LOSSY, 0.006, 0.004)])
    assert lining.stiffness == pytest.approx(alone.stiffness, rel=1e-9)
    assert lining.mass == pytest.approx(alone.mass, rel=1e-9)
    for channel in alone.losses:
        assert lining.losses[channel] == pytest.approx(alone.losses[channel], rel=1e-9, abs=1e-12)


def test_wood_takes_no_other_fields():
    with pytest.raises(TypeError):
        Wood("short", 1e9)
