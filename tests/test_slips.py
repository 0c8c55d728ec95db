"""Slips that can be built: told where they are, silent on sheets without them. What is usual: common practice, no source."""

import pytest
from test_sheet import BODIES, bar, built

from meshes.sheet import read_sheet

BRIDGE = {"place_mm": 200, "saddle_mm": 203, "width_mm": 30, "length_mm": 160}
PLATE = {"place_mm": 200, "width_mm": 50, "length_mm": 180}


def told(**keys):
    body = built(brace=[bar(**{"from_mm": [100, -60], "to_mm": [300, 60], **keys})], bridge=BRIDGE, bridge_plate=PLATE)
    return [text for text in body.warnings if "brace 'bar'" in text]


@pytest.mark.parametrize("name", ["hazel", "linnet", "medlar", "dunnock"])
def test_the_examples_have_no_slips(name):
    assert not [text for text in read_sheet(BODIES / f"{name}.toml").warnings if text.startswith("brace")]


def test_a_bar_through_the_bridge_plate():
    """50 mm along the body under a slope of .6: 50 sqrt(1 + .36) = 58 mm."""
    (text,) = told()
    assert "runs over the bridge plate for 58 mm" in text
    assert not told(from_mm=[100, -130], to_mm=[300, -60])  # 100 to 84 mm off the centre line there: clear of the plate
    assert not told(from_mm=[100, -60], to_mm=[170, 60])  # ends before it


def test_a_bar_under_the_edge_of_the_bridge():
    plate, edge = told(from_mm=[215, -70], to_mm=[215, 50])
    assert "runs over the bridge plate for 120 mm" in plate and "under the bridge's edge for 120 mm" in edge
    assert not told(from_mm=[235, -70], to_mm=[235, 70])  # beside bridge and plate
    assert not told(from_mm=[140, -70], to_mm=[140, 70])


def test_width_and_height_exchanged():
    (text,) = told(from_mm=[60, -60], to_mm=[60, 60], width_mm=14, height_mm=6)
    assert "14 mm wide and 6 mm high" in text and "exchanged" in text
    assert not told(from_mm=[60, -60], to_mm=[60, 60], width_mm=6, height_mm=4)
