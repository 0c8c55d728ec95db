"""What the squeeze page says first: from which other rims a ruler tells this one, before top and back are glued on."""

from studies.common.first_screen import Bar, FirstScreen, Lane, lane_label
from studies.common.mesh_error import change_error, mesh_error, rim_grams
from studies.common.words import several, signed
from studies.drawing.builds_chart import Scale, builds_svg
from studies.squeeze.result import BATTEN, Squeeze, apart, told_apart

TOLD, HIDDEN = "a ruler tells it", "a ruler does not tell it"
SCALE = Scale((-1.0, 1.0), ((-1.0, "stiffer"), (0.0, "0"), (1.0, "softer")))
DOUBT = (
    "Bent sides spring back, and the blocks come out too stiff, which flatters builds with stiff linings a little. The bars hold the mesh "
    "error alone; the error of the model itself is not known."
)


def ruler_screen(study: Squeeze) -> FirstScreen:
    """FirstScreen of the page; bars in what two readings can be wrong together."""
    lanes = give_lanes(study)
    foot = f"free rim under {study.load:g} kg; bars: mesh error; dashed: a ruler tells"
    chart = builds_svg(lanes, SCALE, "How much more or less another rim gives", foot)
    own = Lane(study.rows[0].build.label, (), rim_grams(study.rows[0]))
    return FirstScreen(_verdict(study), lanes, chart, _bench(study), DOUBT, own)


def give_lanes(study: Squeeze) -> tuple[Lane, ...]:
    """A Lane of every other build, a bar for each press of the free rim."""
    own = study.rows[0]
    return tuple(
        Lane(
            lane_label(row.build, rim_grams(row) - rim_grams(own)), tuple(_bar(study, row, press) for press in study.presses["free"]),
            rim_grams(row), TOLD if told_apart(study, own, row) else HIDDEN,
        )
        for row in study.real
    )  # fmt: skip


def _bar(study, row, press):
    key, own = ("free", press), study.rows[0]
    _, need = apart(study, own, row)[press]
    change = row.deflection[key] - own.deflection[key]
    error = change_error(mesh_error(*(r.deflection[key] for r in study.own)), own.deflection[key], change)
    ends = ((change + s * error) / need for s in (-1, 1))
    return Bar(press, (change / need,), *ends, f"{signed(1e3 * change, 1)} mm", abs(change) > error)


def _verdict(study: Squeeze) -> str:
    """The other rims by whether a ruler tells them from the sheet's own."""
    names: dict[bool, list[str]] = {True: [], False: []}
    for row in study.real:
        names[bool(told_apart(study, study.rows[0], row))].append(row.build.label.partition(" (")[0])
    told, hidden = names[True], names[False]
    if not told and not hidden:
        return "No other rim was compared."
    if not told:
        return f"By hand weight and ruler this open rim cannot be told from any other: {several(hidden, 'or')}."
    but = f", but not from {several(hidden, 'or')}" if hidden else ""
    return f"Squeezed or twisted before top and back are on, this rim can be told by a ruler from {several(told)}{but}."


def _bench(study: Squeeze) -> str:
    """What a ruler should show where the rim gives most."""
    give = {press: 1e3 * study.rows[0].deflection["free", press] for press in study.presses["free"]}
    place = max(study.places, key=lambda press: give[press])
    return (
        f"Press the {place} by {study.load:g} kg on a batten: this rim should give {give[place]:.1f} mm. Then the tail block in a vice, the weight "
        f"on a batten across the neck block, {1e3 * BATTEN:.0f} mm from the middle: {give['twist']:.1f} mm."
    )
