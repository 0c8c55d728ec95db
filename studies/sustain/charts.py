"""Two charts of the sustain page: where a pluck's energy goes, and each doubt of a change by itself."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.body_modes import STRING
from meshes.supports import FREE
from studies.common.groups import IN_RIM
from studies.drawing import svg
from studies.drawing.scales import Axis, multiples, round_up
from studies.drawing.svg import INK, PAPER, Letters, Pen
from studies.sustain.result import Compared
from studies.sustain.thresholds import LIMITS, Measure

WIDTH, EDGE = 640.0, 4.0
SHADE = "#ece8dd"  # between the ends of a threshold
BAR, GAP = 30.0, 26.0  # height of a bar; of the line of words above it
DARK = ("rim", "back", "top and braces")
LEAST = 0.055  # share below which no figure is written into a piece
EDGED = Pen(width=0.6)
STYLE = f"width:100%;min-width:30rem;max-width:{WIDTH + 80:g}px;height:auto"
LANE, LEFT, RIGHT = 15.0, 140.0, 30.0  # height of one uncertainty's line; place for its name; margin


@dataclass(frozen=True)
class Piece:
    """Of a bar."""

    groups: tuple[str, ...]  # of parts, and 'string'
    ink: str
    words: str


PIECES = {  # from dark to light in even steps of lightness; the strings' part is hatched, so that it reads without colour too
    "rim": Piece(IN_RIM, "#053e90", "heat in the rim"),
    "back": Piece(("back",), "#505d9c", "heat in the back"),
    "top and braces": Piece(("top", "braces"), "#7d7fa0", "heat in top and braces"),
    "bridge and neck": Piece(("bridge", "neck"), "#93928e", "heat in bridge and neck"),
    "air and soundhole": Piece(("air", "opening"), "#afa280", "air and soundhole"),
    "holder": Piece(("supports",), "#c5b480", "into the bands"),
    "sound": Piece(("radiation",), "#ffe98d", "goes out as sound"),
    "strings": Piece((STRING,), "url(#strings)", "heat in the strings"),
}


def bar_groups(share: dict[str, float]) -> dict[str, float]:
    """{piece of the bar: share} from {group or 'string': share}; every group belongs to one piece."""
    return {name: sum(share[group] for group in piece.groups) for name, piece in PIECES.items()}


def energy_svg(rows: Sequence[tuple[str, dict[str, float]]], how: str) -> str:
    """SVG text of stacked bars. rows: [(words, {group or 'string': share})]; shares sum to 1."""
    parts, y = [svg.hatching("strings", PAPER, 2)], 0.0
    bars = [(words, bar_groups(share)) for words, share in rows]
    for words, bar in bars:
        parts.append(svg.writing(EDGE, y + 18, words, Letters(bold=not y)))
        parts += _stacked(bar, y + GAP, how)
        y += BAR + GAP
    signs = [(svg.box(0, -8, 22, 13, piece.ink, EDGED), _named(name, how)) for name, piece in PIECES.items()]
    parts += svg.key(signs, EDGE, y + 20, 28, 22, 3, WIDTH / 3, 13)
    told = "; ".join(
        f"{words}: {', '.join(f'{name} {100 * v:.0f} %' for name, v in bar.items())}" for words, bar in bars
    )
    return svg.drawing(parts, f"Where a pluck's energy goes, {how}", f"{told}.", WIDTH, y + 10 + 22 * 3, 14, STYLE)


def _stacked(share, y, how):
    """One bar of {piece: share}, per cent written into the larger pieces."""
    parts, x = [], EDGE
    for name, value in share.items():
        wide = (WIDTH - 2 * EDGE) * value
        parts.append(svg.box(x, y, wide, BAR, PIECES[name].ink, EDGED, f"{_named(name, how)}: {100 * value:.1f} %"))
        if value > LEAST:
            middle, foot = x + wide / 2, y + BAR / 2 + 5
            if name == "strings":
                parts.append(svg.box(middle - 12, foot - 14, 24, 18, PAPER))
            ink = PAPER if name in DARK else INK
            parts.append(svg.writing(middle, foot, f"{100 * value:.0f}", Letters("middle", ink=ink)))
        x += wide
    return parts


def _named(name, how):
    return "into the player" if name == "holder" and how != FREE else PIECES[name].words


def uncertainty_svg(compared: Sequence[Compared], measure: Measure, how: str) -> str:
    """SVG text: of each build its median change and one line for each doubt, over the threshold's grey range."""
    changes = [(c, c.judged[measure.key]) for c in compared]
    lanes = [*dict.fromkeys(name for _, j in changes for name in j.doubts), "all together"]
    across = _axis(measure, changes)
    block = GAP + LANE * len(lanes) + 6
    tall = len(compared) * block
    x0, x1 = (_place(across, v) for v in LIMITS[measure.key])
    parts = [svg.box(x0, 4, x1 - x0, tall, SHADE), svg.line(across.at(0), 4, across.at(0), tall + 4, Pen())]
    for k, (c, j) in enumerate(changes):
        y = k * block + 4
        parts.append(svg.writing(EDGE, y + 17, c.build.label, Letters(bold=True, halo=True)))
        spans = j.doubts | {"all together": (j.low, j.high)}
        for lane, name in enumerate(lanes):
            at = y + GAP + LANE * lane + 5
            parts.append(svg.writing(LEFT - 8, at + 4, name, Letters("end", 12)))
            parts += _range_marks(across, j.ratio, spans.get(name), at, name == "all together")
    parts += foot(across, measure, tall + 4)
    told = "; ".join(
        f"{c.build.label}: {measure.told(j.ratio)}, all doubts {measure.span(j.low, j.high)}" for c, j in changes
    )
    title = f"Change of the median note, {measure.words}, {how}, with each doubt by itself"
    return svg.drawing(parts, title, f"{told}.", WIDTH, tall + 60, 14, STYLE)


