"""The page of a night: three plain sentences first, then main effects, paired rim builds and what cannot be bettered."""

import platform
from datetime import date
from importlib.metadata import version
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, select_autoescape
from markupsafe import Markup

from studies.modes import rimwork_version
from studies.night_charts import dots_chart, effect_chart, parallel_chart
from studies.night_design import variants as all_variants
from studies.night_kit import MODEL_VERSION
from studies.night_numbers import SMALL, effects, frame, front, main_effect, paired
from studies.rim_report import CAUTIONS

LABEL = "without air, radiation and strings: heat in the rim is an upper estimate; does not yet answer sustain"
MOST_DOTS, MOST_LINES = 3000, 200
LEADS = ("heat_in_rim", "mean_loss_factor", "rim_g")  # outputs whose spread is explained
WORDS = {
    "heat_in_rim": "heat turned in the rim, %",
    "stored_in_rim": "stored in the rim, %",
    "no_loss_gain": "longer ringing if the rim had no loss, %",
    "mean_loss_factor": "mean loss factor",
    "rim_g": "weight of the rim, g",
    "first_hz": "first mode, Hz",
}
SCALE = {"heat_in_rim": 100, "stored_in_rim": 100, "no_loss_gain": 100}
PROVENANCE = ("numpy", "scipy", "scikit-fem", "gmsh")


def sentences(data, found):
    """Three plain sentences: what matters most, what does not, what is uncertain. found: (Effects, rest) of the heat."""
    (ranked, rest), y = found, data.outputs.get("heat_in_rim")
    if y is None or not np.isfinite(y).any():
        return ["Loss factors are not known for every part, so nothing can be said of heat."]
    y = 100 * y[np.isfinite(y)]
    low, high = np.percentile(y, [5, 95])
    spread = f"nine tenths of the variants lie between {low:.1f} and {high:.1f} %"
    if not ranked:
        return [f"Within the ranges entered, nothing changes the heat turned in the rim: {np.median(y):.1f} %."]
    top = ranked[0]
    lines = [
        f"Within the ranges entered, {top.name} matters most for the heat turned in the rim: it accounts for {share(top.total)} of "
        f"its spread ({share(top.total_low)} to {share(top.total_high)}); {spread}."
    ]
    little = [e.name for e in ranked if e.total_high < SMALL]
    if little:
        lines.append(
            f"{', '.join(little)}: less than {share(SMALL)} of the spread each, so within these ranges they hardly matter."
        )
    else:
        lines.append(
            f"Nothing that varies is without effect: each may account for {share(SMALL)} of the spread or more."
        )
    doubt = [f"{share(rest)} of the spread is not explained by straight lines, squares and products"]
    if len(ranked) > 1 and ranked[1].total_high > top.total_low:
        doubt.append(f"{top.name} and {ranked[1].name} cannot be put in order")
    lines.append(
        f"Uncertain: {'; '.join(doubt)}; the loss factors of joints and linings are hardly measured anywhere, and no number of "
        "variants makes up for that."
    )
    return lines


def share(value):
    """'41 %'; below one per cent with a decimal."""
    value = 100 * max(0.0, value)
    return f"{value:.0f} %" if value >= 1 else f"{value:.1f} %"


def text(night, keys, store):
    """The answer for the terminal."""
    from studies.sweep import observed

    data = frame(night, all_variants(night.plan), keys, store)
    if not len(data):
        return "no rows"
    lines = [f"{night.plan.name}: {len(data)} of {len(keys)} variants, {LABEL}", ""]
    lines += sentences(data, effects(data, "heat_in_rim"))
    lines += ["", observed(store, keys)]
    return "\n".join(lines)


