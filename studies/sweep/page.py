"""The page of a sweep: three plain sentences first, then main effects, paired rim builds and what cannot be bettered."""

from pathlib import Path

import numpy as np

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
from studies.sweep.words import LEADS, ON_AXES, SCALE, WORDS, leads, observed, sweep_answer, sweep_label

MOST_DOTS, MOST_LINES = 3000, 200


def write_sweep_page(sweep: Sweep, keys: dict[int, str], store: Store, out: Path) -> Path:
    """Write index.html into the folder `out`; returns its path."""
    plan, variants = sweep.plan, all_variants(sweep.plan)
    table = sweep_table(sweep, variants, keys, store)
    lead = leads(plan)[0].output
    outputs = dict.fromkeys([*(lead.output for lead in leads(plan)), *LEADS])  # the leading ones first
    explained = {name: effects(table, name) for name in outputs if len(table)}
    ranked = explained[lead][0] if explained else []
    return write_page(Path(out) / "index.html", "sweep/page.html.j2", {
        "source": source_of(sweep.sheet), "title": f"{plan.name}: what matters for the rim",
        "plucked": plan.plucked, "builds": plan.rim.builds, "sheet": sweep.sheet.name, "label": sweep_label(plan), "rows": len(table), "all": len(keys),
        "answer": sweep_answer(plan, table, explained) if len(table) else ["There are no rows yet."],
        "notes": note_names(sweep), "paired_notes": paired_notes(variants, keys, store) if plan.plucked else [],
        "effects": {output_words(plan, name): value for name, value in explained.items()},
        "charts": main_charts(table, ranked, lead), "paired": paired_builds(table),
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


def main_charts(table: SweepTable, ranked: list[Effect], lead: str) -> list[str]:
    """SVG of the leading output over every factor, in the order of their effect."""
    rows = {e.name: main_effect(table, e.name, lead) for e in ranked}
    words = {name: column_words(table, name) for name in rows}
    return [effect_chart(rows[name], words[name], axis_words(lead), SCALE[lead]) for name in rows]


def column_words(table: SweepTable, name: str) -> str:
    """Name of a chart's axis; a scatter is shown over its density."""
    drawn = name in table.columns and table.columns[name][:1].size > 1
    return f"{name}: density, standard deviations" if drawn else name


def fronts(plan: Plan, table: SweepTable) -> list[tuple[str, str, str]]:
    """[(heading, caption, SVG)]: grams of the rim against the heat in it, and against how long notes last."""
    kinds = (
        ("Grams against heat", "turns less heat in it", 1),
        ("Grams against sustain", "lets notes last longer", -1),
    )
    caption = "Ringed: no other variant is lighter in the rim and at the same time {}."
    charts = [
        (heading, caption.format(better), front_chart(table, lead.output, sign))
        for lead, (heading, better, sign) in zip(leads(plan), kinds)
    ]
    return [(heading, words, chart) for heading, words, chart in charts if chart]


def front_chart(table: SweepTable, output: str, sign: int) -> str:
    """SVG of grams against an output with the rows that no other betters, or ''. sign 1: less is better; -1: more."""
    x, y = table.outputs["rim_g"], SCALE[output] * table.outputs[output]
    use = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if len(use) < 2:
        return ""
    best = use[front(x[use], sign * y[use])].tolist()
    some = use if len(use) <= MOST_DOTS else np.random.default_rng(0).choice(use, MOST_DOTS, replace=False)
    shown = list(dict.fromkeys([*some.tolist(), *best]))
    ringed = [shown.index(row) for row in best]
    return dots_chart(x[shown], y[shown], table.rim[shown].tolist(), ringed, WORDS["rim_g"], axis_words(output))


def parallel(table: SweepTable, lead: str) -> str:
    """SVG of parallel coordinates of some rows, dark where the leading output is large, or ''."""
    values = table.outputs[lead]
    use = np.flatnonzero(np.isfinite(values))
    if len(use) < 2:
        return ""
    if len(use) > MOST_LINES:
        use = np.sort(np.random.default_rng(0).choice(use, MOST_LINES, replace=False))
    numbers = {name: column for name, column in table.columns.items() if column.ndim == 2}
    columns = {n if c.shape[1] == 1 else f"{n} (density)": c[use, 0] for n, c in numbers.items()}
    if len(builds := list(dict.fromkeys(table.rim))) > 1:
        columns["rim build (number)"] = np.array([builds.index(r) + 1.0 for r in table.rim[use]])
    columns |= {axis_words(n): SCALE[n] * table.outputs[n][use] for n in ("rim_g", lead)}
    return parallel_chart(columns, np.argsort(np.argsort(values[use])) / (len(use) - 1))


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
