"""Two designs or more, each a whole sheet: what differs between them, and what of that can be told and heard?

Every sheet is solved on its own mesh, with the air inside and outside, and its mesh error is found for itself. Modes are paired by
likeness. A difference smaller than both errors together is 'cannot tell'; what is heard is judged by the rule of the verdict.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from studies.common.inputs import BadInput, Given, given_sheet, mesh_size, within, writable_folder
from studies.common.kept import kept_folder
from studies.common.machine import usable_cores
from studies.common.side_by_side import processes
from studies.common.summary import print_summary
from studies.common.words import with_files
from studies.compare.figures import figures_of
from studies.compare.likeness import pairs_by_likeness
from studies.compare.notes import note_sheets
from studies.compare.result import Beside, Paired
from studies.compare.solve import Wanted, solve_sheets
from studies.rim.question import MOST_MODES
from studies.rim.result import SUPPORT_CONDITIONS
from studies.weather.solve import humidities

FRETS, MOST_SHEETS = 10, 6


def compare_sheets(
    sheets: Sequence[str | Path],
    out: str | Path | None = None,
    size_mm: float | None = None,
    count: int = 20,
    frets: int = FRETS,
    notes: bool = True,
    at_rest: bool = True,
    heard: bool = False,
) -> str:
    """Compare sheets, write page and tables; returns the text to print. at_rest: under the strings and in other air, too.

    heard: write sounds, too.
    """
    from studies.compare.first_screen import beside_screen
    from studies.compare.page import write_beside
    from studies.compare.sounds import write_sheets_sounds
    from studies.compare.words import summary_text

    given = named_apart(sheets)
    size = mesh_size(size_mm)
    within("--count", count, 1, MOST_MODES, "modes")
    stems = [one.source.path.stem for one in given]
    out = writable_folder(out or Path("out") / f"{'-'.join(stems)}-compare")
    built, used, _ = humidities(given[0].body)
    wanted = Wanted(size, count, kept_folder(out), at_rest, at_rest, (built, used))
    study = solved_beside(given, wanted, frets if notes else None, min(processes(), usable_cores(), len(given)))
    first = beside_screen(study)
    text = with_files(summary_text(study, first), write_beside(study, first, out))
    text = "\n".join([text, print_summary(out / "summary.html")])
    return f"{text}\n\n{write_sheets_sounds(given, size, wanted.store, out / 'sounds')}" if heard else text


def named_apart(sheets: Sequence[str | Path]) -> list[Given]:
    """[Given] of two sheets or more, whose files have names of their own. BadInput otherwise."""
    if not 2 <= len(sheets) <= MOST_SHEETS:
        raise BadInput(f"compare: {len(sheets)} sheets; expected 2 to {MOST_SHEETS}")
    given = [given_sheet(sheet) for sheet in sheets]
    stems = [one.source.path.stem for one in given]
    for k, stem in enumerate(stems):
        if stem in stems[:k]:
            raise BadInput(
                f"{given[k].source.path}: a sheet of that name is there already; expected files of different names"
            )
    return given


def solved_beside(given: Sequence[Given], wanted: Wanted, frets: int | None, workers: int = 1) -> Beside:
    """Beside of sheets; frets: highest of the few notes, None for no notes."""
    solved, rest = zip(*solve_sheets(given, wanted, workers))
    paired = []
    for other in solved[1:]:
        of = {}
        for how in SUPPORT_CONDITIONS:
            mine, its = solved[0].held[how].motion[:, : wanted.count], other.held[how].motion
            of[how] = Paired(*pairs_by_likeness(mine, its, (solved[0].weight, other.weight)))
        paired.append(of)
    study = Beside(solved, wanted.size, wanted.count, figures_of(solved, rest), tuple(paired), None)
    return study if frets is None else replace(study, noted=note_sheets(solved, frets, wanted.store))
