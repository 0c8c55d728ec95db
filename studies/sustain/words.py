"""The sustain study in words for the terminal: its answer, the tables of all builds, and what would change a word."""

from collections.abc import Sequence

import numpy as np

from fem.fretboard import Fretboard, Wolf
from meshes.supports import PLAYED
from studies.common.mesh_error import LIMIT
from studies.common.note_names import wolf_name
from studies.common.words import capital, percent, percent_change, shortened, span
from studies.sustain.answer import BENCH, answer, changes, solid_linings
from studies.sustain.behind import behind
from studies.sustain.first_screen import median_screen
from studies.sustain.moved import change_of, most_moved, note_place, reason_of, said_of
from studies.sustain.result import Played, Study
from studies.sustain.rule import AUDIBLE, CANNOT_TELL, NO_DIFFERENCE
from studies.sustain.thresholds import DECIDING, LATE, MEASURES, PLAYERS
from studies.sustain.verdict import held_words, verdict_of

FOOTNOTE = (
    "Changes are the median over the notes of each note's own, not the change of two medians; they may differ a little."
)
BOARDS = (
    "Same boards: both boxes of a pair from the same boards, what the rim does to a guitar (a doubt of the verdicts). Different boards: "
    "two guitars each from its own, what a maker meets. The interval of the median shrinks with more draws, the ranges do not."
)
HAND = (
    "Played: on the lap, and the hand at each note's own fret; open strings are without it. What a fretting hand damps is hardly measured: "
    "taken to be as soft as the player's body. The boards' doubt is the one found on the lap."
)
SHORT = {AUDIBLE: "audible", NO_DIFFERENCE: "no difference", CANNOT_TELL: CANNOT_TELL}
LABEL = 34  # letters of a build in the tables, which keep to 100 columns
TOLD_WOLVES = 4
EARLY = (
    0.8  # times as long as the shorter neighbour: from there on a note is told to die early; common practice, no source
)


# --- what would change it ---


