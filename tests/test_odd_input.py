"""Names, files and options as no maker writes them: told in one line, drawn as text, never a fault of the program."""

import ast
import tomllib

import box_cases as cases
import pytest
from foreign_cases import STEEL, grid, marked_file, parts_file
from matplotlib.figure import Figure as PlainFigure

from meshes.drawing import draw_plan
from meshes.figures import Figure
from meshes.foreign import read_foreign
from meshes.new_sheet import new_sheet_text
from meshes.plain_text import LONGEST, is_plain, printable
from meshes.sheet import read_sheet
from meshes.sheet_errors import SheetError
from meshes.toml_text import DEEPEST, parsed
from studies.__main__ import main
from studies.sweep.plan import read_plan

HAZEL = (cases.BODIES / "hazel.toml").read_text(encoding="utf-8")
ESCAPE = "\x1b]0;taken\x07"


def refusal(capsys, *arguments):
    """What a command that ends with status 2 says on standard error."""
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    told = capsys.readouterr().err
    assert ended.value.code == 2, told
    return told


# --- names ---


def test_a_dollar_in_a_name_is_drawn_as_a_dollar(tmp_path):
    path = tmp_path / "sheet.toml"
    path.write_text(HAZEL.replace('name = "Hazel"', r"name = '5 $\frac$ <b> & co'"), encoding="utf-8")
    plan, _ = draw_plan(read_sheet(path), tmp_path / "plan.svg", tmp_path / "plan.png")
    assert r"5 $\frac$ &lt;b&gt; &amp; co: top" in plan.read_text(encoding="utf-8")


def test_every_drawing_begins_with_the_figure_that_knows_no_formulas():
    assert Figure is PlainFigure and not Figure().text(0, 0, "$a$").get_parse_math()
    for path in [*cases.ROOT.glob("meshes/*.py"), *cases.ROOT.glob("studies/**/*.py")]:
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        foreign = any(isinstance(n, ast.ImportFrom) and n.module == "matplotlib.figure" for n in nodes)
        made = any(isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id == "Figure" for n in nodes)
        assert not (foreign and made) and not any(
            isinstance(n, ast.alias) and n.name == "matplotlib.pyplot" for n in nodes
        ), path


@pytest.mark.parametrize("name", [ESCAPE, "a\nb", "a\u202eb", "a\u2028b", "x" * (LONGEST + 1), "a\x00"])
@pytest.mark.parametrize("place", ['name = "{}"', '[[brace]]\nname = "{}"', '[wood."{}"]\ndensity_kg_m3 = 400'])
def test_names_that_steer_terminals_or_pages_are_refused(capsys, tmp_path, name, place):
    path = tmp_path / "sheet.toml"
    written = "".join(f"\\u{ord(c):04x}" if c < " " or c > "~" else c for c in name)
    own = place.format(written)
    base = new_sheet_text()
    text = base + "\n" + own if own.startswith("[") else base.replace('name = "My guitar"', own)
    path.write_text(text, encoding="utf-8")
    told = refusal(capsys, "check", path, "--out", tmp_path / "out")
    assert "none of them a control sign" in told and len(told) < 2000
    assert all(is_plain(line) for line in told.splitlines() if len(line) <= LONGEST) and "\x1b" not in told


