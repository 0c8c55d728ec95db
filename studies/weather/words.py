"""The weather study in words: its answer and its tables."""

from collections.abc import Callable

from fem.moisture import ROOM, Movement, equilibrium_moisture, movement
from meshes.swelling import movements
from studies.common.box_measures import brace_ends, near_linings
from studies.common.first_screen import FirstScreen
from studies.common.mesh_error import mesh_errors, rim_grams
from studies.common.rest_page import Report
from studies.common.table import BUILD, PER_GRAM, Table, build_table, per_gram
from studies.common.words import percent_change, rounded, signed
from studies.weather.readings import PLATES
from studies.weather.result import Row, Weather, free_width, gap_pull, largest_pull, mean_pull, place_words, widths

LABEL = "movement and stress when the air changes for good, computed, elastic; creep eases stress with time"
CRACKS = "in the range in which cracks are reported"
WHERE = {"linings": "near the linings", "ends": "at brace ends"}
OWN_LIMITS = (
    "boards that are not quarter-sawn, end grain that dries first, sides that bend tighter or wider as they dry through",
    "whatever the wood had been strained by before it was glued: bent sides springing back, braces sprung into a dome",
    "finish, which slows the moisture but does not stop it",
)


def report(study: Weather, first: FirstScreen) -> Report:
    """Report of the study."""
    title, assumed = "what the seasons do to the box", ("humidity", "moisture movement")
    return Report(study, "weather", title, LABEL, first, answer(study), tables(study), OWN_LIMITS, assumed)


# --- the answer ---


def answer(study: Weather) -> list[str]:
    """The answer in plain sentences."""
    base, lines = study.rows[0], [air(study)]
    place, width = next(iter(widths(study.body).items()))
    for used, change in study.changes.items():
        loose = 1e3 * change * free_width(study.body.top, width)
        glued = 1e3 * change * base.moisture.width[place][0]
        top, back = (1e3 * change * base.moisture.arch[plate] for plate in PLATES)
        pulls = " ".join(tension(study, base, plate, change) for plate in PLATES)
        lines.append(
            f"At {used:g} %: across the {place} a loose top would change by {signed(loose, 2)} mm, the glued-up one changes by {signed(glued, 2)} mm. "
            f"The arch of the top {rise(top)}, that of the back {rise(back)}. {pulls}"
        )
    if study.driest < study.built:
        lines.append(compared(study, study.driest))
    if study.rim_gap:
        lines.append(
            f"A rim twisted by {1e3 * study.rim_gap:g} mm when the top was glued on takes {study.rim_gap * base.closing:.0f} N, all round, "
            f"to close, and keeps up to {1e-6 * gap_stress(study, base):.2f} MPa across the grain of the top, in any weather."
        )
    return lines


def air(study: Weather) -> str:
    """Sentence on the water that wood holds in each air."""
    start = equilibrium_moisture(study.built)
    ends = ", ".join(f"{start + change:.1f} % in use at {used:g} %" for used, change in study.changes.items())
    return (
        f"In air of {ROOM:g} degrees Celsius wood holds {start:.1f} % of water at {study.built:g} % relative humidity, "
        f"where the box is glued up, and {ends}."
    )


def rise(millimetres: float) -> str:
    """'rises by 0.12 mm'."""
    return f"{'rises' if millimetres > 0 else 'sinks'} by {abs(millimetres):.2f} mm"


def tension(study: Weather, row: Row, plate: str, change: float) -> str:
    """Sentence on the largest tension across the grain of a plate for a change of moisture [%]."""
    pulls = {where: largest_pull(row, plate, where, change, study.rim_gap) for where in WHERE}
    where = max(pulls, key=lambda where: pulls[where][0])
    pull, at = pulls[where]
    if at is None:
        return f"Nothing pulls across the grain of the {plate}."
    body, mean = study.body, strength(study, plate)
    place = brace_ends(body, plate)[0][at] if where == "ends" else place_words(near_linings(body, plate)[at])
    reported = f": {CRACKS} (mean strength {strength_words(mean)})" if pull > mean.strength else ""
    return f"Across the grain of the {plate} up to {1e-6 * pull:.1f} MPa of pull {WHERE[where]} ({place}){reported}."


def strength(study: Weather, plate: str) -> Movement:
    """Movement of a plate's wood, which tells its mean strength across the grain."""
    return movement(getattr(study.body, plate).wood)


def strength_words(wood: Movement) -> str:
    """'3.4 MPa'; ', estimated' after it where no strength is printed for the wood."""
    guessed = wood.sources["strength"].startswith(("estimated", "assumed"))
    return f"{1e-6 * wood.strength:.1f} MPa{', estimated' if guessed else ''}"


def compared(study: Weather, used: float) -> str:
    """Sentence on what the rim builds change in dry air."""
    change = study.changes[used]
    pull = lambda row: mean_pull(row, "top", change) / mean_pull(study.rows[0], "top", change)
    told = lambda row: f"{percent_change(pull(row))} ({row.build.label})"
    low, high = (told(extreme(study.real, key=pull)) for extreme in (min, max))
    limits = "".join(
        f" An impossibly stiff rim, for comparison: {percent_change(pull(row), 0)}."
        for row in study.rows
        if row.build.stiffness != 1
    )
    return (
        f"At {used:g} % the rim's build changes the mean pull across the grain of the top near its linings by {low} to {high} "
        f"against the sheet's own.{limits}"
    )


def gap_stress(study: Weather, row: Row) -> float:
    """Largest built-in tension [Pa] across the grain of the top from the rim gap, either way round."""
    return max(gap_pull(row, "top", where, study.rim_gap) for where in WHERE)


# --- tables ---

Values = Callable[[Weather, Row, float], dict[str, float]]


