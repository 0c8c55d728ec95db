"""A .msh or .vtu file as triangles with named groups of triangles and of edges, in the file's own unit of length."""

import contextlib
import io
import re
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import meshio

CORNERS = {"triangle": 3, "quad": 4, "quadrilateral": 4, "line": 2, "curve": 2}
NUMBERED = ("gmsh:physical", "part", "group")  # cell arrays of group numbers, named by the field data
JOINTS = "-_#+/"  # meshio joins the names of cell sets with the first of these that no name holds
SOUND = "a sound mesh file: .msh (gmsh 2.2 or 4.1) or .vtu"

MOST = 4_000_000  # nodes and cells of a file: beyond, no common machine solves the model
PACKED, FEW = 4, 10_000  # nodes and cells in a byte of a well packed file, and in any file
SPARE, PER_BYTE = 1e9, 100  # bytes of memory that reading may take, and as many more for each byte of the file


@dataclass(frozen=True)
class MeshFile:
    """Corner nodes only; every triangle once; no unused points."""

    points: np.ndarray  # (n, 3) in the file's unit
    triangles: np.ndarray  # (m, 3) node indices
    faces: dict[str, np.ndarray]  # {group: (k,) triangle indices}
    edges: dict[str, np.ndarray]  # {group: (k, 2) node pairs}
    hint: str  # why there may be no groups, in words; may be empty


def read_mesh_file(path: str | Path) -> MeshFile:
    """MeshFile of a .msh or .vtu file. ValueError in plain words where it cannot serve as a shell.

    Higher-order cells keep their corners only. Quadrilaterals are cut in two along their shorter diagonal. Triangles
    written once for each of their groups are made one. Coincident nodes stay apart: they may be a real crack.
    """
    path = Path(path)
    _check_claims(path)
    with _bounded_memory(SPARE + PER_BYTE * path.stat().st_size):
        mesh = _opened(path)
    _check_size(path, len(mesh.points), sum(map(len, mesh.cells)))
    points = np.asarray(mesh.points, float)
    points = np.column_stack([points, np.zeros((len(points), 3 - points.shape[1]))])
    groups = _groups(mesh)
    blocks = [np.zeros((0, 3), int)]
    face_runs: dict[str, list[np.ndarray]] = {}
    edge_runs: dict[str, list[np.ndarray]] = {}
    for block, cells in enumerate(mesh.cells):
        corners = _corners(path.name, cells)
        if corners is None:
            continue
        if corners.size and not 0 <= corners.min() <= corners.max() < len(points):
            raise ValueError(f"{path.name}: a cell names node {corners.max()} of {len(points)}; expected {SOUND}")
        if corners.shape[1] == 2:
            for name in _members(groups, block):
                edge_runs.setdefault(name, []).append(corners[groups[name][block]])
            continue
        start, cut = sum(map(len, blocks)), _cut(points, corners)
        blocks.append(np.concatenate(cut))
        for name in _members(groups, block):
            at = groups[name][block]
            face_runs.setdefault(name, []).extend(start + at + k * len(corners) for k in range(len(cut)))
    triangles = np.concatenate(blocks)
    if not len(triangles):
        raise ValueError(f"{path.name}: holds no triangles or quadrilaterals; expected a shell mesh")
    triangles, faces = _each_once(triangles, {name: np.concatenate(runs) for name, runs in face_runs.items()})
    edges = {name: np.unique(np.sort(np.concatenate(pairs), axis=1), axis=0) for name, pairs in edge_runs.items()}
    used, triangles, edges = _renumbered(path.name, len(points), triangles, edges)
    return MeshFile(points[used], triangles, faces, edges, "" if faces else _why_nameless(mesh))


# --- the file ---


def _check_claims(path: Path) -> None:
    """ValueError where a file claims more nodes or cells than its bytes can hold, before they take any memory."""
    data = path.read_bytes()
    claims = re.findall(rb'NumberOf(?:Points|Cells)\s*=\s*["\'](\d{1,30})["\']', data)
    claims += re.findall(rb"\$(?:Nodes|Elements)\s+(\d{1,30})\s*\n", data)  # of version 2
    claims += re.findall(rb"\$(?:Nodes|Elements)\s+\d+ (\d{1,30}) \d+ \d+\s*\n", data)  # of version 4.1
    for claim in map(int, claims):
        _check_size(path, claim, 0)


def _check_size(path: Path, points: int, cells: int) -> None:
    size = path.stat().st_size
    if points + cells > min(MOST, FEW + PACKED * size):
        raise ValueError(
            f"{path.name}: claims {points + cells} nodes or cells in {size} bytes; expected at most {MOST}, and {SOUND}"
        )


