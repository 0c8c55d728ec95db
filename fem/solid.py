"""Orthotropic solids: stiffness of meshes of boxes, periodic cells and their homogenised stiffness.

Strains and stresses are listed as xx, yy, zz, yz, xz, xy with engineering shear strains. A mesh in two dimensions
is the section of a solid whose displacement does not change along the missing axis (generalised plane strain: all
three components of displacement live on it, and a given strain along that axis may be added).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from fem.materials import Wood

if TYPE_CHECKING:  # loaded where a solid is made: the constants of a wood do without
    from scipy.sparse import csr_array
    from skfem import MeshHex, MeshQuad

ALONG_XYZ = ((1, 0, 0), (0, 1, 0), (0, 0, 1))  # L, R, T of a wood along x, y, z
VOIGT = ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))
MEAN_RATIO_T_R = 0.55  # E_T/E_R, nu_LT, nu_RT: means of the eight woods printed complete in Wood Handbook FPL-GTR-282,
MEAN_NU_LT = 0.49  # Tables 5-1 and 5-2 (Sitka and Engelmann spruce, redcedar, two mahoganies, birch, maple, walnut)
MEAN_NU_RT = 0.60


def completed(wood: Wood) -> Wood:
    """The wood with E_T, nu_LT, nu_RT filled by handbook means where it does not know them, sources saying so."""
    means = {"E_T": MEAN_RATIO_T_R * wood.E_R, "nu_LT": MEAN_NU_LT, "nu_RT": MEAN_NU_RT}
    filled: dict[str, Any] = {key: value for key, value in means.items() if getattr(wood, key) is None}
    sources = {key: "assumed: mean of eight woods, Wood Handbook FPL-GTR-282, Tables 5-1 and 5-2" for key in filled}
    return replace(wood, **filled, sources={**wood.sources, **sources})


def _compliance(wood: Wood) -> np.ndarray:
    """(6, 6) [1/Pa] in the wood's own axes L, R, T."""
    w = completed(wood)
    assert w.E_T is not None and w.nu_LT is not None and w.nu_RT is not None
    S = np.diag(np.array([1 / w.E_L, 1 / w.E_R, 1 / w.E_T, 1 / w.G_RT, 1 / w.G_LT, 1 / w.G_LR]))
    for i, j, coupling in ((0, 1, w.nu_LR / w.E_L), (0, 2, w.nu_LT / w.E_L), (1, 2, w.nu_RT / w.E_R)):
        S[i, j] = S[j, i] = -coupling
    if np.linalg.eigvalsh(S).min() <= 0:
        raise ValueError(
            f"material '{wood.name}': E_T, nu_LT or nu_RT is impossible beside the other constants: some load would "
            "give energy; expected nu_LT^2 < E_L/E_T and nu_RT^2 < E_R/E_T at least"
        )
    return S


def _strain_turn(axes: np.ndarray) -> np.ndarray:
    """(6, 6): strains in the axes whose unit vectors are the rows of `axes` (3, 3), from strains in x, y, z."""
    T = np.zeros((6, 6))
    for row, (i, j) in enumerate(VOIGT):
        for column, (k, m) in enumerate(VOIGT):
            pair = axes[i, k] * axes[j, m] + axes[i, m] * axes[j, k]
            T[row, column] = pair * (1 if i != j else 0.5)
    return T


def solid_stiffness(wood: Wood, axes: ArrayLike = ALONG_XYZ) -> np.ndarray:
    """C (6, 6) [Pa] in x, y, z; rows of `axes` are the unit vectors of the wood's L, R and T."""
    T = _strain_turn(np.asarray(axes))
    return T.T @ np.linalg.inv(_compliance(wood)) @ T


def solid_losses(wood: Wood, axes: ArrayLike = ALONG_XYZ) -> dict[str, np.ndarray] | None:
    """{'along', 'across', 'shear': (6, 6) [Pa]}: loss factor times the stiffness that each deformation carries.

    The energy sigma' S sigma / 2 is split by the diagonal of the compliance S: C P C with P that part of the diagonal.
    The Poisson part is left over and is taken as lossless. None where a loss factor is not known.
    """
    if not wood.losses_known:
        return None
    T, S = _strain_turn(np.asarray(axes)), _compliance(wood)
    C = np.linalg.inv(S)
    split = {"along": (wood.loss_L, [0]), "across": (wood.loss_R, [1, 2]), "shear": (wood.loss_G, [3, 4, 5])}
    losses = {}
    for channel, (loss, rows) in split.items():
        P = np.zeros((6, 6))
        P[rows, rows] = S[rows, rows]
        losses[channel] = loss * T.T @ C @ P @ C @ T
    return losses


