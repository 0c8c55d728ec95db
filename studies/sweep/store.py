"""Rows of a sweep in one SQLite file: a row that was acknowledged is never lost, and none is computed twice.

Write-ahead log with synchronous = full: a batch is on the disk when `add` returns. One writer holds a lock on a file
beside the store; anybody may read while it is written (not on network disks: the log needs shared memory). Rows are keyed
by a hash of their parameters and of the source that computes them; a row that is there is neither changed nor replaced.
Rows, notes and checks each have a checksum, and none is given out that does not match it.
"""

import json
import math
import sqlite3
from contextlib import suppress
from pathlib import Path

import numpy as np

from studies.common.inputs import BadInput
from studies.common.kept import fingerprint
from studies.common.locks import locked, say
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
    """
    ALTER TABLE row ADD COLUMN sum TEXT;
    ALTER TABLE sustain ADD COLUMN sum TEXT;
    ALTER TABLE checked ADD COLUMN sum TEXT;
    """,
)
TROUBLE = sqlite3.Error, OSError, UnicodeError  # the last where a name is damaged
SUMS = 3  # the step that brought checksums
HEAD = ("key", "parameters", "rim", "method")
BODY = ("frequency", "loss_factor", "strain", "heat", *SUMMARY)
CHECKED = (
    "key", "frequency_error", "strain_error", "heat_error", "modes_below", "modes_expected", "note", "decay_error",
    "median_decay_error",
)  # fmt: skip
SUMMED = {  # what the checksum of each table covers, and what follows: the sum
    "row": f"SELECT {', '.join(HEAD)}, names, {', '.join(BODY)}, sum FROM row LEFT JOIN parts ON parts.id = parts",
    "sustain": "SELECT key, head, frequency, valid_to, notes, sum FROM sustain",
    "checked": f"SELECT {', '.join(CHECKED)}, sum FROM checked",
}


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
                self.lock = locked(self.file.with_suffix(".lock"))
                if self.lock is None:
                    raise BadInput(
                        f"{self.file.parent}: another run is writing there; expected one run for each folder. Wait for it, stop "
                        "it, or give another folder with --out"
                    )
            self.db = _opened(self.file, "rwc" if write else "ro")
            if write:
                self._upgrade()
            else:
                self._check_readable()
            if (problem := self.db.execute("PRAGMA integrity_check(1)").fetchone()[0]) != "ok":
                self._mend(problem, write)
        except TROUBLE as error:
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

    def _check_readable(self):
        if self._check_version() <= SUMS:
            raise BadInput(
                f"{self.file}: written by an older version of this program, without checksums; expected schema {len(STEPS)}. "
                "Give its sweep once more, which brings it up to date"
            )

    def _upgrade(self):
        for number in range(self._check_version(), len(STEPS)):
            with _transaction(self.db):
                for statement in STEPS[number].split(";"):
                    self.db.execute(statement)
                if number == SUMS:
                    self._sum_all()
                self.db.execute(f"PRAGMA user_version = {number + 1}")

    def _mend(self, problem, write):
        """Set a file of damaged structure aside and begin another one with all that is still whole in it."""
        aside, problem = self.file.with_name(self.file.name + ".damaged"), " ".join(problem.split())
        if not write:
            raise BadInput(f"{self.file}: is damaged ({problem}). Give its sweep once more, which mends it")
        self.db.close()
        self.file.replace(aside)
        for end in ("-wal", "-shm"):
            with suppress(FileNotFoundError):
                Path(f"{self.file}{end}").replace(f"{aside}{end}")
        old, self.db = _opened(aside, "ro"), _opened(self.file, "rwc")
        self._upgrade()
        saved = dict.fromkeys(SUMMED, 0)
        for table, insert in (
            ("row", self._insert_row),
            ("sustain", self._insert_notes),
            ("checked", self._insert_check),
        ):
            with _transaction(self.db):
                for *values, kept in _readable(old, SUMMED[table]):
                    if kept == checksum(values):
                        insert(*values)
                        saved[table] += 1
        old.close()
        say(
            f"{self.file}: damaged ({problem}); set aside as {aside.name}. {saved['row']} rows in it were whole and are kept; "
            "the others are computed again"
        )

    def _sum_all(self):
        """Checksums of what was written before there were any."""
        for table, query in SUMMED.items():
            for key in self.db.execute(f"SELECT key FROM {table}").fetchall():
                *values, _ = self.db.execute(f"{query} WHERE key = ?", key).fetchone()
                self.db.execute(f"UPDATE {table} SET sum = ? WHERE key = ?", (checksum(values), *key))

    def _ask(self, query, values=()):
        """Rows of a query, as an iterator; trouble in plain words, also halfway."""
        try:
            yield from self.db.execute(query, values)
        except TROUBLE as error:
            raise told(error, self.file) from None

    def _write(self, deed):
        """deed() in a transaction; trouble in plain words."""
        try:
            with _transaction(self.db):
                deed()
        except TROUBLE as error:
            raise told(error, self.file) from None

    def _stored(self, table, keys=None):
        """(values, whether they match their checksum) of a table, in the order of keys (all of them, by key, if None)."""
        if keys is None:
            found = self._ask(f"{SUMMED[table]} ORDER BY key")
        else:
            query = f"{SUMMED[table]} WHERE key = ?"
            found = (r for key in keys if (r := next(self._ask(query, (key,)), None)) is not None)
        for *values, kept in found:
            yield values, kept == checksum(values)

    def _whole(self, table, keys=None):
        """Values as _stored; BadInput where they do not match their checksum."""
        for values, right in self._stored(table, keys):
            if not right:
                raise BadInput(
                    f"{self.file}: row {values[0]} is damaged, and no figure is taken from it. Give the same sweep again: it "
                    "is computed again"
                )
            yield values

    # --- rows ---

    def keys(self):
        """The keys (set) of all rows."""
        return {key for (key,) in self._ask("SELECT key FROM row")}

    def whole(self, keys, notes=False):
        """Those of the keys (set) whose rows match their checksums; notes: and have notes that do.

        Damaged rows are told and deleted, with notes and checks, so that they are computed again; so are damaged checks.
        """
        keys = list(keys)
        rows = {values[0]: right for values, right in self._stored("row", keys)}
        sustain = {values[0]: right for values, right in self._stored("sustain", keys)}
        good = {k for k, right in rows.items() if right and sustain.get(k, not notes)}
        bad = [(k, ("row", "sustain", "checked")) for k in rows if k not in good]
        bad += [(v[0], ("checked",)) for v, right in self._stored("checked", keys) if not right and v[0] in good]

        def delete():
            for key, tables in bad:
                say(f"{self.file}: {'check of ' * (len(tables) == 1)}row {key} is damaged; deleted, and computed again")
                for table in tables:
                    self.db.execute(f"DELETE FROM {table} WHERE key = ?", (key,))

        self._write(delete)
        return good

    def add(self, rows):
        """Commit a batch of Rows; they are safe when this returns. Rows whose key is there already are left out."""

        def insert():
            for row in rows:
                self._insert_row(*_values(row))
                if row.notes is not None:
                    self._insert_notes(row.key, *notes_to_store(row.notes))

        self._write(insert)

    def _insert_row(self, *values):
        head, names, body = values[: len(HEAD)], values[len(HEAD)], values[len(HEAD) + 1 :]
        self.db.execute("INSERT OR IGNORE INTO parts (names) VALUES (?)", (names,))
        parts = self.db.execute("SELECT id FROM parts WHERE names = ?", (names,)).fetchone()[0]
        self._insert("row", (*HEAD, "parts", *BODY), (*head, parts, *body), checksum(values))

    def _insert_notes(self, *values):
        self._insert("sustain", ("key", "head", "frequency", "valid_to", "notes"), values, checksum(values))

    def _insert_check(self, *values):
        self._insert("checked", CHECKED, values, checksum(values))

    def _insert(self, table, columns, values, total):
        places = ", ".join("?" * (len(values) + 1))
        query = f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}, sum) VALUES ({places})"
        if not self.db.execute(query, (*values, total)).rowcount:
            if self.db.execute(f"SELECT 1 FROM {table} WHERE key = ?", values[:1]).fetchone() is None:
                raise sqlite3.DatabaseError("rows are not taken")

    def rows(self, keys=None):
        """Rows in the order of `keys` (all of them, by key, if None); keys without a row are passed over."""
        for key, parameters, rim, method, names, frequency, *rest in self._whole("row", keys):
            names, frequency = tuple(json.loads(names)), np.frombuffer(frequency)
            loss, strain, heat = (None if a is None else np.frombuffer(a, np.float32) for a in rest[:3])
            shape = len(names), len(frequency)
            yield Row(
                key, json.loads(parameters), rim, method, names, frequency, loss,
                None if strain is None else strain.reshape(shape), None if heat is None else heat.reshape(shape),
                dict(zip(SUMMARY, rest[3:])),
            )  # fmt: skip

    def summaries(self, keys):
        """(key, rim, method, parameters, {name of SUMMARY: value}) in the order of keys."""
        for row in self.rows(keys):
            yield row.key, row.rim, row.method, row.parameters, row.summary

    def notes(self, keys):
        """(key, Notes) in the order of keys; rows without notes are passed over."""
        for key, *values in self._whole("sustain", keys):
            yield key, notes_from_store(*values)

    def add_checks(self, checks):
        """Commit Checks; those of rows checked before are left out."""
        self._write(lambda: [self._insert_check(*map(_number, vars(c).values())) for c in checks])

    def checks(self):
        """{key: Check} of those that match their checksums."""
        return {values[0]: Check(*values) for values, right in self._stored("checked") if right}


