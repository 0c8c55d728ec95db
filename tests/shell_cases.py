"""Meshes, loads and supports for the tests of the finite-element core."""

import numpy as np
import scipy.sparse.linalg as spl

from fem.materials import Wood, isotropic
from fem.mesh import InterfaceSpring, Line, ShellMesh, Surface, along_surface, unit_normals

SKEW = np.linalg.qr(np.random.default_rng(7).normal(size=(3, 3)))[0]
SKEW = SKEW * np.sign(np.linalg.det(SKEW))  # a rotation along no axis of the frame

SPRUCE = Wood("spruce", 11.88e9, 0.078 * 11.88e9, 0.064 * 11.88e9, 0.061 * 11.88e9, 0.003 * 11.88e9, 0.372, 448.0)
LOSSY = Wood("lossy spruce", 11e9, 0.9e9, 0.75e9, 0.7e9, 0.04e9, 0.37, 420.0, loss_L=0.006, loss_R=0.021, loss_G=0.016)
STEEL = isotropic("steel", 200e9, 0.3, 8000.0)


def stiff_in_shear(wood, times=1e3):
    """The wood with its transverse shear moduli raised, for comparison with Kirchhoff's theory."""
    return Wood(
        wood.name, wood.E_L, wood.E_R, wood.G_LR, times * wood.G_LT, times * wood.G_RT, wood.nu_LR, wood.density,
        loss_L=wood.loss_L, loss_R=wood.loss_R, loss_G=wood.loss_G,
    )  # fmt: skip


def grid(nx, ny):
    """Parameters (n, 2) in 0..1 and triangles of a structured net, its diagonals in alternating directions."""
    s, t = np.meshgrid(np.linspace(0, 1, nx + 1), np.linspace(0, 1, ny + 1), indexing="ij")
    k = np.arange((nx + 1) * (ny + 1)).reshape(nx + 1, ny + 1)
    triangles = []
    for i in range(nx):
        for j in range(ny):
            a, b, c, d = k[i, j], k[i + 1, j], k[i + 1, j + 1], k[i, j + 1]
            triangles += [(a, b, c), (a, c, d)] if (i + j) % 2 else [(a, b, d), (b, c, d)]
    return np.column_stack([s.ravel(), t.ravel()]), np.array(triangles)


def sheet(place, nx, ny, grain, **parts):
    """ShellMesh of one surface 'plate' through place(s, t) -> (n, 3) grain a direction or a function of place."""
    st, triangles = grid(nx, ny)
    nodes = np.asarray(place(st[:, 0], st[:, 1]), float)
    n = unit_normals(nodes, triangles)
    direction = grain(nodes[triangles].mean(axis=1)) if callable(grain) else grain
    return ShellMesh(
        nodes, triangles, n, {"plate": Surface(np.arange(len(triangles)), along_surface(direction, n))}, **parts
    )


def plate(a, b, nx, ny, grain=0.0, irregular=0.0, turn=None, lines=None):
    """Flat plate 0..a by 0..b, grain at an angle [degrees] to x; inner nodes moved by up to `irregular` of a cell.

    turn: rotation matrix of the whole. lines: {name: y} become beam-carrying lines along x, up = +z, offset 0.
    """
    move = np.random.default_rng(3).uniform(-irregular, irregular, ((nx + 1) * (ny + 1), 2)) * [a / nx, b / ny]

    def place(s, t):
        inner = (s > 1e-9) & (s < 1 - 1e-9) & (t > 1e-9) & (t < 1 - 1e-9)
        xy = np.column_stack([a * s, b * t]) + move * inner[:, None]
        return np.column_stack([xy, 0 * s]) @ (np.eye(3) if turn is None else turn).T

    R = np.eye(3) if turn is None else turn
    angle = np.deg2rad(grain)
    found = {name: line_at(nx, ny, y / b, R[:, 2]) for name, y in (lines or {}).items()}
    k = np.arange((nx + 1) * (ny + 1)).reshape(nx + 1, ny + 1)
    edges = {"west": k[0], "east": k[-1], "south": k[:, 0], "north": k[:, -1]}
    edges = {name: np.column_stack([run[:-1], run[1:]]) for name, run in edges.items()}
    return sheet(place, nx, ny, R @ [np.cos(angle), np.sin(angle), 0], lines=found, edges=edges)


