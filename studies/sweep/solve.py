"""The loop of a sweep: batches to the workers, rows into the store as they come, a fixed sample solved again in full."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np

from studies.common.inputs import BadInput
from studies.common.kept import kept_folder
from studies.sweep.cells import Cells, SlowPiece
from studies.sweep.design import Variant
from studies.sweep.design import variants as all_variants
from studies.sweep.engine import Engine, open_engine
from studies.sweep.kit import row_key, sheet_print
from studies.sweep.log import Log
from studies.sweep.plan import Sweep
from studies.sweep.prepare import ready_kit
from studies.sweep.sections import Slow
from studies.sweep.store import Store
from studies.sweep.variant import Batch, Refused, Solver
from studies.sweep.words import announcement, observed

BATCH_SECONDS = 1.0  # of work in a batch
MOST_IN_BATCH = 200


def run(
    sweep: Sweep,
    store: Store,
    out: Path,
    workers: int | None = None,
    scheduler: str | None = None,
    log: Log | None = None,
    kept: Path | None = None,
) -> dict[int, str]:
    """Compute what the store lacks of a plan and check it; returns {number of a variant: its key}, in order.

    kept: folder of the reduced models; that of commands beside `out` if None.
    """
    log, kept = log or Log(), kept or kept_folder(out)
    variants = all_variants(sweep.plan)
    sheet = sheet_print(sweep)
    keys = {v.number: row_key(sweep, sheet, v) for v in variants}
    have = store.whole(keys.values(), sweep.plan.plucked)
    todo = [v for v in variants if keys[v.number] not in have]
    for line in announcement(sweep, variants, todo, out, scheduler):
        log.say(line)
    if todo or unchecked(sweep, store, keys):
        with closing(open_engine(workers, scheduler)) as engine:
            log.say(f"{engine.workers} {'worker' if engine.workers == 1 else 'workers'}")
            kit = ready_kit(sweep, variants, kept, lambda pieces: compute_cells(engine, pieces, log), log.say)
            for line in kit.words:
                log.say(line)
            solver = Solver(kit, sheet)
            solve(engine, solver, todo, store, log, len(variants))
            check_sample(engine, solver, variants, keys, store, log)
    return keys


def compute_cells(engine: Engine, pieces: list[SlowPiece], log: Log) -> list[Slow]:
    """Sections of linings and corners of joints in order, computed by the engine; each is kept in the cache of cells as well."""
    if pieces:
        log.say(f"{len(pieces)} linings and joints in solid cells (seconds each; kept for the next time)")
    sections = {number: section for (number, _), section in engine.run(Cells(), enumerate(pieces))}
    return [sections[i] for i in range(len(pieces))]


class Pace:
    """Cuts variants into batches of about BATCH_SECONDS as the time of a row becomes known."""

    def __init__(self, kind: str, variants: list[Variant]):
        self.kind, self.variants = kind, variants
        self.size = 8 if kind == "reduced" else 1

    def __iter__(self) -> Iterator[Batch]:
        i = 0
        while i < len(self.variants):
            batch = self.variants[i : i + self.size]
            i += len(batch)
            yield self.kind, batch

    def learn(self, rows: int, seconds: float) -> None:
        """So many rows took so long."""
        self.size = int(np.clip(BATCH_SECONDS * rows / max(seconds, 1e-6), 1, MOST_IN_BATCH))


def solve(engine: Engine, solver: Solver, todo: list[Variant], store: Store, log: Log, total: int) -> None:
    """Rows for the variants in todo: reduced where that serves, then in full; every batch is committed as it comes."""
    quick = [v for v in todo if solver.kit.reduced(v)]
    full = [v for v in todo if not solver.kit.reduced(v)]
    refused: list[Refused] = []
    log.count(total, total - len(todo))
    pace = Pace("reduced", quick)
    for (_, batch), result in engine.run(solver, pace) if quick else ():
        store.add(result.rows)
        refused += result.in_full
        pace.learn(len(batch), result.seconds)
        log.step(len(result.rows))
    if quick:
        log.say(f"{len(quick) - len(refused)} rows by the reduced model, {log.rate():.0f} rows a minute")
    pause_if_many(refused, len(quick), solver.kit.sweep.plan.accuracy.full_share, log)
    full += sorted((v for v, _ in refused), key=lambda v: v.number)
    for _, result in engine.run(solver, Pace("full", full)) if full else ():
        store.add(result.rows)
        log.step(len(result.rows))
    log.say(log.state())


def pause_if_many(refused: list[Refused], count: int, share: float, log: Log) -> None:
    """BadInput where the reduced model refuses more than a share of `count` variants; rows so far are in the store."""
    if not refused:
        return
    example = refused[0][1]
    log.say(f"{len(refused)} variants need a full solve (for example: {example})")
    if len(refused) > share * count:
        raise BadInput(
            f"paused: {len(refused)} of {count} variants need a full solve (for example: {example}), more than the plan's "
            f"accuracy.full_share = {share:g}. The other rows are kept. Raise accuracy.basis or accuracy.estimate, narrow the "
            "ranges, or raise full_share to solve them all in full; then give the same command again"
        )


def unchecked(sweep: Sweep, store: Store, keys: dict[int, str]) -> list[str]:
    """Keys of the plan's sample, a fixed random one, that have a reduced row and no check yet."""
    accuracy = sweep.plan.accuracy
    n = min(accuracy.check_most, int(np.ceil(accuracy.check_percent / 100 * len(keys))))
    sample = sorted(np.random.default_rng(sweep.plan.seed).choice(len(keys), n, replace=False).tolist())
    have = store.checks()
    wanted = [keys[i] for i in sample if keys[i] not in have]
    return [key for key, _, method, *_ in store.summaries(wanted) if method == "reduced"]


def check_sample(
    engine: Engine, solver: Solver, variants: list[Variant], keys: dict[int, str], store: Store, log: Log
) -> None:
    """Solve the sample again in full; the errors go into the store and are told."""
    missing = set(unchecked(solver.kit.sweep, store, keys))
    todo = [v for v in variants if keys[v.number] in missing and solver.kit.reduced(v)]
    if todo:
        log.say(f"checking {len(todo)} rows against full solves")
    for _, result in engine.run(solver, Pace("check", todo)) if todo else ():
        store.add_checks(result.checks)
    log.say(observed(store, keys))
