"""What the page with air says first: one sentence made by rule from its figures, the chart behind it, how to try it, the doubt."""

from collections.abc import Sequence

import numpy as np

from meshes.supports import FREE
from studies.common.builds import Build
from studies.common.first_screen import Bar, FirstScreen, Lane, in_sentence, lane_label, with_form
from studies.common.words import several, signed
from studies.drawing.builds_chart import Scale, builds_svg
from studies.rim.air_words import LEAST_DB, answered_range, figures, unexplained_table
from studies.rim.result import SUPPORT_CONDITIONS, AirStudy
from studies.sustain.rule import CANNOT_TELL, NO_DIFFERENCE, combined, joined, side
from studies.sustain.thresholds import DECIDING, LEVEL

HEARD = next(10 * float(np.log10(t.high)) for t in DECIDING if t.measure is LEVEL)  # dB
SIDES = ("doubled_sides", "single_sides")
BENCH = with_form("Tap the saddle ten times alike and record it")
DOUBT = (
    "How much linings and joints damp is hardly measured anywhere. The bars hold the mesh error and what losses that no part explains would "
    "do; the error of the model itself is not known."
)


def sound_screen(study: AirStudy) -> FirstScreen:
    """FirstScreen of the page with air."""
    lanes = sound_lanes(study)
    low, high = answered_range(study)
    chart = builds_svg(
        lanes, Scale((-HEARD, HEARD), ((-HEARD, f"−{HEARD:g} dB"), (0, "0"), (HEARD, f"+{HEARD:g} dB"))),
        f"What another rim changes: sound for the same force at the saddle, {low:.0f} to {high:.0f} Hz",
        "same force; bars: all doubts; dashed: hearing begins; grey: no claim",
    )  # fmt: skip
    (own,) = (Lane(b.label, (), study.fine.results[b.name, FREE].rim_g) for b in study.builds if b.is_base)
    return FirstScreen(sound_sentence(study, lanes), lanes, chart, BENCH, DOUBT, own, {"hearing_begins_db": HEARD})


def sound_lanes(study: AirStudy) -> tuple[Lane, ...]:
    """A Lane of every other build, a bar for each way to hold it [dB of sound for the same force]."""
    tables, lossy = {how: figures(study, how) for how in SUPPORT_CONDITIONS}, unexplained_table(study)
    unexplained = lambda name, how: [found["sound_db"] for found in lossy[how][name].values()]
    lanes = []
    for b in _others(study):
        bars = tuple(_bar(how, tables[how][b.name], unexplained(b.name, how)) for how in SUPPORT_CONDITIONS)
        lanes.append(Lane(lane_label(b, _more(study, b)), bars, study.fine.results[b.name, FREE].rim_g, word(bars)))
    return tuple(lanes)


def _others(study):
    return [b for b in study.builds if b.is_other]


def _more(study, build):
    rows = study.fine.results
    return rows[build.name, FREE].rim_g - rows["sheet", FREE].rim_g


def _bar(how, told, unexplained):
    """unexplained: [dB] of the same change, with the loss that no part explains at each place in turn."""
    db, error = float(told["sound_db"]), float(max(told["sound_db_error"], LEAST_DB))
    doubts = {"mesh": (db - error, db + error), "unexplained loss": (min(db, *unexplained), max(db, *unexplained))}
    low, high = (
        10 * float(np.log10(v))
        for v in combined(_ratio(db), {name: tuple(map(_ratio, ends)) for name, ends in doubts.items()})
    )
    return Bar(how, (db,), low, high, LEVEL.span(_ratio(low), _ratio(high)), low > 0 or high < 0)


def _ratio(db):
    return 10 ** (db / 10)


def word(bars: Sequence[Bar]) -> str:
    """The verdict's word on a build by this one figure: every way to hold it joined."""
    return joined(np.array([[side(bar.low, bar.high, (-HEARD, HEARD))] for bar in bars], float).reshape(-1, 1))


def sound_sentence(study: AirStudy, lanes: Sequence[Lane]) -> str:
    """What another rim does to the sound for the same force, in one sentence: builds of one word together, linings as one."""
    found: dict[str, list[tuple[Build, Lane]]] = {}
    for build, lane in zip(_others(study), lanes):
        found.setdefault(lane.word, []).append((build, lane))
    if not found:
        return "No other rim was compared."
    return f"On this guitar {'; '.join(_clause(study, said, rows) for said, rows in found.items())}."


def _clause(study, said, rows):
    """Of builds with one word."""
    linings, sides = ([r for r in rows if (r[0].name in SIDES) == is_side] for is_side in (False, True))
    names = [in_sentence(build, _more(study, build), _size([lane])) for build, lane in linings]
    if len(linings) > 1 and len(linings) == len([b for b in _others(study) if b.name not in SIDES]):
        names = [f"other linings ({_size([lane for _, lane in linings])})"]
    names += [in_sentence(build, _more(study, build), _size([lane])) for build, lane in sides]
    if said == CANNOT_TELL:
        return f"it cannot be told whether anybody would hear {several(names, 'or')}"
    if said == NO_DIFFERENCE:
        none = f"neither {' nor '.join(names)} change" if len(names) > 1 else f"{names[0]} do not change"
        return f"{none} how loud it is enough to hear"
    return f"{several(names)} make it audibly {_louder([bar for _, lane in rows for bar in lane.bars])}"


def _louder(bars):
    if min(bar.low for bar in bars) > 0:
        return "louder"
    return "softer" if max(bar.high for bar in bars) < 0 else "louder or softer"


def _size(lanes):
    """'-0.4 to +0.1 dB' of what lies beyond the doubts; grey figures give no number."""
    sure = [bar.dots[0] for lane in lanes for bar in lane.bars if bar.sure]
    if not sure:
        return "no change beyond the doubts"
    low, high = (signed(v, 1) for v in (min(sure), max(sure)))
    return f"{low} dB" if low == high else f"{low} to {high} dB"
