"""The rim study with air on a coarse oval box: pairing, bands, tables and page; and the contract of the modes with air."""

import csv
import io
import json
import pickle
import re
from contextlib import contextmanager
from dataclasses import replace
from types import SimpleNamespace

import box_cases as cases
import numpy as np
import pytest

from fem.admittance import Peak, Poles
from fem.interpolate import volume_rows
from meshes.body import back_height, top_height
from meshes.cavity import mesh_cavity
from meshes.coupled_model import coupled_model, fluid_domain, outside, velocities
from meshes.measured import CLOSED_BOX, Measured
from meshes.outline import inside
from meshes.sheet import read_sheet
from meshes.supports import FREE, LAP
from meshes.unexplained_loss import IN_JOINTS, IN_OPENINGS, IN_WOOD
from studies.common.builds import builds as all_builds
from studies.common.groups import GROUPS
from studies.common.inputs import BadInput
from studies.common.mesh_error import mesh_error
from studies.common.progress import Progress
from studies.common.words import joints_would_need
from studies.drawing.mode_names import names_with_air
from studies.measured.solve import computed_for
from studies.modes import air
from studies.rim import air as rim_air
from studies.rim import air_words as rim_air_words
from studies.rim import dry as rim_dry
from studies.rim import question as rim
from studies.rim.air_modes import boards_and_air
from studies.rim.air_page import per_mode, write_report
from studies.rim.air_words import (
    LABEL,
    answer,
    gain_without_loss,
    losses_table,
    measures,
    per_band,
    summary_text,
    unexplained_table,
)
from studies.rim.dry_words import LABEL as DRY_LABEL
from studies.rim.result import WHOLE_RIM
from studies.solved import coupled
from studies.solved import dry as solved_dry
from studies.solved import level as solved_level
from studies.solved.bridge_tap import PLACES, BridgeTap
from studies.solved.dry import solve_dry
from studies.solved.power import NAMES, THIRDS, bands, log_mean, summary

pytestmark = pytest.mark.slow  # the whole study with air: a minute

CHOSEN = ("sheet", "solid_laminated", "stiff_limit")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("rim-air")


def coarse_air(body):
    return fluid_domain(body, 300.0, 0.06, 0.09)


@contextmanager
def few_modes_and_builds():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(solved_level, "DRY_MODES", 14)
        patch.setattr(rim_air, "builds", lambda body: [b for b in all_builds(body) if b.name in CHOSEN])
        patch.setattr(rim_air, "fluid_domain", coarse_air)
        yield


@pytest.fixture(scope="module")
def study(folder):
    """Three builds of the bare oval on coarse meshes of everything, 14 dry modes."""
    with few_modes_and_builds():
        return rim_air.compare_in_air(
            cases.oval(folder), 0.08, 5, folder / "rows", Progress(1, io.StringIO()), coarse_air
        )


@pytest.fixture(scope="module")
def written(study, folder):
    return write_report(study, folder, pictures=False)


def test_another_process_would_find_the_same(study, folder, tmp_path):
    with few_modes_and_builds():
        alone = rim_air.found_beside(cases.oval(folder), 0.08, 5, tmp_path, air=True)
        assert rim_air.found_beside(cases.oval(folder), 0.08, 5, tmp_path, air=False) is None
    for level, mine in zip((study.richer, study.faceted), pickle.loads(pickle.dumps(alone))):  # as it travels
        assert mine.unknowns == level.unknowns != study.fine.unknowns
        assert mine.results.keys() == level.results.keys() == {("sheet", FREE), ("sheet", LAP)}
        for key, theirs in level.results.items():
            assert np.array_equal(mine.results[key].modes.frequency, theirs.modes.frequency)
            assert np.array_equal(mine.results[key].driven.mobility, theirs.driven.mobility)
            assert np.array_equal(mine.results[key].motion, theirs.motion)


