"""What the page says first: one sentence made by the rule of the verdict, the chart behind it, how to try it, the main doubt."""

import numpy as np

from studies.common.first_screen import Bar, FirstScreen, Lane, in_sentence, lane_label, with_form
from studies.common.words import several
from studies.drawing.builds_chart import Scale, builds_svg
from studies.sustain.answer import PLAIN, solid_linings
from studies.sustain.result import MESH, PLAYER, PLUCK, RIM_LOSSES, STRING_LOSSES, UNEXPLAINED, WOOD, Study
from studies.sustain.rule import AUDIBLE, CANNOT_TELL, NO_DIFFERENCE
from studies.sustain.thresholds import LIMITS, MEASURES
from studies.sustain.verdict import verdict_of

SAID = {AUDIBLE: "an audible difference", NO_DIFFERENCE: "no audible difference"}
WIDEST = {  # what widens the bars, for a maker
    MESH: "the mesh of the computation: a finer one would narrow them (--mesh-size-mm)",
    WOOD: "the boards: no two sets of one species are alike",
    STRING_LOSSES: "what the strings themselves lose, by make and age",
    RIM_LOSSES: "what wood and glue of the rim turn to heat, which is hardly measured",
    UNEXPLAINED: "a loss that measured guitars may have and no computed part explains",
    PLAYER: "the player: how soft body and hand are, and how thick the clothes",
    PLUCK: "the pluck: out of the top, along it, or between",
}
BENCH = with_form("Pluck some notes ten times alike and record them")


def median_screen(study: Study) -> FirstScreen:
    """FirstScreen of the page; bars in thresholds of hearing."""
    lanes = median_lanes(study)
    chart = builds_svg(
        lanes, Scale((-1.0, 1.0), ((-1, "less"), (0, "0"), (1, "more"))), "What another rim changes in the median note, with all doubts",
        "median note, held each way; bars: all doubts; dashed: hearing begins",
    )  # fmt: skip
    own = Lane(study.builds[0].label, (), study.rim_g["sheet"])
    return FirstScreen(verdict_sentence(study), lanes, chart, BENCH, main_doubt(study), own)


def verdict_sentence(study: Study) -> str:
    """What the linings that are asked for, and the heaviest rim, do to the ear, in one sentence."""
    asked = solid_linings(study)
    if not asked.compared:
        return "Cannot tell: this run left solid and kerfed linings out."
    others = _others(study)
    heavy = max(others, key=lambda b: study.rim_g[b.name])
    said: dict[tuple[str, str], list[str]] = {}
    for build in (b for b in others if b.name in (asked.name, heavy.name)):
        found = verdict_of(study, build.name)
        said.setdefault((found.whole, found.notes), []).append(in_sentence(build, _more(study, build)))
    return f"On this guitar {'; '.join(_clause(names, *words) for words, names in said.items())}."


def _others(study):
    return [b for b in study.builds if b.is_other and study.beside(b.name)]


def _more(study, build):
    return study.rim_g[build.name] - study.rim_g["sheet"]


def _clause(names, whole, notes):
    """What builds of one verdict do, or that it is not known."""
    if whole == notes == CANNOT_TELL:
        return f"it cannot be told whether anybody would hear {several(names, 'or')}, on the whole or in single notes"
    they = f"{several(names)} make"
    if CANNOT_TELL in (whole, notes):
        told, where, other = (
            (whole, "on the whole", "in single notes")
            if notes == CANNOT_TELL
            else (notes, "in single notes", "on the whole")
        )
        return f"{they} {SAID[told]} {where}; {other} it cannot be told"
    if whole == notes:
        return f"{they} {SAID[whole]}, on the whole as in single notes"
    return f"{they} {SAID[whole]} on the whole, but {SAID[notes]} in single notes"


def median_lanes(study: Study) -> tuple[Lane, ...]:
    """A Lane of every other build, a bar for each measure: 1 where hearing begins, from all ways to hold it."""
    bars = lambda build: tuple(_bar(m, list(study.beside(build.name).values())) for m in MEASURES)
    return tuple(
        Lane(lane_label(b, _more(study, b)), bars(b), study.rim_g[b.name], _word(verdict_of(study, b.name)))
        for b in _others(study)
    )


def _word(found):
    return f"{found.whole}; single notes: {found.notes}"


def _bar(measure, held):
    found = [c.judged[measure.key] for c in held]
    at = lambda ratio: of_threshold(ratio, measure.key)
    ratios = [j.ratio for j in found]
    low, high = min(j.low for j in found), max(j.high for j in found)
    return Bar(PLAIN[measure], tuple(map(at, ratios)), at(low), at(high), measure.span(min(ratios), max(ratios)))


def of_threshold(ratio: float, key: str) -> float:
    """A ratio's logarithm over that of the end of its threshold on the same side: beyond -1 or 1 it would be heard."""
    low, high = np.log(LIMITS[key])
    log = np.log(ratio)
    return float(log / high if log > 0 else log / -low)


def main_doubt(study: Study) -> str:
    """The main doubt in plain words: the widest one that was computed, and what no computed one holds."""
    asked = solid_linings(study)
    widths: dict[str, float] = {}
    for c in asked.compared.values():
        for key, j in c.judged.items():
            for name, ends in j.doubts.items():
                off = max(abs(of_threshold(end / j.ratio, key)) for end in ends)
                widths[name] = max(widths.get(name, 0.0), off)
    widest = f" What widens the bars most is {WIDEST[max(widths, key=lambda name: widths[name])]}." if widths else ""
    return f"The error of the model itself is not known, and nothing above {study.highest_valid:.0f} Hz is computed.{widest}"
