"""Of the power that the strings put in at the bridge, how much turns to heat in the rim, how much becomes sound, and what
does the rim's build change, hung free and on the lap?

The rim comparison with the air inside and out: every build changes one thing from the sheet's own. Without strings; the
drive is a force of 1 N out of the top at the saddle's middle. A second, coarser mesh tells the mesh error.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from io import StringIO
from pathlib import Path

import numpy as np

from fem.model import Model, assemble
from fem.radiation import RadiationAt
from fem.response import ModalModel
from meshes.body import Body
from meshes.build import mesh_body
from meshes.coupled_model import CoupledModel, FluidDomain, fluid_domain, modes_of
from meshes.supports import BARE, FIRMER, LAP, SOFTER, THICK, assumptions, with_supports
from studies.common.builds import Build, builds, complete_linings
from studies.common.groups import GROUPS, IN_RIM
from studies.common.pairing import paired
from studies.common.progress import Progress
from studies.common.two_meshes import COARSER, both
from studies.rim.result import SUPPORT_CONDITIONS, WHOLE_RIM, AirStudy, Level, Result
from studies.rim.unexplained import with_unexplained
from studies.solved import coupled
from studies.solved.bridge_tap import bridge_tap
from studies.solved.coupled import STEPS, CoupledModels, coupled_models, shared
from studies.solved.dry import SPARE, stored_row
from studies.solved.power import OF_SUMMARY, air_outside, driven, summary, surface_mass

DRIVEN = 1.5  # of progress per build, mesh and support
PROGRESS = STEPS + len(SUPPORT_CONDITIONS) * DRIVEN  # per build and mesh
OTHERS = 9.0  # of progress: other flesh, other clothing, other losses


def compare_in_air(
    body: Body, size: float, count: int, store: Path, progress: Progress | None = None,
    around: Callable[[Body], FluidDomain] = fluid_domain, models: tuple[Model | None, Model | None] = (None, None),
    rough: Callable[[], Level | None] = lambda: None,
) -> AirStudy:  # fmt: skip
    """AirStudy of a body and `count` of its air-loaded modes, on meshes of `size` [m] and COARSER times that.

    models: of the finer and the coarser mesh, where they are there already. Rows in the folder `store` are used again.
    rough: function () -> what the coarser mesh tells, where another process finds it (see on_coarser): no step of progress.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *assumed))
    rows, weights = tuple(builds(body)), (1.0, COARSER**-2)
    progress = progress or Progress(PROGRESS * len(rows) * sum(weights) + OTHERS)
    around = shared(around)

    def on_mesh(k: int) -> tuple[Level, dict[str, CoupledModel]]:
        """Level, and every build."""
        made = coupled_models(
            rows, both(size)[k], coupled.dry_modes(count), store, progress, weights[k], around, models[k]
        )
        return driven_on(made, rows, progress, weights[k]), made.whole

    fine, whole = on_mesh(0)
    base = whole[rows[0].name]
    progress.say("other flesh and clothing, other losses in the rim")
    outside = air_outside(base, OF_SUMMARY)
    flesh, clothing, others, (unexplained, in_joints) = (
        other_flesh(base, outside),
        other_clothing(base, outside),
        sensitivity(base, outside),
        with_unexplained(whole),
    )
    progress.step(OTHERS)
    progress.say("the coarser mesh")
    coarse = rough() or on_mesh(1)[0]
    body = replace(body, assumed=(*body.assumed, *assumptions()))
    return AirStudy(body, rows, fine, coarse, base, count, flesh, clothing, others, unexplained, in_joints)


def on_coarser(body: Body, size: float, count: int, store: Path, air: bool) -> Level | None:
    """What the mesh of COARSER times `size` [m] tells, for a process beside the one that solves the finer mesh.

    First every build's dry modes, into the folder `store`, where the other process finds them; then, with `air`, the Level
    of AirStudy, unless some part's losses are not known.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *assumed))
    rows, h = tuple(builds(body)), both(size)[1]
    model, dry = assemble(mesh_body(body, h)), coupled.dry_modes(count) if air else count + SPARE
    # the last build first: what the other process is at is not waited for
    solved = [stored_row(build, model, dry, store) for build in reversed(rows)]
    if not air or any(row.split.losses_unknown for row in solved):
        return None
    quiet = Progress(1.0, StringIO())
    return driven_on(coupled_models(rows, h, dry, store, quiet, 0.0, shared(fluid_domain), model), rows, quiet, 0.0)


def driven_on(made: CoupledModels, rows: Sequence[Build], progress: Progress, weight: float) -> Level:
    """Level of Builds, on every support."""
    results = {}
    for build in rows:
        mass = surface_mass(made.surface, made.velocity[build.name])
        outside = air_outside(made.whole[build.name])
        for how in SUPPORT_CONDITIONS:
            progress.say(f"{build.label}: driven at the saddle, {how}")
            results[build.name, how] = result(made, build, how, mass, outside)
            progress.step(DRIVEN * weight)
    return Level(made.size, made.unknowns, results, made.surface.area)


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
    dry = whole.structure.frequency[6:-1]
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
    """For the first `count` modes of a Result the partner in another one, -1 for none, and their assurance criterion.

    Of the outer surface's normal motion, weighted by area; complex shapes.
    """
    a, b = base.motion[:, :count], other.motion
    cross = np.abs(a.conj().T @ (area[:, None] * b)) ** 2
    size = lambda v: area @ np.abs(v) ** 2
    return paired(cross / np.outer(size(a), size(b)))
