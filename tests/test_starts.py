"""Sheets to start from: each can be built and meshed, without a warning, and is of the kind that its name says."""

import pytest

from meshes.body import braces_of
from meshes.build import mesh_body
from meshes.describe import masses
from meshes.new_sheet import STARTS, starts
from meshes.sheet import read_sheet

# string set, frets to the body of the scale, braces of the top; sizes are common practice, no source
KINDS = {
    "small_steel": ("steel", 14, 5),
    "large_steel": ("steel", 14, 5),
    "twelve_fret_steel": ("steel", 12, 5),
    "nylon_fan": ("nylon", 12, 9),
}


def test_every_start_is_told_of():
    assert starts() == sorted(KINDS)


@pytest.mark.parametrize("name", KINDS)
def test_a_start_can_be_built(name):
    body = read_sheet(STARTS / f"{name}.toml")
    strings, frets, braces = KINDS[name]
    assert body.warnings == ()
    assert body.strings.set_name == strings and len(braces_of(body, "top")) == braces
    scale = body.strings.scale_length
    assert body.neck.length == pytest.approx(scale * (1 - 2 ** (-frets / 12)))
    assert body.bridge.saddle_x == pytest.approx(body.outline.length - scale + body.neck.length)
    assert 1.2 < sum(masses(body).values()) < 2.2  # kg with the neck; common practice, no source
    assert mesh_body(body, 0.06).triangles.shape[0] > 500


def test_sizes_are_in_order():
    small, large = (read_sheet(STARTS / f"{name}.toml").outline for name in ("small_steel", "large_steel"))
    assert small.area < 0.85 * large.area and small.length < large.length