def line_at(nx, ny, t, up, taper=(1.0, 1.0)):
    """Line of a net along its first parameter, at the second parameter t; height tapers between the two ends."""
    k = np.arange((nx + 1) * (ny + 1)).reshape(nx + 1, ny + 1)[:, round(t * ny)]
    height = np.linspace(*taper, nx + 1)
    return Line(
        np.column_stack([k[:-1], k[1:]]),
        np.tile(up, (nx, 1)),
        np.column_stack([height[:-1], height[1:]]),
        np.zeros((nx, 3)),
    )


def split_plate(a, b, nx, ny):
    """Two plates 'left' and 'right' that meet at x = a/2 with duplicated nodes, joined by the seam 'joint'."""
    left, right = plate(a / 2, b, nx, ny), plate(a / 2, b, nx, ny)
    k = len(left.nodes)
    east, west = left.edges["east"], right.edges["west"] + k
    return ShellMesh(
        np.vstack([left.nodes, right.nodes + np.array([a / 2, 0, 0])]),
        np.vstack([left.triangles, right.triangles + k]),
        np.vstack([left.normal, right.normal]),
        {
            "left": left.surfaces["plate"],
            "right": Surface(right.surfaces["plate"].triangles + len(left.triangles), right.surfaces["plate"].grain),
        },
        interface_springs={"joint": InterfaceSpring(east, west, np.tile([-1.0, 0, 0], (len(east), 2, 1)))},
        edges={"west": left.edges["west"], "east": right.edges["east"] + k},
    )


def tube(radius, length, nx, ny, angle=np.pi):
    """Part of a cylinder about z: nx facets round `angle`, ny along; grain round it; normals outward."""

    def place(s, t):
        return np.column_stack([radius * np.cos(angle * s), radius * np.sin(angle * s), length * t])

    return sheet(place, nx, ny, lambda p: np.column_stack([-p[:, 1], p[:, 0], 0 * p[:, 0]]))


def closed_tube(radius, length, n, ny):
    """A whole cylinder about z, n facets round and ny along; grain round it."""
    mesh = tube(radius, length, n, ny, 2 * np.pi)
    nodes, triangles = _merged(mesh.nodes, mesh.triangles)
    return ShellMesh(nodes, triangles, mesh.normal, mesh.surfaces)


