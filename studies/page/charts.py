"""Curves of several builds for the page, drawn as plain SVG: one stroke each, and below what each changes."""

from dataclasses import dataclass
from html import escape

import numpy as np

STROKES = ("", "7 3", "2.5 2", "9 3 2 3", "4 1.5 1.5 1.5", "1 2.5", "12 3")
INKS = ("#1a1a1a", "#053e90", "#a8701a", "#676da0", "#7a756a", "#3a3a3a", "#a5a099")
TICKS = (40, 63, 100, 160, 250, 400, 630, 1000)
MOST = 6.0  # dB of a difference that is drawn; peaks that move give more close beside them
LINE, LEFT, RIGHT = 17.0, 46.0, 8.0  # height of a line of the key; margins


@dataclass(frozen=True)
class Curve:
    """One build's values over frequency."""

    label: str
    frequency: np.ndarray  # (w,) Hz
    value: np.ndarray  # (w,) dB


def curves_svg(curves, words, width=760.0, valid_to=np.inf):
    """SVG text: the curves over one another, then their differences from the first. words: the upper panel's unit."""
    tall, low = (230.0, 120.0) if width > 560 else (190.0, 110.0)
    known = [c.frequency <= valid_to for c in curves]
    x = _across(curves[0].frequency, width)
    own = curves[0].value
    panels, top = [], 18.0
    cut = f" (cut at ± {MOST:g})" if any(np.abs(c.value - own)[k].max() > MOST for c, k in zip(curves, known)) else ""
    whole = [(c, k, c.value) for c, k in zip(curves, known)]
    apart = [(c, k, np.clip(c.value - own, -MOST, MOST)) for c, k in zip(curves, known)]
    for rows, title, height in (
        (whole, words, tall),
        (apart[1:], f"the same, against the first, dB{cut}", low),
    ):
        if rows:
            first = len(curves) - len(rows)
            panels += _panel(rows, first, title, top, height, x, width, valid_to)
            top += height + 44
    key = [_key(k, c.label, top - 14 + LINE * k) for k, c in enumerate(curves)]
    high = top - 14 + LINE * len(curves)
    label = f"Curves over frequency, {words}: {'; '.join(c.label for c in curves)}."
    return "\n".join(
        [
            f'<svg viewBox="0 0 {width:g} {high:.0f}" width="{width:g}" height="{high:.0f}" role="img" '
            f'aria-label="{escape(label)}" font-family="system-ui, sans-serif" font-size="12.5" fill="#1a1a1a">',
            *panels,
            *key,
            "</svg>",
        ]
    )


def _across(frequency, width):
    low, high = np.log(frequency[0]), np.log(frequency[-1])
    return lambda f: LEFT + (width - LEFT - RIGHT) * (np.log(f) - low) / (high - low)


def _panel(rows, first, title, top, height, x, width, valid_to):
    """Frame, grid, words and curves of one panel."""
    values = np.concatenate([v[k] for _, k, v in rows])
    step = _step(np.ptp(values))
    low, high = step * np.floor(values.min() / step), step * np.ceil(values.max() / step)
    high = high if high > low else low + step
    up = lambda v: top + height * (high - v) / (high - low)
    frequency = rows[0][0].frequency
    out = [f'<text x="{LEFT:g}" y="{top - 6:.0f}">{escape(title)}</text>']
    for v in np.arange(low, high + step / 2, step):
        out.append(_line(LEFT, up(v), width - RIGHT, up(v), "#e2dfd8" if abs(v) > 1e-9 or first == 0 else "#8d8a83"))
        out.append(f'<text x="{LEFT - 6:g}" y="{up(v) + 4:.1f}" text-anchor="end">{v:g}</text>'.replace(">-", ">−"))
    for f in TICKS if width > 560 else TICKS[1::2]:
        if frequency[0] <= f <= frequency[-1]:
            out.append(_line(x(f), top, x(f), top + height, "#e2dfd8"))
            words = f"{f} Hz" if f == TICKS[-1] and width > 560 else f"{f}"
            anchor = "end" if f == TICKS[-1] else "middle"
            out.append(f'<text x="{x(f):.1f}" y="{top + height + 15:.1f}" text-anchor="{anchor}">{words}</text>')
    if valid_to < frequency[-1]:
        left, wide = x(valid_to), x(frequency[-1]) - x(valid_to)
        out.append(f'<rect x="{left:.1f}" y="{top:g}" width="{wide:.1f}" height="{height:g}" fill="#f1efe9"/>')
    for k, (_, good, v) in reversed(list(enumerate(rows, first))):
        thick = 2.0 if k == 0 else 1.3
        path = "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x(frequency[good]), up(v[good])))
        out.append(
            f'<path d="{path}" fill="none" stroke="{_ink(k)}" stroke-width="{thick}" stroke-dasharray="{_stroke(k)}"/>'
        )
    return out


def _step(span):
    """A round step that cuts a span into three to eight."""
    raw = max(span, 1e-9) / 5
    power = 10.0 ** np.floor(np.log10(raw))
    return float(power * next(m for m in (1, 2, 3, 5, 10) if m * power >= raw))


def _line(x0, y0, x1, y1, ink):
    return f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{ink}" stroke-width="1"/>'


def _ink(k):
    return INKS[k % len(INKS)]


def _stroke(k):
    return STROKES[k % len(STROKES)]


def _key(k, label, y):
    stroke = f'<path d="M{LEFT:g} {y:.1f}H{LEFT + 38:g}" stroke="{_ink(k)}" stroke-width="{2.0 if k == 0 else 1.3}" stroke-dasharray="{_stroke(k)}"/>'
    return f'{stroke}<text x="{LEFT + 46:g}" y="{y + 4:.1f}">{escape(label)}</text>'
