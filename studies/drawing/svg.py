"""Drawings as SVG text for a page: no script, no font, nothing from the network; every word escaped. Lengths in pixels."""

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from studies.common.words import minus
from studies.drawing.scales import Axis

INK, PAPER, GRID, QUIET = "#1a1a1a", "#fff", "#e2dfd8", "#8d8a83"


@dataclass(frozen=True)
class Pen:
    """How a line is drawn; dashes: lengths of stroke and gap, one after the other."""

    ink: str = INK
    width: float = 1.0
    dashes: str = ""
    opacity: float = 1.0


@dataclass(frozen=True)
class Letters:
    """How words are written; size None: as large as the drawing's. halo: a white edge, to be read on lines."""

    anchor: str = "start"  # or 'middle', 'end': what lies at the place
    size: float | None = None
    bold: bool = False
    ink: str = INK
    halo: bool = False


PLAIN, END, MIDDLE = Letters(), Letters("end"), Letters("middle")


# --- elements ---


def path(course: str, pen: Pen | None, fill: str = "none", opacity: float = 1.0) -> str:
    """A path by SVG's own words for its course; opacity of the fill."""
    see_through = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
    return f'<path d="{course}" fill="{fill}"{see_through}{_stroke(pen)}/>'


def line(x0: float, y0: float, x1: float, y1: float, pen: Pen) -> str:
    """A straight line."""
    return f'<line x1="{_n(x0)}" y1="{_n(y0)}" x2="{_n(x1)}" y2="{_n(y1)}"{_stroke(pen)}/>'


def through(places: Iterable[tuple[float, float]], pen: Pen | None, fill: str = "none") -> str:
    """A line through places (n, 2)."""
    return path("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in places), pen, fill)


def box(x: float, y: float, wide: float, high: float, fill: str, pen: Pen | None = None, told: str = "") -> str:
    """A rectangle with its upper left corner at (x, y); told: what a pointer held over it is told."""
    within = f"><title>{escape(told)}</title></rect>" if told else "/>"
    return f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(wide)}" height="{_n(high)}" fill="{fill}"{_stroke(pen)}{within}'


def dot(x: float, y: float, radius: float, fill: str = "none", pen: Pen | None = None, opacity: float = 1.0) -> str:
    """A disc or, without fill, a ring."""
    see_through = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
    return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{radius:g}" fill="{fill}"{see_through}{_stroke(pen)}/>'


def writing(x: float, y: float, text: str, letters: Letters = PLAIN, strong: str = "") -> str:
    """A line of words with its foot at y; strong: what follows in bold."""
    look = "" if letters.anchor == "start" else f' text-anchor="{letters.anchor}"'
    look += f' font-size="{letters.size:g}"' if letters.size else ""
    look += ' font-weight="600"' if letters.bold else ""
    look += f' fill="{letters.ink}"' if letters.ink != INK else ""
    look += f' stroke="{PAPER}" stroke-width="3" paint-order="stroke"' if letters.halo else ""
    bold = f'<tspan font-weight="600">{escape(strong)}</tspan>' if strong else ""
    return f'<text x="{_n(x)}" y="{_n(y)}"{look}>{escape(text)}{bold}</text>'


def placed(parts: Iterable[str], x: float, y: float, turn: float = 0.0) -> str:
    """Parts drawn about (0, 0), put at (x, y) and turned clockwise by degrees."""
    turned = f" rotate({turn:g})" if turn else ""
    return f'<g transform="translate({_n(x)} {_n(y)}){turned}">{"".join(parts)}</g>'


def hatching(name: str, ground: str, width: float) -> str:
    """A pattern of slanting lines, to be used as the fill 'url(#name)'; it needs no colour to be told apart."""
    lines = f'<path d="M0 0V6" stroke="{QUIET}" stroke-width="{width:g}"/>'
    turn = 'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"'
    return f'<defs><pattern id="{name}" width="6" height="6" {turn}>{box(0, 0, 6, 6, ground)}{lines}</pattern></defs>'


def _stroke(pen):
    if pen is None:
        return ""
    dashes = f' stroke-dasharray="{pen.dashes}"' if pen.dashes else ""
    faint = f' stroke-opacity="{pen.opacity:g}"' if pen.opacity < 1 else ""
    return f' stroke="{pen.ink}" stroke-width="{pen.width:g}"{dashes}{faint}'


def _n(length):
    return f"{float(length):.2f}".rstrip("0").rstrip(".")


# --- charts ---


def axis_number(value: float, form: str = "g") -> str:
    """A number on an axis, with a real minus sign."""
    return minus(f"{value:{form}}")


def levels(up: Axis, values: Iterable[float], left: float, right: float, zero: str = GRID) -> list[str]:
    """A level line at each value of an upright axis, its number on the left; zero: ink of the line at 0."""
    found = []
    for v in values:
        y = float(up.at(v))
        ink = GRID if abs(v) > 1e-9 else zero
        found += [line(left, y, right, y, Pen(ink)), writing(left - 6, y + 4, axis_number(v), END)]
    return found


def key(
    entries: Iterable[tuple[str, str]], x: float, y: float, room: float, apart: float, columns: int = 1,
    across: float = 0.0, size: float | None = None,
) -> list[str]:  # fmt: skip
    """What signs mean: (sign drawn about (0, 0), words) of each, in so many columns; room: width of a sign."""
    return [
        placed((sign, writing(room, 4, told, Letters(size=size))), x + k % columns * across, y + k // columns * apart)
        for k, (sign, told) in enumerate(entries)
    ]


def drawing(
    parts: Iterable[str], title: str, told: str, wide: float, high: float, size: float = 12.5, style: str = ""
) -> str:
    """The whole drawing. title: its name; told: what it shows, for readers who do not see it; size: of letters.

    style: CSS; without it the drawing is as large as wide and high say, or as its page's own CSS says.
    """
    large = f'style="{style}"' if style else f'width="{wide:g}" height="{high:.0f}"'
    said = escape(f"{title}. {told}" if told else title)
    return "\n".join(
        (
            f'<svg viewBox="0 0 {wide:g} {high:.0f}" {large} role="img" aria-label="{said}" '
            f'font-family="system-ui, sans-serif" font-size="{size:g}" fill="{INK}"><title>{escape(title)}</title>',
            *parts,
            "</svg>",
        )
    )
