"""What matters most for the rim's heat within the ranges a maker enters? Thousands of variants a night, none lost.

A plan says what varies; a reduced model serves the variants in milliseconds and tells its own error; the rest, and a fixed
sample of all, is solved in full. Rows are in the store as soon as their batch is; the same command goes on where it stopped.
"""

import os
import sys
from pathlib import Path

import numpy as np

from studies.common.inputs import BadInput, existing_file, writable_folder
from studies.common.progress import duration
from studies.sweep.bodies import check_builds
from studies.sweep.cells import Cells
from studies.sweep.design import variants as all_variants
from studies.sweep.engine import open_address, open_engine
from studies.sweep.errors import observed
from studies.sweep.kit import prepare, row_key, sheet_print
from studies.sweep.log import Log
from studies.sweep.plan import read_plan
from studies.sweep.solver import Solver
from studies.sweep.store import Store
from studies.sweep.tables import Columns, write_csv, write_parquet

BATCH_SECONDS = 1.0  # of work in a batch
MOST_IN_BATCH = 200
ROW_BYTES = 7000  # of a row of 30 modes and 15 parts in the store
SYNCED = (
    "dropbox",
    "onedrive",
    "google drive",
    "googledrive",
    "icloud",
    "nextcloud",
    "owncloud",
    "seafile",
    "syncthing",
)
NETWORK = ("nfs", "nfs4", "cifs", "smbfs", "smb3", "sshfs", "fuse.sshfs", "afs", "9p", "davfs")


def main(plan, out=None, workers=None, scheduler=None, sheet=None, parquet=False):
    """Run a plan (file or name of a ready one) and write page, tables and log; returns the text for the terminal.

    sheet replaces the plan's base sheet; workers: processes (all cores if None, 1: this process alone); scheduler: address
    of a Dask scheduler. BadInput or SheetError for anything the user has to mend; KeyboardInterrupt after a clean stop.
    """
    from studies.sweep.page import text, write_page

    night = read_plan(plan, sheet and existing_file(sheet))
    check_builds(night)
    out = writable_folder(out or Path("out") / f"{night.path.stem}-night")
    with Store(out) as store:
        log = Log(out / "night.log")
        try:
            rows = run(night, store, out, workers, scheduler, log)
        except KeyboardInterrupt:
            log.say("stopped by hand")
            raise
        log.say("writing page and tables")
        columns = columns_of(night.plan)
        written = [
            write_page(night, rows, store, out),
            write_csv(store.rows(rows.values()), columns, out / "night.csv"),
        ]
        if parquet:
            written.append(write_parquet(store.rows(rows.values()), columns, out / "night.parquet"))
        log.say("done")
        return text(night, rows, store) + "\n\n" + "\n".join(f"wrote {path}" for path in written)


def run(night, store, out, workers=None, scheduler=None, log=None):
    """Compute what the store lacks of a plan and check it; returns {number of a variant: its key}, in order."""
    log = log or Log()
    variants = all_variants(night.plan)
    sheet = sheet_print(night)
    keys = {v.number: row_key(night, sheet, v) for v in variants}
    have = store.keys()
    todo = [v for v in variants if keys[v.number] not in have]
    for line in announcement(night, variants, todo, out, scheduler):
        log.say(line)
    if todo or unchecked(night, store, keys):
        engine = open_engine(workers, scheduler)
        try:
            log.say(f"{engine.workers} {'worker' if engine.workers == 1 else 'workers'}")
            kit = prepare(night, variants, out, lambda items: compute_cells(engine, items, log), log.say)
            for line in kit.words:
                log.say(line)
            solve(engine, Solver(kit, sheet), todo, store, log, len(variants))
            check(engine, Solver(kit, sheet), variants, keys, store, log)
        finally:
            engine.close()
    return keys


def columns_of(plan):
    """Columns of the tables of a plan."""
    boards = tuple(b for s in plan.scatter for b in s.boards)
    return Columns(
        tuple(f.name for f in plan.factor), boards, plan.modes, tuple(plan.sustain.held) if plan.plucked else ()
    )  # fmt: skip


# --- what will be done ---


def announcement(night, variants, todo, out, scheduler=None):
    """Lines that say what will be done, how big it will be, and what to mind."""
    plan = night.plan
    varies = [f.name for f in plan.factor] + [s.name for s in plan.scatter]
    lines = [
        f"'{plan.name}' on {night.sheet.name}: {len(variants)} variants, {len(variants) - len(todo)} of them in the store already",
        f"varies: {', '.join(varies) or 'nothing'}; rim builds: {', '.join(plan.rim.builds)}",
        f"{plan.design.kind.replace('_', ' ')} design, seed {plan.seed}; mesh {plan.mesh_size_mm:g} mm, {plan.modes} modes, "
        + (plucked(night) if plan.plucked else "without air, radiation and strings"),
        f"store of about {ROW_BYTES * plan.modes / 30 * len(variants) / 1e6:.0f} MB in {out}, and 50 to 200 MB beside it for each reduced model",
    ]
    pace = 300 if plan.plucked else 5000  # on two cores
    if todo:
        lines.append(
            f"first the reduced model: some minutes for its full solves; then about {duration(60 * len(todo) / pace)} at {pace} "
            "rows a minute on two cores; the log tells the pace once rows come"
        )
    return lines + [f"mind: {warning}" for warning in warnings(out, scheduler)]


def plucked(night):
    """'with air, radiation and 12 plucked notes, hung free'."""
    return f"with air, radiation and {len(night.notes_at)} plucked notes, {' and '.join(night.plan.sustain.held)}"


