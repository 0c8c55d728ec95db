"""What a command is given: a build sheet or foreign mesh, numbers within limits, places to write; how bad input is told."""

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fem.mesh import ShellMesh
    from fem.sections import Section
    from meshes.body import Body

# of a box's mesh: a finer one outgrows a common machine's memory, a coarser one the braces
FINEST_MM, COARSEST_MM = 5, 60
SHEET_SUFFIXES, MESH_SUFFIXES = (".toml",), (".msh", ".vtu")


class BadInput(ValueError):
    """Something the user can mend; its text says what was found, where, and what was expected."""


@dataclass(frozen=True)
class Source:
    """The file that a study is made from."""

    path: Path
    sha256: str
    inches: bool = False  # most lengths are written in inches: pages and terminal answer in them


NO_SOURCE = Source(Path(), "")  # of a study made by hand


def source_of(path: Path) -> Source:
    """Source of a file that is there."""
    content = path.read_bytes()
    return Source(path, hashlib.sha256(content).hexdigest(), path.suffix == ".toml" and _in_inches(content))


def _in_inches(sheet: bytes) -> bool:
    """Whether a sheet has more keys in inches than in mm."""
    count = lambda unit: len(re.findall(rb"^\s*\w+_%b\s*=" % unit, sheet, re.M))
    return count(b"in") > count(b"mm")


def printer(sheet: str | Path | None) -> Callable[[str], None]:
    """What prints to the terminal, lengths in inches where the sheet is written in them."""
    from meshes.lengths import in_inches

    def told(text: str) -> None:
        inches = sheet is not None and Path(sheet).is_file() and source_of(Path(sheet)).inches
        print(in_inches(text) if inches else text, flush=True)

    return told


@dataclass(frozen=True)
class Given:
    """A build sheet as a command is given it."""

    body: "Body"
    source: Source

    def folder(self, out: str | Path | None, command: str) -> Path:
        """Where a command writes, made if need be: out, or 'out/SHEET-COMMAND'. BadInput where nothing can be written."""
        return writable_folder(out or Path("out") / f"{self.source.path.stem}-{command}")


def given_sheet(sheet: str | Path) -> Given:
    """Given of a build sheet's file. BadInput where there is none, SheetError for what is wrong in it."""
    from meshes.sheet import read_sheet

    path = existing_file(sheet)
    return Given(read_sheet(path), source_of(path))


def within(name: str, value: float, low: float, high: float, unit: str = "") -> float:
    """The value, between two limits. BadInput names the option ('--frets'), what was given and what was expected."""
    if not low <= value <= high:
        told = value if isinstance(value, int) else f"{value:g}"
        raise BadInput(f"{name} {told}: expected between {low:g} and {high:g} {unit}".rstrip())
    return value


def mesh_size(size_mm: float | None) -> float:
    """m of what --mesh-size-mm says, the default where it says nothing. BadInput for a mesh too fine or too coarse."""
    from meshes.build import DEFAULT_SIZE

    if size_mm is None:
        return DEFAULT_SIZE
    return within("--mesh-size-mm", size_mm, FINEST_MM, COARSEST_MM, "mm") / 1e3


@dataclass(frozen=True)
class Case:
    """A mesh, its sections by region, the body and the edge length [m] they came from (None for a foreign mesh), the file."""

    mesh: "ShellMesh"
    sections: "dict[str, Section]"
    source: Source
    body: "Body | None" = None
    size: float | None = None


def read_case(path: str | Path, parts: str | Path | None = None, size: float | None = None) -> Case:
    """Case of a build sheet (.toml), meshed at `size` [m], or of a foreign mesh (.msh, .vtu) with its parts sheet.

    Raises BadInput or SheetError (a ValueError) for anything that the user has to mend.
    """
    path = existing_file(path)
    if path.suffix.lower() in SHEET_SUFFIXES:
        from meshes.build import DEFAULT_SIZE, mesh_body
        from meshes.parts import sections

        if parts is not None:
            raise BadInput(f"--parts {parts}: only a foreign mesh has a parts sheet; {path} is a build sheet")
        given, size = given_sheet(path), size or DEFAULT_SIZE
        return Case(mesh_body(given.body, size), sections(given.body), given.source, given.body, size)
    if path.suffix.lower() in MESH_SUFFIXES:
        from meshes.foreign import read_foreign

        if parts is None:
            raise BadInput(f"{path}: a foreign mesh needs a parts sheet; expected --parts PARTS.toml")
        if size is not None:
            raise BadInput("--mesh-size-mm: a foreign mesh comes with its own size; expected only with a build sheet")
        return Case(*read_foreign(path, existing_file(parts)), source_of(path))
    raise BadInput(
        f"{path}: cannot tell what this is; expected a build sheet (.toml) or a mesh ({', '.join(MESH_SUFFIXES)})"
    )


def existing_file(path: str | Path) -> Path:
    """The path as a Path. BadInput where there is no such file."""
    path = Path(path)
    if path.is_dir():
        raise BadInput(f"{path}: is a folder; expected a file")
    if not path.is_file():
        near = sorted(p.name for p in path.parent.glob(f"*{path.suffix}")) if path.parent.is_dir() else []
        hint = f"; in that folder: {', '.join(near[:6])}" if near else ""
        raise BadInput(f"{path}: no such file{hint}")
    return path


def writable_file(path: str | Path) -> Path:
    """The path as a Path whose folder exists and takes files: asked before work starts. BadInput otherwise."""
    path = Path(path)
    try:
        if path.is_dir():
            raise BadInput(f"{path}: is a folder; expected the name of a file to write")
        path.parent.mkdir(parents=True, exist_ok=True)
        new = not path.exists()
        with path.open("ab"):
            pass
        if new:
            path.unlink()
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be written ({error.strerror or error}); expected a place that takes files"
        ) from None
    return path


def writable_folder(path: str | Path) -> Path:
    """The path as a Path, made if need be: asked before work starts. BadInput otherwise."""
    path = Path(path)
    try:
        path.mkdir(parents=True, exist_ok=True)
        probe = path / ".can-write"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be written ({error.strerror or error}); expected a folder that takes files"
        ) from None
    return path
