"""Plan shapes: a maker's widths kept exactly, drawn circles and ellipses against closed forms."""

import numpy as np
import pytest
from scipy.special import ellipe

from meshes.outline import (
    bend_radius,
    crossings,
    distance,
    inside,
    nearest,
    normal_at,
    outline_from_measures,
    point_at,
    self_crossing,
    tangent_at,
    tightest_bend,
    waist_of,
    where_x,
    where_y,
    within,
)
from meshes.outline_csv import outline_from_drawing, read_drawing

LENGTH, LOWER, WAIST, UPPER = 0.491, (0.137, 0.377), (0.293, 0.243), (0.401, 0.287)


@pytest.fixture(scope="module")
def guitar():
    return outline_from_measures(LENGTH, LOWER, WAIST, UPPER, flat_tail=0.04, flat_neck=0.06)


def width(outline, x):
    t, _ = crossings(outline, (x, 0.0), (0.0, 1.0))
    return t[-1] - t[0]


def drawn_ellipse(a, b, count=48):
    """Points once round an ellipse with half axes a along x and b along y, tail at x = 0."""
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False) + 0.1
    return np.column_stack([a - a * np.cos(angle), b * np.sin(angle)])


def drawn_half_ellipse(a, b, count=40):
    angle = np.linspace(0, np.pi, count)
    return np.column_stack([a - a * np.cos(angle), b * np.sin(angle)])


# --- from measures ---


@pytest.mark.parametrize(("place", "full"), [LOWER, WAIST, UPPER])
def test_widths_are_exact_at_their_places(guitar, place, full):
    assert width(guitar, place) == pytest.approx(full, abs=1e-7)
    assert [place, full / 2] in np.round(guitar.points, 12).tolist()


def test_widths_are_extreme_at_their_places_and_nowhere_else(guitar):
    """No waves: the half width rises to the lower bout, falls to the waist, rises to the upper bout and falls."""
    bass = guitar.points[guitar.points[:, 1] >= 0.03]
    x, y = bass[np.argsort(bass[:, 0])].T
    places = [0.0, LOWER[0], WAIST[0], UPPER[0], LENGTH]
    for i, sign in enumerate((1, -1, 1, -1)):
        part = (x >= places[i]) & (x <= places[i + 1])
        assert np.all(sign * np.diff(y[part]) >= -1e-12)


def test_ends_are_flat_and_of_the_given_width(guitar):
    at_tail = guitar.points[guitar.points[:, 0] < 1e-9, 1]
    at_neck = guitar.points[guitar.points[:, 0] > LENGTH - 1e-9, 1]
    assert np.ptp(at_tail) == pytest.approx(0.04)
    assert np.ptp(at_neck) == pytest.approx(0.06)
    assert guitar.length == pytest.approx(LENGTH)


def test_symmetric_counter_clockwise_from_the_tail(guitar):
    mirrored = {tuple(p) for p in np.round(guitar.points * [1, -1], 9) + 0.0}
    assert mirrored == {tuple(p) for p in np.round(guitar.points, 9) + 0.0}
    assert guitar.points[0] == pytest.approx([0, 0])
    assert guitar.points[5, 1] < 0  # treble side first
    assert guitar.area > 0


def test_area_against_integrated_widths(guitar):
    """Midpoint rule in t, x = L (1 - cos t)/2, as the vertical tangents at both ends need; no shoelace."""
    t = (np.arange(2000) + 0.5) * np.pi / 2000
    x = LENGTH * (1 - np.cos(t)) / 2
    area = np.sum([width(guitar, xi) for xi in x] * np.sin(t)) * LENGTH / 2 * np.pi / 2000
    assert guitar.area == pytest.approx(area, rel=1e-5)


@pytest.mark.parametrize("place", [LOWER[0], WAIST[0], UPPER[0]])
def test_curvature_runs_through_bouts_and_waist_without_a_jump(guitar, place):
    s, radius = bend_radius(guitar, span=0.002)
    centre = where_x(guitar, place)[-1]
    either_side = [1 / radius[np.argmin(abs(s - centre - d))] for d in (-0.004, 0.004)]
    assert either_side[0] == pytest.approx(either_side[1], rel=0.05)  # 8 mm apart on a curve that goes on bending


def test_waist_of_measures_is_the_waist_given(guitar):
    assert waist_of(guitar) == pytest.approx((WAIST[0], WAIST[1] / 2), abs=1e-3)


