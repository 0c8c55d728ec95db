"""A night from plan to page: rows, resuming, checks against full solves; workers and parents killed without warning."""

import csv
import io
import os
import random
import signal
import socket
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import psutil
import pytest
from box_cases import guitar, oval_sheet
from shell_cases import SPRUCE
from sweep_payload import Payload, computed, row_of

from fem.eigen import modes
from fem.sections import Layer, laminate, scaled
from fem.woods import scattered
from meshes import joints
from meshes.joint_section import corner_between
from meshes.parts import RIM
from studies.common.box_measures import surface_spot
from studies.common.inputs import BadInput
from studies.sweep import question, words
from studies.sweep import solve as loop
from studies.sweep.bodies import body_at, with_draws
from studies.sweep.design import variants
from studies.sweep.engine import AHEAD, Cluster, Here, open_engine
from studies.sweep.kit import row_key, sections_of, sheet_print
from studies.sweep.log import Log
from studies.sweep.maps import ParameterMaps, maps_at, parameter_maps, same_body, variant_build, with_values
from studies.sweep.numbers import SweepTable, effects, front, main_effect
from studies.sweep.paired import paired_builds
from studies.sweep.plan import read_plan
from studies.sweep.prepare import ready_kit
from studies.sweep.sections import cell_points, fit, sections_of_piece
from studies.sweep.store import Store
from studies.sweep.variant import Solver, cluster_error, clusters

CHILD = Path(__file__).with_name("sweep_child.py")
PLAN = """
name = "Test"
mesh_size_mm = 100
modes = 6
[design]
samples = {samples}
[rim]
builds = ["sheet", "stiff_limit"]
[[factor]]
name = "bridge thickness"
keys = ["bridge.thickness_mm"]
from = 6
to = 11
[[factor]]
name = "loss of the joints"
keys = ["joint_top.loss_factor", "joint_back.loss_factor"]
from = 0.005
to = 0.1
[[scatter]]
name = "wood of the bridge"
boards = ["bridge"]
[accuracy]
cells = 6
check_percent = {check}
"""
UNLINED = {f"lining_{p}": {"kind": "none"} for p in ("top", "back")}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("plans")


@pytest.fixture(scope="module")
def sheet(folder):
    return oval_sheet(folder, **UNLINED)


def plan_file(folder, samples=16, check=5):
    file = folder / f"plan{samples}-{check}.toml"
    file.write_text(PLAN.format(samples=samples, check=check))
    return file


@pytest.fixture(scope="module")
def first_plan(folder, sheet):
    return read_plan(plan_file(folder), sheet)


@pytest.fixture(scope="module")
def quiet():
    return lambda: Log(out=io.StringIO())


@pytest.fixture(scope="module")
def first_night(folder, sheet, quiet):
    """(night, keys, folder) of 32 variants computed in this process."""
    night, out = read_plan(plan_file(folder), sheet), folder / "first"
    with Store(out) as store:
        keys = loop.run(night, store, out, workers=1, log=quiet())
    return night, keys, out


# --- bodies and sections ---


def test_quick_and_remade_keys(sheet, folder):
    text = """
    [[factor]]
    name = "thickness"
    keys = ["top.thickness_mm", "back.thickness_mm"]
    from = 0.9
    to = 1.1
    times = true
    [[factor]]
    name = "density"
    keys = ["wood.sitka_spruce.density_kg_m3"]
    mean = 420
    deviation = 20
    [[factor]]
    name = "soundhole"
    keys = ["soundhole.diameter_mm"]
    from = 90
    to = 100
    [[factor]]
    name = "wood of the back"
    keys = ["back.wood"]
    levels = ["sitka_spruce", "honduras_mahogany"]
    """
    (folder / "keys.toml").write_text(text)
    night = read_plan(folder / "keys.toml", sheet)
    maps = parameter_maps(night, body_at(night, {}))
    assert maps.remade == ("soundhole", "wood of the back")  # one changes the mesh, one is a word
    assert set(maps.quick) == {"thickness", "density"}
    for v in variants(night.plan)[:3]:
        remade = {name: v.values[name] for name in maps.remade}
        quick, afresh = (
            with_values(body_at(night, remade), maps_at(night, maps, remade), v.values),
            body_at(night, v.values),
        )
        assert same_body(quick, afresh)
        assert quick.top.thickness == pytest.approx(v.values["thickness"] * night.base["top.thickness_mm"] / 1e3)
        assert not same_body(replace(quick, top=replace(quick.top, thickness=1.001 * quick.top.thickness)), afresh)