@contextlib.contextmanager
def _bounded_memory(more: float) -> Iterator[None]:
    """Within the block this process is given at most so many bytes more; beyond, MemoryError. On Linux alone."""
    if sys.platform != "linux":
        yield
        return
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = int(Path("/proc/self/statm").read_text(encoding="utf-8").split()[0]) * resource.getpagesize() + int(more)
    if resource.RLIM_INFINITY not in (soft, hard) and limit > min(soft, hard):
        limit = soft
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def _opened(path: Path) -> "meshio.Mesh":
    """meshio.Mesh of the file. meshio raises a kind of error for every format, prints others, and exits on some."""
    import meshio

    told = io.StringIO()
    try:
        with contextlib.redirect_stdout(told), contextlib.redirect_stderr(told):
            return meshio.read(path)
    except MemoryError:
        raise ValueError(
            f"{path.name}: asks for more memory than a mesh file of its size can need; expected {SOUND}"
        ) from None
    except (Exception, SystemExit) as error:
        if isinstance(error, ValueError) and "gmsh:physical" in str(error):
            return _opened_with_ungrouped_cells(path)
        reason = (told.getvalue() if isinstance(error, SystemExit) else str(error)).strip().splitlines()
        hint = f" ({reason[0]})" if reason else ""
        raise ValueError(f"{path.name}: cannot be read as a mesh{hint}; expected {SOUND}") from None


def _opened_with_ungrouped_cells(path: Path) -> "meshio.Mesh":
    """The same for a .msh 4.1 file where only some cells are in a group, which meshio cannot hold.

    gmsh gives every cell left over a group without a name and writes the file again.
    """
    import meshio

    try:
        import gmsh
    except (ImportError, OSError):
        raise ValueError(
            f"{path.name}: some cells are in no physical group, and gmsh, which could read the rest, cannot be loaded; "
            "expected a file that holds named groups only (gmsh: Mesh.SaveAll = 0)"
        ) from None
    with tempfile.TemporaryDirectory() as folder:
        gmsh.initialize(interruptible=False, readConfigFiles=False)
        try:
            gmsh.option.setNumber("General.Terminal", 0)
            gmsh.open(str(path))
            for dim in range(4):
                bare = [
                    t for d, t in gmsh.model.getEntities(dim) if not len(gmsh.model.getPhysicalGroupsForEntity(d, t))
                ]
                if bare:
                    gmsh.model.addPhysicalGroup(dim, bare)
            gmsh.option.setNumber("Mesh.MshFileVersion", 4.1)
            gmsh.option.setNumber("Mesh.SaveAll", 0)
            gmsh.write(f"{folder}/grouped.msh")
        finally:
            gmsh.finalize()
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            return meshio.read(f"{folder}/grouped.msh")


# --- cells ---


def _corners(file: str, cells: "meshio.CellBlock") -> np.ndarray | None:
    """(k, 2), (k, 3) or (k, 4) corner nodes of a block of lines, triangles or quadrilaterals; None for other cells."""
    if cells.type.startswith("polygon"):
        count = cells.data.shape[1]
        if count not in (3, 4):
            raise ValueError(f"{file}: holds a polygon of {count} corners; expected triangles and quadrilaterals")
    else:
        count = CORNERS.get(cells.type.lower().removeprefix("vtk_lagrange_").rstrip("0123456789"))
    return None if count is None else np.asarray(cells.data, int)[:, :count]


def _cut(points: np.ndarray, corners: np.ndarray) -> list[np.ndarray]:
    """[triangles (k, 3)], or the two halves of each quadrilateral [(k, 3), (k, 3)]."""
    if corners.shape[1] == 3:
        return [corners]
    a, b, c, d = (points[corners[:, k]] for k in range(4))
    longer = np.linalg.norm(a - c, axis=1) > (1 + 1e-9) * np.linalg.norm(b - d, axis=1)
    turned = np.where(longer[:, None], corners[:, [1, 2, 3, 0]], corners)
    return [turned[:, [0, 1, 2]], turned[:, [0, 2, 3]]]


