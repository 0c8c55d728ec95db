"""The weather study as tables for machines."""

from fem.moisture import ROOM
from meshes.swelling import movements
from studies.common.at_rest import told_build, told_figure
from studies.common.files import Plain
from studies.weather.result import Weather
from studies.weather.words import errors, gap_stress, shape_values, stress_values


def records(study: Weather) -> list[dict[str, Plain]]:
    """One dict per build, humidity and measure."""
    rows: list[dict[str, Plain]] = []
    for used in study.used:
        air: dict[str, Plain] = {"built_at_humidity_percent": study.built, "used_at_humidity_percent": used}
        for values, unit in ((shape_values, "mm"), (stress_values, "MPa")):
            error = errors(study, values, used)
            rows += [
                {"build": row.build.name, **air, "measure": key, **told_figure(row, value, unit, error[key])}
                for row in study.rows
                for key, value in values(study, row, used).items()
            ]
    return rows


def found(study: Weather) -> dict[str, Plain]:
    """What the JSON file holds of the study."""
    builds = []
    for row in study.rows:
        builds.append(told_build(row) | {"energy_balance": row.balance})
        if study.rim_gap:
            force, stress = study.rim_gap * row.closing, 1e-6 * gap_stress(study, row)
            builds[-1] |= {"closing_force_N": force, "gap_stress_top_MPa": stress}
    woods: dict[str, Plain] = {
        name: {
            "along": m.along, "radial": m.radial, "tangential": m.tangential, "strength_across_Pa": m.strength,
            "sources": m.sources,
        }
        for name, m in movements(study.body).items()
    }  # fmt: skip
    return {
        "built_at_humidity_percent": study.built, "used_at_humidity_percent": study.used, "temperature_c": ROOM,
        "moisture_change_percent": {f"{used:g}": change for used, change in study.changes.items()},
        "rim_gap_mm": 1e3 * study.rim_gap, "builds": builds, "measures": records(study), "movement_per_percent": woods,
    }  # fmt: skip