@pytest.mark.parametrize(
    "measures",
    [
        (0.45, (0.10, 0.34), (0.27, 0.22), (0.38, 0.24)),  # shallow waist, blunt tail
        (0.52, (0.17, 0.42), (0.33, 0.20), (0.42, 0.31)),  # narrow waist
        (0.40, (0.12, 0.30), (0.24, 0.292), (0.30, 0.295)),  # hardly a waist
    ],
)
def test_unusual_measures_still_give_a_sound_curve(measures):
    outline = outline_from_measures(*measures)
    assert self_crossing(outline.points) is None
    for place, full in measures[1:]:
        assert width(outline, place) == pytest.approx(full, abs=1e-6)
    assert tightest_bend(outline)[0] > 0.02


# --- asking an outline ---


def test_nearest_returns_the_arc_length_of_a_point_on_the_rim(guitar):
    for s in (0.05, 0.4, 0.9, 1.3):
        assert nearest(guitar, point_at(guitar, s)) == pytest.approx(s, abs=1e-9)
        off = point_at(guitar, s) - 0.01 * normal_at(guitar, s)
        assert nearest(guitar, off) == pytest.approx(s, abs=5e-4)


def test_edge_of_a_rectangle_as_far_as_it_lies_inside(guitar):
    """Wholly inside: its own length in steps of a millimetre; half of it outside: the near half alone."""
    block = np.array([[0.1, -0.03], [0.14, -0.03], [0.14, 0.03], [0.1, 0.03]])
    whole = within(guitar, block)
    assert len(whole) == pytest.approx(200, abs=4)
    assert np.hypot(*(np.roll(whole, -1, axis=0) - whole).T).max() < 1.001e-3
    half = within(guitar, block - [0.12, 0])
    assert half[:, 0].min() > -1e-3 and half[:, 0].max() == pytest.approx(0.02) and len(half) < 120


def test_normals_point_outward_and_stand_on_the_tangent(guitar):
    s = np.linspace(0, guitar.perimeter, 57)[:-1]
    n, t = normal_at(guitar, s), tangent_at(guitar, s)
    assert np.einsum("ij,ij->i", n, t) == pytest.approx(0, abs=1e-12)
    assert inside(guitar, point_at(guitar, s) - 1e-3 * n).all()
    assert not inside(guitar, point_at(guitar, s) + 1e-3 * n).any()


def test_rays_meet_the_rim_where_it_is(guitar):
    assert point_at(guitar, where_x(guitar, WAIST[0])) == pytest.approx(
        np.array([[WAIST[0], -WAIST[1] / 2], [WAIST[0], WAIST[1] / 2]]), abs=1e-6
    )
    assert point_at(guitar, where_y(guitar, 0.0)) == pytest.approx(np.array([[0, 0], [LENGTH, 0]]), abs=1e-9)
    assert len(where_y(guitar, 0.13)) == 4  # through both bouts, outside the waist
    assert len(where_x(guitar, -0.01)) == 0


# --- from a drawing: closed forms ---


def test_drawn_circle():
    r = 0.15
    circle = outline_from_drawing(drawn_ellipse(r, r), is_half=False)
    assert circle.area == pytest.approx(np.pi * r**2, rel=2e-5)
    assert circle.perimeter == pytest.approx(2 * np.pi * r, rel=1e-5)
    s, radius = bend_radius(circle)
    assert radius == pytest.approx(r, rel=6e-3)  # chords of 0.6 mm: 0.3 um in a sagitta of 53 um
    assert normal_at(circle, s) == pytest.approx((point_at(circle, s) - [r, 0]) / r, abs=1e-3)
    assert distance(circle, [[r, 0.05], [r, 0.2]]) == pytest.approx([0.1, -0.05], abs=2e-5)
    assert waist_of(circle) is None


@pytest.mark.parametrize("is_half", [True, False])
def test_drawn_ellipse(is_half):
    """Area pi a b; perimeter 4 a E(e^2); tightest radius b^2/a at the ends of the long axis."""
    a, b = 0.22, 0.16
    points = drawn_half_ellipse(a, b) if is_half else drawn_ellipse(a, b, 80)
    ellipse = outline_from_drawing(points, is_half)
    assert ellipse.area == pytest.approx(np.pi * a * b, rel=5e-5)
    assert ellipse.perimeter == pytest.approx(4 * a * ellipe(1 - (b / a) ** 2), rel=2e-5)
    radius, s = tightest_bend(ellipse)
    assert radius == pytest.approx(b**2 / a, rel=0.01)
    assert abs(point_at(ellipse, s)[1]) < 0.02


