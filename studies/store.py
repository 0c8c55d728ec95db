"""Rows of a night in one SQLite file: a row that was acknowledged is never lost, and none is computed twice.

Write-ahead log with synchronous = full: a batch is on the disk when `add` returns. One writer holds a lock on a file
beside the store; anybody may read while it is written (not on network disks: the log needs shared memory). Rows are keyed
by a hash of their parameters and the model's version; a row that is there is neither changed nor replaced.
"""

import csv
import json
import os
import sqlite3
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import numpy as np

from studies.inputs import BadInput

SUMMARY = (
    "body_g", "rim_g", "first_hz", "heat_in_rim", "stored_in_rim", "mean_loss_factor", "no_loss_gain", "estimate",
)  # fmt: skip
STEPS = (  # the schema grows by steps; a store remembers how many it has had
    """
    CREATE TABLE parts (id INTEGER PRIMARY KEY, names TEXT UNIQUE NOT NULL);
    CREATE TABLE row (
        key TEXT PRIMARY KEY, parameters TEXT NOT NULL, rim TEXT NOT NULL, method TEXT NOT NULL,
        parts INTEGER NOT NULL REFERENCES parts, frequency BLOB NOT NULL, loss_factor BLOB, strain BLOB, heat BLOB,
        body_g REAL, rim_g REAL, first_hz REAL, heat_in_rim REAL, stored_in_rim REAL, mean_loss_factor REAL,
        no_loss_gain REAL, estimate REAL
    ) WITHOUT ROWID;
    CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL);
    """,
    """
    CREATE TABLE checked (
        key TEXT PRIMARY KEY REFERENCES row, frequency_error REAL, strain_error REAL, heat_error REAL,
        modes_below INTEGER, modes_expected INTEGER, note TEXT NOT NULL
    );
    """,
)


@dataclass(frozen=True)
class Row:
    """One variant solved: n modes, p parts."""

    key: str
    parameters: dict  # {factor: value, 'scatter': {board: [...]}} as JSON holds them
    rim: str
    method: str  # 'reduced' or 'full'
    parts: tuple[str, ...]
    frequency: np.ndarray  # (n,) Hz
    loss_factor: np.ndarray | None  # (n,)
    strain: np.ndarray | None  # (p, n) shares, single precision
    heat: np.ndarray | None  # (p, n); None: losses not known, or shares not asked for
    summary: dict = field(default_factory=dict)  # {name of SUMMARY: value or None}


@dataclass(frozen=True)
class Check:
    """A row solved again in full. Errors: relative, and of shares as parts of one."""

    key: str
    frequency_error: float
    strain_error: float | None
    heat_error: float | None
    modes_below: int | None  # counted by inertia
    modes_expected: int
    note: str = ""


