"""K_part and M_part as Matrix Market files, mesh and modes as VTU, CSV and JSON, for people who use other tools."""

import re
import tempfile
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np
from scipy.io import mmwrite

from fem.eigen import Modes
from fem.elements import Space
from fem.mesh import ShellMesh, part_of
from fem.model import Model, weights
from meshes.whole_file import whole_file, write_whole
from studies.common.files import SCHEMA_VERSION, Plain, write_json, write_rows
from studies.common.inputs import BadInput, Case
from studies.drawing.field import lattice

if TYPE_CHECKING:
    import meshio

README = """Matrices of every part, Matrix Market, symmetric, SI units: K_<part>.mtx [N/m, N, N m], M_<part>.mtx [kg, kg m, kg m2].
K is the sum of all K_<part>, M of all M_<part>. Unknown 6 i + c belongs to node i of nodes.csv: c = 0, 1, 2 displacement
along x, y, z [m], c = 3, 4, 5 rotation about x, y, z [rad]. parts.json lists the parts. mesh.vtu holds the corner mesh,
with one cell array of zeros and ones per region.

modes.vtu: every cubic triangle cut in nine, its points in the order of nodes.csv; braces and other beams as lines. Point data
'mode_01_104.2_Hz': displacement (x, y, z) of each mode, mass-normalised [kg^-1/2]. Cell data 'part': the number of the part
that a cell is drawn as (names in part_names.csv); 'is_<part>': 1 where the part lies, for parts overlap (a lining covers a strip
of the sides). modes.csv: frequency, loss factor and shares of every mode. modes.json: the contract of `rimwork modes`.
"""
SHARES = {"stored": "strain_energy_share", "moving": "kinetic_energy_share", "heat": "heat_share"}
LAID_OVER = ("lining", "neck_block", "tail_block", "bridge", "side_bars", "joint")  # glued to what a cell is drawn as


def export_matrices(folder: Path, model: Model, case: Case) -> None:
    """Write K_part, M_part, the places of the unknowns and the mesh into an existing folder (Path)."""
    w = weights(case.sections)
    files = _file_names(dict.fromkeys(part_of(region) for _, region, _ in w))
    parts: dict[str, list[str]] = {}
    for role in ("K", "M"):
        for part in dict.fromkeys(part_of(region) for r, region, _ in w if r == role):
            own = {key: f for key, f in w.items() if key[0] == role and part_of(key[1]) == part}
            matrix = model.matrix(role, own)
            matrix.eliminate_zeros()
            if matrix.nnz:
                with whole_file(folder / f"{role}_{files[part]}.mtx") as stream:  # by a path it tells no full disk
                    mmwrite(stream, matrix, symmetry="symmetric", precision=17)
                parts.setdefault(part, []).append(role)
    with whole_file(folder / "nodes.csv") as stream:
        np.savetxt(stream, model.space.points, delimiter=",", header="x_m,y_m,z_m", comments="", encoding="utf-8")
    write_json(folder / "parts.json", {"schema_version": SCHEMA_VERSION, "parts": parts})
    write_whole(folder / "README.txt", README)
    write_mesh(folder / "mesh.vtu", case.mesh)


def _file_names(parts: Iterable[str]) -> dict[str, str]:
    """{part: what its files are named by}. BadInput where two would be one file on some system."""
    names = {part: re.sub(r"[^\w.-]", "_", part) for part in parts}
    for name, count in Counter(name.casefold() for name in names.values()).items():
        if count > 1:
            alike = ", ".join(part for part, own in names.items() if own.casefold() == name)
            raise BadInput(
                f"--export: parts {alike} would be one file; expected names that differ in letters, not only in case"
            )
    return names


def write_mesh(path: Path, mesh: ShellMesh) -> None:
    """The corner mesh with one 0/1 cell array per region."""
    import meshio

    data = {}
    for region, surface in mesh.surfaces.items():
        mark = np.zeros(len(mesh.triangles), np.int8)
        mark[surface.triangles] = 1
        data[region.replace("/", "_")] = [mark]
    _write_vtu(path, meshio.Mesh(mesh.nodes, [("triangle", mesh.triangles)], cell_data=data))


def _write_vtu(path: Path, mesh: "meshio.Mesh") -> None:
    import meshio

    with tempfile.TemporaryDirectory() as folder:  # meshio writes by name alone
        made = Path(folder) / path.name
        meshio.write(made, mesh)
        write_whole(path, made.read_bytes())


# --- modes ---


