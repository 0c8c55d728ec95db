"""What each step moves: the whole body with its air is solved again between the sheet's own modes, in which close modes mix as they
will; steps that change the mesh are solved anew. A second, coarser mesh and the step the other way tell how far to trust it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import eigh

from fem.eigen import Modes
from fem.modal_losses import loss_weights, modal_terms
from fem.model import Model, Term, weights
from fem.radiation import RadiationAt
from fem.sections import Section
from meshes.body import Body
from meshes.coupled_model import RIGID, CoupledModel, VibroacousticModes
from meshes.describe import masses
from meshes.parts import sections
from meshes.supports import FREE
from studies.common.builds import Build
from studies.common.mesh_error import both
from studies.common.pairing import paired
from studies.common.progress import Progress
from studies.compare.likeness import likeness, outward_motion, places_weight
from studies.drawing.mode_names import names_with_air
from studies.moves.result import Effect, Moved, Moves
from studies.moves.steps import Step, steps
from studies.solved.answer import ask
from studies.solved.coupled import STEPS, coupled_models
from studies.solved.level import DRY_MODES, Level, prepare
from studies.solved.power import air_outside, power_summary

OWN = ("sheet", 0)
A_STEP, SECTIONS = 0.4, 0.6  # of progress, where a mesh takes STEPS: a step solved, its linings and joints
Found = Mapping[tuple[str, int], Moved]  # {(step's key, 1 there or -1 back)}; OWN: the sheet's own


@dataclass(frozen=True)
class Nudge:
    """What a step adds between n shapes: stiffness and mass (n, n), and losses {part: (n, n)}."""

    stiffness: np.ndarray
    mass: np.ndarray
    loss: dict[str, np.ndarray]


Changed = tuple[dict[str, Section], dict[str, Section]]  # {region: Section} of a step's two bodies


def changed_sections(own: dict[str, Section], taken: Sequence[Step]) -> list[Changed]:
    """[Changed] of Steps; own: of the sheet's own body."""
    return [(step.sections(own, step.there), step.sections(own, step.back)) for step in taken]


def nudges(
    model: Model, base: dict[str, Section], pairs: Sequence[Changed], shape: np.ndarray
) -> list[tuple[Nudge, Nudge]]:
    """[(there, back)] of changed sections on the Model of a body of sections `base`, between shapes (size, n)."""
    changed = [one for pair in pairs for one in pair]
    less = lambda told: [_minus(told(one), told(base)) for one in changed]
    stiff = modal_terms(model, "K", less(weights), shape)
    mass = modal_terms(model, "M", less(weights), shape)
    loss = modal_terms(model, "K", less(loss_weights), shape)
    n = shape.shape[1]
    whole = lambda parts: np.zeros((n, n)) + sum(parts.values())
    found = [Nudge(whole(k), whole(m), dict(h)) for k, m, h in zip(stiff, mass, loss)]
    return list(zip(found[::2], found[1::2]))


def _minus(a: Mapping[Term, float], b: Mapping[Term, float]) -> dict[Term, float]:
    """What differs."""
    found = {key: a.get(key, 0.0) - b.get(key, 0.0) for key in {*a, *b}}
    return {key: value for key, value in found.items() if value}


def dry_frequencies(found: Modes, nudge: Nudge) -> tuple[np.ndarray, np.ndarray]:
    """(frequencies (n,) Hz after a Nudge between the modes found alone, (n, n) the new modes in the old ones)."""
    square, x = eigh(
        np.diag((2 * np.pi * found.frequency) ** 2) + nudge.stiffness, np.eye(len(found.frequency)) + nudge.mass
    )
    return np.sqrt(square) / (2 * np.pi), x


@dataclass(frozen=True)
class At:
    """A body with its air as it stands."""

    modes: VibroacousticModes
    level: float  # dB of the sound for the same force
    kept: np.ndarray = field(repr=False)  # (n, k) its body modes by structure mode


def nudged(whole: CoupledModel, nudge: Nudge) -> CoupledModel:
    """A CoupledModel after a Nudge of its structure; its air stays."""
    m = whole.model
    wide = lambda A: np.pad(A, (0, len(m.stiffness) - len(A)))
    loss = {part: H + wide(nudge.loss[part]) if part in nudge.loss else H for part, H in m.loss.items()}
    return replace(
        whole,
        model=replace(m, stiffness=m.stiffness + wide(nudge.stiffness), mass=m.mass + wide(nudge.mass), loss=loss),
    )


def at(whole: CoupledModel, outside: RadiationAt) -> At:
    """At of a CoupledModel hung free; outside: air_outside of its air."""
    answer = ask(whole, FREE)
    modes = answer.modes
    keep = np.flatnonzero(modes.elastic)
    modes = replace(
        modes, frequency=modes.frequency[keep], loss_factor=modes.loss_factor[keep], shape=modes.shape[:, keep]
    )
    found = power_summary(answer, outside)
    return At(modes, 10 * float(np.log10(found["radiated_w"])), modes.shape[: len(whole.structure.frequency)])


@dataclass(frozen=True)
class Asked:
    """What is solved on every mesh."""

    build: Build
    sections: dict[str, Section] = field(repr=False)
    fixed: Sequence[Step]  # that leave the mesh as it is
    pairs: Sequence[Changed] = field(repr=False)  # of these
    anew: Sequence[Step]  # that need a mesh of their own
    count: int  # modes


