"""The squeeze study as tables for machines."""

from itertools import combinations
from pathlib import Path

from meshes.body import side_height
from studies.common.at_rest import told_build
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.measured import as_dict
from studies.common.two_meshes import FACETS, MESH_ERROR, rim_grams
from studies.squeeze.result import Squeeze, press_error, told_apart
from studies.squeeze.words import BLOCKS, LABEL, NOT_MODELLED, beside_rows


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


def as_json(study: Squeeze) -> dict[str, Plain]:
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
        "load_kg": study.load,
        "side_height_mm": {p: 1e3 * float(side_height(study.body, *xy[0])) for p, xy in study.places.items()},
        "measures": records(study), "builds": builds, "pairs": apart,
        "measured": [as_dict(row) for row in beside_rows(study)], "notes": list(study.notes),
    })  # fmt: skip


def write_tables(study: Squeeze, out: Path) -> list[Path]:
    """Write squeeze.csv and squeeze.json into the folder; returns the paths."""
    return [write_table(out / "squeeze.csv", records(study)), write_json(out / "squeeze.json", as_json(study))]
