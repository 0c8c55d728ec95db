"""Pre-stress: what forces at rest add to the stiffness, and so to the frequencies; seams closed over a gap.

A membrane force N works on the lengthening that rotations cause: 1/2 int grad u . N . grad u, with the full surface
gradient of all three displacements. Zienkiewicz & Taylor, The Finite Element Method, vol. 2, initial stress stiffness.
Left out: transverse shear and bending moments (they bring no lengthening to this order), the strings' own T/L.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import LinearOperator, eigsh

from fem.free_body import FreeBody
from fem.model import Model, Weights, section_matrix, strains
from fem.moisture import stiffness_operator


def membrane_forces(model: Model, weights: Weights, displacement: np.ndarray) -> dict[str, np.ndarray]:
    """{region: (elements, points, 3) N/m} N11, N22, N12 of shells and {region: (elements, points, 1) N} axial of beams.

    displacement (size,), under loads alone: no strain of it may be free of stress.
    """
    forces = {}
    for op in model.operators:
        if op.role != "K" or op.family == "interface":
            continue
        C = section_matrix(op, weights)
        if isinstance(C, int):
            continue
        k = 3 if op.family == "shell" else 1
        e = strains(op, displacement[:, None])[..., 0]
        forces[op.region] = np.einsum("eqst,eqt->eqs", C[:, :, :k], e, optimize=True) / op.weight[..., None]
    return forces


def scalar_stiffness(model: Model, forces: Mapping[str, np.ndarray]) -> sp.csr_array:
    """(size / 6, size / 6) CSR on the model's node pattern: int grad phi_a . N . grad phi_b, the same for u, v, w."""
    space = model.space
    _, grad, weight = space.shell_fields
    data = np.zeros(len(model.indices))
    for op, places in zip(model.operators, model.places):
        if op.role != "K" or op.region not in forces:
            continue
        N = forces[op.region]
        if op.family == "shell":
            surface = space.mesh.surfaces[op.region]
            t, e1 = surface.triangles, surface.grain
            e2 = np.cross(space.mesh.normal[t], e1)
            g = np.stack([np.einsum("eqai,ei->eqa", grad[t], e) for e in (e1, e2)], axis=-1)
            tensor = N[..., [0, 2, 2, 1]].reshape(*N.shape[:2], 2, 2)
            S = np.einsum("eq,eqai,eqij,eqbj->eab", weight[t], g, tensor, g, optimize=True)
        else:
            _, _, slope, dx, _ = space.edge_fields(space.mesh.lines[op.region].edges, N.shape[1])
            S = np.einsum("eq,eqa,eqb->eab", dx * N[..., 0], slope, slope, optimize=True)
        data += np.bincount(places.ravel(), S.ravel(), minlength=len(data))
    n = len(model.indptr) - 1
    return sp.csr_array((data, model.indices, model.indptr), shape=(n, n))


def geometric_stiffness(model: Model, forces: Mapping[str, np.ndarray]) -> sp.csr_array:
    """K_g (size, size) CSR on the model's pattern: 1/2 u' K_g u is the work of the forces on the rotations of u."""
    S = scalar_stiffness(model, forces)
    data = S.data[:, None, None] * np.diag([1.0, 1, 1, 0, 0, 0])
    return sp.bsr_array((data, S.indices, S.indptr), shape=(model.size, model.size)).tocsr()


def rayleigh(model: Model, forces: Mapping[str, np.ndarray], shapes: np.ndarray) -> np.ndarray:
    """(n,) u' K_g u of shapes (size, n) without assembling K_g."""
    S, u = scalar_stiffness(model, forces), shapes.reshape(-1, 6, shapes.shape[1])
    return sum(np.einsum("am,am->m", u[:, c], S @ u[:, c]) for c in range(3))


def frequency_ratio(
    model: Model, forces: Mapping[str, np.ndarray], omega2: np.ndarray, shapes: np.ndarray
) -> np.ndarray:
    """(n,) frequency with the forces over that without them, for mass-normalised shapes: sqrt(1 + phi' K_g phi / omega^2).

    Rayleigh's quotient: right to first order in the forces; for the lowest mode never too low.
    """
    return np.sqrt(np.maximum(1 + rayleigh(model, forces, shapes) / omega2, 0))


