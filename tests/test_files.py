"""Files for machines: one schema, the same provenance in each, tables without gaps."""

import csv
import hashlib
import json
import re

import box_cases as cases
import pytest

from studies.common.files import SCHEMA_VERSION, About, provenance, told, write_json, write_rows, write_table
from studies.common.inputs import BadInput, given_sheet

HEAD = ["schema_version", "model", "label", "body", "mesh_error", "model_error"]
FOOT = ["assumed", "warnings", "not_modelled", "provenance"]
MADE = {
    "rimwork", "sheet", "sheet_sha256", "date", "python", "numpy", "scipy", "scikit-fem", "gmsh", "element", "mesh_size_mm",
    "unknowns",
}  # fmt: skip


@pytest.fixture
def given(tmp_path):
    """(body, source, path) of a sheet."""
    path = cases.oval_sheet(tmp_path)
    found = given_sheet(path)
    return found.body, found.source, path


def test_a_sheet_is_read_and_hashed_in_one_go(given, tmp_path):
    body, source, path = given
    assert body.outline.length > 0
    assert source.path == path and source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    with pytest.raises(BadInput, match="no such file"):
        given_sheet(tmp_path / "none.toml")


def test_every_file_begins_and_ends_alike(given):
    """What was found stands between; sizes and unknowns are lists, the finest mesh first."""
    body, source, _ = given
    made = provenance(source, (0.03, 0.045), (200, 100))
    data = told(About(body, "dry", "a label", "twice", ("creep",), made, warnings=("mind this",)), {"found": [1]})
    assert list(data) == [*HEAD, "found", *FOOT]
    assert data["schema_version"] == SCHEMA_VERSION == 2 and data["model_error"] == "not known"
    assert data["warnings"][-1] == "mind this" and data["not_modelled"] == ["creep"]
    assert set(made) == MADE and made["sheet"] == "oval.toml"
    assert made["mesh_size_mm"] == pytest.approx([30, 45]) and made["unknowns"] == [200, 100]


def test_json_holds_no_figure_that_is_no_number(tmp_path):
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json(tmp_path / "a.json", {"a": float("nan")})
    assert json.loads(write_json(tmp_path / "a.json", {"a": "−1 °"}).read_text(encoding="utf-8")) == {"a": "−1 °"}


def test_tables(tmp_path):
    with write_table(tmp_path / "a.csv", [{"a": 1, "b": None}, {"b": "−", "a": 2}]).open(encoding="utf-8") as stream:
        assert list(csv.DictReader(stream)) == [{"a": "1", "b": ""}, {"a": "2", "b": "−"}]
    assert write_rows(tmp_path / "b.csv", [("x", "y"), (1, 2)]).read_text(encoding="utf-8").split() == ["x,y", "1,2"]


def test_the_contract_names_the_schema_and_every_key_of_provenance():
    words = (cases.ROOT / "docs" / "contract.md").read_text(encoding="utf-8")
    assert f"| `schema_version` | {SCHEMA_VERSION}" in words
    assert set(re.findall(r"`([\w-]+)`", words)) >= {*HEAD, *FOOT, *MADE}