def export_modes(folder: Path, space: Space, found: Modes, result: dict[str, Plain]) -> None:
    """Write modes.vtu, part_names.csv, modes.csv and modes.json of a contract into an existing folder."""
    names = write_modes(folder / "modes.vtu", space, found.frequency, found.shape)
    write_rows(folder / "part_names.csv", [("part", "name"), *enumerate(names)])
    write_rows(folder / "modes.csv", mode_rows(result))
    write_json(folder / "modes.json", result)


def mode_rows(result: dict[str, Plain]) -> list[list[Plain]]:
    """Rows of modes.csv, the heading first: mode, frequency_hz, loss_factor, moves (plain words), then 'stored: top' and so on; '' if not known."""
    columns: dict[str, list] = {
        key: cast(list, result[key]) for key in ("frequency_hz", "loss_factor", "moves") if key in result
    }
    columns |= {f"{what}: {part}": v for what, key in SHARES.items() for part, v in cast(dict, result[key]).items()}
    known = ([k, *("" if v is None else v for v in of)] for k, of in enumerate(zip(*columns.values()), 1))
    return [["mode", *columns], *known]


def write_modes(path: Path, space: Space, frequency: np.ndarray, shape: np.ndarray) -> list[str]:
    """VTU of every mode; returns the names of the parts in the order of their numbers.

    frequency (n,) Hz, shape (dofs, n). Cubic triangles are cut in nine, their edges in three: every node is a point.
    """
    import meshio

    mesh = space.mesh
    names = sorted({part_of(region) for region in (*mesh.surfaces, *mesh.lines)})
    triangles = small_triangles(space)
    pieces: dict[str, list[np.ndarray]] = {part: [] for part in names}
    for region, line in mesh.lines.items():
        nodes = space.edge_nodes(line.edges)
        pieces[part_of(region)].append(np.stack([nodes[:, :-1], nodes[:, 1:]], axis=2).reshape(-1, 2))
    lines = {part: np.concatenate(p) for part, p in pieces.items() if p}
    cells, blocks = [("triangle", triangles)], [np.repeat(drawn_as(mesh, names), len(triangles) // len(mesh.triangles))]
    if lines:
        cells.append(("line", np.concatenate(list(lines.values()))))
        blocks.append(np.concatenate([np.full(len(v), names.index(part)) for part, v in lines.items()]))
    data = {"part": [b.astype(np.int32) for b in blocks]}
    for number, part in enumerate(names):
        data[f"is_{part}"] = [_marks(mesh, part, len(triangles)), *((b == number).astype(np.int8) for b in blocks[1:])]
    motion = {
        mode_name(k, f): np.ascontiguousarray(shape[:, k].reshape(-1, 6)[:, :3]) for k, f in enumerate(frequency)
    }  # fmt: skip
    _write_vtu(path, meshio.Mesh(space.points, cells, point_data=motion, cell_data=data))
    return names


def mode_name(k: int, frequency: float) -> str:
    """Name of the point data of mode k, counted from 0."""
    return f"mode_{k + 1:02d}_{frequency:.1f}_Hz"


def drawn_as(mesh: ShellMesh, names: Sequence[str]) -> np.ndarray:
    """(m,) number of one part for each triangle: of several that overlap, the one not glued over another."""
    found = np.full(len(mesh.triangles), -1)
    over = lambda region: part_of(region).startswith(LAID_OVER) or "/" in region
    for region in sorted(mesh.surfaces, key=over):  # what lies over others comes last and takes what is left
        own = mesh.surfaces[region].triangles
        found[own[found[own] < 0]] = names.index(part_of(region))
    return found


def _marks(mesh: ShellMesh, part: str, count: int) -> np.ndarray:
    mark = np.zeros(len(mesh.triangles), np.int8)
    for region, surface in mesh.surfaces.items():
        if part_of(region) == part:
            mark[surface.triangles] = 1
    return np.repeat(mark, count // len(mark))


def small_triangles(space: Space) -> np.ndarray:
    """(9 m, 3) nodes of the cubic triangles cut in nine (p^2 for another order), each one's pieces together, facing as it does."""
    p = space.element.maxdeg
    steps, small = lattice(p)
    places = np.round(space.element.doflocs * p).astype(int).tolist()
    own = [places.index([b, c]) for _, b, c in steps.tolist()]
    basis = space.basis
    found = basis.dofs.element_dofs[own][small.T].transpose(2, 1, 0).reshape(-1, 3)
    corners = space.points[found]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    against = np.sum(normal * np.repeat(space.mesh.normal, len(small), axis=0), axis=1) < 0
    return np.where(against[:, None], found[:, ::-1], found)
