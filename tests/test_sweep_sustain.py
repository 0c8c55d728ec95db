"""Plucked notes in a night: plans, rows, store, checks against full solves, and paired draws of the wood."""

import io
import sqlite3
from dataclasses import replace

import numpy as np
import pytest
from box_cases import oval_sheet

from meshes.coupled_model import fluid_domain
from meshes.sheet_errors import SheetError
from meshes.supports import FREE, LAP
from studies.sweep import basis
from studies.sweep import solve as loop
from studies.sweep import variant as one_variant
from studies.sweep.design import variants
from studies.sweep.kit import row_key, sheet_print
from studies.sweep.log import Log
from studies.sweep.notes import HIGHEST_FRET, note_errors, spread, summary_of
from studies.sweep.page import write_sweep_page
from studies.sweep.plan import read_plan
from studies.sweep.result import ARRAYS, Check, Notes, notes_from_store, notes_to_store
from studies.sweep.scatter import WoodDraws, scatter, scattered_notes, sweep_of_draws
from studies.sweep.schema import STEPS
from studies.sweep.store import Store
from studies.sweep.tables import write_csv
from studies.sweep.words import observed

PLAN = """
name = "Plucked"
mesh_size_mm = 100
modes = 12
outputs = {outputs}
[design]
samples = 16
[rim]
builds = ["sheet", "doubled_sides"]
[[factor]]
name = "bridge thickness"
keys = ["bridge.thickness_mm"]
from = 6
to = 11
[[factor]]
name = "top thickness"
keys = ["top.thickness_mm"]
from = 2.6
to = 3.2
[accuracy]
cells = 6
estimate = 0.1
check_percent = 5
full_share = 1
{sustain}
"""
UNLINED = {f"lining_{p}": {"kind": "none"} for p in ("top", "back")}
SUSTAIN = """[sustain]
notes = 4
held = ["hung free", "on the lap"]
"""


def plan_file(folder, outputs='["frequencies", "shares", "sustain"]', sustain=SUSTAIN):
    file = folder / "plan.toml"
    file.write_text(PLAN.format(outputs=outputs, sustain=sustain))
    return file


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("plucked")


@pytest.fixture(scope="module")
def sheet(folder):
    return oval_sheet(folder, **UNLINED)


@pytest.fixture(scope="module")
def coarse():
    """Both ways with coarse meshes of the air."""
    with pytest.MonkeyPatch.context() as patch:
        few = lambda body, highest=400.0: fluid_domain(body, 400.0, 0.06, 0.09)
        patch.setattr(basis, "fluid_domain", few)
        patch.setattr(one_variant, "fluid_domain", few)
        yield


@pytest.fixture(scope="module")
def night(folder, sheet):
    return read_plan(plan_file(folder), sheet)


@pytest.fixture(scope="module")
def computed(night, folder, coarse):
    """(keys, folder) of 32 variants computed in this process and two of them checked."""
    out = folder / "out"
    with Store(out) as store:
        return loop.run(night, store, out, workers=1, log=Log(out=io.StringIO())), out


def test_rows_are_reduced_and_have_notes(night, computed):
    keys, out = computed
    with Store(out, write=False) as store:
        assert {row.method for row in store.rows()} == {"reduced"}
        found = list(store.notes(keys.values()))
    assert [k for k, _ in found] == list(keys.values())
    for _, n in found:
        assert n.holdings == (FREE, LAP) and n.places == spread(4)
        valid = np.isfinite(n.decay_time)
        longer = n.no_rim_loss[valid] / n.decay_time[valid]
        assert np.median(longer) > 1 and longer.min() > 0.98  # on a resonance less loss may drain the string sooner
        assert ((n.rim_dissipated[valid] > 0) & (n.rim_dissipated[valid] < 1)).all()
        assert (n.decay_time[1][valid[1]] < n.decay_time[0][valid[0]]).any()  # flesh damps


def test_checks_tell_the_error_of_the_notes(computed):
    """Full solves, from the sheet read afresh with air of their own, against the reduced rows."""
    keys, out = computed
    with Store(out, write=False) as store:
        checks = store.checks()
        assert len(checks) == 2
        for c in checks.values():
            assert c.frequency_error < 1e-3
            assert 0 < c.decay_error < 0.03
            assert 0 < c.median_decay_error < 0.01
        assert "decay times of single notes" in observed(store, keys)


