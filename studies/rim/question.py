"""How do the low modes of the assembled box, and what its rim stores and turns to heat, change with the rim's build?

Every build changes one thing from the sheet's own, on one mesh per size; modes are paired by the modal assurance
criterion. Dry: without air, radiation and strings. A second, coarser mesh tells the mesh error.
"""

from dataclasses import replace
from pathlib import Path

from meshes.build import DEFAULT_SIZE
from studies.common.builds import builds, complete_linings
from studies.common.inputs import BadInput, read_source, writable_folder
from studies.common.measured import beside
from studies.common.progress import Progress
from studies.common.two_meshes import COARSER
from studies.measured.solve import computed_for
from studies.rim.dry import DRAWING, DRAWINGS, SOLVED, run, unknown_losses


def main(sheet, out=None, size_mm=None, count=20, pictures=True, air=True):
    """Run the study on a sheet and write pages, tables and pictures; returns the summary as text.

    air: with the air inside and out as well, held both ways (see rim_air.py): that page then leads, this one is beside it.
    """
    from studies.rim.air import OTHERS, PROGRESS
    from studies.rim.air import run as run_with_air
    from studies.solved.coupled import dry_modes

    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    if not 1 <= count <= 100:
        raise BadInput(f"--count {count}: expected between 1 and 100 modes")
    body, source = read_source(sheet)
    out = writable_folder(out or Path("out") / f"{source.path.stem}-rim")
    size = size_mm / 1e3 if size_mm else DEFAULT_SIZE
    levels = len(builds(complete_linings(body)[0])) * (1 + COARSER**-2)
    progress = Progress(levels * (SOLVED + PROGRESS * air) + OTHERS * air + DRAWING * pictures)
    study = run(body, size, count, out / "rows", progress, dry_modes(count) if air else None)
    measured = tuple(beside(body.measured, computed_for(body, body.measured, size))) if body.measured else ()
    study = replace(study, source=source, measured=measured)
    with_air = None
    if air and not unknown_losses(study):
        found = run_with_air(body, size, count, dry_modes(count), out / "rows", progress, models=study.models)
        with_air = replace(found, source=source, measured=measured)
    return report(study, with_air, out, pictures, progress)


def report(study, with_air, out, pictures, progress):
    """Write the pages of a Study and of rim_air's (None: left out); returns the summary as text."""
    from studies.rim import air_page as rim_air_report
    from studies.rim import dry_page as rim_report

    def say(what):
        progress.step(DRAWING / DRAWINGS)
        progress.say(f"drawing: {what}")

    if with_air is None:
        pages = rim_report.write_report(study, out, pictures, say)
        words = rim_report.summary(study)
    else:
        if pictures:  # first all that tells the answer
            rim_report.write_report(study, out, pictures=False, beside="index.html")
        pages = rim_air_report.write_report(with_air, out, pictures, say)
        pages += rim_report.write_report(study, out, pictures, say, beside="index.html")
        words = rim_air_report.summary_text(with_air) + "\n\n" + rim_report.paragraph(study)
    progress.close("done")
    return words + "\n\n" + "\n".join(f"wrote {page}" for page in pages)
