"""How do the low modes of the assembled box, and what its rim stores and turns to heat, change with the rim's build?

Every build changes one thing from the sheet's own, on one mesh per size; modes are paired by the modal assurance
criterion. Dry: without air, radiation and strings. A richer space and longer edges tell the mesh error.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from studies.common.builds import builds, complete_linings
from studies.common.inputs import given_sheet, mesh_size, within
from studies.common.kept import kept_folder
from studies.common.machine import usable_cores
from studies.common.measured import beside
from studies.common.progress import Progress
from studies.common.side_by_side import SideBySide, processes
from studies.common.summary import print_summary
from studies.common.words import with_files
from studies.drawing.apart import Drawn, drawn_apart
from studies.measured.solve import computed_for
from studies.rim import air_page, air_words, dry_page, dry_words
from studies.rim.air import OTHERS, PROGRESS, compare_in_air, found_beside
from studies.rim.dry import SOLVED, compare_dry, unknown_losses
from studies.rim.dry_screen import ring_screen
from studies.rim.first_screen import sound_screen
from studies.rim.result import AirStudy, DryStudy
from studies.solved.level import dry_modes

MOST_MODES = 100
DRAWN, DRY_PICTURES, AIR_PICTURES = 0.3, 17, 8  # of progress: a picture; how many there are


def compare_rims(
    sheet: str | Path,
    out: str | Path | None = None,
    size_mm: float | None = None,
    count: int = 20,
    pictures: bool = True,
    air: bool = True,
    tell: Callable[[str], None] = lambda text: None,
) -> str:
    """Run the study on a sheet and write pages, tables and pictures; returns the summary as text.

    air: with the air inside and out as well, held both ways (see air.py): that page then leads, this one is beside it.
    tell: given the text as it comes, the answer before anything is drawn, then the files.
    """
    given, size = given_sheet(sheet), mesh_size(size_mm)
    within("--count", count, 1, MOST_MODES, "modes")
    body, out = given.body, given.folder(out, "rim")
    workers, rims = min(processes(), 2), len(builds(complete_linings(body)[0]))
    solved = rims + 2  # with air the sheet's own build in the richer space and on longer edges too, dry all of them
    apart = pictures and air and usable_cores() > 1  # the dry box is drawn while the air is solved for
    drawings = pictures * (AIR_PICTURES * air + DRY_PICTURES * (not apart))
    in_air = air * PROGRESS * (solved if workers == 1 else rims)  # what is found beside takes no time
    progress = Progress(SOLVED * 3 * rims + in_air + OTHERS * air + DRAWN * drawings)
    rows = kept_folder(out)
    with SideBySide(workers, tasks=1) as side:
        errors = side.begin(found_beside, body, size, count, rows, air) if workers > 1 else lambda: None
        study = compare_dry(body, size, count, rows, progress, dry_modes(count) if air else None)
        measured = tuple(beside(body.measured, computed_for(body, body.measured, size, rows))) if body.measured else ()
        study, with_air = replace(study, source=given.source, measured=measured), None
        air = air and not unknown_losses(study)
        with drawn_apart(partial(dry_page.pictures_of, study, out), apart and air) as drawn:
            if air:
                with_air = compare_in_air(body, size, count, rows, progress, levels=study.levels, beside=errors)
                with_air = replace(with_air, source=given.source, measured=measured)
            return write_pages(Answer(study, with_air, out, drawn if pictures else None), progress, tell)


@dataclass(frozen=True)
class Answer:
    """What is to be written."""

    dry: DryStudy
    air: AirStudy | None
    out: Path
    drawn: Drawn | None  # pictures of the dry box; None: no pictures at all


def write_pages(answer: Answer, progress: Progress, tell: Callable[[str], None]) -> str:
    """Write the pages of both studies, tell the answer, then draw; returns all that was told."""

    def say(what: str) -> None:
        progress.step(DRAWN)
        progress.say(f"drawing: {what}")

    dry, out = dry_page.write_dry_figures(answer.dry, answer.out, "index.html" if answer.air else None), answer.out
    if answer.air:
        air = air_page.write_air_figures(answer.air, out)
        words = "\n\n".join(
            [sound_screen(answer.air).text, air_words.summary_text(answer.air), ""]
        ) + dry_words.paragraph(answer.dry)
        files = [*air.files, *dry.files]
    else:
        words = "\n\n".join([ring_screen(answer.dry).text, dry_words.summary_text(answer.dry)])
        files = [*dry.files]
    progress.clear()
    tell(words)
    if answer.drawn:
        if answer.air:
            air_page.add_air_pictures(air, answer.air, out, say)
        dry_page.add_dry_pictures(dry, out, answer.drawn(say))
    progress.close("done")
    printed = f"\n{print_summary(out / 'summary.html')}"
    tell(with_files("", files)[1:] + printed)
    return with_files(words, files) + printed
