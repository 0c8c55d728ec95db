"""Two charts of the sustain page as plain SVG: where a pluck's energy goes, and each doubt of a ratio by itself."""

from html import escape

import numpy as np

from fem.body_modes import STRING
from meshes.holding import LAP
from studies.common.groups import IN_RIM
from studies.common.words import minus

WIDTH, EDGE = 640.0, 4.0
BAR, GAP = 30.0, 26.0  # height of a bar; of the line of words above it

# from dark to light in even steps of lightness; the strings' part is hatched, so that it reads without colour too
INKS = {
    "rim": "#053e90", "back": "#505d9c", "top and braces": "#7d7fa0", "bridge and neck": "#93928e",
    "air and soundhole": "#afa280", "holder": "#c5b480", "sound": "#ffe98d", "strings": "url(#strings)",
}  # fmt: skip
DARK = ("rim", "back", "top and braces")
LEAST = 0.055  # share below which no figure is written into a piece
LANE, LEFT, RIGHT = 15.0, 104.0, 30.0  # height of one doubt's line; place for its name; margin

PIECES = {
    "rim": IN_RIM, "back": ("back",), "top and braces": ("top", "braces"), "bridge and neck": ("bridge", "neck"),
    "air and soundhole": ("air", "opening"), "holder": ("supports",), "sound": ("radiation",), "strings": (STRING,),
}  # fmt: skip


def bar_groups(share):
    """{piece of the bar: share} from {group or 'string': share}; every group belongs to one piece."""
    return {name: sum(share[group] for group in groups) for name, groups in PIECES.items()}


def energy_svg(rows, how):
    """SVG text of stacked bars. rows: [(words, {group or 'string': share})]; shares sum to 1."""
    high = len(rows) * (BAR + GAP) + 10 + 22 * 3
    told = "; ".join(
        f"{words}: {', '.join(f'{name} {100 * v:.0f} %' for name, v in bar_groups(s).items())}" for words, s in rows
    )
    out = [_open(high, f"Where a pluck's energy goes, {how}. {told}.")]
    out.append(
        '<defs><pattern id="strings" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="6" height="6" fill="#fff"/><path d="M0 0V6" stroke="#8d8a83" stroke-width="2"/></pattern></defs>'
    )
    span, y = WIDTH - 2 * EDGE, 0.0
    for words, share in rows:
        out.append(_text(EDGE, y + 18, words, weight="600" if not y else "400"))
        x = EDGE
        for name, value in bar_groups(share).items():
            wide = span * value
            out.append(
                f'<rect x="{x:.2f}" y="{y + GAP:.1f}" width="{wide:.2f}" height="{BAR:g}" fill="{INKS[name]}" '
                f'stroke="#1a1a1a" stroke-width=".6"><title>{escape(_named(name, how))}: {100 * value:.1f} %</title></rect>'
            )
            if value > LEAST:
                out.append(_figure(x + wide / 2, y + GAP + BAR / 2 + 5, f"{100 * value:.0f}", name))
            x += wide
        y += BAR + GAP
    out += _legend(y + 12, how)
    return "\n".join([*out, "</svg>"])


def _figure(x, y, words, name):
    if name == "strings":
        halo = f'<rect x="{x - 12:.1f}" y="{y - 14:.1f}" width="24" height="18" fill="#fff"/>'
        return halo + _text(x, y, words, anchor="middle")
    return _text(x, y, words, anchor="middle", fill="#fff" if name in DARK else "#1a1a1a")