def what_moves(body: Body, size: float, count: int, store: Path, hole: bool = True) -> tuple[Moves, tuple[int, ...]]:
    """(Moves of the first `count` air-loaded modes of a body hung free, unknowns) on a mesh of `size` [m] and a coarser one."""
    build = Build("sheet", body.name, body, is_base=True)
    taken = [step for step in steps(body) if hole or not step.remesh]
    fixed, anew = [s for s in taken if not s.remesh], [s for s in taken if s.remesh]
    progress = Progress(2 * (STEPS * (1 + 2 * len(anew)) + A_STEP * len(fixed)) + SECTIONS * len(fixed))
    found, unknowns = [], []
    own_sections, pairs = sections(body), []
    for step in fixed:
        progress.say(f"{step.words}: sections")
        pairs += changed_sections(own_sections, [step])
        progress.step(SECTIONS)
    asked = Asked(build, own_sections, fixed, pairs, anew, count)
    for one in both(size):
        level = prepare(body, one, store, DRY_MODES)
        unknowns.append(int(level.model.size))
        found.append(_on_one_mesh(asked, level, progress))
    progress.close("solved")
    (fine, names, motion, grams), (coarse, _, other, _) = found
    partner, _ = paired(likeness(motion[:, :count], other[:, :count], places_weight(body)))
    effects = tuple(effect(step, fine, coarse, partner) for step in taken)
    first = fine[OWN]
    grams |= {s.key: 500 * (sum(masses(s.there).values()) - sum(masses(s.back).values())) for s in anew}
    return Moves(body, both(size), first.frequency, first.loss_factor, tuple(names), effects, grams), tuple(unknowns)


def _on_one_mesh(
    asked: Asked, level: Level, progress: Progress
) -> tuple[Found, list[str], np.ndarray, dict[str, float]]:
    """(Found, names of the modes, motion (p, n) at common places, {step: g that it adds}) of all steps on one mesh."""
    build, count = asked.build, asked.count
    made = coupled_models([build], level, progress)
    whole = made.whole[build.name]
    outside = air_outside(whole)
    own = at(whole, outside)
    found: dict[tuple[str, int], Moved] = {OWN: _picked(own, np.arange(count))}
    progress.say("what each step adds")
    added = nudges(level.model, asked.sections, asked.pairs, whole.structure.shape)
    for step, both_ways in zip(asked.fixed, added):
        progress.say(step.words)
        for sign, nudge in zip((1, -1), both_ways):
            one = at(nudged(whole, nudge), outside)
            alike = likeness(own.kept[:, :count], one.kept, np.ones(len(own.kept)))
            found[step.key, sign] = _picked(one, paired(alike)[0])
        progress.step(A_STEP)
    motion = lambda w, space, a: outward_motion(build.body, space, w.structure.shape) @ a.kept
    mine, weight = motion(whole, level.model.space, own), places_weight(build.body)
    for step in asked.anew:
        for sign, body in ((1, step.there), (-1, step.back)):
            there = prepare(body, level.size, level.store, level.count)
            w = coupled_models([Build("sheet", step.words, body)], there, progress).whole["sheet"]
            one = at(w, air_outside(w))
            found[step.key, sign] = _picked(
                one, paired(likeness(mine[:, :count], motion(w, there.model.space, one), weight))[0]
            )
    velocity = made.velocity[build.name]
    names = names_with_air(whole, own.modes, velocity @ own.modes.shape[: velocity.shape[1]], count)
    lifted = np.linalg.lstsq(whole.structure.shape[:, :RIGID], level.model.step, rcond=None)[0]  # all of it by 1 m
    grams = {
        step.key: 500 * float(lifted @ (there.mass - back.mass)[:RIGID, :RIGID] @ lifted)
        for step, (there, back) in zip(asked.fixed, added)
    }
    return found, names, mine, grams


def _picked(one: At, partner: np.ndarray) -> Moved:
    pick = lambda v: np.where(partner >= 0, v[np.maximum(partner, 0)], np.nan)
    return Moved(pick(one.modes.frequency), pick(one.modes.loss_factor), one.level)


def effect(step: Step, fine: Found, coarse: Found, partner: np.ndarray) -> Effect:
    """Effect of a step: half of there minus back; in doubt by how unlike both ways are and by what the coarser mesh tells otherwise.

    partner (n,): on the coarser mesh, of the modes on the finer one; -1: none.
    """
    (p, m, own), (q, n, rough) = ((of[step.key, 1], of[step.key, -1], of[OWN]) for of in (fine, coarse))
    other = lambda v: np.where(partner >= 0, v[np.maximum(partner, 0)], np.nan)
    hertz = (p.frequency - m.frequency) / 2
    hertz_noise = noise(p.frequency, m.frequency, own.frequency) + np.abs(hertz - other(q.frequency - n.frequency) / 2)
    loss = (p.loss_factor - m.loss_factor) / (2 * own.loss_factor)
    loss_noise = noise(p.loss_factor, m.loss_factor, own.loss_factor) / own.loss_factor
    loss_noise += np.abs(loss - other((q.loss_factor - n.loss_factor) / (2 * rough.loss_factor)))
    level = (p.level - m.level) / 2
    level_noise = noise(p.level, m.level, own.level) + abs(level - (q.level - n.level) / 2)
    return Effect(step.key, step.words, hertz, hertz_noise, loss, loss_noise, float(level), float(level_noise))


def noise(there: ArrayLike, back: ArrayLike, own: ArrayLike) -> np.ndarray:
    """How unlike a step and the step the other way are: half of what does not cancel in their sum."""
    return np.abs(np.add(there, back) - 2 * np.asarray(own)) / 2