def warnings(out, scheduler=None):
    """What may stop a night, battery, sleep, synced folders and network disks, or open it to others: a plain scheduler."""
    found = [mind] if scheduler and (mind := open_address(scheduler)) else []
    path = Path(out).resolve()
    if any(name in part.lower() for part in path.parts for name in SYNCED):
        found.append(f"{path} looks like a synced folder: syncing may lock or copy the store while it is written")
    if (kind := filesystem(path)) in NETWORK:
        found.append(f"{path} lies on a network disk ({kind}): the store needs a local disk")
    try:
        import psutil

        battery = psutil.sensors_battery() if hasattr(psutil, "sensors_battery") else None
    except (ImportError, OSError):
        battery = None
    if battery is not None:
        if not battery.power_plugged:
            found.append(f"on battery, {battery.percent:.0f} % left: plug in the mains")
        found.append(
            "a portable computer may go to sleep: switch sleep off for the night; the same command goes on later"
        )
    return found


def filesystem(path):
    """Type of the file system that holds a path, '' where the system does not tell."""
    try:
        mounts = [line.split()[1:3] for line in Path("/proc/mounts").read_text().splitlines()]
    except OSError:
        return ""
    above = [(point, kind) for point, kind in mounts if path.is_relative_to(point)]
    return max(above, key=lambda m: len(m[0]))[1] if above else ""


# --- work ---


def compute_cells(engine, items, log):
    """Sections of [(body, piece)] in order, computed by the engine; each is kept in the cache of cells as well."""
    found = {}
    if items:
        log.say(f"{len(items)} linings and joints in solid cells (seconds each; kept for the next time)")
    numbered = [(i, *item) for i, item in enumerate(items)]
    for (i, *_), section in engine.run(_Numbered(Cells()), numbered):
        found[i] = section
    return [found[i] for i in range(len(items))]


class _Numbered:
    """A payload whose items carry a number in front."""

    def __init__(self, payload):
        self.payload = payload

    def work(self, item):
        return self.payload.work(item[1:])


class Pace:
    """Cuts variants into batches of about BATCH_SECONDS as the time of a row becomes known."""

    def __init__(self, kind, variants):
        self.kind, self.variants = kind, variants
        self.size = 8 if kind == "reduced" else 1

    def __iter__(self):
        i = 0
        while i < len(self.variants):
            batch = self.variants[i : i + self.size]
            i += len(batch)
            yield self.kind, batch

    def learn(self, rows, seconds):
        """So many rows took so long."""
        self.size = int(np.clip(BATCH_SECONDS * rows / max(seconds, 1e-6), 1, MOST_IN_BATCH))


def solve(engine, solver, todo, store, log, total):
    """Rows for the variants in todo: reduced where that serves, then in full; every batch is committed as it comes."""
    quick = [v for v in todo if solver.kit.reduced(v)]
    full = [v for v in todo if not solver.kit.reduced(v)]
    refused = []
    log.count(total, total - len(todo))
    pace = Pace("reduced", quick)
    for (_, batch), result in engine.run(solver, pace) if quick else ():
        store.add(result.rows)
        refused += result.in_full
        pace.learn(len(batch), result.seconds)
        log.step(len(result.rows))
    if quick:
        log.say(f"{len(quick) - len(refused)} rows by the reduced model, {log.rate():.0f} rows a minute")
    _pause_if_many(refused, quick, solver.kit.night.plan.accuracy.full_share, log)
    full += [v for v, _ in sorted(refused, key=lambda pair: pair[0].number)]
    for _, result in engine.run(solver, Pace("full", full)) if full else ():
        store.add(result.rows)
        log.step(len(result.rows))
    log.say(log.state())


def _pause_if_many(refused, quick, share, log):
    """BadInput where the reduced model serves too few variants; rows so far are in the store."""
    if not refused:
        return
    example = refused[0][1]
    log.say(f"{len(refused)} variants need a full solve (for example: {example})")
    if len(refused) > share * len(quick):
        raise BadInput(
            f"paused: {len(refused)} of {len(quick)} variants need a full solve (for example: {example}), more than the plan's "
            f"accuracy.full_share = {share:g}. The other rows are kept. Raise accuracy.basis or accuracy.estimate, narrow the "
            "ranges, or raise full_share to solve them all in full; then give the same command again"
        )


def sample_of(night, keys):
    """Numbers of the variants that are checked: a fixed random sample of the plan."""
    accuracy = night.plan.accuracy
    n = min(accuracy.check_most, int(np.ceil(accuracy.check_percent / 100 * len(keys))))
    return sorted(np.random.default_rng(night.plan.seed).choice(len(keys), n, replace=False).tolist())


def unchecked(night, store, keys):
    """Keys of the plan's sample that have a reduced row and no check yet."""
    have = store.checks()
    wanted = [keys[i] for i in sample_of(night, keys) if keys[i] not in have]
    return [row.key for row in store.rows(wanted) if row.method == "reduced"]


def check(engine, solver, variants, keys, store, log):
    """Solve the sample again in full; the errors go into the store and are told."""
    missing = set(unchecked(solver.kit.night, store, keys))
    todo = [v for v in variants if keys[v.number] in missing and solver.kit.reduced(v)]
    if todo:
        log.say(f"checking {len(todo)} rows against full solves")
    for _, result in engine.run(solver, Pace("check", todo)) if todo else ():
        store.add_checks(result.checks)
    log.say(observed(store, keys))


def read_only(folder):
    """The Store of a sweep's folder, to read while it is written or after."""
    return Store(folder, write=False)


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    print(main(*sys.argv[1:]))
