"""The page of a night: three plain sentences first, then main effects, paired rim builds and what cannot be bettered."""

import platform
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, select_autoescape
from markupsafe import Markup

from studies.common.machine import rimwork_version
from studies.common.page import CAUTIONS
from studies.sweep.charts import dots_chart, effect_chart, parallel_chart
from studies.sweep.design import variants as all_variants
from studies.sweep.numbers import SMALL, effects, frame, front, main_effect, paired
from studies.sweep.paired import paired_notes
from studies.sweep.rows import MODEL_VERSION, SHORT

LABEL = "without air, radiation and strings: heat in the rim is an upper estimate; how long notes last: `rimwork sustain` answers that"
PLUCKED = (
    "plucked notes with the air inside and outside, {}; shares and frequencies of single modes are those of the dry box"
)
MOST_DOTS, MOST_LINES = 3000, 200
LEADS = ("heat_in_rim", "mean_loss_factor", "rim_g")  # outputs whose spread is explained
OF_NOTES = {  # {median over the notes: (what it is, scale)}
    "decay_s": ("time in which notes fall by 60 dB, s", 1),
    "early_decay_s": ("early decay time of the notes, s", 1),
    "pluck_in_rim": ("pluck's energy turned to heat in the rim, %", 100),
    "pluck_radiated": ("pluck's energy radiated, %", 100),
    "no_rim_loss_ratio": ("times longer notes if the rim had no loss", 1),
}
WORDS = {
    "heat_in_rim": "heat turned in the rim, %",
    "stored_in_rim": "stored in the rim, %",
    "no_loss_gain": "longer ringing if the rim had no loss, %",
    "mean_loss_factor": "mean loss factor",
    "rim_g": "weight of the rim with blocks, g",
    "first_hz": "first mode, Hz",
}
SCALE = {"heat_in_rim": 100, "stored_in_rim": 100, "no_loss_gain": 100}
ON_AXES = {"pluck_in_rim": "pluck's heat in the rim, %", "decay_s": "notes last (60 dB), s"}


for _name, (_words, _scale) in OF_NOTES.items():
    for _how, _short in SHORT.items():
        WORDS[f"{_name}_{_short}"], SCALE[f"{_name}_{_short}"] = f"{_words} ({_how})", _scale

PROVENANCE = ("numpy", "scipy", "scikit-fem", "gmsh")


@dataclass(frozen=True)
class Lead:
    """The output that a night's page opens with."""

    output: str
    what: str  # in a sentence
    unit: str


def leads(plan):
    """(Lead, ...): the heat in the rim, of plucked notes where there are any, and then how long they last."""
    if not plan.plucked:
        return (Lead("heat_in_rim", "the heat turned in the rim", "%"),)
    how = plan.sustain.held[0]
    return (
        Lead(f"pluck_in_rim_{SHORT[how]}", f"the share of a pluck's energy turned to heat in the rim ({how})", "%"),
        Lead(f"decay_s_{SHORT[how]}", f"how long a plucked note lasts ({how}, 60 dB, median of the notes)", "s"),
    )


def label(plan):
    """What the numbers hold and what they do not."""
    return PLUCKED.format(" and ".join(plan.sustain.held)) if plan.plucked else LABEL


def outputs(plan):
    """Outputs whose spread is explained, the leading ones first."""
    return tuple(dict.fromkeys([*(lead.output for lead in leads(plan)), *LEADS]))


def answer(plan, data, found):
    """Plain sentences: what matters most, what does not, what is uncertain. found: {output: (Effects, rest)}."""
    first, *others = leads(plan)
    lines = sentences(data, found[first.output], first)
    for lead in others:
        words = sentences(data, found[lead.output], lead)[0]
        rest = found[lead.output][1]
        more = f" The fit leaves {share(rest)} of that spread unexplained." if rest > SMALL else ""
        lines.insert(min(2, len(lines)), words + more)
    return lines


def sentences(data, found, lead):
    """Three plain sentences: what matters most, what does not, what is uncertain. found: (Effects, rest) of the Lead."""
    (ranked, rest), y = found, data.outputs.get(lead.output)
    if y is None or not np.isfinite(y).any():
        return ["Loss factors are not known for every part, so nothing can be said of heat."]
    y = SCALE.get(lead.output, 1) * y[np.isfinite(y)]
    low, high = np.percentile(y, [5, 95])
    spread = f"nine tenths of the variants lie between {number(low)} and {number(high)} {lead.unit}"
    if not ranked:
        return [f"Within the ranges entered, nothing changes {lead.what}: {number(np.median(y))} {lead.unit}."]
    top = ranked[0]
    lines = [
        f"Within the ranges entered, {top.name} matters most for {lead.what}: alone and with others it accounts for "
        f"{share(top.total)} of its spread ({share(top.total_low)} to {share(top.total_high)}); {spread}."
    ]
    little = [e.name for e in ranked if e.total_high < SMALL]
    if little:
        lines.append(
            f"{', '.join(little)}: less than {share(SMALL)} of the spread each, so within these ranges they hardly matter."
        )
    else:
        lines.append(
            f"Nothing is shown to be without effect: each may account for {share(SMALL)} of the spread or more."
        )
    doubt = [f"{share(rest)} of the spread is not explained by straight lines, squares and products"]
    if len(ranked) > 1 and ranked[1].total_high > top.total_low:
        doubt.append(f"{top.name} and {ranked[1].name} cannot be put in order")
    lines.append(
        f"Uncertain: {'; '.join(doubt)}; the loss factors of joints and linings are hardly measured anywhere, and no number of "
        "variants makes up for that."
    )
    return lines


