"""K_part and M_part as Matrix Market files and the mesh as VTU, for people who do their own computing."""

import json

import numpy as np
from scipy.io import mmwrite

from fem.mesh import part_of
from fem.model import weights

README = """Matrices of every part, Matrix Market, symmetric, SI units: K_<part>.mtx [N/m, N, N m], M_<part>.mtx [kg, kg m, kg m2].
K is the sum of all K_<part>, M of all M_<part>. Unknown 6 i + c belongs to node i of nodes.csv: c = 0, 1, 2 displacement
along x, y, z [m], c = 3, 4, 5 rotation about x, y, z [rad]. parts.json lists the parts. mesh.vtu holds the corner mesh,
with one cell array of zeros and ones per region.
"""


def export_matrices(folder, model, case):
    """Write K_part, M_part, the places of the unknowns and the mesh into an existing folder (Path)."""
    w = weights(case.sections)
    parts = {}
    for role in ("K", "M"):
        for part in dict.fromkeys(part_of(region) for r, region, _ in w if r == role):
            own = {key: f for key, f in w.items() if key[0] == role and part_of(key[1]) == part}
            matrix = model.matrix(role, own)
            matrix.eliminate_zeros()
            if matrix.nnz:
                mmwrite(folder / f"{role}_{part}.mtx", matrix, symmetry="symmetric", precision=17)
                parts.setdefault(part, []).append(role)
    np.savetxt(folder / "nodes.csv", model.space.points, delimiter=",", header="x_m,y_m,z_m", comments="")
    (folder / "parts.json").write_text(json.dumps({"schema_version": 1, "parts": parts}, indent=1) + "\n")
    (folder / "README.txt").write_text(README)
    write_mesh(folder / "mesh.vtu", case.mesh)


def write_mesh(path, mesh):
    """The corner mesh with one 0/1 cell array per region."""
    import meshio

    data = {}
    for region, surface in mesh.surfaces.items():
        mark = np.zeros(len(mesh.triangles), np.int8)
        mark[surface.triangles] = 1
        data[region.replace("/", "_")] = [mark]
    meshio.write(path, meshio.Mesh(mesh.nodes, [("triangle", mesh.triangles)], cell_data=data))
