"""The command line: exit status, one line on standard error, never a traceback.

What works, what stops and what the environment decides runs in a process of its own; most refusals are asked of the same
`main` in this process, which spares each the import of the libraries.
"""

import contextlib
import io
import json
import os
import re
import signal
import subprocess
import sys
import tomllib
import traceback

import box_cases as cases
import pytest

from meshes.new_sheet import new_sheet_text
from studies.__main__ import main as command_line

HAZEL = str(cases.BODIES / "hazel.toml")


def environment():
    """Of a command: this process's at the time, so with the tests' own cache of cells."""
    own = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "COLUMNS": "200", "PYTHONPATH": str(cases.ROOT)}
    return {key: value for key, value in os.environ.items() if key != "RIMWORK_DEBUG"} | own


def rimwork(*arguments, cwd=cases.ROOT):
    """The real command, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "studies", *map(str, arguments)], cwd=cwd, env=environment(),
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip


def here(*arguments):
    """The same of `main` in this process: status and both streams, an escaped exception as a traceback."""
    out, err, status = io.StringIO(), io.StringIO(), 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), contextlib.chdir(cases.ROOT):
        try:
            command_line(list(map(str, arguments)))
        except SystemExit as stop:
            status = stop.code
        except BaseException:
            status = 1
            traceback.print_exc()
    return subprocess.CompletedProcess(arguments, status, out.getvalue(), err.getvalue())


def refused(*arguments, how=here):
    """The one line of an input that is refused."""
    done = how(*arguments)
    assert done.returncode == 2, done.stderr
    assert done.stdout == "" and "Traceback" not in done.stderr
    lines = done.stderr.splitlines()
    assert len(lines) == 1 and lines[0].startswith("rimwork: "), done.stderr
    return lines[0]


# --- sheets ---

SHEETS = {
    "empty": ("", "is empty"),
    "not TOML": ("[top]\nthickness_mm = 2,8\n", "decimal point"),
    "negative": ({"top": {"thickness_mm": -2.8}}, "did you mean 2.8"),
    "NaN": ({"top": {"thickness_mm": float("nan")}}, "top.thickness_mm"),
    "infinite": ({"heights": {"tail_mm": float("inf")}}, "heights.tail_mm"),
    "slipped point": ({"top": {"thickness_mm": 28}}, "did you mean 2.8"),
    "unknown wood": ({"top": {"wood": "sitca_spruce"}}, "sitka_spruce"),
    "unknown key": ({"top": {"thicknes_mm": 3}}, "thickness_mm"),
    "brace outside": ({"brace": [{"name": "bar", "plate": "top", "from_mm": [400, -330], "to_mm": [400, 130],
                                  "width_mm": 8, "height_mm": 14}]}, "inside the outline"),
    "wide hole": ({"soundhole": {"diameter_mm": 199}, "body": {"waist_width_mm": 150}}, "waist"),
    "crossing": ({"body": {"full_outline_csv": "eight.csv"}}, "crosses itself"),
    "no outline file": ({"body": {"full_outline_csv": "nought.csv"}}, "nought.csv"),
}  # fmt: skip


def toml_text(value):
    """TOML of nested tables of numbers, words and lists of inline tables."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml_text(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_text, value)) + "]"
    return repr(value) if isinstance(value, float) else json.dumps(value)


def written(folder, change):
    """Path of the minimal sheet with a change, or of the text itself."""
    path = folder / "guitar.toml"
    if isinstance(change, str):
        path.write_text(change)
        return path
    raw = cases.merged(tomllib.loads(new_sheet_text()), change)
    if "full_outline_csv" in raw["body"]:
        raw["body"] = {"full_outline_csv": raw["body"]["full_outline_csv"]}
    path.write_text("\n".join(f"{key} = {toml_text(value)}" for key, value in raw.items()) + "\n")
    eight = [(10, 0), (60, -90), (120, -120), (180, -90), (240, 0), (300, 90), (360, 120), (420, 90), (450, 0),
             (420, -90), (360, -120), (300, -90), (230, 10), (180, 90), (120, 120), (60, 90)]  # fmt: skip
    (folder / "eight.csv").write_text("x_mm,y_mm\n" + "\n".join(f"{x},{y}" for x, y in eight) + "\n")
    return path


@pytest.mark.parametrize("case", SHEETS)
def test_bad_sheet(tmp_path, case):
    change, words = SHEETS[case]
    how = rimwork if case == "negative" else here
    line = refused("modes", written(tmp_path, change), "--mesh-size-mm", 60, how=how)
    assert words in line
    assert "guitar.toml" in line or ".csv" in line


