"""One rim build played, and beside the sheet's own: changes, doubts, words, rim losses at which they flip."""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from fem.body_modes import BodyModes
from fem.fretboard import Fretboard, wolf_notes
from fem.modal_losses import modal_stiffness
from studies.common.builds import Build
from studies.common.draws import PairedSummary, log_ratios, paired_summary
from studies.solved.coupled import CoupledModels
from studies.sustain import doubts as of
from studies.sustain import fretboards as boards
from studies.sustain.bodies import body_shifts
from studies.sustain.flip import find_flip, word_with_losses
from studies.sustain.fretboards import Playing, times_rim
from studies.sustain.result import (
    MESH,
    PLAYER,
    PLUCK,
    RIM_LOSSES,
    STRING_LOSSES,
    UNEXPLAINED,
    WOOD,
    Compared,
    Judged,
    Medians,
    Played,
    SingleNotes,
)
from studies.sustain.shares import mean_shares, named_support, one_a_note, why
from studies.sustain.thresholds import LIMITS
from studies.sustain.verdict import judged, single_notes
from studies.sweep.scatter import ScatteredNotes

Players: TypeAlias = Sequence[tuple[BodyModes, BodyModes]]


def play(
    playing: Playing, build: Build, how: str, modes: BodyModes, partner: np.ndarray, rough: Fretboard, stiffness: float,
    unexplained: dict[str, np.ndarray],
) -> Played:  # fmt: skip
    """Played of one build held one way, with its counterfactual; rough: its Fretboard on the coarser mesh.

    stiffness, unexplained: as in Played.
    """
    given, without = boards.board(playing, modes), boards.board(playing, times_rim(modes, 0.0))
    median = Medians(
        **{key: float(np.median(getattr(given, key)[given.valid])) for key in (*LIMITS, "radiated")},
        no_rim_loss=of.median_ratio(without.decay_time, given.decay_time),
        mobility=boards.mean_mobility(modes),
    )
    wolves = one_a_note(wolf_notes(playing.strings.strings, modes, playing.frets))
    share, rate = mean_shares(given), mean_shares(given, 1 / given.decay_time)
    return Played(
        build, how, modes, partner, given, rough, without, wolves, median, share, rate, stiffness, unexplained
    )


def compare(
    playing: Playing, mine: Played, own: Played, scatter: ScatteredNotes | None, rim_loss: float, players: Players = ()
) -> Compared:
    """Compared of a build beside the sheet's own; rim_loss: mean loss factor of the sheet's own rim.

    players: (this build, the sheet's own) held by other players.
    """
    ranges = few_changes(playing, mine, own, players)
    at_few = np.array([own.board.frequency[place] for place in playing.few])
    every = {key: judged_measure(ranges, at_few, mine, own, scatter, key) for key in LIMITS}
    medians, notes = {key: j for key, (j, _) in every.items()}, {key: n for key, (_, n) in every.items()}
    rest = {key: {name: ends for name, ends in j.doubts.items() if name != RIM_LOSSES} for key, j in medians.items()}
    word = word_with_losses(playing, (mine.modes, own.modes), {key: j.ratio for key, j in medians.items()}, rest)
    late, (before, after) = medians["decay_time"], (named_support(p.rate, p.how) for p in (own, mine))
    decibels = lambda ratio: 10 * np.log10(ratio)
    with np.errstate(invalid="ignore", divide="ignore"):
        octaves = decibels(mine.board.octaves / own.board.octaves).reshape(-1, own.board.octaves.shape[-1])
    return Compared(
        build=mine.build,
        how=mine.how,
        judged=medians,
        notes=notes,
        why=why(late.low, late.high, before, after, in_words(mine)),
        octaves_db=np.array(
            [np.median(column[np.isfinite(column)]) if np.isfinite(column).any() else np.nan for column in octaves.T]
        ),
        radiated_db=float(decibels(of.median_ratio(mine.board.radiated, own.board.radiated))),
        mobility_db=float(decibels(mine.median.mobility / own.median.mobility)),
        shifts=body_shifts(own.modes, mine.modes, mine.partner),
        paired=paired_wood(scatter, mine.build.name, mine.how),
        flip=find_flip(word, rim_loss),
    )


