"""Deflection under load: of a held body, or of a free one under a load in balance, its rigid motion projected out."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg as sl
import scipy.sparse as sp
from numpy.typing import ArrayLike

from fem.eigen import rigid_modes
from fem.elements import Operator, Space
from fem.factor import Factor, Solver
from fem.model import CHUNK, Model, Weights, section_matrix, strains

BALANCED = 1e-9  # largest net force (or couple over the body's size) of a free body's load, over the load itself
TRUSTED = 1e-6  # largest relative difference of work and strain energy before the solution is refused
REFINEMENTS = 1


@dataclass(frozen=True)
class Deflection:
    """Static answer to loads (size, m)."""

    displacement: np.ndarray  # (size, m) m and rad; of a free body square to its rigid motions in the norm of the mass
    work: np.ndarray  # (m,) J, half the load times the displacement
    strain_energy: dict[tuple[str, str], np.ndarray]  # {(region, kind): (m,)} J
    reaction: np.ndarray  # (fixed, m) N and N m at the fixed unknowns, in their order

    @property
    def energy(self) -> np.ndarray:
        """(m,) J, from the strains; equals the work up to round-off."""
        return sum(self.strain_energy.values(), np.zeros_like(self.work))


def deflect(model: Model, weights: Weights, loads: np.ndarray, fixed: Sequence[int] | np.ndarray = ()) -> Deflection:
    """Deflection of a model with the weights {(role, region, kind): f} under loads (size,) or (size, m) [N, N m].

    fixed: indices of unknowns held at zero. Without any the body is free: each load must be in balance (see `balanced`),
    and the displacement is the one square to all rigid motions, R' M u = 0. Raises ValueError for a load out of balance,
    for loads that are no numbers and for supports that leave the body loose.
    """
    F = np.array(loads, float).reshape(len(loads), -1)
    if len(F) != model.size:
        raise ValueError(f"loads of {len(F)} unknowns; expected {model.size}, six for each node of the model")
    if not np.isfinite(F).all():
        raise ValueError("some loads are not finite numbers; expected newtons and newton metres")
    fixed = np.unique(np.asarray(fixed, int))
    rigid = rigid_modes(model.space.points)
    if len(fixed):
        _check_supports(rigid, fixed)
        supported = fixed
    else:
        _check_balance(model.space.points, rigid, F)
        supported = np.sort(
            sl.qr(rigid.T, mode="r", pivoting=True)[1][:6]
        )  # six unknowns that no rigid motion leaves at rest
    free = np.setdiff1d(np.arange(model.size), supported)
    solve = _solver(model.matrix("K", weights)[free][:, free])
    u = np.zeros(F.shape)
    for _ in range(1 + REFINEMENTS):  # the first pass solves, the others take back what round-off in K has cost
        u[free] += solve((F - internal_forces(model, weights, u))[free])
        if not len(fixed):
            u = _square_to(rigid, model.matrix("M", weights), u)
    unit = model.unit_energies("K", weights, u)
    energy = {key: weights[("K", *key)] * e / 2 for key, e in unit.items()}
    reaction = (internal_forces(model, weights, u) - F)[fixed]
    answer = Deflection(u, np.sum(F * u, axis=0) / 2, energy, reaction)
    _check_energy(answer)
    return answer


def _solver(K: sp.csr_array) -> Solver:
    try:
        return Factor(K).solve
    except RuntimeError:
        raise ValueError("the body has a part that nothing holds: its stiffness is singular") from None


def _square_to(rigid: np.ndarray, M: sp.csr_array, u: np.ndarray) -> np.ndarray:
    """u without its rigid motion, in the norm of M."""
    MR = M @ rigid
    return u - rigid @ np.linalg.solve(rigid.T @ MR, MR.T @ u)


def internal_forces(model: Model, weights: Weights, u: np.ndarray) -> np.ndarray:
    """K u (size, m) from the strains: K's own entries hide the small strains of a soft body in their round-off."""
    F = np.zeros((model.size // 6, 6, u.shape[1]))
    for op in model.operators:
        if op.role == "K":
            for chunk, C in _stiff_chunks(op, weights):
                stress = np.einsum("eqst,eqtm->eqsm", C, strains(op, u, chunk), optimize=True)
                np.add.at(F, op.nodes[chunk], np.einsum("eqsnc,eqsm->encm", op.B[chunk], stress, optimize=True))
    return F.reshape(u.shape)


def _stiff_chunks(op: Operator, weights: Weights) -> Iterator[tuple[slice, np.ndarray]]:
    """(chunk of elements, C (elements, points, strains, strains)) of an operator, none where no kind has a weight."""
    for k in range(0, len(op.nodes), CHUNK):
        chunk = slice(k, k + CHUNK)
        C = section_matrix(op, weights, chunk)
        if not isinstance(C, int):
            yield chunk, C


def _check_supports(rigid: np.ndarray, fixed: np.ndarray) -> None:
    strength = np.linalg.svd(rigid[fixed] / np.abs(rigid).max(axis=0), compute_uv=False)
    if len(fixed) < 6 or strength[-1] < 1e-6 * strength[0]:
        raise ValueError(
            f"{len(fixed)} fixed unknowns leave the body loose: it can still move as a whole; expected supports that stop "
            "all six rigid motions, or none at all for a free body under a load in balance"
        )


def _check_balance(points: np.ndarray, rigid: np.ndarray, F: np.ndarray) -> None:
    net, lever = rigid.T @ F, np.linalg.norm(np.ptp(points, axis=0))
    force = np.abs(F.reshape(-1, 6, F.shape[1]))
    scale = np.maximum(force[:, :3].sum((0, 1)), force[:, 3:].sum((0, 1)) / lever)
    off = np.abs(net / np.array([1, 1, 1, lever, lever, lever])[:, None]).max(axis=0)
    worst = int(np.argmax(off - BALANCED * scale))
    if off[worst] > BALANCED * scale[worst]:
        words = ", ".join(f"{v:.3g}" for v in net[:, worst])
        raise ValueError(
            f"load {worst + 1} on a free body is out of balance: net force and couple ({words}) N, N m; expected none, "
            "or supports, or statics.balanced() of it"
        )


def _check_energy(answer: Deflection) -> None:
    off = np.abs(answer.work - answer.energy)
    if (off > TRUSTED * np.abs(answer.energy)).any():
        raise ValueError(
            f"the deflection is lost in round-off: work {answer.work.max():.4g} J beside strain energy "
            f"{answer.energy.max():.4g} J; is some part held by next to nothing, or far stiffer than the rest?"
        )


def balanced(model: Model, weights: Weights, loads: np.ndarray) -> np.ndarray:
    """Loads (size, m) with the inertia forces of the body that they would set in motion: a load in balance.

    F - M R (R' M R)^-1 R' F. d'Alembert's principle; structural analysts call it inertia relief.
    """
    F = np.array(loads, float).reshape(len(loads), -1)
    rigid = rigid_modes(model.space.points)
    MR = model.matrix("M", weights) @ rigid
    return F - MR @ np.linalg.solve(rigid.T @ MR, rigid.T @ F)


# --- loads ---


@dataclass(frozen=True)
class Spot:
    """A place on an edge of the mesh: its product with a displacement is the displacement there, with a force a load."""

    nodes: np.ndarray  # (p + 1,) shape-function nodes
    shares: np.ndarray  # (p + 1,) values of their shape functions at the place, summing to 1
    point: np.ndarray  # (3,) m

    def load(self, space: Space, force: ArrayLike) -> np.ndarray:
        """(size,) load of a force (3,) [N]."""
        F = np.zeros((space.size // 6, 6))
        F[self.nodes, :3] = np.outer(self.shares, np.asarray(force))
        return F.ravel()


def spot(space: Space, edges: np.ndarray, place: ArrayLike) -> Spot:
    """The Spot on some edges (k, 2) that is nearest to a place (3,) [m]."""
    edges = np.asarray(edges)
    ends = space.mesh.nodes[edges]
    d = ends[:, 1] - ends[:, 0]
    s = (np.einsum("kd,kd->k", place - ends[:, 0], d) / np.sum(d**2, axis=1)).clip(0, 1)
    points = ends[:, 0] + s[:, None] * d
    k = int(np.argmin(np.linalg.norm(points - place, axis=1)))
    nodes = space.edge_nodes(edges[k : k + 1])[0]
    at = np.linspace(0, 1, len(nodes))
    shares = [np.prod([(s[k] - b) / (a - b) for b in at if b != a]) for a in at]
    return Spot(nodes, np.array(shares), points[k])


def pinch(space: Space, a: Spot, b: Spot) -> np.ndarray:
    """(size,) load of two forces of 1 N that press the Spots a and b towards each other along the line between them.

    In balance; its product with a displacement is what the distance between the two loses.
    """
    direction = (b.point - a.point) / np.linalg.norm(b.point - a.point)
    return a.load(space, direction) + b.load(space, -direction)


def twist(space: Space, spots: Sequence[Spot], axis: ArrayLike = (0.0, 0.0, 1.0)) -> np.ndarray:
    """(size,) load of forces along `axis` on four Spots, in balance: a couple on the first two, its opposite on the others.

    Scaled so that the couple is 1 N m. The product with a displacement is the angle [rad] by which the first two turn
    against the others. ValueError for spots on one line.
    """
    axis = np.asarray(axis, float)
    points = np.array([s.point for s in spots])
    conditions = np.vstack([np.ones(4), np.cross(points - points.mean(axis=0), axis).T])
    _, strength, rows = np.linalg.svd(conditions)
    force = rows[-1] * np.sign(rows[-1, 0])
    if strength[2] < 1e-6 * strength[0]:
        raise ValueError("the four places of a twist lie on one line; expected two beside each other at either end")
    couple = np.linalg.norm(force[0] * np.cross(points[0], axis) + force[1] * np.cross(points[1], axis))
    return sum((s.load(space, f / couple * axis) for s, f in zip(spots, force)), np.zeros(space.size))


def free_strain(model: Model, weights: Weights, region: str, strain: ArrayLike) -> np.ndarray:
    """(size,) load of a region that would take up a strain of its family (see forms.py) if nothing held it.

    strain: one for all, or (elements, strains).

    int B' C e: with it, a plate that swells freely moves so that its strain is e and its stress none.
    """
    F = np.zeros((model.size // 6, 6))
    for op in model.operators:
        if op.role == "K" and op.region == region:
            e = np.broadcast_to(np.asarray(strain, float), (len(op.nodes), op.B.shape[2]))
            for chunk, C in _stiff_chunks(op, weights):
                np.add.at(F, op.nodes[chunk], np.einsum("eqsnc,eqst,et->enc", op.B[chunk], C, e[chunk], optimize=True))
    return F.ravel()
