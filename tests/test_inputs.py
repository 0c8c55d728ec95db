"""What commands are given: which kind of input, and places that can or cannot be written, asked before any work."""

from pathlib import Path

import box_cases as cases
import pytest

from meshes.sheet_errors import SheetError
from studies.common.inputs import BadInput, existing_file, read_case, writable_file, writable_folder


def test_sheet_becomes_mesh_sections_and_body(tmp_path):
    case = read_case(cases.oval_sheet(tmp_path), size=0.09)
    assert case.body.name == "My guitar"
    assert set(case.sections) == {*case.mesh.surfaces, *case.mesh.lines, *case.mesh.interface_springs}


def test_size_reaches_the_mesh(tmp_path):
    sheet = cases.oval_sheet(tmp_path)
    few, many = (len(read_case(sheet, size=h).mesh.triangles) for h in (0.09, 0.03))
    assert many > 2 * few


def test_suffix_in_capitals_is_a_sheet_too(tmp_path):
    sheet = cases.oval_sheet(tmp_path)
    assert read_case(str(sheet.rename(tmp_path / "OVAL.TOML")), size=0.09).body is not None


def test_missing_file_tells_what_lies_there(tmp_path):
    (tmp_path / "mine.toml").write_text("")
    with pytest.raises(BadInput, match=r"none\.toml: no such file; in that folder: mine\.toml"):
        existing_file(tmp_path / "none.toml")
    with pytest.raises(BadInput, match="no such file"):
        existing_file(tmp_path / "nowhere" / "none.toml")


def test_folder_is_no_file(tmp_path):
    with pytest.raises(BadInput, match="folder"):
        existing_file(tmp_path)


@pytest.mark.parametrize(
    ("name", "parts", "size", "words"),
    [("a.toml", "p.toml", None, "only a foreign mesh has a parts sheet"), ("a.msh", None, None, "--parts PARTS.toml"),
     ("a.vtu", "p.toml", 0.02, "--mesh-size-mm"), ("a.stl", None, None, r"build sheet \(.toml\) or a mesh"),
     ("a", None, None, "cannot tell what this is"), ("a.msh", "absent.toml", None, "absent.toml: no such file")],
)  # fmt: skip
def test_what_does_not_go_together(tmp_path, name, parts, size, words):
    for file in ("a.toml", "a.msh", "a.vtu", "a.stl", "a", "p.toml"):
        (tmp_path / file).write_text("")
    with pytest.raises(BadInput, match=words):
        read_case(tmp_path / name, parts and tmp_path / parts, size)


def test_bad_sheet_raises_before_meshing(tmp_path, monkeypatch):
    monkeypatch.setattr("meshes.build.mesh_body", lambda *_: pytest.fail("meshed a bad sheet"))
    sheet = cases.oval_sheet(tmp_path, top={"thickness_mm": 28})
    with pytest.raises(SheetError, match=r"top.thickness_mm = 28.*did you mean 2.8"):
        read_case(sheet)


# --- places to write ---


def test_writable_file_makes_its_folder_and_leaves_no_trace(tmp_path):
    path = writable_file(tmp_path / "new" / "out.json")
    assert isinstance(path, Path) and path.parent.is_dir() and not path.exists()


def test_writable_file_keeps_what_is_there(tmp_path):
    (tmp_path / "out.json").write_text("old")
    assert writable_file(tmp_path / "out.json").read_text() == "old"


def test_writable_folder_is_made_and_left_empty(tmp_path):
    assert list(writable_folder(tmp_path / "a" / "b").iterdir()) == []


def test_places_that_cannot_be_written(tmp_path):
    """Below a plain file nobody can write, root included."""
    (tmp_path / "plain").write_text("x")
    for ask, path in (
        (writable_file, tmp_path / "plain" / "out.json"), (writable_file, tmp_path), (writable_folder, tmp_path / "plain"),
        (writable_folder, tmp_path / "plain" / "sub"), (writable_file, tmp_path / ("n" * 300)),
    ):  # fmt: skip
        with pytest.raises(BadInput, match="expected"):
            ask(path)
    assert (tmp_path / "plain").read_text() == "x"
