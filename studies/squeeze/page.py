"""The squeeze study as tables for machines."""

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

from meshes.body import side_height
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.measured import as_dict
from studies.common.two_meshes import MESH_ERROR, both, mesh_error, rim_grams
from studies.squeeze.result import Squeeze, told_apart
from studies.squeeze.words import BLOCKS, LABEL, NOT_MODELLED, beside_rows

# --- for machines ---


def records(study: Squeeze) -> Iterator[dict[str, Plain]]:
    """One dict per build, state and press."""
    for row, rough in zip(study.rows, study.coarse):
        for (state, press), d in row.deflection.items():
            yield {
                "build": row.build.name,
                "held": state,
                "press": press,
                "load_kg": study.load,
                "deflection_mm": 1e3 * d,
                "reading_error_mm": 1e3 * study.errors.of_deflection(d),
                "mesh_error_mm": 1e3 * mesh_error(d, rough.deflection[state, press]),
                "rim_g": rim_grams(row),
                "mm_per_kg_and_100_g_of_rim": 1e3 * d / study.load * 100 / rim_grams(row),
            }


def as_json(study: Squeeze) -> dict[str, Plain]:
    """The whole study for machines."""
    builds = [
        {
            "name": row.build.name, "label": row.build.label, "note": row.build.note, "rim_g": rim_grams(row),
            "mass_kg": row.mass, "frequency_hz": {s: list(map(float, f)) for s, f in row.frequency.items()},
            "loss_factor": {s: None if f is None else list(map(float, f)) for s, f in row.loss_factor.items()},
            "energy_balance": row.balance,
        }
        for row in study.rows
    ]  # fmt: skip
    apart = [
        {"builds": [a.build.name, b.build.name], "told_apart_by": told_apart(study, a, b)}
        for a, b in combinations(study.rows, 2)
    ]
    origin = provenance(study.source, both(study.size), study.unknowns)
    about = About(study.body, "open rim", LABEL, MESH_ERROR, NOT_MODELLED, origin, BLOCKS)
    return told(about, {
        "load_kg": study.load,
        "side_height_mm": {p: 1e3 * float(side_height(study.body, *xy[0])) for p, xy in study.places.items()},
        "measures": list(records(study)), "builds": builds, "pairs": apart,
        "measured": [as_dict(row) for row in beside_rows(study)], "notes": list(study.notes),
    })  # fmt: skip


def write_tables(study: Squeeze, out: Path) -> list[Path]:
    """Write squeeze.csv and squeeze.json into the folder; returns the paths."""
    data = as_json(study)
    return [write_table(out / "squeeze.csv", data["measures"]), write_json(out / "squeeze.json", data)]
