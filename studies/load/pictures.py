"""Pictures of the box under its strings."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

from studies.common.box_measures import nodal
from studies.common.mesh_error import rim_grams
from studies.common.words import shortened
from studies.drawing.plate_fields import HUNG_FREE, field_boards, field_figure, full_scale, out_of_box
from studies.drawing.sheet import save_with_caption
from studies.load.result import Load


def draw(study: Load, out: Path, say: Callable[[str], None] = lambda text: None) -> list[Path]:
    """Pictures of the movement, of all builds, and of the top's pre-stress."""
    folder, base, body, space = out / "pictures", study.rows[0], study.body, study.space
    label, pull = base.build.label, f"{study.tension:.0f} N of string tension"
    facts = f"Build: {label}. {HUNG_FREE}"
    movement = partial(field_figure, ends=("inward", "outward"), unit="mm, square to the plates, as seen from the rim")
    say("movement")
    own, boards = out_of_box(base.displacement), field_boards(space, body)
    largest = full_scale(boards, own)
    figure = movement(boards, [(f"{body.name} under {pull}", label, own)], largest)
    paths = save_with_caption(figure, folder / "movement", f"{body.name}: movement under {pull}, mm.\n{facts}")
    say("movement of every build")
    panels = [
        (shortened(row.build.short, 43), f"rim {rim_grams(row):.0f} g", out_of_box(row.displacement))
        for row in study.rows
    ]
    figure = movement(field_boards(space, body, 3), panels, largest, columns=3)
    caption = f"{body.name}: movement under {pull}, every rim build on one scale, mm."
    paths += save_with_caption(figure, folder / "movement-builds", caption)
    say("pre-stress of the top")
    force = {"top": 1e-3 * nodal(space, space.mesh.surfaces["top"].triangles, base.forces[..., 0])}
    boards = field_boards(space, body, 1, ("top",))
    panel = (f"{body.name}: force along the grain of the top", f"{label}, {pull}", force)
    unit = "N for each mm of width; the outer 2 % are off the scale"
    figure = field_figure(boards, [panel], full_scale(boards, force, 98), ("squeezed", "pulled"), unit, marks=False)
    caption = f"{body.name}: membrane force along the grain of the top, N/mm.\n{facts}"
    return paths + save_with_caption(figure, folder / "top-force-along", caption)