def judged_measure(
    ranges: dict[str, np.ndarray],
    at_few: np.ndarray,
    mine: Played,
    own: Played,
    scatter: ScatteredNotes | None,
    key: str,
) -> tuple[Judged, SingleNotes]:
    """(Judged, SingleNotes) of one measure of a build beside the sheet's own; ranges: of few_changes, at_few: their Hz."""
    fine, rough = (getattr(a, key) / getattr(b, key) for a, b in ((mine.board, own.board), (mine.rough, own.rough)))
    change, column = log_ratios(getattr(mine.board, key), getattr(own.board, key)), list(LIMITS).index(key)
    ratio = float(np.exp(np.nanmedian(change)))
    median = {MESH: of.mesh_uncertainty(fine, rough)}
    single: dict[str, np.ndarray | float] = {MESH: of.mesh_of_notes(change, np.log(rough), own.board.frequency)}
    if scatter is not None:
        given = scatter, mine.build.name, mine.how, key
        median[WOOD], single[WOOD] = of.wood_uncertainty(ratio, *given), of.wood_of_notes(*given)
    for cause, few in ranges.items():
        at = np.exp(np.nanmedian(few[:, column], axis=1))
        median[cause] = of.range_uncertainty(ratio, at[0], at[1:])
        single[cause] = of.range_of_notes(few[:, column], at_few, own.board.frequency)
    return judged(ratio, median, key), single_notes(change, single, key)


def few_changes(playing: Playing, mine: Played, own: Played, players: Players = ()) -> dict[str, np.ndarray]:
    """{cause: (1 + ends, measures, k) changes of the few notes}: as given and at the ends of the cause's range."""
    pair, strings = (mine.modes, own.modes), playing.strings

    def few(bodies, strings=None, angle=None):
        return log_ratios(*(boards.few_notes(playing, body, strings, angle) for body in bodies))

    given, ranges = log_ratios(*(boards.few_of(playing, p.board) for p in (mine, own))), {}
    if strings.loss_uncertain:
        ranges[STRING_LOSSES] = [few(pair, strings=strings.least_loss), few(pair, strings=strings.most_loss)]
    ranges[RIM_LOSSES] = [few(ends) for ends in zip(*(boards.rim_range(p.build.body, p.modes) for p in (mine, own)))]
    more = [boards.with_each_unexplained(p.modes, p.unexplained).values() for p in (mine, own)]
    ranges[UNEXPLAINED] = [few(bodies) for bodies in zip(*more)]
    if players:
        ranges[PLAYER] = [few(bodies) for bodies in players]
    ranges[PLUCK] = [few(pair, angle=angle) for angle in boards.PLUCKED]
    return {cause: np.array([given, *ends]) for cause, ends in ranges.items()}


def paired_wood(scatter: ScatteredNotes | None, name: str, how: str) -> dict[str, PairedSummary]:
    """{measure's key: PairedSummary} of a build's notes over those of the sheet's own; empty without draws of it held so."""
    if scatter is None or name not in scatter.builds or how not in scatter.holdings:
        return {}
    h, b, a = scatter.holdings.index(how), scatter.builds.index(name), scatter.builds.index("sheet")
    return {key: paired_summary(getattr(scatter, key)[:, b, h], getattr(scatter, key)[:, a, h]) for key in LIMITS}


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
    late = boards.JUDGED.index("decay_time")
    given = boards.few_of(playing, own.board)[late]
    at = lambda factor: boards.few_notes(playing, boards.times_top(own.modes, factor))[late]
    half, double = (of.median_ratio(at(factor), given) for factor in boards.TOP_LOSS)
    return half, double


def decay_with_unexplained(playing: Playing, own: Played) -> dict[str, float]:
    """{place: T60 of the few notes with the most that may be lost there beyond all parts, over T60 as given}."""
    late, more = boards.JUDGED.index("decay_time"), boards.with_each_unexplained(own.modes, own.unexplained)
    given = boards.few_of(playing, own.board)[late]
    return {place: of.median_ratio(boards.few_notes(playing, body)[late], given) for place, body in more.items()}


def limits(playing: Playing, own: Played) -> tuple[float, float]:
    """T60 without rim loss over T60, the rim's losses at the low and at the high end of their ranges."""
    late = boards.JUDGED.index("decay_time")
    without = boards.few_of(playing, own.no_rim_loss)[late]
    ends = boards.rim_range(own.build.body, own.modes)
    low, high = (of.median_ratio(without, boards.few_notes(playing, end)[late]) for end in ends)
    return low, high
