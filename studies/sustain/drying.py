"""The price of a stiffer rim, beside any claim about sustain: what the driest air does to the plates of each rim build."""

from collections.abc import Sequence
from functools import cache, partial
from pathlib import Path

from fem.model import Model
from fem.moisture import ROOM, equilibrium_moisture
from meshes.body import Assumption, Body
from studies.common.builds import Build, physical
from studies.common.kept import Kind, kept
from studies.common.ranges import numbers
from studies.sustain.result import Dry, Drying
from studies.weather.readings import Places
from studies.weather.result import largest_pull
from studies.weather.solve import humidities, solve_swollen


def drying(body: Body, rows: Sequence[Build], model: Model, store: Path) -> tuple[Dry, tuple[Assumption, ...]]:
    """(Dry of the Builds `rows` in the driest air of the sheet, what is assumed of the air)."""
    built, used, assumed = humidities(body)
    driest = min(used)
    change = equilibrium_moisture(driest, ROOM) - equilibrium_moisture(built, ROOM)
    places = cache(lambda: Places(model, body))

    def pulled(build):
        row = solve_swollen(build, model, places())
        return Drying(*(largest_pull(row, plate, "linings", change)[0] for plate in ("top", "back")))

    inputs = (built, driest, model.space.mesh)
    of = {b.name: kept(store, DRYING, (*physical(b), *inputs), partial(pulled, b)) for b in rows}
    return Dry(built, driest, of), assumed


def _check(stress: Drying) -> None:
    """ArithmeticError unless the stresses are finite."""
    numbers("drying", {"stress": [stress.top, stress.back]})


DRYING = Kind(
    "drying", ("studies.sustain.drying",), lambda stress: {"stress": [stress.top, stress.back]},
    lambda arrays: Drying(*map(float, arrays["stress"])), _check,
)  # fmt: skip
