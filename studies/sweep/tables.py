"""The rows of a sweep as CSV or Parquet, one line for each variant, whole or not at all."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from meshes.parts import RIM
from studies.common.inputs import BadInput
from studies.sweep.fields import Plan
from studies.sweep.result import DRY, Row, summary_names


@dataclass(frozen=True)
class Columns:
    """What varies in a sweep, in the order of its columns."""

    factors: tuple[str, ...]
    boards: tuple[str, ...]
    modes: int
    holdings: tuple[str, ...] = ()  # of sweeps with strings

    @property
    def summary(self) -> tuple[str, ...]:
        """Names of the summary that the sweep has."""
        return (*DRY, *summary_names(self.holdings))

    @property
    def names(self) -> list[str]:
        draws = [f"{b}: {what}" for b in self.boards for what in ("density", "along", "across", "shear")]
        each = ("hz", "loss_factor", "stored_in_rim", "heat_in_rim")
        per_mode = [f"{what}_{k}" for what in each for k in range(1, self.modes + 1)]
        return ["key", "rim", "method", *self.factors, *draws, *self.summary, *per_mode]


def columns_of(plan: Plan) -> Columns:
    """Columns of the tables of a plan."""
    boards = tuple(board for s in plan.scatter for board in s.boards)
    held = tuple(plan.sustain.held) if plan.plucked else ()
    return Columns(tuple(f.name for f in plan.factor), boards, plan.modes, held)


def _flat(row, columns):
    """The row as a list in the order of Columns.names; None where it has no value."""

    def padded(values):
        values = [] if values is None else [float(v) for v in values[: columns.modes]]
        return values + [None] * (columns.modes - len(values))

    in_rim = [i for i, part in enumerate(row.parts) if part in RIM]
    rim = [None if a is None else a[in_rim].sum(axis=0) for a in (row.strain, row.dissipated)]
    scatter = row.parameters.get("scatter", {})
    return [
        row.key, row.rim, row.method, *(row.parameters.get(name) for name in columns.factors),
        *(v for b in columns.boards for v in scatter.get(b, [None] * 4)),
        *(row.summary.get(name) for name in columns.summary),
        *(v for values in (row.frequency, row.loss_factor, *rim) for v in padded(values)),
    ]  # fmt: skip


def write_csv(rows: Iterable[Row], columns: Columns, file: Path) -> Path:
    """Write rows (any iterable) as CSV with Columns, whole or not at all; returns the path."""
    draft = Path(file).with_suffix(".part")
    with draft.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(columns.names)
        writer.writerows(_flat(row, columns) for row in rows)
    draft.replace(file)
    return Path(file)


def write_parquet(rows: Iterable[Row], columns: Columns, file: Path, batch: int = 5000) -> Path:
    """Write rows (any iterable) as Parquet, whole or not at all; returns the path. BadInput where pyarrow is not installed."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise BadInput("Parquet needs pyarrow; expected it installed (pip install pyarrow), or take the CSV") from None
    text, names = {"key", "rim", "method"}, columns.names
    schema = pa.schema([(n, pa.string() if n in text else pa.float64()) for n in names])
    draft, rows = Path(file).with_suffix(".part"), iter(rows)
    with pq.ParquetWriter(draft, schema) as writer:
        while lines := [_flat(row, columns) for row in islice(rows, batch)]:
            values = [
                [v if n in text or not isinstance(v, str) else None for v in column]
                for n, column in zip(names, zip(*lines))
            ]
            writer.write_table(pa.table(dict(zip(names, values)), schema))
    draft.replace(file)
    return Path(file)
