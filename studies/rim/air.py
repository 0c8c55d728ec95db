"""Of the power that the strings put in at the bridge, how much turns to heat in the rim, how much becomes sound, and what
does the rim's build change, hung free and on the lap?

The rim comparison with the air inside and out: every build changes one thing from the sheet's own. Without strings; the
drive is a force of 1 N out of the top at the saddle's middle. A richer space and longer edges tell the mesh error.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from io import StringIO
from pathlib import Path

import numpy as np

from fem.radiation import RadiationAt
from fem.response import ModalModel
from meshes.body import Body
from meshes.coupled_model import CoupledModel, FluidDomain, fluid_domain, modes_of
from meshes.supports import BARE, FIRMER, LAP, SOFTER, THICK, assumptions, with_supports
from studies.common.builds import Build, builds, complete_linings
from studies.common.groups import GROUPS, IN_RIM
from studies.common.pairing import Followed, followed, paired
from studies.common.progress import Progress
from studies.rim.result import SUPPORT_CONDITIONS, WHOLE_RIM, AirStudy, InAir, Result
from studies.rim.unexplained import with_unexplained
from studies.solved.bridge_tap import bridge_tap
from studies.solved.coupled import STEPS, CoupledModels, coupled_models, shared
from studies.solved.dry import SPARE, stored_row
from studies.solved.level import Level, dry_modes, prepare_three
from studies.solved.power import OF_SUMMARY, air_outside, driven, summary, surface_mass

Three = tuple[Level, Level, Level]

DRIVEN = 1.5  # of progress per build, mesh and support
PROGRESS = STEPS + len(SUPPORT_CONDITIONS) * DRIVEN  # per build and mesh
OTHERS = 9.0  # of progress: other flesh, other clothing, other losses


def compare_in_air(
    body: Body, size: float, count: int, store: Path, progress: Progress | None = None,
    around: Callable[[Body], FluidDomain] = fluid_domain, levels: Three | None = None,
    beside: Callable[[], tuple[InAir, InAir] | None] = lambda: None,
) -> AirStudy:  # fmt: skip
    """AirStudy of a body and `count` of its air-loaded modes, on a mesh of `size` [m].

    levels: of prepare_three, where they are there already. Rows in the folder `store` are used again.
    beside: function () -> what tells the mesh error, where another process finds it (see mesh_levels): no step of progress.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *assumed))
    rows = tuple(builds(body))
    progress = progress or Progress(PROGRESS * (len(rows) + 2) + OTHERS)
    around = shared(around)
    cubic, *telling = levels or prepare_three(body, size, store, dry_modes(count), True)
    made = coupled_models(rows, cubic, progress, 1.0, around)
    fine, whole = driven_on(made, rows, progress, 1.0), made.whole
    base = whole[rows[0].name]
    del made
    progress.say("another player, other clothes, other losses in the rim")
    outside = air_outside(base, OF_SUMMARY)
    flesh, clothing, others, (unexplained, in_joints) = (
        other_flesh(base, outside),
        other_clothing(base, outside),
        sensitivity(base, outside),
        with_unexplained(whole),
    )
    del whole
    progress.step(OTHERS)
    progress.say("the mesh error")
    richer, faceted = beside() or mesh_levels(rows[:1], telling, progress, 1.0, around)
    body = replace(body, assumed=(*body.assumed, *assumptions()))
    return AirStudy(body, rows, fine, richer, faceted, base, count, flesh, clothing, others, unexplained, in_joints)


def mesh_levels(
    own: Sequence[Build],
    others: Sequence[Level],
    progress: Progress,
    weight: float,
    around: Callable[[Body], FluidDomain],
) -> tuple[InAir, InAir]:
    """(in the richer space, on longer edges) of the sheet's own build, alone in `own`: what tells the mesh error."""
    found = [driven_on(coupled_models(own, at, progress, weight, around), own, progress, weight) for at in others]
    return found[0], found[1]


