"""Line, dot and parallel-coordinate charts as inline SVG: no script, no font, nothing from the network."""

import html
from itertools import pairwise

import numpy as np

COLOURS = (
    "#1b5e8c",
    "#b4531f",
    "#3d7a3a",
    "#7a4a8c",
    "#8a6d1d",
    "#444444",
    "#a02c4a",
    "#2a7f7f",
)  # told apart in print
W, H, LEFT, BOTTOM, TOP, RIGHT = 420, 260, 58, 44, 14, 14
WORD_ROOM = 0.2  # of the axis, beside the first and the last word on it


def ticks(low, high, most=5):
    """Round numbers between low and high."""
    if not high > low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(k * power for k in (1, 2, 5, 10) if k * power >= rough)
    return [float(v) for v in np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step]


class Axes:
    """Maps numbers to places on a chart and draws its frame."""

    def __init__(self, x, y, x_label, y_label, words=None):
        pad = lambda a, b, room=0.04: (a - room * (b - a or 1), b + room * (b - a or 1))
        self.x0, self.x1 = pad(float(np.min(x)), float(np.max(x)), WORD_ROOM if words else 0.04)
        self.y0, self.y1 = pad(float(np.min(y)), float(np.max(y)))
        self.labels, self.words = (x_label, y_label), words

    def at(self, x, y):
        return (
            LEFT + (x - self.x0) / (self.x1 - self.x0) * (W - LEFT - RIGHT),
            H - BOTTOM - (y - self.y0) / (self.y1 - self.y0) * (H - BOTTOM - TOP),
        )

    def draw(self, inside, title):
        lines = []
        for v in ticks(self.y0, self.y1):
            _, y = self.at(self.x0, v)
            lines.append(f'<line x1="{LEFT}" y1="{y:.1f}" x2="{W - RIGHT}" y2="{y:.1f}" stroke="#ddd"/>')
            lines.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{v:g}</text>')
        marks = enumerate(self.words) if self.words else ((v, f"{v:g}") for v in ticks(self.x0, self.x1))
        for v, word in marks:
            x, _ = self.at(v, self.y0)
            lines.append(
                f'<text x="{x:.1f}" y="{H - BOTTOM + 16}" text-anchor="middle">{html.escape(str(word))}</text>'
            )
        x_label, y_label = map(html.escape, self.labels)
        lines.append(f'<text x="{(LEFT + W - RIGHT) / 2}" y="{H - 8}" text-anchor="middle">{x_label}</text>')
        lines.append(f'<text transform="translate(13 {H / 2}) rotate(-90)" text-anchor="middle">{y_label}</text>')
        return svg("".join(lines) + inside, title, W, H)


def svg(inside, title, width, height):
    return (
        f'<svg viewBox="0 0 {width} {height}" role="img" aria-label="{html.escape(title)}" xmlns="http://www.w3.org/2000/svg" '
        f'font-family="system-ui, sans-serif" font-size="11" fill="#222"><title>{html.escape(title)}</title>{inside}</svg>'
    )


def effect_chart(rows, name, output, unit_scale=1.0):
    """Mean of an output over a factor, with the range that holds nine tenths of the rows as a grey band."""
    words = [r[0].replace("_", " ") for r in rows] if isinstance(rows[0][0], str) else None
    x = np.arange(len(rows)) if words else np.array([r[0] for r in rows])
    mean, low, high = (unit_scale * np.array([r[i] for r in rows]) for i in (1, 2, 3))
    axes = Axes(x, np.concatenate([low, high]), name, output, words)
    if words:
        inside = "".join(
            f'<line x1="{axes.at(a, 0)[0]:.1f}" x2="{axes.at(a, 0)[0]:.1f}" y1="{axes.at(a, lo)[1]:.1f}" '
            f'y2="{axes.at(a, hi)[1]:.1f}" stroke="#bbb" stroke-width="8"/>'
            for a, lo, hi in zip(x, low, high)
        )
    else:
        band = [axes.at(a, b) for a, b in zip(x, low)] + [axes.at(a, b) for a, b in zip(x[::-1], high[::-1])]
        inside = f'<polygon points="{points(band)}" fill="#e4e4e4"/>'
        inside += f'<polyline points="{points(axes.at(a, b) for a, b in zip(x, mean))}" fill="none" stroke="{COLOURS[0]}" stroke-width="2"/>'
    inside += "".join(
        f'<circle cx="{p:.1f}" cy="{q:.1f}" r="3" fill="{COLOURS[0]}"/>'
        for p, q in (axes.at(a, b) for a, b in zip(x, mean))
    )
    return axes.draw(inside, f"{output} over {name}")


def points(places):
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in places)


def dots_chart(x, y, names, best, x_label, y_label):
    """Dots coloured by name, and the front (indices `best`) as a stepped line with rings."""
    axes = Axes(x, y, x_label, y_label)
    known = list(dict.fromkeys(names))
    colour = {n: COLOURS[i % len(COLOURS)] for i, n in enumerate(known)}
    inside = "".join(
        f'<circle cx="{p:.1f}" cy="{q:.1f}" r="1.6" fill="{colour[n]}" fill-opacity=".5"/>'
        for n, (p, q) in zip(names, (axes.at(a, b) for a, b in zip(x, y)))
    )
    edge = [axes.at(x[i], y[i]) for i in best]
    steps = [p for (a, b), (c, d) in pairwise(edge) for p in ((a, b), (c, b))] + edge[-1:]
    inside += f'<polyline points="{points(steps)}" fill="none" stroke="#222"/>'
    inside += "".join(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="3.5" fill="none" stroke="#222"/>' for a, b in edge)
    for i, n in enumerate(known):
        inside += f'<circle cx="{W - 130}" cy="{TOP + 8 + 15 * i}" r="4" fill="{colour[n]}"/>'
        inside += f'<text x="{W - 120}" y="{TOP + 12 + 15 * i}">{html.escape(n.replace("_", " "))}</text>'
    return axes.draw(inside, f"{y_label} over {x_label}")


def _short(value):
    """'0.0123', '12.3', '1168': three digits, never a power of ten for grams or hertz."""
    return f"{value:.0f}" if 1000 <= abs(value) < 1e6 else f"{value:.3g}"


def parallel_chart(columns, shade):
    """One line for each row across upright axes; columns {name: (n,)}; shade (n,) 0..1, dark: high."""
    width, height, top, bottom = 170 * max(2, len(columns)), 300, 40, 24
    at = np.linspace(80, width - 80, len(columns))
    scaled, inside = [], ""
    for x, (name, v) in zip(at, columns.items()):
        low, high = float(np.min(v)), float(np.max(v))
        scaled.append(height - bottom - (v - low) / ((high - low) or 1) * (height - top - bottom))
        inside += f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{top}" y2="{height - bottom}" stroke="#444"/>'
        inside += f'<text x="{x:.1f}" y="14" text-anchor="middle">{html.escape(name)}</text>'
        inside += f'<text x="{x:.1f}" y="{top - 8}" text-anchor="middle">{_short(high)}</text>'
        inside += f'<text x="{x:.1f}" y="{height - 8}" text-anchor="middle">{_short(low)}</text>'
    lines = ""
    for i in np.argsort(shade):
        tone = int(205 - 175 * shade[i])
        lines += (
            f'<polyline points="{points((x, s[i]) for x, s in zip(at, scaled))}" fill="none" '
            f'stroke="rgb({tone},{tone},{min(255, tone + 40)})" stroke-opacity=".6"/>'
        )
    return svg(lines + inside, "parallel coordinates", width, height)