@pytest.mark.parametrize("air", [True, False])
def test_the_dry_study_finds_the_rows_of_another_process(folder, tmp_path, monkeypatch, air):
    """As many modes are solved for there as here, so that none is solved for twice."""
    solved, solve, body = [], solved_dry.row_of, cases.oval(folder)
    monkeypatch.setattr(solved_dry, "row_of", lambda *a: solved.append(a[0].name) or solve(*a))
    monkeypatch.setattr(rim_dry, "builds", lambda body: [b for b in all_builds(body) if b.name in CHOSEN])
    monkeypatch.setattr(rim_air, "driven_on", lambda *a: None)
    monkeypatch.setattr(rim_air, "coupled_models", lambda *a: None)
    with few_modes_and_builds():
        rim_air.found_beside(body, 0.08, 5, tmp_path, air)
        beside = len(solved)
        rim_dry.compare_dry(
            body, 0.08, 5, tmp_path, Progress(1, io.StringIO()), solved_level.dry_modes(5) if air else None
        )
    assert len(solved) == beside == 3 * len(CHOSEN)  # every build in three spaces


# --- measures ---


def test_the_balance_closes_for_every_build_and_holding(study):
    assert set(study.fine.results) == {(name, how) for name in CHOSEN for how in (FREE, LAP)}
    for level in (study.fine, study.richer, study.faceted):
        for r in level.results.values():
            assert r.driven.imbalance < 1e-9
            assert sum(r.driven.share.values()) == pytest.approx(np.ones(len(r.driven.frequency)), abs=1e-9)


def test_only_the_lap_takes_up_power(study):
    into = lambda name, how: summary(study.fine.results[name, how].driven)["supports"]
    for name in CHOSEN:
        assert into(name, FREE) < 0.02 and into(name, LAP) > 0.03


def test_a_stiffer_rim_turns_less_to_heat(study):
    """A thousand times the stiffness at the same loss factors: next to no strain is left in it."""
    rim = {name: summary(study.fine.results[name, FREE].driven)["rim"] for name in CHOSEN}
    assert rim["stiff_limit"] < 0.5 * rim["sheet"]


def test_radiation_efficiency_grows_from_nothing_and_stays_of_the_order_of_one(study):
    """Small bodies radiate badly: under -20 dB below 80 Hz; above, single modes may exceed 1 a little."""
    d = study.fine.results["sheet", FREE].driven
    known = d.frequency <= d.valid_to
    assert (d.efficiency[d.frequency < 80] < 0.01).all() and 0.02 < d.efficiency[known].max() < 3


def test_a_log_mean_is_a_mean_over_the_logarithm():
    """Of log f itself between 100 and 400 Hz on a linear axis: log 200; of a constant: the constant."""
    f = np.arange(40.0, 1000.5, 1.0)
    assert np.exp(log_mean(f, np.log(f), 100, 400)) == pytest.approx(200, rel=0.005)
    assert log_mean(f, 0 * f + 3, 80, 500) == pytest.approx(3)


def test_third_octaves_bear_their_names_and_end_where_the_modes_do(study):
    assert THIRDS == pytest.approx(NAMES, rel=0.02)
    d = study.fine.results["sheet", FREE].driven
    assert [n for n, _ in bands(replace(d, valid_to=450.0))] == [50, 63, 80, 100, 125, 160, 200, 250, 315, 400]
    assert [n for n, _ in bands(replace(d, valid_to=440.0))][-1] == 315  # 400's band ends at 449 Hz
    for _, found in bands(d):
        assert sum(found[g] for g in GROUPS) == pytest.approx(1, abs=1e-9)
        assert found["rim"] == pytest.approx(sum(found[g] for g in air.IN_RIM))


