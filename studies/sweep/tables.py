"""The rows of a sweep as CSV or Parquet, one line for each variant, whole or not at all."""

import csv
from collections.abc import Iterable
from itertools import islice
from pathlib import Path

from meshes.parts import RIM
from meshes.whole_file import whole_file, whole_text
from studies.common.files import cell
from studies.common.inputs import BadInput
from studies.sweep.fields import Plan
from studies.sweep.result import DRY, Row, summary_names

DRAWN = ("density", "along", "across", "shear")
EACH_MODE = ("hz", "loss_factor", "stored_in_rim", "heat_in_rim")


def column_names(plan: Plan) -> list[str]:
    """Heads of the tables of a plan."""
    boards = [board for s in plan.scatter for board in s.boards]
    return [
        "key", "rim", "method", *(f.name for f in plan.factor), *(f"{b}: {what}" for b in boards for what in DRAWN),
        *DRY, *summary_names(plan.sustain.held if plan.plucked else ()),
        *(f"{what}_{k}" for what in EACH_MODE for k in range(1, plan.modes + 1)),
    ]  # fmt: skip


def _line(row):
    """{head: value} of all that a row knows."""
    drawn = row.parameters.get("scatter", {})
    in_rim = [i for i, part in enumerate(row.parts) if part in RIM]
    rim = [None if a is None else a[in_rim].sum(axis=0) for a in (row.strain, row.dissipated)]
    each = [(w, v) for w, v in zip(EACH_MODE, (row.frequency, row.loss_factor, *rim)) if v is not None]
    return {
        "key": row.key, "rim": row.rim, "method": row.method, **row.parameters, **row.summary,
        **{f"{board}: {what}": z for board, draw in drawn.items() for what, z in zip(DRAWN, draw)},
        **{f"{what}_{k}": float(v) for what, values in each for k, v in enumerate(values, 1)},
    }  # fmt: skip


def write_csv(rows: Iterable[Row], plan: Plan, file: Path) -> Path:
    """Write rows (any iterable) of a plan as CSV, whole or not at all; returns the path."""
    names = column_names(plan)
    with whole_text(file) as stream:
        writer = csv.writer(stream)
        writer.writerow(map(cell, names))
        writer.writerows([cell(line.get(name, "")) for name in names] for line in map(_line, rows))
    return Path(file)


def write_parquet(rows: Iterable[Row], plan: Plan, file: Path, batch: int = 5000) -> Path:
    """Write rows (any iterable) of a plan as Parquet, whole or not at all; returns the path. BadInput where pyarrow is not installed."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise BadInput("Parquet needs pyarrow; expected it installed (pip install pyarrow), or take the CSV") from None
    text, names = {"key", "rim", "method"}, column_names(plan)
    schema = pa.schema([(n, pa.string() if n in text else pa.float64()) for n in names])
    rows = iter(rows)
    with whole_file(file) as stream, pq.ParquetWriter(stream, schema) as writer:
        while lines := list(map(_line, islice(rows, batch))):
            cells = {n: [line.get(n) for line in lines] for n in names}
            values = {n: [v if n in text or not isinstance(v, str) else None for v in cells[n]] for n in names}
            writer.write_table(pa.table(values, schema))
    return Path(file)
