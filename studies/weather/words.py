"""The weather study in words: its answer, its tables, and all of it as text for the terminal."""

from collections.abc import Callable

import numpy as np

from fem.moisture import equilibrium_moisture
from studies.common.rest_page import Report, said
from studies.common.table import BUILD, PER_GRAM, Table, build_cells, error_cells, per_gram
from studies.common.two_meshes import mesh_error, rim_grams
from studies.common.words import percent_change, rounded, signed
from studies.weather.readings import PLATES
from studies.weather.result import Row, Weather, free_width, mean_pull, widths, worst

LABEL = "movement and stress when the air changes for good, computed, elastic; creep eases stress with time"
CRACKS = "in the range in which cracks are reported"
WHERE = {"linings": "near the linings", "ends": "at brace ends"}
OWN_LIMITS = (
    "boards that are not quarter-sawn, end grain that dries first, sides that bend tighter or wider as they dry through",
    "whatever the wood had been strained by before it was glued: bent sides springing back, braces sprung into a dome",
    "finish, which slows the moisture but does not stop it",
)


def report(study: Weather) -> Report:
    """Report of the study."""
    return Report(
        study.body, study.size, study.unknowns, study.source, "weather", "what the seasons do to the box", LABEL,
        answer(study), tables(study), OWN_LIMITS, ("humidity", "moisture movement"),
    )  # fmt: skip


def text(study: Weather) -> str:
    """Everything printed by the command."""
    return said(report(study))


# --- words ---


def answer(study: Weather) -> list[str]:
    """The answer in plain sentences."""
    base, lines = study.rows[0], [air(study)]
    place, width = next(iter(widths(study.body).items()))
    for used, change in study.changes.items():
        alone = 1e3 * change * free_width(study.body.top, width)
        held = 1e3 * change * base.moisture.width[place][0]
        arch = [1e3 * change * base.moisture.arch[p] for p in PLATES]
        pulls = [tension(study, base, plate, used) for plate in PLATES]
        lines.append(
            f"At {used:g} %: across the {place} a loose top would change by {signed(alone, 2)} mm, the glued-up one changes by {signed(held, 2)} mm. "
            f"The arch of the top {moves(arch[0])}, that of the back {moves(arch[1])}. " + " ".join(pulls)
        )
    driest = min(study.changes, key=study.changes.get)
    if study.changes[driest] < 0:
        lines.append(compared(study, driest))
    if study.rim_gap:
        lines.append(
            f"A rim twisted by {1e3 * study.rim_gap:g} mm when the top was glued on takes {study.rim_gap * base.closing:.0f} N, all round, "
            f"to close, and keeps up to {1e-6 * gap_stress(study, base):.2f} MPa across the grain of the top, in any weather."
        )
    return lines


def air(study):
    start = equilibrium_moisture(study.built, study.temperature)
    ends = ", ".join(f"{start + c:.1f} % in use at {u:g} %" for u, c in study.changes.items())
    return (
        f"In air of {study.temperature:g} degrees Celsius wood holds {start:.1f} % of water at {study.built:g} % relative humidity, "
        f"where the box is glued up, and {ends}."
    )


def moves(millimetres):
    return f"{'rises' if millimetres > 0 else 'sinks'} by {abs(millimetres):.2f} mm"


def tension(study, row, plate, used):
    """Sentence on the largest tension across the grain of a plate."""
    found = {where: worst(study, row, plate, where, study.changes[used]) for where in WHERE}
    where = max(found, key=lambda w: found[w][0])
    pull, place = found[where]
    if pull <= 0:
        return f"Nothing pulls across the grain of the {plate}."
    words = f"Across the grain of the {plate} up to {1e-6 * pull:.1f} MPa of pull {WHERE[where]} ({place})"
    if pull > strength(study, plate):
        words += f": {CRACKS} (mean strength {1e-6 * strength(study, plate):.1f} MPa{guessed(study, plate)})"
    return words + "."


def strength(study, plate):
    """Mean strength across the grain [Pa] of a plate's wood."""
    return study.movement[getattr(study.body, plate).wood.name].strength


def guessed(study, plate):
    """', estimated' where no strength is printed for a plate's wood."""
    source = study.movement[getattr(study.body, plate).wood.name].sources["strength"]
    return "" if not source.startswith(("estimated", "assumed")) else ", estimated"


def compared(study, used):
    """Sentence on what the rim builds change in dry air."""
    change, base = study.changes[used], study.rows[0]
    able = [row for row in study.rows[1:] if row.build.stiffness == 1]
    pull = {row.build.label: mean_pull(row, "top", change) / mean_pull(base, "top", change) for row in able}
    low, high = min(pull, key=pull.get), max(pull, key=pull.get)
    limit = [row for row in study.rows if row.build.stiffness != 1]
    words = "".join(
        f" The stiff-rim limit, which cannot be built: {percent_change(mean_pull(r, 'top', change) / mean_pull(base, 'top', change), 0)}."
        for r in limit
    )
    return (
        f"At {used:g} % the rim's build changes the mean pull across the grain of the top near its linings by {percent_change(pull[low])} "
        f"({low}) to {percent_change(pull[high])} ({high}) against the sheet's own.{words}"
    )


def gap_stress(study, row, plate="top"):
    """Largest built-in tension [Pa] across the grain from the rim gap, either way round."""
    stress = row.gap.stress[plate]
    return study.rim_gap * max(np.abs(stress.linings).max(), np.abs(stress.ends).max(initial=0))


# --- tables ---


def tables(study: Weather) -> list[Table]:
    """Tables for page and terminal."""
    found = []
    for used in study.used:
        found += [shape_table(study, used), stress_table(study, used)]
    return [*found, *([gap_table(study)] if study.rim_gap else []), gram_table(study), wood_table(study)]


