"""How do the low modes of the assembled box, and what its rim stores and turns to heat, change with the rim's build?

Every build changes one thing from the sheet's own, on one mesh per size; modes are paired by the modal assurance
criterion. Dry: without air, radiation and strings. A second, coarser mesh tells the mesh error.
"""

from dataclasses import replace
from pathlib import Path

from studies.common.builds import builds, complete_linings
from studies.common.inputs import given_sheet, mesh_size, within
from studies.common.kept import kept_folder
from studies.common.measured import beside
from studies.common.progress import Progress
from studies.common.two_meshes import COARSER
from studies.common.words import with_files
from studies.measured.solve import computed_for
from studies.rim import air_page, air_words, dry_page, dry_words
from studies.rim.air import OTHERS, PROGRESS, compare_in_air
from studies.rim.dry import DRAWING, DRAWINGS, SOLVED, compare_dry, unknown_losses
from studies.rim.result import AirStudy, DryStudy
from studies.solved.coupled import dry_modes

MOST_MODES = 100


def compare_rims(
    sheet: str | Path,
    out: str | Path | None = None,
    size_mm: float | None = None,
    count: int = 20,
    pictures: bool = True,
    air: bool = True,
) -> str:
    """Run the study on a sheet and write pages, tables and pictures; returns the summary as text.

    air: with the air inside and out as well, held both ways (see air.py): that page then leads, this one is beside it.
    """
    given, size = given_sheet(sheet), mesh_size(size_mm)
    within("--count", count, 1, MOST_MODES, "modes")
    body, out = given.body, given.folder(out, "rim")
    levels = len(builds(complete_linings(body)[0])) * (1 + COARSER**-2)
    progress = Progress(levels * (SOLVED + PROGRESS * air) + OTHERS * air + DRAWING * pictures)
    rows = kept_folder(out)
    study = compare_dry(body, size, count, rows, progress, dry_modes(count) if air else None)
    measured = tuple(beside(body.measured, computed_for(body, body.measured, size))) if body.measured else ()
    study, with_air = replace(study, source=given.source, measured=measured), None
    if air and not unknown_losses(study):
        with_air = compare_in_air(body, size, count, rows, progress, models=study.models)
        with_air = replace(with_air, source=given.source, measured=measured)
    return write_pages(study, with_air, out, pictures, progress)


def write_pages(study: DryStudy, with_air: AirStudy | None, out: Path, pictures: bool, progress: Progress) -> str:
    """Write the pages of both studies (None: without air); returns the summary as text."""

    def say(what: str) -> None:
        progress.step(DRAWING / DRAWINGS)
        progress.say(f"drawing: {what}")

    if with_air is None:
        pages = dry_page.write_report(study, out, pictures, say)
        words = dry_words.summary_text(study)
    else:
        if pictures:  # first all that tells the answer
            dry_page.write_report(study, out, pictures=False, beside="index.html")
        pages = air_page.write_report(with_air, out, pictures, say)
        pages += dry_page.write_report(study, out, pictures, say, beside="index.html")
        words = air_words.summary_text(with_air) + "\n\n" + dry_words.paragraph(study)
    progress.close("done")
    return with_files(words, pages)
