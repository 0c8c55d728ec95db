"""What do the seasons do to a box that was glued up at one humidity, and how much of it does the rim's build decide?

All wood is taken to be at rest and in balance with the air at glue-up, and in balance with other air later. Everything is
proportional to the change of moisture content, so one solution for 1 % serves every humidity. A stiffer rim holds the
plates' width better and strains them more: shown beside each other. A rim that was not flat when a plate was glued to
it (rim_gap_mm) strains them as well, once and for all.
"""

import sys
from dataclasses import replace
from pathlib import Path

from fem.moisture import ROOM
from meshes.build import DEFAULT_SIZE
from studies.common.inputs import BadInput, read_source, writable_folder
from studies.weather.solve import humidities, run


def main(
    sheet, out=None, size_mm=None, built_at_humidity_percent=None, used_at_humidity_percent=None, rim_gap_mm=None,
    temperature_c=ROOM, pictures=True,
):  # fmt: skip
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    used_at_humidity_percent: one number or several. rim_gap_mm: between the highest and the lowest place of the rim's
    edge when the top was glued to it, the rim twisted.
    """
    from studies.weather.page import write_report
    from studies.weather.words import text

    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    if rim_gap_mm is not None and not 0 <= rim_gap_mm <= 10:
        raise BadInput(f"--rim-gap-mm {rim_gap_mm:g}: expected between 0 and 10 mm")
    if not 0 <= temperature_c <= 45:
        raise BadInput(f"--temperature-c {temperature_c:g}: expected between 0 and 45 degrees Celsius")
    body, source = read_source(sheet)
    built, used, assumed = humidities(body, built_at_humidity_percent, used_at_humidity_percent)
    gap = body.weather.rim_gap if rim_gap_mm is None else rim_gap_mm / 1e3
    out = writable_folder(out or Path("out") / f"{source.path.stem}-weather")
    body = replace(body, assumed=body.assumed + assumed)
    study = run(body, built, used, size_mm / 1e3 if size_mm else DEFAULT_SIZE, gap, temperature_c)
    study = replace(study, source=source)
    written = write_report(study, out, pictures, lambda what: print(f"drawing: {what}", file=sys.stderr))
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)