def foot(across: Axis, measure: Measure, y: float) -> list[str]:
    """Numbers below a chart that ends at y, and what they are."""
    parts = []
    for value, at in _marks(across, measure):
        x, words = (
            float(across.at(at)),
            f"{svg.axis_number(value, '+g')} {'dB' if measure.decibel else '%'}" if value else "0",
        )
        parts += [svg.line(x, y, x, y + 5, Pen()), svg.writing(x, y + 20, words, Letters("middle", 12))]
    words = f"change of the {measure.words}; shaded: not heard"
    return [*parts, svg.writing((LEFT + WIDTH) / 2, y + 42, words, Letters("middle", 13))]


def _marks(across, measure):
    """[(round number of dB or per cent, its natural logarithm)] between the ends of an axis."""
    ends = np.array([across.low, across.high])
    units = 10 / np.log(10) * ends if measure.decibel else 100 * np.expm1(ends)
    values = multiples(*units, round_up(float(np.ptp(units)) / 7))
    return [(v, v * np.log(10) / 10 if measure.decibel else np.log1p(v / 100)) for v in values]


def _range_marks(across, ratio, span, y, whole):
    """A line from end to end with caps, and the ratio's dot; words where there is no span."""
    if not span:
        return [svg.writing(LEFT + 4, y + 4, "not computed", Letters(size=12))]
    x0, x1 = (_place(across, v) for v in span)
    marks = [svg.path(f"M{x0:.1f} {y:.1f}H{max(x1, x0 + 0.5):.1f}", Pen("#053e90", 4 if whole else 1.8))]
    marks += [svg.line(x, y - 4, x, y + 4, Pen("#053e90", 1.4)) for x in (x0, x1)]
    return [*marks, svg.dot(_place(across, ratio), y, 4 if whole else 2.6, INK)]


def _place(across, ratio):
    """Where a ratio lies, no further out than the chart."""
    return float(across.at(np.clip(np.log(ratio), across.low, across.high)))


def _axis(measure, changes):
    """Axis of the natural logarithm of every build with all doubts, from a little beyond the threshold at least."""
    ends = np.log([v for _, j in changes for v in (j.low, j.high)])
    low, high = np.log(LIMITS[measure.key])
    return Axis(min(1.2 * low, *ends), max(1.2 * high, *ends), LEFT, WIDTH - RIGHT)