def test_every_part_has_one_group():
    names = [part for parts in GROUPS.values() for part in parts]
    assert len(names) == len(set(names))
    found = air.grouped({"top": np.ones(2), "port 1": np.full(2, 3.0), "soundhole": np.ones(2)})
    assert list(found["opening"]) == [4, 4] and list(found["top"]) == [1, 1] and list(found["neck"]) == [0, 0]
    with pytest.raises(KeyError):
        air.grouped({"gong": np.ones(2)})


def test_a_rim_without_loss_gives_more_sound_and_other_losses_move_its_heat(study):
    """Heat follows the loss factor, less than in proportion: half of one part's turns less to heat, twice more."""
    for how in (FREE, LAP):
        own = study.sensitivity[how, WHOLE_RIM, 1.0]
        assert study.sensitivity[how, WHOLE_RIM, 0.0]["rim"] == pytest.approx(0, abs=1e-12)
        assert gain_without_loss(study, how) > 0
        assert own["rim"] == pytest.approx(summary(study.fine.results["sheet", how].driven)["rim"], rel=0.02)
        table = losses_table(study)[how]
        assert set(table) == set(air.IN_RIM)
        for part, found in table.items():
            assert found["0.5"] <= own["rim"] <= found["2.0"] <= own["rim"] + own[part] * 1.01
    assert table["sides"]["2.0"] > table["sides"]["0.5"]


def test_unexplained_loss_turns_power_to_heat_where_it_sits(study):
    """In every build, on every support; the balance closes. What it does is a doubt of heat and sound, and is told."""
    places = {IN_WOOD: ("top", "back"), IN_JOINTS: ("linings", "joints"), IN_OPENINGS: ("opening",)}
    for (name, how, place), found in study.unexplained.items():
        given = summary(study.fine.results[name, how].driven)
        assert sum(found[group] for group in GROUPS) == pytest.approx(1, abs=1e-9)
        more, less = sum(found[g] for g in places[place]), sum(given[g] for g in places[place])
        assert more > less or more == less == 0, (
            name,
            how,
            place,
        )  # the bare oval has no linings, and its joints may be rigid
        if place != IN_JOINTS:
            assert found["radiated_w"] < given["radiated_w"] and more > 1.02 * less
    assert len(study.unexplained) == len(CHOSEN) * 2 * 3
    table = unexplained_table(study)
    for how, builds_ in table.items():
        assert all(told["sound_db"] == 0 for told in builds_["sheet"].values()) and set(builds_) == set(CHOSEN)
        for name, told in builds_.items():
            ratio = (
                study.unexplained[name, how, IN_WOOD]["radiated_w"]
                / study.unexplained["sheet", how, IN_WOOD]["radiated_w"]
            )
            assert told[IN_WOOD]["sound_db"] == pytest.approx(10 * np.log10(ratio))
    sentence = answer(study)[-1]
    for place in places:
        heat = " and ".join(f"{100 * table[how]['sheet'][place]['rim']:.1f} % {how}" for how in (FREE, LAP))
        assert f"{place}, {heat}" in sentence
    assert f"({joints_would_need(study.unexplained_in_joints)});" in sentence
    assert "first resonances" in sentence and "changes of sound would be other by up to" in sentence


# --- shared air ---


def test_builds_of_one_mesh_share_the_walls_of_one_cavity(study):
    """Builds whose linings differ meet the same walls, others their own; what is shared changes no number."""
    coarse = rim_air.shared(lambda body: fluid_domain(body, 300.0, 0.06, 0.09))
    base, other = (next(b.body for b in study.builds if b.name == name) for name in ("sheet", "solid_laminated"))
    s = study.base.structure
    walls, around = coupled.shared_walls(s.space), coarse(base)
    first = walls(around)
    second = replace(coarse(other), surface=around.surface)
    assert second.air is not around.air and walls(second) is first
    assert walls(replace(coarse(replace(base, sides=base.sides * 2)), surface=around.surface)) is not first
    V = velocities(s, second, first)
    assert V == pytest.approx(velocities(s, second), rel=1e-12)
    radiated = outside(around.surface, [V], (40.0, 200.0, 400.0, 1000.0))[0]
    made, fresh = (coupled_model(s, second, radiated, walls=w) for w in (first, None))
    assert made.coupling.c == pytest.approx(fresh.coupling.c, rel=1e-9, abs=1e-12)
    for part, C in fresh.model.viscous.items():
        assert made.model.viscous[part] == pytest.approx(C, rel=1e-9)


