"""Files are whole or not there: a disk that fills up costs the new file, never the old one, and is told with its name."""

import ast
import errno
import os
import resource

import box_cases as cases
import numpy as np
import pytest

from meshes.drawing import draw_plan
from meshes.side_profile import write_profile_table
from meshes.whole_file import whole_file, write_whole
from studies.common.files import write_json, write_rows
from studies.modes.question import find_modes
from studies.notes.sound import write_wavs


@pytest.fixture
def full():
    """Files take no more than 500 bytes, as on a disk that is full: the system's own refusal, in the middle of a write."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fill(bytes=500):
        resource.setrlimit(resource.RLIMIT_FSIZE, (bytes, limits[1]))

    yield fill
    resource.setrlimit(resource.RLIMIT_FSIZE, limits)


WRITERS = {
    "a.json": lambda path: write_json(path, {"a": list(range(2000))}),
    "a.csv": lambda path: write_rows(path, [["x", "y"]] * 2000),
    "a.txt": lambda path: write_whole(path, "x" * 9000),
    "a.svg": lambda path: draw_plan(cases.guitar(), path),
    "a.png": lambda path: draw_plan(cases.guitar(), path),
    "side.csv": lambda path: write_profile_table(cases.guitar(), path),
    "a.wav": lambda path: write_wavs(path.parent, {"a": np.sin(np.arange(9000))}),
}


@pytest.mark.parametrize("name", WRITERS)
def test_a_full_disk_leaves_the_old_file_and_names_it(tmp_path, full, name):
    path = tmp_path / name
    path.write_text("old")
    full()
    with pytest.raises(OSError) as told:
        WRITERS[name](path)
    assert told.value.filename == str(path) and told.value.errno == errno.EFBIG
    assert path.read_text() == "old" and os.listdir(tmp_path) == [name]
    full(10_000_000)
    WRITERS[name](path)
    assert path.read_bytes() != b"old" and not [p for p in os.listdir(tmp_path) if p.endswith(".part")]


def test_exported_matrices_on_a_full_disk(tmp_path, full):
    """mmwrite itself returns as if all were well."""
    full(20_000)
    with pytest.raises(OSError) as told:
        find_modes(cases.oval_sheet(tmp_path), count=2, mesh_size_mm=60, export=tmp_path / "out")
    assert str(told.value.filename).startswith(str(tmp_path / "out")) and told.value.errno == errno.EFBIG
    assert not [p for p in os.listdir(tmp_path / "out") if p.endswith(".part")]


def test_a_fault_of_whoever_writes_leaves_the_old_file(tmp_path):
    path = tmp_path / "a"
    path.write_text("old")
    with pytest.raises(KeyboardInterrupt), whole_file(path) as stream:
        stream.write(b"half")
        raise KeyboardInterrupt
    assert path.read_text() == "old" and os.listdir(tmp_path) == ["a"]


def test_links_devices_and_rights_are_as_before(tmp_path):
    (tmp_path / "real").mkdir()
    target, link = tmp_path / "real" / "a", tmp_path / "link"
    target.write_text("old")
    link.symlink_to(target)
    write_whole(link, "new")
    assert link.is_symlink() and target.read_text() == "new"
    write_whole(tmp_path / os.devnull, "gone")
    assert not os.path.isfile(os.devnull)
    (tmp_path / "plain").write_text("")
    assert os.stat(target).st_mode == os.stat(tmp_path / "plain").st_mode


def test_a_message_has_a_subject(tmp_path, monkeypatch, capsys):
    from studies import __main__ as command

    def fails(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(command, "app", fails)
    with pytest.raises(SystemExit):
        command.main(["check", "a.toml"])
    assert "rimwork: a file could not be read or written: No space left on device" in capsys.readouterr().err
    monkeypatch.setattr("os.fsync", fails)
    with pytest.raises(OSError, match=r"No space left on device: '.*a.json'"):
        write_json(tmp_path / "a.json", {})


ASIDE = {  # what writes without a name of its own, or appends
    "meshes/whole_file.py", "studies/sweep/log.py", "studies/common/locks.py", "studies/common/inputs.py",
    "studies/common/paper.py", "studies/__main__.py",
}  # fmt: skip


def test_every_writer_goes_through_the_one_function():
    """write_text, write_bytes, open for writing, and a file's name given to who writes by name."""
    for path in [*cases.ROOT.glob("meshes/*.py"), *cases.ROOT.glob("studies/**/*.py")]:
        name = path.relative_to(cases.ROOT).as_posix()
        if name in ASIDE:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                called = getattr(node.func, "attr", getattr(node.func, "id", ""))
                assert called not in ("write_text", "write_bytes"), name
                modes = [
                    a.value for a in [*node.args, *(k.value for k in node.keywords)] if isinstance(a, ast.Constant)
                ]
                assert called != "open" or not {"w", "wb", "a", "ab", "x", "xb"} & set(map(str, modes)), name


def test_cells_hold_no_formulas(tmp_path):
    words = ["=1+1", "+a", "@sum", "-x", "\t=1", "-3,5", "-2.5", "plain", -1.5, None]
    text = write_rows(tmp_path / "a.csv", [words]).read_text(encoding="utf-8")
    assert text.strip() == "'=1+1,'+a,'@sum,'-x,'\t=1,\"-3,5\",-2.5,plain,-1.5,"
