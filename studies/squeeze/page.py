"""The squeeze study as tables for machines."""

import csv
import json
from itertools import combinations

from meshes.body import side_height
from studies.common.machine import rimwork_version
from studies.common.two_meshes import MESH_ERROR, mesh_error, rim_grams
from studies.squeeze.result import told_apart
from studies.squeeze.words import BLOCKS, NOT_MODELLED, beside_rows

SCHEMA_VERSION = 1


# --- for machines ---


def records(study):
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


def as_json(study):
    """Everything as a dict."""
    builds = [
        {
            "name": row.build.name, "label": row.build.label, "mass_g": {p: 1e3 * m for p, m in row.mass.items()},
            "frequency_hz": {s: list(map(float, f)) for s, f in row.frequency.items()},
            "loss_factor": {s: None if f is None else list(map(float, f)) for s, f in row.loss_factor.items()},
            "energy_balance": row.balance,
        }
        for row in study.rows
    ]  # fmt: skip
    apart = [
        {"builds": [a.build.name, b.build.name], "told_apart_by": told_apart(study, a, b)}
        for a, b in combinations(study.rows, 2)
    ]
    heights = {p: 1e3 * float(side_height(study.body, *xy[0])) for p, xy in study.places.items()}
    return {
        "schema_version": SCHEMA_VERSION, "rimwork": rimwork_version(), "body": study.body.name,
        "load_kg": study.load, "mesh_size_mm": 1e3 * study.size, "mesh_error": MESH_ERROR,
        "side_height_mm": heights, "deflections": list(records(study)), "builds": builds, "pairs": apart,
        "measured": [
            {**vars(r), "difference": r.difference, "in_agreement": r.agrees} for r in beside_rows(study)
        ],
        "notes": list(study.notes), "not_modelled": NOT_MODELLED, "model_error": BLOCKS,
    }  # fmt: skip


def write_tables(study, out):
    """Write squeeze.csv and squeeze.json into the folder; returns the paths."""
    rows = list(records(study))
    with (out / "squeeze.csv").open("w", newline="") as stream:
        writer = csv.DictWriter(stream, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    (out / "squeeze.json").write_text(json.dumps(as_json(study), indent=1, allow_nan=False) + "\n")
    return [out / "squeeze.csv", out / "squeeze.json"]
