"""Any shell mesh with named groups (.msh, .vtu) and its parts sheet, as ShellMesh and sections."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from fem.materials import Wood
from fem.mesh import Line, ShellMesh, Surface, along_surface, part_of, unit_normals
from fem.sections import Layer, Section, beam, laminate
from meshes.mesh_file import MeshFile, read_mesh_file
from meshes.parts_sheet import METRES, MM, Beam, Following, Isotropic, Parts, read_parts
from meshes.plain_text import PLAIN, is_plain
from meshes.sheet_errors import Mistake, SheetError, nearest, show_value

PLATES = ("top", "back", "sides")  # of an instrument; a maker's slip of the decimal point shows
PLATE_RANGE, INSTRUMENT = (0.3, 20), 2.0  # mm; m, largest extent of an instrument
THINNEST, THICKEST = 2e-5, 0.5  # thickness over extent of a shell; beyond it the unit is wrong
SQUARE = 1e-3  # sine of the angle below which a direction counts as square to a surface or along a curve


def read_foreign(mesh_path: str | Path, parts_path: str | Path) -> tuple[ShellMesh, dict[str, Section]]:
    """(ShellMesh, {region: Section}) of a foreign mesh and its parts sheet.

    Surface groups become parts, curve groups with a [beam.NAME] table become beams, other curve groups become edges
    that may be fixed. Groups may overlap: then both parts lie there, about the same middle surface. ValueError (mostly
    SheetError) in plain words for anything the user has to mend. mesh_file.py tells what is read and how.
    """
    sheet, woods = read_parts(parts_path)
    file, parts_file = Path(mesh_path).name, Path(parts_path).name
    mesh = read_mesh_file(mesh_path)
    points, triangles = mesh.points * METRES[sheet.length_unit], mesh.triangles
    _refuse(_wrong_groups(file, parts_file, sheet, mesh))
    _refuse(_wrong_shape(file, points, triangles) or _wrong_scale(parts_file, sheet, points))
    normal = outward_normals(points, triangles)
    mistakes: list[Mistake] = []
    surfaces = {
        name: Surface(at, _grain(parts_file, name, sheet, points[triangles[at]].mean(axis=1), normal[at], mistakes))
        for name, at in mesh.faces.items()
    }
    lines = {
        name: _line(parts_file, name, points, mesh.edges[name], table, mistakes) for name, table in sheet.beam.items()
    }
    mistakes += _off_the_shell(file, points, triangles, mesh.edges) + _apart(file, points, mesh)
    _refuse(mistakes)
    named = {name: pairs for name, pairs in mesh.edges.items() if name not in lines}
    return ShellMesh(points, triangles, normal, surfaces, lines, {}, named), _sections(sheet, woods)


def _sections(sheet: Parts, woods: Mapping[str, Wood]) -> dict[str, Section]:
    """{region: Section}. A beam counts from its line, which the offset takes to the middle of the section."""
    plates = {name: laminate([Layer(woods[p.material], p.thickness_mm * MM)]) for name, p in sheet.part.items()}
    return plates | {
        name: beam(woods[b.material], b.width_mm * MM, b.height_mm * MM, -b.height_mm * MM / 2)
        for name, b in sheet.beam.items()
    }


# --- checks: each returns a list of Mistake ---


def _refuse(mistakes: list[Mistake]) -> None:
    if mistakes:
        raise SheetError(mistakes)


def _wrong_groups(file: str, parts_file: str, sheet: Parts, mesh: MeshFile) -> list[Mistake]:
    """Groups of the mesh against tables of the parts sheet."""
    if not mesh.faces:
        return [Mistake(file, "has no named surface groups", "", "every part as a named (physical) group", mesh.hint)]
    wrong = [
        Mistake(file, f"surface group '{name}' has no [part.{name}] table in {parts_file}", "", "one for each group")
        for name in mesh.faces
        if name not in sheet.part
    ]
    wrong += _wrong_names(file, [*mesh.faces, *mesh.edges], [*mesh.faces, *sheet.beam])
    for kind, what, known in (("part", "surface", mesh.faces), ("beam", "curve", mesh.edges)):
        for name in getattr(sheet, kind):
            if name not in known:
                hint = nearest(name, known) or f"known: {', '.join(sorted(known)) or 'none'}"
                wrong.append(Mistake(parts_file, f"[{kind}.{name}] names no {what} group of {file}", "", "", hint))
    bare = len(mesh.triangles) - len(np.unique(np.concatenate(list(mesh.faces.values()))))
    if bare:
        text = f"{bare} of {len(mesh.triangles)} triangles belong to no named group"
        wrong.append(Mistake(file, text, "", "every triangle in a named group"))
    return wrong


def _wrong_names(file: str, groups: Sequence[str], named: Sequence[str]) -> list[Mistake]:
    """Names of groups that no page or terminal should show, and those of parts and beams that would be one in the results."""
    wrong = [Mistake(file, f"group {show_value(name)}", "", PLAIN) for name in groups if not is_plain(name)]
    parts: dict[str, list[str]] = {}
    for name in dict.fromkeys(named):
        parts.setdefault(part_of(name), []).append(name)
    for part, alike in parts.items():
        if len(alike) > 1:
            text = f"groups {', '.join(map(show_value, alike))} would be one part, {show_value(part)}: what follows '/' is left out"
            wrong.append(Mistake(file, text, "", "names that differ before any '/'"))
    return wrong


def _wrong_shape(file: str, points: np.ndarray, triangles: np.ndarray) -> list[Mistake]:
    if not np.isfinite(points).all():
        return [Mistake(file, "some node coordinates are not finite numbers", "", "numbers")]
    corners = points[triangles]
    twice_area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    flat = np.flatnonzero(twice_area < 1e-6 * np.linalg.norm(np.ptp(corners, axis=1), axis=1) ** 2)
    if not flat.size:
        return []
    return [Mistake(file, f"{flat.size} triangles have no area, the first one {_near(corners[flat[0]])}", "", "none")]


def _wrong_scale(parts_file: str, sheet: Parts, points: np.ndarray) -> list[Mistake]:
    """Thicknesses and offsets against the size of the shell: a wrong unit or a slipped decimal point."""
    extent = float(np.linalg.norm(np.ptp(points, axis=0)))
    wrong = []
    for name, part in sheet.part.items():
        ratio = part.thickness_mm * MM / extent
        if not THINNEST < ratio < THICKEST:
            unit = _likely_unit(ratio, sheet.length_unit)
            value = f"{part.thickness_mm:g} on a shell {extent:.3g} m large"
            hint = f"length_unit = '{sheet.length_unit}'; did you mean '{unit}'?" if unit else ""
            wrong.append(Mistake(parts_file, f"part.{name}.thickness_mm", value, "the thickness of a shell", hint))
        elif name in PLATES and extent < INSTRUMENT and not PLATE_RANGE[0] <= part.thickness_mm <= PLATE_RANGE[1]:
            slip = part.thickness_mm * (0.1 if part.thickness_mm > 1 else 10)
            allowed = f"{PLATE_RANGE[0]} to {PLATE_RANGE[1]} mm for the {name} of an instrument"
            hint = f"did you mean {slip:.3g}?"
            wrong.append(Mistake(parts_file, f"part.{name}.thickness_mm", f"{part.thickness_mm:g}", allowed, hint))
    for name, table in sheet.beam.items():
        offset = table.offset_mm
        far = [offset.inward, offset.up] if isinstance(offset, Following) else offset
        if np.linalg.norm(far) * MM > extent:
            allowed = f"an offset smaller than the shell, which is {extent:.3g} m large"
            wrong.append(Mistake(parts_file, f"beam.{name}.offset_mm", f"{list(far)}", allowed))
    return wrong


def _likely_unit(ratio: float, stated: str) -> str | None:
    """The unit of length in which thickness over extent would be that of a shell, or None."""
    return next((u for u in METRES if 1e-3 < ratio * METRES[stated] / METRES[u] < 0.1), None)


def _off_the_shell(
    file: str, points: np.ndarray, triangles: np.ndarray, curves: Mapping[str, np.ndarray]
) -> list[Mistake]:
    """Curve groups with edges that are no edges of triangles."""
    known = set(map(tuple, np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1).tolist()))
    wrong = []
    for name, pairs in curves.items():
        off = [p for p in np.sort(pairs, axis=1).tolist() if tuple(p) not in known]
        if off:
            text = (
                f"curve group '{name}' leaves the shell: {len(off)} of its {len(pairs)} edges are no edges of triangles"
            )
            text += f", the first one {_near(points[off[0]])}"
            wrong.append(Mistake(file, text, "", "a curve along edges of triangles"))
    return wrong


def _apart(file: str, points: np.ndarray, mesh: MeshFile) -> list[Mistake]:
    """A shell that falls into pieces which share no nodes."""
    i, j = mesh.triangles[:, [0, 1]].ravel(), mesh.triangles[:, [1, 2]].ravel()
    graph = csr_array((np.ones(len(i)), (i, j)), shape=(len(points), len(points)))
    count, label = connected_components(graph, directed=False)
    if count == 1:
        return []
    piece = label[mesh.triangles[:, 0]]
    parts = [", ".join(sorted(n for n, at in mesh.faces.items() if (piece[at] == k).any())) for k in range(count)]
    shown = " | ".join(parts[:6]) + (" | ..." if count > 6 else "")
    size = np.linalg.norm(np.ptp(points, axis=0))
    same = len(points) - len(np.unique(np.round(points / size, 7), axis=0))
    hint = f"{same} nodes lie on another node: merge them in the program that made the mesh" if same else ""
    text = f"the shell falls into {count} pieces that share no nodes ({shown})"
    return [Mistake(file, text, "", "one connected shell", hint)]


def _near(points: np.ndarray) -> str:
    return "near ({}) m".format(", ".join(f"{x:.4g}" for x in points.mean(axis=0)))


# --- geometry ---


def outward_normals(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Unit normals (m, 3), alike across edges of two triangles; where three or more meet, nothing is carried over.

    A piece whose normals nearly cancel (closed, or a tube) faces outward. A sheet faces up; an upright one +y, else +x.
    """
    normal = unit_normals(points, triangles)
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    owner = np.repeat(np.arange(len(triangles)), 3)
    order = np.lexsort(np.sort(pairs, axis=1).T)
    pairs, owner = pairs[order], owner[order]
    first = np.flatnonzero(np.r_[True, (np.diff(np.sort(pairs, axis=1), axis=0) != 0).any(axis=1)])
    two = first[np.diff(np.r_[first, len(pairs)]) == 2]
    alike = pairs[two, 0] != pairs[two + 1, 0]  # neighbours wound alike run along their edge in opposite directions
    sign, piece = _carried_signs(len(triangles), owner[two], owner[two + 1], np.where(alike, 1, -1))
    corners = points[triangles]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    normal = normal * sign[:, None]
    for k in range(piece.max() + 1):
        at = np.flatnonzero(piece == k)
        normal[at] *= _facing(corners[at].mean(axis=1), area[at], normal[at])
    return normal


