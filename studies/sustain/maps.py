"""The fretboard as a map for print: every string at every fret coloured by a figure of its note.

Drawn as in tablature, which is also what a player sees who looks down at the neck: nut on the left, the highest string
on top, frets in their true proportion. SVG, PDF and PNG at a print width, a caption beside each.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from fem.fretboard import Fretboard, Wolf
from fem.strings import String
from meshes.lengths import MM_PER_INCH
from studies.common.note_names import short_name
from studies.drawing.scales import Axis
from studies.drawing.sheet import SCALE, THEMES, lettering, sheet, strip_of_colours

WIDTH = 180.0  # mm of print
ROW, OPEN, MARGIN = 7.6, 9.5, 2.0  # mm: height of a string, width of the open strings' column, around all
NAMES, HEAD, UNDER, FOOT = 8.0, 11.0, 6.5, 19.0  # mm: string names, heading, fret numbers, scale and key
INLAYS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)  # frets with a marker; the twelfth and its octave have two
GREY, HATCH = "#f1f1f1", "////"  # notes that are not answered for
NARROW = 3.4  # mm of a fret below which no figure is written into it
NAMELESS = 3.0  # mm of a fret below which its notes are not named, and only marked frets are numbered
DARK = 0.32  # of the scale: white letters below
STEPS = 256
Ends = tuple[float, float]  # of a scale
WITHIN = 96  # per cent of the notes that a scale about a middle holds; the others have the colour of its end


@dataclass(frozen=True)
class Board:
    """A fretboard's notes; arrays (strings, frets + 1), lowest string first, column 0 the open string."""

    names: tuple[str, ...]
    frequency: np.ndarray  # Hz
    valid: np.ndarray  # bool
    highest_valid: float  # Hz
    wolves: frozenset[tuple[int, int]] = frozenset()  # {(string, fret)}


@dataclass(frozen=True)
class Measure:
    """What colours a map: how it is told, where its scale ends, and the words at both ends."""

    name: str  # of the file
    title: str
    unit: str  # of the scale's numbers
    ends: tuple[str, str]
    written: str  # format of a figure in its place
    logarithmic: bool = True
    about: float | None = None  # value in the middle of the scale; None: the scale runs from least to most


DECAY = Measure("decay", "Time to fall by 60 dB", "s", ("dies early", "rings long"), "{:#.2g}")
LONGER = "Decay time over that of the sheet's own build"
RATIO = Measure("ratio", LONGER, "times", ("dies earlier", "rings longer"), "{:.2f}", about=1.0)
IN_RIM = "Part of the pluck's energy turned to heat in the rim"
DISSIPATED = Measure("rim-heat", IN_RIM, "%", ("little", "much"), "{:.1f}", logarithmic=False)


def board_of(strings: Sequence[String], fretboard: Fretboard, wolves: Iterable[Wolf] = ()) -> Board:
    """Board of Strings, a Fretboard and its Wolf notes."""
    names, marked = tuple(s.name for s in strings), frozenset((w.string, w.fret) for w in wolves)
    return Board(names, fretboard.frequency, fretboard.valid, fretboard.highest_valid, marked)


def scale_ends(measure: Measure, *values: np.ndarray) -> Ends:
    """(low, high) of one scale for several maps, rounded outward; about the middle, where there is one, it holds WITHIN per
    cent of the notes: a few beyond would take the colour from all others.
    """
    known = np.concatenate([v[np.isfinite(v)] for v in values]) if values else np.array([])
    if measure.logarithmic:
        known = known[known > 0]
    if not known.size:
        return (0.5, 2.0) if measure.logarithmic else (0.0, 1.0)
    if measure.about is not None:
        far = max(np.percentile(np.abs(np.log(known / measure.about)), WITHIN), np.log(1.02))
        far = np.ceil(far / np.log(1.02)) * np.log(1.02)
        return float(measure.about * np.exp(-far)), float(measure.about * np.exp(far))
    if not measure.logarithmic:
        return 0.0, float(_outward(known.max()))
    low, high = known.min(), known.max()
    low, high = (low, high) if high > 1.05 * low else (low / 1.05, high * 1.05)
    return float(1 / _outward(1 / low)), float(_outward(high))


def _outward(value):
    """The next of two-digit numbers above a value."""
    power = 10.0 ** (np.floor(np.log10(value)) - 1) if value > 0 else 1.0
    return np.ceil(value / power - 1e-9) * power


