"""Every string and fret on every build, on two meshes, with what is doubtful."""

from collections.abc import Callable, Collection
from dataclasses import replace

from fem.body_modes import BodyModes
from meshes.body import Body
from meshes.coupled_model import FluidDomain, fluid_domain
from meshes.string_body import string_body
from meshes.supports import assumptions, with_supports
from studies.common.builds import builds, complete_linings
from studies.common.progress import Progress
from studies.common.two_meshes import COARSER, both
from studies.solved.coupled import STEPS, CoupledModels, coupled_models
from studies.sustain import fretboards as boards
from studies.sustain import verdict as verdicts
from studies.sustain.compare import compare, limits, play, rim_stiffness, top_damping
from studies.sustain.drying import drying
from studies.sustain.result import SUPPORT_CONDITIONS, Played, Study
from studies.sweep.scatter import ScatteredNotes

FRETBOARDS, RANGES, WOODS = 10, 10, 60  # of progress per build, where a mesh takes STEPS; of all draws

Wood = Callable[[tuple[str, ...], Callable[[str], None]], ScatteredNotes]  # (names of the builds, say) -> their draws


def play_builds(
    body: Body,
    playing: boards.Playing,
    size: float,
    modes: int,
    wood: Wood | None = None,
    progress: Progress | None = None,
    chosen: Collection[str] | None = None,
    around: Callable[[Body], FluidDomain] = fluid_domain,
) -> Study:
    """Study of a Body with `modes` dry modes, on meshes of `size` [m] and COARSER times that.

    wood: None leaves the draws of the wood out. chosen: names of the builds, 'sheet' among them. What is assumed of strings
    and pluck is added to the body's. Everything that took long is kept in playing.store and used again. ArithmeticError
    where a pluck's energy does not add up.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *playing.assumed, *assumed, *assumptions(), *boards.range_notes()))
    rows = tuple(b for b in builds(body) if chosen is None or b.name in chosen)
    progress = progress or Progress(
        len(rows) * (STEPS * (1 + COARSER**-2) + FRETBOARDS + RANGES) + WOODS * (wood is not None)
    )
    coarse = coupled_models(rows, COARSER * size, modes, playing.store, progress, COARSER**-2, around)
    rough, coarse_unknowns = supported_modes(coarse, playing), coarse.unknowns
    del coarse  # large
    fine = coupled_models(rows, size, modes, playing.store, progress, 1.0, around)
    bodies, played = supported_modes(fine, playing), {}
    for build in rows:
        stiffness = rim_stiffness(fine, build)
        for how in SUPPORT_CONDITIONS:
            progress.say(f"{build.label}, {how}: every string and fret")
            key = build.name, how
            played[key] = play(playing, build, how, bodies[key], rough[key], stiffness)
            progress.step(FRETBOARDS / len(SUPPORT_CONDITIONS))
    progress.say("drying, other boards of the same woods")
    dry, more = drying(body, rows, fine.model, playing.store)
    scatter = None
    if wood is not None:
        scatter = wood(tuple(build.name for build in rows), progress.say)
        progress.step(WOODS)
    rim_loss, compared = boards.rim_loss_factor(fine.whole["sheet"].structure), {}
    own = {how: played["sheet", how] for how in SUPPORT_CONDITIONS}
    for build in rows[1:]:
        for how in SUPPORT_CONDITIONS:
            progress.say(f"{build.label}, {how}: doubts, and where the verdict flips")
            compared[build.name, how] = compare(playing, played[build.name, how], own[how], scatter, rim_loss)
            progress.step(RANGES / len(SUPPORT_CONDITIONS))
    progress.close("solved")
    low, high = limits(playing, own)
    return Study(
        body=replace(body, assumed=body.assumed + more),
        strings=playing.strings,
        pluck=playing.pluck,
        builds=rows,
        played=played,
        compared=compared,
        no_rim_low=low,
        no_rim_high=high,
        dry=dry,
        mesh_by_note=mesh_by_note(own),
        top_damping=top_damping(playing, own),
        rim_loss_factor=rim_loss,
        highest_valid=min(p.board.highest_valid for p in played.values()),
        sizes=both(size),
        unknowns=(fine.unknowns, coarse_unknowns),
        flip_range=(10**-verdicts.REACH, 10**verdicts.REACH),
        draws=0 if scatter is None else len(scatter.decay_time),
        wood_words=() if scatter is None else scatter.words,
        rim_g=fine.rim_g,
        notes=notes(body, scatter),
    )


def mesh_by_note(own: dict[str, Played]) -> dict[str, dict[str, float]]:
    """{how: {tolerance: share of the sheet's own notes that the coarser mesh alone moves beyond it}}."""
    return {how: verdicts.audible(p.board.decay_time / p.rough.decay_time) for how, p in own.items()}


def supported_modes(made: CoupledModels, playing: boards.Playing) -> dict[tuple[str, str], BodyModes]:
    """{(build name, how): BodyModes} of builds on one mesh."""
    n = len(playing.strings.strings)
    return {
        (name, how): string_body(w, with_supports(w, how), n)
        for name, w in made.whole.items()
        for how in SUPPORT_CONDITIONS
    }


def notes(body: Body, scatter: ScatteredNotes | None) -> tuple[str, ...]:
    """Plain lines that the maker should read."""
    lines = []
    if body.neck is None:
        lines.append("The sheet has no neck: the nut stands still, and no energy goes into a neck.")
    if scatter is None:
        lines.append(
            "Wood scatter not computed: how much two boxes of the same plan differ by their boards is not in the verdict."
        )
    return tuple(lines)
