"""What a sweep says: what will be done and what to mind, the sentences of its answer, the errors that were observed."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil

from studies.common.words import rough_percent
from studies.sweep.design import Variant
from studies.sweep.design import variants as all_variants
from studies.sweep.engine import open_address
from studies.sweep.fields import Plan
from studies.sweep.numbers import SMALL, Effect, SweepTable, effects, sweep_table
from studies.sweep.plan import Sweep
from studies.sweep.result import SHORT, Check
from studies.sweep.store import Store

ROW_BYTES = 7000  # of a row of 30 modes and 15 parts in the store
SYNCED = (
    "dropbox", "onedrive", "google drive", "googledrive", "icloud", "nextcloud", "owncloud", "seafile", "syncthing",
)  # fmt: skip
NETWORK = ("nfs", "nfs4", "cifs", "smbfs", "smb3", "sshfs", "fuse.sshfs", "afs", "9p", "davfs")
DRY_LABEL = "without air, radiation and strings: heat in the rim is an upper estimate; how long notes last: `rimwork sustain` answers that"
PLUCKED_LABEL = (
    "plucked notes with the air inside and outside, {}; shares and frequencies of single modes are those of the dry box"
)
LEADS = ("heat_in_rim", "mean_loss_factor", "rim_g")  # outputs whose spread is explained
OF_NOTES = {  # medians over the notes
    "decay_s": "time in which notes fall by 60 dB, s",
    "early_decay_s": "early decay time of the notes, s",
    "pluck_in_rim": "pluck's energy turned to heat in the rim, %",
    "pluck_radiated": "pluck's energy radiated, %",
    "no_rim_loss_ratio": "times longer notes if the rim had no loss",
}
WORDS = {
    "heat_in_rim": "heat turned in the rim, %",
    "stored_in_rim": "stored in the rim, %",
    "no_loss_gain": "longer ringing if the rim had no loss, %",
    "mean_loss_factor": "mean loss factor",
    "rim_g": "weight of the rim with blocks, g",
    "first_hz": "first mode, Hz",
} | {f"{name}_{short}": f"{what} ({how})" for name, what in OF_NOTES.items() for how, short in SHORT.items()}
SCALE = {name: 100 if ", %" in what else 1 for name, what in WORDS.items()}
ON_AXES = {"pluck_in_rim": "pluck's heat in the rim, %", "decay_s": "notes last (60 dB), s"}


# --- what will be done ---


def announcement(
    sweep: Sweep, variants: list[Variant], todo: list[Variant], out: Path, scheduler: str | None = None
) -> list[str]:
    """Lines that say what will be done, how big it will be, and what to mind."""
    plan = sweep.plan
    varies = [f.name for f in plan.factor] + [s.name for s in plan.scatter]
    played = (
        f"with air, radiation and {len(sweep.notes_at)} plucked notes, {' and '.join(plan.sustain.held)}"
        if plan.plucked
        else "without air, radiation and strings"
    )
    lines = [
        f"'{plan.name}' on {sweep.sheet.name}: {len(variants)} variants, {len(variants) - len(todo)} of them in the store already",
        f"varies: {', '.join(varies) or 'nothing'}; rim builds: {', '.join(plan.rim.builds)}",
        f"{plan.design.kind.replace('_', ' ')} design, seed {plan.seed}; mesh {plan.mesh_size_mm:g} mm, {plan.modes} modes, {played}",
        f"store of about {ROW_BYTES * plan.modes / 30 * len(variants) / 1e6:.0f} MB in {out}, and 50 to 200 MB for each reduced model among the kept results",
    ]
    return lines + [f"mind: {warning}" for warning in warnings(out, scheduler)]


def warnings(out: Path, scheduler: str | None = None) -> list[str]:
    """What may stop a sweep, battery, sleep, synced folders and network disks, or open it to others: a plain scheduler."""
    lines = [mind] if scheduler and (mind := open_address(scheduler)) else []
    path = Path(out).resolve()
    if any(name in part.lower() for part in path.parts for name in SYNCED):
        lines.append(f"{path} looks like a synced folder: syncing may lock or copy the store while it is written")
    if (kind := filesystem(path)) in NETWORK:
        lines.append(f"{path} lies on a network disk ({kind}): the store needs a local disk")
    if (battery := psutil.sensors_battery() if hasattr(psutil, "sensors_battery") else None) is not None:
        if not battery.power_plugged:
            lines.append(f"on battery, {battery.percent:.0f} % left: plug in the mains")
        lines.append(
            "a portable computer may go to sleep: switch sleep off for the night; the same command goes on later"
        )
    return lines


def filesystem(path: Path) -> str:
    """Type of the file system that holds a path, '' where the system does not tell."""
    above = [p for p in psutil.disk_partitions(all=True) if path.is_relative_to(p.mountpoint)]
    return max(above, key=lambda p: len(p.mountpoint)).fstype if above else ""


# --- the answer ---


@dataclass(frozen=True)
class Lead:
    """The output that a sweep's page opens with."""

    output: str
    what: str  # in a sentence
    unit: str


