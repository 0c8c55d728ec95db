"""Every string and fret on every build, on two meshes, with what is doubtful."""

from collections.abc import Callable, Collection
from dataclasses import replace

from fem.body_modes import BodyModes
from meshes import string_places
from meshes.body import Body
from meshes.coupled_model import CoupledModel, FluidDomain, fluid_domain
from meshes.supports import (
    FIRMER,
    FREE,
    LAP,
    OTHER_PLAYERS,
    PLAYED,
    SOFTER,
    assumptions,
    hand_assumptions,
    hand_on,
)
from meshes.unexplained_loss import IN_JOINTS, LARGEST, factors, unit_losses
from studies.common.builds import builds, complete_linings
from studies.common.mesh_error import COARSER, both
from studies.common.progress import Progress
from studies.common.side_by_side import SideBySide
from studies.solved.answer import ask
from studies.solved.coupled import STEPS, CoupledModels, coupled_models, shared
from studies.solved.level import prepare
from studies.sustain import fretboards as boards
from studies.sustain.bodies import partners_of, surface_motion
from studies.sustain.compare import compare, decay_with_unexplained, limits, play, rim_stiffness, top_damping
from studies.sustain.drying import drying
from studies.sustain.flip import REACH
from studies.sustain.result import Study, holdings_of, without_hand
from studies.sweep.scatter import ScatteredNotes

FRETBOARDS, RANGES, WOODS = 5, 5, 60  # of progress per build and way to hold it, where a mesh takes STEPS; of all draws

