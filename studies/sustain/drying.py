"""The price of a stiffer rim, beside any claim about sustain: what the driest air does to the plates of each rim build."""

from functools import cache

from fem.moisture import ROOM, equilibrium_moisture
from studies.common.builds import physical
from studies.common.kept import Kind, kept
from studies.common.ranges import numbers
from studies.weather.readings import Places
from studies.weather.result import largest_pull, place_words
from studies.weather.solve import humidities, solve_swollen

PLATES = ("top", "back")


def drying(body, rows, model, store):
    """(humidity at glue-up, driest humidity in use [%], [{plate: (Pa, place in words)}] of each Build, Assumptions)."""
    built, used, assumed = humidities(body)
    driest = min(used)
    change = equilibrium_moisture(driest, ROOM) - equilibrium_moisture(built, ROOM)
    places = cache(lambda: Places(model, body))

    def pulled(build):
        row = solve_swollen(build, model, places(), False)
        pulls = {plate: largest_pull(row, plate, "linings", change) for plate in PLATES}
        words = {plate: "" if at is None else place_words(places().near[plate][at]) for plate, (_, at) in pulls.items()}
        return {plate: (pull, words[plate]) for plate, (pull, _) in pulls.items()}

    inputs = (built, driest, model.space.mesh)
    found = [kept(store, DRYING, (*physical(build), *inputs), lambda build=build: pulled(build)) for build in rows]
    return built, driest, found, assumed


def check(found):
    """ArithmeticError unless the stress of {plate: (Pa, place)} is finite."""
    numbers("drying", stress=[stress for stress, _ in found.values()])


DRYING = Kind(
    "drying", ("studies.sustain.drying",),
    lambda found: {"stress": [found[p][0] for p in PLATES], "place": [found[p][1] for p in PLATES]},
    lambda a: {p: (float(s), str(w)) for p, s, w in zip(PLATES, a["stress"], a["place"])}, check,
)  # fmt: skip
