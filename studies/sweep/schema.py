"""What the store of a sweep looks like: its tables, the checksum of each row, and its troubles in plain words."""

import json
import math
import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from studies.common.inputs import BadInput
from studies.common.kept import fingerprint
from studies.sweep.result import SUMMARY, Row

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
    """
    ALTER TABLE row ADD COLUMN sum TEXT;
    ALTER TABLE sustain ADD COLUMN sum TEXT;
    ALTER TABLE checked ADD COLUMN sum TEXT;
    """,
)
TROUBLE = sqlite3.Error, OSError, UnicodeError  # the last where a name is damaged
SUMS = 3  # the step that brought checksums
HEAD, BODY = ("key", "parameters", "rim", "method"), ("frequency", "loss_factor", "strain", "heat", *SUMMARY)
COLUMNS = {  # those that the checksum of each table covers; names of parts have a table of their own
    "row": (*HEAD, "names", *BODY),
    "sustain": ("key", "head", "frequency", "valid_to", "notes"),
    "checked": (
        "key", "frequency_error", "strain_error", "heat_error", "modes_below", "modes_expected", "note", "decay_error",
        "median_decay_error",
    ),
}  # fmt: skip
SUMMED = {name: f"SELECT {', '.join(columns)}, sum FROM {name}" for name, columns in COLUMNS.items()}
SUMMED["row"] += " LEFT JOIN parts ON parts.id = parts"


def opened(file: Path, mode: str) -> sqlite3.Connection:
    """A connection to a file; 'rwc': to write, with the log and the safety that a row wants."""
    db = sqlite3.connect(f"{file.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=30)
    db.text_factory = lambda text: text.decode("utf-8", "replace")  # damaged texts fail their checksums
    if mode == "rwc":
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
    return db


def version(db: sqlite3.Connection, file: Path) -> int:
    """How many STEPS a store has had. BadInput for one of a newer program."""
    found = db.execute("PRAGMA user_version").fetchone()[0]
    if found > len(STEPS):
        raise BadInput(
            f"{file}: written by a newer version of this program (schema {found}); expected schema {len(STEPS)} or older. "
            "Update the program, or choose another folder"
        )
    return found


def check_readable(db: sqlite3.Connection, file: Path) -> None:
    """BadInput for a store without checksums."""
    if version(db, file) <= SUMS:
        raise BadInput(
            f"{file}: written by an older version of this program, without checksums; expected schema {len(STEPS)}. Give its "
            "sweep once more, which brings it up to date"
        )


def upgrade(db: sqlite3.Connection, file: Path) -> None:
    """Bring a store up to date; what was written before there were checksums gets them."""
    for number in range(version(db, file), len(STEPS)):
        with transaction(db):
            for statement in STEPS[number].split(";"):
                db.execute(statement)
            for table in SUMMED if number == SUMS else ():
                for key in db.execute(f"SELECT key FROM {table}").fetchall():
                    *values, _ = db.execute(f"{SUMMED[table]} WHERE key = ?", key).fetchone()
                    db.execute(f"UPDATE {table} SET sum = ? WHERE key = ?", (checksum(values), *key))
            db.execute(f"PRAGMA user_version = {number + 1}")


def structure(db: sqlite3.Connection) -> str:
    """What is wrong with the structure of a file, '' if nothing."""
    found = " ".join(db.execute("PRAGMA integrity_check(1)").fetchone()[0].split())
    return "" if found == "ok" else found


def insert(db: sqlite3.Connection, table: str, values: Sequence) -> None:
    """Insert a row of values in the order of COLUMNS, with its checksum, unless its key is there already."""
    columns, total, values = list(COLUMNS[table]), checksum(values), list(values)
    if table == "row":
        at = columns.index("names")
        db.execute("INSERT OR IGNORE INTO parts (names) VALUES (?)", (values[at],))
        values[at] = db.execute("SELECT id FROM parts WHERE names = ?", (values[at],)).fetchone()[0]
        columns[at] = "parts"
    places = ", ".join("?" * (len(values) + 1))
    query = f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}, sum) VALUES ({places})"
    if not db.execute(query, (*values, total)).rowcount:
        if db.execute(f"SELECT 1 FROM {table} WHERE key = ?", values[:1]).fetchone() is None:
            raise sqlite3.DatabaseError("rows are not taken")


def checksum(values: Iterable) -> str:
    """Of texts, bytes, numbers and None, the same for what SQLite gives back."""
    return fingerprint(*(float(v) if isinstance(v, int | float) else v for v in values))


def row_to_store(row: Row) -> tuple:
    """A Row in the order of COLUMNS, as SQLite takes it."""
    arrays: list[bytes | None] = [np.asarray(row.frequency, float).tobytes()]
    arrays += [
        None if a is None else np.asarray(a, np.float32).tobytes()
        for a in (row.loss_factor, row.strain, row.dissipated)
    ]
    summary = (number_to_store(row.summary.get(name)) for name in SUMMARY)
    head = row.key, json.dumps(row.parameters, sort_keys=True), row.rim, row.method
    return *head, json.dumps(row.parts), *arrays, *summary


def row_from_store(key: str, parameters: str, rim: str, method: str, parts: str, *body: Any) -> Row:
    """The Row of what `row_to_store` gave."""
    names, frequency = tuple(json.loads(parts)), np.frombuffer(body[0])
    loss, strain, heat = (None if a is None else np.frombuffer(a, np.float32) for a in body[1:4])
    shape = len(names), len(frequency)
    return Row(
        key, json.loads(parameters), rim, method, names, frequency, loss,
        None if strain is None else strain.reshape(shape), None if heat is None else heat.reshape(shape),
        dict(zip(SUMMARY, body[4:])),
    )  # fmt: skip


def number_to_store(value: Any) -> Any:
    """A value as SQLite keeps it: plain numbers, None for what is no number."""
    value = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(value, float) and math.isnan(value) else value


class transaction:
    """BEGIN IMMEDIATE ... COMMIT, or ROLLBACK."""

    def __init__(self, db: sqlite3.Connection):
        self.db = db

    def __enter__(self):
        self.db.execute("BEGIN IMMEDIATE")

    def __exit__(self, kind, *_):
        if kind is None:
            self.db.execute("COMMIT")
        elif self.db.in_transaction:
            self.db.execute("ROLLBACK")


def stopped_by(error: Exception, file: Path) -> BadInput:
    """BadInput in plain words for what SQLite or the system said."""
    text = str(getattr(error, "strerror", None) or error)
    low = text.lower()
    if "full" in low or "no space" in low:
        text = "the disk is full; rows acknowledged so far are kept. Make room and give the same command again"
    elif "readonly" in low or "read-only" in low or "permission denied" in low or "unable to open" in low:
        text = "cannot be written; expected a folder that takes files"
    elif "locked" in low:
        text = "is locked by another program; expected one writer. Close it and give the same command again"
    elif (
        isinstance(error, sqlite3.Error | UnicodeError) and "i/o" not in low
    ):  # the statements are right: so the file is not
        text = f"is damaged or not a store ({text}); expected the night.sqlite of a sweep. Move it away or give another folder"
    return BadInput(f"{file}: {text}")