def test_the_page_shows_sustain(night, computed, tmp_path):
    keys, out = computed
    with Store(out, write=False) as store:
        page = write_sweep_page(night, keys, store, tmp_path).read_text(encoding="utf-8")
        file = write_csv(store.rows(keys.values()), night.plan, tmp_path / "night.csv")
    assert "Grams against sustain" in page and "Plucked notes on the same draws" in page
    assert "without air, radiation" not in page and "takes" not in page
    head = file.read_text().splitlines()[0]
    assert "decay_s_hung" in head and "pluck_in_rim_lap" in head


def test_paired_rows_of_one_draw(night, computed):
    """Ratios of the builds are formed note by note on the same draw: gathered arrays are the store's own rows."""
    keys, out = computed
    with Store(out, write=False) as store:
        found = scattered_notes(night, keys, store)
        rows = dict(store.notes(keys.values()))
        grams = {key: summary["rim_g"] for key, *_, summary in store.summaries(keys.values())}
    assert found.decay_time.shape == (16, 2, 2, 4)
    for v in variants(night.plan)[::5]:
        b = found.builds.index(v.rim)
        assert np.array_equal(found.decay_time[v.sample, b], rows[keys[v.number]].decay_time, equal_nan=True)
    sheet, doubled = ([grams[keys[v.number]] for v in variants(night.plan) if v.rim == b] for b in found.builds)
    assert (np.array(doubled) > np.array(sheet) + 100).all()  # doubled sides weigh


# --- plans, keys and the store: nothing is solved ---


def test_notes_are_spread_over_strings_and_frets():
    for count, strings in ((12, 6), (6, 6), (48, 6), (1, 6), (10, 4)):
        found = spread(count, strings)
        assert len(set(found)) == count and found == tuple(sorted(found))
        each = np.bincount([s for s, _ in found], minlength=strings)
        assert each.max() - each.min() <= 1
        assert {f for _, f in found} <= set(range(HIGHEST_FRET + 1))
    assert len({f for _, f in spread(12)}) >= 6


def test_mistakes_in_the_table_are_told(folder, sheet):
    for outputs, table, words in (
        ('["frequencies"]', "[sustain]\nnotes = 4", "'sustain' among the outputs"),
        ('["sustain"]', '[sustain]\nstrings = "stele"', "steel"),
        ('["sustain"]', '[sustain]\nheld = ["on the lap", "on the lap"]', "each way to hold it once"),
        ('["sustain"]', '[sustain]\nheld = ["in the air"]', "hung free"),
        ('["sustain"]', "[sustain]\nnotes = 0", "notes"),
    ):
        with pytest.raises(SheetError, match=words):
            read_plan(plan_file(folder, outputs, table), sheet)


def test_keys_depend_on_strings_only_where_they_are_plucked(folder, sheet):
    """A night without strings keeps its keys whatever the table says by default; with them every input counts."""
    dry = read_plan(plan_file(folder, '["frequencies", "shares"]', ""), sheet)
    v, name = variants(dry.plan)[3], sheet_print(dry)
    plain = row_key(dry, name, v)
    assert plain == row_key(replace(dry, notes_at=((0, 0),)), name, v)
    wet = read_plan(plan_file(folder), sheet)
    steel = read_plan(plan_file(folder, sustain=SUSTAIN + 'strings = "nylon"'), sheet)
    fewer = replace(wet, notes_at=wet.notes_at[1:])
    assert len({plain, *(row_key(n, name, v) for n in (wet, steel, fewer))}) == 4


def some_notes(seed=0):
    draw = np.random.default_rng(seed)
    arrays = draw.random((len(ARRAYS), 2, 3)).astype(np.float32).astype(float)
    arrays[:3, 1, 2] = np.nan
    return Notes((FREE, LAP), ((0, 0), (1, 2), (5, 7)), np.array([82.4, 123.0, 494.0]), 700.5, *arrays)


def test_notes_come_back_as_they_went_in(tmp_path):
    from test_store import row

    notes = some_notes()
    with Store(tmp_path) as store:
        store.add([replace(row("a"), notes=notes), row("b")])
        store.add([replace(row("a"), notes=some_notes(1))])  # a row that is there is not replaced
        ((key, back),) = store.notes(["b", "a", "c"])
    assert key == "a" and notes_to_store(back) == notes_to_store(notes) and back.places == notes.places
    assert notes_to_store(notes_from_store(*notes_to_store(notes))) == notes_to_store(notes)