def tables(study: Weather) -> list[Table]:
    """Tables for page and terminal."""
    seasons = [table(study, used) for used in study.used for table in (shape_table, stress_table)]
    return [*seasons, *([gap_table(study)] if study.rim_gap else []), gram_table(study), wood_table(study)]


def shape_values(study: Weather, row: Row, used: float) -> dict[str, float]:
    """{column: mm} of width and arch changes."""
    change, moisture = 1e3 * study.changes[used], row.moisture
    found = {
        f"{place}, {plate} edge": change * wider
        for place, pair in moisture.width.items()
        for plate, wider in zip(PLATES, pair)
    }
    return found | {f"arch of the {plate}": change * moisture.arch[plate] for plate in PLATES}


def stress_values(study: Weather, row: Row, used: float) -> dict[str, float]:
    """{column: MPa} of tension across the grain; mean along the linings, and the most of any patch."""
    change, found = study.changes[used], {}
    for plate in PLATES:
        found[f"{plate}, mean near the linings"] = 1e-6 * mean_pull(row, plate, change)
        for where, words in WHERE.items():
            found[f"{plate}, most {words}"] = 1e-6 * largest_pull(row, plate, where, change, study.rim_gap)[0]
    return found


def errors(study: Weather, values: Values, used: float) -> dict[str, float]:
    """{column: mesh error} of shape_values or stress_values of the sheet's own build."""
    return mesh_errors(*(values(study, row, used) for row in study.own))


def shape_table(study: Weather, used: float) -> Table:
    off, change = errors(study, shape_values, used), 1e3 * study.changes[used]
    cells = lambda row: (f"{signed(value, 2)} mm" for value in shape_values(study, row, used).values())
    free = [
        free_width(board, width) for width in widths(study.body).values() for board in (study.body.top, study.body.back)
    ]
    loose = ("loose boards", "", *(f"{signed(change * width, 2)} mm" for width in free), "", "")
    heading = f"At {used:g} % relative humidity: change of width and arch"
    note = "Arch: at the widest place, over the plate's own edge; the curved plate's doming is in the mesh."
    return build_table(heading, off, study.rows, cells, (f"{error:.2f} mm" for error in off.values()), note, [loose])


def stress_table(study: Weather, used: float) -> Table:
    woods = {plate: strength(study, plate) for plate in PLATES}

    def cells(row: Row) -> list[str]:
        beyond = lambda key, value: "most" in key and value > 1e-6 * woods[key.split(",")[0]].strength
        values = stress_values(study, row, used).items()
        return [f"{rounded(value, 2)} MPa{' *' if beyond(key, value) else ''}" for key, value in values]

    off = errors(study, stress_values, used)
    limits = "; ".join(
        f"{plate} ({getattr(study.body, plate).wood.name}) {strength_words(wood)}" for plate, wood in woods.items()
    )
    note = (
        f"Tension at the worse face, averaged over patches of 12 mm radius: at a brace's very end and in a seam it has no limit. Mean: "
        f"through the thickness, all round; minus is pressure. * {CRACKS}: above the mean strength across the grain, {limits}."
    )
    heading = f"At {used:g} % relative humidity: stress across the grain"
    return build_table(heading, off, study.rows, cells, (f"{error:.2f} MPa" for error in off.values()), note)


def gap_table(study: Weather) -> Table:
    columns = [(plate, where) for plate in PLATES for where in WHERE]

    def values(row: Row) -> dict[str, float]:
        pulls = {f"{plate} {where}": 1e-6 * gap_pull(row, plate, where, study.rim_gap) for plate, where in columns}
        return {"force": study.rim_gap * row.closing} | pulls

    def cells(values: dict[str, float]) -> list[str]:
        force, *pulls = values.values()
        return [f"{force:.0f} N", *(f"{pull:.2f} MPa" for pull in pulls)]

    rows = (
        *((row.build.label, f"{rim_grams(row):.0f} g", *cells(values(row))) for row in study.rows),
        ("mesh error", "", *cells(mesh_errors(*(values(row) for row in study.own)))),
    )
    head = (*BUILD, "force to close", *(f"{plate}, {WHERE[where]}" for plate, where in columns))
    note = (
        "The edge of the rim is taken to be twisted, two corners up and two down, its blocks bearing flat, against a true top; the back is on. "
        "Force: what pulls plate and rim together, summed all round; stress across the grain at the worse face, either way round. It is "
        "added to the tables above."
    )
    return Table(f"A rim out of flat by {1e3 * study.rim_gap:g} mm at glue-up", head, rows, note)


def gram_table(study: Weather) -> Table:
    used, place = study.driest, next(iter(widths(study.body)))
    words = ("mean near the linings", "most at brace ends")
    stresses = [f"{plate}, {what}" for what in words for plate in PLATES]
    keys = [f"{place}, top edge", *stresses]

    def values(row: Row) -> list[float]:
        found = shape_values(study, row, used) | stress_values(study, row, used)
        return [found[key] for key in keys]

    rows = per_gram(study.rows, values, [(3, "mm"), *((3, "MPa") for _ in stresses)])
    return Table(f"For each 10 g more of rim, at {used:g} % relative humidity", (*BUILD, *keys), rows, PER_GRAM)


def wood_table(study: Weather) -> Table:
    rows = []
    for name, m in movements(study.body).items():
        cells = (f"{100 * v:.3f} %" for v in (m.along, m.radial, m.tangential))
        rows.append((name, *cells, f"{1e-6 * m.strength:.1f} MPa", m.sources["radial"], m.sources["strength"]))
    head = (
        "wood", "along", "radial", "tangential", "strength across", "source of the movement", "source of the strength",
    )  # fmt: skip
    return Table("How the woods move for each 1 % of moisture", head, tuple(rows))
