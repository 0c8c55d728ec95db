"""One sentence on all rims that could be built instead: builds of one word together, linings as one."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from studies.common.builds import Build
from studies.common.first_screen import Lane, in_sentence
from studies.common.words import several
from studies.sustain.rule import CANNOT_TELL, NO_DIFFERENCE

SIDES = ("doubled_sides", "single_sides")
UNSURE = "no change beyond the doubts"
Size = Callable[[Sequence[Lane]], str]  # of the changes of some builds, in words


@dataclass(frozen=True)
class Said:
    """How a change is told."""

    change: str  # 'change how loud it is'
    make: str  # 'make it audibly'
    more: str  # 'louder'
    less: str


def rim_sentence(rows: Sequence[tuple[Build, Lane]], own_g: float, said: Said, size: Size) -> str:
    """The sentence, from every other build and its Lane; own_g: weight of the sheet's own rim."""
    found: dict[str, list[tuple[Build, Lane]]] = {}
    for build, lane in rows:
        found.setdefault(lane.word, []).append((build, lane))
    if not found:
        return "No other rim was compared."
    linings = len([b for b, _ in rows if b.name not in SIDES])
    told = [_clause(word, _names(of, own_g, size, linings), of, said) for word, of in found.items()]
    return f"On this guitar {'; '.join(told)}."


def _names(rows, own_g, size, every):
    """Linings as one where they all are here, then sides."""
    linings, sides = ([r for r in rows if (r[0].name in SIDES) == is_side] for is_side in (False, True))
    each = lambda of: [in_sentence(build, lane.rim_g - own_g, size([lane])) for build, lane in of]
    if 1 < len(linings) == every:
        return [f"other linings ({size([lane for _, lane in linings])})", *each(sides)]
    return each([*linings, *sides])


def _clause(word, names, rows, said):
    """Of builds with one word."""
    if word == CANNOT_TELL:
        return f"it cannot be told whether anybody would hear {several(names, 'or')}"
    if word == NO_DIFFERENCE:
        none = f"neither {' nor '.join(names)} {said.change}" if len(names) > 1 else f"{names[0]} do not {said.change}"
        return f"{none} enough to hear"
    bars = [bar for _, lane in rows for bar in lane.bars]
    way = (
        said.more
        if min(b.low for b in bars) > 0
        else said.less
        if max(b.high for b in bars) < 0
        else f"{said.more} or {said.less}"
    )
    return f"{several(names)} {said.make} {way}"