def _opened(file, mode):
    """A connection to a file; 'rwc': to write, with the log and the safety that a row wants."""
    db = sqlite3.connect(f"{file.absolute().as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=30)
    db.text_factory = lambda text: text.decode("utf-8", "replace")  # damaged texts fail their checksums
    if mode == "rwc":
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
    return db


def _readable(db, query):
    """Rows of a query up to where the file cannot be read."""
    with suppress(*TROUBLE):
        yield from db.execute(query)


def checksum(values):
    """Of texts, bytes, numbers and None, the same for what SQLite gives back."""
    return fingerprint(*(float(v) if isinstance(v, int | float) else v for v in values))


def _values(row):
    """A Row as SQLite takes it: what HEAD names, the parts as text, what BODY names."""
    arrays = [np.asarray(row.frequency, float).tobytes()]
    arrays += [
        None if a is None else np.asarray(a, np.float32).tobytes()
        for a in (row.loss_factor, row.strain, row.dissipated)
    ]
    summary = (_number(row.summary.get(name)) for name in SUMMARY)
    head = row.key, json.dumps(row.parameters, sort_keys=True), row.rim, row.method
    return *head, json.dumps(row.parts), *arrays, *summary


def _number(value):
    """A value as SQLite keeps it: plain numbers, None for what is no number."""
    value = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(value, float) and math.isnan(value) else value


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
    elif (
        isinstance(error, sqlite3.Error | UnicodeError) and "i/o" not in low
    ):  # the statements are right: so the file is not
        text = f"is damaged or not a store ({text}); expected the night.sqlite of a sweep. Move it away or give another folder"
    return BadInput(f"{file}: {text}")
