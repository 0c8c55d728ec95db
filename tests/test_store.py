"""The store of a night: nothing acknowledged is lost, nothing is overwritten, trouble is told in plain words."""

import csv
import errno
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
import zlib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from studies.common.inputs import BadInput
from studies.sweep import schema
from studies.sweep import store as store_module
from studies.sweep.fields import Plan
from studies.sweep.result import ARRAYS, SUMMARY, Check, Notes, Row
from studies.sweep.schema import STEPS, SUMS, stopped_by
from studies.sweep.store import Store
from studies.sweep.tables import write_csv, write_parquet

ROOT = Path(__file__).parents[1]
PARTS = ("lining_top", "sides", "top")


def row(key, heat=True, n=4):
    draw = np.random.default_rng(zlib.crc32(key.encode()))
    shares = draw.random((len(PARTS), n)).astype(np.float32)
    summary = {name: float(i) for i, name in enumerate(SUMMARY)}
    parameters = {"width": 6.5, "scatter": {"top": [0.1, 0.2, 0.3, 0.4]}}
    return Row(
        key, parameters, "sheet", "reduced", PARTS, draw.random(n), draw.random(n).astype(np.float32), shares,
        shares[::-1] if heat else None, summary,
    )  # fmt: skip


def plan_of(*factors):
    """A Plan of these factors and the wood of the top, with four modes."""
    of = [{"name": name, "keys": [name]} for name in factors]
    return Plan.model_validate({"factor": of, "scatter": [{"name": "wood", "boards": ["top"]}], "modes": 4})


def same(a, b):
    arrays = ("frequency", "loss_factor", "strain", "dissipated")
    return all(np.array_equal(getattr(a, n), getattr(b, n)) for n in arrays) and all(
        getattr(a, n) == getattr(b, n) for n in ("key", "parameters", "rim", "method", "parts", "summary")
    )


def test_rows_come_back_as_they_went_in(tmp_path):
    rows = [row("b"), row("a")]
    with Store(tmp_path) as store:
        store.add(rows)
        assert store.keys() == {"a", "b"}
        assert all(map(same, store.rows(["b", "missing", "a"]), rows))
        assert [r.key for r in store.rows()] == ["a", "b"]


def test_a_row_without_heat(tmp_path):
    with Store(tmp_path) as store:
        store.add([row("a", heat=False)])
        assert next(store.rows()).dissipated is None


def test_a_row_is_never_overwritten(tmp_path):
    first, second = row("a"), row("a", n=6)
    with Store(tmp_path) as store:
        store.add([first])
        store.add([second, row("b")])
        assert same(next(store.rows(["a"])), first)
        assert store.keys() == {"a", "b"}


def test_a_batch_is_whole_or_not_there(tmp_path):
    with Store(tmp_path) as store:
        broken = row("b")
        object.__setattr__(broken, "rim", None)  # NOT NULL in the schema... and INSERT OR IGNORE must not hide it
        object.__setattr__(broken, "parameters", {"x": object()})
        with pytest.raises(TypeError):
            store.add([row("a"), broken])
        assert store.keys() == set()


def test_two_writers_are_refused_and_a_reader_is_not(tmp_path):
    with Store(tmp_path) as store:
        store.add([row("a")])
        with pytest.raises(BadInput, match="another run is writing"):
            Store(tmp_path)
        with Store(tmp_path, write=False) as reader:
            assert reader.keys() == {"a"}
            store.add([row("b")])
            assert reader.keys() == {"a", "b"}
    with Store(tmp_path) as store:  # the lock is free again
        assert store.keys() == {"a", "b"}


def test_a_reader_cannot_write(tmp_path):
    with Store(tmp_path) as store:
        store.add([row("a")])
    with Store(tmp_path, write=False) as reader, pytest.raises(BadInput, match="cannot be written"):
        reader.add([row("b")])


def test_no_store_to_read(tmp_path):
    with pytest.raises(BadInput, match="no such store"):
        Store(tmp_path, write=False)


def test_a_file_that_is_no_store(tmp_path):
    (tmp_path / "night.sqlite").write_text("my notes, not a data base" * 100)
    with pytest.raises(BadInput, match="damaged or not a store"):
        Store(tmp_path)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root writes everywhere")
