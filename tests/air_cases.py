"""Cavities for the tests of the enclosed air: prisms over a plane mesh, and the exact series of a box under a plate."""

import numpy as np
from scipy.linalg import eigvalsh
from scipy.special import j1
from skfem import MeshTri

from fem.air import Cavity, face_points

C, RHO = 343.2, 1.204  # m/s, kg/m3


def extruded(plan, levels):
    """Cavity over a scikit-fem triangle mesh, between the levels z (k,) [m]; groups 'top', 'back', 'sides'."""
    n, layers = plan.p.shape[1], len(levels) - 1
    nodes = np.vstack([np.column_stack([plan.p.T, np.full(n, z)]) for z in levels])
    a, b, c = np.sort(plan.t, axis=0)
    split = np.vstack([np.stack(t, axis=1) for t in ((a, b, c, c + n), (a, b, b + n, c + n), (a, a + n, b + n, c + n))])
    tetrahedra = np.vstack([split + layer * n for layer in range(layers)])
    triangles = tetrahedra[:, [[0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3]]].reshape(-1, 3)
    triangles, times = np.unique(np.sort(triangles, axis=1), axis=0, return_counts=True)
    skin = triangles[times == 1]
    at = [(skin // n == layer).all(axis=1) for layer in (0, layers)]
    return Cavity(nodes, tetrahedra, {"top": skin[at[1]], "back": skin[at[0]], "sides": skin[~at[0] & ~at[1]]})


def box(a, b, d, n):
    """Cavity of a box a x b x d [m], 0 <= z <= d, of n = (nx, ny, nz) bricks."""
    x, y, z = (np.linspace(0, size, k + 1) for size, k in zip((a, b, d), n))
    return extruded(MeshTri.init_tensor(x, y), z)


def plate_loads(cavity, air, shapes):
    """(unknowns, n) loads of normal displacements given as functions of x, y on 'top'."""
    x, _, N = face_points(cavity, air.basis, "top")
    return N @ np.column_stack([shape(x[:, 0], x[:, 1]) for shape in shapes])


def plate_modes(a, b, D, areal, order):
    """Simply supported plate: Hz, shapes of unit mass, and (i, j) of its modes up to the order, ascending. Leissa 1969."""
    ij = [(i, j) for i in range(1, order + 1) for j in range(1, order + 1)]
    omega = {m: np.sqrt(D / areal) * np.pi**2 * ((m[0] / a) ** 2 + (m[1] / b) ** 2) for m in ij}
    ij = sorted(ij, key=omega.get)
    sine = lambda i, j: lambda x, y: np.sin(i * np.pi * x / a) * np.sin(j * np.pi * y / b) * 2 / np.sqrt(areal * a * b)
    return np.array([omega[m] for m in ij]) / (2 * np.pi), [sine(*m) for m in ij], ij


def backed_plate(a, b, d, f, ij, areal, highest, order=14):
    """Hz of a simply supported plate on a closed box of depth d, by the exact series in cos across and cot along the depth.

    p = sum A cos(m pi x/a) cos(n pi y/b) cos(kz z), kz^2 = (omega/c)^2 - (m pi/a)^2 - (n pi/b)^2, with dp/dz = rho
    omega^2 w at the plate; each plate mode is one equation. Pretlove, J. Sound Vib. 3:252 (1966) for the method.
    """
    sin_cos = lambda i, m, a: 0.0 if (i + m) % 2 == 0 else 2 * a * i / np.pi / (i * i - m * m)
    mn = [(m, n) for m in range(order) for n in range(order)]
    B = np.array([[sin_cos(i, m, a) * sin_cos(j, n, b) for i, j in ij] for m, n in mn])
    B *= 2 / np.sqrt(areal * a * b)
    norm = np.array([a * b / (1 + (m > 0)) / (1 + (n > 0)) for m, n in mn])
    across = np.array([(m * np.pi / a) ** 2 + (n * np.pi / b) ** 2 for m, n in mn])

    def below(hz):
        w = 2 * np.pi * hz
        kz = np.sqrt((w / C) ** 2 - across + 0j)
        Z = (-RHO * w * w / (kz * np.tan(kz * d))).real
        return int(np.sum(eigvalsh(np.diag((2 * np.pi * f) ** 2 - w * w) - B.T @ ((Z / norm)[:, None] * B)) < 0))

    return _crossings(below, np.arange(5.0, highest))


def _crossings(below, grid):
    """Where the number of negative eigenvalues rises, by bisection."""
    counts, found = [below(f) for f in grid], []
    for low, high, before, after in zip(grid, grid[1:], counts, counts[1:]):
        for k in range(before, after):
            lo, hi = low, high
            for _ in range(40):
                middle = (lo + hi) / 2
                lo, hi = (lo, middle) if below(middle) > k else (middle, hi)
            found.append(hi)
    return np.array(found)


def piston_in_box(a, b, d, radius, centre, omega, order=600):
    """p/(omega^2 U) [kg/m4] inside a box a x b x d at a round piston in its top: exact series, mean over the piston."""
    kx, ky = (np.arange(order) * np.pi / size for size in (a, b))
    k = np.hypot(kx[:, None], ky)
    kr = np.where(k > 0, k * radius, 1)
    mean = np.cos(kx * centre[0])[:, None] * np.cos(ky * centre[1]) * np.where(k > 0, 2 * j1(kr) / kr, 1)
    weight = np.outer(np.minimum(np.arange(order), 1) + 1, np.minimum(np.arange(order), 1) + 1) * mean**2 / (a * b)
    kz = np.sqrt((omega / C) ** 2 - k**2 + 0j)
    return RHO * np.sum(weight * (-1 / (kz * np.tan(kz * d))).real)
