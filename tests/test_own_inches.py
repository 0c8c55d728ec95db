"""A sheet in inches is answered in inches: on the terminal and in pages; JSON and CSV stay in mm."""

import re

import box_cases as cases
import pytest
from test_sheet import bar, built

from meshes.lengths import in_inches
from studies.__main__ import app
from studies.common.first_screen import FirstScreen
from studies.common.inputs import NO_SOURCE, printer, source_of
from studies.common.page import rendered
from studies.common.summary import grams_table


@pytest.mark.parametrize(
    "millimetres, inches",
    [
        ("2.8 mm", "0.110 in"),
        ("heights 3.0, 5.5 to 12.0 mm", "heights 0.118, 0.217 to 0.472 in"),
        ("(1.2 + 1.2 mm)", "(0.047 + 0.047 in)"),
        ("−0.25 mm ± 0.02 mm", "−0.0098 in ± 0.0008 in"),
        ("560 x 210 x 3.2 mm, 160 g", "22.05 x 8.27 x 0.126 in, 160 g"),
        ("a 40 N/mm, b 3 mm/s, c 5 mm², d_mm = 4", "a 40 N/mm, b 3 mm/s, c 5 mm², d_mm = 4"),
        ("rim length   1400.0 mm", "rim length   55.118 in"),  # a column keeps its right edge
        ("gap      0.25 mm", "gap    0.0098 in"),
        ("fret 12 mm 25.4", "fret 0.47 in 25.4"),
    ],
)
def test_lengths_turn_and_nothing_else(millimetres, inches):
    """One inch is 25.4 mm, exactly (international yard and pound agreement, 1959)."""
    assert in_inches(millimetres) == inches


def in_inch_keys(sheet):
    """A copy of a sheet with every length that stands alone in a key of its own turned into inches."""
    turned = lambda found: f"{found[1]}_in = {float(found[2]) / 25.4:.5f}"
    copy = sheet.with_name("inches.toml")
    copy.write_text(
        re.sub(r"^(\s*\w+)_mm = ([\d.]+)", turned, sheet.read_text(encoding="utf-8"), flags=re.M), encoding="utf-8"
    )
    return copy


def test_check_answers_in_the_units_of_the_sheet(tmp_path, capsys):
    sheet = cases.oval_sheet(tmp_path)
    copy, told = in_inch_keys(sheet), {}
    for path in (sheet, copy):
        app(["check", str(path), "--out", str(tmp_path / path.stem)], result_action="return_value")
        told[path] = capsys.readouterr().out
    assert not source_of(sheet).inches and source_of(copy).inches
    length = r"rim length +([\d.]+) (mm|in)"
    (mm, unit), (inch, other) = (re.search(length, text).groups() for text in told.values())
    assert (unit, other) == ("mm", "in") and float(inch) == pytest.approx(float(mm) / 25.4, rel=1e-3)
    assert not re.search(r"\d mm\b", told[copy])


def test_pages_answer_in_the_units_of_the_sheet(tmp_path):
    copy = in_inch_keys(cases.oval_sheet(tmp_path))
    first = FirstScreen("Press by 2.0 mm.", (), "", "", "")
    filling = {"title": "A rim", "told": first, "grams": grams_table(first), "origin": "a test"}
    html = [
        rendered("common/summary.html.j2", {**filling, "source": source}) for source in (source_of(copy), NO_SOURCE)
    ]
    assert "Press by 0.079 in" in html[0] and "Press by 2.0 mm" in html[1]


def test_without_a_sheet_nothing_turns(tmp_path, capsys):
    for sheet in (None, tmp_path / "missing.toml"):
        printer(sheet)("3 mm")
    assert capsys.readouterr().out == "3 mm\n3 mm\n"


def test_heights_in_inches_and_a_profile_in_mm_agree_to_round_off():
    """0.59055 in is 14.99997 mm: no reason to refuse a profile that rises to 15 mm."""
    brace = bar(height_in=0.59055, height_profile_mm=[[0, 3], [60, 15], [120, 3]])
    assert built(brace=[{key: value for key, value in brace.items() if key != "height_mm"}]).braces
