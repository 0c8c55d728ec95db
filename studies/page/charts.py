"""Curves of several builds for the page: one stroke each, and below what each changes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from studies.drawing.scales import HERTZ, Axis, multiples, round_up
from studies.drawing.svg import GRID, INK, QUIET, Letters, Pen, box, drawing, key, levels, line, through, writing

STROKES = ("", "7 3", "2.5 2", "9 3 2 3", "4 1.5 1.5 1.5", "1 2.5", "12 3")
INKS = (INK, "#053e90", "#a8701a", "#676da0", "#7a756a", "#3a3a3a", "#a5a099")
STEPS = (1, 2, 3, 5, 10)
MOST = 6.0  # dB of a difference that is drawn; peaks that move give more close beside them
LINE, LEFT, RIGHT = 17.0, 46.0, 8.0  # height of a line of the key; margins


@dataclass(frozen=True)
class Curve:
    """One build's values over frequency."""

    label: str
    frequency: np.ndarray  # (w,) Hz
    value: np.ndarray  # (w,) dB


def curves_svg(curves: Sequence[Curve], told: str, width: float = 760.0, valid_to: float = np.inf) -> str:
    """SVG text: the curves over one another, then their differences from the first. told: the upper panel's unit."""
    tall, low = (230.0, 120.0) if width > 560 else (190.0, 110.0)
    own = curves[0].value
    beyond = any(np.abs(c.value - own)[c.frequency <= valid_to].max() > MOST for c in curves)
    cut = f" (cut at ± {MOST:g})" if beyond else ""
    apart = [Curve(c.label, c.frequency, np.clip(c.value - own, -MOST, MOST)) for c in curves]
    parts, top = [], 18.0
    for shown, title, height in ((curves, told, tall), (apart[1:], f"the same, against the first, dB{cut}", low)):
        if shown:
            first = len(curves) - len(shown)
            parts.append(writing(LEFT, top - 6, title))
            parts += _panel(shown, [_pen(k) for k in range(first, len(curves))], top, height, width, valid_to)
            top += height + 44
    signs = [(line(0, 0, 38, 0, _pen(k)), c.label) for k, c in enumerate(curves)]
    parts += key(signs, LEFT, top - 14, 46, LINE)
    labels = "; ".join(c.label for c in curves)
    return drawing(parts, "Curves over frequency", f"{told}: {labels}.", width, top - 14 + LINE * len(curves))


def _panel(curves, pens, top, height, width, valid_to):
    """Grid, numbers and curves of one panel."""
    frequency = curves[0].frequency
    known = [c.frequency <= valid_to for c in curves]
    values = np.concatenate([c.value[k] for c, k in zip(curves, known)])
    step = round_up(np.ptp(values) / 5, STEPS)
    low, high = step * np.floor(values.min() / step), step * np.ceil(values.max() / step)
    up = Axis(low, high if high > low else low + step, top + height, top)
    across = Axis(frequency[0], frequency[-1], LEFT, width - RIGHT, logarithmic=True)
    out = levels(up, multiples(low, up.high, step), LEFT, width - RIGHT, GRID if pens[0] == _pen(0) else QUIET)
    for f in HERTZ if width > 560 else HERTZ[1::2]:
        if frequency[0] <= f <= frequency[-1]:
            x, last = float(across.at(f)), f == HERTZ[-1]
            told = f"{f} Hz" if last and width > 560 else f"{f}"
            out += [line(x, top, x, top + height, Pen(GRID)),
                    writing(x, top + height + 15, told, Letters("end" if last else "middle"))]  # fmt: skip
    if valid_to < frequency[-1]:
        out.append(box(across.at(valid_to), top, across.end - across.at(valid_to), height, "#f1efe9"))
    for c, k, pen in reversed(list(zip(curves, known, pens))):
        out.append(through(zip(across.at(frequency[k]), up.at(c.value[k])), pen))
    return out


def _pen(k):
    return Pen(INKS[k % len(INKS)], 1.3 if k else 2.0, STROKES[k % len(STROKES)])