def test_a_folder_that_cannot_be_written(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(BadInput, match="cannot be written"):
        Store(tmp_path)


def test_a_full_disk_is_told_and_loses_nothing(tmp_path):
    """SQLite's own limit of pages stands for the disk's end: the same error, SQLITE_FULL."""
    with Store(tmp_path) as store:
        store.add([row("kept")])
        pages = store.db.execute("PRAGMA page_count").fetchone()[0]
        store.db.execute(f"PRAGMA max_page_count = {pages + 1}")
        with pytest.raises(BadInput, match="disk is full"):
            store.add([row(f"{i}") for i in range(2000)])
        assert store.keys() == {"kept"}
        store.db.execute("PRAGMA max_page_count = 1000000")
        store.add([row("later")])
        assert store.keys() == {"kept", "later"}


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), sqlite3.OperationalError("database or disk is full")])  # fmt: skip
def test_words_for_a_full_disk(error):
    assert "disk is full" in str(stopped_by(error, "night.sqlite"))


def test_an_older_store_is_brought_up_to_date(tmp_path):
    db = sqlite3.connect(tmp_path / "night.sqlite")
    db.executescript(STEPS[0])
    db.execute("PRAGMA user_version = 1")
    db.execute("INSERT INTO parts VALUES (1, '[\"top\"]')")
    db.execute(
        "INSERT INTO row (key, parameters, rim, method, parts, frequency) VALUES ('old', '{}', 'sheet', 'full', 1, ?)",
        (np.array([100.0]).tobytes(),),
    )
    db.commit()
    db.close()
    with Store(tmp_path) as store:
        assert store.keys() == {"old"}
        store.add_checks([Check("old", 1e-4, None, 2e-3, 7, 7)])
        assert store.checks()["old"].heat_error == 2e-3
        assert store.db.execute("PRAGMA user_version").fetchone()[0] == len(STEPS)


def test_a_failed_step_leaves_the_older_store(tmp_path, monkeypatch):
    with Store(tmp_path) as store:
        store.add([row("a")])
    monkeypatch.setattr(schema, "STEPS", (*STEPS, "CREATE TABLE extra (x); CREATE TABLE extra (x)"))
    with pytest.raises(BadInput):
        Store(tmp_path)
    monkeypatch.undo()
    with Store(tmp_path) as store:
        assert store.keys() == {"a"}
        assert not store.db.execute("SELECT 1 FROM sqlite_master WHERE name = 'extra'").fetchall()


def test_a_newer_store_is_refused(tmp_path):
    with Store(tmp_path):
        pass
    db = sqlite3.connect(tmp_path / "night.sqlite")
    db.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    db.close()
    for write in (True, False):
        with pytest.raises(BadInput, match="newer version"):
            Store(tmp_path, write)


def test_checks_stay_as_first_found(tmp_path):
    with Store(tmp_path) as store:
        store.add([row("a")])
        store.add_checks([Check("a", 1e-4, 1e-3, 1e-3, 7, 7)])
        store.add_checks([Check("a", 9.0, 9.0, 9.0, 0, 7)])
        assert store.checks() == {"a": Check("a", 1e-4, 1e-3, 1e-3, 7, 7)}


# --- damage ---


def noted(key):
    draw = np.random.default_rng(zlib.crc32(key.encode()) + 1)
    stack = draw.random((len(ARRAYS), 1, 3)).astype(np.float32).astype(float)
    return replace(row(key), notes=Notes(("hung free",), ((0, 0), (1, 0), (2, 5)), draw.random(3), 900.0, *stack))


def checked(key):
    return Check(key, 1e-4, None, 2e-3, 7, 7, "", 0.01, float("nan"))


ROWS = [noted(f"{i:04d}") for i in range(12)]
CHECKS = [checked(r.key) for r in ROWS[:4]]


def everything(store, keys):
    """All that pages and tables are made from."""
    notes = {k: [getattr(n, a).tolist() for a in ("frequency", *ARRAYS)] for k, n in store.notes(keys)}
    return list(store.rows(keys)), notes, list(store.summaries(keys)), {k: repr(c) for k, c in store.checks().items()}


def sound(found, truth):
    rows, *rest = found
    return len(rows) == len(truth[0]) and all(map(same, rows, truth[0])) and rest == list(truth[1:])


def filled(folder):
    with Store(folder) as store:
        store.add(ROWS)
        store.add_checks(CHECKS)
        return everything(store, [r.key for r in ROWS])