def test_a_cavity_differs_from_its_twin_by_the_linings_wood(study):
    """The air of a build with other linings, made from the first one's, is the one meshed for it: same modes, other compliance."""
    coarse = lambda body: fluid_domain(body, 300.0, 0.06, 0.09)
    base, other = (next(b.body for b in study.builds if b.name == name) for name in ("sheet", "solid_laminated"))
    calls = []
    found = rim_air.shared(lambda body: calls.append(body) or coarse(body))
    found(base)
    made, fresh = found(other), coarse(other)
    assert len(calls) == 1
    assert made.cavity.solid == pytest.approx(fresh.cavity.solid) != found(base).cavity.solid
    assert made.air.frequency == pytest.approx(fresh.air.frequency, rel=1e-9)
    assert np.abs(made.air.shape) == pytest.approx(np.abs(fresh.air.shape), rel=1e-6, abs=1e-6)
    thicker = replace(base, sides=base.sides * 2)
    found(thicker)
    assert len(calls) == 2 and mesh_cavity(thicker, 0.06).volume < base_volume(base)


def base_volume(body):
    return mesh_cavity(body, 0.06).volume


# --- pairing ---


def test_the_base_is_paired_with_itself(study):
    base = study.fine.results["sheet", FREE]
    partner, match = rim_air.partners(base, base, study.fine.area, study.count)
    assert list(partner) == list(range(study.count)) and match == pytest.approx(np.ones(study.count), abs=1e-9)


def test_partners_follow_the_motion_not_the_order():
    """Two modes swapped, and turned in phase: each finds its own; a third that is nowhere finds none."""
    rng = np.random.default_rng(1)
    motion = rng.standard_normal((40, 3)) + 1j * rng.standard_normal((40, 3))
    other = motion[:, [1, 0]] * np.exp([1j, -2j])
    partner, match = rim_air.partners(SimpleNamespace(motion=motion), SimpleNamespace(motion=other), np.ones(40), 3)
    assert list(partner) == [1, 0, -1] and match[:2] == pytest.approx([1, 1])


# --- both studies in one folder ---


def test_the_default_leads_with_the_air_and_keeps_the_dry_page_beside_it(folder, tmp_path, monkeypatch, capsys):
    """One command: dry rows are solved once and shared, two pages that link to each other, each labelled; --no-air: dry alone."""
    monkeypatch.setattr(rim, "processes", lambda: 1)  # patches do not reach another process
    coarse = lambda body: fluid_domain(body, 300.0, 0.06, 0.09)
    solved, solve = [], solve_dry
    monkeypatch.setattr(solved_dry, "solve_dry", lambda *a: solved.append(a[0].name) or solve(*a))
    for module in (rim, rim_dry, rim_air):
        monkeypatch.setattr(module, "builds", lambda body: all_builds(body)[:2])
    monkeypatch.setattr(solved_level, "DRY_MODES", 14)
    monkeypatch.setattr(rim_air, "shared", lambda around: coarse)
    sheet = cases.oval_sheet(folder)
    text = rim.compare_rims(sheet, tmp_path, 60, 4, pictures=False)
    assert solved == ["sheet", "reversed_kerfed"] * 2  # on two meshes, and no more
    assert text.index("with the air inside") < text.index("Dry (without air")
    first, dry = ((tmp_path / name).read_text() for name in ("index.html", "dry.html"))
    assert 'href="dry.html"' in first and "with the air inside and outside" in first
    assert 'href="index.html"' in dry and "Dry: without air" in dry
    assert json.loads((tmp_path / "air.json").read_text())["model"] == "air"
    assert json.loads((tmp_path / "rim.json").read_text())["model"] == "dry"
    told = capsys.readouterr().err.splitlines()
    assert told[-1].startswith("100 %") and sum(line.startswith("100 %") for line in told) == 1
    again = rim.compare_rims(sheet, tmp_path / "dry", 60, 4, pictures=False, air=False)
    lines = [line for line in again.splitlines() if line]
    label = next(k for k, line in enumerate(lines) if line.endswith(DRY_LABEL))
    assert "how long a tap rings, dry" in lines[0] and label < next(
        k for k, line in enumerate(lines) if "heat in the rim" in line
    )
    assert "Dry: without air" in (tmp_path / "dry" / "index.html").read_text()
    assert not (tmp_path / "dry" / "air.json").exists()


