"""Plan shape of the body: a closed curve from a maker's measures, its arc length, normals, bends and crossings.

Plan coordinates [m]: x along the body from the tail (0) towards the neck, y across it, positive on the bass side. The
curve runs counter-clockwise seen from the front: tail centre, treble side, neck, bass side, back to the tail.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.root import brent

STEPS = 200  # samples of each curved piece
FULLNESS = 0.58  # handle of the end curves; 0.552 draws an ellipse, more a squarer bout
WAIST_HANDLE = 0.5  # handle at the waist on its longer side; less bends the waist tighter
HANDLE_RANGE = (0.15, 0.75)  # outside it the S-curves get a kink or a step


@dataclass(frozen=True)
class Outline:
    """Closed plan curve as a dense polygon; the last point joins the first."""

    points: np.ndarray  # (n, 2) m, counter-clockwise, first point at the tail
    corners: np.ndarray  # (c,) arc lengths [m] of sharp corners (the horn of a cutaway); mostly empty

    @property
    def arc(self) -> np.ndarray:
        """Arc length [m] of every point and of the closing one, (n + 1,); arc[-1] is the perimeter."""
        steps = np.linalg.norm(np.diff(closed(self.points), axis=0), axis=1)
        return np.concatenate([[0], np.cumsum(steps)])

    @property
    def perimeter(self) -> float:
        """Length of the rim [m]."""
        return self.arc[-1]

    @property
    def area(self) -> float:
        """Enclosed area [m2] (shoelace formula)."""
        return signed_area(self.points)

    @property
    def length(self) -> float:
        """Body length [m]: extent along x."""
        return np.ptp(self.points[:, 0])


def closed(points: np.ndarray) -> np.ndarray:
    """The points with the first one repeated at the end."""
    return np.vstack([points, points[:1]])


def signed_area(points: np.ndarray) -> float:
    """Area [m2] of a closed polygon (n, 2), positive when it runs counter-clockwise."""
    x, y = points.T
    return 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)


# --- making an outline ---


def outline_from_measures(
    length: float,
    lower: tuple[float, float],
    waist: tuple[float, float],
    upper: tuple[float, float],
    flat_tail: float = 0.0,
    flat_neck: float = 0.0,
) -> Outline:
    """Symmetric Outline [m] whose widths are extreme exactly at the given places, without waves between them.

    lower, waist, upper: (place from the tail, full width). flat_tail, flat_neck: full width of the straight ends.
    Cubic Bezier pieces with handles along x at the bouts and the waist and along y at both ends; the handles are
    chosen so that the curvature runs through the bouts and the waist without a jump wherever that keeps the curve free
    of waves. Half widths rise and fall monotonically because the inner control points share the end points' widths.
    """
    (x_l, y_l), (x_w, y_w), (x_u, y_u) = ((place, width / 2) for place, width in (lower, waist, upper))
    tail, neck = (0.0, flat_tail / 2), (length, flat_neck / 2)
    bend_l = 2 / 3 * (y_l - tail[1]) * (1 - FULLNESS) / (FULLNESS * x_l) ** 2
    bend_u = 2 / 3 * (y_u - neck[1]) * (1 - FULLNESS) / (FULLNESS * (length - x_u)) ** 2
    span_low, span_up, drop_low, drop_up = x_w - x_l, x_u - x_w, y_l - y_w, y_u - y_w
    bend_w = 2 / 3 * max(drop_low / span_low**2, drop_up / span_up**2) / WAIST_HANDLE**2
    half = np.vstack(
        [
            [[0.0, 0.0]] if flat_tail else np.empty((0, 2)),
            _end_curve(tail, (x_l, y_l)),
            _s_curve((x_l, y_l), (x_w, y_w), bend_l, bend_w),
            _s_curve((x_w, y_w), (x_u, y_u), bend_w, bend_u),
            _end_curve(neck, (x_u, y_u))[::-1],
            [[length, 0.0]],
        ]
    )
    return outline_from_half(half)


def _end_curve(end: tuple[float, float], bout: tuple[float, float]) -> np.ndarray:
    """Quarter curve (m, 2) from an end of the body, leaving it along y, to a bout, reached along x."""
    (x0, y0), (x1, y1) = end, bout
    return _bezier(end, (x0, y0 + FULLNESS * (y1 - y0)), (x1 + FULLNESS * (x0 - x1), y1), bout)


def _s_curve(start: tuple[float, float], end: tuple[float, float], bend_start: float, bend_end: float) -> np.ndarray:
    """S-curve (m, 2) between two extremes of the width, with the given curvatures [1/m] at its ends."""
    (x0, y0), (x1, y1) = start, end
    span, drop = x1 - x0, abs(y1 - y0)
    handle = [span * np.clip(np.sqrt(2 / 3 * drop / bend) / span, *HANDLE_RANGE) for bend in (bend_start, bend_end)]
    return _bezier(start, (x0 + handle[0], y0), (x1 - handle[1], y1), end)


def _bezier(
    p0: tuple[float, float], p1: tuple[float, float], p2: tuple[float, float], p3: tuple[float, float]
) -> np.ndarray:
    """Points (STEPS + 1, 2) of a cubic Bezier curve."""
    t = np.linspace(0, 1, STEPS + 1)[:, None]
    a, b, c, d = map(np.asarray, (p0, p1, p2, p3))
    return (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * d


def outline_from_half(half: np.ndarray) -> Outline:
    """Outline from half of it, (m, 2) [m]: x and half width from tail to neck, mirrored about the centre line."""
    half = np.asarray(half, float)
    treble = half * [1, -1]
    return outline_through(np.vstack([treble, half[::-1]]))


def outline_through(points: np.ndarray, corners: Sequence[Sequence[float]] | np.ndarray = ()) -> Outline:
    """Outline of closed points (n, 2): counter-clockwise, without doubled points, starting at the tail's centre."""
    points = without_doubles(points)
    if signed_area(points) < 0:
        points = points[::-1]
    points = _start_at_tail(points)
    plain = Outline(points, np.empty(0))
    return Outline(points, np.sort([nearest(plain, corner) for corner in corners]))