class Store:
    """The store in a folder. Use as a context; with `write` it holds the folder's lock until it is closed."""

    def __init__(self, folder, write=True):
        self.file = Path(folder) / "night.sqlite"
        self.lock = None
        if not write and not self.file.is_file():
            raise BadInput(f"{self.file}: no such store; expected the folder of a sweep")
        try:
            if write:
                self.file.parent.mkdir(parents=True, exist_ok=True)
                self.lock = _locked(self.file.with_suffix(".lock"))
            uri = f"{self.file.absolute().as_uri()}?mode={'rwc' if write else 'ro'}"
            self.db = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=30)
            if write:
                self.db.execute("PRAGMA journal_mode = WAL")
                self.db.execute("PRAGMA synchronous = FULL")
                self._upgrade()
            else:
                self._check_version()
        except (sqlite3.Error, OSError) as error:
            self.close()
            raise told(error, self.file) from None
        except BadInput:
            self.close()
            raise

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Close the file and give up the lock."""
        if getattr(self, "db", None) is not None:
            self.db.close()
            self.db = None
        if self.lock is not None:
            self.lock.close()
            self.lock = None

    def _check_version(self):
        version = self.db.execute("PRAGMA user_version").fetchone()[0]
        if version > len(STEPS):
            raise BadInput(
                f"{self.file}: written by a newer version of this program (schema {version}); expected schema {len(STEPS)} "
                "or older. Update the program, or choose another folder"
            )
        return version

    def _upgrade(self):
        for number in range(self._check_version(), len(STEPS)):
            with _transaction(self.db):
                for statement in STEPS[number].split(";"):
                    self.db.execute(statement)
                self.db.execute(f"PRAGMA user_version = {number + 1}")

    def keys(self):
        """The keys (set) of all rows."""
        return {key for (key,) in self.db.execute("SELECT key FROM row")}

    def add(self, rows):
        """Commit a batch of Rows; they are safe when this returns. Rows whose key is there already are left out."""
        columns = (
            "key", "parameters", "rim", "method", "parts", "frequency", "loss_factor", "strain", "heat", *SUMMARY
        )  # fmt: skip
        places = ", ".join("?" * len(columns))
        try:
            with _transaction(self.db):
                values = [self._values(row) for row in rows]
                self.db.executemany(f"INSERT OR IGNORE INTO row ({', '.join(columns)}) VALUES ({places})", values)
        except (sqlite3.Error, OSError) as error:
            raise told(error, self.file) from None

    def _values(self, row):
        names = json.dumps(row.parts)
        self.db.execute("INSERT OR IGNORE INTO parts (names) VALUES (?)", (names,))
        parts = self.db.execute("SELECT id FROM parts WHERE names = ?", (names,)).fetchone()[0]
        arrays = [np.asarray(row.frequency, float).tobytes()]
        arrays += [
            None if a is None else np.asarray(a, np.float32).tobytes() for a in (row.loss_factor, row.strain, row.heat)
        ]
        head = (row.key, json.dumps(row.parameters, sort_keys=True), row.rim, row.method, parts)
        return (*head, *arrays, *(row.summary.get(name) for name in SUMMARY))

    def rows(self, keys=None):
        """Rows in the order of `keys` (all of them, by key, if None); keys without a row are passed over."""
        names = {k: tuple(json.loads(v)) for k, v in self.db.execute("SELECT id, names FROM parts")}
        columns = f"key, parameters, rim, method, parts, frequency, loss_factor, strain, heat, {', '.join(SUMMARY)}"
        if keys is None:
            found = self.db.execute(f"SELECT {columns} FROM row ORDER BY key")
        else:
            query = f"SELECT {columns} FROM row WHERE key = ?"
            found = (r for key in keys if (r := self.db.execute(query, (key,)).fetchone()) is not None)
        for key, parameters, rim, method, parts, frequency, *rest in found:
            frequency = np.frombuffer(frequency)
            loss, strain, heat = (None if a is None else np.frombuffer(a, np.float32) for a in rest[:3])
            shape = len(names[parts]), len(frequency)
            yield Row(
                key, json.loads(parameters), rim, method, names[parts], frequency, loss,
                None if strain is None else strain.reshape(shape), None if heat is None else heat.reshape(shape),
                dict(zip(SUMMARY, rest[3:])),
            )  # fmt: skip

    def summaries(self, keys):
        """(key, rim, method, parameters, {name of SUMMARY: value}) in the order of keys, without what is kept for each mode."""
        query = f"SELECT rim, method, parameters, {', '.join(SUMMARY)} FROM row WHERE key = ?"
        for key in keys:
            if (found := self.db.execute(query, (key,)).fetchone()) is not None:
                rim, method, parameters, *values = found
                yield key, rim, method, json.loads(parameters), dict(zip(SUMMARY, values))

    def add_checks(self, checks):
        """Commit Checks; those of rows checked before are left out."""
        try:
            with _transaction(self.db):
                values = [tuple(vars(c).values()) for c in checks]
                self.db.executemany("INSERT OR IGNORE INTO checked VALUES (?, ?, ?, ?, ?, ?, ?)", values)
        except (sqlite3.Error, OSError) as error:
            raise told(error, self.file) from None

    def checks(self):
        """{key: Check}."""
        return {row[0]: Check(*row) for row in self.db.execute("SELECT * FROM checked ORDER BY key")}


class _transaction:
    """BEGIN IMMEDIATE ... COMMIT, or ROLLBACK."""

    def __init__(self, db):
        self.db = db

    def __enter__(self):
        self.db.execute("BEGIN IMMEDIATE")

    def __exit__(self, kind, *_):
        if kind is None:
            self.db.execute("COMMIT")
        elif self.db.in_transaction:
            self.db.execute("ROLLBACK")


def _locked(path):
    """An open file whose lock this process holds until it ends, however it ends. BadInput if another holds it."""
    file = path.open("a+")
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        file.close()
        if isinstance(error, BlockingIOError | PermissionError):
            raise BadInput(
                f"{path.parent}: another run is writing there; expected one run for each folder. Wait for it, stop it, or "
                "give another folder with --out"
            ) from None
        raise
    return file


def told(error, file):
    """BadInput in plain words for what SQLite or the system said."""
    text = str(getattr(error, "strerror", None) or error)
    low = text.lower()
    if "full" in low or "no space" in low:
        text = "the disk is full; rows acknowledged so far are kept. Make room and give the same command again"
    elif "readonly" in low or "read-only" in low or "permission denied" in low or "unable to open" in low:
        text = "cannot be written; expected a folder that takes files"
    elif "locked" in low:
        text = "is locked by another program; expected one writer. Close it and give the same command again"
    elif "not a database" in low or "malformed" in low:
        text = "is damaged or not a store; expected the night.sqlite of a sweep. Move it away or give another folder"
    return BadInput(f"{file}: {text}")


# --- out ---


@dataclass(frozen=True)
class Columns:
    """What varies in a night, in the order of its columns."""

    factors: tuple[str, ...]
    boards: tuple[str, ...]
    modes: int

    @property
    def names(self):
        draws = [f"{b}: {what}" for b in self.boards for what in ("density", "along", "across", "shear")]
        each = ("hz", "loss_factor", "stored_in_rim", "heat_in_rim")
        per_mode = [f"{what}_{k}" for what in each for k in range(1, self.modes + 1)]
        return ["key", "rim", "method", *self.factors, *draws, *SUMMARY, *per_mode]


def _flat(row, columns):
    """The row as a list in the order of Columns.names; None where it has no value."""
    from meshes.parts import RIM

    def padded(values):
        values = [] if values is None else [float(v) for v in values[: columns.modes]]
        return values + [None] * (columns.modes - len(values))

    in_rim = [i for i, part in enumerate(row.parts) if part in RIM]
    rim = [None if a is None else a[in_rim].sum(axis=0) for a in (row.strain, row.heat)]
    scatter = row.parameters.get("scatter", {})
    return [
        row.key, row.rim, row.method, *(row.parameters.get(name) for name in columns.factors),
        *(v for b in columns.boards for v in scatter.get(b, [None] * 4)),
        *(row.summary.get(name) for name in SUMMARY),
        *(v for values in (row.frequency, row.loss_factor, *rim) for v in padded(values)),
    ]  # fmt: skip


def write_csv(rows, columns, file):
    """Write rows (any iterable) as CSV with Columns, whole or not at all; returns the path."""
    draft = Path(file).with_suffix(".part")
    with draft.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(columns.names)
        writer.writerows(_flat(row, columns) for row in rows)
    draft.replace(file)
    return Path(file)


def write_parquet(rows, columns, file, batch=5000):
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
