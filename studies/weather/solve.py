"""The box of each build in other air than it was glued in."""

from dataclasses import replace

import numpy as np

from fem.energies import masses
from fem.free_body import FreeBody
from fem.mesh import part_of
from fem.model import assemble, weights
from fem.moisture import ROOM, swelling_load
from fem.prestress import gap_load, seam_points, seam_pull
from fem.sections import scaled
from meshes.body import Assumption
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.swelling import movements, swelling
from studies.common.builds import COMMON, STIFFENED, builds, complete_linings
from studies.common.inputs import within
from studies.common.two_meshes import on_both
from studies.weather.readings import PLATES, Places
from studies.weather.result import Row, Weather, board_movement

BUILT, USED = 45.0, (30.0, 70.0)  # % relative humidity, where nothing is said
DRIEST, WETTEST = 5.0, 95.0
GAP_SEAM = "joint_top"  # the plate glued on last


def humidities(body, built=None, used=None):
    """(built, (used, ..), Assumptions): as given, else the body's own, else BUILT and USED. BadInput out of 5 to 95 %."""
    assumed = []
    if built is None and (built := body.weather.built_at_humidity) is None:
        built = BUILT
        assumed.append(Assumption("built_at_humidity_percent", f"{BUILT:g} %", COMMON))
    if used is None and not (used := body.weather.used_at_humidity):
        used = USED
        assumed.append(Assumption("used_at_humidity_percent", " and ".join(f"{u:g} %" for u in USED), COMMON))
    used = tuple(dict.fromkeys(float(u) for u in np.atleast_1d(used)))
    for name, value in [("built-at", built), *(("used-at", value) for value in used)]:
        within(f"--{name}-humidity-percent", value, DRIEST, WETTEST, "% relative humidity")
    return float(built), used, tuple(assumed)


def season_builds(body, built=BUILT, used=USED, size=DEFAULT_SIZE, rim_gap=0.0, temperature=ROOM, progress=None):
    """Weather of a body for all rim builds on one mesh; each build's stiffness is factorised once.

    The sheet's own build is solved on a coarser mesh as well, which tells the mesh error.
    """
    body, assumed = complete_linings(body)
    moves = movements(body)
    guesses = tuple(
        Assumption(
            f"{wood}, moisture movement {key}", f"{100 * getattr(m, key):.3f} % per % of moisture", m.sources[key]
        )
        for wood, m in moves.items()
        for key in ("radial", "tangential")
        if m.sources[key].startswith(("assumed", "estimated", "from memory"))
    )
    body = replace(body, assumed=body.assumed + assumed + guesses)

    def ready(h):
        model = assemble(mesh_body(body, h))
        return model, Places(model, body)

    solve = lambda build, place, done: solve_swollen(build, *place, rim_gap > 0)
    fine, coarse = on_both(builds(body), size, ready, solve, progress, 1)
    (model, places), unknowns = fine.place, tuple(int(level.place[0].size) for level in (fine, coarse))
    return Weather(
        body, size, unknowns, built, used, temperature, rim_gap, fine.rows, coarse.rows[0], moves,
        places.end_names, places.near, model.space,
    )  # fmt: skip


# --- one build ---


def solve_swollen(build, model, places, with_gap):
    """Row of a build."""
    sections = build.sections()
    w = weights(sections)
    loads = [swelling_load(model, build_swelling(build))]
    gap = twist_gap(model, places.body)
    if with_gap:
        loads.append(gap_load(model, w, GAP_SEAM, gap))
    answer = FreeBody(model, w).deflect(np.column_stack(loads))
    u = answer.displacement
    free = {plate: board_movement(getattr(build.body, plate)) for plate in PLATES}
    moisture, closed, closing = places.response(u[:, 0], free), None, None
    if with_gap:
        closed = places.response(u[:, 1], dict.fromkeys(PLATES, (0.0, 0.0)))
        pull, length = seam_pull(model, w, GAP_SEAM, u[:, 1], gap)
        closing = float(np.sum(np.maximum(pull, 0) * length))
    off = float(np.max(np.abs(answer.work / answer.energy - 1)))
    return Row(build, masses(model, sections), moisture, closed, closing, off)


def build_swelling(build):
    """meshes.swelling of a build, its stiff-rim limit's sections scaled as they are in Build.sections."""
    found = swelling(build.body)
    if build.stiffness == 1:
        return found
    return {
        region: [(scaled(s, build.stiffness), e) for s, e in layers] if part_of(region) in STIFFENED else layers
        for region, layers in found.items()
    }


def twist_gap(model, body):
    """(edges, points) of the rim's top edge out of flat, 1 from its lowest to its highest place, taken to be twisted.

    Two corners up, two down, as an open rim gives way most easily: (x - x0) times y, counted from the blocks' corners;
    the blocks' own ends bear flat. No plane lies nearer to the edge than z = 0. The other way round strains alike.
    """
    at, _ = seam_points(model, GAP_SEAM)
    x, y = at[..., 0], at[..., 1]
    ends = [[0.0, body.outline.length], [body.tail_block.width / 2, body.neck_block.width / 2]]
    beside = np.sign(y) * np.maximum(np.abs(y) - np.interp(x, *ends), 0)
    twist = (x - np.sum(x * y * beside) / np.sum(y * beside)) * beside
    return twist / np.ptp(twist)
