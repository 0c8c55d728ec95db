"""The strings of a build sheet: by name, by the maker's own tables, by lists; mistakes; the pluck; the scale length."""

import re

import box_cases as cases
import numpy as np
import pytest

from meshes.sheet import read_sheet, sheet_schema
from meshes.sheet_strings import pluck_assumed, pluck_of, strings_of
from meshes.string_sets import string_set
from studies.load.solve import tensions

SHEET = (cases.BODIES / "hazel.toml").read_text(encoding="utf-8")
NAMED = 'set = "steel"\n'
SIX = "".join(f'[[strings.string]]\nname = "{name}"\n' for name in ("low", "A", "D", "G", "B", "high"))
ONE = """
[[strings.string]]
name = "bass"
unit_weight_lb_per_inch = 5.94e-4
pitch_Hz = 82.407
core_in = 0.018
"""


@pytest.fixture
def read(tmp_path):
    """Body of the example sheet with other lines in place of its set of strings."""

    def found(lines, without=""):
        file = tmp_path / "mine.toml"
        assert NAMED in SHEET and without in SHEET
        file.write_text(SHEET.replace(NAMED, lines).replace(without, "") if without else SHEET.replace(NAMED, lines))
        return read_sheet(file)

    return found


def test_a_set_by_name_on_the_sheet_s_scale(read):
    found, assumed = strings_of(read('set = "nylon"\n'))
    ratio = [s.tension / t.tension for s, t in zip(found.strings, string_set("nylon").strings)]
    assert ratio == pytest.approx([(645 / 650) ** 2] * 6) and not assumed
    assert strings_of(read('set = "nylon"\n'), "steel")[0].name == "steel"


def test_no_word_of_strings_is_an_assumption(read):
    found, assumed = strings_of(read(""))
    assert found.name == "steel" and assumed[0].key == "strings.set"


def test_own_tables_borrow_what_they_leave_out(read):
    found, _ = strings_of(
        read('set = "nylon"\n' + SIX.replace('"low"\n', '"low"\nunit_mass_g_m = 7\nloss_bending = 0.03\n', 1))
    )
    first, second = found.strings[:2]
    lent = string_set("nylon", 0.645).strings
    assert (first.name, first.mass, first.loss_bending) == ("low", pytest.approx(7e-3), 0.03)
    assert first.tension == pytest.approx(lent[0].tension * 7 / 6.24)  # the pitch is borrowed
    assert second.tension == pytest.approx(lent[1].tension) and second.loss_air == lent[1].loss_air
    assert any(line.startswith("A mass: assumed: as in the set 'nylon'") for line in found.assumed)
    assert not any(line.startswith("low mass") for line in found.assumed)


def test_own_table_in_inches_and_pounds(read):
    """T[lbf] = UW (2 L f)^2/386.4, as string makers print it; EI = E pi d^4/64."""
    (found,) = strings_of(read(ONE))[0].strings
    assert found.tension / 4.44822 == pytest.approx(5.94e-4 * (2 * 645 / 25.4 * 82.407) ** 2 / 386.4, rel=2e-3)
    assert found.bending_stiffness == pytest.approx(203e9 * np.pi * (0.018 * 0.0254) ** 4 / 64)
    assert found.loss_friction == string_set("steel").strings[0].loss_friction  # of the string nearest in weight


def test_own_tables_borrow_the_gauge_for_the_air(read):
    """The air drags on the string's own gauge, or on that of the string that lends its losses."""
    lent = string_set("steel").strings[0]
    assert strings_of(read(ONE))[0].strings[0].diameter == pytest.approx(lent.diameter)
    (thin,) = strings_of(read(ONE + "gauge_mm = 1.2\n"))[0].strings
    (rate,) = strings_of(read(ONE + "gauge_mm = 1.2\nloss_air_per_s = 0.2\n"))[0].strings
    assert (thin.diameter, thin.loss_air) == (pytest.approx(1.2e-3), 0) and (rate.diameter, rate.loss_air) == (0, 0.2)
    listed, _ = strings_of(read("unit_mass_g_m = [10, 6, 3.5, 2, 1, 0.5]\ngauge_mm = [1.3, 1, 0.8, 0.6, 0.4, 0.3]\n"))
    assert [s.diameter for s in listed.strings] == pytest.approx([1.3e-3, 1e-3, 0.8e-3, 0.6e-3, 0.4e-3, 0.3e-3])