# --- report ---


def test_modes_are_told_for_both_holdings(study):
    rows = list(per_mode(study))
    assert len(rows) == study.count * len(CHOSEN) * 2
    own = [r for r in rows if r["build"] == "sheet" and r["how"] == FREE]
    assert [r["shift_percent"] for r in own] == [0] * study.count
    assert all(0 <= r["heat_in_rim"] < 1 and 0 <= r["radiated_share"] < 1 for r in own)
    free, lap = (
        sum(r["supports_share"] for r in rows if r["build"] == "sheet" and r["how"] == how) for how in (FREE, LAP)
    )
    assert lap > 10 * free


def test_modes_are_told_in_words(study):
    """No two alike; where the air holds most of the energy that is said first."""
    rows = [r for r in per_mode(study) if r["build"] == "sheet" and r["how"] == FREE]
    assert len({r["moves"] for r in rows}) == len(rows)
    own = study.fine.results["sheet", FREE]
    modes = SimpleNamespace(frequency=own.modes.frequency, shape=own.modes.shape, air_share=np.array([0.7, 0.1]))
    words = names_with_air(study.base, modes, own.motion, 2)
    plain = [w.removeprefix("air resonance; ") for w in words]
    assert words[0] == "air resonance; " + plain[0] and words[1] == plain[1]
    assert all("top" in w or "back" in w for w in plain)


def test_mesh_errors_are_found_for_the_sheets_own_build(study):
    found = measures(study)
    for how in (FREE, LAP):
        told = {m["build"]: m for m in found if m["how"] == how}
        own, other = told["sheet"], told["solid_laminated"]
        assert own["sound_db"] == own["sound_db_error"] == own["rim_change_error"] == 0
        fine, richer, faceted = (summary(row.driven)["rim"] for row in study.own(how))
        assert own["rim_error"] == pytest.approx(mesh_error(fine, richer, faceted)) and own["rim_error"] > 0
        assert other["rim_error"] == pytest.approx(own["rim_error"] + other["rim_change_error"])
        assert 0 < other["rim_change_error"] <= own["rim_error"] and other["sound_db_error"] > 0


def test_page_and_tables(study, written, folder):
    page = written[0].read_text()
    assert LABEL in page and "dry (without air)" in page and "hung free" in page and "on the lap" in page
    assert "flesh of shear modulus" in page and "model error is not known" in page
    assert 'href="dry.html"' in page
    data = json.loads((folder / "air.json").read_text())
    assert data["model"] == "air" and data["largest_imbalance_of_power"] < 1e-9
    with (folder / "air-third-octaves.csv").open() as stream:
        rows = list(csv.DictReader(stream))
    assert {r["how"] for r in rows} == {FREE, LAP} and {r["build"] for r in rows} == set(CHOSEN)
    assert not any(part.startswith(("nan", "None ")) for part in page.split(">"))


