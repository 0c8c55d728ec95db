"""The weather study as a page and tables for machines."""

from collections.abc import Callable
from pathlib import Path

from studies.common.files import Plain
from studies.common.rest_page import write
from studies.common.two_meshes import rim_grams
from studies.weather.pictures import draw
from studies.weather.result import Weather
from studies.weather.words import errors, gap_stress, report, shape_values, stress_values

# --- for machines ---


def records(study: Weather) -> list[dict[str, Plain]]:
    """One dict per build, humidity and measure."""
    rows = []
    for used in study.used:
        for values, unit in ((shape_values, "mm"), (stress_values, "MPa")):
            off = errors(study, values, used)
            for row in study.rows:
                for key, value in values(study, row, used).items():
                    rows.append(
                        {
                            "build": row.build.name, "built_at_humidity_percent": study.built,
                            "used_at_humidity_percent": used, "measure": key, "value": value, "unit": unit,
                            "mesh_error": off[key], "rim_g": rim_grams(row),
                            "per_100_g_of_rim": value * 100 / rim_grams(row),
                        }
                    )  # fmt: skip
    return rows


def found(study: Weather) -> dict[str, Plain]:
    """What the JSON file holds of the study."""
    builds = []
    for row in study.rows:
        item = {
            "name": row.build.name, "label": row.build.label, "note": row.build.note, "rim_g": rim_grams(row),
            "mass_kg": row.mass, "energy_balance": row.balance,
        }  # fmt: skip
        if study.rim_gap:
            item |= {
                "closing_force_N": study.rim_gap * row.closing,
                "gap_stress_top_MPa": 1e-6 * gap_stress(study, row),
            }
        builds.append(item)
    woods = {
        name: {
            "along": m.along, "radial": m.radial, "tangential": m.tangential, "strength_across_Pa": m.strength,
            "sources": m.sources,
        }
        for name, m in study.movement.items()
    }  # fmt: skip
    return {
        "built_at_humidity_percent": study.built, "used_at_humidity_percent": list(study.used),
        "temperature_c": study.temperature, "moisture_change_percent": {f"{u:g}": c for u, c in study.changes.items()},
        "rim_gap_mm": 1e3 * study.rim_gap, "builds": builds, "measures": records(study), "movement_per_percent": woods,
    }  # fmt: skip


def write_report(
    study: Weather, out: Path, pictures: bool = True, say: Callable[[str], None] = lambda text: None
) -> list[Path]:
    """Write page, tables and pictures into the folder `out`; returns the paths."""
    drawn = draw(study, out, say) if pictures else []
    return write(report(study), found(study), out, drawn)