Wood = Callable[[tuple[str, ...]], ScatteredNotes]  # names of the builds -> their draws; travels by pickle


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
    and pluck is added to the body's. Everything that took long is kept in playing.store and used again. What needs no mesh
    runs in playing.workers processes, the wood's draws from the start. ArithmeticError where a pluck's energy does not add up.
    """
    body, assumed = complete_linings(body)
    ways = holdings_of(body)
    held = (*string_places.assumptions(), *assumptions(), *(hand_assumptions() if PLAYED in ways else ()))
    body = replace(body, assumed=(*body.assumed, *playing.assumed, *assumed, *held, *boards.range_notes()))
    rows = tuple(b for b in builds(body) if chosen is None or b.name in chosen)
    around = shared(around)
    keys = [(build, how) for build in rows for how in ways]
    fretboards, ranges, woods = (w / playing.workers for w in (FRETBOARDS, RANGES, WOODS * (wood is not None)))
    progress = progress or Progress(len(rows) * STEPS * (1 + COARSER**-2) + len(keys) * (fretboards + ranges) + woods)
    level = lambda size: prepare(body, size, playing.store, modes)
    with SideBySide(playing.workers) as side, SideBySide(playing.workers, 1) as large:
        drawn = None if wood is None else large.begin(wood, tuple(build.name for build in rows))
        coarse = coupled_models(rows, level(COARSER * size), progress, COARSER**-2, around)
        rough = {key: side.begin(boards.board, playing, m) for key, m in supported_modes(coarse, playing).items()}
        coarse_unknowns = coarse.unknowns
        del coarse  # large
        fine = coupled_models(rows, level(size), progress, 1.0, around)
        bodies, begun, played = supported_modes(fine, playing), {}, {}
        answers = {(name, how): ask(w, how) for name, w in fine.whole.items() for how in (FREE, LAP)}
        left = {key: unit_losses(a.whole, a.real_modes[1]) for key, a in answers.items()}
        motion = {key: surface_motion(fine.velocity[key[0]], a) for key, a in answers.items()}
        most = factors(left["sheet", FREE], bodies["sheet", FREE], LARGEST)
        for build in rows:
            stiffness = rim_stiffness(fine, build)
            for how in ways:
                progress.say(f"{build.label}, {how}: every string and fret on the coarser mesh")
                key, as_held = (build.name, how), without_hand(how)
                partner = partners_of(motion["sheet", as_held], motion[build.name, as_held], fine.surface.area)
                begun[key] = side.begin(
                    play, playing, build, how, bodies[key], partner, rough[key](), stiffness,
                    {place: most[place] * loss for place, loss in left[build.name, as_held].items()},
                )  # fmt: skip
                progress.step(fretboards / 3)
        progress.say("drying")
        dry, more = drying(body, rows, fine.model, playing.store)
        for build, how in keys:
            progress.say(f"{build.label}, {how}: every string and fret")
            played[build.name, how] = begun[build.name, how]()
            progress.step(fretboards * 2 / 3)
        own = {how: played["sheet", how] for how in ways}
        damped = {how: side.begin(top_damping, playing, p) for how, p in own.items()}
        scatter = None
        if drawn is not None:
            progress.say("other boards of the same woods")
            scatter = drawn()
            progress.step(woods)
        rim_loss = boards.rim_loss_factor(fine.whole["sheet"].structure)
        players = {b.name: other_players(fine.whole[b.name], bodies.get((b.name, PLAYED)), playing) for b in rows}
        pairs = lambda build, how: tuple(zip(players[build.name].get(how, ()), players["sheet"].get(how, ())))
        judged = {
            (build.name, how): side.begin(
                compare, playing, played[build.name, how], own[how], scatter, rim_loss, pairs(build, how)
            )
            for build, how in keys
            if build.name != "sheet"
        }
        compared = {}
        for build, how in keys[len(ways) :]:
            progress.say(f"{build.label}, {how}: doubts, and where the word flips")
            compared[build.name, how] = judged[build.name, how]()
            progress.step(ranges)
        low, high = zip(*(limits(playing, p) for p in own.values()))
        top = {how: damping() for how, damping in damped.items()}
        unexplained = {how: decay_with_unexplained(playing, p) for how, p in own.items()}
    progress.close("solved")
    return Study(
        body=replace(body, assumed=body.assumed + more),
        strings=playing.strings,
        pluck=playing.pluck,
        builds=rows,
        played=played,
        compared=compared,
        no_rim_low=dict(zip(own, low)),
        no_rim_high=dict(zip(own, high)),
        dry=dry,
        top_damping=top,
        rim_loss_factor=rim_loss,
        unexplained=unexplained,
        unexplained_in_joints=most[IN_JOINTS],
        highest_valid=min(p.board.highest_valid for p in played.values()),
        sizes=both(size),
        unknowns=(fine.unknowns, coarse_unknowns),
        flip_range=(10**-REACH, 10**REACH),
        draws=0 if scatter is None else len(scatter.decay_time),
        wood_words=() if scatter is None else scatter.words,
        rim_g=fine.rim_g,
        notes=notes(body, scatter),
    )


def supported_modes(made: CoupledModels, playing: boards.Playing) -> dict[tuple[str, str], BodyModes]:
    """{(build name, how): BodyModes} of builds on one mesh; played, those on the lap with a hand."""
    n, found = len(playing.strings.strings), {}
    for name, whole in made.whole.items():
        found[name, FREE], played = ask(whole, FREE).played(n), ask(whole, PLAYED).played(n)
        found[name, LAP] = replace(played, hand=None)
        if played.hand is not None:
            found[name, PLAYED] = played
    return found


def other_players(
    whole: CoupledModel, played: BodyModes | None, playing: boards.Playing
) -> dict[str, tuple[BodyModes, ...]]:
    """{how: BodyModes} of a build held by other players: on the lap by each of OTHER_PLAYERS; played by these, the hand as soft as
    the rest of them, then by a hand alone that is softer and that is firmer. played: by the usual player; None without a neck.
    """
    n, hand = len(playing.strings.strings), lambda firmness: hand_on(whole.structure, firmness=firmness)
    others = [ask(whole, PLAYED, **other).played(n) for other in OTHER_PLAYERS]
    laps = {LAP: tuple(replace(other, hand=None) for other in others)}
    if played is None or played.hand is None:
        return laps
    motion, other_hands = played.hand.motion, filter(None, map(hand, (SOFTER, FIRMER)))
    alone = [replace(played, hand=replace(other, motion=motion)) for other in other_hands]
    return laps | {PLAYED: (*others, *alone)}


def notes(body: Body, scatter: ScatteredNotes | None) -> tuple[str, ...]:
    """Plain lines that the maker should read."""
    lines = []
    if body.neck is None:
        lines.append("The sheet has no neck: the nut stands still, and no energy goes into a neck.")
    if scatter is None:
        lines.append(
            "Wood scatter not computed: how much two boxes of the same plan differ by their boards is not in the verdicts."
        )
    return tuple(lines)
