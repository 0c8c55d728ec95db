"""What the page with air says first: one sentence made by rule from its figures, the chart behind it, how to try it, the doubt."""

from collections.abc import Sequence

import numpy as np

from meshes.supports import FREE
from studies.common.builds import Build
from studies.common.files import Plain
from studies.common.two_meshes import LIMIT
from studies.common.words import first_words, grams_more, several, signed
from studies.drawing.builds_chart import Bar, Lane, builds_svg
from studies.rim.air_words import LEAST_DB, answered_range, figures, unexplained_table
from studies.rim.result import SUPPORT_CONDITIONS, AirStudy
from studies.sustain.rule import CANNOT_TELL, NO_DIFFERENCE, combined, joined, side
from studies.sustain.thresholds import DECIDING, LEVEL

HEARD = next(10 * float(np.log10(t.high)) for t in DECIDING if t.measure is LEVEL)  # dB
SIDES = ("doubled_sides", "single_sides")
BENCH = (
    "Tap the saddle ten times alike and record it: as it is, with a padded form strapped round the rim, with the form's weight in "
    "putty on the sides instead. If the ten differ as much among themselves, nothing was shown."
)
DOUBT = (
    "How much linings and joints damp is hardly measured anywhere. The bars hold the mesh error and what losses that no part explains would "
    "do; the error of the model itself is not known."
)


def sound_lanes(study: AirStudy) -> list[Lane]:
    """A Lane of every build that can be built, a bar for each way to hold it [dB of sound for the same force]."""
    tables, lossy = {how: figures(study, how) for how in SUPPORT_CONDITIONS}, unexplained_table(study)
    unexplained = lambda name, how: [found["sound_db"] for found in lossy[how][name].values()]
    return [
        Lane(
            _label(study, b),
            tuple(_bar(how, tables[how][b.name], unexplained(b.name, how)) for how in SUPPORT_CONDITIONS),
        )
        for b in _built(study)
    ]


def _built(study):
    return [b for b in study.builds[1:] if b.name != LIMIT]


def _label(study, build):
    return f"{build.label}, {signed(_more(study, build), 0)} g"


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


def word(lane: Lane) -> str:
    """The verdict's word on a build by this one figure: every way to hold it joined."""
    return joined(np.array([[side(bar.low, bar.high, (-HEARD, HEARD))] for bar in lane.bars], float).reshape(-1, 1))


def sound_sentence(study: AirStudy) -> str:
    """What another rim does to the sound for the same force, in one sentence: builds of one word together, linings as one."""
    found: dict[str, list[tuple[Build, Lane]]] = {}
    for build, lane in zip(_built(study), sound_lanes(study)):
        found.setdefault(word(lane), []).append((build, lane))
    if not found:
        return "No other rim was compared."
    return f"On this guitar {'; '.join(_clause(study, said, rows) for said, rows in found.items())}."


def _clause(study, said, rows):
    """Of builds with one word."""
    linings, sides = ([r for r in rows if (r[0].name in SIDES) == is_side] for is_side in (False, True))
    others = [b for b in _built(study) if b.name not in SIDES]
    if len(linings) > 1 and len(linings) == len(others):
        told = [f"other linings ({_size(linings)})"]
    else:
        told = [_named(study, row) for row in linings]
    told += [_named(study, row) for row in sides]
    if said == CANNOT_TELL:
        return f"it cannot be told whether anybody would hear {several(told, 'or')}"
    if said == NO_DIFFERENCE:
        none = f"neither {' nor '.join(told)} change" if len(told) > 1 else f"{told[0]} do not change"
        return f"{none} how loud it is enough to hear"
    ends = [bar for _, lane in rows for bar in lane.bars]
    louder = (
        "louder"
        if min(bar.low for bar in ends) > 0
        else "softer"
        if max(bar.high for bar in ends) < 0
        else "louder or softer"
    )
    return f"{several(told)} make it audibly {louder}"


def _named(study, row):
    build, _ = row
    return f"{build.label.partition(' (')[0]} ({grams_more(_more(study, build))}, {_size([row])})"


def _size(rows: Sequence[tuple[Build, Lane]]) -> str:
    """'-0.4 to +0.1 dB' of what lies beyond the doubts; grey figures give no number."""
    sure = [bar.dots[0] for _, lane in rows for bar in lane.bars if bar.sure]
    if not sure:
        return "no change beyond the doubts"
    low, high = (signed(v, 1) for v in (min(sure), max(sure)))
    return f"{low} dB" if low == high else f"{low} to {high} dB"


def sound_chart(study: AirStudy) -> str:
    """SVG text of all builds."""
    low, high = answered_range(study)
    return builds_svg(
        sound_lanes(study), HEARD, [(-HEARD, f"−{HEARD:g} dB"), (0, "0"), (HEARD, f"+{HEARD:g} dB")],
        f"What another rim changes: sound for the same force at the saddle, {low:.0f} to {high:.0f} Hz",
        "same force; bars: all doubts; dashed: hearing begins; grey: no claim",
    )  # fmt: skip


def first_text(study: AirStudy) -> str:
    """The first screen for the terminal."""
    return first_words(sound_sentence(study), BENCH, DOUBT)


def as_json(study: AirStudy) -> dict[str, Plain]:
    """The first screen for machines."""
    return {
        "verdict": sound_sentence(study), "bench": BENCH, "main_doubt": DOUBT, "hearing_begins_db": HEARD,
        "builds": [{"label": lane.label, "word": word(lane), "bars": [bar.as_json for bar in lane.bars]} for lane in sound_lanes(study)],
    }  # fmt: skip
