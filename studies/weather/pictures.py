"""Pictures of the weather study: movement and stress at each humidity, and the stress of all builds in the driest air."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from studies.common.mesh_error import rim_grams
from studies.drawing.plate_fields import HUNG_FREE, field_boards, field_figure, full_scale, out_of_box
from studies.drawing.sheet import save_with_caption
from studies.weather.readings import PLATES
from studies.weather.result import Row, Weather

SHOWN = 98  # per cent of the stresses that a scale shows
ENDS = ("pressed", "pulled")
WORSE_FACE = "the more pulled face, MPa"


def draw(study: Weather, out: Path, say: Callable[[str], None] = lambda text: None) -> list[Path]:
    """Pictures of movement and stress at each humidity, and of the stress of all builds in the driest air."""
    folder, paths, base, name = out / "pictures", [], study.rows[0], study.body.name
    boards = field_boards(study.space, study.body)
    for used, change in study.changes.items():
        say(f"{used:g} % relative humidity")
        season = f"{name}, built at {study.built:g} %, used at {used:g} % relative humidity"
        for what, values, ends, unit, shown in (
            ("movement", out_of_box(change * base.moisture.displacement), ("inward", "outward"),
             "Movement square to the plates, mm, as seen from the rim", 100),
            ("stress", stress_field(base, change), ENDS,
             f"Stress across the grain, {WORSE_FACE}; the outer 2 % are off the scale", SHOWN),
        ):  # fmt: skip
            panel, largest = (season, base.build.label, values), full_scale(boards, values, shown)
            figure = field_figure(boards, [panel], largest, ends, unit, 1, what == "movement")
            caption = f"{season}. {unit}.\nBuild: {base.build.label}. {HUNG_FREE}"
            paths += save_with_caption(figure, folder / f"{what}-{used:g}-percent", caption)
    say("stress of every build")
    used = study.driest
    boards = field_boards(study.space, study.body, 3)
    panels = [
        (row.build.short, f"rim {rim_grams(row):.0f} g", stress_field(row, study.changes[used])) for row in study.rows
    ]
    unit = f"Stress across the grain at {used:g} % relative humidity, {WORSE_FACE}"
    figure = field_figure(boards, panels, full_scale(boards, panels[0][2], SHOWN), ENDS, unit, 3, False)
    caption = f"{name}: {unit}; every rim build on one scale."
    return paths + save_with_caption(figure, folder / f"stress-builds-{used:g}-percent", caption)


def stress_field(row: Row, change: float) -> dict[str, np.ndarray]:
    """{plate: (nodes,) MPa} at whichever face is pulled more."""
    return {plate: 1e-6 * (change * row.moisture.stress[plate].everywhere).max(axis=1) for plate in PLATES}