def test_all_mistakes_of_a_sheet_at_once(tmp_path):
    """One line each for `check` and `rim`, all of them in one line for `modes`."""
    sheet = written(tmp_path, {"top": {"thickness_mm": 28}, "back": {"wood": "rosewod"}})
    for command in ("check", "rim"):
        done = here(command, sheet, "--out", tmp_path / "out")
        assert done.returncode == 2 and "Traceback" not in done.stderr
        assert len(done.stderr.splitlines()) == 2
        assert "top.thickness_mm" in done.stderr and "back.wood" in done.stderr
        assert not (tmp_path / "out").exists()
    line = refused("modes", sheet)
    assert "top.thickness_mm" in line and "back.wood" in line


# --- commands, options, places ---


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("modse", HAZEL), "modes"),
        (("modes",), "INPUT"),
        (("modes", HAZEL, "--jsn", "x"), "--json"),
        (("modes", HAZEL, "--count", "many"), "--count"),
        (("modes", HAZEL, "--count", "0"), "--count 0"),
        (("modes", HAZEL, "--count", "100000", "--mesh-size-mm", "60"), "--count 100000"),
        (("modes", HAZEL, "--mesh-size-mm", "nan"), "--mesh-size-mm"),
        (("modes", HAZEL, "--mesh-size-mm", "60", "--fix", "topp"), "did you mean 'top'"),
        (("modes", "nowhere.toml"), "no such file"),
        (("modes", "README.md"), "expected a build sheet"),
        (("modes", HAZEL, "--parts", HAZEL), "parts sheet"),
        (("rim", HAZEL, "--count", "0"), "--count 0"),
        (("rim", HAZEL, "--mesh-size-mm", "1"), "5 and 60 mm"),
        (("new", "sheet.txt"), ".toml"),
        (("new", HAZEL), "exists already"),
    ],
)
def test_bad_command(arguments, words):
    assert words in refused(*arguments)


def test_places_that_cannot_be_written(tmp_path):
    """Below a plain file, and a folder where a file belongs: refused before any work."""
    (tmp_path / "plain").write_text("x")
    assert "cannot be written" in refused("modes", HAZEL, "--json", tmp_path / "plain" / "out.json")
    assert "is a folder" in refused("modes", HAZEL, "--json", tmp_path)
    assert "cannot be written" in refused("modes", HAZEL, "--export", tmp_path / "plain")
    assert "cannot be written" in refused("rim", HAZEL, "--out", tmp_path / "plain" / "out")
    assert "cannot be written" in refused("new", tmp_path / "plain" / "sheet.toml")
    assert (tmp_path / "plain").read_text() == "x"


def test_mesh_without_named_groups(tmp_path):
    meshio = pytest.importorskip("meshio")
    mesh = meshio.Mesh([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0.0]], [("triangle", [[0, 1, 2], [0, 2, 3]])])
    meshio.write(tmp_path / "bare.vtu", mesh)
    (tmp_path / "parts.toml").write_text(
        "[material.m]\nE_GPa = 70\nnu = 0.3\ndensity_kg_m3 = 2700\n"
        '[part.plate]\nmaterial = "m"\nthickness_mm = 2\ngrain = [1, 0, 0]\n'
    )
    line = refused("modes", tmp_path / "bare.vtu", "--parts", tmp_path / "parts.toml")
    assert "bare.vtu" in line and "group" in line
    assert "--parts" in refused("modes", tmp_path / "bare.vtu")
    (tmp_path / "noise.msh").write_bytes(bytes(range(256)))
    noise = ("modes", tmp_path / "noise.msh", "--parts", tmp_path / "parts.toml")
    assert "noise.msh" in refused(*noise, how=rimwork)  # the reader of meshes prints past Python's streams


# --- what works ---