def _legend(y, how):
    """The key in rows of three."""
    found = []
    for k, name in enumerate(INKS):
        x, line = EDGE + (k % 3) * (WIDTH / 3), y + 22 * (k // 3)
        found.append(
            f'<rect x="{x:.1f}" y="{line:.1f}" width="22" height="13" fill="{INKS[name]}" stroke="#1a1a1a" stroke-width=".6"/>'
        )
        found.append(_text(x + 28, line + 12, _named(name, how), size=13))
    return found


def _named(name, how):
    return {
        "rim": "heat in the rim", "back": "heat in the back", "top and braces": "heat in top and braces",
        "bridge and neck": "heat in bridge and neck", "holder": "into the player" if how == LAP else "into the bands",
        "sound": "goes out as sound", "strings": "heat in the strings",
    }.get(name, name)  # fmt: skip


def doubts_svg(compared, tolerances, how):
    """SVG text: of each build (Compared) its ratio and one line for each doubt, over the tolerances' grey ranges."""
    names = list(dict.fromkeys(name for c in compared for name in c.doubts))
    low, high, step = _span(compared)
    across = lambda ratio: LEFT + (WIDTH - LEFT - RIGHT) * (np.clip(100 * (ratio - 1), low, high) - low) / (high - low)
    block = GAP + LANE * (len(names) + 1) + 6
    tall = len(compared) * block
    told = "; ".join(
        f"{c.build.label}: {percent_change(c.ratio)}, all doubts {percent_change(c.low)} to {percent_change(c.high)}"
        for c in compared
    )
    out = [_open(tall + 60, f"Change of the decay time, {how}, with each doubt by itself. {told}.")]
    for t, shade in zip(sorted(tolerances, key=lambda t: t.low), ("#f4f2ec", "#e2ded3")):
        x0, x1 = across(t.low), across(t.high)
        out.append(f'<rect x="{x0:.1f}" y="4" width="{x1 - x0:.1f}" height="{tall:.1f}" fill="{shade}"/>')
    out.append(f'<path d="M{across(1.0):.1f} 4V{tall + 4:.1f}" stroke="#1a1a1a" stroke-width="1"/>')
    for k, c in enumerate(compared):
        y = k * block + 4
        out.append(_text(EDGE, y + 17, c.build.label, weight="600", halo=True))
        for lane, name in enumerate((*names, "all together")):
            at = y + GAP + LANE * lane + 5
            span = (c.low, c.high) if name == "all together" else c.doubts.get(name)
            out.append(_text(LEFT - 8, at + 4, name, size=12, anchor="end"))
            out += (
                _bar(across, c.ratio, span, at, name == "all together")
                if span
                else [_text(LEFT + 4, at + 4, "not computed", size=12)]
            )
    for value in np.arange(np.ceil(low / step) * step, high + step / 2, step):
        x = across(1 + value / 100)
        out.append(f'<path d="M{x:.1f} {tall + 4:.1f}v5" stroke="#1a1a1a"/>')
        out.append(_text(x, tall + 24, minus(f"{value:+g} %") if value else "0", size=12, anchor="middle"))
    out.append(
        _text(
            (LEFT + WIDTH) / 2,
            tall + 46,
            "change of the decay time; shaded: not heard, by each tolerance",
            size=13,
            anchor="middle",
        )
    )
    return "\n".join([*out, "</svg>"])


def _bar(across, ratio, span, y, whole):
    """A line from end to end with caps, an arrow where it leaves the chart, and the ratio's dot."""
    x0, x1 = (float(across(v)) for v in span)
    thick = 4 if whole else 1.8
    found = [f'<path d="M{x0:.1f} {y:.1f}H{max(x1, x0 + 0.5):.1f}" stroke="#053e90" stroke-width="{thick}"/>']
    found += [f'<path d="M{x:.1f} {y - 4:.1f}v8" stroke="#053e90" stroke-width="1.4"/>' for x in (x0, x1)]
    return [*found, f'<circle cx="{float(across(ratio)):.1f}" cy="{y:.1f}" r="{4 if whole else 2.6}" fill="#1a1a1a"/>']


def _span(compared):
    """(low, high, step) of the axis in per cent: every build with all doubts, at least -6 to 6."""
    ends = [100 * (v - 1) for c in compared for v in (c.low, c.high, *np.ravel(list(c.doubts.values())))]
    low, high = min(-6.0, *ends), max(6.0, *ends)
    raw = (high - low) / 7
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500) if s >= raw or s == 500)
    return step * np.floor(low / step), step * np.ceil(high / step), step


def percent_change(ratio):
    """'+1.2 %' of a ratio, '+0.03 %' of one near 1, with a real minus sign."""
    percent = 100 * (ratio - 1)
    digits = 1 if abs(percent) >= 0.1 else 2
    return minus(f"{percent:+.{digits}f}\u00a0%")


def _open(high, label):
    return (
        f'<svg viewBox="0 0 {WIDTH:g} {high:.0f}" style="width:100%;min-width:30rem;max-width:{WIDTH + 80:g}px;height:auto" role="img" '
        f'aria-label="{escape(label)}" font-family="system-ui, sans-serif" font-size="14">'
    )


def _text(x, y, words, size=14, anchor="start", weight="400", fill="#1a1a1a", halo=False):
    edge = ' stroke="#fff" stroke-width="3" paint-order="stroke"' if halo else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" font-weight="{weight}" fill="{fill}"{edge}>'
        f"{escape(words)}</text>"
    )