def write_page(night, keys, store, out):
    """Write index.html into the folder `out`; returns its path."""
    from studies.sweep import observed

    data = frame(night, all_variants(night.plan), keys, store)
    found = {name: effects(data, name) for name in LEADS} if len(data) else {}
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).with_name("templates")), autoescape=select_autoescape(["html", "j2"])
    )
    environment.filters |= {"share": share}
    page = Path(out) / "index.html"
    page.write_text(
        environment.get_template("night.html.j2").render(
            plan=night.plan, sheet=night.sheet.name, label=LABEL, rows=len(data), all=len(keys),
            answer=sentences(data, found["heat_in_rim"]) if len(data) else ["There are no rows yet."],
            effects={WORDS[name]: value for name, value in found.items()},
            charts=main_charts(data, found) if len(data) else [], paired=paired(data) if len(data) else [],
            front=front_chart(data) if len(data) else None, lines=parallel(data) if len(data) else None,
            observed=observed(store, keys), cautions=CAUTIONS, provenance=provenance(night, store, keys),
        ),
        encoding="utf-8",
    )  # fmt: skip
    return page


def main_charts(data, found):
    """SVG of the heat in the rim over every factor, in the order of their effect."""
    ranked, _ = found["heat_in_rim"]
    charts = []
    for e in ranked:
        rows = main_effect(data, e.name, "heat_in_rim")
        if rows:
            word = column_words(data, e.name)
            charts.append(Markup(effect_chart(rows, word, WORDS["heat_in_rim"], 100)))
    return charts


def column_words(data, name):
    """Name of a chart's axis; a scatter is shown over its density."""
    column = data.columns.get(name)
    return (
        f"{name}: density, standard deviations"
        if column is not None and column.ndim == 2 and column.shape[1] > 1
        else name
    )


def front_chart(data):
    """SVG of grams against heat with the rows that no other betters, or None."""
    x, y = data.outputs["rim_g"], 100 * data.outputs["heat_in_rim"]
    use = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if len(use) < 2:
        return None
    best = [int(use[i]) for i in front(x[use], y[use])]
    some = use if len(use) <= MOST_DOTS else np.random.default_rng(0).choice(use, MOST_DOTS, replace=False)
    shown = np.array(list(dict.fromkeys([*some.tolist(), *best])))
    place = {int(row): i for i, row in enumerate(shown)}
    chart = dots_chart(
        x[shown], y[shown], data.rim[shown].tolist(), [place[i] for i in best], WORDS["rim_g"], WORDS["heat_in_rim"]
    )
    return Markup(chart)


def parallel(data):
    """SVG of parallel coordinates of some rows, dark where much heat turns in the rim, or None."""
    heat = data.outputs["heat_in_rim"]
    use = np.flatnonzero(np.isfinite(heat))
    if len(use) < 2:
        return None
    if len(use) > MOST_LINES:
        use = np.sort(np.random.default_rng(0).choice(use, MOST_LINES, replace=False))
    columns = {}
    for name, column in data.columns.items():
        if column.ndim == 2:
            columns[name if column.shape[1] == 1 else f"{name} (density)"] = column[use, 0]
    if len(builds := list(dict.fromkeys(data.rim))) > 1:
        columns["rim build (number)"] = np.array([builds.index(r) + 1.0 for r in data.rim[use]])
    columns |= {WORDS[n]: SCALE.get(n, 1) * data.outputs[n][use] for n in ("rim_g", "heat_in_rim")}
    shade = np.argsort(np.argsort(heat[use])) / max(1, len(use) - 1)
    return Markup(parallel_chart(columns, shade))


def provenance(night, store, keys):
    """{what: value} that lets somebody compute the same again."""
    plan = night.plan
    methods = [m for _, _, m, _, _ in store.summaries(keys.values())]
    return {
        "rimwork": rimwork_version(),
        "model version": MODEL_VERSION,
        "plan": night.path.name,
        "sheet": night.sheet.name,
        "date": date.today().isoformat(),
        "python": platform.python_version(),
        **{name: version(name) for name in PROVENANCE},
        "design": f"{plan.design.kind}, seed {plan.seed}, {plan.design.samples} samples",
        "mesh size": f"{plan.mesh_size_mm:g} mm",
        "modes": plan.modes,
        "rows by the reduced model": methods.count("reduced"),
        "rows solved in full": methods.count("full"),
    }