def test_names_of_all_scripts_stay():
    for name in ("Müllers Gitarre No. 3 “Süß”", "ギター", "גיטרה", "a$b%c{d}", "<script>", "=1+1"):
        assert is_plain(name) and printable(name) == name
    assert printable("a\x1b\u202e\tb\n") == "a\\x1b\\u202e\tb\n"


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (["plate/left", "plate/right"], ["'plate/left'", "'plate/right'", "would be one part, 'plate'"]),
        (["plate/left", "plate"], ["would be one part, 'plate'"]),
        (["plate" + ESCAPE], [r"group 'plate\x1b]0;taken\x07'", "none of them a control sign"]),
    ],
)
def test_groups_that_would_fall_together_or_steer_are_refused(tmp_path, monkeypatch, names, words):
    from meshes import foreign

    points, quads = grid(4, 3, 0.4, 0.3)
    pieces = [("plate", "quad", quads[:6]), ("other", "quad", quads[6:])][: len(names)]
    read = foreign.read_mesh_file(
        marked_file(tmp_path / "plate.vtu", points, pieces if names[1:] else [("plate", "quad", quads)])
    )
    faces = dict(zip(names, read.faces.values(), strict=True))
    monkeypatch.setattr(
        foreign, "read_mesh_file", lambda _: foreign.MeshFile(read.points, read.triangles, faces, {}, "")
    )
    tables = STEEL.split("[part.plate]")[0] + "".join(
        f'[part."{name.replace(chr(27), chr(92) + "u001b").replace(chr(7), chr(92) + "u0007")}"]\nmaterial = "steel"\nthickness_mm = 50\n'
        for name in names
    )
    with pytest.raises(SheetError) as told:
        read_foreign(tmp_path / "plate.vtu", parts_file(tmp_path / "parts.toml", tables))
    assert all(word in str(told.value) for word in words), str(told.value)


def test_a_file_that_is_named_with_escape_bytes_is_told_of_without_them(capsys, tmp_path):
    assert "\\x1b]0;taken" in refusal(capsys, "check", tmp_path / f"{ESCAPE}.toml")


# --- sheets, plans, parts sheets ---


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 100_000, "a" + ".a" * 3000 + " = 1", "[x" + ".y" * 40 + "]", "a = " + "9" * 5000]
)
@pytest.mark.parametrize("command", ["check", "sweep", "modes"])
def test_toml_nested_too_deep_is_a_mistake_of_the_file(capsys, tmp_path, text, command):
    path = tmp_path / "deep.toml"
    path.write_text(text + "\n", encoding="utf-8")
    (tmp_path / "a.vtu").write_text("", encoding="utf-8")
    arguments = [tmp_path / "a.vtu", "--parts", path] if command == "modes" else [path]
    told = refusal(capsys, command, *arguments)
    assert told.startswith("rimwork: deep.toml") and len(told) < 2000


def test_toml_as_deep_as_a_sheet_needs_is_read():
    deep = "a" + ".a" * (DEEPEST - 1) + " = 1"
    assert parsed(deep) == tomllib.loads(deep) and parsed("a = [[[1, 2]]]") == {"a": [[[1, 2]]]}
    with pytest.raises(tomllib.TOMLDecodeError, match="nested"):
        parsed("a." + deep)


@pytest.mark.parametrize(
    ("sheet", "key"),
    [
        ("brace = 1", "brace.upper bar.width_mm"),
        ("brace = [1, 'a']", "brace.upper bar.width_mm"),
        ("side_port = 2", "side_port.1.diameter_mm"),
        ("side_port = 2", "top.thickness_mm"),
        ("wood = 3", "wood.own.density_kg_m3"),
        ("top = 1", "top.thickness_mm"),
        ("lining_top = 'a'", "lining_top.height_mm"),
    ],
)
def test_a_plan_that_leads_into_a_table_which_is_none(capsys, tmp_path, sheet, key):
    (tmp_path / "sheet.toml").write_text(sheet + "\n" + new_sheet_text(), encoding="utf-8")
    plan = tmp_path / "plan.toml"
    plan.write_text(
        f'sheet = "sheet.toml"\n[[factor]]\nname = "a"\nkeys = ["{key}"]\nfrom = 1.5\nto = 2\n', encoding="utf-8"
    )
    told = refusal(capsys, "sweep", plan, "--out", tmp_path / "out")
    assert "plan.toml: factor 1 (a)" in told or f"sheet.toml: {sheet.split()[0]}" in told


def test_a_plan_whose_names_steer_is_refused(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'name = "a\\u001bb"\n[[factor]]\nname = "a"\nkeys = ["top.thickness_mm"]\nfrom = 2\nto = 3\n', encoding="utf-8"
    )
    with pytest.raises(SheetError, match="none of them a control sign"):
        read_plan(plan)
