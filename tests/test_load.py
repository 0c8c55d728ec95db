"""Strings on the box: load in balance, readings by hand, what the rim's build can change, page and bad input."""

import json
import re
from dataclasses import replace
from types import SimpleNamespace

import box_cases as cases
import numpy as np
import pytest

from fem.eigen import rigid_modes
from fem.free_body import FreeBody
from fem.model import assemble
from meshes.build import mesh_body
from meshes.joints import joint_sections
from meshes.string_sets import string_set
from studies.common.inputs import BadInput
from studies.common.progress import Progress
from studies.common.rest_page import said
from studies.common.table import per_gram
from studies.load import question as load
from studies.load import solve
from studies.load.first_screen import strings_screen
from studies.load.readings import Places, readings
from studies.load.solve import solve_loaded, string_load, tensions
from studies.load.words import bound, report, tables

SIZE = 0.06  # m: coarse, the figures do not matter here
NECK = {"neck": {"included": True}, "strings": {"scale_length_mm": 640}}


@pytest.fixture(scope="module", autouse=True)
def rigid_joints():
    """The joints' solids take their time and do not matter here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "meshes.parts.joint_of", lambda body, plate: SimpleNamespace(sections=joint_sections(body, plate, None))
        )
        yield


@pytest.fixture(scope="module")
def body(tmp_path_factory):
    found = cases.oval(tmp_path_factory.mktemp("oval"), **NECK)
    return replace(found, assumed=load.string_pulls(found)[1])


@pytest.fixture(scope="module")
def pulls(body):
    return load.string_pulls(body)[0]


@pytest.fixture(scope="module")
def model(body):
    return assemble(mesh_body(body, SIZE))


@pytest.fixture(scope="module")
def places(model, body, pulls):
    return Places(model.space, body, pulls)


@pytest.fixture(scope="module")
def study(body, pulls):
    return load.load_builds(body, pulls, SIZE, Progress(1, out=_Silent()))


class _Silent:
    def write(self, text):
        pass

    flush = isatty = lambda self: None


# --- the load ---


def test_load_is_in_balance_and_turns_bridge_and_neck(places, pulls, model, body):
    """No net force or couple; about the plates' edge the bridge alone bears T times the height of its saddle."""
    F = string_load(places, pulls)
    rigid = rigid_modes(model.space.points)
    assert np.abs(rigid.T @ F).max() < 1e-9 * np.abs(F).sum()
    total = sum(p.tension for p in pulls)
    nodes = F.reshape(-1, 6)
    at_bridge = np.zeros(len(nodes), bool)
    at_bridge[np.concatenate([s.nodes for s in places.saddles])] = True
    force = nodes[at_bridge, :3].sum(axis=0)
    points = model.space.points[at_bridge]
    couple = nodes[at_bridge, 4].sum() + np.sum(points[:, 2] * nodes[at_bridge, 0] - points[:, 0] * nodes[at_bridge, 2])
    saddle = np.mean(places.saddle_points(), axis=0)
    assert force[0] == pytest.approx(total, rel=1e-2)  # the strings slope a little
    assert couple == pytest.approx(saddle[2] * force[0] - saddle[0] * force[2], rel=1e-6)
    lift = saddle[2] - np.mean([s.point[2] for s in places.saddles])
    assert lift == pytest.approx(body.top.thickness / 2 + body.bridge.saddle_height)


def test_tensions_come_from_the_sheet_the_strings_or_a_set(tmp_path):
    own = [70.0, 90, 100, 95, 80, 75]
    given = cases.oval(tmp_path, **NECK | {"strings": {"scale_length_mm": 640, "tension_N": own}})
    found, assumed = tensions(given)
    assert [t for _, t in found] == own and assumed == ()
    named, assumed = tensions(given, "nylon")
    assert assumed == () and sum(t for _, t in named) == pytest.approx(
        398.7 * (640 / 650) ** 2, rel=2e-3
    )  # sum of the table
    mass = [6.24, 3.61, 1.95, 0.90, 0.52, 0.38]  # nylon at steel's pitch: standard tuning
    by_mass = cases.oval(tmp_path, **NECK | {"strings": {"scale_length_mm": 650, "unit_mass_g_m": mass}})
    found, assumed = tensions(by_mass)
    assert [t for _, t in found] == pytest.approx([s.tension for s in string_set("nylon").strings], rel=0.02)
    assert [a.key for a in assumed] == ["strings, pitch"]


