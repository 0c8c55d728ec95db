"""Plans of nights: what may stand in them, all mistakes at once, and the variants that follow."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from box_cases import oval_sheet

from fem.woods import DRAWN
from meshes.sheet_errors import SheetError
from studies.common.inputs import BadInput
from studies.sweep.bodies import body_at
from studies.sweep.design import dimensions, variants
from studies.sweep.fields import BOARDS, RIM_BUILDS, Plan
from studies.sweep.maps import parameter_maps
from studies.sweep.plan import PLANS, plan_path, read_plan

TOP = {"name": "top thickness", "keys": ["top.thickness_mm"], "from": 2.5, "to": 3.3}


def plan(**tables):
    return Plan.model_validate({"factor": [TOP], **tables})


def mistakes(folder, text, sheet=True):
    (folder / "plan.toml").write_text(text)
    with pytest.raises(SheetError) as error:
        read_plan(folder / "plan.toml", oval_sheet(folder) if sheet else None)
    return list(map(str, error.value.mistakes))


@pytest.mark.parametrize("name", sorted(p.stem for p in PLANS.glob("*.toml")))
def test_ready_plans_can_be_read(name):
    night = read_plan(name)
    found = variants(night.plan)
    assert len(found) == night.plan.count >= 1000
    assert all(night.base[key] is not None for key in night.places)


def test_the_plans_that_ship():
    assert {"linings", "sides", "wood_scatter", "rim"} <= {p.stem for p in PLANS.glob("*.toml")}


def test_all_mistakes_at_once(tmp_path):
    text = """
    modess = 3
    [design]
    kind = "sobo"
    [[factor]]
    name = "a"
    keys = ["top.thickness_mm"]
    from = "thin"
    [[scatter]]
    name = "b"
    boards = ["tops"]
    """
    found = "\n".join(mistakes(tmp_path, text))
    for words in ("did you mean 'modes'", "did you mean 'sobol'", "expected a number", "did you mean 'top'"):
        assert words in found


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        ('keys = ["top.thickness"]\nfrom = 2\nto = 3', "did you mean 'top.thickness_mm'"),
        ('keys = ["top"]\nfrom = 2\nto = 3', "expected a key of the sheet"),
        ('keys = ["top.thickness_mm"]\nfrom = 28\nto = 32', "did you mean 2.8"),
        ('keys = ["top.thickness_mm"]\nfrom = 3\nto = 2', "less than 'to' = 2"),
        ('keys = ["top.thickness_mm"]\nfrom = 3', "expected one of: from and to, mean and deviation, levels"),
        ('keys = ["top.thickness_mm"]\nfrom = 2\nto = 3\nlevels = [2, 3]', "expected one of"),
        ('keys = ["top.thickness_mm"]\nmean = 2\ndeviation = 0.5', "top.thickness_mm within 1 to 8"),
        ('keys = ["top.thickness_mm"]\nlevels = [2, "thick"]', "what top.thickness_mm takes"),
        ('keys = ["lining_top.laminations"]\nfrom = 2\nto = 4', "takes whole numbers"),
        ('keys = ["top.wood"]\nfrom = 2\nto = 3', "takes words"),
        ('keys = ["brace.cros.width_mm"]\nfrom = 2\nto = 3', "'brace.NAME.key'"),
        ('keys = ["side_port.1.diameter_mm"]\nfrom = 20\nto = 30', "it has no side port"),
        ('keys = ["wood.sitka.density_kg_m3"]\nfrom = 300\nto = 500', "did you mean 'sitka_spruce'"),
        ('keys = ["top.thickness_mm"]\nfrom = 0.1\nto = 1.1\ntimes = true', "top.thickness_mm within 1 to 8"),
    ],
)  # fmt: skip
def test_a_wrong_factor_is_told(tmp_path, factor, words):
    found = mistakes(tmp_path, f'[[factor]]\nname = "a"\n{factor}')
    assert any(words in text and "plan.toml" in text for text in found), found


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "nothing varies"),
        ('[design]\nkind = "grid"\n[[scatter]]\nname = "w"\nboards = ["top"]', "cannot lie on a grid"),
        ('[[scatter]]\nname = "w"\nboards = ["top"]\n[[scatter]]\nname = "w"\nboards = ["top"]', "each board in one"),
        ('[rim]\nbuilds = ["sheet", "sheet"]', "each build once"),
        ("[design", "= '[design'; expected a line such as thickness_mm = 2.8 (TOML: "),
    ],
)
def test_a_wrong_plan_is_told(tmp_path, text, words):
    assert any(words in line for line in mistakes(tmp_path, text))


PORT = '[[side_port]]\nside = "{}"\nfrom_tail_mm = 400\nbelow_top_mm = 50\ndiameter_mm = {}\n'
DIAMETER = '[[factor]]\nname = "port"\nkeys = ["side_port.{}.{}"]\nfrom = {}\nto = 40'


def test_a_side_port_is_counted_from_one_and_makes_a_new_mesh(tmp_path):
    sheet = oval_sheet(tmp_path)
    sheet.write_text(sheet.read_text() + PORT.format("bass", 30) + PORT.format("treble", 24))
    (tmp_path / "plan.toml").write_text(DIAMETER.format(2, "diameter_mm", 20))
    night = read_plan(tmp_path / "plan.toml", sheet)
    assert night.base == {"side_port.2.diameter_mm": 24}
    one, other = body_at(night, {"port": 36}).side_ports
    assert (one.radius, other.radius) == pytest.approx((0.015, 0.018)) and other.side == "treble"
    assert parameter_maps(night, body_at(night, {})).remade == ("port",)


@pytest.mark.parametrize(
    ("number", "key", "least", "words"),
    [
        (0, "diameter_mm", 20, "NUMBER up to 1"),
        (2, "diameter_mm", 20, "NUMBER up to 1"),
        (1, "width_mm", 20, "a key of the sheet"),
        (1, "diameter_mm", 2, "within 6 to 120"),
    ],
)
def test_a_wrong_side_port_is_told(tmp_path, number, key, least, words):
    sheet = oval_sheet(tmp_path)
    sheet.write_text(sheet.read_text() + PORT.format("bass", 30))
    (tmp_path / "plan.toml").write_text(DIAMETER.format(number, key, least))
    with pytest.raises(SheetError, match=words):
        read_plan(tmp_path / "plan.toml", sheet)


def test_no_such_plan():
    with pytest.raises(BadInput, match="did you mean 'linings'"):
        plan_path("lining")


def test_the_sheet_beside_the_plan_comes_first(tmp_path):
    sheet = oval_sheet(tmp_path)
    (tmp_path / "p.toml").write_text(
        'sheet = "oval.toml"\n[[factor]]\nname = "t"\nkeys = ["top.thickness_mm"]\nfrom = 2\nto = 3'
    )
    assert read_plan(tmp_path / "p.toml").sheet == sheet
    assert read_plan(tmp_path / "p.toml", sheet).raw == tomllib.loads(Path(sheet).read_text(encoding="utf-8"))


def test_names_of_boards_and_builds_are_those_of_the_model():
    from box_cases import guitar

    from studies.common.builds import builds, complete_linings

    single, kinds = guitar(), ("kerfed", "solid_laminated")
    known = {
        b.name
        for kind in kinds
        for b in builds(complete_linings(guitar(lining_top={"kind": kind}, lining_back={"kind": kind}))[0])
    }
    double = guitar(sides={"inner_thickness_mm": 1.5, "inner_wood": "honduras_mahogany"})
    known |= {b.name for b in builds(complete_linings(double)[0])}
    assert known == set(RIM_BUILDS)
    assert {b for b in BOARDS if not b.endswith("braces")} <= {f for f in vars(single)}


@pytest.mark.parametrize("kind", ["sobol", "latin_hypercube", "random"])
def test_random_designs_stay_within_their_ranges_and_repeat(kind):
    p = plan(design={"kind": kind, "samples": 50}, rim={"builds": ["sheet", "doubled_sides"]})
    one, other = variants(p), variants(p)
    values = [v.values["top thickness"] for v in one]
    assert min(values) >= 2.5 and max(values) <= 3.3 and max(values) - min(values) > 0.6
    assert values == [v.values["top thickness"] for v in other]
    assert values != [v.values["top thickness"] for v in variants(p.model_copy(update={"seed": 2}))]


def test_paired_builds_share_their_draws():
    p = plan(
        scatter=[{"name": "w", "boards": ["top"]}], rim={"builds": ["sheet", "doubled_sides"]}, design={"samples": 8}
    )
    found = variants(p)
    assert len(found) == 16
    for a, b in zip(found[::2], found[1::2]):
        assert (a.sample, a.rim, b.rim) == (b.sample, "sheet", "doubled_sides") and a.values == b.values
        assert np.array_equal(a.draws["top"], b.draws["top"])


def test_unpaired_builds_are_drawn():
    p = plan(rim={"builds": ["sheet", "doubled_sides"]}, design={"samples": 64, "paired": False})
    found = variants(p)
    assert len(found) == 64 and 20 < sum(v.rim == "sheet" for v in found) < 44


def test_a_grid_has_every_combination():
    other = {"name": "side", "keys": ["sides.thickness_mm"], "levels": [2.0, 2.4, 2.8]}
    p = plan(factor=[{**TOP, "steps": 5}, other], design={"kind": "grid"}, rim={"builds": ["sheet", "doubled_sides"]})
    found = variants(p)
    assert len(found) == 30 == p.count
    assert {(v.values["top thickness"], v.values["side"], v.rim) for v in found} == {
        (t, s, r) for t in np.linspace(2.5, 3.3, 5) for s in (2.0, 2.4, 2.8) for r in ("sheet", "doubled_sides")
    }


def test_a_normal_factor():
    p = plan(
        factor=[{"name": "t", "keys": ["top.thickness_mm"], "mean": 2.8, "deviation": 0.1}], design={"samples": 2048}
    )
    values = np.array([v.values["t"] for v in variants(p)])
    assert values.mean() == pytest.approx(2.8, abs=0.005) and values.std() == pytest.approx(0.1, rel=0.03)
    assert np.abs(values - 2.8).max() <= 0.3 + 1e-9


@pytest.mark.parametrize("correlation", [0.0, 0.6, 1.0])
def test_scatter_is_correlated_as_the_plan_says(correlation):
    p = plan(scatter=[{"name": "w", "boards": ["back", "sides"], "correlation": correlation}], design={"samples": 1024})
    found = variants(p)
    back, sides = (np.array([v.draws[b] for v in found]) for b in ("back", "sides"))
    for k in range(DRAWN):
        assert np.corrcoef(back[:, k], sides[:, k])[0, 1] == pytest.approx(correlation, abs=0.08)
        assert back[:, k].std() == pytest.approx(1, abs=0.06)
    assert abs(np.corrcoef(back[:, 0], back[:, 1])[0, 1]) < 0.08  # fem.woods correlates density with stiffness
    assert dimensions(p) == (1 + DRAWN if correlation == 1 else 1 + 3 * DRAWN)
