"""Does the rim's build change how long plucked notes last, and could anybody hear it?

Every string at every fret on every rim build, hung free and on the lap: string and air-loaded body solved together, both
polarisations. Each build changes one thing from the sheet's own. What is doubtful stays apart: mesh, wood scatter, string
losses, rim losses; the error of the model itself is not known and in none of them.
"""

import hashlib
import sys
from dataclasses import replace
from pathlib import Path

from meshes.build import DEFAULT_SIZE
from meshes.holding import assumptions, hold
from meshes.sheet import read_sheet
from meshes.sheet_strings import pluck_assumed, pluck_of, strings_of
from meshes.sounding import surroundings
from meshes.string_body import string_body
from studies import sustain_boards as boards
from studies import sustain_verdict as verdicts
from studies.inputs import BadInput, existing_file, writable_folder
from studies.night_log import Log
from studies.progress import Progress
from studies.rim_builds import builds, complete_linings
from studies.soundings import STEPS, soundings
from studies.sustain_compare import Solved, compare, limits, play, rim_stiffness, top_damping
from studies.sustain_drying import drying
from studies.sustain_results import HOLDINGS, Dry, Drying, Study
from studies.two_meshes import COARSER

FRETS = 20
DRY_MODES = 60  # of the example bodies: they reach 1 kHz
MOST_MODES = 250
DRAWS = 20
# Draws of the wood. Builds that are not drawn get the widest of their doubts. Ratios of pairs need neither a fine mesh nor
# many modes: the page tells the error of the rows that are solved again in full.
WOOD_BUILDS = "solid_laminated", "kerfed", "doubled_sides", "single_sides"
WOOD_MESH_MM, WOOD_MODES, WOOD_CELLS, WOOD_ESTIMATE = 60.0, 40, 1, 0.25
BOARDS, DOUBTS, WOODS = 10, 10, 60  # of progress per build, where a mesh takes STEPS; of all draws


def main(sheet, out=None, size_mm=None, modes=DRY_MODES, frets=FRETS, draws=DRAWS, strings=None, pictures=True):
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    strings: name of a built-in set, in place of the sheet's. draws: of the wood; 0 leaves the wood scatter out.
    """
    from studies.sustain_report import write_report
    from studies.sustain_words import text

    sheet = existing_file(sheet)
    for name, value, low, high in (
        ("--mesh-size-mm", size_mm, 5, 60), ("--modes", modes, 20, MOST_MODES), ("--frets", frets, 0, 24),
        ("--draws", draws, 0, 1000),
    ):  # fmt: skip
        if value is not None and not low <= value <= high:
            raise BadInput(f"{name} {value:g}: expected between {low} and {high}")
    if draws == 1:
        raise BadInput("--draws 1: expected 0 (no wood scatter), or 2 and more")
    body = read_sheet(sheet)
    chosen, assumed = strings_of(body, strings)
    out = writable_folder(out or Path("out") / f"{sheet.stem}-sustain")
    playing = boards.Playing.of(chosen, pluck_of(body), frets, out / "rows")
    boards.check_pluck(playing)
    size = size_mm / 1e3 if size_mm else DEFAULT_SIZE
    body = replace(body, assumed=body.assumed + assumed + pluck_assumed(body))
    study = run(body, playing, size, modes, wood=wood_of(sheet, draws, playing))
    study = replace(study, sheet=str(sheet), sheet_hash=hashlib.sha256(sheet.read_bytes()).hexdigest())
    written = write_report(study, out, pictures, lambda what: print(f"drawing: {what}", file=sys.stderr))
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)


def wood_of(sheet, draws, playing):
    """Function (build names, say) -> night_sustain.Scatter of the sheet's file, or None without draws.

    On a mesh and with modes of its own, whatever the study's: what other boards do to the ratio of a pair of boxes depends
    little on either.
    """
    if not draws:
        return None

    def scattered(names, say):
        from studies.night_sustain import scatter

        drawn = tuple(name for name in names if name == "sheet" or name in WOOD_BUILDS)
        return scatter(
            sheet, drawn, draws, holdings=HOLDINGS, strings=playing.strings.strings, pluck=playing.pluck, modes=WOOD_MODES,
            mesh_size_mm=WOOD_MESH_MM, cells=WOOD_CELLS, estimate=WOOD_ESTIMATE, checks=1, out=playing.store / "wood", log=_Told(say),
        )  # fmt: skip

    return scattered


class _Told(Log):
    """The log of the draws as steps of this study's progress."""

    def __init__(self, say):
        super().__init__()
        self.tell = say

    def say(self, text):
        self.tell(f"other boards of the same woods: {text}")


def run(body, playing, size, modes, wood=None, progress=None, chosen=None, around=surroundings):
    """Study of a Body with `modes` dry modes, on meshes of `size` [m] and COARSER times that.

    wood: (names of builds, say) -> Scatter, or None. chosen: names of the builds, 'sheet' among them. around: Body ->
    Surroundings. Everything that took long is kept in playing.store and used again. ArithmeticError where a pluck's
    energy does not add up.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *assumed, *assumptions(), *boards.range_notes()))
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