def largest_ratio(body: FreeBody, forces: Mapping[str, np.ndarray], M: sp.csr_array) -> float:
    """rho = max |u' K_g u| / (u' K u) over all deformations u of a FreeBody square to its rigid motions in the norm of M.

    No omega^2 moves by more than that part of itself: (1 - rho) K <= K + K_g <= (1 + rho) K, Courant-Fischer. 1/rho is
    how many times the load would have to grow for the body to buckle, or more. By Lanczos, to 5 % or better.
    """
    S, n = scalar_stiffness(body.model, forces), body.model.size
    R, MR = body.rigid, M @ body.rigid
    mass_inverse = np.linalg.inv(R.T @ MR)
    free_of_rigid = lambda u: u - R @ (mass_inverse @ (MR.T @ u))

    def geometric(u: np.ndarray) -> np.ndarray:
        f = np.zeros((n // 6, 6))
        f[:, :3] = S @ u.reshape(-1, 6)[:, :3]
        return f.ravel() - MR @ (mass_inverse @ (R.T @ f.ravel()))

    value = eigsh(
        LinearOperator((n, n), matvec=geometric, dtype=float),
        1,
        body.K,
        Minv=LinearOperator((n, n), matvec=lambda f: free_of_rigid(body.solve(f[:, None])[:, 0]), dtype=float),
        which="LM",
        tol=5e-2,
        ncv=8,
        v0=free_of_rigid(np.random.default_rng(1).standard_normal(n)),
        return_eigenvectors=False,
    )
    return float(np.abs(value).max())


# --- a seam closed over a gap ---


def interface_points(model: Model, region: str) -> tuple[np.ndarray, np.ndarray]:
    """(edges, points, 3) m of a seam's quadrature points, and the sign by which its third jump counts along +z."""
    space, interface_spring = model.space, model.space.mesh.interface_springs[region]
    t, _, _, _, s = space.edge_fields(interface_spring.edges_a, space.element.maxdeg + 1)
    ends = space.mesh.nodes[interface_spring.edges_a]
    up = np.sign(np.cross(t, interface_spring.inward.mean(axis=1))[:, 2])
    return ends[:, :1] + s[:, None] * (ends[:, 1:] - ends[:, :1]), up


def gap_load(model: Model, weights: Weights, regions: Sequence[str], gap: np.ndarray) -> np.ndarray:
    """(size,) load that closes a seam whose two edges were apart by gap (edges, points) [m], plate above rim along +z.

    int B' k (0, 0, gap; 0, -gap', 0): the seam would be at rest with that jump, and with the turn that goes with its slope.
    regions: of one seam, all on the same edges.
    """
    F = np.zeros((model.size // 6, 6))
    for region in regions:
        op, C = stiffness_operator(model, region), section_matrix(stiffness_operator(model, region), weights)
        if isinstance(C, int):  # no kind of this region has a weight
            continue
        force = np.einsum("eqst,eqt->eqs", C, _free_jump(model, region, gap))
        np.add.at(F, op.nodes, np.einsum("eqsnc,eqs->enc", op.B, force, optimize=True))
    return F.ravel()


def _free_jump(model: Model, region: str, gap: np.ndarray) -> np.ndarray:
    """(edges, points, 6) jump with which a seam over a gap (edges, points) is at rest."""
    at, up = interface_points(model, region)
    free = np.zeros((*gap.shape, 6))
    free[..., 2] = gap * up[:, None]
    free[..., 4] = -_slope(at, gap) * up[:, None]
    return free


def _slope(at: np.ndarray, value: np.ndarray) -> np.ndarray:
    """(edges, points) derivative along each edge of a value (edges, points) at points (edges, points, 3) on it [1/m]."""
    s = np.linalg.norm(at - at[:, :1], axis=2)
    powers = np.arange(s.shape[1])
    V = s[..., None] ** powers
    dV = np.where(powers > 0, powers * s[..., None] ** np.maximum(powers - 1, 0), 0)
    return np.einsum("eqk,ek->eq", dV, np.linalg.solve(V, value[..., None])[..., 0])


def interface_traction(
    model: Model, weights: Weights, regions: Sequence[str], displacement: np.ndarray, gap: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(edges, points) N/m with which a seam closed over a gap pulls the plate down and the rim up, and its weights [m]."""
    up = interface_points(model, regions[0])[1][:, None]
    op, pull = stiffness_operator(model, regions[0]), np.zeros(gap.shape)
    jump = strains(op, displacement[:, None])[..., 0] - _free_jump(model, regions[0], gap)
    for region in regions:
        C = section_matrix(stiffness_operator(model, region), weights)
        if not isinstance(C, int):
            pull += np.einsum("eqt,eqt->eq", C[..., 2, :], jump) / op.weight * up
    return pull, op.weight
