"""The answer of the sustain study: first words for the maker, what would change them, how to try it."""

from dataclasses import dataclass

import numpy as np

from studies.common.mesh_error import LIMIT
from studies.common.words import change, several
from studies.sustain import rule
from studies.sustain.result import MESH, Compared, Judged, Study
from studies.sustain.rule import CANNOT_TELL
from studies.sustain.thresholds import EARLY, LATE, LEVEL, LIMITS, MEASURES, Measure
from studies.sustain.verdict import Verdict, verdict_of

SOLID = "solid_laminated"
PLAIN = {LEVEL: "level", EARLY: "early decay", LATE: "sustain"}  # sustain: the trade's word for the late decay
FINEST = "finer than 5 mm"
ENOUGH = 10  # draws of the boards, from which nine in ten of them mean anything


@dataclass(frozen=True)
class SolidLinings:
    """The comparison that is asked for: solid linings beside the sheet's own rim, or kerfed ones if that has solid ones."""

    name: str  # of the build that is compared with the sheet's own
    compared: dict[str, Compared]  # by how it is held; empty if the run left the build out
    stiffer: float  # stiffness of the rim with solid linings over the other

    @property
    def power(self) -> int:
        """Of ratios, so that they are solid linings' over the others'."""
        return 1 if self.name == SOLID else -1

    def medians(self, measure: Measure) -> tuple[float, float]:
        """Least and largest of the ways to hold it."""
        ratios = [c.judged[measure.key].ratio ** self.power for c in self.compared.values()]
        return min(ratios), max(ratios)

    def turned(self, low: float, high: float) -> tuple[float, float]:
        """A range of ratios, solid linings over the others."""
        return (low, high) if self.power == 1 else (1 / high, 1 / low)


def solid_linings(study: Study) -> SolidLinings:
    """SolidLinings of a Study."""
    name = SOLID if any(name == SOLID for name, _ in study.compared) else "kerfed"
    held = study.beside(name)
    stiffer = study.played[name, next(iter(held))].stiffness if held else 1.0
    return SolidLinings(name, held, stiffer if name == SOLID else 1 / stiffer)


# --- first words ---


def question(study: Study) -> str:
    """What is asked."""
    kerfed = solid_linings(study).name != SOLID or "kerfed" in study.builds[0].label
    return f"Would you hear solid linings beside {'kerfed ones' if kerfed else 'the rim of the sheet'}?"


def answer(study: Study) -> tuple[str, str]:
    """(question and both verdicts, the rest) in at most some ninety words: what the rim does, what boards do, what is not known."""
    solid = solid_linings(study)
    if not solid.compared:
        return f"{question(study)} Cannot tell: this run left those builds out.", ""
    found = verdict_of(study, solid.name)
    lead = f"{question(study)} The whole guitar: {found.whole}. Single notes: {found.notes}."
    return lead, " ".join(
        [_average(solid), _single(solid), _boards(solid, study.draws), _belief(solid), _unknown(study)]
    )


def _average(solid):
    rim = "The stiffer rim" if solid.stiffer > 1.02 else "That rim"
    told = ", ".join(f"{name} by {m.span(*solid.medians(m))}" for m, name in PLAIN.items())
    return f"{rim} changes the median {told};"


def _single(solid):
    """Up and down, as far as nine notes in ten move, however the guitar is held."""
    level, late = (m.span(*_spread(solid, m)) for m in (LEVEL, LATE))
    return f"nine notes in ten: level {level}, sustain {late}."


def _spread(solid, measure):
    """5 and 95 % of the notes of all holdings, as ratios."""
    changes = np.concatenate([c.notes[measure.key].change.ravel() for c in solid.compared.values()])
    low, high = np.exp(np.percentile(changes[np.isfinite(changes)] * solid.power, [5, 95]))
    return float(low), float(high)


def _boards(solid, draws):
    drawn = [c.paired[LATE.key] for c in solid.compared.values() if c.paired]
    if not drawn:
        return "What two boards of one species do was not computed."
    low, high = solid.turned(min(p.unpaired_low for p in drawn), max(p.unpaired_high for p in drawn))
    few = f" ({draws} draws: roughly)" if draws < ENOUGH else ""
    return f"Two such guitars of different boards differ by {LATE.span(low, high)} in median sustain{few}."


def _belief(solid):
    sides = {float(rule.side(*solid.turned(j.low, j.high), LIMITS[LATE.key])) for j in _late(solid)}
    found = {
        frozenset([0.0]): "is not borne out",
        frozenset([1.0]): "is borne out",
        frozenset([-1.0]): "is wrong: they shorten it",
    }.get(frozenset(sides), "stays open")
    return f"That they audibly lengthen sustain, on average, {found}."


