"""Any shell mesh with named groups (.msh, .vtu) and its parts sheet, as ShellMesh and sections."""

import contextlib
import io
from pathlib import Path

import numpy as np

from fem.mesh import Line, ShellMesh, Surface, along_surface, unit_normals
from fem.sections import Layer, beam, laminate
from meshes.parts_sheet import MM, UNITS, Following, read_parts
from meshes.sheet_errors import nearest

TRIANGLES = {"triangle": 3, "triangle6": 3, "triangle7": 3, "triangle10": 3}
QUADS = {"quad": 4, "quad8": 4, "quad9": 4}
LINES = {"line": 2, "line3": 2, "line4": 2}


def read_foreign(mesh_path, parts_path):
    """(ShellMesh, {region: Section}) of a foreign mesh. ValueError in plain words for anything to be mended.

    Higher-order cells keep their corners only; quadrilaterals are cut into two triangles. Coincident nodes stay apart.
    """
    sheet, woods = read_parts(parts_path)
    file = Path(mesh_path).name
    points, triangles, faces, edges = _read(Path(mesh_path))
    points = points * UNITS[sheet.length_unit]
    _check_groups(file, Path(parts_path).name, sheet, faces, edges, len(triangles))
    normal = _outward(points, triangles)
    surfaces = {name: Surface(at, _grain(name, sheet.part[name].grain, normal[at])) for name, at in faces.items()}
    lines = {name: _line(name, points, edges[name], table) for name, table in sheet.beam.items()}
    named = {name: pairs for name, pairs in edges.items() if name not in lines}
    mesh = ShellMesh(points, triangles, normal, surfaces, lines, {}, named)
    _check_edges(file, mesh)
    sections = {
        name: laminate([Layer(woods[part.material], part.thickness_mm * MM)]) for name, part in sheet.part.items()
    } | {
        name: beam(woods[b.material], b.width_mm * MM, b.height_mm * MM, -b.height_mm * MM / 2)
        for name, b in sheet.beam.items()
    }
    return mesh, sections


# --- reading ---


def _read(path):
    """Points (n, 3), triangles (m, 3), {group: triangle indices}, {group: edges (k, 2)}; unused points dropped."""
    import meshio

    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            mesh = meshio.read(path)
    except (Exception, SystemExit) as error:  # meshio raises a different kind for every format, and exits on some
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise ValueError(
            f"{path.name}: cannot be read as a mesh ({reason}); expected a sound .msh or .vtu file"
        ) from None
    groups = _groups(mesh)
    triangles, faces, edges, count = [], {}, {}, 0
    for block, cells in enumerate(mesh.cells):
        data = np.asarray(cells.data, int)
        for kinds, target in ((TRIANGLES, faces), (QUADS, faces), (LINES, edges)):
            if cells.type not in kinds:
                continue
            corners = data[:, : kinds[cells.type]]
            copies = 1
            if target is faces:
                if kinds is QUADS:
                    corners, copies = np.concatenate([corners[:, [0, 1, 2]], corners[:, [0, 2, 3]]]), 2
                triangles.append(corners)
            for name, members in groups.items():
                at = members[block]
                if not len(at):
                    continue
                if target is faces:
                    own = np.concatenate([at + k * len(data) for k in range(copies)]) + count
                    target.setdefault(name, []).append(own)
                else:
                    target.setdefault(name, []).append(corners[at])
            if target is faces:
                count += len(corners)
    if not triangles:
        raise ValueError(f"{path.name}: holds no triangles or quadrilaterals; expected a shell mesh")
    triangles = np.concatenate(triangles)
    faces = {name: np.unique(np.concatenate(v)) for name, v in faces.items()}
    edges = {name: np.unique(np.sort(np.concatenate(v), axis=1), axis=0) for name, v in edges.items()}
    return _compact(path.name, np.asarray(mesh.points, float), triangles, faces, edges)


def _compact(file, points, triangles, faces, edges):
    if points.shape[1] == 2:
        points = np.column_stack([points, np.zeros(len(points))])
    used = np.unique(triangles)
    new = np.full(len(points), -1)
    new[used] = np.arange(len(used))
    for name, pairs in edges.items():
        if (new[pairs] < 0).any():
            raise ValueError(
                f"{file}: curve group '{name}' has nodes that no triangle uses; expected edges of the shell"
            )
    return points[used], new[triangles], faces, {name: new[pairs] for name, pairs in edges.items()}


