"""The dry rim study in words, for page and terminal."""

from collections.abc import Mapping

from meshes.parts import RIM
from studies.common.builds import Build
from studies.common.files import Plain
from studies.common.measured import table
from studies.common.mesh_error import LIMIT, rim_grams, with_found_errors
from studies.common.table import Table
from studies.common.words import UNKNOWN, percent, percent_bars, points_beyond, signed
from studies.rim.dry import saddle_impulse_response, unknown_losses
from studies.rim.result import DryStudy
from studies.solved.dry import Row

TOLD = ("heat", "stored", "ring_time", "no_loss_gain")
UNTOLD = dict.fromkeys((*TOLD, *(f"{key}_{error}" for key in TOLD for error in ("error", "change_error"))))
LABEL = "without air, radiation and strings: an upper estimate; how long notes last, rimwork sustain tells"


def summary_text(study: DryStudy) -> str:
    """The answer for the terminal, the plain words first."""
    table_of = tap_figures(study)
    rows = [("build of the rim", "rim", "heat in the rim", "if the rim had no loss", "stored in the rim")]
    for c in study.comparisons:
        told: Mapping[str, float | None] = table_of.get(c.row.build.name, UNTOLD)
        heat, stored = (percent_bars(told[key], told[f"{key}_error"]) for key in ("heat", "stored"))
        gain = "not known" if told["no_loss_gain"] is None else f"rings {longer(told['no_loss_gain'])}"
        rows.append((c.row.build.label, f"{rim_grams(c.row):.0f} g", heat, gain, stored))
    lines = Table("", rows[0], tuple(rows[1:])).lines()
    note = "of a tap on the bridge saddle, over the modes computed; ± is the mesh error alone, the model error is not known"
    measured = ["", "Measured beside computed", table(study.measured)] if study.measured else []
    return "\n".join([f"{study.body.name}, {LABEL}", "", *answer(study), "", *lines, note, *measured])


def paragraph(study: DryStudy) -> str:
    """The dry answer in a few sentences, to stand below the one with air; with what was measured."""
    table_of = tap_figures(study)
    own, heat = table_of["sheet"], lambda build: table_of[build.name]["heat"]
    lowest, highest = (f(others(study), key=heat) for f in (min, max))
    lines = [
        f"Dry ({LABEL}): after a tap on the saddle {percent_bars(own['heat'], own['heat_error'])} of the energy that the modes up to "
        f"{highest_hz(study):.0f} Hz hold turns to heat in the rim as the sheet builds it; {percent(heat(lowest))} with {lowest.label}, "
        f"{percent(heat(highest))} with {highest.label}. Without any loss in the rim these modes would ring "
        f"{longer(own['no_loss_gain'])}. Stored in the rim, and given back: {percent_bars(own['stored'], own['stored_error'])}.",
        "± is the mesh error alone; the model error is not known.",
    ]
    measured = ["", "Measured beside computed (tones dry)", table(study.measured)] if study.measured else []
    return "\n".join([*lines, *measured])


def answer(study: DryStudy) -> list[str]:
    """Two or three plain sentences on the heat turned in the rim, then on what is stored there."""
    if unknown := unknown_losses(study):
        return [f"Loss factors are not known for {', '.join(unknown)}: no heat can be told."]
    table_of, grams = tap_figures(study), {c.row.build.name: rim_grams(c.row) for c in study.comparisons}
    own = table_of["sheet"]
    lines = [
        f"After a tap on the saddle, {percent_bars(own['heat'], own['heat_error'])} of the energy that the modes up to {highest_hz(study):.0f} Hz hold turns to heat "
        f"in the rim as the sheet builds it. Without any loss in the rim, and all else equal, these modes would ring "
        f"{longer(own['no_loss_gain'])}; a build can gain more than that by its stiffness and weight, not by turning less to heat."
    ]
    for build in others(study):
        told = table_of[build.name]
        change = points_beyond(told["heat"] - own["heat"], told["heat_change_error"])
        more = f"{signed(grams[build.name] - grams['sheet'], 0)} g"
        lines.append(f"- {build.label}: heat turned in the rim {percent(told['heat'])} ({change}), {more}")
    return lines


def others(study: DryStudy) -> list[Build]:
    """Those beside the sheet's own that can be built."""
    return [c.row.build for c in study.comparisons[1:] if c.row.build.name != LIMIT]


def highest_hz(study: DryStudy) -> float:
    """Frequency of the highest mode compared."""
    return study.comparisons[0].row.found.frequency[study.count - 1]


def longer(gain: float | None) -> str:
    """'12 % longer'."""
    return UNKNOWN if gain is None else f"{percent(gain, 0)} longer"


def headline(study: DryStudy) -> list[dict[str, Plain]]:
    """One dict per build: its name, the weight of its rim, and its figures."""
    table_of = tap_figures(study)
    return [
        {
            "name": c.row.build.name, "label": c.row.build.label, "note": c.row.build.note, "rim_g": rim_grams(c.row),
            **table_of.get(c.row.build.name, UNTOLD),
        }
        for c in study.comparisons
    ]  # fmt: skip


def tap_figures(study: DryStudy) -> dict[str, dict[str, float]]:
    """{build: {TOLD, with their mesh errors: value}}; {} where the losses of some part are not known.

    The mesh errors of a build and of its difference from the sheet's own are two: what both share cancels.
    """
    if unknown_losses(study):
        return {}
    figures = {c.row.build.name: [of_impulse(row, study.count) for row in c.levels] for c in study.comparisons}
    return {name: with_found_errors(found, figures["sheet"]) for name, found in figures.items()}


def of_impulse(row: Row, count: int) -> dict[str, float]:
    """Shares of a tap's energy: heat in the rim, storage in the rim; the time it rings, and the gain if the rim had no loss."""
    whole, lossless = saddle_impulse_response(row, count), saddle_impulse_response(row, count, RIM)
    heat, stored = (sum(share.get(part, 0.0) for part in RIM) for share in (whole.heat, whole.stored))
    return dict(zip(TOLD, (heat, stored, whole.ring_time, lossless.ring_time / whole.ring_time - 1)))
