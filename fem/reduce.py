"""Reduced basis: a model of 30 000 unknowns as one of 200, good over a whole range of sections, in milliseconds a variant.

The basis V is built from modes at a few variants, each time where the estimate of the error is worst (greedy). With
K(p) = sum f_i K_i the small matrices V' K_i V are computed once. The residual r of a reduced mode x is measured in the
norm of A^-1, A = K - sigma M of one reference variant, through random vectors z with covariance A^-1, since the mean of
(z' r)^2 is r' A^-1 r. With the variant's own A, |r|_{A^-1} / |x|_A would bound the distance of omega^2 - sigma to the nearest
eigenvalue (relative; physics of the generalised symmetric problem: Parlett, The Symmetric Eigenvalue Problem, ch. 15). With
the reference's A and a sample of z it is an estimator, and is called so. Sketched residuals: Balabanov & Nouy, Adv. Comput.
Math. 45:2969 (2019). Greedy bases: Quarteroni, Manzoni & Negri, Reduced Basis Methods for PDEs (2016), ch. 7.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.linalg as sl
from scipy.sparse.linalg import splu, spsolve_triangular

from fem.eigen import SHIFT, Modes, modes, rigid_modes
from fem.factor import dissection
from fem.interpolate import BasisSpace
from fem.mesh import part_of
from fem.model import CHUNK, Model, Term, Weights, strains

RIGID = 6
SKETCH = 40  # random vectors: the estimate is good to sqrt(1 / (2 SKETCH)), 11 %
DROP = 0.1  # of the tolerance: directions shorter than this in the norm of A are left out of the basis
MOST_SNAPSHOTS = 16  # full solves of one basis at most
FAILING = 20  # samples with the largest estimates, asked first whether a basis may be cut
EXTRA = 4  # modes beyond those asked for, so that the last ones may cross within the box


@dataclass(frozen=True)
class Reduced:
    """Small dense unit terms with the interface of a Model: `matrix`, `term` and energies work on y, where x = V y."""

    size: int  # r
    columns: dict[Term, np.ndarray]  # {(role, region, kind): (r (r + 1) / 2,) upper triangle of V' K_i V}
    sketched: dict[Term, np.ndarray]  # {(role, region, kind): (SKETCH, r) Z' K_i V}
    step: np.ndarray  # (r,) coordinates of the unit translation along z
    space: BasisSpace | None = None  # where places of the shell are asked for

    def matrix(self, role: str, weights: Weights) -> np.ndarray:
        """K or M (r, r) for {(role, region, kind): f}."""
        keys = [key for key in weights if key[0] == role and key in self.columns and weights[key]]
        packed = sum((weights[key] * self.columns[key] for key in keys), np.zeros(self.size * (self.size + 1) // 2))
        return unpacked(packed, self.size)

    def term(self, role: str, region: str, kind: str) -> np.ndarray:
        """One unit term (r, r)."""
        return self.matrix(role, {(role, region, kind): 1.0})

    def unit_energies(
        self, role: str, keys: Collection[Term], vectors: np.ndarray
    ) -> dict[tuple[str, str], np.ndarray]:
        """{(region, kind): y' K_i y (m,)} of the unit terms in keys for the vectors y (r, m)."""
        products = outer_products(vectors)
        return {key[1:]: self.columns[key] @ products for key in keys if key[0] == role and key in self.columns}

    def modal_terms(self, role: str, weights: Weights, vectors: np.ndarray) -> dict[str, np.ndarray]:
        """{part: (m, m)} y' A_part y of vectors y (r, m), A = sum of {(role, region, kind): f} times unit terms."""
        by_part: dict[str, np.ndarray] = {}
        for key, column in self.columns.items():
            if key[0] == role:
                part = part_of(key[1])
                by_part[part] = by_part.get(part, 0.0) + weights.get(key, 0.0) * column
        return {part: vectors.T @ unpacked(packed, self.size) @ vectors for part, packed in by_part.items()}

    def residual(self, weights: Weights, omega2: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Estimate (m,) of |r|_{A^-1} / |x|_A for reduced modes y (r, m), M-normalised, with omega2 (m,)."""
        Z = {role: self._tested(role, weights) for role in "KM"}
        return estimate(Z["K"] @ y - (Z["M"] @ y) * omega2, omega2)

    def _tested(self, role: str, weights: Weights) -> np.ndarray:
        terms = (f * self.sketched[key] for key, f in weights.items() if key[0] == role and key in self.sketched and f)
        return sum(terms, np.zeros((1, self.size)))


def leading(reduced: Reduced, r: int) -> Reduced:
    """Reduced on the first r columns of the basis, without the places of the shell that it may know."""
    i, j = np.triu_indices(reduced.size)
    keep = (i < r) & (j < r)
    columns = {key: column[keep] for key, column in reduced.columns.items()}
    return Reduced(r, columns, {key: t[:, :r] for key, t in reduced.sketched.items()}, reduced.step[:r])


def smallest(reduced: Reduced, samples: Sequence[Weights], count: int, limit: float) -> Reduced:
    """The smallest leading part of a Reduced whose estimates for `count` modes of all weights in `samples` keep a limit.

    The whole of it, where it does not keep the limit itself.
    """
    order = np.argsort(-estimates(reduced, samples, count))
    likely, others = ([samples[i] for i in part] for part in np.split(order, [FAILING]))
    least, kept = min(RIGID + count, reduced.size - 1), reduced
    while kept.size - least > 1:
        small = leading(reduced, (least + kept.size) // 2)
        if all(np.all(estimates(small, some, count) <= limit) for some in (likely, others)):
            kept = small
        else:
            least = small.size
    return kept


def unpacked(packed: np.ndarray, r: int) -> np.ndarray:
    """Symmetric (r, r) from its upper triangle row by row."""
    return packed[_places(r)]


@lru_cache(maxsize=8)
def _places(r: int) -> np.ndarray:
    """(r, r) where each entry stands in the packed upper triangle."""
    places = np.empty((r, r), int)
    i, j = np.triu_indices(r)
    places[i, j] = places[j, i] = np.arange(len(i))
    return places


def outer_products(y: np.ndarray) -> np.ndarray:
    """(r (r + 1) / 2, m): upper triangles of y y', off-diagonal entries doubled, so that packed @ them is y' K y."""
    i, j = np.triu_indices(len(y))
    products = y[i] * y[j]
    products[i != j] *= 2
    return products


def estimate(sketched: np.ndarray, omega2: np.ndarray) -> np.ndarray:
    """(m,) from Z' r (SKETCH, m) and omega^2 (m,) of M-normalised modes."""
    return np.sqrt(np.mean(sketched**2, axis=0) / (omega2 - SHIFT))


def reduce(model: Model, V: np.ndarray, Z: np.ndarray | None = None) -> Reduced:
    """Reduced of a Model on the basis V (size, r); Z (size, SKETCH) from `sketch` gives it a residual estimate.

    The first six columns of V must span the rigid modes.
    """
    Z = np.zeros((model.size, 1)) if Z is None else Z
    r = V.shape[1]
    columns, sketched = {}, {}
    upper = np.triu_indices(r)
    both = np.hstack([V, Z])
    for op in model.operators:
        wanted = sorted({(p, i, j) for p, C in op.kinds.values() for i, j in np.argwhere(C) if i <= j})
        products = dict.fromkeys(wanted, 0.0)
        for k in range(0, len(op.nodes), CHUNK):
            chunk = slice(k, k + CHUNK)
            e = strains(op, both, chunk).transpose(2, 0, 1, 3).reshape(op.B.shape[2], -1, both.shape[1])
            for p, i, j in wanted:
                w = op.weighted(p, chunk).reshape(-1, 1)
                one = e[i].T @ (w * e[j][:, :r])
                products[p, i, j] += one if i == j else one + e[j].T @ (w * e[i][:, :r])
        for kind, (p, C) in op.kinds.items():
            total = sum(C[i, j] * products[p, i, j] for i, j in np.argwhere(C) if i <= j)
            columns[op.role, op.region, kind] = total[:r][upper]
            sketched[op.role, op.region, kind] = total[r:]
    step = np.zeros(model.size)
    step[2::6] = 1
    return Reduced(r, columns, sketched, np.linalg.lstsq(V, step, rcond=None)[0])


def reduced_modes(reduced: Reduced, weights: Weights, count: int) -> Modes:
    """Modes of a Reduced model; `shape` holds the coordinates y (r, count), `residual` the estimate."""
    omega2, y = small_modes(reduced.matrix("K", weights), reduced.matrix("M", weights), count)
    rigid = np.sqrt(np.abs(omega2[:RIGID])) / (2 * np.pi)
    omega2, y = omega2[RIGID:], y[:, RIGID:]
    return Modes(np.sqrt(omega2.clip(0)) / (2 * np.pi), y, reduced.residual(weights, omega2, y), rigid)


def estimates(reduced: Reduced, samples: Sequence[Weights], count: int) -> np.ndarray:
    """(n,) the largest estimate over `count` modes of each of n weights: as reduced_modes, for many at once."""
    matrices, sketched = {}, {}
    for role in "KM":
        keys = [key for key in reduced.columns if key[0] == role]
        table = np.array([[w.get(key, 0.0) for key in keys] for w in samples]).reshape(-1, len(keys))
        matrices[role] = table @ np.array([reduced.columns[key] for key in keys])
        sketched[role] = np.tensordot(table, np.array([reduced.sketched[key] for key in keys]), 1)
    largest = np.zeros(len(samples))
    for i in range(len(samples)):
        K, M = (unpacked(matrices[role][i], reduced.size) for role in "KM")
        omega2, y = small_modes(K, M, count)
        omega2, y = omega2[RIGID:], y[:, RIGID:]
        largest[i] = estimate(sketched["K"][i] @ y - (sketched["M"][i] @ y) * omega2, omega2).max()
    return largest


def small_modes(K: np.ndarray, M: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """(omega^2, y) of the six rigid and `count` elastic modes of dense K and M."""
    return sl.eigh(K, M, subset_by_index=[0, RIGID + count - 1], check_finite=False)


class Norm:
    """The inner product of A = K - SHIFT M at reference weights, and random vectors with covariance A^-1."""

    def __init__(self, model: Model, weights: Weights) -> None:
        self.A = model.matrix("K", weights) - SHIFT * model.matrix("M", weights)
        order = dissection(self.A)
        self.order = np.arange(model.size) if order is None else order

    def sketch(self, count: int = SKETCH, seed: int = 0) -> np.ndarray:
        """Z (size, count): z = L'^-1 D^-1/2 xi with A = L D L', xi standard normal; the same for the same seed."""
        A = self.A[self.order][:, self.order].tocsc()
        lu = splu(A, permc_spec="NATURAL", diag_pivot_thresh=0.0, options=dict(SymmetricMode=True))
        d = lu.U.diagonal()
        if np.any(lu.perm_r != lu.perm_c) or np.any(d <= 0):
            raise ArithmeticError("the reference model's K - sigma M is not positive definite")
        xi = np.random.default_rng(seed).standard_normal((len(d), count))
        vectors = spsolve_triangular(lu.U.tocsr(), np.sqrt(d)[:, None] * xi, lower=False)  # U = D L'
        Z = np.empty_like(vectors)
        Z[self.order] = vectors[lu.perm_c]  # the factor's own column order, the identity unless SuperLU postorders
        return Z

    def basis(self, rigid: np.ndarray, snapshots: np.ndarray, least: float, most: int) -> np.ndarray:
        """V (size, r), orthonormal in A: the rigid modes, then the snapshots' (size, m) principal directions in order.

        Snapshots count with length 1 in A, their rigid part taken out. Directions of a singular value below `least` are
        left out, and the smallest ones beyond `most` columns (proper orthogonal decomposition).
        """
        A = self.A
        first = self._orthonormal(rigid, 1e-9, RIGID)
        S = snapshots - first @ (first.T @ (A @ snapshots))
        S = S / np.sqrt(np.sum(S * (A @ S), axis=0))
        V = self._orthonormal(S, least, most - RIGID)
        V = V - first @ (first.T @ (A @ V))
        L = np.linalg.cholesky(V.T @ (A @ V))  # the identity but for round-off: the order stays
        return np.hstack([first, sl.solve_triangular(L, V.T, lower=True).T])

    def _orthonormal(self, X: np.ndarray, least: float, most: int) -> np.ndarray:
        """The principal directions of the columns of X, orthonormal in A, the largest first."""
        value, turn = sl.eigh(X.T @ (self.A @ X))
        keep = np.flatnonzero(value > least**2)[::-1][:most]
        return X @ (turn[:, keep] / np.sqrt(value[keep]))


@dataclass(frozen=True)
class Greedy:
    """A basis and how it came about."""

    V: np.ndarray  # (size, r)
    Z: np.ndarray  # (size, SKETCH)
    solved: tuple[int, ...]  # samples solved in full, in order
    worst: tuple[float, ...]  # largest estimate over all samples after each round


def greedy(
    model: Model,
    samples: Sequence[Weights],
    count: int,
    tolerance: float,
    most: int = 200,
    start: int = 3,
    say: Callable[[str], None] = lambda text: None,
    loads: np.ndarray | None = None,
) -> Greedy:
    """Greedy basis for `count` modes of all the weights in `samples`, the first of them the reference.

    loads: (size, k) whose residual attachment modes the basis shall hold too, for each variant solved: no mode below the
    validity limit holds them.
    Stops when the largest estimate is below the tolerance, or after MOST_SNAPSHOTS full solves.
    """
    norm = Norm(model, samples[0])
    Z = norm.sketch()
    rigid = rigid_modes(model.space.points)
    snapshots: list[np.ndarray] = []
    solved: list[int] = []
    worst: list[float] = []
    best = None
    todo = spread(samples, start)
    while True:
        for k in todo:
            say(f"snapshot {len(solved) + 1}")
            solution = modes(model, samples[k], count + EXTRA, loads=loads)
            snapshots.append(solution.shape)
            if solution.attachment is not None:
                snapshots.append(solution.attachment)
            solved.append(k)
        V = norm.basis(rigid, np.hstack(snapshots), DROP * tolerance, most)
        reduced = reduce(model, V, Z)
        error = estimates(reduced, samples, count)
        worst.append(float(error.max()))
        say(f"basis of {V.shape[1]}: largest estimate {worst[-1]:.2g}")
        if best is None or worst[-1] <= min(worst):
            best = V
        error[solved] = 0
        if worst[-1] < tolerance or len(solved) >= min(MOST_SNAPSHOTS, len(samples)):
            return Greedy(best, Z, tuple(solved), tuple(worst))
        todo = [int(np.argmax(error))]


def spread(samples: Sequence[Weights], count: int) -> list[int]:
    """Indices of `count` samples far from one another in the logarithm of their weights, the first one first."""
    keys = sorted({key for w in samples for key in w})
    points = np.array([[w.get(key, 0.0) for key in keys] for w in samples])
    scale = np.abs(points).max(axis=0)
    points = points[:, scale > 0] / scale[scale > 0]
    chosen = [0]
    while len(chosen) < min(count, len(samples)):
        far = np.min([np.linalg.norm(points - points[k], axis=1) for k in chosen], axis=0)
        if far.max() < 1e-9:
            break
        chosen.append(int(np.argmax(far)))
    return chosen


def count_below(model: Model, weights: Weights, frequency: float) -> int:
    """Number of elastic modes of a free model below a frequency [Hz], by Sylvester's law of inertia.

    K - s M has as many negative pivots as there are eigenvalues below s. ArithmeticError where the factorisation without
    pivoting is not to be trusted.
    """
    A = model.matrix("K", weights) - (2 * np.pi * frequency) ** 2 * model.matrix("M", weights)
    order = dissection(A)
    if order is not None:
        A = A[order][:, order]
    spec = "MMD_AT_PLUS_A" if order is None else "NATURAL"
    lu = splu(A.tocsc(), permc_spec=spec, diag_pivot_thresh=0.0, options=dict(SymmetricMode=True))
    b = np.random.default_rng(0).standard_normal(A.shape[0])
    residual = np.linalg.norm(A @ lu.solve(b) - b) / np.linalg.norm(b)
    if np.any(lu.perm_r != lu.perm_c) or not residual < 1e-3:
        raise ArithmeticError(
            f"modes below {frequency:g} Hz cannot be counted: the factorisation is off by {residual:.1g}"
        )
    return int(np.sum(lu.U.diagonal() < 0)) - RIGID