def _groups(mesh):
    """{group: [indices within each cell block]} by physical names, cell sets, or arrays of group numbers."""
    found = {}
    numbers = {int(v[0]): (name, int(v[1])) for name, v in (mesh.field_data or {}).items() if np.size(v) >= 2}
    for key in ("gmsh:physical", "part", "group"):
        for block, values in enumerate(mesh.cell_data.get(key, [])):
            dim = 1 if mesh.cells[block].type in LINES else 2
            for number in np.unique(values):
                named = [n for n, v in mesh.field_data.items() if int(v[0]) == number and int(v[1]) == dim]
                if named or int(number) in numbers:
                    name = named[0] if named else numbers[int(number)][0]
                    _put(found, mesh, name, block, np.flatnonzero(values == number))
    for name, members in (mesh.cell_sets or {}).items():
        if not name.startswith("gmsh:"):
            for block, at in enumerate(members):
                _put(found, mesh, name, block, np.asarray(at, int) if at is not None else np.zeros(0, int))
    for name, blocks in mesh.cell_data.items():
        if name.startswith("gmsh:") or name in found or any(np.ndim(b) != 1 for b in blocks):
            continue
        values, names = np.unique(np.concatenate(blocks)), name.split("-")
        if set(values) <= {0, 1} and values.any() and len(names) == 1:  # one 0/1 array per group
            for block, marks in enumerate(blocks):
                _put(found, mesh, name, block, np.flatnonzero(marks))
        elif len(names) > 1 and set(values) <= set(range(-1, len(names))):  # meshio's 'top-back-sides' of set numbers
            for number, group in enumerate(names):
                for block, marks in enumerate(blocks):
                    _put(found, mesh, group, block, np.flatnonzero(marks == number))
    return found


def _put(found, mesh, name, block, at):
    members = found.setdefault(name, [np.zeros(0, int) for _ in mesh.cells])
    members[block] = np.union1d(members[block], at).astype(int)


# --- checks ---


def _check_groups(file, parts_file, sheet, faces, edges, triangles):
    if not faces:
        raise ValueError(
            f"{file}: has no named surface groups; expected each part of the shell as a named (physical) group"
        )
    problems = []
    for name in faces:
        if name not in sheet.part:
            problems.append(f"{file}: surface group '{name}' has no [part.{name}] table in {parts_file}")
    for kind, known in (("part", faces), ("beam", edges)):
        what = "surface" if kind == "part" else "curve"
        for name in getattr(sheet, kind):
            if name not in known:
                hint = nearest(name, known)
                problems.append(
                    f"{parts_file}: [{kind}.{name}] names no {what} group of {file}"
                    + (f"; {hint}" if hint else f"; known: {', '.join(sorted(known)) or 'none'}")
                )
    bare = triangles - len(np.unique(np.concatenate(list(faces.values()))))
    if bare:
        problems.append(
            f"{file}: {bare} of {triangles} triangles belong to no named group; expected every one in a group"
        )
    if problems:
        raise ValueError("\n".join(problems))


def _check_edges(file, mesh):
    t = np.sort(mesh.triangles, axis=1)
    known = {*map(tuple, t[:, [0, 1]].tolist()), *map(tuple, t[:, [0, 2]].tolist()), *map(tuple, t[:, [1, 2]].tolist())}
    for name, pairs in {**{n: line.edges for n, line in mesh.lines.items()}, **mesh.edges}.items():
        off = [p for p in np.sort(pairs, axis=1).tolist() if tuple(p) not in known]
        if off:
            x = ", ".join(f"{v:.4g}" for v in mesh.nodes[off[0]].mean(axis=0))
            raise ValueError(
                f"{file}: curve group '{name}' leaves the shell: {len(off)} of its edges are not edges of triangles, "
                f"the first near ({x}) m; expected a curve that lies on the mesh"
            )
    pieces = _pieces(mesh.triangles)
    if pieces.max() > 0:
        parts = [
            ", ".join(sorted(n for n, s in mesh.surfaces.items() if (pieces[s.triangles] == k).any()))
            for k in range(pieces.max() + 1)
        ]
        raise ValueError(
            f"{file}: the shell falls into {len(parts)} pieces that share no nodes ({' | '.join(parts)}); "
            "expected one connected shell: merge coincident nodes"
        )


