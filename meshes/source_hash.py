"""A hash of the source text that computes something, so that results of changed code are told from those of today's."""

import hashlib
import re
from functools import cache, lru_cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("fem", "meshes", "studies")
NOT_COMPUTING = (  # imported by modules that compute, but no result depends on them
    "meshes.cell_cache", "meshes.source_hash", "studies.common.at_rest", "studies.common.inputs", "studies.common.kept",
    "studies.common.locks", "studies.common.progress", "studies.common.ranges", "studies.sustain.result",
)  # fmt: skip
IMPORT = re.compile(
    r"^[ \t]*(?:from[ \t]+([\w.]+)[ \t]+import[ \t]+(\([^)]*\)|[^\n]*)|import[ \t]+([^\n]*))", re.MULTILINE
)


def source_hash(*modules: str, root: Path = ROOT) -> str:
    """16 hexadecimal digits of the text of these modules and of all project modules that they import, at any depth."""
    return _hash(modules, Path(root))


@lru_cache
def _hash(modules, root):
    digest = hashlib.sha256()
    for name in closure(*modules, root=root):
        digest.update(f"{name}\n{hashlib.sha256(_text(name, root).encode()).hexdigest()}\n".encode())
    return digest.hexdigest()[:16]


def closure(*modules: str, root: Path = ROOT) -> list[str]:
    """Sorted names of these modules and of the project's modules that they import, those of NOT_COMPUTING left out.

    ValueError for a module that has no source file.
    """
    waiting, found = list(modules), set()
    for name in modules:
        if _text(name, root) is None:
            raise ValueError(f"{name}: no source file in {root}; expected a module of {', '.join(PACKAGES)}")
    while waiting:
        name = waiting.pop()
        if name in found or name in NOT_COMPUTING or (text := _text(name, root)) is None:
            continue
        found.add(name)
        waiting += _imported(text)
    return sorted(found)


@cache
def _text(name, root):
    """Source text of a module; None for what is no module of the project."""
    if name.split(".")[0] not in PACKAGES:
        return None
    base = root.joinpath(*name.split("."))
    for file in (base.with_suffix(".py"), base / "__init__.py"):
        if file.is_file():
            return file.read_text(encoding="utf-8")
    return None


@cache
def _imported(text):
    """Names that may be modules, of all import statements wherever they stand."""
    found = []
    for source, names, plain in IMPORT.findall(text):
        words = [part.split()[0] for part in (names or plain).strip("()").split(",") if part.split()]
        found += [source, *(f"{source}.{word}" for word in words)] if source else words
    return tuple(found)
