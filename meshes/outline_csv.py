"""Drawn outlines: reads a CSV of a half or a whole plan shape and checks it before it becomes an Outline."""

import csv
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from meshes.lengths import MM_PER_INCH
from meshes.outline import Outline, closed, outline_through, self_crossing, signed_area, without_doubles
from meshes.sheet_errors import NOTHING, Mistake, TomlTable, likely, nearest, show_value
from meshes.sheet_fields import Shape

HEADERS = {"half_outline_csv": ("x", "half_width"), "full_outline_csv": ("x", "y")}
LENGTHS = (250.0, 650.0)  # mm, of a body
FEWEST = 12  # points of a drawing
CORNER = np.radians(40)  # a drawn outline turning more than this at one point has a corner there
SAMPLES = 1600  # points of the curve through a drawing
ON_AXIS = 2.0  # mm: how near to the centre line the first and last point of a half outline must lie


def read_drawing(path: Path, kind: str) -> tuple[Outline | None, list[Mistake]]:
    """(Outline or None, mistakes) from a CSV file; kind: a key of HEADERS. First line: x_mm,y_mm or x_in,y_in."""
    try:
        with open(path, newline="", encoding="utf-8-sig") as file:
            rows = [row for row in csv.reader(file) if row and not row[0].lstrip().startswith("#")]
    except (OSError, UnicodeDecodeError) as error:
        near = nearest(path.name, [p.name for p in path.parent.glob("*.csv")], 0.75) if path.parent.is_dir() else ""
        reason = getattr(error, "strerror", None) or "is not a text file"
        return None, [Mistake(path.name, "file", reason, "a CSV file with an outline", near)]
    points, mistakes = _numbers(rows, path.name, kind)
    if points is None:
        return None, mistakes
    mistakes = _check_points(points, path.name, kind)
    if mistakes:
        return None, mistakes
    outline = outline_from_drawing(1e-3 * points, kind == "half_outline_csv")
    crossing = self_crossing(outline.points[::4])
    if crossing:
        return None, [_crossing(path.name, 1e3 * outline.points[::4][crossing[0]])]
    return outline, []


def _numbers(rows: Sequence[list[str]], file: str, kind: str) -> tuple[np.ndarray | None, list[Mistake]]:
    """(points (m, 2) in mm, mistakes) from the rows of the file."""
    names = HEADERS[kind]
    header = [cell.strip() for cell in rows[0]] if rows else []
    scale = {tuple(f"{n}_{unit}" for n in names): s for unit, s in (("mm", 1.0), ("in", MM_PER_INCH))}
    if tuple(header) not in scale:
        shown = show_value(",".join(header)) if header else "nothing"
        wanted = " or ".join(",".join(pair) for pair in scale)
        return None, [Mistake(file, "first line", shown, wanted, "the names carry the unit")]
    points, mistakes = [], []
    for number, row in enumerate(rows[1:], start=1):
        try:
            point = [float(cell) for cell in row]
        except ValueError:
            point = []
        if len(point) != 2 or not np.isfinite(point).all():
            mistakes.append(Mistake(file, f"point {number}", show_value(",".join(row)), "two numbers with a comma"))
        points.append(point)
    return (None, mistakes) if mistakes else (np.array(points).reshape(-1, 2) * scale[tuple(header)], [])


def _check_points(points: np.ndarray, file: str, kind: str) -> list[Mistake]:
    """Mistakes of a drawn polygon (m, 2) in mm."""
    if len(points) < FEWEST:
        return [Mistake(file, "points", f"{len(points)}", f"at least {FEWEST}", "draw the outline finer")]
    length = np.ptp(points[:, 0])
    if not LENGTHS[0] <= length <= LENGTHS[1]:
        allowed = f"a body {LENGTHS[0]:g} to {LENGTHS[1]:g} mm long"
        return [Mistake(file, "length of the drawing", f"{length:.4g} mm", allowed, likely(length, *LENGTHS))]
    if kind == "full_outline_csv":
        crossing = self_crossing(points)
        return [_crossing(file, points[crossing[0]])] if crossing else []
    mistakes = []
    for name, point in (("first point", points[0]), ("last point", points[-1])):
        if abs(point[1]) > ON_AXIS:
            allowed = "half_width 0: the half outline starts and ends on the centre line"
            mistakes.append(Mistake(file, name, f"{point[0]:g},{point[1]:g}", allowed))
    low = int(np.argmin(points[:, 1]))
    if points[low, 1] < 0:
        value = f"{points[low, 0]:g},{points[low, 1]:g}"
        mistakes.append(Mistake(file, f"point {low + 1}", value, "half widths of 0 or more"))
    whole = np.vstack([points * [1, -1], points[-2:0:-1]])
    crossing = None if mistakes else self_crossing(whole)
    return mistakes + ([_crossing(file, points[min(crossing[0], len(points) - 1)])] if crossing else [])


def _crossing(file: str, point: np.ndarray) -> Mistake:
    where = f"crosses itself near x = {point[0]:.0f} mm, y = {abs(point[1]):.0f} mm"
    return Mistake(file, "outline", where, "a line that meets itself nowhere", "are all points in order?")


def has_drawing(shape: Shape | TomlTable, kind: str) -> bool:
    """Whether the table [body] (dict or model) names a drawing of this kind."""
    value = shape.get(kind, NOTHING) if isinstance(shape, dict) else getattr(shape, kind)
    return value is not NOTHING and value is not None


def outline_from_drawing(points: np.ndarray, is_half: bool) -> Outline:
    """Outline [m] through drawn points: (m, 2), tail to neck and half width if is_half, else once round the body.

    Cubic splines over the chord length between corners; periodic when there is no corner. Chord length makes the
    spline of points on a circle accurate to fourth order in their spacing.
    """
    points = np.asarray(points, float)
    if is_half:
        points = np.vstack([points * [1, -1], points[::-1]])
    points = without_doubles(points)
    if signed_area(points) < 0:
        points = points[::-1]
    sharp = np.flatnonzero(np.abs(_turning(points)) > CORNER)
    smooth = _spline_pieces(points, sharp)
    tail = [smooth[:, 0].min(), 0.0]
    return outline_through(smooth - tail, points[sharp] - tail)


def _spline_pieces(points: np.ndarray, sharp: np.ndarray) -> np.ndarray:
    """Dense points (n, 2) through a closed polygon (m, 2): splines between the corners with indices `sharp`."""
    from scipy.interpolate import CubicSpline

    if len(sharp) == 0:
        loop = closed(points)
        chord = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(loop, axis=0), axis=1))])
        fine = np.linspace(0, chord[-1], SAMPLES, endpoint=False)
        return CubicSpline(chord, loop, bc_type="periodic")(fine)
    loop = np.roll(points, -sharp[0], axis=0)
    ends = np.append(sharp - sharp[0], len(points))
    pieces = []
    for first, last in pairwise(ends):
        piece = closed(loop)[first : last + 1]
        chord = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(piece, axis=0), axis=1))])
        fine = np.linspace(0, chord[-1], max(2, int(SAMPLES * len(piece) / len(points))))
        kind = "not-a-knot" if len(piece) > 3 else "natural"
        pieces.append(CubicSpline(chord, piece, bc_type=kind)(fine)[:-1])
    return np.vstack(pieces)


def _turning(points: np.ndarray) -> np.ndarray:
    """Angle [rad] by which the closed polygon turns at each point, (n,)."""
    ahead = np.roll(points, -1, axis=0) - points
    behind = points - np.roll(points, 1, axis=0)
    return np.arctan2(behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0], np.sum(behind * ahead, axis=1))
