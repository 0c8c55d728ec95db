"""The unbent side: heights every 25 mm, the back's edge following the dome, a drawing at full size."""

import csv
import re
import zlib

import box_cases as cases
import numpy as np
import pytest

from meshes.body import back_height, top_height
from meshes.outline import point_at, where_y
from meshes.side_profile import draw_profile, side_profile, write_profile_table


@pytest.fixture(scope="module")
def hazel():
    return cases.example("hazel")


@pytest.mark.parametrize("side", ["bass", "treble"])
def test_ends_have_the_heights_of_tail_and_neck(hazel, side):
    s, top, back = side_profile(hazel, side)
    at_tail, at_neck = (top_height(hazel, x, 0) - back_height(hazel, x, 0) for x in (0.0, hazel.outline.length))
    assert (top - back)[[0, -1]] == pytest.approx([at_tail, at_neck], abs=1e-6)
    assert np.diff(s)[:-1] == pytest.approx(np.full(len(s) - 2, 0.025))
    assert 0.006 < s[-1] - s[-2] <= 0.0313
    assert s[-1] == pytest.approx(hazel.outline.perimeter / 2, rel=1e-6)


def test_both_sides_of_a_cutaway_end_at_the_neck(tmp_path):
    """Bass and treble have different lengths; together they are the rim."""
    body = cases.cutaway(tmp_path, **cases.BARE)
    bass, treble = (side_profile(body, side)[0][-1] for side in ("bass", "treble"))
    assert bass + treble == pytest.approx(body.outline.perimeter, rel=1e-9)
    assert treble > bass + 0.002  # the bay's edge is longer than the bass side's
    assert treble == pytest.approx(where_y(body.outline, 0.0)[-1])


def test_back_edge_follows_the_dome():
    """A back of 4.5 m, cut by a sphere by hand: the side's height where the body is wide against where it is narrow."""
    body = cases.guitar(heights={"tail_mm": 100, "neck_block_mm": 100, "back_radius_mm": 4500})
    s, top, back = side_profile(body, "bass")
    x, y = point_at(body.outline, body.outline.perimeter - s).T
    drop = 4.5 - np.sqrt(4.5**2 - (x - 0.245) ** 2 - y**2)  # equal heights at both ends: the crown lies in the middle
    expected = 0.1 + drop[0] - drop
    assert top - back == pytest.approx(expected, abs=3e-5)
    assert np.ptp(top - back) > 2e-3  # not a straight cut
    flat = cases.guitar(heights={"tail_mm": 100, "neck_block_mm": 100, "back_radius_mm": "flat"})
    s, top, back = side_profile(flat, "bass")
    assert top - back == pytest.approx(np.full(len(s), 0.1), abs=1e-9)


def test_table_is_in_millimetres(hazel, tmp_path):
    path = write_profile_table(hazel, tmp_path / "side.csv", "treble")
    rows = list(csv.reader(path.open()))
    assert rows[0] == ["from_tail_along_side_mm", "top_edge_mm", "back_edge_mm", "height_mm"]
    table = np.array(rows[1:], float)
    s, top, back = side_profile(hazel, "treble")
    assert table == pytest.approx(1e3 * np.column_stack([s, top, back, top - back]), abs=0.051)
    assert table[:3, 0] == pytest.approx([0, 25, 50])


def test_drawing_is_at_full_size(hazel, tmp_path):
    """The bar measures 100 mm on the page, and the side its length: 1 pt = 25.4/72 mm."""
    path = draw_profile(hazel, tmp_path / "side.pdf", "bass")
    data = path.read_bytes()
    texts = [zlib.decompress(m) for m in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.S) if m[:1] == b"x"]
    page = b"\n".join(texts).decode("latin1")
    runs = re.findall(r"([-\d.]+) ([-\d.]+) m\n([-\d.]+) ([-\d.]+) l\s+S", page)
    level = [abs(float(x1) - float(x0)) * 25.4 / 72 for x0, y0, x1, y1 in runs if y0 == y1]
    assert min(abs(run - 100) for run in level) < 0.01
    upright = [abs(float(y1) - float(y0)) * 25.4 / 72 for x0, y0, x1, y1 in runs if x0 == x1]
    s, top, back = side_profile(hazel, "bass")
    for height in 1e3 * (top - back):
        assert min(abs(run - height) for run in upright) < 0.01
    box = [float(v) for v in re.search(rb"MediaBox \[ ?([\d. ]+)", data)[1].split()]
    assert (box[2] - box[0]) * 25.4 / 72 == pytest.approx(1e3 * s[-1] + 30, abs=0.1)


def test_unknown_side_is_refused(hazel):
    with pytest.raises(ValueError, match=r"'left'.*bass.*treble"):
        side_profile(hazel, "left")
