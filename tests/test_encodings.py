"""Every text file names its encoding: pages, tables and captions are UTF-8 wherever they are written."""

import json
import os
import subprocess
import sys
from pathlib import Path

import box_cases as cases

ROOT = cases.ROOT
WRITERS = Path(__file__).with_name("page_writers.py")
SIGNS = "− ± – °"


def in_another_locale(*command):
    """A Python in a child process whose locale's encoding cannot hold what a page is written with."""
    environment = {**os.environ, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "LC_ALL": "C", "OMP_NUM_THREADS": "1"}
    environment.pop("PYTHONIOENCODING", None)
    environment["PYTHONPATH"] = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    return subprocess.run(
        [sys.executable, *map(str, command)], env=environment, cwd=ROOT, capture_output=True, timeout=300
    )


def test_pages_tables_and_files_for_machines_in_another_locale(tmp_path):
    done = in_another_locale(WRITERS, tmp_path)
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    written = sorted(p for p in tmp_path.rglob("*") if p.suffix in (".html", ".csv", ".json", ".txt", ".toml"))
    assert {p.suffix for p in written} == {".html", ".csv", ".json", ".txt", ".toml"}
    for path in written:
        path.read_bytes().decode("utf-8")
    for page in (p for p in written if p.suffix == ".html"):
        text = page.read_text(encoding="utf-8")
        assert 'charset="utf-8"' in text and "–" in text, page
    assert f"a note, {SIGNS}" in (tmp_path / "rest" / "index.html").read_text(encoding="utf-8")
    assert json.loads((tmp_path / "rest" / "rest.json").read_text(encoding="utf-8"))["label"] == f"a label, {SIGNS}"


def test_a_terminal_that_cannot_hold_the_signs_is_told_in_plain_ones():
    """No word of an answer is lost to a terminal of another encoding."""
    code = f"import sys, studies.__main__ as m; m.plain_signs(sys.stdout); print({SIGNS + ' ’ é'!a})"
    done = in_another_locale("-c", code)
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    assert done.stdout.decode("ascii").split() == ["-", "+/-", "-", "deg", "'", "?"]


def test_no_text_file_is_opened_without_its_encoding():
    """Where the linter's own rule sees no types: every open, read_text, write_text of the program."""
    import ast

    for path in (p for folder in ("fem", "meshes", "studies") for p in (ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and (name := name_of(node.func)) in ("open", "read_text", "write_text"):
                assert any(k.arg == "encoding" for k in node.keywords) or not_text(node), (
                    f"{path.relative_to(ROOT)}:{node.lineno}: {name} without an encoding"
                )


def name_of(function):
    return getattr(function, "attr", getattr(function, "id", ""))


def not_text(call):
    """Whether a call of open reads bytes, or opens something else than a file of text (a picture, a mesh)."""
    modes = [
        a.value
        for a in (*call.args, *(k.value for k in call.keywords))
        if getattr(a, "value", "") and isinstance(getattr(a, "value", None), str)
    ]
    if any("b" in mode for mode in modes if set(mode) <= set("rwaxb+t")):
        return True
    return getattr(getattr(call.func, "value", None), "id", "") in ("Image", "gmsh", "wave")