def shade(measure: Measure, value: np.ndarray, ends: Ends) -> np.ndarray:
    """Place (0..1) on the scale of values between `ends`; nan stays nan."""
    return Axis(*ends, logarithmic=measure.logarithmic).at(value).clip(0, 1)


def map_figure(board: Board, values: np.ndarray, measure: Measure, heading: str, ends: Ends) -> Figure:
    """Figure of one map. values (strings, frets + 1); heading: build and support, over the map; ends: of the scale."""
    strings, columns = values.shape
    high = HEAD + strings * ROW + UNDER + FOOT + 2 * MARGIN
    page = sheet(WIDTH, high)
    ax = page.axes(0, 0, WIDTH, high)
    ax.set(xlim=(0, WIDTH), ylim=(0, high))
    ax.set_axis_off()
    bottom = MARGIN + FOOT + UNDER
    edge = fret_edges(columns - 1, MARGIN + NAMES + OPEN, WIDTH - MARGIN - 1)
    shades = shade(measure, values, ends)
    for s in range(strings):
        _string(ax, board, s, bottom + s * ROW, edge, values, shades, measure)
    _neck(ax, edge, bottom, strings)
    size = fitting(heading, 8.5)
    _words(ax, MARGIN + 1, high - MARGIN - 2.4, heading, size, THEMES["light"].ink, "left")
    told = f"{measure.title}, {measure.unit}" if measure.about is None else f"{measure.title} (1: as long)"
    size = min(0.82 * size, fitting(told, 7))
    _words(ax, MARGIN + 1, high - MARGIN - 6.6, told, size, THEMES["light"].quiet, "left")
    _foot(ax, board, measure, ends, values[board.valid])
    return page.figure


def fitting(text: str, most: float) -> float:
    """Size [pt] at which a line of text fits, `most` at the largest; a letter is some .6 of its size wide."""
    return min(most, (WIDTH - 2 * MARGIN - 1) / (0.6 * len(text)) * 72 / MM_PER_INCH)


def fret_edges(frets: int, nut: float, end: float) -> np.ndarray:
    """(frets + 2,) mm: left edges of the open column and of each fret, and the last fret; equal temperament."""
    place = 1 - 2.0 ** (-np.arange(frets + 1) / 12)
    span = place[-1] if frets else 1.0
    return np.concatenate([[nut - OPEN], nut + (end - nut) * place / span])


def _string(ax, board, s, base, edge, values, shades, measure):
    """One string: its cells, its line, its name."""
    middle, right = base + ROW / 2, edge[-1]
    for fret in range(values.shape[1]):
        left, wide = edge[fret], edge[fret + 1] - edge[fret]
        valid = board.valid[s, fret] and np.isfinite(values[s, fret])
        face = SCALE(shades[s, fret]) if valid else GREY
        ax.add_patch(Rectangle((left, base), wide, ROW, facecolor=face, edgecolor="none", lw=0))
        if not board.valid[s, fret]:
            ax.add_patch(Rectangle((left, base), wide, ROW, facecolor="none", edgecolor="#c4c4c4", hatch=HATCH, lw=0))
        ink = "w" if valid and shades[s, fret] < DARK else "0.35" if not valid else "0"
        ax.plot([left, left + wide], [middle, middle], color=ink, lw=0.25 + 0.09 * (len(board.names) - s), alpha=0.45)
        if wide >= NARROW:
            told = measure.written.format(values[s, fret]).rstrip(".") if valid else "–"
            _words(ax, left + wide / 2, middle - 0.26 * ROW, told, min(5.2, 1.05 * wide), ink, "center")
        if wide >= NAMELESS:
            size, name = 4.8 if wide > 4.6 else 4.0, short_name(board.frequency[s, fret])
            _words(ax, left + wide / 2, middle + 0.25 * ROW, name, size, ink, "center")
        if (s, fret) in board.wolves and board.valid[s, fret]:
            _wolf(ax, left, base, wide)
    _words(ax, edge[0] - 1.2, middle, board.names[s], 7, THEMES["light"].ink, "right")
    ax.plot([edge[0], right], [base, base], color="w", lw=0.4)


def _wolf(ax, left, base, wide):
    """A frame, black within white, that stands out on every colour."""
    edge = min(0.45, 0.07 * wide)
    for lw, color in ((2.4, "w"), (1.1, "0")) if wide > 5 else ((1.8, "w"), (0.9, "0")):
        box = (left + edge, base + 0.5), wide - 2 * edge, ROW - 1.0
        ax.add_patch(Rectangle(*box, facecolor="none", edgecolor=color, lw=lw, zorder=4))


