"""The box of each build in other air than it was glued in."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from fem.energies import masses
from fem.free_body import FreeBody
from fem.mesh import ShellMesh
from fem.model import Model, weights
from fem.moisture import swelling_load
from fem.prestress import gap_load, interface_points, interface_traction
from fem.sections import Section
from meshes.body import Assumption, Body
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.swelling import land_swelling, movements, swelling
from studies.common.builds import COMMON, Build, builds, complete_linings
from studies.common.inputs import within
from studies.common.mesh_error import on_levels, spaces
from studies.common.progress import Progress
from studies.weather.readings import Places
from studies.weather.result import Row, Weather

BUILT, USED = 45.0, (30.0, 70.0)  # % relative humidity, where nothing is said
DRIEST, WETTEST = 5.0, 95.0
GAP_INTERFACE = ("joint_top", "top/corner", "sides/corner_top")  # the plate glued on last; the blocks bear flat


def humidities(
    body: Body, built: float | None = None, used: float | Sequence[float] | None = None
) -> tuple[float, tuple[float, ...], tuple[Assumption, ...]]:
    """(built, (used, ..), Assumptions): as given, else the body's own, else BUILT and USED. BadInput out of 5 to 95 %."""
    assumed = []
    if built is None and (built := body.weather.built_at_humidity) is None:
        built = BUILT
        assumed.append(Assumption("built_at_humidity_percent", f"{BUILT:g} %", COMMON))
    if used is None and not (used := body.weather.used_at_humidity):
        used = USED
        assumed.append(Assumption("used_at_humidity_percent", " and ".join(f"{u:g} %" for u in USED), COMMON))
    each = tuple(dict.fromkeys(float(u) for u in np.atleast_1d(used)))
    for name, value in [("built-at", built), *(("used-at", value) for value in each)]:
        within(f"--{name}-humidity-percent", value, DRIEST, WETTEST, "% relative humidity")
    return float(built), each, tuple(assumed)


def season_builds(
    body: Body, built: float = BUILT, used: tuple[float, ...] = USED, size: float = DEFAULT_SIZE, rim_gap: float = 0.0,
    progress: Progress | None = None, chosen: Collection[str] | None = None,
) -> Weather:  # fmt: skip
    """Weather of a body for all rim builds on one mesh; each build's stiffness is factorised once.

    The sheet's own build is solved in a richer space and on longer edges as well, which tells the mesh error. chosen: names of
    the builds, 'sheet' among them; None: all.
    """
    body, assumed = complete_linings(body)
    guesses = tuple(
        Assumption(
            f"{wood}, moisture movement {key}", f"{100 * getattr(m, key):.3f} % per % of moisture", m.sources[key]
        )
        for wood, m in movements(body).items()
        for key in ("radial", "tangential")
        if m.sources[key].startswith(("assumed", "estimated", "from memory"))
    )
    body = replace(body, assumed=body.assumed + assumed + guesses)

    def ready(model: Model) -> tuple[Model, Places]:
        return model, Places(model, body)

    solve = lambda build, place, done: solve_swollen(build, *place)
    rows = [b for b in builds(body) if chosen is None or b.name in chosen]
    found = on_levels(rows, map(ready, spaces(partial(mesh_body, body, size))), solve, progress)
    models = [level.place[0] for level in (found.fine, found.richer, found.faceted)]
    unknowns = tuple(int(model.size) for model in models)
    _, richer, faceted = found.own
    return Weather(body, size, unknowns, found.fine.rows, richer, faceted, models[0].space, built, used, rim_gap)


# --- one build ---


def solve_swollen(build: Build, model: Model, places: Places) -> Row:
    """Row of a build."""
    sections = build.sections()
    w = weights(sections)
    gap = twist_gap(model, places.body)
    loads = np.column_stack(
        [swelling_load(model, build_swelling(build, model.space.mesh)), gap_load(model, w, GAP_INTERFACE, gap)]
    )
    answer = FreeBody(model, w).deflect(loads)
    swollen, closed = answer.displacement.T
    pull, length = interface_traction(model, w, GAP_INTERFACE, closed, gap)
    closing = float(np.sum(np.maximum(pull, 0) * length))
    balance = float(np.max(np.abs(answer.work / answer.energy - 1)))
    mass, responses = masses(model, sections), (places.response(swollen, 1.0), places.response(closed, 0.0))
    return Row(build, mass, *responses, closing, balance)


def build_swelling(build: Build, mesh: ShellMesh) -> dict[str, list[tuple[Section, np.ndarray]]]:
    """meshes.swelling of a build, its stiff-rim limit's sections scaled as they are in Build.sections."""
    return {
        region: [(build.stiffened(region, section), strain) for section, strain in layers]
        for region, layers in (swelling(build.body) | land_swelling(build.body, mesh)).items()
    }


def twist_gap(model: Model, body: Body) -> np.ndarray:
    """(edges, points) of the rim's top edge out of flat, 1 from its lowest to its highest place, taken to be twisted.

    Two corners up, two down, as an open rim gives way most easily: (x - x0) times y, counted from the blocks' corners;
    the blocks' own ends bear flat. No plane lies nearer to the edge than z = 0. The other way round strains alike.
    """
    at, _ = interface_points(model, GAP_INTERFACE[0])
    x, y = at[..., 0], at[..., 1]
    blocks = np.interp(x, [0.0, body.outline.length], [body.tail_block.width / 2, body.neck_block.width / 2])
    beside = np.sign(y) * np.maximum(np.abs(y) - blocks, 0)
    twist = (x - np.sum(x * y * beside) / np.sum(y * beside)) * beside
    return twist / np.ptp(twist)
