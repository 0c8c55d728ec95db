"""Sheets beside each other in words and tables, for page and terminal."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

from meshes.supports import FREE
from studies.common import cautions
from studies.common.first_screen import FirstScreen
from studies.common.table import TERMINAL, Table
from studies.common.words import UNKNOWN, bars, change_bars, rounded, several, shortened, signed
from studies.compare.differences import differences
from studies.compare.figures import AIR, ENERGY, STRINGS, TAP, WEIGHT, same
from studies.compare.result import Beside, Figure
from studies.rim.result import SUPPORT_CONDITIONS
from studies.solved.power import SUMMARY
from studies.sustain.result import Judged
from studies.sustain.thresholds import LIMITS, MEASURES

CANNOT, NONE = "cannot tell", "none"
LABEL = (
    "whole sheets beside each other, each on its own mesh, with the air inside and outside; a difference smaller than both mesh errors "
    "together (root of the sum of their squares) is 'cannot tell'"
)
NOT_MODELLED = (
    "other boards of the same woods: both guitars are built of the boards that the sheets give",
    "the room, the fretting hand, other strings that ring along, sound above the highest computed mode",
    "creep, cracks, finish",
)
TOLD = 12  # differences in the terminal


def changed(study: Beside) -> list[tuple[str, list[str]]]:
    """[(name of a sheet, lines of what differs from the first)]."""
    first = study.sheets[0]
    return [(s.name, differences(first.body, s.body) or ["nothing that is computed"]) for s in study.sheets[1:]]


def summary_text(study: Beside, first: FirstScreen) -> str:
    """Everything that the terminal shows."""
    lines = []
    for name, found in changed(study):
        lines += wrapped(f"{study.names[0]} -> {name}:")
        lines += [line for one in found[:TOLD] for line in wrapped(one, "  ")]
        if len(found) > TOLD:
            lines.append(f"  and {len(found) - TOLD} more parts, on the page")
        lines.append("")
    lines += [line for paragraph in first.text.split("\n\n") for line in (*wrapped(paragraph), "")]
    for table in short_tables(study):
        *rows, note = [*table.lines()] if table.note else [*table.lines(), ""]
        lines += [*rows, *wrapped(note), ""]
    lines += wrapped(f"Not modelled: {'; '.join(NOT_MODELLED)}.")
    return "\n".join([*lines, *(line for c in cautions.RIM for line in wrapped(c))])


def wrapped(text: str, before: str = "") -> list[str]:
    """Lines of no more letters than the terminal has."""
    return wrap(text, TERMINAL, initial_indent=before, subsequent_indent=before + "  " * bool(before))


# --- tables ---


def short_tables(study: Beside) -> list[Table]:
    """Those of the terminal: hung free alone, few modes."""
    found = [figure_table(study, "Weights", study.of(WEIGHT)), pairs_table(study, FREE, 8)]
    found += [figure_table(study, f"Where a steady force's power goes, {FREE}", study.of(ENERGY, FREE))]
    found += [figure_table(study, f"What a tap at the bridge shows, {FREE}", study.of(TAP, FREE))]
    found += [notes_table(study, how) for how in SUPPORT_CONDITIONS if study.noted]
    return [*found, *rest_tables(study)]


def every_table(study: Beside) -> list[Table]:
    """Those of the page."""
    found = [notes_table(study, how) for how in SUPPORT_CONDITIONS if study.noted]
    found.append(figure_table(study, "Weights", study.of(WEIGHT)))
    for how in SUPPORT_CONDITIONS:
        found.append(pairs_table(study, how, study.count))
    for how in SUPPORT_CONDITIONS:
        note = (
            f"Shares of the power that a force of 1 N out of the top at the saddle's middle puts in, {SUMMARY[0]:.0f} to {SUMMARY[1]:.0f} Hz, over the "
            "logarithm of frequency; below them the level of what is radiated, over the first sheet's."
        )
        found.append(figure_table(study, f"Where a steady force's power goes, {how}", study.of(ENERGY, how), note))
    for how in SUPPORT_CONDITIONS:
        note = (
            "F1, F2: the first two peaks in the saddle's middle whose mode weighs less there than twice the instrument."
        )
        found.append(figure_table(study, f"What a tap at the bridge shows, {how}", study.of(TAP, how), note))
    return [*found, *rest_tables(study)]


def rest_tables(study: Beside) -> list[Table]:
    """Under the strings and in dry air, where they were asked for."""
    return [
        figure_table(study, heading, study.of(group), note)
        for group, heading, note in (
            (STRINGS, "What the strings' pull does", "At once, elastic; wood creeps on."),
            (
                AIR,
                "What the driest air of the first sheet does",
                "All sheets in the same air, after a change for good, elastic; creep eases stress.",
            ),
        )
        if study.of(group)
    ]


def figure_table(study: Beside, heading: str, figures: Sequence[Figure], note: str = "") -> Table:
    """Figures of every sheet, and of each but the first its difference, or that it cannot be told."""
    head = ("", *study.names, *(f"{name} − {study.names[0]}" for name in study.names[1:]))
    rows = tuple((f.words, *_values(f), *(difference(f, k) for k in range(1, len(study.sheets)))) for f in figures)
    return Table(heading, head, rows, note)


def _values(f):
    """Figures with their errors; of a level only what it is over the first."""
    if f.unit == "dB" and f.values[0] is not None:
        return ["0.0 dB", *(UNKNOWN if v is None else f"{signed(v - f.values[0], f.digits)} dB" for v in f.values[1:])]
    return [
        UNKNOWN if v is None or e is None else bars(v, max(e, 10.0**-f.digits), f.digits, f.unit).rstrip()
        for v, e in zip(f.values, f.errors)
    ]


def difference(f: Figure, k: int) -> str:
    """'+1.2 ± 0.3 Hz' of sheet k against the first, 'cannot tell', 'none' of the same figure, or '–'."""
    found, a, b = f.change(k), f.values[0], f.values[k]
    if found is None or a is None or b is None:
        return UNKNOWN
    if same(a, b):
        return NONE
    return change_bars(*found, f.digits, f.unit).rstrip() if f.told_apart(k) else CANNOT


def pairs_table(study: Beside, how: str, count: int) -> Table:
    """The first modes of the first sheet and their partners."""
    first, names = study.sheets[0].held[how], study.names
    head = ("mode", names[0], *(cell for name in names[1:] for cell in (name, "difference", "alike")))
    rows = []
    for k in range(min(count, len(first.moves))):
        told = (
            bars(first.frequency[k], first.error[k], 1, "Hz")
            if first.error[k] == first.error[k]
            else f"{rounded(first.frequency[k], 1)} Hz"
        )
        rows.append(
            (
                f"{k + 1}: {shortened(first.moves[k], 60)}",
                told,
                *(cell for row in mode_cells(study, how, k) for cell in row),
            )
        )
    note = (
        "Paired by how alike top and back move at the same parts of length and width; alike: modal assurance criterion, 1 the same shape. "
        f"'{UNKNOWN}': no mode there looks like it, or its error is not determined."
    )
    return Table(f"Modes with air, {how}", head, tuple(rows), note)


def mode_cells(study: Beside, how: str, k: int) -> Iterator[tuple[str, str, str]]:
    """(frequency, difference, likeness) of the partner of mode k in every other sheet."""
    for other in range(1, len(study.sheets)):
        f, p = pair_figure(study, how, k, other), study.paired[other - 1][how]
        if f.values[1] is None:
            yield UNKNOWN, UNKNOWN, UNKNOWN
        else:
            yield f"{rounded(f.values[1], 1)} Hz", difference(f, 1), f"{p.assurance[k]:.2f}"


def pair_figure(study: Beside, how: str, k: int, other: int) -> Figure:
    """Figure of the frequency of mode k of the first sheet and of its partner in another."""
    a, b, p = study.sheets[0].held[how], study.sheets[other].held[how], int(study.paired[other - 1][how].partner[k])
    known = lambda v: None if v != v else float(v)
    values = float(a.frequency[k]), None if p < 0 else float(b.frequency[p])
    return Figure(
        "modes",
        f"mode_{k + 1}",
        a.moves[k],
        "Hz",
        1,
        values,
        (known(a.error[k]), None if p < 0 else known(b.error[p])),
        how,
    )


def notes_table(study: Beside, how: str) -> Table:
    """Medians over the notes, and by the rule what is heard of their change."""
    assert study.noted is not None
    names = study.names
    head = (
        "median of the notes",
        *names,
        *(cell for name in names[1:] for cell in (f"{name} beside {names[0]}", "by the rule")),
    )
    rows = []
    for f in study.noted.figures:
        if f.how == how:
            cells = [cell for judged in study.noted.judged for cell in judged_cells(judged[how, f.key], f.key)]
            own = (
                [UNKNOWN] * len(names) if f.unit == "dB" else _values(f)
            )  # a level is told against the first one's alone
            rows.append((f.words, *own, *cells))
    frets = sorted({fret for _, fret in study.noted.places})
    limits = several(f"{m.name} {m.span(*LIMITS[m.key])}" for m in MEASURES)
    note = (
        f"Every string open and at fret {several(str(f) for f in frets if f)}, each guitar with its own strings and pluck. In brackets all doubts: mesh, losses of strings and rim, "
        f"a loss that no part explains, direction of the pluck. Not heard: {limits} (docs/verdict.md)."
    )
    return Table(f"A few notes, {how}", head, tuple(rows), note)


def judged_cells(j: Judged, key: str) -> tuple[str, str]:
    """('+1.2 dB (+0.8 to +1.5 dB)', word)."""
    m = next(m for m in MEASURES if m.key == key)
    return f"{m.told(j.ratio)} ({m.span(j.low, j.high)})", j.word
