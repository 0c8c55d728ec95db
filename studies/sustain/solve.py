"""Every string and fret on every build, on two meshes, with what is doubtful."""

from dataclasses import replace

from meshes.holding import assumptions, hold
from meshes.sounding import surroundings
from meshes.string_body import string_body
from studies.common.builds import builds, complete_linings
from studies.common.progress import Progress
from studies.common.two_meshes import COARSER
from studies.solved.coupled import STEPS, soundings
from studies.sustain import fretboards as boards
from studies.sustain import verdict as verdicts
from studies.sustain.compare import Solved, compare, limits, play, rim_stiffness, top_damping
from studies.sustain.drying import drying
from studies.sustain.result import HOLDINGS, Dry, Drying, Study

BOARDS, DOUBTS, WOODS = 10, 10, 60  # of progress per build, where a mesh takes STEPS; of all draws


def play_builds(body, playing, size, modes, wood=None, progress=None, chosen=None, around=surroundings):
    """Study of a Body with `modes` dry modes, on meshes of `size` [m] and COARSER times that.

    wood: (names of builds, say) -> ScatteredNotes, or None. chosen: names of the builds, 'sheet' among them. around: Body ->
    Surroundings. What is assumed of strings and pluck is added to the body's. Everything that took long is kept in
    playing.store and used again. ArithmeticError where a pluck's energy does not add up.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *playing.assumed, *assumed, *assumptions(), *boards.range_notes()))
    rows = tuple(b for b in builds(body) if chosen is None or b.name in chosen)
    progress = progress or Progress(
        len(rows) * (STEPS * (1 + COARSER**-2) + BOARDS + DOUBTS) + WOODS * (wood is not None)
    )
    coarse = soundings(rows, COARSER * size, modes, playing.store, progress, COARSER**-2, around)
    rough, coarse_unknowns = held_bodies(coarse, playing), coarse.unknowns
    del coarse  # large
    fine = soundings(rows, size, modes, playing.store, progress, 1.0, around)
    bodies, played, on_coarse = held_bodies(fine, playing), {}, {}
    for build in rows:
        for how in HOLDINGS:
            progress.say(f"{build.label}, {how}: every string and fret")
            played[build.name, how] = play(playing, build, how, bodies[build.name, how])
            on_coarse[build.name, how] = boards.board(playing, rough[build.name, how])
            progress.step(BOARDS / len(HOLDINGS))
    progress.say("drying, other boards of the same woods")
    built, driest, stress, more = drying(body, rows, fine.model, playing.store)
    own_rim = boards.rim_loss_factor(fine.whole["sheet"].structure)
    stiffness = {build.name: rim_stiffness(fine, build) for build in rows}
    scatter = None
    if wood is not None:
        scatter = wood(tuple(build.name for build in rows), progress.say)
        progress.step(WOODS)
    solved = Solved(playing, played, on_coarse, bodies, scatter, stiffness, fine.rim_g, own_rim)
    compared = {}
    for build in rows[1:]:
        for how in HOLDINGS:
            progress.say(f"{build.label}, {how}: doubts, and where the verdict flips")
            compared[build.name, how] = compare(solved, build.name, how)
            progress.step(DOUBTS / len(HOLDINGS))
    progress.close("solved")
    low, high = limits(playing, body, bodies)
    return Study(
        replace(body, assumed=body.assumed + more), playing.strings, playing.pluck, rows, played, compared,
        no_rim_low=low,
        no_rim_high=high,
        dry=dry(built, driest, rows, stress, fine.rim_g),
        mesh_by_note=mesh_by_note(played, on_coarse),
        top_damping=top_damping(playing, bodies),
        rim_loss_factor=own_rim,
        rim_loss_ranges=boards.range_notes(),
        highest_valid=min(p.board.highest_valid for p in played.values()),
        sizes=(size, COARSER * size),
        unknowns=(fine.unknowns, coarse_unknowns),
        dry_modes=modes,
        flip_range=(10**-verdicts.REACH, 10**verdicts.REACH),
        draws=0 if scatter is None else len(scatter.decay_time),
        wood_words=() if scatter is None else scatter.words,
        rim_g=fine.rim_g,
        notes=notes(body, scatter),
    )  # fmt: skip


def mesh_by_note(played, on_coarse):
    """{how: {tolerance: share of the sheet's own notes that the coarser mesh alone moves beyond it}}."""
    return {
        how: verdicts.audible(played["sheet", how].board.decay_time / on_coarse["sheet", how].decay_time)
        for how in HOLDINGS
    }


def held_bodies(made, playing):
    """{(build name, how): BodyModes} of Soundings."""
    n = len(playing.strings.strings)
    return {(name, how): string_body(w, hold(w, how), n) for name, w in made.whole.items() for how in HOLDINGS}


def dry(built, driest, rows, stress, rim_g):
    """Dry of the stresses [{plate: (Pa, place)}] of each build."""
    return Dry(built, driest, tuple(Drying(b, *s["top"], *s["back"], rim_g[b.name]) for b, s in zip(rows, stress)))


def notes(body, scatter):
    """Plain lines that the maker should read."""
    found = []
    if body.neck is None:
        found.append("The sheet has no neck: the nut stands still, and no energy goes into a neck.")
    if scatter is None:
        found.append(
            "Wood scatter not computed: how much two boxes of the same plan differ by their boards is not in the verdict."
        )
    return tuple(found)
