"""A sustain study put together by hand: two builds and the limit on a lossy box of few modes, no solving of boxes."""

from dataclasses import replace
from pathlib import Path

import box_cases as cases
import numpy as np
from string_cases import wooden_box

from fem.body_modes import with_losses
from fem.fretboard import fretboard, wolf_notes
from fem.strings import Pluck
from meshes.string_sets import string_set
from meshes.supports import PLAYED
from meshes.unexplained_loss import IN_JOINTS, IN_OPENINGS, IN_WOOD
from studies.common.builds import builds, complete_linings
from studies.common.draws import paired_summary
from studies.common.inputs import Source
from studies.sustain.bodies import body_shifts
from studies.sustain.doubts import mesh_of_notes
from studies.sustain.result import SUPPORT_CONDITIONS, Compared, Dry, Drying, Flip, Medians, Played, Study
from studies.sustain.shares import mean_shares, one_a_note
from studies.sustain.thresholds import LIMITS
from studies.sustain.verdict import judged, single_notes

FRETS = 4
CHOSEN = ("sheet", "solid_laminated", "stiff_limit")


def played(build, how, body, strings):
    """Played of BodyModes with parts named as a guitar's."""
    board, without = (fretboard(strings, b, Pluck(), FRETS) for b in (body, with_losses(body, {"sides": 0.0})))
    middle = lambda v: float(np.median(v[board.valid]))
    median = Medians(
        **{key: middle(getattr(board, key)) for key in (*LIMITS, "radiated")},
        no_rim_loss=middle(without.decay_time / board.decay_time),
        mobility=1e-3,
    )
    wolves = one_a_note(wolf_notes(strings, body, FRETS))
    share, rate = mean_shares(board), mean_shares(board, 1 / board.decay_time)
    partner = np.arange(len(body.omega))
    stiffness = 1.0 if build.is_base else 1.6
    return Played(
        build, how, body, partner, board, board, without, wolves, median, share, rate, stiffness, unexplained(body)
    )


def unexplained(body):
    """{place: (n, n)} as in Played: the losses of three parts of a box once more."""
    losses = [np.diag(C) if C.ndim == 1 else C for C in (body.loss["top"], body.loss["sides"], body.loss["back"])]
    return dict(zip((IN_WOOD, IN_JOINTS, IN_OPENINGS), losses))


def measured(mine, own, key):
    """(Judged, SingleNotes) of a measure with narrow doubts by hand."""
    change = np.log(getattr(mine.board, key) / getattr(own.board, key))
    ratio = float(np.exp(np.nanmedian(change)))
    doubts = {
        "mesh": (0.995, 1.005),
        "string losses": (0.99, 1.02),
        "rim losses": (0.97, 1.01),
        "unexplained loss": (0.98, 1.002),
    }
    notes = {
        "mesh": mesh_of_notes(change, 0.98 * change, own.board.frequency),
        "string losses": 0.01,
        "rim losses": 0.02,
        "unexplained loss": 0.02,
    }
    return judged(
        ratio, {name: (low * ratio, high * ratio) for name, (low, high) in doubts.items()}, key
    ), single_notes(change, notes, key)


def compared(build, how, mine, own):
    both = {key: measured(mine, own, key) for key in LIMITS}
    return Compared(
        build=build, how=how, judged={key: j for key, (j, _) in both.items()}, notes={key: n for key, (_, n) in both.items()},
        why="it rings longer because it radiates less", octaves_db=np.array([0.1, 0.2, -0.3, np.nan, np.nan, np.nan]), radiated_db=-0.3,
        mobility_db=-0.2, shifts=body_shifts(own.modes, replace(mine.modes, omega=1.02 * mine.modes.omega), mine.partner), paired={},
        flip=Flip(2.5, 0.04, "cannot tell", "no audible difference"),
    )  # fmt: skip


def study_by_hand(folder):
    """Study of the oval box's sheet, written into the folder; without wood scatter."""
    body, _ = complete_linings(cases.oval(folder))
    strings = string_set("steel")
    rows = tuple(b for b in builds(body) if b.name in CHOSEN)
    box = wooden_box(strings=6, highest=330.0)
    box = replace(box, viscous={"bands": box.viscous["supports"]})
    all_played, all_compared = {}, {}
    for how, loss in zip(SUPPORT_CONDITIONS, (1.0, 1.5, 1.6)):
        for build, rim in zip(rows, (1.0, 0.8, 0.0)):
            held = with_losses(box, {"top": loss, "sides": rim})
            all_played[build.name, how] = played(build, how, held, strings.strings)
            if not build.is_base:
                all_compared[build.name, how] = compared(
                    build, how, all_played[build.name, how], all_played["sheet", how]
                )
    dry = Dry(50.0, 30.0, {b.name: Drying(1.5e6 + k * 1e5, 1e6) for k, b in enumerate(rows)})
    return Study(
        body=body, strings=strings, pluck=Pluck(), builds=rows, played=all_played, compared=all_compared,
        no_rim_low=dict.fromkeys(SUPPORT_CONDITIONS, 1.02), no_rim_high=dict.fromkeys(SUPPORT_CONDITIONS, 1.2), dry=dry,
        top_damping=dict.fromkeys(SUPPORT_CONDITIONS, (1.06, 0.93)), rim_loss_factor=0.015,
        unexplained={how: {IN_WOOD: 0.95, IN_JOINTS: 0.92, IN_OPENINGS: 0.99} for how in SUPPORT_CONDITIONS}, unexplained_in_joints=0.7, highest_valid=330.0,
        sizes=(0.04, 0.06), unknowns=(12000, 7000), flip_range=(0.1, 10.0), draws=0, wood_words=(),
        rim_g={b.name: 300.0 + 20 * k for k, b in enumerate(rows)}, notes=("The sheet has no neck.",), source=Source(Path("oval.toml"), "abc"),
    )  # fmt: skip


def with_draws(study, factor=1.01, spread=0.1):
    """The study with solid linings drawn, but for played: eight pairs of boxes whose boards scatter by `spread`, and the rim's own factor."""
    boards = np.exp(spread * np.linspace(-1, 1, 8))[:, None] * np.array([8.0, 12.0])
    rim = factor * np.exp(0.01 * np.linspace(-1, 1, 8))[:, None]
    paired = paired_summary(rim * boards, boards)
    add = lambda c: (
        replace(c, paired=dict.fromkeys(LIMITS, paired)) if c.build.name == "solid_laminated" and c.how != PLAYED else c
    )
    compared = {key: add(c) for key, c in study.compared.items()}
    return replace(study, compared=compared, draws=8, wood_words=("Wood scatter: 8 draws on a mesh of 60 mm.",))
