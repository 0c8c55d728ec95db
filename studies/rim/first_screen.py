"""What the page with air says first: one sentence made by rule from its figures, the chart behind it, how to try it, the doubt."""

from collections.abc import Sequence

import numpy as np

from meshes.supports import FREE
from studies.common.first_screen import Bar, FirstScreen, Lane, lane_label, with_form
from studies.common.words import signed
from studies.drawing.builds_chart import Scale, builds_svg
from studies.rim.air_words import LEAST_DB, answered_range, figures, unexplained_table
from studies.rim.first_words import UNSURE, Said, rim_sentence
from studies.rim.result import SUPPORT_CONDITIONS, AirStudy
from studies.sustain.rule import combined, joined, side
from studies.sustain.thresholds import DECIDING, LEVEL

HEARD = next(10 * float(np.log10(t.high)) for t in DECIDING if t.measure is LEVEL)  # dB
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
    verdict = rim_sentence(list(zip(_others(study), lanes)), own.rim_g, SOUND, _size)
    return FirstScreen(verdict, lanes, chart, BENCH, DOUBT, own, {"hearing_begins_db": HEARD})


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


SOUND = Said("change how loud it is", "make it audibly", "louder", "softer")


def _size(lanes):
    """'-0.4 to +0.1 dB' of what lies beyond the doubts, however held; grey figures give no number."""
    sure = [bar.dots[0] for lane in lanes for bar in lane.bars if all(b.sure for b in lane.bars)]
    if not sure:
        return UNSURE
    low, high = (signed(v, 1) for v in (min(sure), max(sure)))
    return f"{low} dB" if low == high else f"{low} to {high} dB"