def test_modes_of_a_sheet(tmp_path):
    sheet = cases.oval_sheet(tmp_path, **{f"lining_{plate}": {"kind": "none"} for plate in ("top", "back")})
    done = rimwork(
        "modes",
        sheet,
        "--count",
        3,
        "--mesh-size-mm",
        60,
        "--fix",
        "rim_back",
        "neck_block",
        "--json",
        tmp_path / "out.json",
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    found = json.loads((tmp_path / "out.json").read_text())
    assert len(found["frequency_hz"]) == 3 and found["rigid_frequency_hz"] == []
    assert f"{found['frequency_hz'][0]:.1f} Hz" in done.stdout
    assert "Info" not in done.stdout + done.stderr  # the mesher prints past Python's streams
    assert "Without air, radiation and strings" in done.stdout


def test_new_sheet_passes_check(tmp_path):
    done = rimwork("new", tmp_path / "mine.toml")
    assert done.returncode == 0 and (tmp_path / "mine.toml").is_file()
    tomllib.loads((tmp_path / "mine.toml").read_text())
    done = here("check", tmp_path / "mine.toml", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "total" in done.stdout and "assumed" in done.stdout and "takes" not in done.stdout
    assert any((tmp_path / "out").iterdir())
    assert "exists already" in refused("new", tmp_path / "mine.toml")


def test_a_sheet_to_start_from(tmp_path):
    done = here("new", tmp_path / "mine.toml", "--like", "Small-Steel")
    assert done.returncode == 0 and "change it to your measures" in done.stdout
    assert (tmp_path / "mine.toml").read_text() == (cases.BODIES.parent / "starts" / "small_steel.toml").read_text()
    told = refused("new", tmp_path / "other.toml", "--like", "small_steal")
    assert "did you mean 'small_steel'?" in told and "nylon_fan" in told
    assert not (tmp_path / "other.toml").exists()
    assert all(name in rimwork("new", "--help").stdout.replace("\n", "") for name in ("small_steel", "nylon_fan"))


def test_a_board_in_inches_and_commas(tmp_path):
    """560 x 210 x 3.175 mm in three ways of writing; a fraction without a unit is refused."""
    rest = "--mass-g", "160,5", "--along-hz", "46", "--across-hz", "92", "--twist-hz", "39", "--out", tmp_path
    metric = here("plate", "--length-mm", "560", "--width-mm", "210,0", "--thickness-mm", "3,175", *rest)
    inches = here("plate", "--length", "560 mm", "--width", "8.2677165354 in", "--thickness", "1/8 in", *rest)
    assert metric.returncode == inches.returncode == 0, metric.stderr + inches.stderr
    assert metric.stdout.replace("210 x", "") == inches.stdout.replace("210 x", "")
    assert "Plate 560 x 210 x 3.175 mm, 160.5 g" in metric.stdout
    told = refused("plate", "--length", "560", "--width", "210", "--thickness", "1/8", *rest)
    assert "--thickness" in told and "'1/8'" in told and "'3/32 in'" in told
    assert "'12,5,3'" in refused("load", HAZEL, "--mesh-size-mm", "12,5,3", how=rimwork)


def test_schema_is_json():
    done = here("schema")
    assert done.returncode == 0 and "body" in json.loads(done.stdout)["properties"]


def test_help_names_every_command():
    done = rimwork("--help")
    assert done.returncode == 0
    for command in ("rim", "sustain", "page", "modes", "check", "new", "schema", "system-check"):
        assert command in done.stdout


@pytest.mark.parametrize(
    "command",
    ["rim", "squeeze", "load", "weather", "sustain", "listen", "modes", "pictures", "page", "note", "compare", "moves"],
)
def test_help_tells_every_option(command, capsys, monkeypatch):
    """Each with its text; the mesh size with the limits that hold everywhere."""
    monkeypatch.setenv("COLUMNS", "200")
    with pytest.raises(SystemExit) as stop:
        command_line([command, "--help"])
    assert not stop.value.code
    rows = [line.strip("│ ").strip() for line in capsys.readouterr().out.splitlines() if line.startswith("│ --")]
    assert {row.split()[0] for row in rows} >= {"--mesh-size-mm"}
    assert all(len(re.split(r"\s{2,}", row)) > 1 for row in rows), rows
    assert any(row.endswith("Edge length of the mesh of a build sheet, 5 to 60 mm.") for row in rows)


def test_heavy_libraries_stay_out_of_help():
    code = "import sys, studies.__main__; print([m for m in ('numpy', 'scipy', 'gmsh', 'skfem', 'pyvista') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=cases.ROOT, capture_output=True, text=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break otherwise there")
def test_a_reader_that_has_gone_is_no_fault():
    """As with `rimwork schema | head -0`: not a word."""
    process = subprocess.Popen(
        [sys.executable, "-m", "studies", "schema"], cwd=cases.ROOT, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )  # fmt: skip
    process.stdout.close()
    assert process.stderr.read() == b"" and process.wait() == 141
    process.stderr.close()


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT for child processes")
def test_ctrl_c_ends_with_130_and_a_word(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-m", "studies", "rim", HAZEL, "--out", tmp_path], cwd=cases.ROOT, env=environment(),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # ignored where the tests run in the background
    )  # fmt: skip
    for line in process.stderr:  # the first word of progress: the command is at work
        if "%" in line:
            break
    for _ in range(12):  # a person presses again where the first one fell into a corner that swallows it
        process.send_signal(signal.SIGINT)
        try:
            _, err = process.communicate(timeout=10)
            break
        except subprocess.TimeoutExpired:
            continue
    process.kill()
    assert process.returncode == 130
    assert "Traceback" not in err
    assert "stopped" in err


def test_fault_of_the_program_is_told_as_such():
    """A bug inside is no bad input: exit 1 and a line that says so."""
    code = (
        "import studies.__main__ as m, studies.modes.question as s\n"
        "def broken(*a, **k): raise KeyError('boom')\n"
        "s.find_modes = broken\n"
        "m.main(['modes', 'x.toml'])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=cases.ROOT, env=environment(), capture_output=True, text=True
    )
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert "fault of the program" in done.stderr and "boom" in done.stderr