def test_a_sheet_without_tensions_gets_the_default_set_and_says_so(body, pulls):
    found, assumed = load.string_pulls(body)
    assert len(found) == 6 and "steel" in assumed[0].value and assumed[0].key == "strings, tension"
    assert sum(p.tension for p in found) == pytest.approx(730, rel=0.1)  # common practice: about 700 N
    assert found[0].saddle[1] > found[-1].saddle[1]  # lowest string on the bass side


def test_no_nut_no_load(tmp_path):
    with pytest.raises(BadInput, match=r"neck.included = false: .* expected a neck"):
        load.string_pulls(cases.oval(tmp_path))


@pytest.mark.parametrize(
    ("given", "words"), [({"size_mm": 2}, "--mesh-size-mm 2: expected between"), ({"strings": "stel"}, "steel")]
)
def test_bad_input_is_told(tmp_path, given, words):
    with pytest.raises(ValueError, match=words):
        load.load_box(cases.oval_sheet(tmp_path, **NECK), tmp_path / "out", **given)


# --- readings ---


def still(places):
    return np.zeros((places.space.size // 6, 3)), np.zeros((*places.space.shell_fields[2][places.space.mesh.surfaces["top"].triangles].shape, 3))  # fmt: skip


def test_readings_of_a_given_motion(places):
    """A bridge tipped by .01 rad about its saddle, the nut up by 3 mm, the 12th fret by 1: worked by hand."""
    u, N = still(places)
    x = places.space.points[:, 0]
    u[places.bridge, 2] = -0.01 * (x[places.bridge] - places.body.bridge.saddle_x)
    for s in places.nuts:
        u[s.nodes, 2] = 0.003
    u[places.fret.nodes, 2] = 0.001
    N[..., 0] = -4000.0
    found = readings(places, u, N)
    assert found["bridge_rotation_deg"] == pytest.approx(0.01)
    assert found["action_rise_mm"] == pytest.approx(places.share * 0.003 - 0.001, rel=1e-6)
    assert found["action_rise_block_mm"] == pytest.approx(0, abs=2e-5)  # saddle and block are nearly at rest
    assert found["ahead_along_N_mm"] == pytest.approx(-4000)


def test_neck_block_that_leans_lifts_the_strings(places):
    """All at rest but the block, turned by a about its middle: nut and fret move by a times their distance from it."""
    u, N = still(places)
    points, a = places.space.points, 0.002
    middle = points[places.block].mean(axis=0)
    u[places.block] = np.cross([0, -a, 0], points[places.block] - middle)
    found = readings(places, u, N)
    x_nut = np.mean(places.nut_points(), axis=0)[0]
    rise = places.share * a * (x_nut - middle[0]) - a * (places.x_12 - middle[0])
    assert found["neck_block_rotation_deg"] == pytest.approx(a, rel=1e-9)
    assert found["action_rise_block_mm"] == pytest.approx(rise, rel=1e-6)


def test_belly_dip_and_width(places):
    u, N = still(places)
    y = places.space.points[:, 1]
    u[places.behind[3], 2], u[places.before[5], 2] = 0.0007, -0.0004
    u[:, 1] = 0.001 * y  # everything gets wider by a thousandth
    found = readings(places, u, N)
    assert [found["belly_mm"], found["dip_mm"]] == pytest.approx([0.0007, 0.0004])
    width = [v for k, v in found.items() if k.startswith("width/")]
    assert width == pytest.approx([0.35e-3] * 2, rel=0.02)  # the oval is 350 mm wide


# --- builds ---


def test_strings_do_what_makers_see(study):
    """Bridge leans to the neck, belly behind it, dip before, the neck bends up; elastic only, so less than on an old instrument."""
    for row in study.rows:
        at = row.measures
        assert 0.05 < np.degrees(at["bridge_rotation_deg"]) < 4
        assert at["belly_mm"] > 0 and at["dip_mm"] > 0 and at["neck_block_rotation_deg"] > 0
        assert at["action_rise_mm"] > at["action_rise_block_mm"]
        assert at["ahead_along_N_mm"] < 0 < at["behind_along_N_mm"]
        assert row.balance < 1e-9


def test_stiff_rim_holds_the_neck_block(study):
    rows = {row.build.name: row.measures for row in study.rows}
    assert rows["stiff_limit"]["neck_block_rotation_deg"] < 0.7 * rows["sheet"]["neck_block_rotation_deg"]
    assert rows["doubled_sides"]["action_rise_block_mm"] < rows["sheet"]["action_rise_block_mm"]


def test_everything_is_in_proportion_to_the_tension(study, body, pulls, model):
    double = [replace(p, tension=2 * p.tension) for p in pulls]
    places = Places(model.space, body, double)
    build = study.rows[0].build
    row = solve_loaded(build, model, string_load(places, double), places)
    one, two = study.rows[0], row
    assert {k: v / 2 for k, v in two.measures.items()} == pytest.approx(one.measures, rel=1e-6, abs=1e-12)
    assert two.bound == pytest.approx(2 * one.bound, rel=0.06)
    assert two.frequency_ratio**2 - 1 == pytest.approx(2 * (one.frequency_ratio**2 - 1), rel=1e-6, abs=1e-9)
    assert np.all(np.abs(one.frequency_ratio**2 - 1) < one.bound)


def test_each_build_is_factorised_once(body, pulls, monkeypatch):
    made = []
    real = FreeBody
    monkeypatch.setattr(solve, "FreeBody", lambda *a: made.append(1) or real(*a))
    found = load.load_builds(body, pulls, 0.08, Progress(1, out=_Silent()))
    assert len(made) == len(found.rows) + 2  # and the sheet's own in a richer space and on longer edges


# --- report ---


def test_bound_on_a_frequency_by_hand():
    assert bound(0.19) == pytest.approx(0.1)  # sqrt(1 - .19) = .9
    assert bound(2.0) == pytest.approx(1.0)  # no bound from below


def test_per_gram_by_hand():
    """Rims of 100, 120 and 101 g: each 10 g more of 20; none is told of 1 g."""
    row = lambda grams, *values: SimpleNamespace(
        build=SimpleNamespace(label=f"{grams} g"), mass={"sides": 1e-3 * grams, "top": 0.2}, values=values
    )
    rows = row(100, 1.0, 5.0), row(120, 1.4, 4.0), row(101, 2.0, 2.0)
    found = per_gram(rows, lambda r: r.values, ((2, "mm"), (1, "N")))
    assert found == (("120 g", "+20 g", "+0.20 mm", "−0.5 N"), ("101 g", "+1 g", "–", "–"))


def test_text_says_what_it_is_and_gives_no_verdict(study):
    words = said(report(study, strings_screen(study)))
    for part in (
        "creep",
        "glue",
        "cracks",
        "repair",
        "Strings pull",
        "verdict on strength",
        "licensed practice",
        "assumed: strings",
    ):
        assert part in words
    assert not re.search(r"\b(un)?safe(ly|ty)?\b", words)
    assert (
        len(
            {len(row) for table in tables(study) for row in (table.head, *table.rows)}
            - {len(t.head) for t in tables(study)}
        )
        == 0
    )


@pytest.mark.slow
def test_main_writes_page_tables_and_pictures(tmp_path):
    out = tmp_path / "out"
    words = load.load_box(cases.oval_sheet(tmp_path, **NECK), out, 60)
    assert "wrote" in words
    data = json.loads((out / "load.json").read_text())
    assert data["strings"][0]["tension_N"] > 0 and len(data["builds"]) == 6
    assert {m["build"] for m in data["measures"]} == {b["name"] for b in data["builds"]}
    page = (out / "index.html").read_text()
    assert page.count("<img") == 3 and "Not modelled" in page and "rim" in page
    assert (out / "load.csv").read_text().count("\n") == len(data["measures"]) + 1
