"""The squeeze study as a page and tables for machines."""

from itertools import combinations
from pathlib import Path

from meshes.body import side_height
from studies.common import cautions
from studies.common.at_rest import told_build
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.first_screen import FirstScreen
from studies.common.measured import HEAD, LIMITS, as_dict, cells
from studies.common.mesh_error import FACETS, MESH_ERROR, rim_grams
from studies.common.page import write_page
from studies.common.summary import write_summary
from studies.common.table import Table
from studies.squeeze.first_screen import ruler_screen
from studies.squeeze.pictures import draw
from studies.squeeze.result import Squeeze, press_error, told_apart
from studies.squeeze.words import BLOCKS, LABEL, MEASURED, NOT_MODELLED, answer, beside_rows, tables


def records(study: Squeeze) -> list[dict[str, Plain]]:
    """One dict per build, state and press."""
    return [
        {
            "build": row.build.name, "held": state, "press": press, "load_kg": study.load, "deflection_mm": 1e3 * d,
            "reading_error_mm": 1e3 * study.errors.of_deflection(d),
            "mesh_error_mm": 1e3 * press_error(study, row, state, press), "rim_g": rim_grams(row),
            "mm_per_kg_and_100_g_of_rim": 1e3 * d / study.load * 100 / rim_grams(row),
        }
        for row in study.rows
        for (state, press), d in row.deflection.items()
    ]  # fmt: skip


def as_json(study: Squeeze, first: FirstScreen) -> dict[str, Plain]:
    """The whole study for machines."""
    builds = [
        {
            **told_build(row), "frequency_hz": {state: f.tolist() for state, f in row.frequency.items()},
            "loss_factor": {state: None if loss is None else loss.tolist() for state, loss in row.loss_factor.items()},
            "energy_balance": row.balance,
        }
        for row in study.rows
    ]  # fmt: skip
    apart = [
        {"builds": [a.build.name, b.build.name], "told_apart_by": told_apart(study, a, b)}
        for a, b in combinations(study.rows, 2)
    ]
    origin = provenance(study.source, (study.size, FACETS * study.size), study.unknowns)
    about = About(study.body, "open rim", LABEL, MESH_ERROR, NOT_MODELLED, origin, BLOCKS)
    return told(about, {
        "first_screen": first.as_json,
        "load_kg": study.load,
        "side_height_mm": {p: 1e3 * float(side_height(study.body, *xy[0])) for p, xy in study.places.items()},
        "measures": records(study), "builds": builds, "pairs": apart,
        "measured": [as_dict(row) for row in beside_rows(study)], "notes": list(study.notes),
    })  # fmt: skip


def write_report(study: Squeeze, out: Path, pictures: bool = True) -> list[Path]:
    """Write index.html, summary.html, squeeze.csv, squeeze.json and the picture into the folder; returns the paths."""
    drawn, first = draw(study, out) if pictures else [], ruler_screen(study)
    data, title = as_json(study, first), f"{study.body.name}: the open rim, squeezed and twisted"
    rows = beside_rows(study)
    beside = [Table(MEASURED, HEAD, tuple(map(cells, rows)), " ".join(LIMITS))] if rows else []
    shown = "The rim in plan before and after each squeeze, in every build, the motion enlarged."
    page = write_page(out / "index.html", "common/rest_page.html.j2", {
        "source": study.source, "title": title, "data": data, "first": first, "answer": answer(study), "tables": [*tables(study), *beside],
        "pictures": [(path.relative_to(out).as_posix(), shown) for path in drawn if path.suffix == ".svg"],
        "cautions": cautions.OPEN_RIM,
    })  # fmt: skip
    machine = write_json(out / "squeeze.json", data)
    table, summary = write_table(out / "squeeze.csv", records(study)), write_summary(first, title, study.source, out)
    return [page, table, machine, summary, *drawn]
