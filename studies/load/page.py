"""The load study as tables for machines."""

from studies.common.at_rest import told_build, told_figure
from studies.common.files import Plain
from studies.load.readings import MEASURES, WIDTH
from studies.load.result import Load
from studies.load.words import bound, scaled


def records(study: Load) -> list[dict[str, Plain]]:
    """One dict per build and measure."""
    errors, rows = study.errors, []
    for row in study.rows:
        for key, value in row.measures.items():
            words, unit, factor = MEASURES.get(key, (key.replace("/", ", ") + " edge", "mm", 1e3))
            figure = told_figure(row, factor * value, unit, abs(factor) * errors[key])
            rows.append({"build": row.build.name, "measure": key, "what": words, **figure})
    return rows


def found(study: Load) -> dict[str, Plain]:
    """What the JSON file holds of the study."""
    builds = [
        {
            **told_build(row), **scaled(row),
            "width_change_mm": {k.removeprefix(WIDTH): 1e3 * v for k, v in row.measures.items() if k.startswith(WIDTH)},
            "frequency_ratio": row.frequency_ratio.tolist(),
            "frequency_shift_bound": bound(row.bound),
            "energy_balance": row.balance,
        }
        for row in study.rows
    ]  # fmt: skip
    return {
        "strings": [{"name": p.name, "tension_N": p.tension} for p in study.pulls],
        "frequency_hz": study.frequency.tolist(), "builds": builds, "measures": records(study),
    }  # fmt: skip
