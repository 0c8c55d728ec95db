"""Kept results: damage is never believed, never silent and never stops a run; nothing is computed twice."""

import errno
import json
import os
import signal
import subprocess
import sys
import time
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from meshes.source_hash import NOT_COMPUTING, ROOT, _text, closure, source_hash
from studies.common import kept as kept_module
from studies.common import locks
from studies.common.kept import Kind, fingerprint, keep, kept, kept_all, kept_folder, limit_bytes, prune, recall
from studies.solved import dry
from studies.solved.outside import OUTSIDE
from studies.sustain.drying import DRYING
from studies.sustain.fretboards import BOARD, FEW_NOTES
from studies.sweep import kit
from studies.sweep.basis import AROUND_BASIS, BASIS

FLIPS = 160
COMPUTED = np.linspace(0.5, 9.0, 60).reshape(12, 5)


@dataclass(frozen=True)
class Result:
    numbers: np.ndarray
    words: tuple


def check(value):
    if not np.isfinite(value.numbers).all():
        raise ArithmeticError("some numbers are not finite")


KIND = Kind(
    "sample", ("meshes.source_hash",), lambda r: {"numbers": r.numbers, "words/all": r.words},
    lambda a: Result(a["numbers"], tuple(map(str, a["words/all"]))), check,
)  # fmt: skip
RESULT = Result(COMPUTED, ("top", "back"))


class Counted:
    """compute() that remembers how often it was asked."""

    def __init__(self, value=RESULT):
        self.value, self.times = value, 0

    def __call__(self):
        self.times += 1
        return self.value


def same(a, b=RESULT):
    return np.array_equal(a.numbers, b.numbers) and a.words == b.words and a.numbers.dtype == b.numbers.dtype


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    """Each test as a process of its own would be."""
    monkeypatch.setattr(kept_module, "_used", set())
    monkeypatch.setattr(locks, "_told", set())
    monkeypatch.delenv("RIMWORK_KEPT", raising=False)
    monkeypatch.delenv("RIMWORK_KEPT_GB", raising=False)


@pytest.fixture
def file(tmp_path):
    kept(tmp_path, KIND, ("a",), Counted())
    (found,) = tmp_path.glob("*.npz")
    return found


def test_computed_once_and_read_again(tmp_path, capsys):
    compute = Counted()
    for _ in range(3):
        assert same(kept(tmp_path, KIND, ("a", 1), compute))
    assert compute.times == 1
    assert same(kept(tmp_path, KIND, ("a", 2), compute)) and compute.times == 2
    assert {p.suffix for p in tmp_path.iterdir()} == {".npz"} and not capsys.readouterr().err


def test_any_program_reads_the_arrays(file):
    with np.load(file) as stored:
        assert np.array_equal(stored["numbers"], COMPUTED)


def test_several_share_their_work(tmp_path):
    kept(tmp_path, KIND, (1,), Counted())
    asked = []

    def compute(indices):
        asked.append(indices)
        return [Result(COMPUTED + i, ("x",)) for i in indices]

    found = kept_all(tmp_path, KIND, [(0,), (1,), (2,), (2,)], compute)
    assert asked == [[0, 2, 3]] and same(found[1]) and found[2].numbers[0, 0] == 2.5
    assert kept_all(tmp_path, KIND, [(0,), (2,)], compute)[0].numbers[0, 0] == 0.5 and len(asked) == 1


# --- damage ---


def damaged(file, data, capsys):
    """Whether what is read of these bytes is right, and, where it had to be computed again, was told and set aside."""
    file.write_bytes(data)
    capsys.readouterr()
    compute = Counted()
    assert same(kept(file.parent, KIND, ("a",), compute))
    told = capsys.readouterr().err
    if compute.times:
        assert told.count("\n") == 1 and str(file) in told and "damaged" in told and "computed again" in told
        assert file.with_suffix(".damaged").read_bytes() == data
    else:
        assert not told
    assert same(recall(file, KIND))
    return compute.times


