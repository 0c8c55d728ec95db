"""What do the strings do to the box, and how much of it can the rim's build change?

The tension of each string acts on the bridge at saddle height and on the neck at the nut, along the string: a load in
balance. The body hangs free, its rigid motion taken out; everything is told as seen from the rim. Small deflections,
elastic, at once: wood creeps, so an instrument that has stood for years has moved further.
"""

import sys
from dataclasses import replace
from pathlib import Path

from meshes.build import DEFAULT_SIZE
from studies.common.inputs import BadInput, read_source, writable_folder
from studies.load.solve import run, string_pulls


def main(sheet, out=None, size_mm=None, strings=None, pictures=True):
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    strings: name of a built-in set, in place of the sheet's tensions.
    """
    from studies.load.page import write_report
    from studies.load.words import text

    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    body, source = read_source(sheet)
    pulls, assumed = string_pulls(body, strings)
    out = writable_folder(out or Path("out") / f"{source.path.stem}-load")
    study = run(
        replace(body, assumed=body.assumed + assumed), pulls, size_mm / 1e3 if size_mm else DEFAULT_SIZE
    )  # fmt: skip
    study = replace(study, source=source)
    written = write_report(study, out, pictures, lambda what: print(f"drawing: {what}", file=sys.stderr))
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)
