"""Of the power that the strings put in at the bridge, how much turns to heat in the rim, how much becomes sound, and what
does the rim's build change, hung free and on the lap?

The rim comparison with the air inside and out: every build changes one thing from the sheet's own. Without strings; the
drive is a force of 1 N out of the top at the saddle's middle. A second, coarser mesh tells the mesh error.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fem.model import Model
from meshes.body import Body
from meshes.holding import FIRMER, FREE, LAP, SOFTER, assumptions, hold
from meshes.sounding import Surroundings, modes_of, surroundings
from studies.common.builds import builds, complete_linings
from studies.common.groups import GROUPS, IN_RIM
from studies.common.inputs import NO_SOURCE, Source
from studies.common.pairing import paired
from studies.common.progress import Progress
from studies.common.two_meshes import COARSER
from studies.solved import coupled
from studies.solved.coupled import STEPS, shared, soundings
from studies.solved.power import OF_SUMMARY, driven, summary, surface_gram

HOLDINGS = (FREE, LAP)
WHOLE_RIM = "rim"
DRIVEN = 1.5  # of progress per build, mesh and way to hold it
PROGRESS = STEPS + len(HOLDINGS) * DRIVEN  # per build and mesh
OTHERS = 9.0  # of progress: other flesh, other losses


@dataclass(frozen=True)
class Result:
    """One build, held one way, on one mesh."""

    build: object
    rim_g: float
    modes: object  # SoundingModes of the body, those of its supports left out
    motion: np.ndarray = field(repr=False)  # (m, k) complex normal velocity of the outer surface in each mode
    driven: object = field(repr=False)
    dry_hz: np.ndarray  # (n,) Hz of the dry elastic modes


@dataclass(frozen=True)
class Level:
    """Every build on one mesh."""

    size: float  # m
    unknowns: int
    results: dict  # {(build name, how): Result}
    area: np.ndarray = field(repr=False)  # (m,) m2 of the outer surface's triangles
    base: object = field(repr=False)  # Sounding of the sheet's own build


@dataclass(frozen=True)
class Study:
    """Everything that the report is made from."""

    body: object
    builds: tuple
    fine: Level
    coarse: Level
    count: int
    firmness: dict  # {times the flesh's stiffness: summary of the sheet's own build on the lap}
    sensitivity: dict  # {(how, part of the rim or 'rim', times its losses): summary of the sheet's own build}
    measured: tuple = ()  # Besides: what the maker measured, and the computed value (dry)
    source: Source = NO_SOURCE

    @property
    def size(self):
        """m, of the finer mesh."""
        return self.fine.size

    @property
    def unknowns(self):
        return self.fine.unknowns, self.coarse.unknowns


def compare_in_air(
    body: Body, size: float, count: int, store: Path, progress: Progress | None = None, chosen: Sequence[str] | None = None,
    around: Callable[[Body], Surroundings] = surroundings, models: tuple[Model | None, Model | None] = (None, None),
) -> Study:  # fmt: skip
    """Study of a body and `count` of its air-loaded modes, on meshes of `size` [m] and COARSER times that.

    chosen: names of the builds, the sheet's own ('sheet') among them. models: of the finer and the coarser mesh, where
    they are there already. Rows in the folder `store` are used again.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *assumed))
    rows = [b for b in builds(body) if chosen is None or b.name in chosen]
    weight = (1.0, COARSER**-2)
    progress = progress or Progress(PROGRESS * len(rows) * sum(weight) + OTHERS)
    around = shared(around)
    fine, coarse = (
        level(rows, h, coupled.dry_modes(count), store, progress, w, around, model)
        for h, w, model in zip((size, COARSER * size), weight, models)
    )
    progress.say("softer and firmer flesh, other losses in the rim")
    firmness = {how: _on_other_flesh(fine.base, how) for how in (SOFTER, FIRMER)}
    body = replace(body, assumed=(*body.assumed, *assumptions()))
    others = sensitivity(fine)
    progress.step(OTHERS)
    return Study(body, tuple(rows), fine, coarse, count, firmness, others)


def level(rows, size, dry, store, progress, weight, around=surroundings, model=None):
    """Level of builds (Build) on a mesh of one size."""
    made = soundings(rows, size, dry, store, progress, weight, around, model)
    results = {}
    for build in rows:
        whole, V = made.whole[build.name], made.velocity[build.name]
        gram = surface_gram(made.surface, V)
        for how in HOLDINGS:
            progress.say(f"{build.label}: driven at the saddle, {how}")
            results[build.name, how] = result(build, whole, how, V, gram, made.rim_g[build.name])
            progress.step(DRIVEN * weight)
    return Level(size, made.unknowns, results, made.surface.area, made.whole[rows[0].name])


def result(build, whole, how, V, gram, grams):
    """Result of a Sounding held one way; V (m, n) are the outer surface's velocities of its structure and openings."""
    model = hold(whole, how)
    found = modes_of(whole, model)
    keep = np.flatnonzero(found.elastic)
    pick = lambda parts: {part: v[keep] for part, v in parts.items()}
    own = replace(
        found, frequency=found.frequency[keep], loss_factor=found.loss_factor[keep], shape=found.shape[:, keep],
        potential_share=pick(found.potential_share), kinetic_share=pick(found.kinetic_share),
        loss_share=pick(found.loss_share), rigid_share=found.rigid_share[keep],
    )  # fmt: skip
    dry = whole.structure.frequency[6:-1]
    return Result(build, grams, own, V @ own.shape[: V.shape[1]], driven(whole, model, gram), dry)


def _on_other_flesh(whole, firmness):
    n = whole.coupling.c.shape[1]
    return summary(driven(whole, hold(whole, LAP, firmness), np.eye(n), OF_SUMMARY))


def sensitivity(fine):
    """{(how, part, times its losses): summary} of the sheet's own build; part: one of the rim's, or 'rim' for all together."""
    whole, found = fine.base, {}
    none = np.eye(whole.coupling.c.shape[1])
    cases = [(part, (part,), times) for part in IN_RIM for times in (0.5, 2.0)]
    for how in HOLDINGS:
        held = hold(whole, how)
        for name, groups, times in (*cases, (WHOLE_RIM, IN_RIM, 0.0), (WHOLE_RIM, IN_RIM, 1.0)):
            changed = [part for group in groups for part in GROUPS[group]]
            loss = {part: times * H if part in changed else H for part, H in held.loss.items()}
            found[how, name, times] = summary(driven(whole, replace(held, loss=loss), none, OF_SUMMARY))
    return found


def partners(base, other, area, count):
    """For the first `count` modes of a Result the partner in another one, -1 for none, and their assurance criterion.

    Of the outer surface's normal motion, weighted by area; complex shapes.
    """
    a, b = base.motion[:, :count], other.motion
    cross = np.abs(a.conj().T @ (area[:, None] * b)) ** 2
    size = lambda v: area @ np.abs(v) ** 2
    return paired(cross / np.outer(size(a), size(b)))
