"""Pictures of the weather study: movement and stress at each humidity, and the stress of all builds in the driest air."""

from studies.common.two_meshes import rim_grams
from studies.drawing.plate_fields import field_boards, field_figure, full_scale, out_of_box
from studies.drawing.sheet import save_with_caption
from studies.weather.readings import PLATES

HELD = 98  # per cent of the stresses that a scale holds


def draw(study, out, say=lambda text: None):
    """Pictures of movement and stress at each humidity, and of the stress of all builds in the driest air."""
    folder, paths = out / "pictures", []
    base = study.rows[0]
    boards = field_boards(study.space, study.body)
    facts = f"Build: {base.build.label}. Hung free, elastic, without creep. Computed with Rimwork."
    for used, change in study.changes.items():
        say(f"{used:g} % relative humidity")
        season = f"built at {study.built:g} %, used at {used:g} % relative humidity"
        for name, values, ends, unit, held in (
            ("movement", out_of_box(change * base.moisture.displacement), ("inward", "outward"),
             "Movement square to the plates, mm, as seen from the rim", 100),
            ("stress", stress_field(base, change), ("pressed", "pulled"),
             "Stress across the grain, the more pulled face, MPa; the outer 2 % are off the scale", HELD),
        ):  # fmt: skip
            panel = (f"{study.body.name}, {season}", base.build.label, values)
            figure = field_figure(boards, [panel], full_scale(boards, values, held), ends, unit, 1, name == "movement")
            stem = folder / f"{name}-{used:g}-percent"
            paths += save_with_caption(figure, stem, f"{study.body.name}, {season}. {unit}.\n{facts}")
    say("stress of every build")
    used = min(study.changes, key=study.changes.get)
    small = field_boards(study.space, study.body, 3)
    panels = [
        (row.build.label.removeprefix("as on the sheet: "), f"rim {rim_grams(row):.0f} g", stress_field(row, study.changes[used]))
        for row in study.rows
    ]  # fmt: skip
    largest = full_scale(small, panels[0][2], HELD)
    unit = f"Stress across the grain at {used:g} % relative humidity, the more pulled face, MPa"
    figure = field_figure(small, panels, largest, ("pressed", "pulled"), unit, 3, False)
    caption = f"{study.body.name}: {unit}; every rim build on one scale."
    return paths + save_with_caption(figure, folder / f"stress-builds-{used:g}-percent", caption)


def stress_field(row, change):
    """{plate: (nodes,) MPa} at whichever face is pulled more."""
    return {plate: 1e-6 * (change * row.moisture.stress[plate].everywhere).max(axis=1) for plate in PLATES}
