"""Foreign mesh files and parts sheets for the tests, written by gmsh and by meshio."""

import math

import gmsh
import meshio
import numpy as np

STEEL = """
[material.steel]
E_GPa = 200
nu = 0.3
density_kg_m3 = 8000
loss = 0.002
[part.plate]
material = "steel"
thickness_mm = 50
"""
SPRUCE = """
[material.spruce]
E_along_GPa = 11.5
E_across_GPa = 0.6
nu_along_across = 0.4
G_in_plane_GPa = 0.7
G_along_normal_GPa = 0.7
G_across_normal_GPa = 0.06
density_kg_m3 = 420
"""
BOX = (
    SPRUCE
    + "".join(f'[part.{p}]\nmaterial = "spruce"\nthickness_mm = 2.8\ngrain = [1, 0, 0]\n' for p in ("top", "back"))
    + """
[part.sides]
material = "spruce"
thickness_mm = 2.2
grain = "rim"
[beam.rib]
material = "spruce"
width_mm = 8
height_mm = 12
up = [0, 0, 1]
offset_mm = {inward = 0, up = -7.4}
"""
)


def parts_file(path, text):
    path.write_text(text)
    return path


def grid(nx, ny, a, b, skew=0.0):
    """Points (n, 3) and quadrilaterals of a plate."""
    x, y = np.meshgrid(np.linspace(0, a, nx + 1), np.linspace(0, b, ny + 1), indexing="ij")
    points = np.column_stack([(x + skew * y).ravel(), y.ravel(), 0 * x.ravel()])
    i, j = (v.ravel() for v in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
    k = i * (ny + 1) + j
    return points, np.column_stack([k, k + ny + 1, k + ny + 2, k + 1])


def edge(points, at):
    """Pairs of neighbours along the nodes where `at` is true, in order of x + 2 y."""
    nodes = np.flatnonzero(at)
    nodes = nodes[np.argsort(points[nodes, 0] + 2 * points[nodes, 1])]
    return np.column_stack([nodes[:-1], nodes[1:]])


def plate_file(path, points, cells, scale=1.0, **curves):
    """A .vtu file with the surface group 'plate' and named curve groups {name: pairs}, one 0/1 array per group."""
    kind = {3: "triangle", 4: "quad"}[cells.shape[1]]
    return marked_file(path, points * scale, [("plate", kind, cells), *((n, "line", p) for n, p in curves.items())])


def marked_file(path, points, groups):
    """A .vtu file of groups (name, kind of cells, cells), one 0/1 array per group."""
    cells = [(kind, np.asarray(c)) for _, kind, c in groups]
    names = dict.fromkeys(name for name, _, _ in groups)
    data = {n: [np.full(len(c), int(n == own)) for (_, c), (own, _, _) in zip(cells, groups)] for n in names}
    meshio.Mesh(points, cells, cell_data=data).write(path)
    return path


def box(path, version=4.1, binary=0, order=1, quads=False, save_all=0, extra=False, reverse=False, size=0.1):
    """A gmsh box 0.4 x 0.3 x 0.1 with groups top, back, sides and the rib across the top; returns the path.

    extra: a second group 'patch' on the same surfaces as 'back'. reverse: the groups hold the surfaces reversed.
    """
    gmsh.initialize(interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        occ = gmsh.model.occ
        volume = occ.addBox(0, 0, 0, 0.4, 0.3, 0.1)
        line = occ.addLine(occ.addPoint(0.05, 0.05, 0.1), occ.addPoint(0.35, 0.2, 0.1))
        _, pieces = occ.fragment([(2, s) for s in range(1, 7)], [(1, line)])
        occ.remove([(3, volume)])
        occ.synchronize()
        groups = {"top": [], "back": [], "sides": []}
        for _, tag in gmsh.model.getEntities(2):
            z = occ.getCenterOfMass(2, tag)[2]
            groups["top" if z > 0.099 else "back" if z < 0.001 else "sides"].append(tag)
        for name, tags in {**groups, **({"patch": groups["back"]} if extra else {})}.items():
            gmsh.model.addPhysicalGroup(2, [-t for t in tags] if reverse else tags, name=name)
        gmsh.model.addPhysicalGroup(1, [tag for _, tag in pieces[-1]], name="rib")
        gmsh.option.setNumber("Mesh.MeshSizeMax", size)
        gmsh.option.setNumber("Mesh.RecombineAll", int(quads))
        gmsh.model.mesh.generate(2)
        gmsh.model.mesh.setOrder(order)
        gmsh.option.setNumber("Mesh.MshFileVersion", version)
        gmsh.option.setNumber("Mesh.Binary", binary)
        gmsh.option.setNumber("Mesh.SaveAll", save_all)
        gmsh.write(str(path))
    finally:
        gmsh.finalize()
    return path


RIB_LENGTH = math.hypot(0.3, 0.15)
