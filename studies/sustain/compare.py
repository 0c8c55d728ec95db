"""One rim build played, and beside the sheet's own: ratios, uncertainties, verdicts, rim losses at which they flip."""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from fem.body_modes import BodyModes
from fem.fretboard import Fretboard, wolf_notes
from fem.modal_losses import modal_stiffness
from studies.common.builds import Build
from studies.solved.coupled import CoupledModels
from studies.sustain import fretboards as boards
from studies.sustain import verdict as verdicts
from studies.sustain.fretboards import Playing, times_rim
from studies.sustain.result import (
    MESH,
    PLAYER,
    RIM_LOSSES,
    STRING_LOSSES,
    TIMES,
    UNEXPLAINED,
    WOOD,
    Compared,
    Judged,
    Medians,
    Played,
)
from studies.sweep.scatter import ScatteredNotes

Players: TypeAlias = Sequence[tuple[BodyModes, BodyModes]]


def play(
    playing: Playing, build: Build, how: str, modes: BodyModes, rough: Fretboard, stiffness: float,
    unexplained: dict[str, np.ndarray],
) -> Played:  # fmt: skip
    """Played of one build held one way, with its counterfactual; rough: its Fretboard on the coarser mesh.

    stiffness, unexplained: as in Played.
    """
    given, without = boards.board(playing, modes), boards.board(playing, times_rim(modes, 0.0))
    median = Medians(
        **{key: float(np.median(getattr(given, key)[given.valid])) for key in (*TIMES, "radiated")},
        no_rim_loss=verdicts.over_reference(without, given, "decay_time"),
        no_rim_loss_early=verdicts.over_reference(without, given, "early_decay_time"),
        mobility=boards.mean_mobility(modes),
    )
    wolves = verdicts.one_a_note(wolf_notes(playing.strings.strings, modes, playing.frets))
    share, rate = verdicts.mean_shares(given), verdicts.mean_shares(given, 1 / given.decay_time)
    return Played(build, how, modes, given, rough, without, wolves, median, share, rate, stiffness, unexplained)


def compare(
    playing: Playing, mine: Played, own: Played, scatter: ScatteredNotes | None, rim_loss: float, players: Players = ()
) -> Compared:
    """Compared of a build beside the sheet's own; rim_loss: mean loss factor of the sheet's own rim.

    players: (this build, the sheet's own) in the lap of other players.
    """
    ranges = ratio_ranges(playing, mine, own, players)
    late, early, sound = judged_times(ranges, mine, own, scatter)
    uncertain = {cause: ends for cause, ends in late.doubts.items() if cause != RIM_LOSSES}
    given = float(ranges[RIM_LOSSES][0, 0])
    word = verdicts.word_with_losses(playing, (mine.modes, own.modes), given, late.ratio, uncertain)
    by_note = mine.board.decay_time / own.board.decay_time
    decibels = lambda ratio: float(10 * np.log10(ratio))
    return Compared(
        **vars(late),
        build=mine.build,
        how=mine.how,
        by_note=by_note,
        early=early,
        sound=sound,
        radiated_db=decibels(verdicts.over_reference(mine.board, own.board, "radiated")),
        mobility_db=decibels(mine.median.mobility / own.median.mobility),
        paired=verdicts.paired_wood(scatter, mine.build.name, mine.how),
        audible=verdicts.audible(by_note),
        flip=verdicts.find_flip(word, rim_loss),
    )


