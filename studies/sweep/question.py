"""What matters most for the rim's heat within the ranges a maker enters? Thousands of variants a night, none lost.

A plan says what varies; a reduced model serves the variants in milliseconds and tells its own error; the rest, and a fixed
sample of all, is solved in full. Rows are in the store as soon as their batch is; the same command goes on where it stopped.
"""

from pathlib import Path

from studies.common.inputs import existing_file, writable_folder
from studies.common.words import with_files
from studies.sweep.bodies import check_builds
from studies.sweep.log import Log
from studies.sweep.page import write_sweep_page
from studies.sweep.plan import read_plan
from studies.sweep.solve import run
from studies.sweep.store import Store
from studies.sweep.tables import write_csv, write_parquet
from studies.sweep.words import sweep_text


def run_sweep(
    plan: Path | str,
    out: Path | str | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    sheet: Path | str | None = None,
    parquet: bool = False,
) -> str:
    """Run a plan (file or name of a ready one) and write page, tables and log; returns the text for the terminal.

    sheet replaces the plan's base sheet; workers: processes (all cores if None, 1: this process alone); scheduler: address
    of a Dask scheduler. BadInput or SheetError for anything the user has to mend; KeyboardInterrupt after a clean stop.
    """
    sweep = read_plan(plan, existing_file(sheet) if sheet else None)
    check_builds(sweep)
    folder = writable_folder(out or Path("out") / f"{sweep.path.stem}-night")
    with Store(folder) as store:
        log = Log(folder / "night.log")
        try:
            keys = run(sweep, store, folder, workers, scheduler, log)
        except KeyboardInterrupt:
            log.say("stopped by hand")
            raise
        log.say("writing page and tables")
        written = [
            write_sweep_page(sweep, keys, store, folder),
            write_csv(store.rows(keys.values()), sweep.plan, folder / "night.csv"),
        ]
        if parquet:
            written.append(write_parquet(store.rows(keys.values()), sweep.plan, folder / "night.parquet"))
        log.say("done")
        return with_files(sweep_text(sweep, keys, store), written)
