"""Where the energy of a pluck goes, drawn as ribbons: from the string to each part that turns it to heat, and to the air."""

from dataclasses import dataclass
from html import escape

from studies.common.groups import GROUPS, IN_RIM

WORDS = {  # of studies.air.GROUPS and the string, as a reader calls them
    "string": "heat in the strings", "radiation": "goes out as sound", "supports": "",
    "top": "heat in the top", "back": "heat in the back", "braces": "heat in the braces", "bridge": "heat in the bridge",
    "neck": "heat in the neck", "air": "heat in the air inside", "opening": "heat in the opening",
}  # fmt: skip
RIM = "heat in the rim"
INKS = {"sound": "#f0d788", "rim": "#053e90", "heat": "#b3aea2", "string": "#7d7fa0", "held": "#e4e2dc"}
TALL, SLOT, BAR, EDGE = 250.0, 21.0, 11.0, 0.6  # of all the energy; least height of a branch; of bars and outlines
LEAST = 1e-4  # parts below this share are left out


@dataclass(frozen=True)
class Branch:
    """One ribbon; a branch with children splits once more. The children's shares sum to its own."""

    words: str
    share: float
    kind: str  # a key of INKS
    children: tuple["Branch", ...] = ()

    @property
    def height(self):
        own = max(SLOT, self.share * TALL + 5)
        return max(own, sum(c.height for c in self.children) + SLOT) if self.children else own


def branches(share, holder="what holds it"):
    """Branches of {group of studies.air.GROUPS, or 'string': share of the energy}: sound first, then heat, the rim, supports.

    Raises ValueError for a group that is not known: a flow that leaves something out would lie.
    """
    unknown = set(share) - set(GROUPS) - {"string"}
    if unknown:
        raise ValueError(
            f"energy flow: unknown parts {', '.join(sorted(unknown))}; expected those of studies.air.GROUPS"
        )
    rim = tuple(Branch(g, float(share[g]), "rim") for g in IN_RIM if share.get(g, 0.0) >= LEAST)
    kinds = {"radiation": "sound", "string": "string", "supports": "held"}
    words = WORDS | {"supports": f"into {holder}"}
    flat = [Branch(words[g], float(share[g]), kinds.get(g, "heat")) for g in WORDS if share.get(g, 0.0) >= LEAST]
    whole = [Branch(RIM, sum(b.share for b in rim), "rim", rim)] if rim else []
    rank = {"sound": 0, "string": 1, "heat": 2, "rim": 3, "held": 4}
    return tuple(sorted(flat + whole, key=lambda b: (rank[b.kind], -b.share)))


def told(share):
    """'12.3 %', never rounded to nothing."""
    return "< 0.1 %" if share < 0.0005 else f"{100 * share:.1f} %"


def in_words(found, source):
    """The flow as one sentence, for readers who do not see the drawing."""
    parts = [f"{b.words} {told(b.share)}" + _children(b) for b in found]
    return f"Of {source}: {'; '.join(parts)}."


def _children(branch):
    return f" ({', '.join(f'{c.words} {told(c.share)}' for c in branch.children)})" if branch.children else ""


def flow_svg(found, source, name, width=760.0):
    """SVG text of Branches. source: what all the energy is; name: makes the drawing's ids its own; width in pixels."""
    narrow = width < 560
    left, fork, leaf = 2.0, width * (0.32 if narrow else 0.42), width * (0.66 if narrow else 0.72)
    y = top = 26.0
    out = [_bar(left, y, TALL, "#1a1a1a"), _words(left, y - 8, f"{source}: 100 %", bold=True)]
    for branch in found:
        thick = branch.share * TALL
        out += _branch(branch, (left + BAR, y), (fork, top), (leaf, width), name)
        y, top = y + thick, top + branch.height
    high = max(top, y) + 6
    return "\n".join(
        [
            f'<svg viewBox="0 0 {width:g} {high:.0f}" width="{width:g}" height="{high:.0f}" role="img" '
            f'aria-label="{escape(in_words(found, source))}" font-family="system-ui, sans-serif" font-size="13.5">',
            f'<defs><pattern id="{name}-held" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            f'<rect width="6" height="6" fill="{INKS["held"]}"/><path d="M0 0V6" stroke="#8d8a83" stroke-width="1.6"/></pattern></defs>',
            *out,
            "</svg>",
        ]
    )


def _branch(branch, source, fork, ends, name):
    """Ribbon from `source` (x, y) to a bar at `fork` in the middle of its slot, its words, and its own ribbons."""
    thick = branch.share * TALL
    room = branch.height - (SLOT if branch.children else 0.0)
    x, y = fork[0], fork[1] + (SLOT if branch.children else 0.0) + (room - thick) / 2
    leaf, _ = ends
    fill = f"url(#{name}-held)" if branch.kind == "held" else INKS[branch.kind]
    out = [_ribbon(*source, x, y, thick, fill), _bar(x, y, thick, fill)]
    if not branch.children:
        return [*out, _words(x + BAR + 7, y + thick / 2 + 4.5, f"{branch.words} ", told(branch.share))]
    out.append(_words(x, fork[1] + SLOT - 6, f"{branch.words} ", told(branch.share), bold=True))
    top, end = fork[1] + SLOT, y
    for child in branch.children:
        slot = child.height
        at = top + (slot - child.share * TALL) / 2
        out += [
            _ribbon(x + BAR, end, leaf, at, child.share * TALL, fill),
            _bar(leaf, at, child.share * TALL, fill),
            _words(leaf + BAR + 7, at + child.share * TALL / 2 + 4.5, f"{child.words} ", told(child.share)),
        ]
        end, top = end + child.share * TALL, top + slot
    return out


def _ribbon(x0, y0, x1, y1, thick, fill):
    """Curved band of one thickness; a hair's breadth at least, so that the smallest stays visible."""
    h, bend = max(thick, 0.8), (x0 + x1) / 2
    return (
        f'<path d="M{x0:.1f} {y0:.1f}C{bend:.1f} {y0:.1f} {bend:.1f} {y1:.1f} {x1:.1f} {y1:.1f}V{y1 + h:.1f}'
        f'C{bend:.1f} {y1 + h:.1f} {bend:.1f} {y0 + h:.1f} {x0:.1f} {y0 + h:.1f}Z" fill="{fill}" fill-opacity=".72" '
        f'stroke="#1a1a1a" stroke-opacity=".55" stroke-width="{EDGE}"/>'
    )


def _bar(x, y, thick, fill):
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{BAR:g}" height="{max(thick, 0.8):.1f}" fill="{fill}" stroke="#1a1a1a" '
        f'stroke-width="{EDGE}"/>'
    )


def _words(x, y, text, figure="", bold=False):
    weight = ' font-weight="600"' if bold else ""
    figure = f'<tspan font-weight="600">{escape(figure)}</tspan>' if figure else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="#1a1a1a"{weight}>{escape(text)}{figure}</text>'