def judged_times(
    ranges: dict[str, np.ndarray], mine: Played, own: Played, scatter: ScatteredNotes | None
) -> list[Judged]:
    """Judged of a build's TIMES over those of the sheet's own; ranges: of ratio_ranges."""
    before, after = (verdicts.named_support(p.rate, p.how) for p in (own, mine))
    judged = []
    for column, measure in enumerate(TIMES):
        ratio = verdicts.over_reference(mine.board, own.board, measure)
        pairs = (mine.board, own.board), (mine.rough, own.rough)
        uncertain = {MESH: verdicts.mesh_uncertainty(*(getattr(a, measure) / getattr(b, measure) for a, b in pairs))}
        if scatter is not None:
            uncertain[WOOD] = verdicts.wood_uncertainty(ratio, scatter, mine.build.name, mine.how, measure)
        for cause, few in ranges.items():
            uncertain[cause] = verdicts.range_uncertainty(ratio, few[0, column], few[1:, column])
        judged.append(verdicts.judged(ratio, uncertain, before, after, in_words(mine)))
    return judged


def ratio_ranges(playing: Playing, mine: Played, own: Played, players: Players = ()) -> dict[str, np.ndarray]:
    """{cause: (n, 3) ratios of the few notes}: rows as given and at each end of the cause's range, columns the TIMES."""
    pair, strings = (mine.modes, own.modes), playing.strings
    medians = lambda times: [verdicts.median_ratio(*both) for both in zip(*times)]
    few = lambda modes, strings=None: medians(boards.decay_times(playing, m, strings) for m in modes)
    given, ranges = medians(boards.few_of(playing, p.board) for p in (mine, own)), {}
    if strings.loss_uncertain:
        ranges[STRING_LOSSES] = np.array([given, few(pair, strings.least_loss), few(pair, strings.most_loss)])
    low, high = zip(*(boards.rim_range(p.build.body, p.modes) for p in (mine, own)))
    ranges[RIM_LOSSES] = np.array([given, few(low), few(high)])
    more = zip(*(boards.with_unexplained(p.modes, p.unexplained).values() for p in (mine, own)))
    ranges[UNEXPLAINED] = np.array([given, *map(few, more)])
    if players:
        ranges[PLAYER] = np.array([given, *map(few, players)])
    return ranges


def rim_stiffness(fine: CoupledModels, build: Build) -> float:
    """Energy that the rim of a build would store in the motion of the sheet's own modes, over that of the sheet's own rim."""
    s = fine.whole["sheet"].structure
    mine = modal_stiffness(fine.model, build.sections(), s.shape)
    return boards.in_rim(s, mine) / boards.in_rim(s, s.stiffness)


def in_words(played: Played) -> str:
    """'the stiffer rim (solid laminated linings)'."""
    kind = "stiffer" if played.stiffness > 1.02 else "softer" if played.stiffness < 0.98 else "other"
    return f"the {kind} rim ({played.build.label})"


def top_damping(playing: Playing, own: Played) -> tuple[float, float]:
    """(T60 with half the losses of the sheet's own top over T60 as given, the same with double).

    An outside check: graded damping of the top had 'no practically relevant influence' in three guitars (Acoustics 7(1):11,
    2025, abstract).
    """
    given = boards.few_of(playing, own.board)[0]
    at = lambda factor: boards.decay_times(playing, boards.times_top(own.modes, factor), alone=True)[0]
    half, double = (verdicts.median_ratio(at(factor), given) for factor in boards.TOP_LOSS)
    return half, double


def with_unexplained(playing: Playing, own: Played) -> dict[str, float]:
    """{place: T60 of the few notes with the most that may be lost there beyond all parts, over T60 as given}."""
    given, more = boards.few_of(playing, own.board)[0], boards.with_unexplained(own.modes, own.unexplained)
    return {place: verdicts.median_ratio(boards.decay_times(playing, body)[0], given) for place, body in more.items()}


def limits(playing: Playing, own: Played) -> tuple[float, float]:
    """T60 without rim loss over T60, the rim's losses at the low and at the high end of their ranges."""
    without = boards.few_of(playing, own.no_rim_loss)[0]
    ends = boards.rim_range(own.build.body, own.modes)
    low, high = (verdicts.median_ratio(without, boards.decay_times(playing, end)[0]) for end in ends)
    return low, high
