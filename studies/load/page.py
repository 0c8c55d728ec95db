"""The load study as a page and tables for machines."""

from collections.abc import Callable
from pathlib import Path

from studies.common.files import Plain
from studies.common.rest_page import write
from studies.common.two_meshes import rim_grams
from studies.load.pictures import draw
from studies.load.readings import MEASURES
from studies.load.result import Load
from studies.load.words import bound, errors, report, scaled

# --- for machines ---


def records(study: Load) -> list[dict[str, Plain]]:
    """One dict per build and measure."""
    off = errors(study)
    rows = []
    for row in study.rows:
        for key, value in row.measures.items():
            words, unit, factor = MEASURES.get(key, (key.replace("/", ", ") + " edge", "mm", 1e3))
            rows.append(
                {
                    "build": row.build.name, "measure": key, "what": words, "value": factor * value, "unit": unit,
                    "mesh_error": abs(factor) * off[key], "rim_g": rim_grams(row),
                    "per_100_g_of_rim": factor * value * 100 / rim_grams(row),
                }
            )  # fmt: skip
    return rows


def found(study: Load) -> dict[str, Plain]:
    """What the JSON file holds of the study."""
    builds = [
        {
            "name": row.build.name, "label": row.build.label, "note": row.build.note, "rim_g": rim_grams(row),
            "mass_kg": row.mass, **scaled(row),
            "width_change_mm": {k.removeprefix("width/"): 1e3 * v for k, v in row.measures.items() if k.startswith("width/")},
            "frequency_ratio": list(map(float, row.frequency_ratio)),
            "frequency_shift_bound": None if row.bound is None else float(bound(row.bound)),
            "energy_balance": row.balance,
        }
        for row in study.rows
    ]  # fmt: skip
    return {
        "strings": [{"name": p.name, "tension_N": p.tension} for p in study.pulls],
        "frequency_hz": list(map(float, study.frequency)), "builds": builds, "measures": records(study),
    }  # fmt: skip


def write_report(
    study: Load, out: Path, pictures: bool = True, say: Callable[[str], None] = lambda text: None
) -> list[Path]:
    """Write page, tables and pictures into the folder `out`; returns the paths."""
    drawn = draw(study, out, say) if pictures else []
    return write(report(study), found(study), out, drawn)