def test_medians_leave_out_notes_that_are_not_valid():
    notes = some_notes()
    found = summary_of(notes)
    assert found["decay_s_hung"] == np.median(notes.decay_time[0])
    assert found["decay_s_lap"] == pytest.approx(np.mean(notes.decay_time[1, :2]))
    nothing = replace(notes, decay_time=np.full((2, 3), np.nan))
    assert summary_of(nothing)["decay_s_hung"] is None


def test_errors_are_those_of_the_worst_note_and_of_the_median():
    notes = some_notes()
    off = notes.decay_time.copy()
    off[0, np.argmax(off[0])] *= 1.2  # the longest note: the median stays
    worst, middle = note_errors(replace(notes, decay_time=off), notes)
    assert worst == pytest.approx(0.2) and middle == 0


def test_a_store_without_notes_is_brought_up_to_date(tmp_path):
    """A store of the second schema keeps its rows and checks, and takes notes."""
    from test_store import row

    db = sqlite3.connect(tmp_path / "night.sqlite")
    for step in STEPS[:2]:
        db.executescript(step)
    db.execute("PRAGMA user_version = 2")
    db.execute("INSERT INTO parts VALUES (1, '[\"top\"]')")
    values = ("old", np.array([100.0]).tobytes(), 5.0)
    db.execute("INSERT INTO row (key, parameters, rim, method, parts, frequency, rim_g) VALUES (?, '{}', 'sheet', 'full', 1, ?, ?)", values)  # fmt: skip
    db.execute("INSERT INTO checked VALUES ('old', 1e-4, NULL, 2e-3, 7, 7, 'note')")
    db.commit()
    db.close()
    with Store(tmp_path) as store:
        assert next(store.rows(["old"])).summary["rim_g"] == 5.0
        assert next(store.rows(["old"])).summary["decay_s_lap"] is None
        assert store.checks() == {"old": Check("old", 1e-4, None, 2e-3, 7, 7, "note")}
        store.add([replace(row("new"), notes=some_notes())])
        store.add_checks([Check("new", 1e-4, 1e-3, 1e-3, 7, 7, "", 0.01, 0.002)])
        assert [key for key, _ in store.notes(["old", "new"])] == ["new"]
        assert store.checks()["new"].decay_error == 0.01 and store.checks()["new"].median_decay_error == 0.002


def test_draws_are_those_of_the_plan(sheet):
    """More draws leave the first ones as they are: a longer run goes on where a shorter one stopped."""
    few, more = (sweep_of_draws(sheet, WoodDraws(("sheet", "doubled_sides"), n, notes=3)) for n in (4, 9))
    a, b = variants(few.plan), variants(more.plan)
    assert len(a) == 8 and [row_key(few, "x", v) for v in a] == [row_key(more, "x", v) for v in b[:8]]
    assert a[0].draws["back"] is a[0].draws["sides"] or np.array_equal(a[0].draws["back"], a[0].draws["sides"])
    with pytest.raises(SheetError):
        sweep_of_draws(sheet, WoodDraws(("no such build",), 4))


def test_scatter_in_full_goes_on_where_it_stopped(sheet, folder, coarse):
    """Three draws of one build are too few for a reduced model, so every row is a full solve; the second call finds all of
    them in the store, the third only adds a draw.
    """
    told = io.StringIO()
    asked = WoodDraws(("sheet",), 2, (FREE,), notes=2, modes=8, mesh_size_mm=100, checks=0)
    call = lambda draws: scatter(sheet, replace(asked, draws=draws), folder / "scatter", Log(out=told))
    first, again = call(2), call(2)
    assert first.decay_time.shape == (2, 1, 1, 2) and first.holdings == (FREE,)
    assert np.array_equal(first.decay_time, again.decay_time, equal_nan=True)
    assert "2 of them in the store already" in told.getvalue()
    assert abs(np.log(first.decay_time[0] / first.decay_time[1])).max() > 1e-4  # other boards, other notes
    more = call(3)
    assert np.array_equal(more.decay_time[:2], first.decay_time, equal_nan=True) and len(more.decay_time) == 3