def test_no_flipped_bit_changes_a_figure(file, capsys):
    whole = file.read_bytes()
    places = np.random.default_rng(1).choice(8 * len(whole), FLIPS, replace=False)
    again = 0
    for place in map(int, places):
        data = bytearray(whole)
        data[place // 8] ^= 1 << place % 8
        again += damaged(file, bytes(data), capsys)
    assert again > FLIPS / 2  # the others hit dates and the like


def test_flipped_bits_of_the_head_that_says_what_the_numbers_are(file, capsys):
    """Half as many numbers, or of half the width, pass the sum that a zip file keeps of what was read."""
    whole = file.read_bytes()
    for word in (b"<f8", b"(12, 5)", b"'fortran_order': False"):
        at = whole.index(word)
        for bit in range(8 * len(word)):
            data = bytearray(whole)
            data[at + bit // 8] ^= 1 << bit % 8
            assert damaged(file, bytes(data), capsys) == 1


@pytest.mark.parametrize("share", [0, 0.01, 0.3, 0.5, 0.9, 0.99, 0.999])
def test_a_file_that_was_cut_off(file, share, capsys):
    whole = file.read_bytes()
    assert damaged(file, whole[: int(share * len(whole))], capsys) == 1


@pytest.mark.parametrize("data", [b"", b"not a result", b"\0" * 5000, b"PK\5\6" + b"\0" * 18])
def test_a_file_that_is_something_else(file, data, capsys):
    assert damaged(file, data, capsys) == 1


def test_a_folder_in_the_place_of_a_file(file, capsys):
    file.unlink()
    file.mkdir()
    assert same(kept(file.parent, KIND, ("a",), Counted()))
    assert "cannot be read" in capsys.readouterr().err


def rewritten(file, **changes):
    with zipfile.ZipFile(file) as whole:
        inside = {name: whole.read(name) for name in whole.namelist()}
    meta = {**json.loads(inside["meta.json"]), **changes}
    with zipfile.ZipFile(file, "w") as whole:
        for name, data in {**inside, "meta.json": json.dumps(meta)}.items():
            whole.writestr(name, data)


@pytest.mark.parametrize("changes", [{"schema": 0}, {"schema": 99}, {"key": "0" * 16}, {"kind": "other"}])
def test_another_schema_or_key_is_not_used(file, changes, capsys):
    rewritten(file, **changes)
    compute = Counted()
    assert same(kept(file.parent, KIND, ("a",), compute)) and compute.times == 1
    assert not capsys.readouterr().err and same(recall(file, KIND))


def test_an_array_too_few(file, capsys):
    with zipfile.ZipFile(file) as whole:
        meta = json.loads(whole.read("meta.json"))
    del meta["sums"]["numbers"]
    rewritten(file, sums=meta["sums"])
    compute = Counted()
    assert same(kept(file.parent, KIND, ("a",), compute)) and compute.times == 1
    assert "damaged" in capsys.readouterr().err


# --- ranges ---


def test_a_result_out_of_range_is_told_and_not_kept(tmp_path):
    with pytest.raises(ArithmeticError, match="not finite"):
        kept(tmp_path, KIND, ("a",), Counted(Result(np.array([1.0, np.nan]), ())))
    assert not list(tmp_path.iterdir())


def test_a_kept_result_out_of_range_is_computed_again(file, capsys):
    keep(file, KIND, Result(np.array([np.inf]), ()))
    compute = Counted()
    assert same(kept(file.parent, KIND, ("a",), compute)) and compute.times == 1
    assert "not finite" in capsys.readouterr().err


def test_objects_are_not_kept(tmp_path):
    with pytest.raises(ValueError, match="allow_pickle"):
        kept(tmp_path, KIND, ("a",), Counted(Result(COMPUTED, (object(),))))


# --- trouble of the disk ---


def refused(number):
    def refuse(*_, **__):
        raise OSError(number, os.strerror(number))

    return refuse


def only_read(number):
    return lambda self, mode="r", *_: open(self, mode) if "r" in mode else refused(number)()


def test_a_full_disk_is_told_once_and_the_run_goes_on(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(os, "fsync", refused(errno.ENOSPC))
    for name in "abc":
        assert same(kept(tmp_path, KIND, (name,), Counted()))
    told = capsys.readouterr().err
    assert told.count("\n") == 1 and str(tmp_path) in told and "No space left" in told and "goes on" in told
    assert not list(tmp_path.iterdir())
    monkeypatch.undo()
    compute = Counted()
    assert all(same(kept(tmp_path, KIND, ("a",), compute)) for _ in range(2)) and compute.times == 1


@pytest.mark.parametrize("number", [errno.EROFS, errno.EACCES, errno.ENOSPC])
def test_a_folder_that_takes_nothing(tmp_path, monkeypatch, capsys, number):
    monkeypatch.setattr(Path, "open", only_read(number))
    assert all(same(kept(tmp_path / "kept", KIND, ("a",), Counted())) for _ in range(2))
    assert capsys.readouterr().err.count("\n") == 1


def test_a_kept_file_in_a_folder_that_takes_nothing_is_read(file, monkeypatch, capsys):
    monkeypatch.setattr(Path, "open", only_read(errno.EROFS))
    monkeypatch.setattr(os, "utime", refused(errno.EROFS))
    compute = Counted()
    assert same(kept(file.parent, KIND, ("a",), compute)) and not compute.times
    assert not capsys.readouterr().err


def test_a_file_in_the_place_of_the_folder(tmp_path, capsys):
    (tmp_path / "kept").write_text("")
    assert same(kept(tmp_path / "kept", KIND, ("a",), Counted()))
    assert capsys.readouterr().err.count("\n") >= 1


def test_a_file_system_without_locks(tmp_path, monkeypatch):
    monkeypatch.setattr(locks, "locked", refused(errno.ENOLCK))
    compute = Counted()
    assert all(same(kept(tmp_path, KIND, ("a",), compute)) for _ in range(2)) and compute.times == 1


# --- other processes ---

CHILD = """
import sys, time, os
from pathlib import Path
sys.path[:0] = [{root!r}, {tests!r}]
import numpy as np
from test_kept import KIND, RESULT, Result, same
from studies.common import kept as module
def compute():
    with open({log!r}, "a") as log:
        log.write("computed\\n")
    time.sleep({seconds})
    return RESULT
{before}
print("ready", flush=True)
assert same(module.kept(Path({folder!r}), KIND, ("a",), compute))
"""


def child(folder, log="log", seconds=0.0, before=""):
    folder.mkdir(exist_ok=True)
    code = CHILD.format(
        root=str(ROOT), tests=str(Path(__file__).parent), folder=str(folder), log=str(folder.parent / log), seconds=seconds,
        before=before,
    )  # fmt: skip
    return subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_two_commands_at_once_compute_once(tmp_path):
    soon = "from studies.common import locks; locks.TOLD_AFTER = 0.0"
    two = [child(tmp_path / "kept", seconds=4.0, before=soon) for _ in range(2)]
    told = [process.communicate()[1] for process in two]
    assert [process.returncode for process in two] == [0, 0]
    assert (tmp_path / "log").read_text() == "computed\n"
    assert sorted("waiting for another run" in text for text in told) == [False, True]
    assert [p.suffix for p in (tmp_path / "kept").iterdir()] == [".npz"]


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
def test_the_lock_dies_with_its_process(tmp_path, capsys):
    process = child(tmp_path / "kept", seconds=60)
    while not (tmp_path / "log").exists():
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    compute = Counted()
    assert same(kept(tmp_path / "kept", KIND, ("a",), compute)) and compute.times == 1
    assert not capsys.readouterr().err


SLOW_DISK = """
import zipfile
write = zipfile.ZipFile.writestr
def slowly(self, name, data):
    write(self, name, data)
    self.fp.flush()
    print("wrote", flush=True)
    time.sleep(60 if name == {stop!r} else 0)
zipfile.ZipFile.writestr = slowly
"""


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
@pytest.mark.parametrize(("stop", "lines"), [("meta.json", 1), ("numbers.npy", 2), ("words/all.npy", 3)])
def test_killed_while_writing(tmp_path, capsys, stop, lines):
    process = child(tmp_path / "kept", before=SLOW_DISK.format(stop=stop))
    for _ in range(1 + lines):
        process.stdout.readline()
    process.send_signal(signal.SIGKILL)
    process.communicate()
    assert {p.suffix for p in (tmp_path / "kept").iterdir()} == {".part", ".lock"}
    compute = Counted()
    assert same(kept(tmp_path / "kept", KIND, ("a",), compute)) and compute.times == 1
    assert {p.suffix for p in (tmp_path / "kept").iterdir()} == {".npz"} and not capsys.readouterr().err


# --- place and size ---


def test_commands_of_one_folder_share_a_place(monkeypatch):
    assert kept_folder(Path("out") / "hazel-rim") == kept_folder(Path("out") / "hazel-sustain") == Path("out") / "kept"
    monkeypatch.setenv("RIMWORK_KEPT", "elsewhere")
    assert kept_folder(Path("out") / "hazel-rim") == Path("elsewhere")


@pytest.mark.parametrize("text", ["much", "-1", "0", "nan"])
def test_a_limit_that_is_none(monkeypatch, text):
    monkeypatch.setenv("RIMWORK_KEPT_GB", text)
    with pytest.raises(ValueError, match=f"RIMWORK_KEPT_GB = {text}: expected"):
        kept_folder("out")


def old(folder, name, age, size=1000):
    folder.mkdir(exist_ok=True)
    (folder / name).write_bytes(b"x" * size)
    then = time.time() - age
    os.utime(folder / name, (then, then))


def names(folder):
    return {p.name for p in folder.iterdir()}


def test_the_least_recently_used_go_first_and_damaged_ones_before(tmp_path):
    for name, age in (
        ("a.npz", 4000), ("b.npz", 3000), ("c.npz", 2000), ("d.damaged", 10), ("e.part", 900), ("f.part", 5),
        ("notes.txt", 9000), ("g.lock", 9000),
    ):  # fmt: skip
        old(tmp_path, name, age)
    left = {"a.npz", "b.npz", "c.npz", "d.damaged", "e.part", "f.part"}
    for limit, gone in (
        (6000, None),
        (5000, "e.part"),
        (4000, "d.damaged"),
        (3000, "a.npz"),
        (2000, "b.npz"),
        (1, "c.npz"),
    ):
        prune(tmp_path, limit)
        left -= {gone}
        assert names(tmp_path) == left | {"notes.txt", "g.lock"}  # f.part may still be written


def test_reading_makes_a_file_recent_and_safe(tmp_path, monkeypatch):
    for name in "abc":
        kept(tmp_path, KIND, (name,), Counted())
    files = {name: tmp_path / f"sample-{KIND.key(name)}.npz" for name in "abc"}
    for age, name in enumerate("cba"):
        os.utime(files[name], (1e9 + age, 1e9 + age))
    prune(tmp_path, 1)
    assert len(names(tmp_path)) == 3  # this process has written them
    monkeypatch.setattr(kept_module, "_used", set())
    kept(tmp_path, KIND, ("c",), Counted())  # the oldest
    monkeypatch.setattr(kept_module, "_used", set())
    prune(tmp_path, 1.5 * files["c"].stat().st_size)
    assert names(tmp_path) == {files["c"].name}


def test_writing_prunes(tmp_path, monkeypatch):
    old(tmp_path, "old.npz", 5000, 3000)
    monkeypatch.setenv("RIMWORK_KEPT_GB", "3e-6")
    assert limit_bytes() == 3000
    kept(tmp_path, KIND, ("a",), Counted())
    assert names(tmp_path) == {f"sample-{KIND.key('a')}.npz"}


# --- the source in the key ---


def written(root, **texts):
    for name, text in texts.items():
        path = root.joinpath(*name.split("__")).with_suffix(".py")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


@pytest.fixture
def tree(tmp_path):
    written(
        tmp_path,
        studies__rows="from fem import (\n    eigen,\n)\nimport meshes.build as b\nfrom studies.common.kept import kept\n",
        studies__words="from studies.rows import solve\n",
        studies__common__kept="import studies.words\n",
        fem__eigen="def f():\n    from fem.lazy import g\n    return g\n",
        fem__lazy="import numpy\n",
        fem__other="x = 1\n",
        meshes__build="import fem.eigen, meshes.other\n",
        meshes__other="from meshes.build import x\n",
    )
    return tmp_path


def test_all_that_is_imported_counts_and_nothing_else(tree):
    assert closure("studies.rows", root=tree) == [
        "fem.eigen", "fem.lazy", "meshes.build", "meshes.other", "studies.rows",
    ]  # fmt: skip
    with pytest.raises(ValueError, match=r"studies\.none: no source file"):
        closure("studies.none", root=tree)


@pytest.mark.parametrize(
    ("module", "counts"),
    [("studies__rows", True), ("fem__lazy", True), ("meshes__other", True), ("fem__other", False), ("studies__words", False),
     ("studies__common__kept", False)],
)  # fmt: skip
def test_changed_source_gives_another_key(tree, module, counts):
    def now():
        _text.cache_clear()
        source_hash.__globals__["_hash"].cache_clear()
        return source_hash("studies.rows", root=tree)

    before = now()
    assert now() == before
    written(tree, **{module: "x = 2\n"})
    assert (now() != before) == counts


def test_the_key_holds_the_source(monkeypatch):
    before = KIND.key("a")
    monkeypatch.setattr(kept_module, "source_hash", lambda *modules: "another")
    assert KIND.key("a") != before


def test_modules_left_out_exist():
    assert all(ROOT.joinpath(*name.split(".")).with_suffix(".py").is_file() for name in NOT_COMPUTING)


SOURCES = {  # of every sort of kept result, and a module deep down whose code its figures depend on
    "dry": (dry.SOURCE, "meshes.kerf_cell"), "outside": (OUTSIDE.source, "fem.radiation"), "fretboard": (BOARD.source, "fem.coupled_string"),
    "few": (FEW_NOTES.source, "fem.strings"), "drying": (DRYING.source, "fem.moisture"), "basis": (BASIS.source, "fem.eigen"),
    "sound": (AROUND_BASIS.source, "fem.radiation"), "row of a sweep": (kit.SOURCE, "fem.reduce"),
    "kerf cell": (("meshes.kerf_cell",), "fem.solid"), "joint": (("meshes.joint_section",), "meshes.joint_solid"),
}  # fmt: skip
TELLING = {
    "words",
    "page",
    "pictures",
    "question",
    "charts",
    "dry_page",
    "air_page",
    "drawing",
    "describe",
    "table",
    "files",
}


@pytest.mark.parametrize("name", SOURCES)
def test_words_and_pages_do_not_name_kept_results(name):
    source, deep = SOURCES[name]
    names = closure(*source)
    assert deep in names
    assert not [n for n in names if n.split(".")[-1] in TELLING or n.startswith("studies.drawing")]


# --- fingerprints ---


def test_fingerprints_tell_apart_what_an_empty_table_moves():
    assert fingerprint({}, {"a": 1}) != fingerprint({"a": 1}, {})
    assert fingerprint(b"a") != fingerprint("a")
    with pytest.raises(TypeError):
        fingerprint(np.array([object()]))