def _late(solid) -> list[Judged]:
    return [c.judged[LATE.key] for c in solid.compared.values()]


def _unknown(study):
    return f"Unknown: the model's error; brightness above {study.highest_valid:.0f} Hz."


# --- what would change it, and how to try it ---


def changes(study: Study) -> str:
    """What would change the answer: loss, stiffness and weight of the rim, and what keeps a word open."""
    solid = solid_linings(study)
    if not solid.compared:
        return ""
    return " ".join(
        [*left_open(study, verdict_of(study, solid.name)), *_loss(study, solid), *_stiffness(study), *_weight(study)]
    )


def whole_and_notes(whole: str, notes: str) -> str:
    """'no audible difference on the whole, cannot tell in single notes'."""
    return (
        f"{whole}, on the whole as in single notes"
        if whole == notes
        else f"{whole} on the whole, {notes} in single notes"
    )


def left_open(study: Study, found: Verdict) -> list[str]:
    """Sentences on what keeps the two words open; none where both are told."""
    told = []
    if found.whole == CANNOT_TELL:
        why = (
            f"would be settled without the doubt about {several(found.whole_open, 'or')}"
            if found.whole_open
            else "is open by more than one doubt, or by how the guitar is held"
        )
        by = f" ({several(found.measures_open)})" if found.measures_open else ""
        told.append(f"The guitar on the whole{by} {why}.")
    if found.notes == CANNOT_TELL:
        told.append(_notes_open(study, found))
    return told


def _notes_open(study, found):
    if found.mesh is not None:
        return (
            f"Single notes: a mesh of {1e3 * found.mesh:g} mm would tell (--mesh-size-mm {1e3 * found.mesh:g}; here {1e3 * study.sizes[0]:g} mm), "
            "if the changes stay as they are and the mesh's doubt falls as its size."
        )
    if MESH in found.notes_open:
        return f"Single notes: only a mesh {FINEST} would tell."
    without = (
        f"; without the doubt about {several(found.notes_open, 'or')} they could be told" if found.notes_open else ""
    )
    return f"Single notes: no mesh would tell, the other doubts alone leave them open{without}."


def _loss(study, solid):
    flips = [c.flip for c in solid.compared.values() if c.flip]
    gain = several(f"{change(p.median.no_rim_loss)} ({how})" for how, p in study.own.items())
    low, high = study.flip_range
    flip = (
        f"with {min(flips, key=lambda f: abs(np.log(f.factor))).factor:.2g} times the rim's losses the word on the whole would change, held one way at least"
        if flips
        else f"no word on the whole changes between {low:g} and {high:g} times the rim's losses"
    )
    return [f"Loss of the rim: without any the median note would last {gain}; {flip}."]


def _stiffness(study):
    limit = study.beside(LIMIT)
    if not limit:
        return []
    told = several(_range_over(limit.values(), m) for m in MEASURES)
    return [f"Stiffness: a rim a thousand times as stiff, which nobody can build, changes the median note by {told}."]


def _range_over(held, measure):
    ratios = [c.judged[measure.key].ratio for c in held]
    return f"{measure.span(min(ratios), max(ratios))} in {measure.name}"


def _weight(study):
    """The heaviest rim that can be built."""
    built = [b for b in study.builds[1:] if b.name != LIMIT]
    if not built:
        return []
    heavy = max(built, key=lambda b: study.rim_g[b.name])
    more, found = study.rim_g[heavy.name] - study.rim_g["sheet"], verdict_of(study, heavy.name)
    if more <= 0:
        return []
    return [
        f"Weight: {heavy.label}, {more:.0f} g more and another stiffness with it: {whole_and_notes(found.whole, found.notes)}."
    ]


BENCH = (
    "On the bench: choose a few of the notes listed as most moved and some that are not. Pluck each alike ten times, by a thread that breaks, and "
    "record it: as the guitar is; with a stiff outside form strapped round the rim, over paper and no tighter than for gluing; and with "
    "putty of the form's weight on the sides instead. That is likely more stiffness and more weight than linings bring; stop if anything creaks. rimwork note reads the "
    "decays. If even that changes nothing, linings are unlikely to. Where plain recordings differ among themselves as much as from the others, nothing was shown. Then let somebody play behind a screen: eight "
    "right of ten happen by luck once in eighteen tries."
)
