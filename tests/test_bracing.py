"""Braces in makers' terms against the same braces drawn by hand, and what is refused."""

import re
from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest
from test_sheet import bar, built, mistakes_of

from meshes.body import braces_of
from meshes.describe import check_text
from meshes.sheet import read_sheet

THIN = {"plate": "top", "width_mm": 4, "height_mm": 5}


def pattern(**keys):
    return {"name": "p", "pattern": "across", **THIN, **keys}


def ends(body, plate="top"):
    """(braces, 2, 2) mm, in the order of the sheet."""
    return 1e3 * np.array([[b.start, b.end] for b in braces_of(body, plate)])


def test_a_cross_is_the_two_braces_drawn_by_hand(tmp_path):
    """Hazel's two crossed braces: angle and crossing taken from their drawn points, all else as drawn."""
    drawn = cases.example("hazel")
    low, high = np.array([100, 182]), np.array([382, -134])
    run = high - low
    crossing = low[0] - low[1] * run[0] / run[1]
    angle = 2 * np.degrees(np.arctan(-run[1] / run[0]))
    text = (cases.BODIES / "hazel.toml").read_text(encoding="utf-8")
    tables = re.split(r"(?=^\[\[brace\]\])", text, flags=re.M)
    kept = "".join(t for t in tables if 'name = "cross' not in t.split("[[brace]]")[-1])
    assert kept.count("[[brace]]") == text.count("[[brace]]") - 2
    told = f"""
[[bracing]]
name = "cross"
plate = "top"
pattern = "cross"
at_mm = {crossing}
angle_deg = {angle}
width_mm = 8
height_mm = 15
ends = {{ kind = "let_in", taper_mm = 70, height_mm = 3 }}
"""
    (tmp_path / "sheet.toml").write_text(kept + told, encoding="utf-8")
    made = read_sheet(tmp_path / "sheet.toml")
    by_name = {b.name: b for b in made.braces}
    for name, old in (("cross 1", "cross bass"), ("cross 2", "cross treble")):
        brace, own = by_name[name], next(b for b in drawn.braces if b.name == old)
        assert np.allclose(brace.start, own.start, atol=2e-6) and np.allclose(brace.end, own.end, atol=2e-6)
        assert replace(brace, name="", start=(), end=()) == replace(own, name="", start=(), end=())


def test_a_cross_crosses_tailward_of_the_hole():
    """The hole's edge lies 342 - 98/2 = 293 mm from the tail, the crossing 25 mm nearer to it."""
    for start, end in ends(built(bracing=[pattern(pattern="cross", angle_deg=96, below_hole_mm=25)])):
        at = start + (end - start) * start[1] / (start[1] - end[1])
        assert at == pytest.approx([268, 0], abs=0.01)


def test_bars_across_lie_apart_and_run_to_the_sides():
    body = built(bracing=[pattern(at_mm=60, count=3, apart_mm=45)], brace=[])
    found = ends(body)
    assert np.allclose(found[:, :, 0], [[60, 60], [105, 105], [150, 150]])
    half = built(brace=[bar(name=f"b{x}", from_mm=[x, -120], to_mm=[x, 120]) for x in (60, 105, 150)])
    assert [b.name for b in braces_of(body, "top")] == ["p 1", "p 2", "p 3"]
    assert np.allclose(found[:, 0, 1], -found[:, 1, 1], atol=0.05)
    assert (np.abs(found[:, 0, 1]) > np.abs(ends(half)[:, 0, 1])).all()  # to the side, where those end as drawn


def test_a_fan_turns_about_where_its_lines_meet():
    body = built(bracing=[pattern(pattern="fan", count=7, apart_deg=3, from_mm=50, to_mm=230, meet_mm=600)])
    found = ends(body)
    assert len(found) == 7 and np.allclose(found[:, :, 0], [50, 230])
    angle = np.degrees(np.arctan2(-found[:, :, 1], 600 - found[:, :, 0]))
    assert np.allclose(angle, np.linspace(9, -9, 7)[:, None], atol=0.01)
    assert found[0, 0, 1] < 0 < found[-1, 0, 1]  # the treble side first


def test_a_lattice_has_two_families_with_equal_gaps():
    body = built(
        bracing=[pattern(pattern="lattice", at_mm=150, count=3, apart_mm=40, angle_deg=100, from_mm=60, to_mm=240)]
    )
    found = ends(body)
    run = found[:, 1] - found[:, 0]
    angle = np.degrees(np.arctan2(run[:, 1], run[:, 0]))
    assert np.allclose(angle, [-50] * 3 + [50] * 3, atol=0.01)
    square = np.column_stack([-run[:, 1], run[:, 0]]) / np.linalg.norm(run, axis=1)[:, None]
    place = np.einsum("bi,bi->b", square, found[:, 0] - [150, 0])
    assert np.allclose(np.sort(place[:3]), [-40, 0, 40], atol=0.01) and np.allclose(
        np.sort(place[3:]), [-40, 0, 40], atol=0.01
    )
    assert found[:, :, 0].min() >= 59.99 and found[:, :, 0].max() <= 240.01


def test_check_prints_the_braces_that_a_pattern_stands_for():
    body = built(bracing=[pattern(pattern="fan", count=2, apart_deg=4, from_mm=60, to_mm=150)])
    told = check_text(body)
    assert "'p 1' from [60.0, " in told and "'p 2' from [60.0, " in told and "to [150.0, " in told


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({}, ["bracing 1 (p).at_mm = nothing given", "at_mm of pattern 'across'"]),
        ({"at_mm": 60, "count": 3}, ["bracing 1 (p).apart_mm = nothing given", "how far the bars lie apart"]),
        (
            {"at_mm": 60, "angle_deg": 90},
            ["bracing 1 (p).angle_deg", "of pattern 'across' only at_mm, count, apart_mm"],
        ),
        ({"pattern": "cross", "angle_deg": 95}, ["bracing 1 (p).at_mm = nothing given", "at_mm or below_hole_mm"]),
        (
            {"pattern": "cross", "angle_deg": 95, "at_mm": 260, "below_hole_mm": 20},
            ["bracing 1 (p).at_mm = at_mm, below_hole_mm", "at_mm or below_hole_mm"],
        ),
        ({"pattern": "fans", "count": 3}, ["bracing 1 (p).pattern = 'fans'", "did you mean 'fan'?"]),
        (
            {"pattern": "lattice", "at_mm": 150, "count": 9, "apart_mm": 90, "angle_deg": 90},
            ["bracing 1 (p) = brace 1", "run in the body between from_mm and to_mm"],
        ),
        ({"at_mm": 342}, ["brace 1 (p 1)", "hang over the hole"]),
    ],
)
def test_a_pattern_that_cannot_be_is_told(keys, words):
    lines = mistakes_of(bracing=[pattern(**keys)])
    assert any(all(word in line for word in words) for line in lines), lines