@dataclass(frozen=True)
class Solid:
    """A mesh with its strain operator; nodes are those of the quadratic element, three unknowns each."""

    points: np.ndarray  # (n, 3) m, nodes
    nodes: np.ndarray  # (elements, k) node indices
    B: np.ndarray  # (elements, quadrature points, 6, 3 k)
    weight: np.ndarray  # (elements, quadrature points) volume [m3], or area of a section [m2]
    where: np.ndarray  # (elements, quadrature points, 3) m
    mesh: "MeshHex | MeshQuad"

    @property
    def middles(self) -> np.ndarray:
        """(elements, 3) m, centre of each element."""
        return np.einsum("eq,eqd->ed", self.weight, self.where) / self.weight.sum(1)[:, None]

    def strains(self, u: np.ndarray) -> np.ndarray:
        """(elements, points, 6, cases) of displacements u (n, 3, cases)."""
        local = u[self.nodes].reshape(len(self.nodes), -1, u.shape[-1])
        return np.einsum("eqsi,eic->eqsc", self.B, local, optimize=True)


def solid(mesh: "MeshHex | MeshQuad", axes: tuple[int, ...] = (0, 1, 2)) -> Solid:
    """Solid of quadratic elements from a MeshHex, or from a MeshQuad that lies in two of the axes 0, 1, 2 (x, y, z)."""
    from skfem import Basis, ElementHexS2, ElementQuad2

    axes = (0, 1, 2) if mesh.dim() == 3 else axes
    element = ElementHexS2() if mesh.dim() == 3 else ElementQuad2()
    basis = Basis(mesh, element, intorder=4)
    grad = np.array([phi[0].grad for phi in basis.basis]).transpose(2, 3, 1, 0)  # elements, points, axes, nodes
    full = np.zeros((*grad.shape[:2], 3, grad.shape[3]))
    full[:, :, list(axes)] = grad
    B = np.zeros((*grad.shape[:2], 6, grad.shape[3], 3))
    for row, (i, j) in enumerate(VOIGT):
        B[:, :, row, :, i] = full[:, :, j]
        B[:, :, row, :, j] = full[:, :, i]
    points = np.zeros((basis.N, 3))
    points[:, list(axes)] = basis.doflocs.T
    where = np.zeros((*grad.shape[:2], 3))
    where[:, :, list(axes)] = np.asarray(basis.global_coordinates()).transpose(1, 2, 0)
    return Solid(points, basis.element_dofs.T, B.reshape(*B.shape[:3], -1), basis.dx, where, mesh)


def graded(a: float, b: float, fine: float, coarse: float, growth: float, focus: str) -> list[float]:
    """Grid lines from a to b, spaced `fine` at the ends named in focus ('a', 'b', 'ab'), growing up to `coarse`."""
    if b - a < 1e-12:
        return [a]
    if focus == "ab":
        middle = (a + b) / 2
        half = np.array(graded(a, middle, fine, coarse, growth, "a"))
        return [*half, *(a + b - half[-2::-1])]
    steps = [fine]
    while sum(steps) < b - a:
        steps.append(min(steps[-1] * growth, coarse))
    x = np.concatenate([[0], np.cumsum(steps)]) * (b - a) / sum(steps)
    return list(a + x) if focus == "a" else list(b - x[::-1])


def boxes(
    x: Sequence[float] | np.ndarray,
    y: Sequence[float] | np.ndarray,
    z: Sequence[float] | np.ndarray,
    filled: Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray],
) -> "MeshHex":
    """MeshHex of the boxes between the grid planes for which filled(x, y, z) of the centres is true."""
    from skfem import MeshHex

    mesh = MeshHex.init_tensor(x, y, z)
    return mesh.restrict(np.flatnonzero(filled(*mesh.p[:, mesh.t].mean(axis=1))))


def rectangles(
    a: Sequence[float] | np.ndarray,
    b: Sequence[float] | np.ndarray,
    filled: Callable[[np.ndarray, np.ndarray], np.ndarray],
) -> "MeshQuad":
    """MeshQuad of the rectangles between the grid lines for which filled(a, b) of the centres is true."""
    from skfem import MeshQuad

    mesh = MeshQuad.init_tensor(a, b)
    return mesh.restrict(np.flatnonzero(filled(*mesh.p[:, mesh.t].mean(axis=1))))


def stiffness(body: Solid, C: np.ndarray, masters: np.ndarray | None = None) -> "csr_array":
    """K [N/m] of a Solid with C (elements, 6, 6) [Pa]; nodes are replaced by their masters (n,) where given."""
    from scipy.sparse import coo_array

    nodes = body.nodes if masters is None else masters[body.nodes]
    dofs = (3 * nodes[:, :, None] + np.arange(3)).reshape(len(nodes), -1).astype(np.int32)
    e, k = dofs.shape
    stress = (body.weight[..., None, None] * C[:, None]) @ body.B
    entries = body.B.reshape(e, -1, k).transpose(0, 2, 1) @ stress.reshape(e, -1, k)
    rows, columns = np.repeat(dofs, k, axis=1), np.tile(dofs, (1, k))
    n = 3 * len(body.points)
    return coo_array((entries.ravel(), (rows.ravel(), columns.ravel())), shape=(n, n)).tocsr()