def test_two_factors_on_one_number(sheet, folder):
    """The lining's width is laminations times their thickness: the second factor has the sheet read afresh."""
    text = """
    [[factor]]
    name = "laminations"
    keys = ["lining_top.laminations"]
    levels = [2, 3, 4]
    [[factor]]
    name = "thickness of each"
    keys = ["lining_top.lamination_thickness_mm"]
    levels = [1.5, 2.0]
    """
    (folder / "two.toml").write_text(text)
    night = read_plan(folder / "two.toml", oval_sheet_of_solid(folder))
    maps = parameter_maps(night, body_at(night, {}))
    assert maps.remade and len(maps.quick) <= 1
    for v in variants(night.plan)[:2]:
        remade = {name: v.values[name] for name in maps.remade}
        assert same_body(
            with_values(body_at(night, remade), maps_at(night, maps, remade), v.values), body_at(night, v.values)
        )


REBATES = {
    f"joint_{p}": {"rebate_width_mm": 1.2, "rebate_height_mm": 4} for p in ("top", "back")
}  # no default to follow


def oval_sheet_of_solid(folder):
    other = folder / "solid"
    other.mkdir(exist_ok=True)
    return oval_sheet(other, **{f"lining_{p}": {"kind": "solid_laminated"} for p in ("top", "back")}, **REBATES)


def test_fits_follow_polynomials():
    """Sections quadratic in two coordinates come back to round-off, and the error told is small; a kink is told as large."""
    axes = (("a", 2.0, 1.0), (("back", 0), 0.0, 3.0))
    points = cell_points(2, 24, np.array([False, True]))

    def section(x, kink=0.0):
        s = laminate([Layer(SPRUCE, 0.003)])
        f = 1 + 0.3 * x[0] + 0.1 * x[0] ** 2 - 0.2 * x[0] * x[1] + kink * abs(x[1])
        return scaled(s, f, 2 - 0.5 * x[1])

    made = fit(points, [section(x) for x in points], axes)
    found = made.at(None, "lining_top", {"a": 2.4, ("back", 0): -1.5})
    own = section((0.4, -0.5))
    assert made.error < 1e-9
    assert found.stiffness["D11"] == pytest.approx(own.stiffness["D11"], rel=1e-9)
    assert found.mass["m0"] == pytest.approx(own.mass["m0"], rel=1e-9)
    assert fit(points, [section(x, 0.5) for x in points], axes).error > 0.01


def test_fits_of_joints_come_back_and_stay_positive():
    """What the springs are split from comes back where it is linear in a coordinate; where that is negative it is cut; the loss is the body's."""
    points = cell_points(1, 10, np.array([False]))
    some = np.random.default_rng(1).standard_normal((3, 3, 4, 4))
    some = some @ some.swapaxes(-1, -2)
    whole = np.stack([some[:, 0], some.sum(axis=1), some[:, 2]], axis=1)
    corner = lambda x: corner_between(np.exp(np.full((3, 4), x - 9)), (2 + x) * whole, np.full((4, 3), 0.2 + 0.1 * x))
    made = fit(points, [corner(x) for (x,) in points], (("a", 0.0, 1.0),))
    assert made.error < 1e-9
    found = made.at(None, "joint_top", {"a": 0.25})
    assert (
        found.compliance.sum(axis=0) == pytest.approx(2.25 * np.exp(2 * -8.75) * some.sum(axis=1))
        and found.clipped < 1e-9
    )
    assert found.heat == pytest.approx(0.225)
    beyond = made.at(None, "joint_top", {"a": -2.5})
    assert np.linalg.eigvalsh(beyond.compliance).min() > -1e-12 * abs(found.compliance).max() and beyond.clipped > 1
    body = guitar(joint_top={"loss_factor": 0.03})
    regions = sections_of_piece(body, "joint_top", found)
    glue = found.stiffness()[0]
    assert regions["joint_top"].losses["joint"]["bb@45"] == pytest.approx(0.03 * glue[1, 2, 2])
    assert regions["sides/corner_top"].stiffness["rr@0"] == pytest.approx(found.stiffness()[2][0, 3, 3])


