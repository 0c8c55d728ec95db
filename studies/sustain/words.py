"""The sustain study in words for the terminal: its answer, the tables of all builds, and what would change a verdict."""

import numpy as np

from meshes.holding import FREE, LAP
from studies.common.note_names import wolf_name
from studies.common.two_meshes import LIMIT
from studies.common.words import capital, decibels, percent, percent_change, span
from studies.sustain.answer import answer, behind
from studies.sustain.hearing import TOLERANCES

FOOTNOTE = "Changes in % are the median over the notes of each note's own ratio, not the ratio of two medians in seconds; they may differ a little."
BOARDS = (
    "Same boards: both boxes of a pair from the same boards, what the rim does to a guitar (a doubt of the verdict). Different boards: "
    "two guitars each from its own, what a maker meets. The interval of the median shrinks with more draws, the ranges do not."
)


# --- what would change it ---


def matters(study):
    """[plain line] of the inputs that would change a verdict, builds that cannot be built left out."""
    lines, flips = [], 0
    for c in study.compared.values():
        if c.build.name == LIMIT:
            continue
        where = f"{c.build.label}, {c.how}"
        if c.decisive:
            lines.append(f"{where}: without the doubt about {' or '.join(c.decisive)} the word would be another")
        if c.flip:
            flips += 1
            lines.append(
                f"{where}: with {c.flip.factor:.2g} times the rim's losses (a mean loss factor of {c.flip.loss_factor:.2g} "
                f"instead of {study.rim_loss_factor:.2g}) '{c.flip.at_given}' becomes '{c.flip.word}'"
            )
    if flips < sum(c.build.name != LIMIT for c in study.compared.values()):
        lines.append(f"no {'other ' if flips else ''}verdict flips {flip_reach(study)}")
    lines.append(
        "the model itself: what it leaves out is listed under what is not modelled; no run can tell how much that does"
    )
    return lines


def flip_reach(study):
    """'between a tenth and ten times the losses of the whole rim (a mean loss factor of 0.0015 to 0.15)'."""
    low, high = study.flip_range
    means = f"{low * study.rim_loss_factor:.2g} to {high * study.rim_loss_factor:.2g}"
    return f"{flip_ends(study)} the losses of the whole rim (a mean loss factor of {means})"


def flip_ends(study):
    """'between a tenth and ten times'."""
    low, high = study.flip_range
    return "between " + (
        "a tenth and ten times" if np.allclose((low, high), (0.1, 10)) else f"{low:g} and {high:g} times"
    )


# --- for the terminal ---


def text(study):
    """The whole summary for the terminal."""
    lines = [answer(study), "", f"Behind it: {behind(study)}", ""]
    for how in (FREE, LAP):
        lines += table(study, how) + [""]
    lines += [FOOTNOTE, "", *boards(study), "What would change a verdict:", *(f"- {line}" for line in matters(study))]
    return "\n".join([*lines, outside_check(study), *(f"Note: {note}" for note in study.notes)])


def outside_check(study):
    """Sentence that sets the model beside the published test on the top's damping."""
    worst = max(max(abs(np.log(r)) for r in pair) for pair in study.top_damping.values())
    inside = all(t.low <= r <= t.high for t in TOLERANCES for pair in study.top_damping.values() for r in pair)
    told = "; ".join(
        f"{how}, {percent_change(half)} and {percent_change(double)}"
        for how, (half, double) in study.top_damping.items()
    )
    agrees = (
        "within every published tolerance of hearing"
        if inside
        else "beyond the narrowest published tolerance of hearing"
    )
    return (
        f"Outside check: half and double the losses of the top change the median note by {told} ({agrees}, at most "
        f"{percent(np.expm1(worst))}). Graded damping of the top in three guitars had no practically relevant influence "
        "(Acoustics 7(1):11, 2025, abstract: how far it was graded is not told there)."
    )


def table(study, how):
    """Lines of the table of all builds held one way."""
    own = study.own[how]
    lines = [
        f"{capital(how)}: median over {int(own.board.valid.sum())} notes up to {study.highest_valid:.0f} Hz; the sheet's own: "
        f"{own.median['decay_time']:.1f} s for 60 dB, early decay {own.median['early_decay_time']:.1f} s; wolf notes: {wolves(study, own)}",
        f"  {'build':44s} {'notes last':>11s} {'with all doubts':>18s} {'beginning':>10s} {'its sound':>10s} {'sound out':>9s} "
        f"{'heat in rim':>12s} {'rim':>6s} {'dry top':>8s}  verdict",
    ]  # fmt: skip
    for build, dry in zip(study.builds, study.dry.rows):
        c = study.compared.get((build.name, how))
        row = ["1", "–", "–", "–", "–"] if c is None else [
            percent_change(c.ratio), span(c.low, c.high), percent_change(c.early_ratio), percent_change(c.sound_ratio), decibels(c.radiated_db, 2),
        ]  # fmt: skip
        row += [
            percent(study.played[build.name, how].rim),
            f"{study.rim_g[build.name]:.0f} g",
            f"{dry.top / 1e6:.1f} MPa",
        ]
        cells = " ".join(f"{cell:>{width}s}" for cell, width in zip(row, (11, 18, 10, 10, 9, 12, 6, 8)))
        lines.append(f"  {build.label[:44]:44s} {cells}  {'' if c is None else c.verdict.word}".rstrip())
    return lines


def wolves(study, played, most=4):
    """'A3 on string 4, fret 7 (K 2.1), ...' of the strongest ones; 'none'."""
    found = [f"{wolf_name(study.strings.strings, w)} (strength {w.strength:.1f})" for w in played.wolves[:most]]
    more = len(played.wolves) - len(found)
    return (", ".join(found) + (f" and {more} weaker" if more > 0 else "")) or "none"


def boards(study):
    """Lines of the table of wood scatter; none without draws."""
    drawn = [c for c in study.compared.values() if c.paired is not None]
    if not drawn:
        return []
    lines = [
        f"Other boards of the same woods, {study.draws} draws:",
        f"  {'build':44s} {'held':10s} {'median':>8s} {'its 95 % interval':>18s} {'same boards, 5–95 %':>20s} {'different boards':>18s}",
    ]
    for c in drawn:
        p = c.paired
        cells = (
            percent_change(p.median),
            span(p.median_low, p.median_high),
            span(p.low, p.high),
            span(p.unpaired_low, p.unpaired_high),
        )
        row = " ".join(f"{cell:>{width}s}" for cell, width in zip(cells, (8, 18, 20, 18)))
        lines.append(f"  {c.build.label[:44]:44s} {c.how:10s} {row}")
    return [*lines, BOARDS, ""]
