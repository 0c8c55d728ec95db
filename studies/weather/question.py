"""What do the seasons do to a box that was glued up at one humidity, and how much of it does the rim's build decide?

All wood is taken to be at rest and in balance with the air at glue-up, and in balance with other air later. Everything is
proportional to the change of moisture content, so one solution for 1 % serves every humidity. A stiffer rim holds the
plates' width better and strains them more: shown beside each other. A rim that was not flat when a plate was glued to
it (rim_gap_mm) strains them as well, once and for all.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from studies.common.inputs import given_sheet, mesh_size, within
from studies.common.progress import say_drawing
from studies.common.rest_page import answered
from studies.weather.solve import humidities, season_builds


def season_box(
    sheet: str | Path,
    out: str | Path | None = None,
    size_mm: float | None = None,
    built_at_humidity_percent: float | None = None,
    used_at_humidity_percent: float | Sequence[float] | None = None,
    rim_gap_mm: float | None = None,
    pictures: bool = True,
) -> str:
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    used_at_humidity_percent: one number or several. rim_gap_mm: between the highest and the lowest place of the rim's
    edge when the top was glued to it, the rim twisted.
    """
    from studies.weather.first_screen import seasons_screen
    from studies.weather.page import found, records
    from studies.weather.pictures import draw
    from studies.weather.words import report

    given, size = given_sheet(sheet), mesh_size(size_mm)
    body = given.body
    gap = body.weather.rim_gap if rim_gap_mm is None else within("--rim-gap-mm", rim_gap_mm, 0, 10, "mm") / 1e3
    built, used, assumed = humidities(body, built_at_humidity_percent, used_at_humidity_percent)
    out = given.folder(out, "weather")
    study = season_builds(replace(body, assumed=body.assumed + assumed), built, used, size, gap)
    study = replace(study, source=given.source)
    drawn = draw(study, out, say_drawing) if pictures else []
    return answered(report(study, seasons_screen(study)), found(study), records(study), out, drawn)
