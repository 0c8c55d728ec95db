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
from meshes.body import Body
from meshes.coupled_model import CoupledModel, FluidDomain, fluid_domain
from meshes.supports import BARE, FIRMER, LAP, SOFTER, THICK, assumptions
from meshes.unexplained_loss import IN_JOINTS
from studies.common.builds import Build, builds, complete_linings
from studies.common.groups import GROUPS, IN_RIM
from studies.common.pairing import Followed, followed, paired
from studies.common.progress import Progress
from studies.rim.result import SUPPORT_CONDITIONS, WHOLE_RIM, AirStudy, InAir, Result
from studies.rim.unexplained import most_unexplained, with_unexplained
from studies.solved.answer import ask
from studies.solved.bridge_tap import bridge_tap
from studies.solved.coupled import STEPS, CoupledModels, coupled_models, shared
from studies.solved.dry import SPARE, stored_row
from studies.solved.level import Level, dry_modes, prepare_three
from studies.solved.power import air_outside, driven, power_summary, surface_mass

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
    base = made.whole[rows[0].name]
    most, unexplained = most_unexplained(base), {}

    def doubts(build: Build, whole: CoupledModel, outside: RadiationAt) -> None:
        progress.say(f"{build.label}: losses that no part explains")
        unexplained.update(with_unexplained(build.name, whole, most, outside))
        if build.is_base:
            progress.say("another player, other clothes, other losses in the rim")
            doubted.extend([other_flesh(base, outside), other_clothing(base, outside), sensitivity(base, outside)])
        progress.step(OTHERS / len(rows))

    doubted: list = []
    fine = driven_on(made, rows, progress, 1.0, doubts)
    flesh, clothing, others = doubted
    del made
    progress.say("the mesh error")
    richer, faceted = beside() or mesh_levels(rows[:1], telling, progress, 1.0, around)
    body = replace(body, assumed=(*body.assumed, *assumptions()))
    return AirStudy(
        body, rows, fine, richer, faceted, base, count, flesh, clothing, others, unexplained, most[IN_JOINTS]
    )


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


def driven_on(
    made: CoupledModels, rows: Sequence[Build], progress: Progress, weight: float,
    doubts: Callable[[Build, CoupledModel, RadiationAt], None] = lambda *_: None,
) -> InAir:  # fmt: skip
    """InAir of Builds, on every support. doubts: what else is asked of each, with its CoupledModel and the large air_outside."""
    results = {}
    for build in rows:
        mass = surface_mass(made.surface, made.velocity[build.name])
        outside = air_outside(made.whole[build.name])
        for how in SUPPORT_CONDITIONS:
            progress.say(f"{build.label}: driven at the saddle, {how}")
            results[build.name, how] = result(made, build, how, mass, outside)
            progress.step(DRIVEN * weight)
        doubts(build, made.whole[build.name], outside)
    return InAir(made.size, made.unknowns, results, made.surface.area)


def result(made: CoupledModels, build: Build, how: str, mass: np.ndarray, outside: RadiationAt) -> Result:
    """Result of a Build on one support; mass (n, n): see surface_mass; outside: see air_outside."""
    whole, V = made.whole[build.name], made.velocity[build.name]
    answer = ask(whole, how)
    own = answer.modes.of_body
    motion = V @ own.shape[: V.shape[1]]
    dry = whole.structure.elastic_hz
    tap = bridge_tap(answer, outside) if build.is_base else None
    return Result(build, made.rim_g[build.name], own, motion, driven(answer, mass, outside=outside), dry, tap)


def other_flesh(whole: CoupledModel, outside: RadiationAt) -> dict[float, dict[str, float]]:
    """{times the flesh's stiffness: power_summary} of the sheet's own build on the lap; outside: as of power_summary."""
    return {times: power_summary(ask(whole, LAP, times), outside) for times in (SOFTER, FIRMER)}


def other_clothing(whole: CoupledModel, outside: RadiationAt) -> dict[str, dict[str, float]]:
    """{'bare' or 'thick': power_summary} of the sheet's own build on the lap; outside: as of power_summary."""
    gives = {"bare": BARE, "thick": THICK}
    return {name: power_summary(ask(whole, LAP, clothing=c), outside) for name, c in gives.items()}


def sensitivity(whole: CoupledModel, outside: RadiationAt) -> dict[tuple[str, str, float], dict[str, float]]:
    """{(how, part, times its losses): power_summary} of the sheet's own build; part: one of the rim's, or 'rim' for all together.

    outside: as of power_summary.
    """
    cases: list[tuple[str, tuple[str, ...], float]]
    cases = [(part, (part,), times) for part in IN_RIM for times in (0.5, 2.0)]
    cases += [(WHOLE_RIM, IN_RIM, times) for times in (0.0, 1.0)]
    found = {}
    for how in SUPPORT_CONDITIONS:
        answer = ask(whole, how)
        for name, groups, times in cases:
            changed = {part for group in groups for part in GROUPS[group]}
            loss = {part: times * H if part in changed else H for part, H in answer.supported.loss.items()}
            found[how, name, times] = power_summary(answer.losing(loss), outside)
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