def _neck(ax, edge, bottom, strings):
    """Frets, nut, markers and their numbers."""
    top = bottom + strings * ROW
    for k, x in enumerate(edge[1:]):
        color, lw = ("0.35", 0.7) if k else ("0.1", 2.4)
        ax.plot([x, x], [bottom, top], color=color, lw=lw, solid_capstyle="butt")
    box = (edge[0], bottom), edge[-1] - edge[0], top - bottom
    ax.add_patch(Rectangle(*box, facecolor="none", edgecolor="0.2", lw=0.6))
    for fret in range(1, len(edge) - 1):
        x = (edge[fret] + edge[fret + 1]) / 2
        if fret in INLAYS:
            for shift in (-1.0, 1.0) if fret % 12 == 0 else (0.0,):
                ax.plot([x + shift], [bottom - 1.5], "o", ms=2.6, color="0.25", mew=0)
        if fret in INLAYS or edge[fret + 1] - edge[fret] >= NAMELESS:
            _words(ax, x, bottom - 4.4, str(fret), 5.6 if fret in INLAYS else 5.0, "0.25", "center")
    _words(ax, (edge[0] + edge[1]) / 2, bottom - 4.4, "open", 5.6, "0.25", "center")


def _foot(ax, board, measure, ends, values):
    """Scale with numbers, and the key."""
    left, right, base = MARGIN + 19, MARGIN + 19 + 0.45 * WIDTH, MARGIN + 13.0
    strip_of_colours(ax, STEPS, (left, right, base, base + 3.2))
    ax.set(xlim=(0, WIDTH), aspect="auto")
    ax.add_patch(Rectangle((left, base), right - left, 3.2, facecolor="none", edgecolor="0.3", lw=0.4, zorder=3))
    quiet = THEMES["light"].quiet
    for value, told in zip(scale_marks(measure, ends), mark_words(measure, ends, values)):
        x = left + (right - left) * float(shade(measure, value, ends))
        ax.plot([x, x], [base - 0.8, base], color="0.3", lw=0.5)
        _words(ax, x, base - 2.4, told, 6, quiet, "center")
    _words(ax, left - 1.5, base + 1.6, measure.ends[0], 6.2, quiet, "right")
    _words(ax, right + 1.5, base + 1.6, measure.ends[1], 6.2, quiet, "left")
    _key(ax, board)


def _key(ax, board):
    """What hatching and frames mean, and how the neck lies."""
    x, y, quiet = MARGIN + 1, MARGIN + 5.6, THEMES["light"].quiet
    if not board.valid.all():
        ax.add_patch(Rectangle((x, y - 1.6), 4.6, 3.2, facecolor=GREY, edgecolor="#c4c4c4", hatch=HATCH, lw=0))
        _words(ax, x + 6, y, f"above {board.highest_valid:.0f} Hz: not answered for", 6.2, quiet, "left")
        x += 48
    if board.wolves:
        ax.add_patch(Rectangle((x, y - 1.4), 4.2, 2.8, facecolor="none", edgecolor="0", lw=1.1))
        _words(ax, x + 6, y, "framed: may beat with the body (wolf note)", 6.2, quiet, "left")
    note = "Nut on the left, highest string on top, as in tablature and as a player looks down at the neck."
    _words(ax, MARGIN + 1, MARGIN + 1.4, note, fitting(note, 6.2), quiet, "left")


def scale_marks(measure: Measure, ends: Ends) -> list[float]:
    """Five values along the scale, the middle one among them, rounded as far as they stay apart."""
    low, high = ends
    spaced = np.geomspace(low, high, 5) if measure.logarithmic else np.linspace(low, high, 5)
    return [float(f"{v:.2g}") if measure.about is None else float(f"{v:.3g}") for v in spaced]


def mark_words(measure: Measure, ends: Ends, values: np.ndarray) -> list[str]:
    """The marks as they are written; the outer ones say so where values lie beyond."""
    told = [f"{v:.3g}" if measure.about is None else f"{v:.2f}" for v in scale_marks(measure, ends)]
    below, above = np.any(values < ends[0] * 0.999), np.any(values > ends[1] * 1.001)
    return [("≤ " if below else "") + told[0], *told[1:-1], ("≥ " if above else "") + told[-1]]


def _words(ax, x, y, text, size, color, ha):
    family = [lettering(), "DejaVu Sans"]  # the second one has every sharp sign
    ax.text(x, y, text, size=size, color=color, ha=ha, va="center", family=family, zorder=6)
