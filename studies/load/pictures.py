"""Pictures of the box under its strings."""

import numpy as np

from studies.common.box_measures import nodal
from studies.common.two_meshes import rim_grams
from studies.drawing import plate_fields as field_picture


def draw(study, out, say=lambda text: None):
    """Pictures of the movement, of all builds, and of the top's pre-stress."""
    folder = out / "pictures"
    folder.mkdir(parents=True, exist_ok=True)
    base, body = study.rows[0], study.body
    pull = f"{sum(p.tension for p in study.pulls):.0f} N of string tension"
    say("movement")
    own = field_picture.outward(base.displacement)
    boards = field_picture.Boards(study.space, body)
    largest = field_picture.rounded_up(max(np.abs(f.value).max() for f in boards.fields(own).values()))
    panel = (f"{body.name} under {pull}", base.build.label, own)
    figure = field_picture.field_figure(
        boards, [panel], largest, ("inward", "outward"), "mm, square to the plates, as seen from the rim"
    )
    facts = f"Build: {base.build.label}. Hung free, elastic, without creep. Computed with Rimwork."
    paths = field_picture.save_field(figure, folder / "movement", f"{body.name}: movement under {pull}, mm.\n{facts}")
    say("movement of every build")
    small = field_picture.Boards(study.space, body, 3)
    panels = [
        (_short(row), f"rim {rim_grams(row):.0f} g", field_picture.outward(row.displacement)) for row in study.rows
    ]
    figure = field_picture.field_figure(
        small, panels, largest, ("inward", "outward"), "mm, square to the plates, as seen from the rim", 3
    )
    paths += field_picture.save_field(
        figure, folder / "movement-builds", f"{body.name}: movement under {pull}, every rim build on one scale, mm."
    )
    say("pre-stress of the top")
    triangles = study.space.mesh.surfaces["top"].triangles
    along = 1e-3 * nodal(study.space, triangles, base.forces[..., 0])
    one = field_picture.Boards(study.space, body, 1, ("top",))
    value = {"top": along}
    largest = field_picture.rounded_up(np.percentile(np.abs(one.fields(value)["top"].value), 98))
    panel = (f"{body.name}: force along the grain of the top", f"{base.build.label}, {pull}", value)
    figure = field_picture.field_figure(
        one,
        [panel],
        largest,
        ("squeezed", "pulled"),
        "N for each mm of width; the outer 2 % are off the scale",
        1,
        False,
    )
    return paths + field_picture.save_field(
        figure, folder / "top-force-along", f"{body.name}: membrane force along the grain of the top, N/mm.\n{facts}"
    )


def _short(row):
    label = row.build.label.removeprefix("as on the sheet: ")
    return label if len(label) < 44 else label[:41] + "..."
