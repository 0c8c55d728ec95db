"""What a command is given, build sheet or foreign mesh, as mesh and sections; and how bad input is told."""

from dataclasses import dataclass
from pathlib import Path

SHEET_SUFFIXES, MESH_SUFFIXES = (".toml",), (".msh", ".vtu")


class BadInput(ValueError):
    """Something the user can mend; its text says what was found, where, and what was expected."""


@dataclass(frozen=True)
class Case:
    """A mesh, its sections by region, and the body they came from (None for a foreign mesh)."""

    mesh: object
    sections: dict
    body: object = None


def read_case(path, parts=None, size=None):
    """Case of a build sheet (.toml), meshed at `size` [m], or of a foreign mesh (.msh, .vtu) with its parts sheet.

    Raises BadInput or SheetError (a ValueError) for anything that the user has to mend.
    """
    path = existing_file(path)
    if path.suffix.lower() in SHEET_SUFFIXES:
        from meshes.build import DEFAULT_SIZE, mesh_body
        from meshes.parts import sections
        from meshes.sheet import read_sheet

        if parts is not None:
            raise BadInput(f"--parts {parts}: only a foreign mesh has a parts sheet; {path} is a build sheet")
        body = read_sheet(path)
        return Case(mesh_body(body, size or DEFAULT_SIZE), sections(body), body)
    if path.suffix.lower() in MESH_SUFFIXES:
        from meshes.foreign import read_foreign

        if parts is None:
            raise BadInput(f"{path}: a foreign mesh needs a parts sheet; expected --parts PARTS.toml")
        if size is not None:
            raise BadInput("--mesh-size-mm: a foreign mesh comes with its own size; expected only with a build sheet")
        return Case(*read_foreign(path, existing_file(parts)))
    raise BadInput(
        f"{path}: cannot tell what this is; expected a build sheet (.toml) or a mesh ({', '.join(MESH_SUFFIXES)})"
    )


def existing_file(path):
    """The path as a Path. BadInput where there is no such file."""
    path = Path(path)
    if path.is_dir():
        raise BadInput(f"{path}: is a folder; expected a file")
    if not path.is_file():
        near = sorted(p.name for p in path.parent.glob(f"*{path.suffix}")) if path.parent.is_dir() else []
        hint = f"; in that folder: {', '.join(near[:6])}" if near else ""
        raise BadInput(f"{path}: no such file{hint}")
    return path


def writable_file(path):
    """The path as a Path whose folder exists and takes files: asked before work starts. BadInput otherwise."""
    path = Path(path)
    try:
        if path.is_dir():
            raise BadInput(f"{path}: is a folder; expected the name of a file to write")
        path.parent.mkdir(parents=True, exist_ok=True)
        new = not path.exists()
        with path.open("a"):
            pass
        if new:
            path.unlink()
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be written ({error.strerror or error}); expected a place that takes files"
        ) from None
    return path


def writable_folder(path):
    """The path as a Path, made if need be: asked before work starts. BadInput otherwise."""
    path = Path(path)
    try:
        path.mkdir(parents=True, exist_ok=True)
        probe = path / ".can-write"
        probe.write_text("")
        probe.unlink()
    except OSError as error:
        raise BadInput(
            f"{path}: cannot be written ({error.strerror or error}); expected a folder that takes files"
        ) from None
    return path