def _start_at_tail(points: np.ndarray) -> np.ndarray:
    """The closed points turned round to start where they cross the centre line at the tail; that point is added."""
    after = np.roll(points, -1, axis=0)
    crossing = np.flatnonzero((points[:, 1] >= 0) & (after[:, 1] < 0))
    if len(crossing) == 0:
        return np.roll(points, -np.argmin(points[:, 0]), axis=0)
    i = crossing[np.argmin(points[crossing, 0])]
    (x0, y0), (x1, y1) = points[i], after[i]
    start = [x0 + (x1 - x0) * y0 / (y0 - y1), 0.0]
    return without_doubles(np.vstack([start, np.roll(points, -i - 1, axis=0)]))


def without_doubles(points: np.ndarray, tolerance: float = 1e-7) -> np.ndarray:
    """The closed polygon without points closer than the tolerance [m] to the next one."""
    return points[np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1) > tolerance]


# --- asking an outline ---


def point_at(outline: Outline, s: float | Sequence[float] | np.ndarray) -> np.ndarray:
    """Points (..., 2) [m] at arc lengths s [m], taken modulo the perimeter."""
    arc, loop = outline.arc, closed(outline.points)
    s = np.mod(s, arc[-1])
    return np.stack([np.interp(s, arc, loop[:, 0]), np.interp(s, arc, loop[:, 1])], axis=-1)


def tangent_at(outline: Outline, s: float | Sequence[float] | np.ndarray, span: float = 1e-3) -> np.ndarray:
    """Unit tangents (..., 2) at arc lengths s [m], counter-clockwise; the chord over `span` [m] about s."""
    chord = point_at(outline, np.asarray(s) + span / 2) - point_at(outline, np.asarray(s) - span / 2)
    return chord / np.linalg.norm(chord, axis=-1, keepdims=True)


