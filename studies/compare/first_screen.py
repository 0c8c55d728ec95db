"""What the page says first: do the sheets differ to the ear, by the rule of the verdict, and which reading on the bench would show it."""

from collections.abc import Sequence

import numpy as np

from studies.common.first_screen import Bar, FirstScreen, Lane
from studies.common.words import bars, several, signed
from studies.compare.figures import ENERGY, TAP, WEIGHED, WEIGHT
from studies.compare.result import Beside, Figure
from studies.drawing.builds_chart import Scale, builds_svg
from studies.rim.first_screen import HEARD
from studies.rim.result import SUPPORT_CONDITIONS
from studies.sustain import rule
from studies.sustain.answer import PLAIN
from studies.sustain.first_screen import WIDEST, of_threshold
from studies.sustain.rule import AUDIBLE, CANNOT_TELL, NO_DIFFERENCE
from studies.sustain.thresholds import LEVEL, LIMITS, MEASURES

WHOLE = next(iter(WEIGHED))
SAID = {
    AUDIBLE: "‘{}’ makes an audible difference",
    NO_DIFFERENCE: "‘{}’ makes no audible difference",
    CANNOT_TELL: "it cannot be told whether anybody would hear a difference to ‘{}’",
}


def beside_screen(study: Beside) -> FirstScreen:
    """FirstScreen of the page; bars in thresholds of hearing."""
    lanes = sheet_lanes(study)
    what = "median of a few notes" if study.noted else "sound for the same force"
    chart = builds_svg(
        lanes, Scale((-1.0, 1.0), ((-1, "less"), (0, "0"), (1, "more"))), f"Beside {study.names[0]}: {what}, with all doubts",
        f"{what}; bars: all doubts; dashed: hearing begins",
    )  # fmt: skip
    own = Lane(study.names[0], (), _rim(study, 0))
    return FirstScreen(
        verdict(study, lanes), lanes, chart, bench(study), doubt_of_boards(study), own, heads=("sheet", "rim")
    )


def sheet_lanes(study: Beside) -> tuple[Lane, ...]:
    """A Lane of every sheet but the first."""
    lanes = []
    for k in range(1, len(study.sheets)):
        found = note_bars(study, k) if study.noted else (force_bar(study, k),)
        more = _weights(study)
        grams = signed((more.values[k] or 0.0) - (more.values[0] or 0.0), 0)
        lanes.append(Lane(f"{study.names[k]}, {grams} g", found, _rim(study, k), word_of(study, k)))
    return tuple(lanes)


def word_of(study: Beside, k: int) -> str:
    """The word on a sheet beside the first: every measure and every holding joined."""
    if study.noted:
        judged = study.noted.judged[k - 1]
        sides = [
            [rule.side(j.low, j.high, LIMITS[m.key]) for m in MEASURES for j in [judged[how, m.key]]]
            for how in SUPPORT_CONDITIONS
        ]
        return rule.joined(np.array(sides, float))
    ends = [_force(study, k, how) for how in SUPPORT_CONDITIONS]
    return rule.joined(np.array([[rule.side(db - e, db + e, (-HEARD, HEARD))] for db, e in ends], float))


def note_bars(study: Beside, k: int) -> tuple[Bar, ...]:
    """A bar for each measure: a dot for each way to hold the guitar, 1 where hearing begins."""
    assert study.noted is not None
    found = []
    for m in MEASURES:
        held = [study.noted.judged[k - 1][how, m.key] for how in SUPPORT_CONDITIONS]
        at = lambda ratio, key=m.key: of_threshold(ratio, key)
        low, high = min(j.low for j in held), max(j.high for j in held)
        ratios = [j.ratio for j in held]
        sure = all(not j.low < 1 < j.high for j in held)
        found.append(Bar(PLAIN[m], tuple(map(at, ratios)), at(low), at(high), m.span(min(ratios), max(ratios)), sure))
    return tuple(found)


def force_bar(study: Beside, k: int) -> Bar:
    """The bar of the sound for the same force, without notes."""
    ends = [_force(study, k, how) for how in SUPPORT_CONDITIONS]
    low, high = min(db - e for db, e in ends), max(db + e for db, e in ends)
    ratios = [10 ** (db / 10) for db, _ in ends]
    sure = all(abs(db) > e for db, e in ends)
    return Bar(
        "sound",
        tuple(db / HEARD for db, _ in ends),
        low / HEARD,
        high / HEARD,
        LEVEL.span(min(ratios), max(ratios)),
        sure,
    )


def _force(study, k, how):
    """(dB, joined error) of the sound for the same force."""
    (f,) = (f for f in study.of(ENERGY, how) if f.key == "sound_db")
    change = f.change(k)
    assert change is not None  # every sheet radiates
    return change


def _weights(study):
    return next(f for f in study.of(WEIGHT) if f.words == WHOLE)


def _rim(study, k):
    return next(f.values[k] for f in study.of(WEIGHT) if f.key == "rim") or 0.0


# --- words ---


def verdict(study: Beside, lanes: Sequence[Lane]) -> str:
    """One sentence on every sheet beside the first."""
    told = [SAID[lane.word].format(name) + _ways(lane) for name, lane in zip(study.names[1:], lanes)]
    return f"Beside ‘{study.names[0]}’, {'; '.join(told)}."


def _ways(lane):
    """' (level +1.4 to +2.0 dB)': the measures whose whole bar lies beyond no change."""
    told = [f"{bar.name} {bar.told}" for bar in lane.bars if bar.sure]
    return f" ({several(told)})" if told else ""


def bench(study: Beside) -> str:
    """The reading on the bench that tells the sheets apart best."""
    rows = [
        f
        for f in (*study.of(TAP, SUPPORT_CONDITIONS[0]), _weights(study))
        if f.key.endswith("_hz") or f.group == WEIGHT
    ]
    best = max(rows, key=lambda f: max(map(lambda k: _in_errors(f, k), range(1, len(study.sheets)))), default=None)
    if best is None or all(not best.told_apart(k) for k in range(1, len(study.sheets))):
        return "Neither scales nor a tap at the bridge would tell these apart beyond the error of the computation."
    deed = (
        "Put them on the scales without strings"
        if best.group == WEIGHT
        else f"Hang each by soft bands, tap the middle of the saddle and read the {_ordinal(best)} peak of the spectrum"
    )
    told = [
        f"‘{name}’ {bars(v, e, best.digits, best.unit)}"
        for name, v, e in zip(study.names, best.values, best.errors)
        if v is not None and e is not None
    ]
    return f"{deed}: computed {several(told)}."


def _in_errors(f: Figure, k: int) -> float:
    found = f.change(k)
    return 0.0 if found is None else abs(found[0]) / max(found[1], 0.5 * 10.0**-f.digits)


def _ordinal(f):
    return {"f1": "first", "f2": "second"}[f.key.split("_")[0]]


def doubt_of_boards(study: Beside) -> str:
    """What widens the bars most, and what they do not hold."""
    boards = (
        "Both sheets are taken to be built of the boards that they give: two boards of one species differ by more than many changes of a "
        "design, and that is in no bar. The error of the model itself is not known"
    )
    if not study.noted:
        return f"{boards}; the bars hold the mesh errors of both sheets alone."
    widths: dict[str, float] = {}
    for judged in study.noted.judged:
        for (_, key), j in judged.items():
            for name, ends in j.doubts.items():
                widths[name] = max([widths.get(name, 0.0), *(abs(of_threshold(end / j.ratio, key)) for end in ends)])
    return f"{boards}. What widens the bars most is {WIDEST[max(widths, key=lambda name: widths[name])]}."
