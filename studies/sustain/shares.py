"""Where the energy of plucks goes, and which part changed their decay; wolf notes told once."""

from collections.abc import Iterable, Mapping

import numpy as np

from fem.body_modes import STRING
from fem.fretboard import Fretboard, Wolf
from meshes.supports import FREE, LAP, PLAYED
from studies.common.groups import GROUPS, grouped

SUPPORT = {FREE: "bands", LAP: "player", PLAYED: "player"}


def one_a_note(wolves: Iterable[Wolf]) -> tuple[Wolf, ...]:
    """Strongest first, one for each string and fret: of several body modes on a note the one that grips it hardest."""
    of_note: dict[tuple[int, int], Wolf] = {}
    for wolf in sorted(wolves, key=lambda w: -w.strength):
        of_note.setdefault((wolf.string, wolf.fret), wolf)
    return tuple(of_note.values())


def mean_shares(board: Fretboard, weight: np.ndarray | float = 1.0) -> dict[str, float]:
    """{group or 'string': mean over the valid notes of weight times the share of the pluck's energy}.

    Without weights they sum to 1; weights of 1/T60 make them rates [1/s].
    """
    share = by_group(board)
    return {group: float(np.mean((weight * share[group])[board.valid])) for group in (*GROUPS, STRING)}


def by_group(board: Fretboard) -> dict[str, np.ndarray]:
    """{group or 'string': (strings, frets + 1) share of each pluck's energy} of a Fretboard."""
    body = {part: v for part, v in board.share.items() if part != STRING}
    return grouped(body) | {STRING: board.share[STRING]}


def named_support(rates: Mapping[str, float], how: str) -> dict[str, float]:
    """Rates {group: 1/s} with what supports the guitar called by its name, for `why`."""
    return {SUPPORT[how] if group == "supports" else group: rate for group, rate in rates.items()}


def cause(before: Mapping[str, float], after: Mapping[str, float]) -> tuple[str, float]:
    """(part, its part of the change) that changed the decay rate most, from rates {part: median 1/s} of two builds.

    The change of a part over the whole change: may exceed 1 where another part works against it. ('', 0) if nothing
    changed.
    """
    change = {part: rate - before[part] for part, rate in after.items()}
    whole = sum(change.values())
    if abs(whole) <= 1e-9 * sum(map(abs, after.values())):
        return "", 0.0
    part = max(change, key=lambda p: change[p] / whole)
    return part, float(change[part] / whole)


def why(low: float, high: float, before: Mapping[str, float], after: Mapping[str, float], build: str) -> str:
    """Sentence on what changed the decay, from the ratio's range and the rates {part: 1/s} of reference and build.

    '' where not even its direction is known.
    """
    part, share = cause(before, after)
    faster = high < 1
    if not part or low <= 1 <= high or (sum(after.values()) > sum(before.values())) != faster:
        return ""
    way, more = ("decays faster", "more") if faster else ("rings longer", "less")
    if share < 0.5:
        return f"{build} {way}; no single part makes most of the change"
    because = {
        "radiation": f"it radiates {more}",
        "string": f"the strings turn {more} of the energy to heat",
        "player": f"{more} goes into the player",
        "bands": f"{more} goes into the bands that hold it",
    }.get(part, f"{more} is turned to heat in the {part.replace('_', ' ')}")
    return f"{build} {way} because {because}"
