"""The page of a sweep: three plain sentences first, then main effects, paired rim builds and what cannot be bettered."""

from pathlib import Path

import numpy as np
from markupsafe import Markup

from studies.common import cautions
from studies.common.files import Plain, program
from studies.common.inputs import source_of
from studies.common.page import write_page
from studies.sweep.charts import dots_chart, effect_chart, parallel_chart
from studies.sweep.design import variants as all_variants
from studies.sweep.fields import Plan
from studies.sweep.kit import source
from studies.sweep.numbers import Effect, SweepTable, effects, front, main_effect, sweep_table
from studies.sweep.paired import paired_builds, paired_notes
from studies.sweep.plan import Sweep
from studies.sweep.store import Store
from studies.sweep.words import LEADS, ON_AXES, SCALE, WORDS, answer, label, leads, observed

MOST_DOTS, MOST_LINES = 3000, 200


def write_sweep_page(sweep: Sweep, keys: dict[int, str], store: Store, out: Path) -> Path:
    """Write index.html into the folder `out`; returns its path."""
    plan, variants = sweep.plan, all_variants(sweep.plan)
    table = sweep_table(sweep, variants, keys, store)
    lead = leads(plan)[0].output
    outputs = dict.fromkeys([*(lead.output for lead in leads(plan)), *LEADS])  # the leading ones first
    explained = {name: effects(table, name) for name in outputs} if len(table) else {}
    return write_page(Path(out) / "index.html", "sweep/page.html.j2", {
        "title": f"{plan.name}: what matters for the rim",
        "plan": plan, "sheet": sweep.sheet.name, "label": label(plan), "rows": len(table), "all": len(keys),
        "answer": answer(plan, table, explained) if len(table) else ["There are no rows yet."],
        "notes": note_names(sweep), "paired_notes": paired_notes(variants, keys, store) if plan.plucked else [],
        "effects": {output_words(plan, name): value for name, value in explained.items()},
        "charts": main_charts(table, explained[lead][0], lead) if len(table) else [], "paired": paired_builds(table),
        "fronts": fronts(plan, table), "lines": parallel(table, lead), "shade": WORDS[lead],
        "observed": observed(store, keys), "cautions": cautions.RIM, "provenance": sweep_provenance(sweep, store, keys),
    })  # fmt: skip


def output_words(plan: Plan, name: str) -> str:
    """What an output is, those of the dry box so called beside plucked notes."""
    dry = plan.plucked and name in LEADS and name != "rim_g"
    return f"{WORDS[name]} (dry box, short tap)" if dry else WORDS[name]


def axis_words(output: str) -> str:
    """What an output is, short enough for an axis."""
    return next((words for name, words in ON_AXES.items() if output.startswith(name)), WORDS[output])


def note_names(sweep: Sweep) -> str:
    """'string 6 open, string 6 fret 2, ...', strings counted from the highest; '' without plucked notes."""
    count = len(sweep.strings)
    names = (f"string {count - i} {'open' if fret == 0 else f'fret {fret}'}" for i, fret in sweep.notes_at)
    return ", ".join(names)


def main_charts(table: SweepTable, ranked: list[Effect], lead: str) -> list[Markup]:
    """SVG of the leading output over every factor, in the order of their effect."""
    charts = []
    for e in ranked:
        rows = main_effect(table, e.name, lead)
        if rows:
            word = column_words(table, e.name)
            charts.append(Markup(effect_chart(rows, word, axis_words(lead), SCALE.get(lead, 1))))
    return charts


def column_words(table: SweepTable, name: str) -> str:
    """Name of a chart's axis; a scatter is shown over its density."""
    column = table.columns.get(name)
    return (
        f"{name}: density, standard deviations"
        if column is not None and column.ndim == 2 and column.shape[1] > 1
        else name
    )


def fronts(plan: Plan, table: SweepTable) -> list[tuple[str, str, Markup]]:
    """[(heading, caption, SVG)]: grams of the rim against the heat in it, and against how long notes last."""
    first, *others = leads(plan)
    pairs = [(first.output, "Grams against heat", "turns less heat in it", 1)]
    pairs += [(lead.output, "Grams against sustain", "lets notes last longer", -1) for lead in others]
    charts = [(heading, better, front_chart(table, output, sign)) for output, heading, better, sign in pairs]
    caption = "Ringed: no other variant is lighter in the rim and at the same time {}."
    return [(heading, caption.format(better), chart) for heading, better, chart in charts if chart]


def front_chart(table: SweepTable, output: str = "heat_in_rim", sign: int = 1) -> Markup | None:
    """SVG of grams against an output with the rows that no other betters, or None. sign 1: less is better; -1: more."""
    if not len(table):
        return None
    x, y = table.outputs["rim_g"], SCALE.get(output, 1) * table.outputs[output]
    use = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if len(use) < 2:
        return None
    best = [int(use[i]) for i in front(x[use], sign * y[use])]
    some = use if len(use) <= MOST_DOTS else np.random.default_rng(0).choice(use, MOST_DOTS, replace=False)
    shown = np.array(list(dict.fromkeys([*some.tolist(), *best])))
    place = {int(row): i for i, row in enumerate(shown)}
    chart = dots_chart(
        x[shown], y[shown], table.rim[shown].tolist(), [place[i] for i in best], WORDS["rim_g"], axis_words(output)
    )
    return Markup(chart)


def parallel(table: SweepTable, lead: str = "heat_in_rim") -> Markup | None:
    """SVG of parallel coordinates of some rows, dark where the leading output is large, or None."""
    values = table.outputs.get(lead, np.array([]))
    use = np.flatnonzero(np.isfinite(values))
    if len(use) < 2:
        return None
    if len(use) > MOST_LINES:
        use = np.sort(np.random.default_rng(0).choice(use, MOST_LINES, replace=False))
    columns = {}
    for name, column in table.columns.items():
        if column.ndim == 2:
            columns[name if column.shape[1] == 1 else f"{name} (density)"] = column[use, 0]
    if len(builds := list(dict.fromkeys(table.rim))) > 1:
        columns["rim build (number)"] = np.array([builds.index(r) + 1.0 for r in table.rim[use]])
    columns |= {axis_words(n): SCALE.get(n, 1) * table.outputs[n][use] for n in ("rim_g", lead)}
    shade = np.argsort(np.argsort(values[use])) / max(1, len(use) - 1)
    return Markup(parallel_chart(columns, shade))


def sweep_provenance(sweep: Sweep, store: Store, keys: dict[int, str]) -> dict[str, Plain]:
    """{what: value} that lets somebody compute the same again."""
    plan = sweep.plan
    methods = [m for _, _, m, _, _ in store.summaries(keys.values())]
    return {
        **program(source_of(sweep.sheet)),
        "model_version": source(),
        "plan": sweep.path.name,
        "design": f"{plan.design.kind}, seed {plan.seed}, {plan.design.samples} samples",
        "mesh_size_mm": [plan.mesh_size_mm],
        "modes": plan.modes,
        **({"strings": f"{plan.sustain.strings}, {len(sweep.notes_at)} notes"} if plan.plucked else {}),
        "rows_by_the_reduced_model": methods.count("reduced"),
        "rows_solved_in_full": methods.count("full"),
    }
