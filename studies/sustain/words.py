"""The sustain study in words for the terminal: its answer, the tables of all builds, and what would change a verdict."""

import numpy as np

from studies.common.note_names import wolf_name
from studies.common.two_meshes import LIMIT
from studies.common.words import capital, decibels, percent, percent_change, span
from studies.sustain.answer import answer, behind
from studies.sustain.hearing import TOLERANCES
from studies.sustain.result import SUPPORT_CONDITIONS, Played, Study

FOOTNOTE = "Changes in % are the median over the notes of each note's own ratio, not the ratio of two medians in seconds; they may differ a little."
BOARDS = (
    "Same boards: both boxes of a pair from the same boards, what the rim does to a guitar (a doubt of the verdict). Different boards: "
    "two guitars each from its own, what a maker meets. The interval of the median shrinks with more draws, the ranges do not."
)
WIDTHS, DRAWN_WIDTHS = (11, 18, 10, 10, 9, 12, 6, 8), (8, 18, 20, 18)  # of the tables' columns
TOLD_WOLVES = 4


# --- what would change it ---


def matters(study: Study) -> list[str]:
    """Plain lines on the inputs that would change a verdict, builds that cannot be built left out."""
    lines, real = [], [c for c in study.compared.values() if c.build.name != LIMIT]
    for c in real:
        where = f"{c.build.label}, {c.how}"
        if c.decisive:
            lines.append(f"{where}: without the doubt about {' or '.join(c.decisive)} the word would be another")
        if c.flip:
            lines.append(
                f"{where}: with {c.flip.factor:.2g} times the rim's losses (a mean loss factor of {c.flip.loss_factor:.2g} "
                f"instead of {study.rim_loss_factor:.2g}) '{c.flip.at_given}' becomes '{c.flip.word}'"
            )
    flips = [c.flip for c in real if c.flip]
    if len(flips) < len(real):
        low, high = (f"{end * study.rim_loss_factor:.2g}" for end in study.flip_range)
        lines.append(
            f"no {'other ' if flips else ''}verdict flips {flip_ends(study)} the losses of the whole rim (a mean loss factor of "
            f"{low} to {high})"
        )
    lines.append(
        "the model itself: what it leaves out is listed under what is not modelled; no run can tell how much that does"
    )
    return lines


def flip_ends(study: Study) -> str:
    """'between a tenth and ten times'."""
    low, high = study.flip_range
    return f"between {'a tenth and ten' if np.allclose((low, high), (0.1, 10)) else f'{low:g} and {high:g}'} times"


# --- for the terminal ---


def text(study: Study) -> str:
    """The whole summary for the terminal."""
    lines = [answer(study), "", f"Behind it: {behind(study)}", ""]
    for how in SUPPORT_CONDITIONS:
        lines += [*builds_table(study, how), ""]
    lines += [FOOTNOTE, "", *boards(study), "What would change a verdict:", *(f"- {line}" for line in matters(study))]
    return "\n".join([*lines, outside_check(study), *(f"Note: {note}" for note in study.notes)])


def outside_check(study: Study) -> str:
    """Sentence that sets the model beside the published test on the top's damping."""
    ratios = [r for pair in study.top_damping.values() for r in pair]
    worst = max(abs(np.log(r)) for r in ratios)
    inside = all(t.low <= r <= t.high for t in TOLERANCES for r in ratios)
    told = "; ".join(f"{how}, {' and '.join(map(percent_change, pair))}" for how, pair in study.top_damping.items())
    agrees = f"{'within every' if inside else 'beyond the narrowest'} published tolerance of hearing"
    return (
        f"Outside check: half and double the losses of the top change the median note by {told} ({agrees}, at most "
        f"{percent(np.expm1(worst))}). Graded damping of the top in three guitars had no practically relevant influence "
        "(Acoustics 7(1):11, 2025, abstract: how far it was graded is not told there)."
    )


def builds_table(study: Study, how: str) -> list[str]:
    """Lines of the table of all builds held one way."""
    own = study.own[how]
    head = "notes last", "with all doubts", "beginning", "its sound", "sound out", "heat in rim", "rim", "dry top"
    lines = [
        f"{capital(how)}: median over {int(own.board.valid.sum())} notes up to {study.highest_valid:.0f} Hz; the sheet's own: "
        f"{own.median.decay_time:.1f} s for 60 dB, early decay {own.median.early_decay_time:.1f} s; wolf notes: "
        f"{wolves(study, own)}",
        f"  {'build':44s} {_cells(head, WIDTHS)}  verdict",
    ]
    for build in study.builds:
        c = study.compared.get((build.name, how))
        row = ["1", "–", "–", "–", "–"]
        if c is not None:
            row = [percent_change(c.ratio), span(c.low, c.high), *(percent_change(j.ratio) for j in (c.early, c.sound))]
            row.append(decibels(c.radiated_db, 2))
        row.append(percent(study.played[build.name, how].rim))
        row += [f"{study.rim_g[build.name]:.0f} g", f"{study.dry.builds[build.name].top / 1e6:.1f} MPa"]
        lines.append(f"  {build.label[:44]:44s} {_cells(row, WIDTHS)}  {'' if c is None else c.verdict.word}".rstrip())
    return lines


def _cells(words, widths):
    return " ".join(f"{word:>{width}s}" for word, width in zip(words, widths))


def wolves(study: Study, played: Played) -> str:
    """'A3 on string 4, fret 7 (strength 2.1), ...' of the strongest ones; 'none'."""
    told = [f"{wolf_name(study.strings.strings, w)} (strength {w.strength:.1f})" for w in played.wolves[:TOLD_WOLVES]]
    more = len(played.wolves) - len(told)
    return (", ".join(told) + (f" and {more} weaker" if more > 0 else "")) or "none"


def boards(study: Study) -> list[str]:
    """Lines of the table of wood scatter; none without draws."""
    drawn = [(c, c.paired) for c in study.compared.values() if c.paired is not None]
    if not drawn:
        return []
    head = "median", "its 95 % interval", "same boards, 5–95 %", "different boards"
    lines = [
        f"Other boards of the same woods, {study.draws} draws:",
        f"  {'build':44s} {'held':10s} {_cells(head, DRAWN_WIDTHS)}",
    ]
    for c, p in drawn:
        spans = (p.median_low, p.median_high), (p.low, p.high), (p.unpaired_low, p.unpaired_high)
        row = percent_change(p.median), *(span(*ends) for ends in spans)
        lines.append(f"  {c.build.label[:44]:44s} {c.how:10s} {_cells(row, DRAWN_WIDTHS)}")
    return [*lines, BOARDS, ""]