def test_words(study):
    lines = answer(study)
    assert lines[0].startswith("Hung free: of the power") and "turns to heat in the rim" in lines[0]
    assert " ± " in lines[0] and "into the bands it hangs on" in lines[0]
    assert sum(line.startswith("- solid laminated linings: heat in the rim") for line in lines) == 2
    assert not any("impossibly stiff" in line for line in lines)  # a limit case is no build to advise
    assert "takes" not in summary_text(study)


def test_the_highest_third_octaves_are_told(study, monkeypatch):
    """With the figures of the bands; none where they are below their mesh error."""
    fine = study.fine.results["sheet", FREE].driven
    own = [b for b in per_band(study) if b["build"] == "sheet" and b["how"] == FREE][-1]
    told = lambda error: lambda d: [(own["third_octave_hz"], {"rim": 0.2 if d is fine else 0.2 - error / 2})]
    monkeypatch.setattr(rim_air_words, "bands", told(0.03))
    words = rim_air_words.highest_bands(study, FREE)
    assert f"Near {own['third_octave_hz']} Hz it is 20 ± 3 %." in words and answer(study)[0].endswith(words)
    monkeypatch.setattr(rim_air_words, "bands", told(0.21))
    assert rim_air_words.highest_bands(study, FREE) == ""


def test_a_fault_in_a_picture_leaves_those_before_it(study, tmp_path, monkeypatch, capsys):
    from studies.rim import pictures as air_pictures

    def fails(study, folder, say, found):
        assert (tmp_path / "index.html").exists() and (tmp_path / "air.json").exists()
        folder.mkdir()
        (folder / "power.txt").write_text("with air\n")
        found["power"] = [folder / "power.png"]
        raise RuntimeError("Triangulation is invalid")

    monkeypatch.setattr(air_pictures, "draw", fails)
    page = write_report(study, tmp_path)[0].read_text()
    for told in (page, capsys.readouterr().err):
        assert "Not all pictures could be drawn (RuntimeError: Triangulation is invalid)" in told
    assert 'src="pictures/power.png"' in page


@pytest.mark.slow
def test_pictures(study, folder):
    page = write_report(study, folder, pictures=True)[0].read_text()
    for name in ("power-hung-free.png", "power-on-the-lap.png", "overlay-hung-free.png", "air-mode-"):
        assert f"pictures/{name}" in page
    texts = list((folder / "pictures").glob("*.txt"))
    assert len(texts) >= 5 and all("with air" in t.read_text() for t in texts)


def test_pressure_is_painted_where_the_air_is(study):
    """Half way between top and back: the places read out of the cavity's own mesh are those asked for, or at a wall near by."""
    whole = study.base
    boards, body = boards_and_air(whole), whole.structure.body
    basis = whole.around.air.basis
    read = volume_rows(basis, boards.middle) @ basis.doflocs.T
    gap = np.linalg.norm(read - boards.middle, axis=1)
    assert np.mean(gap < 1e-9) > 0.6 and gap.max() < body.neck_block.thickness + 1e-3  # the rim behind a block
    x, y, z = boards.middle.T
    assert z == pytest.approx((top_height(body, x, y) + back_height(body, x, y)) / 2)
    neck = body.outline.length - body.side_thickness / 2 - body.neck_block.thickness / 2
    assert np.hypot(x - neck, y).min() > 0.3 * body.neck_block.thickness  # none in the middle of the block
    drawn = boards.air_plate.edges
    assert len(drawn) == 4 and all(inside(body.outline, block[:, ::-1] * [1, -1]).all() for block in drawn[2:])


# --- contract of the modes with air ---


def held(shares):
    """VibroacousticModes stand-in: a support mode first, then two of the body."""
    n = len(shares)
    loss = {"top": 1 - shares, "radiation": shares}
    return SimpleNamespace(
        frequency=np.array([3.0, 100.0, 190.0]), loss_factor=np.array([0.5, 0.02, 0.03]), elastic=np.array([False, True, True]),
        loss_share=loss, air_share=np.array([0, 0.6, 0.2]), potential_share={"top": np.ones(n)}, kinetic_share={"top": np.ones(n)},
    )  # fmt: skip


