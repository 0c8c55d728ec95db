"""The weather study as a page and tables for machines."""

from studies.common.rest_page import NOT_MODELLED, page_data, write
from studies.common.two_meshes import mesh_error, rim_grams
from studies.weather.pictures import draw
from studies.weather.words import LABEL, OWN_LIMITS, answer, gap_stress, shape_values, stress_values, tables

# --- for machines ---


def records(study):
    """One dict per build, humidity and measure."""
    found = []
    for used in study.used:
        for values, unit in ((shape_values, "mm"), (stress_values, "MPa")):
            fine, coarse = (values(study, row, used) for row in (study.rows[0], study.coarse))
            for row in study.rows:
                for key, value in values(study, row, used).items():
                    found.append(
                        {
                            "build": row.build.name, "built_at_humidity_percent": study.built,
                            "used_at_humidity_percent": used, "measure": key, "value": value, "unit": unit,
                            "mesh_error": mesh_error(fine[key], coarse[key]), "rim_g": rim_grams(row),
                            "per_100_g_of_rim": value * 100 / rim_grams(row),
                        }
                    )  # fmt: skip
    return found


def as_json(study):
    """The whole study for machines."""
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
    return page_data(
        study, label=LABEL, built_at_humidity_percent=study.built, used_at_humidity_percent=list(study.used),
        temperature_c=study.temperature, moisture_change_percent={f"{u:g}": c for u, c in study.changes.items()},
        rim_gap_mm=1e3 * study.rim_gap, builds=builds, measures=records(study), movement_per_percent=woods,
        not_modelled=NOT_MODELLED + OWN_LIMITS,
    )  # fmt: skip


def write_report(study, out, pictures=True, say=lambda text: None):
    """Write page, tables and pictures into the folder `out`; returns the paths."""
    drawn = draw(study, out, say) if pictures else []
    title = f"{study.body.name}: what the seasons do to the box"
    return write("weather", title, as_json(study), answer(study), tables(study), records(study), out, drawn)
