"""One rim build played, and beside the sheet's own: ratios, doubts, verdicts and the rim loss at which they flip."""

from dataclasses import dataclass

import numpy as np

from fem.fretboard import wolf_notes
from fem.modal_losses import modal_stiffness
from studies.sustain import fretboards as boards
from studies.sustain import verdict as verdicts
from studies.sustain.result import HOLDINGS, MESH, RIM_LOSSES, STRING_LOSSES, WOOD, Compared, Flip, Judged, Played


@dataclass(frozen=True)
class Solved:
    """Everything on which two builds are compared; dicts by (build name, how) or by build name."""

    playing: boards.Playing
    played: dict  # of Played
    rough: dict  # of Fretboard, on the coarser mesh
    bodies: dict  # of BodyModes
    scatter: object  # sweep.scatter.ScatteredNotes, or None
    stiffness: dict  # by name: see rim_stiffness
    rim_g: dict  # by name
    rim_loss: float  # mean loss factor of the sheet's own rim


TIMES = {"decay_time": 0, "early_decay_time": 1, "sound_decay_time": 2}  # measure: its row in boards.decay_times


def play(playing, build, how, body):
    """Played of one build held one way, with its counterfactual."""
    as_given, without = boards.board(playing, body), boards.board(playing, boards.times_rim(body, 0.0))
    middle = lambda v: float(np.median(v[as_given.valid]))
    median = {key: middle(getattr(as_given, key)) for key in ("decay_time", "early_decay_time", "sound_decay_time")}
    median["no_rim_loss"] = verdicts.over(without, as_given, "decay_time")
    median["no_rim_loss_early"] = verdicts.over(without, as_given, "early_decay_time")
    median["radiated"] = middle(as_given.radiated)
    median["mobility"] = boards.mean_mobility(body, len(playing.strings.strings))
    wolves = verdicts.one_a_note(wolf_notes(playing.strings.strings, body, playing.frets))
    return Played(build, how, as_given, without, wolves, median, verdicts.shares(as_given), verdicts.rates(as_given))


def compare(solved, name, how):
    """Compared of a build beside the sheet's own."""
    playing, scatter, rough = solved.playing, solved.scatter, solved.rough
    mine, own = solved.played[name, how], solved.played["sheet", how]
    pair = solved.bodies[name, how], solved.bodies["sheet", how]
    words = in_words(mine.build, solved.stiffness[name])
    judged, doubts, rates = {}, {}, [verdicts.named_holder(p.rate, how) for p in (own, mine)]
    ranges = ratio_ranges(playing, mine.build, own.build, pair)
    for key, row in TIMES.items():
        ratio = verdicts.over(mine.board, own.board, key)
        fine, coarse = (
            getattr(a, key) / getattr(b, key)
            for a, b in ((mine.board, own.board), (rough[name, how], rough["sheet", how]))
        )
        doubts[key] = {MESH: verdicts.mesh_doubt(fine, coarse)}
        if scatter is not None:
            doubts[key][WOOD] = verdicts.scatter_doubt(ratio, scatter, name, how, key)
        for doubt, (given, ends) in ranges.items():
            doubts[key][doubt] = verdicts.range_doubt(ratio, given[row], [end[row] for end in ends])
        judged[key] = Judged(ratio, doubts[key], *verdicts.judged(ratio, doubts[key], *rates, words))
    late = judged["decay_time"]
    others = {doubt: span for doubt, span in late.doubts.items() if doubt != RIM_LOSSES}
    flip = verdicts.find_flip(verdicts.word_with_losses(playing, *pair, late.ratio, others))
    by_note = mine.board.decay_time / own.board.decay_time
    decibels = lambda x: float(10 * np.log10(x))
    return Compared(
        mine.build, how, by_note, *(judged[key] for key in TIMES),
        decibels(verdicts.over(mine.board, own.board, "radiated")),
        decibels(mine.median["mobility"] / own.median["mobility"]),
        verdicts.paired_wood(scatter, name, how), verdicts.audible(by_note),
        flip and Flip(flip[0], flip[0] * solved.rim_loss, *flip[1:]), solved.stiffness[name],
        solved.rim_g[name] - solved.rim_g["sheet"],
    )  # fmt: skip


def ratio_ranges(playing, build, own, pair):
    """{doubt: (ratios as given, [ratios at each end of the range])} of the few notes; ratios (3,) in the order of TIMES."""
    few = lambda strings, bodies: np.array([
        verdicts.median_ratio(*times) for times in zip(*(boards.decay_times(playing, b, strings) for b in bodies))
    ])  # fmt: skip
    given, found = few(None, pair), {}
    if playing.strings.loss_assumed:
        found[STRING_LOSSES] = given, [few(s, pair) for s in (playing.strings.least_loss, playing.strings.most_loss)]
    ends = zip(*(boards.rim_range(b.body, modes) for b, modes in zip((build, own), pair)))
    found[RIM_LOSSES] = given, [few(None, end) for end in ends]
    return found


def rim_stiffness(fine, build):
    """Energy that the rim of a build would store in the motion of the sheet's own modes, over that of the sheet's own rim."""
    s = fine.whole["sheet"].structure
    mine = modal_stiffness(fine.model, build.sections(), s.shape)
    return boards.in_rim(s, mine) / boards.in_rim(s, s.stiffness)


def in_words(build, stiffer):
    """'the stiffer rim (solid laminated linings)'."""
    kind = "stiffer" if stiffer > 1.02 else "softer" if stiffer < 0.98 else "other"
    return f"the {kind} rim ({build.label})"


def top_damping(playing, bodies):
    """{how: (T60 with half the losses of the sheet's own top over T60 as given, the same with double)}.

    An outside check: graded damping of the top had 'no practically relevant influence' in three guitars (Acoustics 7(1):11,
    2025, abstract).
    """
    found = {}
    for how in HOLDINGS:
        own = bodies["sheet", how]
        given, *ends = (
            boards.decay_times(playing, boards.times_top(own, factor), alone=True)[0]
            for factor in (1.0, *boards.TOP_LOSS)
        )
        found[how] = tuple(verdicts.median_ratio(end, given) for end in ends)
    return found


def limits(playing, body, bodies):
    """({how: T60 without rim loss over T60}, the same): the rim's losses at the low and at the high end of their ranges."""
    found = {}, {}
    for how in HOLDINGS:
        own = bodies["sheet", how]
        without = boards.decay_times(playing, boards.times_rim(own, 0.0), alone=True)[0]
        for group, end in zip(found, boards.rim_range(body, own)):
            group[how] = verdicts.median_ratio(without, boards.decay_times(playing, end, alone=True)[0])
    return found