def test_a_range_of_losses(read):
    found, _ = strings_of(read(ONE + "loss_friction = 1e-3\nloss_friction_range = [5e-4, 2e-3]\n"))
    ends = [s[0].loss_friction for s in (found.least_loss, found.strings, found.most_loss)]
    assert ends == [5e-4, 1e-3, 2e-3] and found.loss_uncertain


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('set = "stel"\n', "strings.set = 'stel'; expected one of: nylon, steel; did you mean 'steel'?"),
        ('[[strings.string]]\nname = "E2"\n', "E2: no unit mass; expected unit_mass_g_m"),
        (ONE.replace("core_in = 0.018\n", ""), "bass: expected stiffness_N_mm2, or core_mm"),
        (ONE + "tension_N = 50\n", "does not tune"),
        (ONE.replace("pitch_Hz", "pitch_hz"), "did you mean 'pitch_Hz'?"),
        (ONE + "loss_friction_range = [1e-4, 2e-4]\n", "loss_friction_range without loss_friction"),
        (ONE + "loss_friction = 1e-3\nloss_friction_range = [2e-3, 4e-3]\n", "expected low <= number <= high"),
        ("pluck_angle_deg = 120\n", "strings.pluck_angle_deg = 120; expected 0 to 90 degrees"),
        ("pluck_place_in = 30\n", "strings.pluck_place_in = 30"),
        ("tension_N = [70]\n" + ONE, "expected the lists or the tables"),
    ],
)  # fmt: skip
def test_mistakes_are_told(read, lines, words):
    with pytest.raises(ValueError) as caught:
        read(lines)
    assert words in str(caught.value) and str(caught.value).startswith("mine.toml")


def test_lists_need_the_set_s_number_of_strings(read):
    found, assumed = strings_of(read("unit_mass_g_m = [10, 6, 3.5, 2, 1, 0.5]\n"))
    assert found.strings[0].mass == pytest.approx(0.01) and assumed[0].source == "assumed"
    assert found.strings[0].bending_stiffness == pytest.approx(string_set("steel").strings[0].bending_stiffness)
    with pytest.raises(ValueError, match="lists of 2 strings"):
        strings_of(read("unit_mass_g_m = [10, 6]\ntension_N = [90, 80]\n"))


def test_the_load_study_pulls_with_the_same_strings(read):
    assert tensions(read('set = "nylon"\n'))[0][0][1] == pytest.approx(71.6 * (645 / 650) ** 2)
    assert tensions(read(ONE))[0] == [("bass", pytest.approx(strings_of(read(ONE))[0].strings[0].tension))]


def test_pluck(read):
    body = read("pluck_place_mm = 150\npluck_angle_deg = 90\n")
    p = pluck_of(body)
    assert (p.distance, p.angle, p.width) == (pytest.approx(0.15), pytest.approx(np.pi / 2), 0.005)
    assert [a.key for a in pluck_assumed(body)] == ["strings.pluck_width_mm", "strings.pluck_force_N"]


def test_scale_length_and_neck_that_disagree_are_a_warning(read):
    assert not any("scale_length" in w for w in read(NAMED).warnings)
    other = read("scale_length_mm = 620\n", "scale_length_mm = 645\n").warnings
    assert any("strings.scale_length_mm = 620, but nut and saddle are 645 mm apart" in w for w in other)
    told = next(
        re.search(r"set bridge.saddle_mm = (\d+) and bridge.place_mm = (\d+) for a 620 mm scale", w) for w in other
    )
    bridge = read(NAMED).bridge
    assert float(told[1]) == pytest.approx(1e3 * bridge.saddle_x + 25, abs=0.51)
    assert float(told[2]) == pytest.approx(1e3 * bridge.centre[0] + 25, abs=0.51)
    none = read("scale_length_mm = 620\n", "scale_length_mm = 645\n")
    assert none.neck is not None


def test_schema_lists_the_strings():
    properties = sheet_schema()["$defs"]["StringTable"]["properties"]
    assert {"core_mm", "core_in", "unit_weight_lb_per_inch", "loss_bending_range"} <= set(properties)
