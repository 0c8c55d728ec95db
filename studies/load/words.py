"""The load study in words: its answer and its tables."""

from collections.abc import Mapping

from studies.common.first_screen import FirstScreen
from studies.common.mesh_error import rim_grams
from studies.common.rest_page import Report
from studies.common.table import BUILD, PER_GRAM, Table, build_table, per_gram
from studies.common.words import percent, percent_change, rounded, signed
from studies.load.readings import CREEP, MEASURES, WIDTH
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


def report(study: Load, first: FirstScreen) -> Report:
    """Report of the study."""
    title, assumed = "what the strings do to the box", ("strings",)
    return Report(study, "load", title, LABEL, first, answer(study), tables(study), OWN_LIMITS, assumed)


def answer(study: Load) -> list[str]:
    """The answer in plain sentences."""
    base, key = study.rows[0], "action_rise_block_mm"
    at, shift = scaled(base), base.frequency_ratio
    best = min(study.real, key=lambda row: row.measures[key])
    change = 1e3 * (best.measures[key] - base.measures[key])
    known = abs(change) > 1e3 * study.errors[key]
    words = "beyond the mesh error" if known else "less than the mesh error of either figure"
    return [
        f"{len(study.pulls)} strings pull with {study.tension:.0f} N. As the sheet builds it, the bridge leans {at['bridge_rotation_deg']:.2f} "
        f"degrees towards the neck, the top rises {at['belly_mm']:.2f} mm behind it and sinks {at['dip_mm']:.2f} mm before it. "
        f"The strings rise {at['action_rise_mm']:.2f} mm over the 12th fret: {at[key]:.2f} mm because the body "
        f"gives, the rest because the neck bends.",
        f"That is the movement at once. Not computed: wood creeps under a load that stays, to some {CREEP[0]:g} to {CREEP[1]:g} times as much in all, by "
        f"building codes and handbooks (from memory): a lean of {CREEP[0] * at['bridge_rotation_deg']:.2f} to {CREEP[1] * at['bridge_rotation_deg']:.2f} "
        "degrees after years, more where the air swings between dry and damp.",
        f"Of the rim builds, {best.build.label} hold the body stiffest: {signed(change, 3)} mm over the 12th fret, {words}, for "
        f"{signed(rim_grams(best) - rim_grams(base), 0)} g. All builds share one mesh, so differences are surer than the figures.",
        f"The pre-stress moves the lowest {len(shift)} modes by {percent_change(shift.min(), 2)} to "
        f"{percent_change(shift.max(), 2)}, and no mode at all by more than "
        f"{percent(bound(base.bound), 0)}.",
    ]


def bound(rho: float | None) -> float | None:
    """Largest part by which a frequency can move when omega^2 moves by no more than the part rho; None: not known."""
    return None if rho is None else max((1 + rho) ** 0.5 - 1, 1 - max(0.0, 1 - rho) ** 0.5)


def scaled(row: Row) -> dict[str, float]:
    """{key of MEASURES: value in its own unit}."""
    return {key: factor * row.measures[key] for key, (_, _, factor) in MEASURES.items()}


# --- tables ---


def tables(study: Load) -> list[Table]:
    """Tables for page and terminal."""
    return [movement(study), top_force(study), widths_table(study), shifts(study), gained(study)]


def movement(study: Load) -> Table:
    note = "Seen from the rim. Action: strings above the 12th fret; 'by the body': saddle and neck block move, the neck kept straight."

    def cells(values: Mapping[str, float]) -> list[str]:
        return [f"{rounded(MEASURES[key][2] * values[key], digits)} {unit}" for key, (digits, unit) in SHOWN.items()]

    rows = study.rows
    return build_table(
        "How the strings move the box", HEAD, rows, lambda row: cells(row.measures), cells(study.errors), note
    )


def top_force(study: Load) -> Table:
    keys = ("ahead_along_N_mm", "behind_along_N_mm")
    cells = lambda row: [f"{rounded(MEASURES[key][2] * row.measures[key], 2)} N/mm" for key in keys]
    errors = [f"{1e-3 * study.errors[key]:.2f} N/mm" for key in keys]
    head = ("squeezed along, bridge to soundhole", "pulled along, behind the bridge")
    note = "Mean force in the top, along its grain, for each mm of width within 40 mm of the centre line; braces carry more."
    return build_table("Pre-stress of the top", head, study.rows, cells, errors, note)


def widths_table(study: Load) -> Table:
    keys = [key for key in study.errors if key.startswith(WIDTH)]
    head = [f"{place}, {edge} edge" for _, place, edge in (key.split("/") for key in keys)]
    cells = lambda row: [f"{signed(1e3 * row.measures[key], 3)} mm" for key in keys]
    errors = [f"{1e3 * study.errors[key]:.3f} mm" for key in keys]
    return build_table("Distortion of the rim: how much wider it gets", head, study.rows, cells, errors)


def shifts(study: Load) -> Table:
    head = ("build of the rim", *(f"{f:.0f} Hz" for f in study.frequency), "no mode by more than")
    limit = lambda row: "" if row.bound is None else percent(bound(row.bound), 0)
    rows = tuple(
        (row.build.label, *(percent_change(ratio, 2) for ratio in row.frequency_ratio), limit(row))
        for row in study.rows
    )
    note = (
        "First order in the strings' pull (Rayleigh's quotient); other builds borrow the mode shapes of the sheet's own. The bound "
        "holds for every mode, however high. Dry: without air."
    )
    return Table("How the pre-stress shifts the lowest modes", head, rows, note)


def gained(study: Load) -> Table:
    values = lambda row: [scaled(row)[key] for key in SHOWN]
    rows = per_gram(study.rows, values, tuple(SHOWN.values()))
    return Table("For each 10 g more of rim", (*BUILD, *HEAD), rows, PER_GRAM)