def _carried_signs(count: int, a: np.ndarray, b: np.ndarray, relative: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Signs (count,) with sign[b] = relative sign[a] wherever possible, and the number of each one's piece (count,)."""
    graph = csr_array((np.ones(len(a)), (a, b)), shape=(count, count))
    piece = connected_components(graph, directed=False)[1]
    sign = np.zeros(count, int)
    sign[np.unique(piece, return_index=True)[1]] = 1
    while not sign.all():
        on, back = (sign[a] != 0) & (sign[b] == 0), (sign[a] == 0) & (sign[b] != 0)
        sign[b[on]] = sign[a[on]] * relative[on]
        sign[a[back]] = sign[b[back]] * relative[back]
    return sign, piece


def _facing(middle: np.ndarray, area: np.ndarray, normal: np.ndarray) -> int:
    """+1 where the normals of a piece face outward (closed) or upward (sheet), else -1."""
    mean = area @ normal
    if np.linalg.norm(mean) < 0.5 * area.sum():
        out = middle - np.average(middle, axis=0, weights=area)
        return 1 if np.sum(area * np.sum(out * normal, axis=1)) >= 0 else -1
    axis = next(k for k in (2, 1, 0) if abs(mean[k]) > 0.1 * np.linalg.norm(mean))
    return 1 if mean[axis] > 0 else -1


def _grain(
    file: str, name: str, sheet: Parts, middle: np.ndarray, normal: np.ndarray, mistakes: list[Mistake]
) -> np.ndarray:
    """Grain (k, 3) on triangles of a part; any direction where an isotropic material does not tell."""
    part = sheet.part[name]
    wanted = np.cross([0.0, 0, 1], normal) if part.grain == "rim" else np.broadcast_to(_unit(part.grain), normal.shape)
    flat = np.linalg.norm(wanted - np.sum(wanted * normal, axis=1, keepdims=True) * normal, axis=1) < SQUARE
    if flat.any() and not isinstance(sheet.material[part.material], Isotropic):
        where = _near(middle[flat][:1])
        if part.grain == "rim":
            value, allowed = f"'rim', but the surface lies flat {where}", "'rim' on upright surfaces only"
        else:
            value, allowed = f"{part.grain}, which is square to the surface {where}", "a direction along the surface"
        mistakes.append(Mistake(file, f"part.{name}.grain", value, allowed))
    anyhow = np.eye(3)[np.argmin(np.abs(normal), axis=1)]
    return along_surface(np.where(flat[:, None], anyhow, wanted), normal)


def _unit(direction: Sequence[float] | None) -> np.ndarray:
    vector = np.zeros(3) if direction is None else np.asarray(direction, float)
    return vector / (np.linalg.norm(vector) or 1.0)


def _line(file: str, name: str, points: np.ndarray, edges: np.ndarray, table: Beam, mistakes: list[Mistake]) -> Line:
    """Line of a beam whose offset leads from the edges to the middle of the section."""
    t = points[edges[:, 1]] - points[edges[:, 0]]
    length = np.linalg.norm(t, axis=1, keepdims=True)
    t = t / length
    up = _unit(table.up) - (t @ _unit(table.up))[:, None] * t
    lean = np.linalg.norm(up, axis=1, keepdims=True)
    offset = np.zeros_like(t)
    if (lean < SQUARE).any():
        where = _near(points[edges[np.argmin(lean)]])
        mistakes.append(
            Mistake(file, f"beam.{name}.up", f"{table.up}, which runs along the curve {where}", "a direction across it")
        )
        return Line(edges, up, np.ones(edges.shape), offset)
    up = up / lean
    if isinstance(table.offset_mm, Following):
        side = _inward(points, edges, np.cross(up, t), length[:, 0]) if table.offset_mm.inward else offset
        if side is None:
            value = "which way is inward on a straight curve through the middle of the shell?"
            mistakes.append(Mistake(file, f"beam.{name}.offset_mm.inward: {value}", "", "offset_mm = [x, y, z]"))
            side = offset
        offset = (table.offset_mm.inward * side + table.offset_mm.up * up) * MM
    else:
        offset = offset + np.asarray(table.offset_mm, float) * MM
    return Line(edges, up, np.ones(edges.shape), offset)


def _inward(points: np.ndarray, edges: np.ndarray, side: np.ndarray, length: np.ndarray) -> np.ndarray | None:
    """The unit vectors `side` (k, 3) square to the edges, turned toward the inside of the curve; None if it has none.

    Alike along every unbranched run of edges. A closed run turns to its own inside; an open one toward the middle of
    the curve's bounding box, or, where it is straight, of the shell's.
    """
    ends, owner = edges.ravel(), np.repeat(np.arange(len(edges)), 2)
    order = np.argsort(ends, kind="stable")
    first = np.flatnonzero(np.r_[True, np.diff(ends[order]) != 0])
    two = first[np.diff(np.r_[first, len(ends)]) == 2]
    one, other = order[two], order[two + 1]
    sign, run = _carried_signs(len(edges), owner[one], owner[other], np.where(one % 2 != other % 2, 1, -1))
    side, middle = side * sign[:, None], points[edges].mean(axis=1)
    curve = points[np.unique(edges)]
    turned = np.zeros_like(side)
    for k in range(run.max() + 1):
        at, span = np.flatnonzero(run == k), np.linalg.norm(np.ptp(points, axis=0))
        for box in (curve, points):
            toward = (box.min(axis=0) + box.max(axis=0)) / 2 - middle[at]
            inside = length[at] @ np.sum(side[at] * toward, axis=1)
            if abs(inside) > 1e-6 * length[at].sum() * span:
                turned[at] = side[at] * np.sign(inside)
                break
        else:
            return None
    return turned
