"""The load study as a page, as tables for machines, as pictures and as text for the terminal."""

import numpy as np

from studies.common.rest_page import CAUTIONS, NOT_MODELLED, Table, per_gram
from studies.common.two_meshes import mesh_error, rim_grams
from studies.load.readings import MEASURES

LABEL = (
    "elastic movement when the strings are tuned up, computed; wood creeps on, so an old instrument has moved further"
)
SHOWN = (
    "bridge_rotation_deg",
    "belly_mm",
    "dip_mm",
    "neck_block_rotation_deg",
    "action_rise_mm",
    "action_rise_block_mm",
)
HEAD = ("bridge leans", "belly behind", "dip before", "neck block leans", "action at fret 12", "of it by the body")
FORMS = ("{:.3f} °", "{:.3f} mm", "{:.3f} mm", "{:.4f} °", "{:.3f} mm", "{:.3f} mm")
OWN_LIMITS = (
    "a truss rod and a bent neck: the neck is a straight, elastic beam of the sheet's section",
    "the strings' own stiffness across, T/L, and how their pull changes as the body gives",
    "a fret rise of one string against another; the bridge pins' holes, the slot of the saddle",
)


def text(study):
    """Everything printed by the command."""
    lines = [f"{study.body.name}: {LABEL}", "", *answer(study)]
    for table in tables(study):
        lines += ["", *table.lines()]
    used = [f"assumed: {a.key}: {a.value} ({a.source})" for a in study.body.assumed if a.key.startswith("strings")]
    return "\n".join([*lines, "", *used, "Not modelled: " + "; ".join(NOT_MODELLED + OWN_LIMITS) + ".", *CAUTIONS])


def answer(study):
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
        f"Of the rim builds, {best.build.label} hold the body stiffest: {change:+.3f} mm over the 12th fret, {words}, for "
        f"{rim_grams(best) - rim_grams(base):+.0f} g. All builds share one mesh, so differences are surer than the figures."
    )
    lines.append(
        f"The pre-stress moves the lowest {len(base.frequency_ratio)} modes by {percent(base.frequency_ratio.min() - 1)} to "
        f"{percent(base.frequency_ratio.max() - 1)} (first order, Rayleigh), and no mode at all by more than "
        f"{100 * bound(base.bound):.0f} % (a bound)."
    )
    return lines


def bound(rho):
    """Largest part by which a frequency can move when omega^2 moves by no more than the part rho."""
    return max(np.sqrt(1 + rho) - 1, 1 - np.sqrt(max(0.0, 1 - rho)))


def percent(value):
    return f"{100 * value:+.2f} %"


def scaled(row):
    """{key of MEASURES: value in its own unit}."""
    return {key: factor * row.measures[key] for key, (_, _, factor) in MEASURES.items()}


def errors(study):
    """{key: SI} mesh error of each measure of the sheet's own build."""
    fine, coarse = study.rows[0].measures, study.coarse.measures
    return {key: mesh_error(fine[key], coarse[key]) for key in fine}


def tables(study):
    """Tables for page and terminal."""
    return [moves(study), squeezes(study), widths(study), shifts(study), gained(study)]


def _line(label, grams, cells):
    return (label, grams, *cells)


def moves(study):
    rows = []
    for row in study.rows:
        at = scaled(row)
        rows.append(_line(row.build.label, f"{rim_grams(row):.0f} g", [f.format(at[k]) for k, f in zip(SHOWN, FORMS)]))
    off = errors(study)
    rows.append(_line("mesh error", "", [f.format(MEASURES[k][2] * off[k]) for k, f in zip(SHOWN, FORMS)]))
    note = "Seen from the rim. Action: strings above the 12th fret; 'by the body': saddle and neck block move, the neck kept straight."
    return Table("How the strings move the box", ("build of the rim", "rim", *HEAD), tuple(rows), note)


def squeezes(study):
    keys = ("ahead_along_N_mm", "behind_along_N_mm")
    rows = [
        _line(r.build.label, f"{rim_grams(r):.0f} g", [f"{scaled(r)[k]:.2f} N/mm" for k in keys]) for r in study.rows
    ]
    off = errors(study)
    rows.append(_line("mesh error", "", [f"{abs(MEASURES[k][2]) * off[k]:.2f} N/mm" for k in keys]))
    head = ("build of the rim", "rim", "squeezed along, bridge to soundhole", "pulled along, behind the bridge")
    note = "Mean force in the top, along its grain, for each mm of width within 40 mm of the centre line; braces carry more."
    return Table("Pre-stress of the top", head, tuple(rows), note)


def widths(study):
    keys = [k for k in study.rows[0].measures if k.startswith("width/")]
    head = [f"{place}, {edge} edge" for _, place, edge in (k.split("/") for k in keys)]
    rows = [
        _line(r.build.label, f"{rim_grams(r):.0f} g", [f"{1e3 * r.measures[k]:+.3f} mm" for k in keys])
        for r in study.rows
    ]
    off = errors(study)
    rows.append(_line("mesh error", "", [f"{1e3 * off[k]:.3f} mm" for k in keys]))
    return Table("Distortion of the rim: how much wider it gets", ("build of the rim", "rim", *head), tuple(rows))


def shifts(study):
    head = ("build of the rim", *(f"{f:.0f} Hz" for f in study.frequency), "no mode by more than")
    rows = []
    for row in study.rows:
        limit = "" if row.bound is None else f"{100 * bound(row.bound):.0f} %"
        rows.append((row.build.label, *(percent(r - 1) for r in row.frequency_ratio), limit))
    note = (
        "First order in the strings' pull (Rayleigh's quotient); other builds borrow the mode shapes of the sheet's own. The bound "
        "holds for every mode, however high. Dry: without air."
    )
    return Table("How the pre-stress shifts the lowest modes", head, tuple(rows), note)


def gained(study):
    base, rows = study.rows[0], []
    for row in study.rows[1:]:
        change = [MEASURES[k][2] * (row.measures[k] - base.measures[k]) for k in SHOWN]
        forms = [f.replace("{:", "{:+") for f in FORMS]
        rows.append(per_gram(row.build.label, (rim_grams(base),), rim_grams(row), change, forms))
    note = "Change against the sheet's own build for each 10 g that the rim gains; '–': within 2 g of the same weight."
    return Table("For each 10 g more of rim", ("build of the rim", "rim", *HEAD), tuple(rows), note)