def test_drawing_may_run_either_way_round():
    points = drawn_ellipse(0.2, 0.15)
    one, other = (outline_from_drawing(p, is_half=False) for p in (points, points[::-1]))
    assert one.area == pytest.approx(other.area, rel=1e-9)
    assert one.points[5, 1] < 0
    assert other.points[5, 1] < 0


def test_cutaway_keeps_its_horn_sharp_and_is_not_symmetric():
    """An ellipse with a bite out of its treble shoulder; the horn is a corner, left out of the bends."""
    points = drawn_ellipse(0.23, 0.18, 120)
    bite_centre, bite = np.array([0.44, -0.13]), 0.07
    kept = points[np.linalg.norm(points - bite_centre, axis=1) > bite]
    first = np.argmax(np.linalg.norm(np.diff(kept, axis=0), axis=1)) + 1
    kept = np.roll(kept, -first, axis=0)
    a0, a1 = (np.arctan2(*(p - bite_centre)[::-1]) for p in (kept[-1], kept[0]))
    angle = np.linspace(a0, a1 % (2 * np.pi), 14)[1:-1]  # through the side of the bite that faces the body
    hollow = bite_centre + bite * np.column_stack([np.cos(angle), np.sin(angle)])
    cutaway = outline_from_drawing(np.vstack([kept, hollow]), is_half=False)
    assert len(cutaway.corners) == 2
    assert not inside(cutaway, [bite_centre]).any()
    assert inside(cutaway, [bite_centre * [1, -1] - [0.1, 0]]).all()
    assert self_crossing(cutaway.points) is None
    s, radius = bend_radius(cutaway)
    middle = nearest(cutaway, hollow[6])
    assert radius[np.argmin(abs(s - middle))] == pytest.approx(-bite, rel=0.01)  # hollow: negative
    assert min(abs(s - corner).min() for corner in cutaway.corners) > 0.005


# --- CSV files ---


def write_csv(path, points, header="x_mm,y_mm"):
    path.write_text(header + "\n" + "\n".join(f"{x:.6f},{y:.6f}" for x, y in points))
    return path


def test_csv_in_inches_gives_the_same_outline_as_in_mm(tmp_path):
    half = 1e3 * drawn_half_ellipse(0.22, 0.16)
    one, _ = read_drawing(write_csv(tmp_path / "a.csv", half, "x_mm,half_width_mm"), "half_outline_csv")
    other, _ = read_drawing(write_csv(tmp_path / "b.csv", half / 25.4, "x_in,half_width_in"), "half_outline_csv")
    assert one.area == pytest.approx(other.area, rel=1e-6)


@pytest.mark.parametrize(
    ("header", "points", "words"),
    [
        ("x_mm,y_mm", 1e3 * drawn_ellipse(0.2, 0.15) * [1, np.nan], ["point 1", "two numbers"]),
        ("x_mm,y_mm", drawn_ellipse(0.2, 0.15), ["length of the drawing", "250 to 650 mm", "did you mean 399.8?"]),
        ("x,y", 1e3 * drawn_ellipse(0.2, 0.15), ["first line = 'x,y'", "x_mm,y_mm or x_in,y_in"]),
        ("x_mm,y_mm", 1e3 * drawn_ellipse(0.2, 0.15, 8), ["points = 8", "at least 12"]),
        (
            "x_mm,y_mm",
            1e3 * drawn_ellipse(0.2, 0.15)[[*range(10), 30, *range(11, 48)]],
            ["crosses itself", "in order"],
        ),
    ],
)
def test_bad_drawings_are_told_apart(tmp_path, header, points, words):
    outline, mistakes = read_drawing(write_csv(tmp_path / "drawn.csv", points, header), "full_outline_csv")
    assert outline is None
    assert all(word in str(mistakes[0]) for word in ("drawn.csv", *words)), str(mistakes[0])


def test_half_outline_must_start_on_the_centre_line(tmp_path):
    points = 1e3 * drawn_half_ellipse(0.22, 0.16)[2:]
    outline, mistakes = read_drawing(write_csv(tmp_path / "h.csv", points, "x_mm,half_width_mm"), "half_outline_csv")
    assert outline is None
    assert "first point" in str(mistakes[0])
    assert "centre line" in str(mistakes[0])