def _each_once(triangles: np.ndarray, faces: Mapping[str, np.ndarray]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Triangles without copies and without those that two equal corners collapse; groups follow."""
    _, first, back = np.unique(np.sort(triangles, axis=1), axis=0, return_index=True, return_inverse=True)
    a, b, c = triangles[first].T
    order = np.argsort(first)  # of the file
    order = order[((a != b) & (b != c) & (c != a))[order]]
    place = np.full(len(first), -1)
    place[order] = np.arange(len(order))
    moved = {name: np.unique(place[back.ravel()[at]]) for name, at in faces.items()}
    return triangles[first[order]], {name: at[at >= 0] for name, at in moved.items()}


def _renumbered(
    file: str, count: int, triangles: np.ndarray, edges: Mapping[str, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """(used points, triangles, edges) without the points that no triangle uses."""
    used = np.unique(triangles)
    new = np.full(count, -1)
    new[used] = np.arange(len(used))
    for name, pairs in edges.items():
        if (new[pairs] < 0).any():
            raise ValueError(
                f"{file}: curve group '{name}' leaves the shell: it has nodes that no triangle uses; "
                "expected a curve along edges of triangles"
            )
    return used, new[triangles], {name: new[pairs] for name, pairs in edges.items()}


# --- named groups ---


def _members(groups: Mapping[str, list[np.ndarray]], block: int) -> list[str]:
    return [name for name, members in groups.items() if len(members[block])]


def _groups(mesh: "meshio.Mesh") -> dict[str, list[np.ndarray]]:
    """{group: [indices within each cell block]}. The first of three ways that gives any group:

    physical names (or cell arrays 'part' or 'group' of numbers with names in the field data) and cell sets; one cell
    array of 0 and 1 per group; one cell array whose name joins the groups' names ('top-back-sides'), numbered from 0 in
    that order, -1 for none, which is how meshio writes cell sets to .vtu.
    """
    members_of = _physical(mesh) or _marked(mesh)
    return {name: [np.asarray(at, int) for at in members] for name, members in members_of.items()}


def _named_numbers(mesh: "meshio.Mesh") -> dict[tuple[int, int], str]:
    """{(number, dimension): group} of the field data."""
    named = {}
    for name, value in mesh.field_data.items():
        value = np.ravel(value)
        if len(value) == 2 and value.dtype.kind in "iu":
            named[abs(int(value[0])), int(value[1])] = name
    return named


def _why_nameless(mesh: "meshio.Mesh") -> str:
    named = list(_named_numbers(mesh).values())
    if named:
        return f"no triangle belongs to {', '.join(named)}: gmsh's 'save all elements' drops groups in its format 2.2"
    return "its groups have numbers but no names" if any(key in mesh.cell_data for key in NUMBERED) else ""


def _physical(mesh: "meshio.Mesh") -> dict[str, list[np.ndarray]]:
    named = _named_numbers(mesh)
    groups: dict[str, list[np.ndarray]] = {}
    for key in NUMBERED:
        for block, numbers in enumerate(mesh.cell_data.get(key, [])):
            for number in np.unique(np.abs(numbers)) if np.ndim(numbers) == 1 else ():
                name = named.get((int(number), mesh.cells[block].dim))
                if name is not None:
                    _put(groups, mesh, name, block, np.flatnonzero(np.abs(numbers) == number))
    for name, members in mesh.cell_sets.items():
        if not name.startswith("gmsh:"):
            for block, at in enumerate(members):
                _put(groups, mesh, name, block, [] if at is None else at)
    return groups


def _marked(mesh: "meshio.Mesh") -> dict[str, list[np.ndarray]]:
    arrays = {}  # {name: (set of values, arrays of every block)}
    for name, blocks in mesh.cell_data.items():
        if name not in NUMBERED and not name.startswith(("gmsh:", "vtk")) and all(np.ndim(b) == 1 for b in blocks):
            arrays[name] = {v for b in blocks for v in np.unique(b).tolist()}, blocks
    marks = {name: blocks for name, (values, blocks) in arrays.items() if values <= {0, 1} and 1 in values}
    joined = {name: _names_in(name, values) for name, (values, _) in arrays.items()}
    joined = {name: names for name, names in joined.items() if names}
    groups: dict[str, list[np.ndarray]] = {}
    if len(marks) == 1 and marks.keys() <= joined.keys():  # 'top-sides' numbered 0 and 1
        marks = {}
    for name, blocks in marks.items():
        for block, marked in enumerate(blocks):
            _put(groups, mesh, name, block, np.flatnonzero(marked))
    for name, names in ({} if marks else joined).items():
        for number, group in enumerate(names):
            for block, numbers in enumerate(arrays[name][1]):
                _put(groups, mesh, group, block, np.flatnonzero(numbers == number))
    return groups


def _names_in(joined: str, values: set[float]) -> list[str]:
    """Names of groups numbered 0, 1, ... in the name of their cell array, or none where the values do not fit."""
    for k, sign in enumerate(JOINTS):
        names = joined.split(sign)
        if values - {-1} == set(range(len(names))):
            return names
        if any(earlier not in joined for earlier in JOINTS[: k + 1]):
            return []
    return []


def _put(
    groups: dict[str, list[np.ndarray]], mesh: "meshio.Mesh", name: str, block: int, at: np.ndarray | list[int]
) -> None:
    members = groups.setdefault(name, [np.zeros(0, int) for _ in mesh.cells])
    members[block] = np.union1d(members[block], at)