def found_beside(body: Body, size: float, count: int, store: Path, air: bool) -> tuple[InAir, InAir] | None:
    """mesh_levels, for a process beside the one that solves in cubic elements.

    First dry modes in all spaces, into the folder `store`, where the other process finds them; then, with `air`, the levels,
    unless some part's losses are not known.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *assumed))
    rows, keep = tuple(builds(body)), count + SPARE
    for build in reversed(rows):  # cells and joints of linings: the other process begins with the first one's
        build.sections()
    cubic, richer, longer = prepare_three(body, size, store, dry_modes(count) if air else keep, air)
    own = stored_row(rows[0], longer)
    stored_row(rows[0], richer)
    for build in reversed(rows[1:]):
        stored_row(build, cubic)
        stored_row(build, richer.fewer(keep))
        stored_row(build, longer.fewer(keep))
    if not air or own.split.losses_unknown:
        return None
    return mesh_levels(rows[:1], (richer, longer), Progress(1.0, StringIO()), 0.0, shared(fluid_domain))


def driven_on(made: CoupledModels, rows: Sequence[Build], progress: Progress, weight: float) -> InAir:
    """InAir of Builds, on every support."""
    results = {}
    for build in rows:
        mass = surface_mass(made.surface, made.velocity[build.name])
        outside = air_outside(made.whole[build.name])
        for how in SUPPORT_CONDITIONS:
            progress.say(f"{build.label}: driven at the saddle, {how}")
            results[build.name, how] = result(made, build, how, mass, outside)
            progress.step(DRIVEN * weight)
    return InAir(made.size, made.unknowns, results, made.surface.area)


def result(made: CoupledModels, build: Build, how: str, mass: np.ndarray, outside: RadiationAt) -> Result:
    """Result of a Build on one support; mass (n, n): see surface_mass; outside: see air_outside."""
    whole, V = made.whole[build.name], made.velocity[build.name]
    supported = with_supports(whole, how)
    modes = modes_of(whole, supported)
    keep = np.flatnonzero(modes.elastic)
    pick = lambda parts: {part: v[keep] for part, v in parts.items()}
    own = replace(
        modes, frequency=modes.frequency[keep], loss_factor=modes.loss_factor[keep], shape=modes.shape[:, keep],
        potential_share=pick(modes.potential_share), kinetic_share=pick(modes.kinetic_share),
        loss_share=pick(modes.loss_share), rigid_share=modes.rigid_share[keep],
    )  # fmt: skip
    motion = V @ own.shape[: V.shape[1]]
    dry = whole.structure.elastic_hz
    tap = bridge_tap(whole, supported, modes, outside) if build.is_base else None
    return Result(build, made.rim_g[build.name], own, motion, driven(whole, supported, mass, outside=outside), dry, tap)


def _summary(whole: CoupledModel, supported: ModalModel, outside: RadiationAt) -> dict[str, float]:
    """Measures of a CoupledModel on its supports, without a meaning for the radiation efficiency."""
    return summary(driven(whole, supported, np.eye(whole.coupling.c.shape[1]), OF_SUMMARY, outside))


def other_flesh(whole: CoupledModel, outside: RadiationAt) -> dict[float, dict[str, float]]:
    """{times the flesh's stiffness: summary} of the sheet's own build on the lap; outside: of OF_SUMMARY."""
    return {times: _summary(whole, with_supports(whole, LAP, times), outside) for times in (SOFTER, FIRMER)}


def other_clothing(whole: CoupledModel, outside: RadiationAt) -> dict[str, dict[str, float]]:
    """{'bare' or 'thick': summary} of the sheet's own build on the lap; outside: of OF_SUMMARY."""
    gives = {"bare": BARE, "thick": THICK}
    return {name: _summary(whole, with_supports(whole, LAP, clothing=c), outside) for name, c in gives.items()}


def sensitivity(whole: CoupledModel, outside: RadiationAt) -> dict[tuple[str, str, float], dict[str, float]]:
    """{(how, part, times its losses): summary} of the sheet's own build; part: one of the rim's, or 'rim' for all together.

    outside: of OF_SUMMARY.
    """
    cases: list[tuple[str, tuple[str, ...], float]]
    cases = [(part, (part,), times) for part in IN_RIM for times in (0.5, 2.0)]
    cases += [(WHOLE_RIM, IN_RIM, times) for times in (0.0, 1.0)]
    found = {}
    for how in SUPPORT_CONDITIONS:
        supported = with_supports(whole, how)
        for name, groups, times in cases:
            changed = {part for group in groups for part in GROUPS[group]}
            loss = {part: times * H if part in changed else H for part, H in supported.loss.items()}
            found[how, name, times] = _summary(whole, replace(supported, loss=loss), outside)
    return found


def partners(base: Result, other: Result, area: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """For the first `count` modes of a Result the partner in another one, -1 for none, and their assurance criterion."""
    return paired(alike(base, other, area, count))


def followed_in_air(own: tuple[Result, Result, Result], area: np.ndarray, count: int) -> Followed:
    """Followed of the first `count` modes of the first Result in the two others."""
    fine, *others = own
    return followed([alike(fine, other, area, count) for other in others], fine.modes.frequency[:count])


def alike(base: Result, other: Result, area: np.ndarray, count: int) -> np.ndarray:
    """(count, n) assurance criterion of a Result's modes with another's: the outer surface's normal motion, weighted by area."""
    a, b = base.motion[:, :count], other.motion
    cross = np.abs(a.conj().T @ (area[:, None] * b)) ** 2
    size = lambda v: area @ np.abs(v) ** 2
    return cross / np.outer(size(a), size(b))