def solve(K: "csr_array", F: np.ndarray, fixed: Sequence[int] | np.ndarray) -> np.ndarray:
    """Displacements (n, 3, cases) under forces F (3 n, cases), the unknowns `fixed` held and unused ones zero."""
    from fem.factor import Factor

    used = K.diagonal() > 0
    used[fixed] = False
    free = np.flatnonzero(used)
    u = np.zeros(F.shape)
    u[free] = Factor(K[free][:, free]).solve(F[free])
    return u.reshape(-1, 3, F.shape[1])


def tractions(body: Solid, axis: int, place: float, stress: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Forces (n, 3, cases) of the tractions stress(points (q, 3)) -> (q, 3, cases) [Pa] on the faces at x_axis = place.

    Of a section in x and y the edges there, points (q, 2). ValueError where no face of the mesh lies there.
    """
    from skfem import ElementHexS2, ElementQuad2, FacetBasis

    size = np.ptp(body.points[:, axis])
    facets = body.mesh.facets_satisfying(lambda x: abs(x[axis] - place) < 1e-6 * size, boundaries_only=True)
    if not len(facets):
        raise ValueError(f"no face of the solid lies at {place:.6g} m along axis {axis}")
    element = ElementHexS2() if body.mesh.dim() == 3 else ElementQuad2()
    basis = FacetBasis(body.mesh, element, facets=facets, intorder=4)
    where = np.asarray(basis.global_coordinates()).transpose(1, 2, 0)
    shapes = np.array([phi[0].value for phi in basis.basis])  # nodes, faces, points
    load = stress(where.reshape(-1, where.shape[2])).reshape(*where.shape[:2], 3, -1)
    F = np.zeros((len(body.points), 3, load.shape[-1]))
    np.add.at(F, basis.element_dofs.T, np.einsum("kfq,fq,fqdc->fkdc", shapes, basis.dx, load, optimize=True))
    return F


def rigid_support(body: Solid, nodes: np.ndarray) -> list[int]:
    """Unknowns to hold so that a solid periodic along x neither moves nor turns about x."""
    fixed = nodes[0, 0]
    far = nodes.flat[np.argmax(abs(body.points[nodes, 1] - body.points[fixed, 1]))]
    return [3 * fixed, 3 * fixed + 1, 3 * fixed + 2, 3 * far + 2]


def periodic_masters(points: np.ndarray, axis: int) -> np.ndarray:
    """(n,) node index: nodes of the last end along `axis` follow their partners of the first end.

    ValueError where the two ends do not carry the same nodes.
    """
    low, high = points[:, axis].min(), points[:, axis].max()
    grid = np.round(points / (1e-6 * (high - low))).astype(int)
    ends = [np.flatnonzero(grid[:, axis] == grid[:, axis][points[:, axis] == p][0]) for p in (low, high)]
    others = [a for a in range(3) if a != axis]
    first, last = (end[np.lexsort(grid[end][:, others].T)] for end in ends)
    if len(first) != len(last) or not np.array_equal(grid[first][:, others], grid[last][:, others]):
        raise ValueError("the two ends of the periodic cell carry different nodes")
    masters = np.arange(len(points))
    masters[last] = first
    return masters


def quadratic_form(weight: np.ndarray, strains: np.ndarray, C: np.ndarray) -> np.ndarray:
    """(cases, cases): integral of strain' C strain, C (elements, 6, 6) [Pa]; weight: as of a Solid."""
    stress = (weight[..., None, None] * C[:, None]) @ strains
    cases = strains.shape[-1]
    return strains.reshape(-1, cases).T @ stress.reshape(-1, cases)


@dataclass(frozen=True)
class Cell:
    """A periodic cell under unit values of each given strain."""

    stiffness: np.ndarray  # (cases, cases): twice the energy of the cell, over its period and width
    strains: np.ndarray  # (elements, quadrature points, 6, cases)
    fluctuation: np.ndarray  # (n, 3, cases) m, displacement beyond that of the given strains


def homogenised(body: Solid, C: np.ndarray, given: np.ndarray, size: float, twist_free: bool = False) -> Cell:
    """Cell of a solid periodic along x, from the strains `given` (elements, points, 6, cases) of a macroscopic field.

    The displacement is that of the given strains plus a periodic part, so the ends differ by a rigid motion only.
    Minimum of the energy, divided by `size` (period, or period times width). `twist_free`: the section may also turn
    about x without strain (a strip with free edges), which is then held.
    """
    masters = periodic_masters(body.points, 0)
    nodes = masters[body.nodes]
    dofs = (3 * nodes[:, :, None] + np.arange(3)).reshape(len(nodes), -1)
    local = np.einsum("eq,eqsi,est,eqtc->eic", body.weight, body.B, C, given, optimize=True)
    F = np.zeros((3 * len(body.points), given.shape[-1]))
    np.add.at(F, dofs, -local)
    fixed = rigid_support(body, nodes)[: 4 if twist_free else 3]
    u = solve(stiffness(body, C, masters), F, fixed)[masters]
    strains = given + body.strains(u)
    return Cell(quadratic_form(body.weight, strains, C) / size, strains, u)
