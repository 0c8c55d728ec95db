"""Results kept on disk for all commands: checked when computed, verified when read, never half written, computed once.

A file (.npz) is named by what it is and by a key of all that it depends on, the source that computes it included. It holds
a checksum of every array; what does not match is told, set aside and computed again. No trouble of the disk stops a run.
"""

import hashlib
import json
import os
import time
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, fields, is_dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np

from meshes.source_hash import source_hash
from meshes.whole_file import whole_file
from studies.common.locks import alone, say_line, trouble

SCHEMA = 1  # of the files
LIMIT_GB = 4.0
ABANDONED = 600  # s after which a half-written file belongs to nobody
META = "meta.json"
T = TypeVar("T")
Arrays = dict[str, np.ndarray]
_used: set[Path] = set()  # files that this process has read or written


@dataclass(frozen=True)
class Kind(Generic[T]):
    """One sort of result: who computes it, how it becomes arrays and comes back, and what it must hold."""

    name: str  # of its files
    source: tuple[str, ...]  # modules that compute it
    pack: Callable[[T], Mapping[str, Any]]  # value -> {name: array of numbers, flags or words}
    unpack: Callable[[Arrays], T]  # {name: array} -> value
    check: Callable[[T], object]  # raises ArithmeticError in plain words on a value out of range

    def key(self, *inputs: object) -> str:
        """Key of the result for these inputs; another one if the source that computes it is another."""
        return fingerprint(self.name, source_hash(*self.source), *inputs)


def kept_folder(out: Path | str) -> Path:
    """Where the commands keep results whose own folder is `out`: 'kept' beside it, or RIMWORK_KEPT. Checks the limit."""
    limit_bytes()
    return Path(os.environ.get("RIMWORK_KEPT") or Path(out).parent / "kept")


def limit_bytes() -> float:
    """Most bytes of a folder: RIMWORK_KEPT_GB, or LIMIT_GB. ValueError for anything but a number above zero."""
    text = os.environ.get("RIMWORK_KEPT_GB") or str(LIMIT_GB)
    try:
        if (size := float(text)) > 0:
            return 1e9 * size
    except ValueError:
        pass
    raise ValueError(f"RIMWORK_KEPT_GB = {text}: expected the most gigabytes of kept results, such as {LIMIT_GB:g}")


def kept(folder: Path, kind: Kind[T], inputs: tuple, compute: Callable[[], T]) -> T:
    """The result of a Kind for inputs (tuple): read from the folder, or computed by compute() and kept there."""
    return kept_all(folder, kind, [inputs], lambda _: [compute()])[0]


def kept_all(
    folder: Path, kind: Kind[T], inputs: Sequence[tuple], compute: Callable[[list[int]], Iterable[T]]
) -> list[T]:
    """[result] for several inputs. compute(indices) -> results of those that are not there, so that they share work.

    Another run that needs one of them waits for it. ArithmeticError where a computed result fails the kind's check.
    """
    files = [Path(folder) / f"{kind.name}-{kind.key(*one)}.npz" for one in inputs]
    results = [recall(file, kind) for file in files]
    with ExitStack() as locks:
        for file in sorted({file for file, value in zip(files, results) if value is None}):
            locks.enter_context(alone(file.with_suffix(".lock")))
        results = [recall(f, kind, True) if value is None else value for f, value in zip(files, results)]
        missing = [i for i, value in enumerate(results) if value is None]
        for i, value in zip(missing, compute(missing) if missing else ()):
            kind.check(value)
            keep(files[i], kind, value)
            results[i] = value
    return [value for value in results if value is not None]


def flat(tables: Mapping[str, Mapping[str, np.ndarray] | None]) -> dict[str, np.ndarray]:
    """{'table/name': array} of tables {name: array} by name; a table that is None leaves nothing."""
    return {f"{table}/{name}": array for table, held in tables.items() for name, array in (held or {}).items()}


def unflat(arrays: Mapping[str, T], name: str) -> dict[str, T]:
    """The table of that name in what `flat` made."""
    return {key.split("/", 1)[1]: array for key, array in arrays.items() if key.startswith(f"{name}/")}


# --- one file ---


def recall(file: Path, kind: Kind[T], aside: bool = False) -> T | None:
    """The result in a file; None where there is none of this schema and key. aside: tell damage and set the file aside."""
    try:
        if (arrays := _read(file, kind)) is None:
            return None
        value = kind.unpack(arrays)
        kind.check(value)
    except FileNotFoundError:
        return None
    except MemoryError:
        raise
    except Exception as error:  # damaged bytes may raise anything
        if aside:
            _set_aside(file, error)
        return None
    _used.add(file.resolve())
    with suppress(OSError):
        os.utime(file)  # the least recently used go first
    return value