def normal_at(outline: Outline, s: float | Sequence[float] | np.ndarray) -> np.ndarray:
    """Outward unit normals (..., 2) at arc lengths s [m]."""
    t = tangent_at(outline, s)
    return np.stack([t[..., 1], -t[..., 0]], axis=-1)


def nearest(outline: Outline, point: Sequence[float] | np.ndarray) -> float:
    """Arc length [m] of the place on the outline nearest to one point (2,)."""
    foot, part = _feet(outline, np.asarray(point, float)[None])
    i = np.argmin(np.linalg.norm(foot[0] - point, axis=1))
    return outline.arc[i] + part[0, i] * np.linalg.norm(np.roll(outline.points, -1, axis=0)[i] - outline.points[i])


def distance(outline: Outline, points: Sequence[Sequence[float]] | np.ndarray) -> np.ndarray:
    """Distance [m] of points (m, 2) to the outline, (m,); positive inside, negative outside."""
    points = np.atleast_2d(np.asarray(points, float))
    foot, _ = _feet(outline, points)
    x, y = (foot - points[:, None]).transpose(2, 0, 1)
    gap = np.sqrt((x * x + y * y).min(axis=1))
    return np.where(inside(outline, points), gap, -gap)


def last_clear(outline: Outline, start: np.ndarray, along: np.ndarray, gap: float, steps: np.ndarray) -> float | None:
    """The greatest t within `steps`, ascending, at which the plan point start + t along [m] is `gap` inside; None if none."""
    room = lambda t: distance(outline, start + np.atleast_1d(t)[:, None] * along) - gap
    far = np.flatnonzero(room(steps) > 0)
    if not len(far) or far[-1] == len(steps) - 1:
        return float(steps[-1]) if len(far) else None
    return brent(lambda t: room(t)[0], steps[far[-1]], steps[far[-1] + 1], 1e-6)


