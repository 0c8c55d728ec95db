"""The chart that a page begins with: what each build changes, with its error bars, and the lines where hearing begins."""

from collections.abc import Sequence
from dataclasses import dataclass

from studies.common.first_screen import Lane
from studies.drawing import svg
from studies.drawing.scales import Axis
from studies.drawing.svg import GRID, INK, QUIET, Letters, Pen

WIDTH, LEFT, RIGHT = 358.0, 72.0, 96.0  # as wide as a phone shows it; place for a bar's name; for its figure
HEAD, LANE, FOOT = 15.0, 11.5, 36.0  # heights of a build's name, of a bar, of what stands below
SURE, SHADE = "#053e90", "#ece8dd"
STYLE = "width:100%;max-width:30rem;height:auto;display:block"
CROWDED = 45.0  # between two numbers
BEYOND = 1.15  # times the last thing to be shown


@dataclass(frozen=True)
class Scale:
    """What stands across: between the ends, a shaded range beyond which something begins; numbers below."""

    ends: tuple[float, float]  # nothing is drawn left of 0 where that is the first of them
    marks: Sequence[tuple[float, str]]


def builds_svg(lanes: Sequence[Lane], scale: Scale, title: str, foot: str) -> str:
    """SVG text. foot: what the numbers are."""
    bars = [bar for lane in lanes for bar in lane.bars]
    first, last = scale.ends
    far = BEYOND * max([last, *(abs(end) for bar in bars for end in (bar.low, bar.high))])
    across, tall = Axis(-far if first else 0.0, far, LEFT, WIDTH - RIGHT), HEAD * len(lanes) + LANE * len(bars) + 4
    left, middle, right = (float(across.at(v)) for v in (first, 0.0, last))
    parts, y = [], 0.0
    for lane in lanes:
        parts.append(svg.writing(0, y + 11, lane.label, Letters(bold=True)))
        y += HEAD
        end = y + LANE * len(lane.bars) + 2
        parts += [svg.box(left, y, right - left, end - y, SHADE), svg.line(middle, y, middle, end, Pen(GRID, 1.4))]
        parts += [svg.line(x, y, x, end, Pen(INK, 1.2, "4 3")) for x in (left, right) if x != middle]
        for bar in lane.bars:
            parts += _bar(bar, across, y + LANE / 2)
            y += LANE
    parts += [_mark(across, v, words, tall + 13, last) for v, words in scale.marks]
    parts.append(svg.writing(0, tall + 30, foot, Letters(size=10)))
    told = "; ".join(f"{lane.label}: {', '.join(f'{b.name} {b.told}' for b in lane.bars)}" for lane in lanes)
    return svg.drawing(parts, title, f"{told}. {foot}.", WIDTH, tall + FOOT, 11, STYLE)


def _mark(across, value, words, y, last):
    """A number below; beside its place where two would touch."""
    crowded = across.at(last) - across.at(0.0) < CROWDED
    if crowded and not value:
        return ""
    anchor = "middle" if not crowded else "end" if value < 0 else "start"
    return svg.writing(float(across.at(value)), y, words, Letters(anchor, 10))


def _bar(bar, across, y):
    ink = SURE if bar.sure else QUIET
    x0, x1 = (float(across.at(v)) for v in (bar.low, bar.high))
    return [
        svg.writing(LEFT - 6, y + 4, bar.name, Letters("end", 10)),
        svg.line(x0, y, max(x1, x0 + 0.5), y, Pen(ink, 2)),
        *(svg.line(x, y - 3, x, y + 3, Pen(ink, 1.4)) for x in (x0, x1)),
        *(svg.dot(float(across.at(v)), y, 2.4, ink) for v in bar.dots),
        svg.writing(WIDTH - RIGHT + 6, y + 4, bar.told, Letters(size=10, ink=INK if bar.sure else "#6b6862")),
    ]