def shape_values(study: Weather, row: Row, used: float) -> dict[str, float]:
    """{column: mm} of width and arch changes."""
    change, found = 1e3 * study.changes[used], {}
    for place, (top, back) in row.moisture.width.items():
        found |= {f"{place}, top edge": change * top, f"{place}, back edge": change * back}
    return found | {f"arch of the {plate}": change * row.moisture.arch[plate] for plate in PLATES}


def errors(study: Weather, values: Callable[[Weather, Row, float], dict[str, float]], used: float) -> dict[str, float]:
    """{column: mesh error} of shape_values or stress_values of the sheet's own build."""
    fine, coarse = (values(study, row, used) for row in (study.rows[0], study.coarse))
    return {key: mesh_error(fine[key], coarse[key]) for key in fine}


def shape_table(study: Weather, used: float) -> Table:
    keys = list(shape_values(study, study.rows[0], used))
    change = 1e3 * study.changes[used]
    loose = []
    for width in widths(study.body).values():
        loose += [f"{signed(change * free_width(getattr(study.body, plate), width), 2)} mm" for plate in PLATES]
    cells = lambda row: (f"{signed(v, 2)} mm" for v in shape_values(study, row, used).values())
    rows = [("loose boards", "", *loose, "", ""), *(build_cells(row, cells(row)) for row in study.rows)]
    rows.append(error_cells(f"{error:.2f} mm" for error in errors(study, shape_values, used).values()))
    heading = f"At {used:g} % relative humidity: change of width and arch"
    note = "Arch: at the widest place, over the plate's own edge; the curved plate's doming is in the mesh."
    return Table(heading, (*BUILD, *keys), tuple(rows), note)


def stress_values(study: Weather, row: Row, used: float) -> dict[str, float]:
    """{column: MPa} of tension across the grain; mean along the linings, and the most of any patch."""
    change, found = study.changes[used], {}
    for plate in PLATES:
        found[f"{plate}, mean near the linings"] = 1e-6 * mean_pull(row, plate, change)
        for where, words in WHERE.items():
            found[f"{plate}, most {words}"] = 1e-6 * worst(study, row, plate, where, change)[0]
    return found


def stress_table(study: Weather, used: float) -> Table:
    keys = list(stress_values(study, study.rows[0], used))
    rows = []
    for row in study.rows:
        cells = []
        for key, value in stress_values(study, row, used).items():
            limit = 1e-6 * strength(study, key.split(",")[0])
            cells.append(f"{rounded(value, 2)} MPa" + (" *" if "most" in key and value > limit else ""))
        rows.append(build_cells(row, cells))
    rows.append(error_cells(f"{error:.2f} MPa" for error in errors(study, stress_values, used).values()))
    limits = "; ".join(
        f"{plate} ({getattr(study.body, plate).wood.name}) {1e-6 * strength(study, plate):.1f} MPa{guessed(study, plate)}"
        for plate in PLATES
    )
    note = (
        f"Tension at the worse face, averaged over patches of 12 mm radius: at a brace's very end and in a seam it has no limit. Mean: "
        f"through the thickness, all round; minus is pressure. * {CRACKS}: above the mean strength across the grain, {limits}."
    )
    return Table(f"At {used:g} % relative humidity: stress across the grain", (*BUILD, *keys), tuple(rows), note)


def gap_table(study):
    rows = []
    for row in (*study.rows, study.coarse):
        label = "sheet's own on the coarser mesh" if row is study.coarse else row.build.label
        cells = [f"{study.rim_gap * row.closing:.0f} N"]
        for plate in PLATES:
            for where in WHERE:
                stress = np.abs(getattr(row.gap.stress[plate], where)).max(initial=0)
                cells.append(f"{1e-6 * study.rim_gap * stress:.2f} MPa")
        rows.append((label, f"{rim_grams(row):.0f} g", *cells))
    head = (*BUILD, "force to close", *(f"{p}, {w}" for p in PLATES for w in WHERE.values()))
    note = (
        "The edge of the rim is taken to be twisted, two corners up and two down, its blocks bearing flat, against a true top; the back is on. "
        "Force: what pulls plate and rim together, summed all round; stress across the grain at the worse face, either way round. It is "
        "added to the tables above."
    )
    return Table(f"A rim out of flat by {1e3 * study.rim_gap:g} mm at glue-up", head, tuple(rows), note)


def gram_table(study: Weather) -> Table:
    used = min(study.changes, key=study.changes.get)
    place = next(iter(widths(study.body)))
    values = lambda row: [
        shape_values(study, row, used)[f"{place}, top edge"],
        *(stress_values(study, row, used)[f"{plate}, mean near the linings"] for plate in PLATES),
        *(stress_values(study, row, used)[f"{plate}, most at brace ends"] for plate in PLATES),
    ]
    head = (*BUILD, f"{place}, top edge", *(f"{p}, mean near the linings" for p in PLATES),
            *(f"{p}, most at brace ends" for p in PLATES))  # fmt: skip
    rows = per_gram(study.rows, values, ((3, "mm"), *4 * ((3, "MPa"),)))
    return Table(f"For each 10 g more of rim, at {used:g} % relative humidity", head, rows, PER_GRAM)


def wood_table(study):
    rows = []
    for name, m in study.movement.items():
        cells = (f"{100 * v:.3f} %" for v in (m.along, m.radial, m.tangential))
        rows.append((name, *cells, f"{1e-6 * m.strength:.1f} MPa", m.sources["radial"], m.sources["strength"]))
    head = (
        "wood",
        "along",
        "radial",
        "tangential",
        "strength across",
        "source of the movement",
        "source of the strength",
    )
    return Table("How the woods move for each 1 % of moisture", head, tuple(rows))