def keep(file: Path, kind: Kind[T], value: T) -> None:
    """Write a result whole or not at all; trouble of the disk is told once and no more."""
    raw = {name: _bytes(np.asarray(array)) for name, array in kind.pack(value).items()}
    sums = {name: _sum(data) for name, data in raw.items()}
    meta = {"schema": SCHEMA, "kind": kind.name, "key": _key(file), "sums": sums}
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(file, file.with_suffix(".part")) as stream, zipfile.ZipFile(stream, "w") as whole:
            whole.writestr(META, json.dumps(meta))
            for name, data in raw.items():
                whole.writestr(f"{name}.npy", data)
        _used.add(file.resolve())
        prune(file.parent)
    except OSError as error:
        trouble(file.parent, error)


def _read(file, kind):
    """{name: array}, every byte of it verified before it is believed; None: of another schema or key."""
    with zipfile.ZipFile(BytesIO(file.read_bytes())) as whole:
        meta = json.loads(whole.read(META))
        if (meta["schema"], meta["kind"], meta["key"]) != (SCHEMA, kind.name, _key(file)):
            return None
        raw = {name: whole.read(f"{name}.npy") for name in meta["sums"]}
    for name, data in raw.items():
        if _sum(data) != meta["sums"][name]:
            raise ValueError(f"array '{name}' does not match its checksum")
    return {name: np.lib.format.read_array(BytesIO(data), allow_pickle=False) for name, data in raw.items()}


def _bytes(array):
    stream = BytesIO()
    np.lib.format.write_array(stream, array, allow_pickle=False)
    return stream.getvalue()


def _sum(data):
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def _key(file):
    return file.stem.rsplit("-", 1)[-1]


def _set_aside(file, error):
    to = file.with_suffix(".damaged")
    try:
        file.replace(to)
        where = f"set aside as {to.name}"
    except OSError:
        where = "left where it is"
    what = "cannot be read" if isinstance(error, OSError) else "damaged"
    say_line(f"{file}: {what} ({' '.join(str(error).split()) or type(error).__name__}); {where}, and computed again")


# --- size ---


def prune(folder: Path, limit: float | None = None) -> None:
    """Delete files until the folder fits the limit [bytes]: damaged and abandoned ones first, then the least recently used.

    Files that this process has read or written stay.
    """
    limit = limit_bytes() if limit is None else limit
    found, now = [], time.time()
    for path in Path(folder).resolve().iterdir():
        with suppress(OSError):
            if path.suffix in (".npz", ".damaged", ".part"):
                state = path.stat()
                found.append((path.suffix == ".npz", state.st_mtime, state.st_size, path))
    total = sum(size for _, _, size, _ in found)
    for _, age, size, path in sorted(found):
        if total <= limit:
            break
        if path in _used or (path.suffix == ".part" and now - age < ABANDONED):
            continue
        with suppress(OSError):
            path.unlink()
            total -= size


# --- names ---


def fingerprint(*values: object) -> str:
    """16 hexadecimal digits that depend on every number and word in the values."""
    digest = hashlib.sha256()
    _feed(digest, values)
    return digest.hexdigest()[:16]


def _feed(digest, value):
    if is_dataclass(value):
        digest.update(type(value).__name__.encode())
        _feed(digest, {f.name: getattr(value, f.name) for f in fields(value)})
    elif isinstance(value, dict):
        digest.update(f"{{{len(value)}".encode())
        for key in sorted(value):
            _feed(digest, (key, value[key]))
    elif isinstance(value, (list, tuple)):
        digest.update(f"({len(value)}".encode())
        for item in value:
            _feed(digest, item)
    elif isinstance(value, np.ndarray) and not value.dtype.hasobject:
        digest.update(f"{value.dtype}{value.shape}".encode() + np.ascontiguousarray(value).tobytes())
    elif isinstance(value, bytes):
        digest.update(f"bytes{len(value)};".encode() + value)
    elif value is None or isinstance(value, (str, int, float, bool, np.generic)):
        digest.update(f"{type(value).__name__}:{value!r};".encode())
    else:
        raise TypeError(f"cannot make a fingerprint of a {type(value).__name__}")