def leads(plan: Plan) -> tuple[Lead, ...]:
    """The heat in the rim, of plucked notes where there are any, and then how long they last."""
    if not plan.plucked:
        return (Lead("heat_in_rim", "the heat turned in the rim", "%"),)
    how = plan.sustain.held[0]
    return (
        Lead(f"pluck_in_rim_{SHORT[how]}", f"the share of a pluck's energy turned to heat in the rim ({how})", "%"),
        Lead(f"decay_s_{SHORT[how]}", f"how long a plucked note lasts ({how}, 60 dB, median of the notes)", "s"),
    )


def sweep_label(plan: Plan) -> str:
    """What the numbers hold and what they do not."""
    return PLUCKED_LABEL.format(" and ".join(plan.sustain.held)) if plan.plucked else DRY_LABEL


def sweep_answer(plan: Plan, table: SweepTable, explained: dict[str, tuple[list[Effect], float]]) -> list[str]:
    """Plain sentences: what matters most, what does not, what is uncertain. explained: {output: effects of it}."""
    first, *others = leads(plan)
    lines = sentences(table, *explained[first.output], first)
    for lead in others:
        words = sentences(table, *explained[lead.output], lead)[0]
        rest = explained[lead.output][1]
        more = f" The fit leaves {rough_percent(rest)} of that spread unexplained." if rest > SMALL else ""
        lines.insert(min(2, len(lines)), words + more)
    return lines


def sentences(table: SweepTable, ranked: list[Effect], rest: float, lead: Lead) -> list[str]:
    """Three plain sentences: what matters most, what does not, what is uncertain."""
    y = table.outputs[lead.output]
    y = SCALE[lead.output] * y[np.isfinite(y)]
    if not len(y):
        return ["Loss factors are not known for every part, so nothing can be said of heat."]
    low, high = np.percentile(y, [5, 95])
    spread = f"nine tenths of the variants lie between {_number(low)} and {_number(high)} {lead.unit}"
    if not ranked:
        return [f"Within the ranges entered, nothing changes {lead.what}: {_number(float(np.median(y)))} {lead.unit}."]
    top = ranked[0]
    lines = [
        f"Within the ranges entered, {top.name} matters most for {lead.what}: alone and with others it accounts for "
        f"{rough_percent(top.total)} of its spread ({rough_percent(top.total_low)} to {rough_percent(top.total_high)}); {spread}."
    ]
    small, little = rough_percent(SMALL), ", ".join(e.name for e in ranked if e.total_high < SMALL)
    if little:
        lines.append(f"{little}: less than {small} of the spread each, so within these ranges they hardly matter.")
    else:
        lines.append(f"Nothing is shown to be without effect: each may account for {small} of the spread or more.")
    uncertain = [f"{rough_percent(rest)} of the spread is not explained by straight lines, squares and products"]
    if len(ranked) > 1 and ranked[1].total_high > top.total_low:
        uncertain.append(f"{top.name} and {ranked[1].name} cannot be put in order")
    lines.append(
        f"Uncertain: {'; '.join(uncertain)}; the loss factors of joints and linings are hardly measured anywhere, and no number of "
        "variants makes up for that."
    )
    return lines


def _number(value: float) -> str:
    """'12.3'; below one with two decimals."""
    return f"{value:.1f}" if abs(value) >= 1 else f"{value:.2f}"


def sweep_text(sweep: Sweep, keys: dict[int, str], store: Store) -> str:
    """The answer for the terminal."""
    table = sweep_table(sweep, all_variants(sweep.plan), keys, store)
    if not len(table):
        return "no rows"
    lines = [f"{sweep.plan.name}: {len(table)} of {len(keys)} variants, {sweep_label(sweep.plan)}", ""]
    lines += sweep_answer(sweep.plan, table, {lead.output: effects(table, lead.output) for lead in leads(sweep.plan)})
    return "\n".join([*lines, "", observed(store, keys)])


# --- errors ---


def observed(store: Store, keys: dict[int, str]) -> str:
    """The observed error of reduced rows in words."""
    wanted = set(keys.values())
    checks = [c for key, c in store.checks().items() if key in wanted]
    if not checks:
        return "no reduced row was checked against a full solve"
    frequency = 100 * max(c.frequency_error for c in checks)
    shares = [100 * e for c in checks for e in (c.strain_error, c.heat_error) if e is not None]
    counted = [c for c in checks if c.modes_below is not None]
    wrong = sum(c.modes_below != c.modes_expected for c in counted)
    return (
        f"{len(checks)} rows checked against full solves: frequencies off by {frequency:.3f} % at most"
        + (f", any part's share in any mode by {max(shares):.2f} points at most" if shares else "")
        + decay_errors(checks)
        + f"; modes counted by inertia in {len(counted)} rows, {wrong} of them with modes missed"
    )


def decay_errors(checks: list[Check]) -> str:
    """', decay times of single notes by 1.2 % at most, their median by 0.1 %', or nothing."""
    errors = [(c.decay_error, c.median_decay_error or 0.0) for c in checks if c.decay_error is not None]
    if not errors:
        return ""
    note, median = (100 * max(v) for v in zip(*errors))
    return f", decay times of single notes by {note:.2f} % at most, their median by {median:.2f} %"