def number(value):
    """'12.3'; below one with two decimals."""
    return f"{value:.1f}" if abs(value) >= 1 else f"{value:.2f}"


def share(value):
    """'41 %'; below one per cent with a decimal."""
    value = 100 * max(0.0, value)
    return f"{value:.0f} %" if value >= 1 else f"{value:.1f} %"


def text(night, keys, store):
    """The answer for the terminal."""
    from studies.sweep.errors import observed

    data = frame(night, all_variants(night.plan), keys, store)
    if not len(data):
        return "no rows"
    lines = [f"{night.plan.name}: {len(data)} of {len(keys)} variants, {label(night.plan)}", ""]
    lines += answer(night.plan, data, {lead.output: effects(data, lead.output) for lead in leads(night.plan)})
    lines += ["", observed(store, keys)]
    return "\n".join(lines)


def write_page(night, keys, store, out):
    """Write index.html into the folder `out`; returns its path."""
    from studies.sweep.errors import observed

    plan, variants = night.plan, all_variants(night.plan)
    data = frame(night, variants, keys, store)
    found = {name: effects(data, name) for name in outputs(plan)} if len(data) else {}
    lead = leads(plan)[0].output
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parents[1]), autoescape=select_autoescape(["html", "j2"])
    )
    environment.filters |= {"share": share}
    page = Path(out) / "index.html"
    page.write_text(
        environment.get_template("sweep/page.html.j2").render(
            plan=plan, sheet=night.sheet.name, label=label(plan), rows=len(data), all=len(keys),
            answer=answer(plan, data, found) if len(data) else ["There are no rows yet."],
            notes=note_names(night), paired_notes=paired_notes(variants, keys, store) if plan.plucked else [],
            effects={dry_words(plan, name): value for name, value in found.items()},
            charts=main_charts(data, found, lead) if len(data) else [], paired=paired(data) if len(data) else [],
            fronts=fronts(plan, data) if len(data) else [], lines=parallel(data, lead) if len(data) else None,
            shade=WORDS[lead],
            observed=observed(store, keys), cautions=CAUTIONS, provenance=provenance(night, store, keys),
        ),
        encoding="utf-8",
    )  # fmt: skip
    return page


def dry_words(plan, name):
    """What an output is, those of the dry box so called beside plucked notes."""
    dry = plan.plucked and name in LEADS and name != "rim_g"
    return f"{WORDS[name]} (dry box, short tap)" if dry else WORDS[name]


def axis_words(output):
    """What an output is, short enough for an axis."""
    return next((words for name, words in ON_AXES.items() if output.startswith(name)), WORDS[output])


def note_names(night):
    """'string 6 open, string 6 fret 2, ...', strings counted from the highest; '' without plucked notes."""
    count = len(night.strings)
    names = (f"string {count - i} {'open' if fret == 0 else f'fret {fret}'}" for i, fret in night.notes_at)
    return ", ".join(names)


def main_charts(data, found, lead):
    """SVG of the leading output over every factor, in the order of their effect."""
    ranked, _ = found[lead]
    charts = []
    for e in ranked:
        rows = main_effect(data, e.name, lead)
        if rows:
            word = column_words(data, e.name)
            charts.append(Markup(effect_chart(rows, word, axis_words(lead), SCALE.get(lead, 1))))
    return charts


def column_words(data, name):
    """Name of a chart's axis; a scatter is shown over its density."""
    column = data.columns.get(name)
    return (
        f"{name}: density, standard deviations"
        if column is not None and column.ndim == 2 and column.shape[1] > 1
        else name
    )


def fronts(plan, data):
    """[(heading, caption, SVG)]: grams of the rim against the heat in it, and against how long notes last."""
    first, *others = leads(plan)
    found = [(first.output, "Grams against heat", "turns less heat in it", 1)]
    found += [(lead.output, "Grams against sustain", "lets notes last longer", -1) for lead in others]
    charts = [(heading, better, front_chart(data, output, sign)) for output, heading, better, sign in found]
    caption = "Ringed: no other variant is lighter in the rim and at the same time {}."
    return [(heading, caption.format(better), chart) for heading, better, chart in charts if chart]


def front_chart(data, output="heat_in_rim", sign=1):
    """SVG of grams against an output with the rows that no other betters, or None. sign 1: less is better; -1: more."""
    x, y = data.outputs["rim_g"], SCALE.get(output, 1) * data.outputs[output]
    use = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if len(use) < 2:
        return None
    best = [int(use[i]) for i in front(x[use], sign * y[use])]
    some = use if len(use) <= MOST_DOTS else np.random.default_rng(0).choice(use, MOST_DOTS, replace=False)
    shown = np.array(list(dict.fromkeys([*some.tolist(), *best])))
    place = {int(row): i for i, row in enumerate(shown)}
    chart = dots_chart(
        x[shown], y[shown], data.rim[shown].tolist(), [place[i] for i in best], WORDS["rim_g"], axis_words(output)
    )
    return Markup(chart)


def parallel(data, lead="heat_in_rim"):
    """SVG of parallel coordinates of some rows, dark where the leading output is large, or None."""
    heat = data.outputs[lead]
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
    columns |= {axis_words(n): SCALE.get(n, 1) * data.outputs[n][use] for n in ("rim_g", lead)}
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
        **({"strings": f"{plan.sustain.strings}, {len(night.notes_at)} notes"} if plan.plucked else {}),
        "rows by the reduced model": methods.count("reduced"),
        "rows solved in full": methods.count("full"),
    }
