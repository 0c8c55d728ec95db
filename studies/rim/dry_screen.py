"""What the dry page says first: does another rim change how long a tap on the box without air rings."""

from collections.abc import Sequence

import numpy as np

from studies.common.first_screen import Bar, FirstScreen, Lane, lane_label, with_form
from studies.common.mesh_error import rim_grams
from studies.common.words import several, signed
from studies.drawing.builds_chart import Scale, builds_svg
from studies.rim.dry import unknown_losses
from studies.rim.dry_words import highest_hz, tap_figures
from studies.rim.first_words import UNSURE, Said, rim_sentence
from studies.rim.result import DryStudy
from studies.sustain.rule import joined, side
from studies.sustain.thresholds import LATE, LIMITS

ENDS = tuple(100 * (ratio - 1) for ratio in LIMITS[LATE.key])  # % of a decay
BENCH = with_form("Stop the soundhole with foam, tap the saddle ten times alike and record it")
DOUBT = (
    "No air, no sound, no strings: the rim's part comes out too large. How much linings and joints damp is hardly measured anywhere; the "
    "bars hold the mesh error alone, and the error of the model itself is not known."
)
RINGS = Said("change how long a tap rings, dry,", "make a tap ring audibly", "longer", "shorter")


def ring_screen(study: DryStudy) -> FirstScreen:
    """FirstScreen of the dry page; without a chart where losses of some part are not known."""
    sheet = study.comparisons[0].row
    own = Lane(sheet.build.label, (), rim_grams(sheet))
    if unknown := unknown_losses(study):
        verdict = f"How long a tap rings cannot be told: loss factors are not known for {several(unknown)}."
        return FirstScreen(verdict, (), "", BENCH, DOUBT, own)
    rows = [c.row for c in study.comparisons if c.row.build.is_other]
    lanes = tuple(_lane(row, own.rim_g, tap_figures(study)) for row in rows)
    low, high = ENDS
    scale = Scale((low, high), ((low, f"{signed(low, 0)} %"), (0.0, "0"), (high, f"{signed(high, 0)} %")))
    title = f"What another rim changes: how long a tap at the saddle rings, dry, modes up to {highest_hz(study):.0f} Hz"
    chart = builds_svg(lanes, scale, title, "a tap, dry; bars: mesh error; dashed: hearing begins; grey: no claim")
    return FirstScreen(
        rim_sentence([(r.build, lane) for r, lane in zip(rows, lanes)], own.rim_g, RINGS, _size),
        lanes,
        chart,
        BENCH,
        DOUBT,
        own,
    )


def _lane(row, own_g, figures):
    """Its change of the sheet's own ring time [%]."""
    own, told = figures["sheet"]["ring_time"], figures[row.build.name]
    change, error = (100 * v / own for v in (told["ring_time"] - own, told["ring_time_change_error"]))
    bar = Bar(
        "rings", (change,), change - error, change + error, f"{signed(change, 1)} ± {error:.1f} %", abs(change) > error
    )
    word = joined(np.array([[side(bar.low, bar.high, ENDS)]], float).reshape(-1, 1))
    return Lane(lane_label(row.build, rim_grams(row) - own_g), (bar,), rim_grams(row), word)


def _size(lanes: Sequence[Lane]) -> str:
    """'-1 to +2 %' of what lies beyond the mesh error."""
    sure = [bar.dots[0] for lane in lanes for bar in lane.bars if bar.sure]
    if not sure:
        return UNSURE
    low, high = (signed(v, 0) for v in (min(sure), max(sure)))
    return f"{low} %" if low == high else f"{low} to {high} %"