def folded_box(a, b, c, n, turn=SKEW, braces=True):
    """Closed box a x b x c with sharp folds: parts 'top', 'back', 'sides', and 'rib' along x inside the top.

    turn: rotation of the whole box. The rib's up points into the box, its line's offset is skew to all axes.
    """
    net = {"x": (n, a), "y": (n, b), "z": (2, c)}
    faces = [
        ("top", "xy", lambda s, t: (s, t, c + 0 * s), (0, 0, 1)),
        ("back", "xy", lambda s, t: (s, t, 0 * s), (0, 0, -1)),
        ("sides", "xz", lambda s, t: (s, 0 * s, t), (0, -1, 0)),
        ("sides", "xz", lambda s, t: (s, b + 0 * s, t), (0, 1, 0)),
        ("sides", "yz", lambda s, t: (0 * s, s, t), (-1, 0, 0)),
        ("sides", "yz", lambda s, t: (a + 0 * s, s, t), (1, 0, 0)),
    ]
    nodes, triangles, normal, part = [], [], [], []
    for name, (u, v), place, out in faces:
        st, tri = grid(net[u][0], net[v][0])
        triangles.append(tri + sum(map(len, nodes)))
        nodes.append(np.column_stack(place(st[:, 0] * net[u][1], st[:, 1] * net[v][1])))
        normal.append(np.tile(out, (len(tri), 1)))
        part += [name] * len(tri)
    nodes, triangles = _merged(np.vstack(nodes), np.vstack(triangles))
    normal, part = np.vstack(normal).astype(float), np.array(part)
    lines = {}
    if braces:
        on = np.flatnonzero((abs(nodes[:, 2] - c) < 1e-9) & (abs(nodes[:, 1] - b * (n // 2) / n) < 1e-9))
        on = on[np.argsort(nodes[on, 0])]
        k = len(on) - 1
        up, offset = np.tile(turn @ [0, 0, -1.0], (k, 1)), np.tile(turn @ [0.002, 0.004, -0.003], (k, 1))
        lines["rib"] = Line(np.column_stack([on[:-1], on[1:]]), up, np.tile([1.0, 0.6], (k, 1)), offset)
    along = np.where((part == "sides")[:, None], np.cross([0, 0, 1.0], normal), [1.0, 0.3, 0])
    grain = along_surface(along, normal)
    surfaces = {p: Surface(np.flatnonzero(part == p), grain[part == p] @ turn.T) for p in ("top", "back", "sides")}
    return ShellMesh(nodes @ turn.T, triangles, normal @ turn.T, surfaces, lines)


def _merged(nodes, triangles):
    """Nodes that coincide made one."""
    _, first, back = np.unique(np.round(nodes, 9), axis=0, return_index=True, return_inverse=True)
    return nodes[first], back.ravel()[triangles]


def unknowns(space, where, components):
    """Indices of the unknowns (0-2 displacement, 3-5 rotation) at the points where where(points) is true."""
    at = np.flatnonzero(where(space.points))
    return (6 * at[:, None] + np.asarray(components)).ravel()


def near(axis, value, tolerance=1e-9):
    """where(points) of all points with that coordinate."""
    return lambda x: abs(x[:, axis] - value) < tolerance


def surface_load(space, density):
    """Consistent load (size,) of (6,) forces and moments per area, equal everywhere: int phi f dA."""
    phi, _, weight = space.shell_fields
    shares = np.einsum("eq,qa->ea", weight, phi)
    F = np.zeros((space.size // 6, 6))
    np.add.at(F, space.basis.element_dofs.T, shares[:, :, None] * np.asarray(density, float))
    return F.ravel()


def edge_load(space, edges, density):
    """Consistent load (size,) of (6,) forces and moments per length along edges."""
    _, phi, _, weight, _ = space.edge_fields(edges)
    F = np.zeros((space.size // 6, 6))
    np.add.at(F, space.edge_nodes(edges), np.einsum("eq,qa->ea", weight, phi)[:, :, None] * np.asarray(density, float))
    return F.ravel()


def solved(K, F, fixed, given=None):
    """K x = F with the fixed unknowns held at zero, or at their values in `given` (size,)."""
    x = np.zeros(K.shape[0])
    if given is not None:
        x[fixed] = given[fixed]
    free = np.setdiff1d(np.arange(K.shape[0]), fixed)
    symmetric = dict(permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=dict(SymmetricMode=True))
    x[free] = spl.splu(K[free][:, free].tocsc(), **symmetric).solve((F - K @ x)[free])
    return x


def hard_support(space, a, b):
    """Unknowns of a hard simple support of the plate 0..a by 0..b, with motion in the plane held everywhere."""

    def at(axis, value):
        return lambda x: near(axis, 0)(x) | near(axis, value)(x)

    return np.unique(
        np.concatenate([
            unknowns(space, lambda x: np.ones(len(x), bool), (0, 1, 5)),
            unknowns(space, at(0, a), (2, 3)),  # w and the rotation along the edge x = const: th about x
            unknowns(space, at(1, b), (2, 4)),
        ])
    )  # fmt: skip
