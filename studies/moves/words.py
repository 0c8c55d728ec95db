"""What moves what, in words, tables and charts."""

from collections.abc import Sequence

import numpy as np

from studies.common.table import Table
from studies.common.words import change_bars, rounded, shortened, signed
from studies.drawing import svg
from studies.drawing.scales import Axis
from studies.drawing.svg import GRID, INK, QUIET, Letters, Pen
from studies.moves.result import Effect, Moves, determined

NOT_DETERMINED = "not determined"
SURE = "#053e90"
WIDTH, LEFT, LANE = 560.0, 250.0, 15.0
LABEL = "what one workshop step moves, with the air inside and outside, hung free; half the difference of the step and the same step the other way"
NOISE = (
    "noise: how unlike the step and its opposite are, plus what a mesh of edges 1.5 times as long tells otherwise; an effect below its noise is "
    "'not determined'"
)
NOT_MODELLED = (
    "steps of several parts together: effects add only while they are small",
    "other boards: the wood is the sheet's; its rows in the table tell what 10 % do",
    "what a lower or wider lining leaves to the enclosed air",
)


def change_or_not(value: float, noise: float, digits: int, unit: str) -> str:
    """'+0.42 ± 0.05 Hz', or 'not determined'."""
    return change_bars(value, noise, digits, unit) if determined(value, noise) else NOT_DETERMINED


def effects_table(study: Moves) -> Table:
    """Every step and mode, the level and the weight."""
    head = ("step", *(f"{rounded(f, 0)} Hz" for f in study.frequency), "sound for the same force", "weight")
    rows = [
        (
            e.words,
            *(change_or_not(v, n, 2, "Hz") for v, n in zip(e.hertz, e.hertz_noise)),
            change_or_not(e.level_db, e.level_noise, 2, "dB"),
            f"{signed(study.grams[e.key], 1)} g",
        )
        for e in study.effects
    ]
    return Table(
        "What moves what: frequencies",
        head,
        tuple(rows),
        f"Modes in the order of the charts. {NOISE[0].upper()}{NOISE[1:]}.",
    )


def damping_table(study: Moves) -> Table:
    """How every step changes the damping of every mode."""
    head = ("step", *(f"{rounded(f, 0)} Hz" for f in study.frequency))
    rows = [
        (e.words, *(change_or_not(100 * v, 100 * n, 1, "%") for v, n in zip(e.loss, e.loss_noise)))
        for e in study.effects
    ]
    note = "Change of the mode's loss factor: + dies away sooner. Of the figure itself, in per cent."
    return Table("What moves what: damping", head, tuple(rows), note)


def moved_most_by(study: Moves, k: int, most: int = 3) -> list[Effect]:
    """Steps that move mode k the most, wood left out, of those that are determined."""
    known = [e for e in study.effects if determined(e.hertz[k], e.hertz_noise[k]) and "less" not in e.words]
    return sorted(known, key=lambda e: -abs(e.hertz[k]))[:most]


def answer(study: Moves) -> list[str]:
    """A line for each mode: what moves it most."""
    lines = []
    for k, f in enumerate(study.frequency):
        first = moved_most_by(study, k)
        words = "; ".join(f"{e.words} {signed(e.hertz[k], 2)} Hz" for e in first) or "no step beyond its noise"
        lines.append(f"- {rounded(f, 1)} Hz, {shortened(study.moves[k], 70)}: {words}.")
    return lines


def charts(study: Moves) -> list[tuple[str, str]]:
    """[(heading, SVG text)] of each mode: every step as a bar."""
    found = []
    for k, f in enumerate(study.frequency):
        heading = f"{rounded(f, 1)} Hz: {study.moves[k]}"
        found.append((heading, steps_svg(study.effects, k, heading)))
    return found


def steps_svg(effects: Sequence[Effect], k: int, title: str) -> str:
    """SVG text of what every step moves mode k; whiskers: noise, grey: not determined."""
    known = [e for e in effects if np.isfinite([e.hertz[k], e.hertz_noise[k]]).all()]
    far = 1.1 * max([0.1, *(abs(e.hertz[k]) + e.hertz_noise[k] for e in known)])
    across, tall = Axis(-far, far, LEFT, WIDTH - 70), LANE * len(known)
    zero = float(across.at(0.0))
    parts = [svg.line(zero, 0, zero, tall, Pen(GRID, 1.4))]
    for i, e in enumerate(known):
        y, v, n = LANE * (i + 0.5), float(e.hertz[k]), float(e.hertz_noise[k])
        ink = SURE if determined(v, n) else QUIET
        low, high = sorted((zero, float(across.at(v))))
        parts += [
            svg.writing(LEFT - 6, y + 4, shortened(e.words, 46), Letters("end", 10)),
            svg.box(low, y - 4, max(high - low, 0.5), 8, ink),
            svg.line(float(across.at(v - n)), y, float(across.at(v + n)), y, Pen(INK, 1.0)),
            svg.writing(WIDTH - 66, y + 4, f"{signed(v, 2)} Hz" if determined(v, n) else "–", Letters(size=10)),
        ]
    parts.append(svg.writing(LEFT, tall + 16, "lower", Letters(size=10)))
    parts.append(svg.writing(WIDTH - 70, tall + 16, "higher", Letters("end", 10)))
    words = "; ".join(f"{e.words}: {change_or_not(e.hertz[k], e.hertz_noise[k], 2, 'Hz')}" for e in known)
    return svg.drawing(
        parts, title, f"{words}.", WIDTH, tall + 24, 11, "width:100%;max-width:44rem;height:auto;display:block"
    )
