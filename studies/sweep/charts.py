"""Line, dot and parallel-coordinate charts of a night's page."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from studies.drawing.scales import Axis
from studies.drawing.svg import MIDDLE, Pen, axis_number, dot, drawing, key, levels, line, placed, through, writing

COLOURS = (
    "#1b5e8c", "#b4531f", "#3d7a3a", "#7a4a8c", "#8a6d1d", "#444444", "#a02c4a", "#2a7f7f",
)  # fmt: skip # told apart in print
W, H, LEFT, BOTTOM, TOP, RIGHT = 420, 260, 58, 44, 14, 14
ROOM, WORD_ROOM = 0.04, 0.2  # of the axis, beside the first and the last number or word on it
SIZE = 11.0  # of letters


def effect_chart(rows: Sequence[tuple], name: str, output: str, unit_scale: float = 1.0) -> str:
    """Mean of an output over a factor, with the range that holds nine tenths of the rows as a grey band.

    rows: (value or name of a level, mean, low, high) of each level.
    """
    named = [r[0].replace("_", " ") for r in rows] if isinstance(rows[0][0], str) else None
    x = np.arange(len(rows)) if named else np.array([r[0] for r in rows])
    mean, low, high = (unit_scale * np.array([r[i] for r in rows]) for i in (1, 2, 3))
    across, up = _axes(x, np.concatenate([low, high]), WORD_ROOM if named else ROOM)
    at, mean, low, high = across.at(x), *(up.at(v) for v in (mean, low, high))
    if named:
        inside = [line(p, a, p, b, Pen("#bbb", 8)) for p, a, b in zip(at, low, high)]
    else:
        inside = [through([*zip(at, low), *zip(at[::-1], high[::-1])], None, "#e4e4e4")]
        inside.append(through(zip(at, mean), Pen(COLOURS[0], 2)))
    inside += [dot(p, q, 3, COLOURS[0]) for p, q in zip(at, mean)]
    return _framed(inside, (across, up), (name, output), named)


def dots_chart(
    x: np.ndarray, y: np.ndarray, names: Sequence[str], best: Sequence[int], x_label: str, y_label: str
) -> str:
    """Dots coloured by name, and the front (indices `best`) as a stepped line with rings."""
    across, up = _axes(x, y)
    places = list(zip(across.at(x), up.at(y)))
    colour = {n: COLOURS[i % len(COLOURS)] for i, n in enumerate(dict.fromkeys(names))}
    inside = [dot(p, q, 1.6, colour[n], opacity=0.5) for n, (p, q) in zip(names, places)]
    edge = [places[i] for i in best]
    steps = [p for (a, b), (c, d) in pairwise(edge) for p in ((a, b), (c, b))] + edge[-1:]
    inside += [through(steps, Pen()), *(dot(a, b, 3.5, pen=Pen()) for a, b in edge)]
    known = [(dot(0, 0, 4, ink), n.replace("_", " ")) for n, ink in colour.items()]
    return _framed(inside + key(known, W - 130, TOP + 8, 10, 15), (across, up), (x_label, y_label))


def parallel_chart(columns: dict[str, np.ndarray], shade: np.ndarray) -> str:
    """One line for each row across upright axes; columns {name: (n,)}; shade (n,) 0..1, dark: high."""
    width, height, top, bottom = 170 * max(2, len(columns)), 300, 40, 24
    at = np.linspace(80, width - 80, len(columns))
    scaled, inside, lines = [], [], []
    for x, (name, v) in zip(at, columns.items()):
        low, high = float(np.min(v)), float(np.max(v))
        scaled.append(Axis(low, high if high > low else low + 1, height - bottom, top).at(v))
        inside.append(line(x, top, x, height - bottom, Pen("#444")))
        for y, told in ((14, name), (top - 8, _digits(high)), (height - 8, _digits(low))):
            inside.append(writing(x, y, told, MIDDLE))
    for i in np.argsort(shade):
        tone = int(205 - 175 * shade[i])
        pen = Pen(f"rgb({tone},{tone},{min(255, tone + 40)})", opacity=0.6)
        lines.append(through(((x, s[i]) for x, s in zip(at, scaled)), pen))
    return drawing(lines + inside, "parallel coordinates", "", width, height, SIZE)


def _digits(value):
    """'0.0123', '12.3', '1168': three digits, never a power of ten for grams or hertz."""
    return axis_number(value, ".0f" if 1000 <= abs(value) < 1e6 else ".3g")


def _axes(x, y, room=ROOM):
    """Axis across and Axis upward of values, with room beside them."""
    found = []
    for v, start, end, beside in ((x, LEFT, W - RIGHT, room), (y, H - BOTTOM, TOP, ROOM)):
        low, high = float(np.min(v)), float(np.max(v))
        more = beside * (high - low or 1)
        found.append(Axis(low - more, high + more, start, end))
    return found


def _framed(inside, axes, labels, named=None):
    """The chart: numbers, or names of levels, on both axes, and what is drawn between them."""
    across, up = axes
    parts = levels(up, up.ticks(), LEFT, W - RIGHT)
    marks = enumerate(named) if named else ((v, axis_number(v)) for v in across.ticks())
    parts += [writing(across.at(v), H - BOTTOM + 16, told, MIDDLE) for v, told in marks]
    parts.append(writing((LEFT + W - RIGHT) / 2, H - 8, labels[0], MIDDLE))
    parts.append(placed([writing(0, 0, labels[1], MIDDLE)], 13, H / 2, -90))
    return drawing(parts + inside, f"{labels[1]} over {labels[0]}", "", W, H, SIZE)
