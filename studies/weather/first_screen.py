"""What the weather page says first: is a plate pulled to where cracks are reported, and does another rim change that."""

from studies.common.first_screen import Bar, FirstScreen, Lane
from studies.common.mesh_error import mesh_error, rim_grams
from studies.common.words import several, span
from studies.drawing.builds_chart import Scale, builds_svg
from studies.weather.readings import PLATES
from studies.weather.result import Row, Weather, largest_pull, mean_pull
from studies.weather.words import WHERE, strength, strength_words

BEYOND, SHORT, OPEN = "beyond", "short of", "too near to tell to"
DOUBT = (
    "Boards of one species differ in strength and movement by more than most rims do, creep eases what lasts, and the error of the model "
    "itself is not known. The bars hold the mesh error alone."
)
SCALE = Scale((0.0, 1.0), ((0.0, "0"), (1.0, "cracks reported")))


def seasons_screen(study: Weather) -> FirstScreen:
    """FirstScreen of the page: pull across the grain at the driest humidity, over the wood's mean strength."""
    lanes, at = pull_lanes(study), f"at {study.driest:g} % humidity"
    title = f"Largest pull across the grain {at}, over the strength at which the wood breaks on average"
    chart = builds_svg(lanes, SCALE, title, f"largest pull across the grain {at}; bars: mesh error")
    return FirstScreen(_verdict(study, lanes), lanes, chart, _bench(study), DOUBT)


def pull_lanes(study: Weather) -> tuple[Lane, ...]:
    """A Lane of every build that can be built, the sheet's own first: a bar for each plate, 1 at its wood's mean strength."""
    return tuple(
        Lane(
            "as on the sheet" if row.build.is_base else row.build.label,
            tuple(_bar(study, row, plate) for plate in PLATES),
            rim_grams(row),
        )
        for row in (study.rows[0], *study.real)
    )


def plate_pull(study: Weather, row: Row, plate: str) -> float:
    """Largest tension [Pa] across the grain of a plate at the driest humidity."""
    change = study.changes[study.driest]
    return max(largest_pull(row, plate, where, change, study.rim_gap)[0] for where in WHERE)


def _bar(study, row, plate):
    """The mesh error is the same part of it as of the sheet's own."""
    own, limit = [plate_pull(study, r, plate) for r in study.own], strength(study, plate).strength
    pull = plate_pull(study, row, plate)
    error = mesh_error(*own) * (pull / own[0] if own[0] else 1.0)
    low, high = ((pull + s * error) / limit for s in (-1, 1))
    return Bar(plate, (pull / limit,), low, high, f"{1e-6 * pull:.1f} ± {1e-6 * error:.1f} MPa")


def place(bar: Bar) -> str:
    """Where a bar lies beside the strength at which its wood breaks on average."""
    return BEYOND if bar.low > 1 else SHORT if bar.high < 1 else OPEN


def _verdict(study: Weather, lanes: tuple[Lane, ...]) -> str:
    """The sheet's own plates, then what another rim changes."""
    limits = (strength_words(strength(study, bar.name)) for bar in lanes[0].bars)
    told = "; ".join(
        f"the {bar.name} is pulled across its grain by {bar.told}, {place(bar)} where cracks are reported ({limit})"
        for bar, limit in zip(lanes[0].bars, limits)
    )
    return f"In air of {study.driest:g} % humidity {told}. {_others(study)}"


def _others(study):
    own = mean_pull(study.rows[0], "top", study.changes[study.driest])
    if not study.real or not own:
        return "What another rim changes is not told."
    ratios = [mean_pull(row, "top", study.changes[study.driest]) / own for row in study.real]
    return f"Another rim changes the top's mean pull by {span(min(ratios), max(ratios), 0)}."


def _bench(study: Weather) -> str:
    """What a straightedge should show."""
    change, own = study.changes[study.driest], study.rows[0]
    moved = {plate: 1e3 * change * own.moisture.arch[plate] for plate in PLATES}
    told = several(
        f"the {p}'s should have {'risen' if mm > 0 else 'sunk'} by {abs(mm):.1f} mm" for p, mm in moved.items()
    )
    return (
        f"Lay a straightedge across the arches at the widest place in air of {study.built:g} % and, when the guitar's weight no longer "
        f"changes, of {study.driest:g} %: {told}."
    )
