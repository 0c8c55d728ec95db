"""Rows of a sweep in one SQLite file: a row that was acknowledged is never lost, and none is computed twice.

Write-ahead log with synchronous = full: a batch is on the disk when `add` returns. One writer holds a lock on a file
beside the store; anybody may read while it is written (not on network disks: the log needs shared memory). Rows are keyed
by a hash of their parameters and the model's version; a row that is there is neither changed nor replaced.
"""

import json
import os
import sqlite3
from pathlib import Path

import numpy as np

from studies.common.inputs import BadInput
from studies.sweep.result import SUMMARY, Check, Row, notes_from_store, notes_to_store

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
    """
    ALTER TABLE row ADD COLUMN decay_s_hung REAL;
    ALTER TABLE row ADD COLUMN early_decay_s_hung REAL;
    ALTER TABLE row ADD COLUMN pluck_in_rim_hung REAL;
    ALTER TABLE row ADD COLUMN pluck_radiated_hung REAL;
    ALTER TABLE row ADD COLUMN no_rim_loss_ratio_hung REAL;
    ALTER TABLE row ADD COLUMN decay_s_lap REAL;
    ALTER TABLE row ADD COLUMN early_decay_s_lap REAL;
    ALTER TABLE row ADD COLUMN pluck_in_rim_lap REAL;
    ALTER TABLE row ADD COLUMN pluck_radiated_lap REAL;
    ALTER TABLE row ADD COLUMN no_rim_loss_ratio_lap REAL;
    CREATE TABLE sustain (
        key TEXT PRIMARY KEY REFERENCES row, head TEXT NOT NULL, frequency BLOB NOT NULL, valid_to REAL NOT NULL,
        notes BLOB NOT NULL
    ) WITHOUT ROWID;
    ALTER TABLE checked ADD COLUMN decay_error REAL;
    ALTER TABLE checked ADD COLUMN median_decay_error REAL;
    """,
)


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
                notes = [(row.key, *notes_to_store(row.notes)) for row in rows if row.notes is not None]
                self.db.executemany("INSERT OR IGNORE INTO sustain VALUES (?, ?, ?, ?, ?)", notes)
        except (sqlite3.Error, OSError) as error:
            raise told(error, self.file) from None

    def _values(self, row):
        names = json.dumps(row.parts)
        self.db.execute("INSERT OR IGNORE INTO parts (names) VALUES (?)", (names,))
        parts = self.db.execute("SELECT id FROM parts WHERE names = ?", (names,)).fetchone()[0]
        arrays = [np.asarray(row.frequency, float).tobytes()]
        arrays += [
            None if a is None else np.asarray(a, np.float32).tobytes()
            for a in (row.loss_factor, row.strain, row.dissipated)
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

    def notes(self, keys):
        """(key, Notes) in the order of keys; rows without notes are passed over."""
        query = "SELECT head, frequency, valid_to, notes FROM sustain WHERE key = ?"
        for key in keys:
            if (found := self.db.execute(query, (key,)).fetchone()) is not None:
                yield key, notes_from_store(*found)

    def add_checks(self, checks):
        """Commit Checks; those of rows checked before are left out."""
        try:
            with _transaction(self.db):
                values = [tuple(vars(c).values()) for c in checks]
                self.db.executemany("INSERT OR IGNORE INTO checked VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", values)
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
    file = path.open("ab+")
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