@pytest.mark.slow
def test_fitted_cells_against_cells(folder, quiet, monkeypatch):
    """A night whose joints and linings follow the side's thickness: the fit must hold on the check rows, solved with cells.

    All in this process, with the boxes at the joints that the sheet's own body has: coarser ones jump with the thickness.
    """
    monkeypatch.setattr(joints, "FINE", 1e-4)
    file = folder / "fitted.toml"
    text = PLAN.format(samples=16, check=5).replace("bridge.thickness_mm", "sides.thickness_mm")
    file.write_text(text.replace("from = 6\nto = 11", "from = 1.8\nto = 2.8"))
    night, out = read_plan(file, oval_sheet_of_solid(folder)), folder / "fitted"
    with Store(out) as store:
        loop.run(night, store, out, workers=1, log=quiet())
        checks = store.checks()
    assert checks, "the side's thickness was not quick"
    assert all(c.frequency_error < 1e-3 and c.heat_error < 5e-3 for c in checks.values())


def test_boards_of_one_wood_are_drawn_apart(first_night):
    body = body_at(first_night[0], {})
    body = replace(body, back=replace(body.back, wood=body.top.wood))
    draws = {"top": np.array([1.0, 0.5, 0, 0, 0.5]), "back": np.array([-1.0, 0, 0.5, 0, 0])}
    drawn = with_draws(body, draws)
    for board, draw in draws.items():
        assert getattr(drawn, board).wood == scattered(body.top.wood, draw)
    assert drawn.top.wood.density > body.top.wood.density > drawn.back.wood.density
    assert drawn.bridge == body.bridge and drawn.top.thickness == body.top.thickness


@pytest.mark.slow
def test_quick_sections_are_the_sheets_own(first_night):
    """Where no cell is fitted the quick path gives what the sheet read afresh gives."""
    night, _, out = first_night
    found = variants(night.plan)
    kit = ready_kit(
        night,
        found,
        out,
        lambda items: loop.compute_cells(Here(), items, Log(out=open(os.devnull, "w", encoding="utf-8"))),
    )
    for v in found[5:7]:
        quick = sections_of(kit, v)
        body = variant_build(body_at(night, v.values), ParameterMaps({}, ()), v)
        own = body.sections()
        assert quick.keys() == own.keys()
        for region in own:
            for kinds in ("stiffness", "mass"):
                a, b = getattr(quick[region], kinds), getattr(own[region], kinds)
                scale = max(map(abs, b.values()), default=1)
                assert all(a[k] == pytest.approx(b[k], rel=1e-10, abs=1e-12 * scale) for k in b), region


# --- a whole night ---


def test_rows_of_a_night(first_night):
    _, keys, out = first_night
    assert len(set(keys.values())) == 32
    with Store(out, write=False) as store:
        rows = list(store.rows(keys.values()))
        checks = store.checks()
    assert len(rows) == 32 and {r.method for r in rows} == {"reduced"}
    for r in rows:
        assert r.strain.sum(axis=0) == pytest.approx(1, abs=1e-4) and r.dissipated.sum(axis=0) == pytest.approx(
            1, abs=1e-4
        )
        assert 0 < r.summary["heat_in_rim"] < 1 and r.summary["rim_g"] < r.summary["body_g"]
    thick = [r.parameters["bridge thickness"] for r in rows]
    assert np.corrcoef(thick, [r.summary["body_g"] for r in rows])[0, 1] > 0.3
    assert checks
    for c in checks.values():  # against full solves of the sheet read afresh
        assert c.frequency_error < 1e-3 and c.strain_error < 5e-3 and c.heat_error < 5e-3
        assert c.modes_below == c.modes_expected


def test_the_same_command_computes_nothing_again(first_night, quiet, monkeypatch):
    night, keys, out = first_night
    monkeypatch.setattr(loop, "ready_kit", lambda *_: pytest.fail("computed again"))
    with Store(out) as store:
        assert loop.run(night, store, out, workers=1, log=quiet()) == keys