def tapped(first):
    """BridgeTap of a neck's peak at 60 Hz, one at `first` Hz and one at 220 Hz, of 1, .5 and 2 kg at the three places."""
    mode = lambda f, mass, k: Peak(f, 0.05, 20.0, 25.0, mass, k)
    residue = np.array([[0.01, 1.0, 1.0], [0.01, 2.0, 2.0], [0.01, 0.5, 0.5]], complex)
    peaks = {place: [mode(60.0, 100.0, 0), mode(first, 0.5, 1), mode(220.0, 0.5, 2)] for place in PLACES}
    poles = Poles(np.array([60.0, first, 220.0]), np.full(3, 0.04), residue)
    none = np.zeros(0)
    return BridgeTap(none, none, poles, peaks, dict.fromkeys(PLACES, -40.0), (80.0, 1000.0), 2.0)


def test_the_contract_holds_the_body_s_modes_only():
    words, taps = {how: ["swell", "tilt"] for how in (FREE, LAP)}, {FREE: tapped(104.0), LAP: tapped(105.0)}
    found = air.with_air({FREE: held(np.array([0, 0.3, 0.5])), LAP: held(np.array([0, 0.1, 0.2]))}, 5, words, taps)
    assert found["model"] == "air"
    assert found["coupled_frequency_hz"] == [100, 190] and found["support_frequency_hz"] == [3]
    assert found["radiated_share"] == [0.3, 0.5] and found["air_share"] == [0.6, 0.2]
    assert found["held"][LAP]["radiated_share"] == [0.1, 0.2]
    text = air.air_table(found)
    assert "hung free:" in text and "on the lap:" in text and "100.0 Hz" in text and "swell" in text
    assert found["held"][LAP]["bridge_tap"]["main_hz"] == [105.0, 220.0]
    middle = found["bridge_tap"]["peaks"]["middle"][1]
    assert middle["effective_mass_kg"] == {"bass end": 1.0, "middle": 0.5, "treble end": 2.0}
    assert re.search(r"104\.0 Hz \(F1\) +25 +1000 g +500 g +2000 g +50 mm/s", text)


def test_bad_input_is_told(tmp_path):
    with pytest.raises(BadInput, match="expected between 1"):
        air.find_modes_in_air(tmp_path / "x.toml", count=0)
    with pytest.raises(BadInput, match="no such file"):
        air.find_modes_in_air(tmp_path / "x.toml")


@pytest.mark.slow
def test_modes_with_air_of_a_sheet(folder, monkeypatch):
    """The whole way on the oval: dry and air-loaded lists side by side, each labelled, the json as it is returned."""
    monkeypatch.setenv("RIMWORK_KEPT", str(folder / "rows"))
    found = air.find_modes_in_air(cases.oval_sheet(folder), 4, 60, folder / "air.json")
    assert json.loads((folder / "air.json").read_text()) == json.loads(json.dumps(found))
    assert len(found["frequency_hz"]) == len(found["coupled_frequency_hz"]) == 4
    assert found["coupled_frequency_hz"][0] < found["frequency_hz"][0]  # the air resonates below the bare box
    assert max(found["air_share"]) > 0.3
    body = read_sheet(folder / "oval.toml")
    taps = {CLOSED_BOX: (found["coupled_frequency_hz"][0],)}
    tones = {held: computed_for(body, Measured(taps=taps, box_held=held), 0.06)[CLOSED_BOX] for held in ("free", "lap")}
    assert tones["free"][:4] == pytest.approx(
        found["coupled_frequency_hz"], rel=1e-9
    )  # as held, with air, not the dry ones
    assert np.abs(tones["lap"][:4] / tones["free"][:4] - 1).max() > 1e-3
