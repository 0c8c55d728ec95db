"""Closed surfaces with known sound fields."""

import numpy as np

from fem.radiation import boundary

PHI = (1 + 5**0.5) / 2
ICOSAHEDRON = np.array([[0, 1, PHI], [0, -1, PHI], [0, 1, -PHI], [0, -1, -PHI]])


def sphere(radius, halvings):
    """Boundary of an icosahedron whose edges are halved so many times, with the area of the sphere."""
    nodes = np.concatenate([np.roll(ICOSAHEDRON, k, axis=1) for k in range(3)])
    gap = np.linalg.norm(nodes[:, None] - nodes, axis=2)
    near = (gap > 1) & (gap < 2.1)
    faces = [
        (i, j, k) for i in range(12) for j in range(i) for k in range(j) if near[i, j] and near[j, k] and near[i, k]
    ]
    corners = nodes[np.array(faces)]
    for _ in range(halvings):
        a, b, c = corners.transpose(1, 0, 2)
        ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
        corners = np.concatenate([np.stack(t, axis=1) for t in ((a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca))])
    corners /= np.linalg.norm(corners, axis=2, keepdims=True)
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum() / 2
    return outward(corners * radius * np.sqrt(4 * np.pi / area), np.zeros(3))


def box(size, cells):
    """Boundary of a box from the origin to `size` (3,), each face in a regular grid of cells (3,)."""
    corners = []
    for axis in range(3):
        u, v = [a for a in range(3) if a != axis]
        for level in (0.0, size[axis]):
            x = np.zeros((cells[u] + 1, cells[v] + 1, 3))
            x[..., axis] = level
            x[..., u] = np.linspace(0, size[u], cells[u] + 1)[:, None]
            x[..., v] = np.linspace(0, size[v], cells[v] + 1)
            a, b, c, d = (q.reshape(-1, 3) for q in (x[:-1, :-1], x[1:, :-1], x[1:, 1:], x[:-1, 1:]))
            corners += [np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]
    return outward(np.concatenate(corners), np.asarray(size) / 2)


def pill(radii, thickness):
    """Boundary of a disc about the z axis: both faces in rings of triangles with the given outer radii, and an edge."""
    rings = len(radii)
    turn = lambda k: 2 * np.pi * np.arange(6 * k)[:, None] / (6 * k)
    ring = lambda k: radii[k - 1] * np.hstack([np.cos(turn(k)), np.sin(turn(k))])
    rows = [np.zeros((1, 2)), *(ring(k) for k in range(1, rings + 1))]
    flat = []
    for k in range(1, rings + 1):
        inner, outer = rows[k - 1], rows[k]
        for sixth in range(6):
            for j in range(k):
                i, o = sixth * (k - 1) + j, sixth * k + j
                flat.append((outer[o], outer[(o + 1) % (6 * k)], inner[i % len(inner)]))
                if j < k - 1:
                    flat.append((inner[i], outer[o + 1], inner[(i + 1) % len(inner)]))
    flat, h = np.array(flat), thickness / 2
    lift = lambda points, z: np.concatenate([points, np.full((*points.shape[:-1], 1), z)], axis=-1)
    a, b = rows[-1], np.roll(rows[-1], -1, axis=0)
    edge = [np.stack([lift(a, -h), lift(b, -h), lift(b, h)], 1), np.stack([lift(a, -h), lift(b, h), lift(a, h)], 1)]
    return outward(np.concatenate([lift(flat, h), lift(flat, -h), *edge]), np.zeros(3))


def outward(corners, inside):
    """Boundary of triangles (m, 3, 3) seen from a point from which all of a convex surface is seen."""
    a, b, c = corners.transpose(1, 0, 2)
    wrong = np.einsum("mi,mi->m", np.cross(b - a, c - a), a - inside) < 0
    corners = np.where(wrong[:, None, None], corners[:, ::-1], corners)
    nodes, place = np.unique(corners.reshape(-1, 3).round(9), axis=0, return_inverse=True)
    return boundary(nodes, place.reshape(-1, 3))


def monopole(surface, source, omega, density, speed):
    """Pressure (m,) at the centroids and outward normal velocity (m,) there, of G = exp(-ikr)/(4 pi r) from a point."""
    k, d = omega / speed, surface.centroid - source
    r = np.linalg.norm(d, axis=1)
    p = np.exp(-1j * k * r) / (4 * np.pi * r)
    slope = -(1 + 1j * k * r) * p / r * np.einsum("mi,mi->m", d, surface.normal) / r
    return p, slope / (-1j * omega * density)