def test_no_flipped_bit_changes_a_figure(tmp_path, capsys):
    """As the sweep does: what is not whole is computed again. Or the damage is told in words that name the file."""
    truth, keys = filled(tmp_path), [r.key for r in ROWS]
    file = tmp_path / "night.sqlite"
    data = file.read_bytes()
    places = np.random.default_rng(2).choice(8 * len(data), 400, replace=False)
    outcome = Counter()
    for place in map(int, places):
        harmed = bytearray(data)
        harmed[place // 8] ^= 1 << place % 8
        for other in tmp_path.iterdir():
            other.unlink()
        file.write_bytes(harmed)
        capsys.readouterr()
        try:
            try:
                with Store(tmp_path, write=False) as reader:
                    rows, notes, summaries, checks = everything(reader, keys)
                    assert all(same(r, ROWS[int(r.key)]) for r in rows)
                    assert notes.items() <= truth[1].items() and checks.items() <= truth[3].items()
                    assert all(s in truth[2] for s in summaries)
            except BadInput as error:
                assert str(file) in str(error)
            with Store(tmp_path) as store:
                have = store.whole(keys, notes=True)
                told = capsys.readouterr().err
                store.add([r for r in ROWS if r.key not in have])
                store.add_checks([c for c in CHECKS if c.key not in store.checks()])
                assert sound(everything(store, keys), truth)
                outcome["computed again" if len(have) < len(keys) or told else "no harm"] += 1
                assert not told or str(file) in told
        except BadInput as error:
            assert str(file) in str(error)
            outcome["told"] += 1
    assert min(outcome["told"], outcome["computed again"]) > 10


@pytest.mark.parametrize(
    ("harm", "gone"),
    [("UPDATE row SET first_hz = first_hz + 1e-9 WHERE key = '0003'", "row 0003"),
     ("UPDATE row SET strain = NULL WHERE key = '0003'", "row 0003"), ("UPDATE sustain SET valid_to = 901 WHERE key = '0003'", "row 0003"),
     ("DELETE FROM sustain WHERE key = '0003'", "row 0003"), ("UPDATE checked SET heat_error = 0 WHERE key = '0003'", "check of row 0003")],
)  # fmt: skip
def test_a_damaged_row_is_named_and_computed_again(tmp_path, capsys, harm, gone):
    truth, keys = filled(tmp_path), [r.key for r in ROWS]
    with Store(tmp_path) as store:
        store.db.execute(harm)
        if "check" not in gone and "DELETE" not in harm:
            with pytest.raises(BadInput, match="row 0003 is damaged"):
                everything(store, keys)
        have = store.whole(keys, notes=True)
        assert capsys.readouterr().err == f"{store.file}: {gone} is damaged; deleted, and computed again\n"
        assert have == set(keys) - ({"0003"} if gone == "row 0003" else set())
        store.add([r for r in ROWS if r.key not in have])
        store.add_checks(CHECKS)
        assert sound(everything(store, keys), truth) and not capsys.readouterr().err


def torn(folder):
    """The file of a store of forty rows with its last pages overwritten."""
    with Store(folder) as store:
        store.add([row(f"{i:04d}", n=200) for i in range(40)])
    file = folder / "night.sqlite"
    data = bytearray(file.read_bytes())
    for page in range(len(data) // 4096 - 20, len(data) // 4096):
        data[4096 * page : 4096 * page + 12] = b"\xff" * 12
    file.write_bytes(data)
    return file


def test_a_damaged_structure_is_told_to_a_reader(tmp_path):
    file = torn(tmp_path)
    with pytest.raises(BadInput, match=f"{file}: is damaged .*Give its sweep once more"):
        Store(tmp_path, write=False)


def test_a_damaged_structure_is_set_aside_and_whole_rows_are_saved(tmp_path, capsys):
    harmed = torn(tmp_path).read_bytes()
    with Store(tmp_path) as store:
        told, keys = capsys.readouterr().err, store.keys()
        assert 5 < len(keys) < 40 and f"night.sqlite.damaged. {len(keys)} rows in it were whole" in told
        assert all(same(r, row(r.key, n=200)) for r in store.rows())
        store.add([row(f"{i:04d}", n=200) for i in range(40)])
        assert len(store.whole([f"{i:04d}" for i in range(40)])) == 40
    assert (tmp_path / "night.sqlite.damaged").read_bytes() == harmed
    with Store(tmp_path) as store:
        assert len(store.keys()) == 40 and not capsys.readouterr().err


def test_damage_found_halfway_is_told_in_words(tmp_path, monkeypatch):
    monkeypatch.setattr(store_module, "structure", lambda db: "")
    file = torn(tmp_path)
    with Store(tmp_path, write=False) as reader, pytest.raises(BadInput, match=f"{file}: is damaged or not a store"):
        list(reader.rows())


def test_a_reader_of_an_older_store_is_told_what_to_do(tmp_path):
    filled(tmp_path)
    db = sqlite3.connect(tmp_path / "night.sqlite")
    db.execute(f"PRAGMA user_version = {SUMS}")
    db.close()
    with pytest.raises(BadInput, match="without checksums"):
        Store(tmp_path, write=False)


def test_rows_of_an_older_store_get_their_checksums(tmp_path):
    truth, keys = filled(tmp_path), [r.key for r in ROWS]
    db = sqlite3.connect(tmp_path / "night.sqlite")
    for table in ("row", "sustain", "checked"):
        db.execute(f"ALTER TABLE {table} DROP COLUMN sum")
    db.execute(f"PRAGMA user_version = {SUMS}")
    db.commit()
    db.close()
    with Store(tmp_path) as store:
        assert store.whole(keys, notes=True) == set(keys) and sound(everything(store, keys), truth)


def test_csv(tmp_path):
    plan = plan_of("width", "absent")
    with Store(tmp_path) as store:
        store.add([row("a"), row("b", heat=False)])
        file = write_csv(store.rows(["b", "a"]), plan, tmp_path / "night.csv")
        kept = {r.key: r for r in store.rows()}
    with file.open() as stream:
        b, a = csv.DictReader(stream)
    assert (b["key"], a["key"], a["width"], a["absent"], a["top: across"]) == ("b", "a", "6.5", "", "0.3")
    assert float(a["hz_2"]) == kept["a"].frequency[1]
    assert float(a["stored_in_rim_3"]) == pytest.approx(float(kept["a"].strain[:2, 2].sum()))  # lining and sides
    assert b["heat_in_rim_1"] == "" and not list(tmp_path.glob("*.part"))


def test_parquet(tmp_path):
    pq = pytest.importorskip("pyarrow.parquet")
    with Store(tmp_path) as store:
        store.add([row(f"{i}") for i in range(7)])
        file = write_parquet(store.rows(), plan_of("width"), tmp_path / "night.parquet", batch=3)
    table = pq.read_table(file).to_pydict()
    assert table["key"] == [f"{i}" for i in range(7)] and table["width"] == [6.5] * 7


def test_parquet_without_pyarrow_is_told(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(BadInput, match="pip install pyarrow"):
        write_parquet([], plan_of(), tmp_path / "night.parquet")


WRITER = """
import sys
sys.path[:0] = [{root!r}, {tests!r}]
from test_store import row
from studies.sweep.store import Store
with Store({folder!r}) as store:
    done = len(store.keys())
    for batch in range(done // 5, 400):
        store.add([row(f"{{5 * batch + i:04d}}") for i in range(5)])
        print(5 * batch + 5, flush=True)
"""


def killed_writer(folder, seconds):
    """Number of rows that a writer acknowledged before it was killed without warning."""
    code = WRITER.format(root=str(ROOT), tests=str(Path(__file__).parent), folder=str(folder))
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    process.stdout.readline()
    time.sleep(seconds)
    process.send_signal(signal.SIGKILL)
    said = process.communicate()[0].split()
    return int(said[-1]) if said else 0


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
@pytest.mark.parametrize("times", [3, pytest.param(10, marks=pytest.mark.slow)])
def test_killed_at_random_moments(tmp_path, times):
    """No acknowledged row is lost, batches are whole, and the store opens at once each time."""
    wait = random.Random(7)
    for _ in range(times):
        acknowledged = killed_writer(tmp_path, wait.uniform(0, 0.15))
        with Store(tmp_path) as store:
            keys = store.keys()
            assert len(keys) >= acknowledged and len(keys) % 5 == 0
            assert keys == {f"{i:04d}" for i in range(len(keys))}