def test_a_stop_is_in_the_log(folder, sheet, tmp_path, monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(question, "run", stopped)
    with pytest.raises(KeyboardInterrupt):
        question.run_sweep(plan_file(folder), tmp_path / "out", workers=1, sheet=sheet)
    assert "stopped by hand" in (tmp_path / "out" / "night.log").read_text()


def test_a_larger_plan_keeps_its_keys(first_night, folder, sheet):
    """Sobol points stay when more are drawn, so their keys do."""
    _, keys, _ = first_night
    more = read_plan(plan_file(folder, samples=40, check=0), sheet)
    name = sheet_print(more)
    wanted = [row_key(more, name, v) for v in variants(more.plan)]
    assert set(keys.values()) < set(wanted) and len(set(wanted)) == 80


@pytest.mark.slow
def test_a_larger_plan_adds_rows(first_night, folder, sheet, quiet):
    """Sobol points stay when more are drawn up to the next power of two; rows that are there stay as they are."""
    _, keys, out = first_night
    more = read_plan(plan_file(folder, samples=17, check=0), sheet)
    with Store(out) as store:
        before = {r.key: r.frequency.tobytes() for r in store.rows()}
        wanted = loop.run(more, store, out, workers=1, log=quiet())
        after = {r.key: r.frequency.tobytes() for r in store.rows()}
    assert set(keys.values()) <= set(wanted.values()) and len(wanted) == 34
    assert all(after[k] == v for k, v in before.items()) and set(after) == set(before) | set(wanted.values())


def test_interrupted_and_resumed_is_the_same_as_undisturbed(first_night, folder, sheet, quiet, tmp_path, monkeypatch):
    night, keys, out = first_night
    for file in out.glob("basis-*.npz"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    calls = {"n": 0}

    def stopped(self, rows, add=Store.add):
        add(self, rows)
        calls["n"] += 1
        if calls["n"] == 1:
            raise KeyboardInterrupt

    with Store(tmp_path) as store:
        monkeypatch.setattr(Store, "add", stopped)
        with pytest.raises(KeyboardInterrupt):
            loop.run(night, store, tmp_path, workers=1, log=quiet())
        monkeypatch.undo()
        assert 0 < len(store.keys()) < 32
    with Store(tmp_path) as store:
        loop.run(night, store, tmp_path, workers=1, log=quiet())
        resumed = list(store.rows(keys.values()))
    with Store(out, write=False) as store:
        for a, b in zip(resumed, store.rows(keys.values())):
            assert (a.key, a.summary, a.method) == (b.key, b.summary, b.method)
            assert all(
                np.array_equal(getattr(a, n), getattr(b, n))
                for n in ("frequency", "strain", "dissipated", "loss_factor")
            )


def test_page_tables_and_words(first_night, folder, sheet):
    night, keys, out = first_night
    said = question.run_sweep(night.path, out, workers=1, sheet=sheet)
    page = (out / "index.html").read_text()
    assert "matters most for the heat turned in the rim" in said and "Uncertain:" in said
    assert "rows checked against full solves" in said and "takes" not in said
    for said_there in (
        "matters most",
        "One thing at a time",
        "Grams against heat",
        "stiff limit",
        "Sobol indices",
        "<svg",
    ):
        assert said_there in page
    assert "http://" not in page.replace("http://www.w3.org", "") and "https://" not in page and "<script" not in page
    rows = list(csv.DictReader((out / "night.csv").open()))
    assert [r["key"] for r in rows] == list(keys.values())
    assert "done" in (out / "night.log").read_text()


def test_what_a_row_tells_is_what_the_full_solve_tells(first_night):
    """Grams, first mode and the means over a tap, of both builds: the reduced model's beside the sheet's read afresh."""
    night, _, out = first_night
    found = variants(night.plan)
    kit = ready_kit(
        night,
        found,
        out,
        lambda items: loop.compute_cells(Here(), items, Log(out=open(os.devnull, "w", encoding="utf-8"))),
    )
    solver = Solver(kit, "sheet")
    for variant in found[:2]:
        (small, reason), big = solver.reduced(variant), solver.full(variant)[0]
        assert not reason and small.key == big.key and small.rim == big.rim
        told = {name: value for name, value in big.summary.items() if name != "estimate"}
        assert {name: small.summary[name] for name in told} == pytest.approx(told, rel=5e-3)
    assert {v.rim for v in found[:2]} == {"sheet", "stiff_limit"}
    assert big.summary["stored_in_rim"] == pytest.approx(stored_by_tap(solver, found[1], big), rel=1e-4)


def stored_by_tap(solver, variant, row):
    """Mean share stored in the rim, each mode by its motion at the saddle's middle itself, which lies on no node."""
    model, w = solver.full(variant)[1:]
    space, bridge = model.space, body_at(solver.kit.sweep, variant.values).bridge
    spot = surface_spot(space, space.mesh.surfaces["top"].triangles, bridge.saddle_x, bridge.centre[1])
    tap = (spot.shares @ modes(model, w, len(row.frequency)).shape[6 * spot.nodes + 2]) ** 2
    return float(tap @ row.strain[[part in RIM for part in row.parts]].sum(axis=0) / tap.sum())


@pytest.mark.parametrize(
    "hole, why",
    [
        ("from = 70\nto = 80", "hole: 16 different meshes or sheets, so every variant"),
        ("levels = [70, 80]", "32 variants of meshes or rim builds with fewer than 16 variants each"),
    ],
)
def test_a_plan_of_many_meshes_says_how_long_and_why_before_it_starts(sheet, folder, hole, why):
    """16 holes in two builds of the rim; of two holes a mesh and build has 8. No cell is computed before."""
    text = PLAN.format(samples=16, check=0).replace("bridge thickness", "hole")
    file = folder / "holes.toml"
    file.write_text(text.replace("bridge.thickness_mm", "soundhole.diameter_mm").replace("from = 6\nto = 11", hole))
    night, lines = read_plan(file, sheet), []
    kit = ready_kit(night, variants(night.plan), folder, lambda pieces: list(map(pytest.fail, pieces)), lines.append)
    assert not kit.models and why in lines[-1]
    seconds, rest = lines[-1].split("solved in full, some ")[1].split(" s each for its own modes", 1)
    total = float(rest.split(": ")[1].split(" s or more on one core")[0])
    assert 32 * (float(seconds) - 0.5) <= total <= 32 * (float(seconds) + 0.5)


def test_full_solve_where_the_estimate_misses(first_night):
    night, _, out = first_night
    strict = night.plan.model_copy(update={"accuracy": night.plan.accuracy.model_copy(update={"estimate": 1e-12})})
    tight = type(night)(**{**vars(night), "plan": strict})
    found = variants(night.plan)
    kit = ready_kit(
        night,
        found,
        out,
        lambda items: loop.compute_cells(Here(), items, Log(out=open(os.devnull, "w", encoding="utf-8"))),
    )
    solver = Solver(type(kit)(**{**vars(kit), "sweep": tight}), "sheet")
    result = solver.work(("reduced", found[:2]))
    assert not result.rows and all("estimate" in reason for _, reason in result.in_full)
    with pytest.raises(BadInput, match="paused: 2 of 2 variants need a full solve"):
        loop.pause_if_many(result.in_full, 2, 0.1, Log(out=open(os.devnull, "w", encoding="utf-8")))
    full = solver.work(("full", found[:1])).rows[0]
    assert full.method == "full" and full.summary["estimate"] is None


def test_keys_depend_on_every_value(first_night):
    night, keys, _ = first_night
    one, other = variants(night.plan)[:2]
    sheet = sheet_print(night)
    key = row_key(night, sheet, one)
    moved = type(one)(
        **{**vars(one), "values": {**one.values, "bridge thickness": one.values["bridge thickness"] + 1e-9}}
    )
    drawn = type(one)(**{**vars(one), "draws": {"bridge": one.draws["bridge"] + 1e-9}})
    renumbered = type(one)(**{**vars(one), "number": 99, "sample": 99})
    assert len({key, row_key(night, sheet, other), row_key(night, sheet, moved), row_key(night, sheet, drawn)}) == 4
    assert row_key(night, sheet, renumbered) == key == keys[0]
    assert row_key(night, "another sheet", one) != key


def test_a_build_that_the_sheet_has_already(folder, sheet):
    """Told with the plan's file, before anything is made."""
    file = folder / "same.toml"
    file.write_text(PLAN.format(samples=2, check=0).replace('"stiff_limit"', '"doubled_sides", "single_sides"'))
    with pytest.raises(BadInput, match=r"same\.toml: rim\.builds: 'single_sides' is what the sheet builds already"):
        question.run_sweep(file, folder / "same", workers=1, sheet=sheet)
    assert not (folder / "same").exists()


# --- engine ---


def killed(folder, workers, seconds, total, wait=0.0):
    """Numbers that a child acknowledged before it was killed without warning after some seconds (from its first batch)."""
    child = subprocess.Popen(
        [sys.executable, str(CHILD), str(folder / "store"), str(folder / "starts"), str(workers), str(total), str(seconds)],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    first = child.stdout.readline()
    time.sleep(wait)
    child.send_signal(signal.SIGKILL)
    return {int(w) for w in (first + child.communicate()[0]).split()}


def killed_often(folder, workers, times, total, longest, seed):
    """Numbers computed twice by parents killed so many times, each up to `longest` [s] after its first batch.

    No acknowledged row is lost, and in the end the table is what an undisturbed run makes.
    """
    (folder / "starts").mkdir()
    wait, acknowledged = random.Random(seed), set()
    for _ in range(times):
        acknowledged |= killed(folder, workers, 0.002, total, wait.uniform(0, longest))
        with Store(folder / "store") as store:
            assert {f"{n:05d}" for n in acknowledged} <= store.keys()
    subprocess.run([sys.executable, str(CHILD), str(folder / "store"), str(folder / "starts"), str(workers), str(total), "0"], check=True, stdout=subprocess.DEVNULL)  # fmt: skip
    with Store(folder / "store") as store:
        rows = list(store.rows())
    assert [r.parameters["number"] for r in rows] == list(range(total))
    assert all(np.array_equal(r.frequency, row_of(n).frequency) for n, r in enumerate(rows))
    return [n for n, begun in computed(folder / "starts").items() if begun > 1]


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
@pytest.mark.parametrize("times", [2, pytest.param(8, marks=pytest.mark.slow)])
def test_parent_killed_at_random_moments(tmp_path, times):
    twice = killed_often(tmp_path, 1, times, 200 * times, 0.2, seed=3)
    assert len(twice) <= 5 * times  # batches of 5, one in flight


@pytest.mark.slow
@pytest.mark.timeout(1500)
@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
@pytest.mark.parametrize("times", [3])
def test_parent_of_a_cluster_killed_at_random_moments(tmp_path, times):
    twice = killed_often(tmp_path, 2, times, 400 * times, 0.5, seed=5)
    assert len(twice) <= times * 5 * 2 * (AHEAD + 1)  # what was in flight on two workers


@pytest.mark.slow
@pytest.mark.timeout(1500)
@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
def test_workers_die_and_come_back(tmp_path):
    deadly = random.Random(11).sample(range(60), 6)
    batches = [("reduced", list(range(i, i + 3))) for i in range(0, 60, 3)]
    engine = Cluster(2)
    try:
        results = list(engine.run(Payload(tmp_path, 0.002, deadly), batches))
    finally:
        engine.close()
    assert sorted(r.key for _, result in results for r in result.rows) == [f"{n:05d}" for n in range(60)]
    assert len(list(tmp_path.glob("*.died"))) == 6


@pytest.mark.slow
@pytest.mark.timeout(1500)
@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
def test_a_batch_that_always_kills_is_given_up(tmp_path):
    engine = Cluster(1)
    try:
        with pytest.raises(BadInput, match="workers died"):
            list(engine.run(Payload(tmp_path, always=[1]), [("reduced", [0]), ("reduced", [1])]))
    finally:
        engine.close()


def test_a_mistake_in_the_work_is_not_hidden():
    class Broken:
        def work(self, item):
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        list(Here().run(Broken(), [1]))


@pytest.mark.slow
def test_a_scheduler_with_two_workers(tmp_path):
    """A real scheduler and two real workers on the loopback address; the workers stay when the night is over."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(CHILD.parents[1]), str(CHILD.parent)])}
    dask = [sys.executable, "-m", "dask"]
    quiet = dict(env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    started = [
        subprocess.Popen([*dask, "scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"], **quiet)
    ]
    address = f"tcp://127.0.0.1:{port}"
    started += [subprocess.Popen([*dask, "worker", address, "--nworkers", "1", "--nthreads", "1", "--local-directory", str(tmp_path / "w"), "--no-dashboard"], **quiet) for _ in range(2)]  # fmt: skip
    try:
        (tmp_path / "starts").mkdir()
        deadline = time.monotonic() + 60
        while True:
            try:
                engine = open_engine(scheduler=address)
                break
            except BadInput:
                if time.monotonic() > deadline:
                    raise
        while engine.workers < 2 and time.monotonic() < deadline:
            time.sleep(0.2)
        batches = [("reduced", list(range(i, i + 5))) for i in range(0, 200, 5)]
        results = list(engine.run(Payload(tmp_path / "starts"), batches))
        engine.close()
        assert sorted(r.key for _, result in results for r in result.rows) == [f"{n:05d}" for n in range(200)]
        pids = {p.read_text() for p in (tmp_path / "starts").iterdir()}
        assert len(pids) == 2
        assert all(p.poll() is None for p in started)
    finally:
        for process in reversed(started):
            process.terminate()
            process.wait(timeout=20)


@pytest.mark.slow
def test_a_night_on_two_workers_is_the_same(first_night, folder, sheet, quiet, tmp_path):
    night, keys, out = first_night
    with Store(tmp_path) as store:
        loop.run(night, store, tmp_path, workers=2, log=quiet())
        rows = list(store.rows(keys.values()))
    with Store(out, write=False) as store:
        for a, b in zip(rows, store.rows(keys.values())):
            assert np.array_equal(a.frequency, b.frequency) and a.summary == b.summary


def test_a_running_sweep_is_reached_from_its_own_machine_alone():
    """Every port on which scheduler, nannies and workers of a local cluster listen, their pages as well."""
    engine = Cluster(2)
    try:
        me = psutil.Process()
        family = [me, *me.children(recursive=True)]
        ports = {p.pid: [c.laddr.ip for c in p.net_connections("inet") if c.status == "LISTEN"] for p in family}
    finally:
        engine.close()
    assert len(ports[me.pid]) >= 2 and sum(bool(found) for found in ports.values()) == 3  # it and two workers
    assert {ip for found in ports.values() for ip in found} <= {"127.0.0.1", "::1"}


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("tcp://10.0.0.7:8786", True),
        ("bench:8786", True),  # tcp, as Dask reads it
        ("tcp://[fe80::1]:8786", True),
        ("tls://10.0.0.7:8786", False),
        ("tcp://127.0.0.1:8786", False),
        ("tcp://localhost:8786", False),
        ("tcp://[::1]:8786", False),
    ],
)
def test_a_plain_scheduler_is_told(tmp_path, first_plan, address, told):
    lines = words.announcement(first_plan, [], [], tmp_path, address)
    assert any(f"mind: {address} is neither encrypted" in line for line in lines) == told


def test_no_scheduler_there(monkeypatch):
    monkeypatch.setattr("studies.sweep.engine.CONNECT", 1)
    with pytest.raises(BadInput, match="nothing answers there"):
        open_engine(scheduler="tcp://127.0.0.1:1")


def test_too_few_workers():
    with pytest.raises(BadInput, match="at least 1"):
        open_engine(workers=0)


# --- reading the night ---


def ishigami_like(n=4000):
    """y = x1 + 2 x2 + x1 x2 with x uniform on -1..1: variances 1/3, 4/3 and 1/9, worked by hand."""
    x = np.random.default_rng(0).uniform(-1, 1, (n, 3))
    y = x[:, 0] + 2 * x[:, 1] + x[:, 0] * x[:, 1]
    columns = {f"x{k + 1}": x[:, k : k + 1] for k in range(3)}
    return SweepTable(
        np.arange(n), np.array(["sheet"] * n), columns, {"heat_in_rim": y, "rim_g": y, "mean_loss_factor": y + 9}
    )


def test_sobol_indices_against_a_closed_form():
    found, rest = effects(ishigami_like(), "heat_in_rim")
    whole = 1 / 3 + 4 / 3 + 1 / 9
    by_name = {e.name: e for e in found}
    for name, first, total in (("x1", 1 / 3, 4 / 9), ("x2", 4 / 3, 13 / 9), ("x3", 0, 0)):
        e = by_name[name]
        assert e.first == pytest.approx(first / whole, abs=0.02) and e.total == pytest.approx(total / whole, abs=0.02)
        assert e.first_low - 0.01 <= first / whole <= e.first_high + 0.01
    assert found[0].name == "x2" and rest < 1e-9


@pytest.mark.parametrize("builds", [("sheet", "wide"), ("wide", "sheet")])
def test_a_build_counts_the_same_whatever_its_name(builds):
    """y = (1 + 2 b) x, b = 0 in one build and 1 in the other, x uniform on -1..1: about their means x alone holds 4/3, x
    with the build 1/3, the build alone nothing; worked by hand.
    """
    x, rim = np.random.default_rng(0).uniform(-1, 1, 4000), np.arange(4000) % 2
    y = (1 + 2 * rim) * x
    frame = SweepTable(np.arange(4000), np.array(builds)[rim], {"x": x[:, None]}, {"heat_in_rim": y})
    found = {e.name: e for e in effects(frame, "heat_in_rim")[0]}
    assert (found["x"].first, found["x"].total) == pytest.approx((0.8, 1.0), abs=0.02)
    assert (found["rim build"].first, found["rim build"].total) == pytest.approx((0.0, 0.2), abs=0.02)


def test_main_effect_follows_the_mean():
    rows = main_effect(ishigami_like(), "x2", "heat_in_rim")
    assert [r[1] for r in rows] == pytest.approx([2 * r[0] for r in rows], abs=0.15)


def test_paired_builds():
    """Draws scatter by far more than the builds differ: only pairs can tell."""
    n = 200
    level = np.random.default_rng(1).normal(0.3, 0.1, n)
    heat = np.concatenate([level, level - 0.01])
    loss = np.concatenate([level, level / 1.1])
    data = SweepTable(
        np.tile(np.arange(n), 2), np.repeat(["sheet", "solid"], n), {},
        {"heat_in_rim": heat, "mean_loss_factor": loss, "rim_g": np.repeat([300.0, 320.0], n)},
    )  # fmt: skip
    (p,) = paired_builds(data)
    assert (p.rim, p.draws) == ("solid", n)
    assert (
        p.dissipated == pytest.approx([-1] * 5)
        and p.decay == pytest.approx([10] * 5)
        and p.grams == pytest.approx([20] * 5)
    )


def test_front():
    x, y = np.array([1.0, 2, 3, 2, 4, 1]), np.array([5.0, 3, 4, 2, 1, 6])
    assert front(x, y) == [0, 3, 4]


def test_clusters_of_close_modes():
    f = np.array([100.0, 100.3, 150, 200, 200.4, 200.9, 300, 300.5])
    assert clusters(f, 6) == [slice(0, 2), slice(2, 3), slice(3, 6)]
    assert clusters(f, 7) == [slice(0, 2), slice(2, 3), slice(3, 6)]  # 300 and 300.5: the cluster goes beyond
    a, b = np.array([[0.5, 0.1, 0.3]]), np.array([[0.1, 0.5, 0.31]])
    assert cluster_error([slice(0, 2), slice(2, 3)], a, b) == pytest.approx(0.01)  # swapped within a cluster: no error


def test_warnings_of_folders(tmp_path, monkeypatch):
    assert any("synced folder" in w for w in words.warnings(tmp_path / "Dropbox" / "guitars"))
    monkeypatch.setattr(words, "filesystem", lambda path: "nfs4")
    assert any("network disk" in w for w in words.warnings(tmp_path))
    assert not any("synced" in w for w in words.warnings(tmp_path / "guitars"))
