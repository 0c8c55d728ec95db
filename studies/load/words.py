"""The load study in words: its answer, its tables, and all of it as text for the terminal."""

import numpy as np

from studies.common.rest_page import Report, said
from studies.common.table import BUILD, PER_GRAM, Table, build_cells, error_cells, per_gram
from studies.common.two_meshes import mesh_error, rim_grams
from studies.common.words import percent, percent_change, rounded, signed
from studies.load.readings import MEASURES
from studies.load.result import Load, Row

LABEL = (
    "elastic movement when the strings are tuned up, computed; wood creeps on, so an old instrument has moved further"
)
SHOWN = {  # {key of MEASURES: (digits, unit)}
    "bridge_rotation_deg": (3, "°"),
    "belly_mm": (3, "mm"),
    "dip_mm": (3, "mm"),
    "neck_block_rotation_deg": (4, "°"),
    "action_rise_mm": (3, "mm"),
    "action_rise_block_mm": (3, "mm"),
}
HEAD = ("bridge leans", "belly behind", "dip before", "neck block leans", "action at fret 12", "of it by the body")
OWN_LIMITS = (
    "a truss rod and a bent neck: the neck is a straight, elastic beam of the sheet's section",
    "the strings' own stiffness across, T/L, and how their pull changes as the body gives",
    "a fret rise of one string against another; the bridge pins' holes, the slot of the saddle",
)


def report(study: Load) -> Report:
    """Report of the study."""
    return Report(
        study.body, study.size, study.unknowns, study.source, "load", "what the strings do to the box", LABEL,
        answer(study), tables(study), OWN_LIMITS, ("strings",),
    )  # fmt: skip


def text(study: Load) -> str:
    """Everything printed by the command."""
    return said(report(study))


def answer(study: Load) -> list[str]:
    """The answer in plain sentences."""
    base, total = study.rows[0], sum(p.tension for p in study.pulls)
    at = scaled(base)
    lines = [
        f"{len(study.pulls)} strings pull with {total:.0f} N. As the sheet builds it, the bridge leans {at['bridge_rotation_deg']:.2f} "
        f"degrees towards the neck, the top rises {at['belly_mm']:.2f} mm behind it and sinks {at['dip_mm']:.2f} mm before it. "
        f"The strings rise {at['action_rise_mm']:.2f} mm over the 12th fret: {at['action_rise_block_mm']:.2f} mm because the body "
        f"gives, the rest because the neck bends."
    ]
    able = [row for row in study.rows[1:] if row.build.stiffness == 1]
    best = min(able, key=lambda row: row.measures["action_rise_block_mm"])
    change = 1e3 * (best.measures["action_rise_block_mm"] - base.measures["action_rise_block_mm"])
    error = 1e3 * errors(study)["action_rise_block_mm"]
    words = "less than the mesh error of either figure" if abs(change) <= error else "beyond the mesh error"
    lines.append(
        f"Of the rim builds, {best.build.label} hold the body stiffest: {signed(change, 3)} mm over the 12th fret, {words}, for "
        f"{signed(rim_grams(best) - rim_grams(base), 0)} g. All builds share one mesh, so differences are surer than the figures."
    )
    lines.append(
        f"The pre-stress moves the lowest {len(base.frequency_ratio)} modes by {percent_change(base.frequency_ratio.min(), 2)} to "
        f"{percent_change(base.frequency_ratio.max(), 2)} (first order, Rayleigh), and no mode at all by more than "
        f"{percent(bound(base.bound), 0)} (a bound)."
    )
    return lines


def bound(rho: float) -> float:
    """Largest part by which a frequency can move when omega^2 moves by no more than the part rho."""
    return max(np.sqrt(1 + rho) - 1, 1 - np.sqrt(max(0.0, 1 - rho)))


def scaled(row: Row) -> dict[str, float]:
    """{key of MEASURES: value in its own unit}."""
    return {key: factor * row.measures[key] for key, (_, _, factor) in MEASURES.items()}


def errors(study: Load) -> dict[str, float]:
    """{key: SI} mesh error of each measure of the sheet's own build."""
    fine, coarse = study.rows[0].measures, study.coarse.measures
    return {key: mesh_error(fine[key], coarse[key]) for key in fine}


def tables(study: Load) -> list[Table]:
    """Tables for page and terminal."""
    return [moves(study), squeezes(study), widths(study), shifts(study), gained(study)]


def moves(study: Load) -> Table:
    cells = lambda values: [f"{rounded(MEASURES[k][2] * values[k], d)} {unit}" for k, (d, unit) in SHOWN.items()]
    note = "Seen from the rim. Action: strings above the 12th fret; 'by the body': saddle and neck block move, the neck kept straight."
    return _by_build(study, "How the strings move the box", HEAD, cells, cells, note)


def squeezes(study: Load) -> Table:
    keys = ("ahead_along_N_mm", "behind_along_N_mm")
    cells = lambda values: [f"{rounded(MEASURES[k][2] * values[k], 2)} N/mm" for k in keys]
    errors = lambda values: [f"{abs(MEASURES[k][2]) * values[k]:.2f} N/mm" for k in keys]
    head = ("squeezed along, bridge to soundhole", "pulled along, behind the bridge")
    note = "Mean force in the top, along its grain, for each mm of width within 40 mm of the centre line; braces carry more."
    return _by_build(study, "Pre-stress of the top", head, cells, errors, note)


def widths(study: Load) -> Table:
    keys = [k for k in study.rows[0].measures if k.startswith("width/")]
    head = [f"{place}, {edge} edge" for _, place, edge in (k.split("/") for k in keys)]
    cells = lambda values: [f"{signed(1e3 * values[k], 3)} mm" for k in keys]
    errors = lambda values: [f"{1e3 * values[k]:.3f} mm" for k in keys]
    return _by_build(study, "Distortion of the rim: how much wider it gets", head, cells, errors)


def _by_build(study, heading, head, cells, errors_of, note=""):
    """Table of every build and, below, of the mesh errors, both {key: SI} put into cells."""
    rows = [build_cells(row, cells(row.measures)) for row in study.rows]
    return Table(heading, (*BUILD, *head), (*rows, error_cells(errors_of(errors(study)))), note)


def shifts(study: Load) -> Table:
    head = ("build of the rim", *(f"{f:.0f} Hz" for f in study.frequency), "no mode by more than")
    rows = []
    for row in study.rows:
        limit = "" if row.bound is None else percent(bound(row.bound), 0)
        rows.append((row.build.label, *(percent_change(r, 2) for r in row.frequency_ratio), limit))
    note = (
        "First order in the strings' pull (Rayleigh's quotient); other builds borrow the mode shapes of the sheet's own. The bound "
        "holds for every mode, however high. Dry: without air."
    )
    return Table("How the pre-stress shifts the lowest modes", head, tuple(rows), note)


def gained(study: Load) -> Table:
    values = lambda row: [scaled(row)[k] for k in SHOWN]
    return Table(
        "For each 10 g more of rim", (*BUILD, *HEAD), per_gram(study.rows, values, tuple(SHOWN.values())), PER_GRAM
    )