def _feet(outline: Outline, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Nearest place on every segment to every point: (m, n, 2) [m] and which part of the segment lies before it (m, n)."""
    a, b = outline.points, np.roll(outline.points, -1, axis=0)
    along = b - a
    t = np.einsum("mnk,nk->mn", points[:, None] - a, along) / np.sum(along**2, axis=1)
    t = np.clip(t, 0, 1)
    return a + t[..., None] * along, t


def inside(outline: Outline, points: Sequence[Sequence[float]] | np.ndarray) -> np.ndarray:
    """Which of the points (m, 2) lie inside the outline, (m,) bool (even-odd rule)."""
    points = np.atleast_2d(np.asarray(points, float))
    (x0, y0), (x1, y1) = outline.points.T, np.roll(outline.points, -1, axis=0).T
    px, py = points[:, :1], points[:, 1:]
    straddles = (y0 > py) != (y1 > py)
    with np.errstate(divide="ignore", invalid="ignore"):
        to_the_right = px < x0 + (py - y0) * (x1 - x0) / (y1 - y0)
    return np.sum(straddles & to_the_right, axis=1) % 2 == 1


def within(outline: Outline, polygon: np.ndarray) -> np.ndarray:
    """The edge of a polygon (n, 2) [m] in steps of about 1 mm, as far as it lies inside an outline: (k, 2)."""
    ends = np.roll(polygon, -1, axis=0)
    counts = np.ceil(1e3 * np.hypot(*(ends - polygon).T)).astype(int)
    dense = np.concatenate([np.linspace(a, b, n, endpoint=False) for a, b, n in zip(polygon, ends, counts)])
    return dense[inside(outline, dense)]


def crossings(
    outline: Outline, start: tuple[float, float] | np.ndarray, direction: tuple[float, float] | np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Where the straight line start + t direction meets the outline: t (k,) ascending and arc lengths s (k,) [m]."""
    start, direction = np.asarray(start, float), np.asarray(direction, float)
    loop = closed(outline.points) - start
    side = direction[0] * loop[:, 1] - direction[1] * loop[:, 0]
    i = np.flatnonzero((side[:-1] >= 0) != (side[1:] >= 0))
    part = side[i] / (side[i] - side[i + 1])
    place = loop[i] + part[:, None] * (loop[i + 1] - loop[i])
    t = place @ direction / (direction @ direction)
    order = np.argsort(t)
    arc = outline.arc
    return t[order], (arc[i] + part * (arc[i + 1] - arc[i]))[order]


def where_x(outline: Outline, x: float) -> np.ndarray:
    """Arc lengths [m] where the outline meets the line x = const, from treble (-y) to bass (+y)."""
    return crossings(outline, (x, 0.0), (0.0, 1.0))[1]


def where_y(outline: Outline, y: float) -> np.ndarray:
    """Arc lengths [m] where the outline meets the line y = const, from tail to neck."""
    return crossings(outline, (0.0, y), (1.0, 0.0))[1]


def bend_radius(outline: Outline, span: float = 0.004) -> tuple[np.ndarray, np.ndarray]:
    """Radius of curvature [m] along the rim: arc lengths (k,) and radii (k,), positive where the rim bulges outward.

    Circle through three places `span` [m] apart; a straight run gives inf. Places next to a sharp corner are left out.
    """
    count = int(np.ceil(outline.perimeter / (span / 2)))
    s = np.arange(count) * outline.perimeter / count
    for corner in outline.corners:
        away = np.abs((s - corner + outline.perimeter / 2) % outline.perimeter - outline.perimeter / 2)
        s = s[away > 1.5 * span]
    a, b, c = (point_at(outline, s - span), point_at(outline, s), point_at(outline, s + span))
    ab, bc, ca = b - a, c - b, a - c
    cross = ab[:, 0] * bc[:, 1] - ab[:, 1] * bc[:, 0]
    lengths = np.prod([np.linalg.norm(v, axis=1) for v in (ab, bc, ca)], axis=0)
    straight = np.abs(cross) < 1e-9 * span**2
    return s, np.where(straight, np.inf, lengths / (2 * np.where(straight, 1, cross)))


def tightest_bend(outline: Outline) -> tuple[float, float]:
    """(radius [m], arc length [m]) of the tightest bend, hollow or bulging."""
    s, radius = bend_radius(outline)
    i = np.argmin(np.abs(radius))
    return abs(radius[i]), s[i]


def self_crossing(points: np.ndarray) -> tuple[int, int] | None:
    """First pair of places (i, j) where the closed polygon (n, 2) meets itself, or None; segments are i -> i + 1."""
    a, b = points, np.roll(points, -1, axis=0)
    for i in range(len(points) - 2):
        j = np.arange(i + 2, len(points) - (i == 0))
        across_i = _turn(a[i], b[i], a[j]) * _turn(a[i], b[i], b[j])
        across_j = _turn(a[j], b[j], a[i]) * _turn(a[j], b[j], b[i])
        crosses = ((across_i < 0) & (across_j <= 0)) | ((across_i <= 0) & (across_j < 0))
        crosses |= np.all(a[i] == a[j], axis=1)
        if crosses.any():
            return i, int(j[np.argmax(crosses)])
    return None


def _turn(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> np.ndarray:
    """Twice the signed area of the triangles p, q, r (..., 2): positive when r lies left of p -> q."""
    return (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (q[..., 1] - p[..., 1]) * (r[..., 0] - p[..., 0])


def waist_of(outline: Outline) -> tuple[float, float] | None:
    """(place along x, half width) [m] of the waist on the bass side, or None for a body without one (an oval)."""
    s_tail, s_neck = 0.0, where_y(outline, 0.0)[-1]
    bass = point_at(outline, np.linspace(s_neck, outline.perimeter + s_tail, 801)[:-1])
    y = bass[:, 1]
    inner = np.flatnonzero((y[1:-1] < y[:-2]) & (y[1:-1] <= y[2:])) + 1
    waists = [i for i in inner if y[:i].max() > 1.002 * y[i] and y[i:].max() > 1.002 * y[i]]
    return None if len(waists) == 0 else tuple(bass[min(waists, key=lambda i: y[i])])
