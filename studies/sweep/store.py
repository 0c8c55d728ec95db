"""Rows of a sweep in one SQLite file: a row that was acknowledged is never lost, and none is computed twice.

Write-ahead log with synchronous = full: a batch is on the disk when `add` returns. One writer holds a lock on a file
beside the store; anybody may read while it is written (not on network disks: the log needs shared memory). Rows are keyed
by a hash of their parameters and of the source that computes them; a row that is there is neither changed nor replaced.
Rows, notes and checks each have a checksum, and none is given out that does not match it.
"""

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from studies.common.inputs import BadInput
from studies.common.locks import locked, say_line
from studies.sweep.result import Check, Notes, Row, notes_from_store, notes_to_store
from studies.sweep.schema import (
    SUMMED,
    TROUBLE,
    check_readable,
    checksum,
    insert,
    number_to_store,
    opened,
    row_from_store,
    row_to_store,
    stopped_by,
    structure,
    transaction,
    upgrade,
)


class Store:
    """The store in a folder. Use as a context; with `write` it holds the folder's lock until it is closed."""

    def __init__(self, folder: Path, write: bool = True):
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
            self.db = opened(self.file, "rwc" if write else "ro")
            (upgrade if write else check_readable)(self.db, self.file)
            if (problem := structure(self.db)) and not write:
                raise BadInput(f"{self.file}: is damaged ({problem}). Give its sweep once more, which mends it")
            if problem:
                self.db.close()
                self.db = mended(self.file, problem)
        except TROUBLE as error:
            self.close()
            raise stopped_by(error, self.file) from None
        except BadInput:
            self.close()
            raise

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_):
        self.close()

    def close(self) -> None:
        """Close the file and give up the lock."""
        if hasattr(self, "db"):  # not where opening failed
            self.db.close()
        if self.lock is not None:
            self.lock.close()
            self.lock = None

    def _ask(self, query, values=()):
        """Rows of a query, as an iterator; trouble in plain words, also halfway."""
        try:
            yield from self.db.execute(query, values)
        except TROUBLE as error:
            raise stopped_by(error, self.file) from None

    def _write(self, deed: Callable[[], object]) -> None:
        """deed() in a transaction; trouble in plain words."""
        try:
            with transaction(self.db):
                deed()
        except TROUBLE as error:
            raise stopped_by(error, self.file) from None

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

    def keys(self) -> set[str]:
        """The keys (set) of all rows."""
        return {key for (key,) in self._ask("SELECT key FROM row")}

    def whole(self, keys: Iterable[str], notes: bool = False) -> set[str]:
        """Those of the keys (set) whose rows match their checksums; notes: and have notes that do.

        Damaged rows are told and deleted, with notes and checks, so that they are computed again; so are damaged checks.
        """
        keys = list(keys)
        rows = {values[0]: right for values, right in self._stored("row", keys)}
        sustain = {values[0]: right for values, right in self._stored("sustain", keys)}
        good = {k for k, right in rows.items() if right and sustain.get(k, not notes)}
        bad: list[tuple[str, tuple[str, ...]]] = [(k, ("row", "sustain", "checked")) for k in rows if k not in good]
        bad += [(v[0], ("checked",)) for v, right in self._stored("checked", keys) if not right and v[0] in good]

        def delete():
            for key, tables in bad:
                say_line(
                    f"{self.file}: {'check of ' * (len(tables) == 1)}row {key} is damaged; deleted, and computed again"
                )
                for table in tables:
                    self.db.execute(f"DELETE FROM {table} WHERE key = ?", (key,))

        self._write(delete)
        return good

    def add(self, rows: Iterable[Row]) -> None:
        """Commit a batch of Rows; they are safe when this returns. Rows whose key is there already are left out."""

        def add():
            for row in rows:
                insert(self.db, "row", row_to_store(row))
                if row.notes is not None:
                    insert(self.db, "sustain", (row.key, *notes_to_store(row.notes)))

        self._write(add)

    def rows(self, keys: Iterable[str] | None = None) -> Iterator[Row]:
        """Rows in the order of `keys` (all of them, by key, if None); keys without a row are passed over."""
        for values in self._whole("row", keys):
            yield row_from_store(*values)

    def summaries(self, keys: Iterable[str]) -> Iterator[tuple[str, str, str, dict, dict[str, float | None]]]:
        """(key, rim, method, parameters, {name of SUMMARY: value}) in the order of keys."""
        for row in self.rows(keys):
            yield row.key, row.rim, row.method, row.parameters, row.summary

    def notes(self, keys: Iterable[str]) -> Iterator[tuple[str, Notes]]:
        """(key, Notes) in the order of keys; rows without notes are passed over."""
        for key, *values in self._whole("sustain", keys):
            yield key, notes_from_store(*values)

    def add_checks(self, checks: Iterable[Check]) -> None:
        """Commit Checks; those of rows checked before are left out."""
        values = [tuple(map(number_to_store, vars(check).values())) for check in checks]

        def add():
            for row in values:
                insert(self.db, "checked", row)

        self._write(add)

    def checks(self) -> dict[str, Check]:
        """{key: Check} of those that match their checksums."""
        return {values[0]: Check(*values) for values, right in self._stored("checked") if right}


def mended(file: Path, problem: str) -> sqlite3.Connection:
    """A new store in the place of a closed one of damaged structure, which is set aside, with all that is still whole in it."""
    aside = file.with_name(file.name + ".damaged")
    file.replace(aside)
    for end in ("-wal", "-shm"):
        with suppress(FileNotFoundError):
            Path(f"{file}{end}").replace(f"{aside}{end}")
    old, new, saved = opened(aside, "ro"), opened(file, "rwc"), dict.fromkeys(SUMMED, 0)
    upgrade(new, file)
    for table, query in SUMMED.items():
        with transaction(new):
            for *values, kept in readable(old, query):
                if kept == checksum(values):
                    insert(new, table, values)
                    saved[table] += 1
    old.close()
    say_line(
        f"{file}: damaged ({problem}); set aside as {aside.name}. {saved['row']} rows in it were whole and are kept; the others "
        "are computed again"
    )
    return new


def readable(db: sqlite3.Connection, query: str) -> Iterator[tuple]:
    """Rows of a query up to where the file cannot be read."""
    with suppress(*TROUBLE):
        yield from db.execute(query)