def _pieces(triangles):
    """Number of the connected piece of every triangle (m,)."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    n = triangles.max() + 1
    i, j = triangles[:, [0, 1]].ravel(), triangles[:, [1, 2]].ravel()
    label = connected_components(csr_array((np.ones(len(i)), (i, j)), shape=(n, n)), directed=False)[1]
    return np.unique(label[triangles[:, 0]], return_inverse=True)[1]


# --- geometry ---


def _outward(points, triangles):
    """Unit normals (m, 3), alike across edges shared by two triangles; of a closed shell outward, of an open one upward."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import breadth_first_order

    normal = unit_normals(points, triangles)
    pairs = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    owner = np.repeat(np.arange(len(triangles)), 3)
    low = np.sort(pairs, axis=1)
    order = np.lexsort(low.T)
    low, forward, owner = low[order], (pairs[:, 0] < pairs[:, 1])[order], owner[order]
    first = np.flatnonzero(np.r_[True, (np.diff(low, axis=0) != 0).any(axis=1)])
    two = first[np.diff(np.r_[first, len(low)]) == 2]
    a, b = owner[two], owner[two + 1]
    flip = np.where(forward[two] == forward[two + 1], 1.0, -1.0)  # same way along the edge: opposite windings
    m = len(triangles)
    # breadth first over the dual graph, carrying the sign
    graph = csr_array((np.ones(2 * len(a)), (np.r_[a, b], np.r_[b, a])), shape=(m, m))
    turn = {**dict(zip(zip(a.tolist(), b.tolist()), flip)), **dict(zip(zip(b.tolist(), a.tolist()), flip))}
    sign = np.zeros(m)
    for seed in range(m):
        if sign[seed]:
            continue
        sign[seed] = 1
        nodes, before = breadth_first_order(graph, seed, directed=False)
        for k in nodes[1:]:
            sign[k] = sign[before[k]] * (1 if turn[before[k], k] < 0 else -1)
        sign[nodes] *= _facing(points, triangles[nodes], normal[nodes] * sign[nodes, None])
    return normal * sign[:, None]


def _facing(points, triangles, normal):
    """+1 if a piece's normals face outward (closed) or upward (flat), else -1."""
    corners = points[triangles]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    middle = corners.mean(axis=1)
    centre = np.average(middle, axis=0, weights=area)
    volume = np.sum(area * np.sum((middle - centre) * normal, axis=1)) / 3
    size = np.linalg.norm(np.ptp(corners.reshape(-1, 3), axis=0))
    if abs(volume) > 1e-3 * area.sum() * size:
        return np.sign(volume)
    mean = area @ normal
    along = mean[np.argmax(np.abs(mean) > 0.5 * np.abs(mean).max())] if np.abs(mean).max() == 0 else 0
    for axis in (2, 1, 0):
        if abs(mean[axis]) > 0.1 * np.abs(mean).max():
            return np.sign(mean[axis])
    return along or 1.0


def _grain(name, grain, normal):
    if grain is None:
        grain = np.eye(3)[np.argmin(np.abs(normal), axis=1)]
    elif isinstance(grain, str):
        grain = np.cross([0.0, 0.0, 1.0], normal)
        if (np.linalg.norm(grain, axis=1) < 1e-6).any():
            raise ValueError(f"part.{name}.grain = 'rim': the surface lies flat somewhere; expected an upright one")
    try:
        return along_surface(grain, normal)
    except ValueError:
        raise ValueError(
            f"part.{name}.grain = {grain}: square to the surface somewhere; expected a direction along it"
        ) from None


def _line(name, points, edges, table):
    t = points[edges[:, 1]] - points[edges[:, 0]]
    t = t / np.linalg.norm(t, axis=1, keepdims=True)
    up = np.broadcast_to(np.asarray(table.up, float), t.shape)
    up = up - np.sum(up * t, axis=1, keepdims=True) * t
    length = np.linalg.norm(up, axis=1, keepdims=True)
    if (length <= 1e-6 * np.linalg.norm(table.up)).any():
        raise ValueError(f"beam.{name}.up = {table.up}: runs along the curve somewhere; expected a direction across it")
    up = up / length
    if isinstance(table.offset_mm, Following):
        middle = points[edges].mean(axis=1)
        side = np.cross(up, t)
        centre = (points[np.unique(edges)].min(axis=0) + points[np.unique(edges)].max(axis=0)) / 2
        side *= np.where(np.sum(side * (centre - middle), axis=1, keepdims=True) < 0, -1, 1)
        offset = (table.offset_mm.inward * side + table.offset_mm.up * up) * MM
    else:
        offset = np.tile(np.asarray(table.offset_mm, float) * MM, (len(edges), 1))
    return Line(edges, up, np.ones(edges.shape), offset)
