"""Results kept on disk, under names that are the same whenever what they depend on is."""

import hashlib
import zipfile
import zlib
from dataclasses import fields, is_dataclass

import numpy as np


def fingerprint(*values):
    """16 hexadecimal digits that depend on every number and word in the values."""
    digest = hashlib.sha256()
    _feed(digest, values)
    return digest.hexdigest()[:16]


def _feed(digest, value):
    if is_dataclass(value):
        digest.update(type(value).__name__.encode())
        _feed(digest, {f.name: getattr(value, f.name) for f in fields(value)})
    elif isinstance(value, dict):
        for key in sorted(value):
            _feed(digest, (key, value[key]))
    elif isinstance(value, (list, tuple)):
        digest.update(f"({len(value)}".encode())
        for item in value:
            _feed(digest, item)
    elif isinstance(value, np.ndarray):
        digest.update(f"{value.dtype}{value.shape}".encode() + np.ascontiguousarray(value).tobytes())
    elif value is None or isinstance(value, (str, int, float, bool, np.generic)):
        digest.update(f"{type(value).__name__}:{value!r};".encode())
    else:
        raise TypeError(f"cannot make a fingerprint of a {type(value).__name__}")


UNREADABLE = (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile, zlib.error)


def save_arrays(file, arrays):
    """Write {name: array} under another name first: a file that exists is whole."""
    file.parent.mkdir(parents=True, exist_ok=True)
    partial = file.with_suffix(".part")
    with partial.open("wb") as stream:
        np.savez(stream, **arrays)
    partial.replace(file)


def load_arrays(file):
    """{name: array} of a file, or None if there is none that can be read."""
    try:
        with np.load(file) as stored:
            return {name: stored[name] for name in stored.files}
    except UNREADABLE:
        return None
