"""Where the energy of a pluck goes, drawn as ribbons: from the string to each part that turns it to heat, and to the air."""

from collections.abc import Iterable
from dataclasses import dataclass

from studies.common.groups import GROUPS, IN_RIM
from studies.common.words import percent
from studies.drawing.svg import INK, Letters, Pen, box, drawing, hatching, path, writing

WORDS = {  # of common.groups.GROUPS and the string, as a reader calls them
    "string": "heat in the strings", "radiation": "goes out as sound", "supports": "",
    "top": "heat in the top", "back": "heat in the back", "braces": "heat in the braces", "bridge": "heat in the bridge",
    "neck": "heat in the neck", "air": "heat in the air inside", "opening": "heat in the opening",
}  # fmt: skip
RIM = "heat in the rim"
INKS = {"sound": "#f0d788", "string": "#7d7fa0", "heat": "#b3aea2", "rim": "#053e90", "held": "#e4e2dc"}  # from the top
TALL, SLOT, BAR, EDGE = 250.0, 21.0, 11.0, 0.6  # of all the energy; least height of a branch; of bars and outlines
LEAST = 1e-4  # parts below this share are left out
STRONG = Letters(bold=True)


@dataclass(frozen=True)
class Branch:
    """One ribbon; a branch with children splits once more. The children's shares sum to its own."""

    words: str
    share: float
    kind: str  # a key of INKS
    children: tuple["Branch", ...] = ()

    @property
    def height(self) -> float:
        """Pixels."""
        own = max(SLOT, self.share * TALL + 5)
        return max(own, sum(c.height for c in self.children) + SLOT) if self.children else own


def branches(share: dict[str, float], holder: str = "what holds it") -> tuple[Branch, ...]:
    """Branches of {group of common.groups.GROUPS, or 'string': share of the energy}: sound first, then heat, the rim, supports.

    Raises ValueError for a group that is not known: a flow that leaves something out would lie.
    """
    unknown = set(share) - set(GROUPS) - {"string"}
    if unknown:
        raise ValueError(f"energy flow: unknown parts {', '.join(sorted(unknown))}; expected {', '.join(GROUPS)}")
    rim = tuple(Branch(g, float(share[g]), "rim") for g in IN_RIM if share.get(g, 0.0) >= LEAST)
    kinds = {"radiation": "sound", "string": "string", "supports": "held"}
    words = WORDS | {"supports": f"into {holder}"}
    flat = [Branch(words[g], float(share[g]), kinds.get(g, "heat")) for g in WORDS if share.get(g, 0.0) >= LEAST]
    whole = [Branch(RIM, sum(b.share for b in rim), "rim", rim)] if rim else []
    return tuple(sorted(flat + whole, key=lambda b: (list(INKS).index(b.kind), -b.share)))


def flow_in_words(ribbons: Iterable[Branch], source: str) -> str:
    """The flow as one sentence, for readers who do not see the drawing."""
    told = lambda branch: f"{branch.words} {percent(branch.share)}"
    within = lambda branch: f" ({', '.join(map(told, branch.children))})" if branch.children else ""
    return f"Of {source}: {'; '.join(told(b) + within(b) for b in ribbons)}."


def flow_svg(ribbons: Iterable[Branch], source: str, name: str, width: float = 760.0) -> str:
    """SVG text of Branches. source: what all the energy is; name: makes the drawing's ids its own; width in pixels."""
    narrow = width < 560
    fork, leaf = width * (0.32 if narrow else 0.42), width * (0.66 if narrow else 0.72)
    left, top = 2.0, 26.0
    y, parts = top, [hatching(f"{name}-held", INKS["held"], 1.6), _bar(left, top, TALL, INK)]
    parts.append(writing(left, top - 8, f"{source}: 100 %", STRONG))
    for branch in ribbons:
        fill = f"url(#{name}-held)" if branch.kind == "held" else INKS[branch.kind]
        parts += _branch(branch, (left + BAR, y), (fork, top), leaf, fill)
        y, top = y + branch.share * TALL, top + branch.height
    return drawing(parts, "Where the energy goes", flow_in_words(ribbons, source), width, max(top, y) + 6, 13.5)


def _branch(branch, source, fork, leaf, fill):
    """Ribbon from `source` (x, y) to a bar at `fork` in the middle of its slot, its words, and its own ribbons to `leaf`."""
    thick, head = branch.share * TALL, SLOT if branch.children else 0.0
    x, y = fork[0], fork[1] + head + (branch.height - head - thick) / 2
    out = [*_ribbon(*source, x, y, thick, fill)]
    if not branch.children:
        return [*out, writing(x + BAR + 7, y + thick / 2 + 4.5, f"{branch.words} ", strong=percent(branch.share))]
    out.append(writing(x, fork[1] + SLOT - 6, f"{branch.words} ", STRONG, percent(branch.share)))
    top, end = fork[1] + SLOT, y
    for child in branch.children:
        out += _branch(child, (x + BAR, end), (leaf, top), leaf, fill)
        end, top = end + child.share * TALL, top + child.height
    return out


def _ribbon(x0, y0, x1, y1, thick, fill):
    """Curved band of one thickness, and the bar at its end; a hair's breadth at least, so that the smallest stays visible."""
    h, bend = max(thick, 0.8), (x0 + x1) / 2
    course = (
        f"M{x0:.1f} {y0:.1f}C{bend:.1f} {y0:.1f} {bend:.1f} {y1:.1f} {x1:.1f} {y1:.1f}V{y1 + h:.1f}"
        f"C{bend:.1f} {y1 + h:.1f} {bend:.1f} {y0 + h:.1f} {x0:.1f} {y0 + h:.1f}Z"
    )
    return path(course, Pen(width=EDGE, opacity=0.55), fill, 0.72), _bar(x1, y1, thick, fill)


def _bar(x, y, thick, fill):
    return box(x, y, BAR, max(thick, 0.8), fill, Pen(width=EDGE))
