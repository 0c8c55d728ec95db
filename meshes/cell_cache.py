"""Results of cell problems kept on disk between runs, each with its checksum; damaged or not writable: computed again."""

import hashlib
import json
import os
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from meshes.whole_file import write_whole

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

T = TypeVar("T")


def folder() -> Path:
    """Path of the cache: RIMWORK_CACHE, or the user's cache folder of the platform."""
    if os.environ.get("RIMWORK_CACHE"):
        return Path(os.environ["RIMWORK_CACHE"])
    home = Path.home()
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local")) / "rimwork" / "Cache"
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "rimwork"
    return Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache") / "rimwork"


def key(inputs: "DataclassInstance", *more: str | float) -> str:
    """Hash of every number and name in a dataclass and in `more`; the sources of woods do not change a result."""

    def plain(value):
        if isinstance(value, dict):
            return {k: plain(v) for k, v in value.items() if k != "sources"}
        return list(map(plain, value)) if isinstance(value, (list, tuple)) else value

    text = json.dumps([type(inputs).__name__, *more, plain(asdict(inputs))], sort_keys=True, default=float)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def recall(name: str, accept: Callable[[dict], T]) -> T | None:
    """accept(stored object), or None where nothing usable is stored; accept raises on an object it does not trust."""
    try:
        stored = json.loads((folder() / f"{name}.json").read_text(encoding="utf-8"))
        return accept(stored["value"]) if stored["sum"] == _sum(name, stored["value"]) else None
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RuntimeError):
        return None


def keep(name: str, value: dict) -> None:
    """Store a JSON object whole or not at all."""
    try:
        where = folder()
        where.mkdir(parents=True, exist_ok=True)
        write_whole(where / f"{name}.json", json.dumps({"sum": _sum(name, value), "value": value}))
    except (OSError, RuntimeError):  # RuntimeError: no home folder
        pass


def _sum(name, value):
    return hashlib.sha256(json.dumps([name, value]).encode()).hexdigest()