def matters(study: Study) -> list[str]:
    """Plain lines on the inputs that would change a word, builds that cannot be built left out."""
    lines, real = [], [c for c in study.compared.values() if c.build.name != LIMIT]
    for build in dict.fromkeys(c.build.name for c in real):
        found, label = verdict_of(study, build), study.compared[build, study.holdings[0]].build.label
        for what, names in (("the guitar on the whole", found.whole_open), ("single notes", found.notes_open)):
            if names:
                lines.append(f"{label}, {what}: without the doubt about {' or '.join(names)} the word would be another")
    for c in real:
        if c.flip:
            lines.append(
                f"{c.build.label}, {c.how}: with {c.flip.factor:.2g} times the rim's losses (a mean loss factor of {c.flip.loss_factor:.2g} "
                f"instead of {study.rim_loss_factor:.2g}) '{c.flip.at_given}' becomes '{c.flip.word}'"
            )
    flips = [c.flip for c in real if c.flip]
    if len(flips) < len(real):
        low, high = (f"{end * study.rim_loss_factor:.2g}" for end in study.flip_range)
        lines.append(
            f"no {'other ' if flips else ''}word on the guitar on the whole flips {flip_ends(study)} the losses of the whole rim (a mean loss factor of "
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
    lines = [median_screen(study).text, "", " ".join(answer(study)), "", changes(study), "", BENCH, ""]
    lines += [f"Behind it: {behind(study)}", ""]
    for how in study.holdings:
        lines += [*builds_table(study, how), ""]
    lines += [
        FOOTNOTE,
        *([HAND] if PLAYED in study.holdings else []),
        "",
        *doubts_table(study),
        *moved_lines(study),
        *boards(study),
    ]
    lines += ["What would change a word:", *(f"- {line}" for line in matters(study))]
    return "\n".join([*lines, outside_check(study), *(f"Note: {note}" for note in study.notes)])


def outside_check(study: Study) -> str:
    """Sentence that sets the model beside the published test on the top's damping."""
    ratios = [r for pair in study.top_damping.values() for r in pair]
    worst = max(abs(np.log(r)) for r in ratios)
    within = lambda t: all(t.low <= r <= t.high for r in ratios)
    (late,) = (t for t in DECIDING if t.measure is LATE)
    told = "; ".join(f"{how}, {' and '.join(map(percent_change, pair))}" for how, pair in study.top_damping.items())
    agrees = (
        "within the 5 % stated for players"
        if within(PLAYERS)
        else "within the threshold"
        if within(late)
        else "beyond the threshold"
    )
    return (
        f"Outside check: half and double the losses of the top change the median note's decay by {told} ({agrees}, at most "
        f"{percent(np.expm1(worst))}). Graded damping of the top in three guitars had no practically relevant influence "
        "(Acoustics 7(1):11, 2025, abstract: how far it was graded is not told there)."
    )


def _row(label: str, cells: Sequence[str], widths: Sequence[int]) -> str:
    return f"  {shortened(label, LABEL):{LABEL}s} " + " ".join(f"{c:>{w}s}" for c, w in zip(cells, widths))


def builds_table(study: Study, how: str) -> list[str]:
    """Lines of the table of all builds held one way; the two words are by this way alone."""
    own, widths = study.own[how], (8, 9, 9, 6, 13, 13)
    lines = [
        f"{capital(how)}: median over {int(own.board.valid.sum())} notes up to {study.highest_valid:.0f} Hz; the sheet's own: "
        f"{own.median.decay_time:.1f} s for 60 dB, early decay {own.median.early_decay_time:.1f} s",
        f"wolf notes: {wolves(study, own)}",
        _row("build of the rim", ("level", "early", "late", "rim", "on the whole", "single notes"), widths),
    ]
    for build in study.builds:
        c = study.compared.get((build.name, how))
        told = ["–", "–", "–"] if c is None else [m.told(c.judged[m.key].ratio) for m in MEASURES]
        words = ("", "") if c is None else (SHORT[word] for word in held_words(c))
        lines.append(_row(build.short, (*told, f"{study.rim_g[build.name]:.0f} g", *words), widths).rstrip())
    return lines


def doubts_table(study: Study) -> list[str]:
    """Lines on the build that is asked for: each measure's doubts of the median, and what becomes of single notes."""
    asked, lines = study.beside(solid_linings(study).name), []
    for how, c in asked.items():
        lines.append(f"{capital(c.build.label)} beside the sheet's own rim, {how}:")
        for t in DECIDING:
            j, n = c.judged[t.measure.key], c.notes[t.measure.key]
            lines.append(
                f"  {t.measure.words}: {t.measure.told(j.ratio)}, all doubts {t.measure.span(j.low, j.high)}; not heard {t.told}"
            )
            lines.append(
                f"    doubts: {'; '.join(f'{name} {t.measure.span(*ends)}' for name, ends in j.doubts.items())}"
            )
            lines.append(
                f"    notes: {percent(n.share(-1, 1), 0)} change, {percent(n.share(0), 0)} do not, {percent(n.open, 0)} are open"
            )
    return [*lines, ""] if lines else []


def moved_lines(study: Study) -> list[str]:
    """Lines of the notes of the build that is asked for that move most."""
    asked, strings = solid_linings(study), study.strings.strings
    found = most_moved(study, asked.name)
    if not found:
        return []
    lines = [
        f"Notes most moved by {asked.compared[found[0].how].build.label}, and the mode of the body nearest to each:"
    ]
    for note in found:
        lines += [
            f"  {note_place(note, strings)}, {note.how}: {change_of(note)}, {said_of(note)};",
            f"    {reason_of(note)}",
        ]
    return [*lines, ""]


def wolves(study: Study, played: Played) -> str:
    """'A3 on string 4, fret 7 (strength 2.1; dies early: 4 s, beside it 9 and 11 s), ...' of the strongest ones; 'none'."""
    told = [
        f"{wolf_name(study.strings.strings, w)} (strength {w.strength:.1f}; {wolf_kind(w, played.board)})"
        for w in played.wolves[:TOLD_WOLVES]
    ]
    more = len(played.wolves) - len(told)
    return (", ".join(told) + (f" and {more} weaker" if more > 0 else "")) or "none"


def wolf_kind(wolf: Wolf, board: Fretboard) -> str:
    """'dies early: 4 s, beside it 9 and 11 s' or 'beats, and lasts: ...', by the decay of the notes a fret lower and higher."""
    time = lambda fret: board.decay_time[wolf.string, fret]
    frets = [f for f in (wolf.fret - 1, wolf.fret + 1) if 0 <= f < board.decay_time.shape[1] and np.isfinite(time(f))]
    own = float(time(wolf.fret))
    kind = "dies early" if frets and own < EARLY * min(time(f) for f in frets) else "beats, and lasts"
    beside = f", beside it {' and '.join(f'{time(f):.0f}' for f in frets)} s" if frets else ""
    return f"{kind}: {own:.0f} s{beside}"


def boards(study: Study) -> list[str]:
    """Lines of the table of wood scatter, decay by 60 dB; none without draws."""
    drawn = [(c, c.paired[LATE.key]) for c in study.compared.values() if c.paired]
    if not drawn:
        return []
    widths = (7, 16, 16, 16)
    lines = [
        f"Other boards of the same woods, {study.draws} draws, {LATE.words}:",
        _row("build of the rim, held", ("median", "its 95 %", "same boards", "different boards"), widths),
    ]
    for c, p in drawn:
        spans = (p.median_low, p.median_high), (p.low, p.high), (p.unpaired_low, p.unpaired_high)
        row = percent_change(p.median), *(span(*ends) for ends in spans)
        lines.append(_row(f"{shortened(c.build.short, LABEL - len(c.how) - 6)}, {c.how}", row, widths))
    return [*lines, BOARDS, ""]
