"""Built-in and makers' own sets of strings."""

import numpy as np
import pytest

from fem.strings import fundamental
from meshes.string_sets import read_set, set_names, string_set


def test_nylon_set_is_in_tune(record):
    """Tensions and masses of Woodhouse, Acta Acustica 90:945 (2004): equal temperament within 0.4 % (three figures)."""
    pitches = [82.41, 110.0, 146.83, 196.0, 246.94, 329.63]
    found = string_set("nylon")
    tuned = [fundamental(s) for s in found.strings]
    record(
        "nylon set, open strings",
        "equal temperament, by tensions of Woodhouse, Acta Acustica 90:945 (2004)",
        pitches,
        tuned,
        "Hz",
    )
    assert tuned == pytest.approx(pitches, rel=4e-3)
    assert found.loss_uncertain and not found.assumed  # ranges are estimated, values are not


def test_steel_tensions_follow_the_string_makers_formula(record):
    """T [lbf] = UW (2 L f)^2/386.4 in inches; .012 plain at 25.5 in and E4: 23.36 lbf. Mass of plain strings: 7850 kg/m3,
    1 % for the rounding of gauges.
    """
    found = string_set("steel")
    weights, pitches = [5.94e-4, 3.73e-4, 2.21e-4, 1.29e-4, 5.67e-5], [82.407, 110.0, 146.832, 195.998, 246.942]
    by_hand = [w * (2 * 25.5 * f) ** 2 / 386.4 for w, f in zip(weights, pitches)] + [23.36]
    tension = [s.tension / 4.44822 for s in found.strings]
    record("steel set, tensions", "string makers' formula T = UW (2 L f)²/386.4, by hand", by_hand, tension, "lbf")
    assert tension == pytest.approx(by_hand, rel=1e-3)
    for string, inches in ((found.strings[4], 0.016), (found.strings[5], 0.012)):
        assert string.mass == pytest.approx(7850 * np.pi / 4 * (inches * 0.0254) ** 2, rel=0.01)
        assert string.bending_stiffness == pytest.approx(203e9 * np.pi / 64 * (inches * 0.0254) ** 4)
    assert found.loss_uncertain
    assert any("E2 loss_friction: assumed" in line for line in found.assumed)
    for low, mid, high in zip(found.least_loss, found.strings, found.most_loss):
        assert low.loss_friction < mid.loss_friction < high.loss_friction


def test_another_scale_keeps_the_pitch():
    assert set(set_names()) == {"nylon", "steel"}
    short = string_set("steel", scale=0.61)
    assert [fundamental(s) for s in short.strings] == pytest.approx(
        [fundamental(s) for s in string_set("steel").strings], rel=1e-3
    )
    assert short.strings[0].length == short.most_loss[0].length == 0.61


OWN = {
    "name": "G3",
    "mass_g_per_m": 0.9,
    "pitch_Hz": 196,
    "core_mm": 1.0,
    "core_GPa": 5,
    "loss_friction": 1e-4,
    "loss_air_per_s": 1.7,
    "loss_bending": [0.02, "mine", 0.01, 0.03],
}


def test_a_makers_own_set_in_millimetres():
    found = read_set({"scale_mm": 650, "string": [OWN]}, "mine")
    string = found.strings[0]
    assert string.tension == pytest.approx(0.9e-3 * (2 * 0.65 * 196) ** 2)
    assert string.bending_stiffness == pytest.approx(5e9 * np.pi * 1e-12 / 64)
    assert (found.least_loss[0].loss_bending, found.most_loss[0].loss_bending) == (0.01, 0.03)
    assert found.sources["G3 mass"] == "maker's own value"


def test_a_gauge_stands_for_the_air_unless_its_rate_is_given():
    """Air is counted once: the drag on the gauge, or the rate that its source gives."""
    one = {k: v for k, v in OWN.items() if k != "loss_air_per_s"} | {"gauge_mm": 1.0}
    (found,) = read_set({"scale_mm": 650, "string": [one]}, "mine").strings
    assert (found.diameter, found.loss_air) == (1e-3, 0)
    (rate,) = read_set({"scale_mm": 650, "string": [one | {"loss_air_per_s": 1.7}]}, "mine").strings
    assert (rate.diameter, rate.loss_air) == (0, 1.7)
    assert [round(1e3 * s.diameter, 2) for s in string_set("steel").strings] == [1.35, 1.07, 0.81, 0.61, 0.41, 0.30]
    assert not any(s.diameter for s in string_set("nylon").strings)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"mass_gm": 1}, r"'mine', G3: unknown key 'mass_gm' \(did you mean 'mass_g_per_m'"),
        ({"unit_weight_lb_per_in": 5e-5}, "mass a second time"),
        ({"mass_g_per_m": -1}, "mass_g_per_m = -1; expected a number"),
        ({"mass_g_per_m": "light"}, "= light; expected a number"),
        ({"mass_g_per_m": [0.9, "me", 1.0, 2.0]}, "low <= number <= high"),
        ({"tension_N": 70.0}, "70.0 N does not tune 0.9 g/m to 196.0 Hz on 650 mm; expected 58.4 N"),
        ({"core_mm": None}, "expected stiffness_N_mm2, or core_mm"),
        ({"pitch_Hz": None}, "tension_N, tension_lbf or pitch_Hz"),
        ({"loss_bending": None}, "no loss_bending"),
        ({"loss_air_per_s": None}, "no loss_air; expected a value for each, or the gauge"),
    ],
)
def test_a_set_that_cannot_be_read_says_where(change, words):
    item = {k: v for k, v in (OWN | change).items() if v is not None}
    with pytest.raises(ValueError, match=words):
        read_set({"scale_mm": 650, "string": [item]}, "mine")


def test_unknown_set_names_the_nearest():
    with pytest.raises(ValueError, match="did you mean 'nylon'"):
        string_set("nilon")
    with pytest.raises(ValueError, match=r"expected one table \[\[string\]\]"):
        read_set({"scale_mm": 650}, "mine")
