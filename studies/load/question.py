"""What do the strings do to the box, and how much of it can the rim's build change?

The tension of each string acts on the bridge at saddle height and on the neck at the nut, along the string: a load in
balance. The body hangs free, its rigid motion taken out; everything is told as seen from the rim. Small deflections,
elastic, at once: wood creeps, so an instrument that has stood for years has moved further.
"""

from dataclasses import replace
from pathlib import Path

from studies.common.inputs import given_sheet, mesh_size
from studies.common.progress import say_drawing
from studies.common.rest_page import answered
from studies.load.solve import load_builds, string_pulls


def load_box(
    sheet: str | Path,
    out: str | Path | None = None,
    size_mm: float | None = None,
    strings: str | None = None,
    pictures: bool = True,
) -> str:
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    strings: name of a built-in set, in place of the sheet's tensions.
    """
    from studies.load.first_screen import strings_screen
    from studies.load.page import found, records
    from studies.load.pictures import draw
    from studies.load.words import report

    given, size = given_sheet(sheet), mesh_size(size_mm)
    body = given.body
    pulls, assumed = string_pulls(body, strings)
    out = given.folder(out, "load")
    study = load_builds(replace(body, assumed=body.assumed + assumed), pulls, size)
    study = replace(study, source=given.source)
    drawn = draw(study, out, say_drawing) if pictures else []
    return answered(report(study, strings_screen(study)), found(study), records(study), out, drawn)
