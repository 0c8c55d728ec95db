"""Model: K(p) = sum_i f_i(p) K_i and M(p) likewise, every term on one sparsity pattern.

The terms are kept as strain operators, not as matrices: a term of 60 000 unknowns weighs 50 MB as a matrix, while the
operators of all terms together weigh 200 MB, and sums, single terms, energies and reduced bases all follow from them.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from skfem.element import Element

from fem import elements
from fem.factor import Analysis
from fem.mesh import ShellMesh
from fem.sections import Sections

CHUNK = 256  # elements worked on at a time, so that memory stays flat
Term = tuple[str, str, str]  # (role, region, kind)
Weights = Mapping[Term, float]


@dataclass(frozen=True)
class Model:
    """Strain operators of every region of a mesh, and the block sparsity pattern that they share."""

    space: elements.Space
    operators: tuple[elements.Operator, ...]
    indptr: np.ndarray = field(repr=False)  # of the (size / 6)-square pattern of 6 x 6 blocks
    indices: np.ndarray = field(repr=False)

    @property
    def size(self) -> int:
        return self.space.size

    @property
    def step(self) -> np.ndarray:
        """(size,) everything moves by one along z."""
        moved = np.zeros(self.size)
        moved[2::6] = 1
        return moved

    @cached_property
    def places(self) -> list[np.ndarray]:
        """Per operator: (elements, nodes, nodes) index of each 6 x 6 block in the pattern."""
        N = len(self.indptr) - 1
        keys = np.repeat(np.arange(N, dtype=np.int64), np.diff(self.indptr)) * N + self.indices
        pairs = (op.nodes[:, :, None].astype(np.int64) * N + op.nodes[:, None, :] for op in self.operators)
        return [np.searchsorted(keys, p).astype(np.int32) for p in pairs]

    @cached_property
    def sums(self) -> list[list[tuple[np.ndarray, sp.csr_array]]]:
        """Per operator and chunk of its elements: blocks of the pattern that it adds to, and which of its own go into each."""
        return [[_sum_of(p[k : k + CHUNK].ravel()) for k in range(0, len(p), CHUNK)] for p in self.places]

    @cached_property
    def analysis(self) -> Analysis:
        """Of the pattern that all matrices have, made once for their factorisations."""
        return Analysis(self._csr(np.ones((len(self.indices), 6, 6))))

    def matrix(self, role: str, weights: Weights) -> sp.csr_array:
        """K or M (size, size) CSR for {(role, region, kind): f}; the pattern is the same whatever the weights."""
        data = np.zeros((len(self.indices), 6, 6))
        for op, sums in zip(self.operators, self.sums):
            if op.role == role:
                _add_energy(data, op, sums, weights)
        return self._csr(data)

    def _csr(self, blocks: np.ndarray) -> sp.csr_array:
        """CSR of blocks (blocks, 6, 6), zeros stored too."""
        return sp.bsr_array((blocks, self.indices, self.indptr), shape=(self.size, self.size)).tocsr()

    def term(self, role: str, region: str, kind: str) -> sp.csr_array:
        """One unit term K_i or M_i (size, size) CSR, on the pattern of all."""
        return self.matrix(role, {(role, region, kind): 1.0})

    def unit_energies(
        self, role: str, keys: Collection[Term], vectors: np.ndarray
    ) -> dict[tuple[str, str], np.ndarray]:
        """{(region, kind): x' K_i x (m,)} of the unit terms in keys {(role, region, kind)} for the vectors x (size, m)."""
        energies = {}
        for op in self.operators:
            kinds = {k: op.kinds[k] for k in op.kinds if op.role == role and (role, op.region, k) in keys}
            wanted = sorted({(p, i, j) for p, C in kinds.values() for i, j in np.argwhere(C) if i <= j})
            product = dict.fromkeys(wanted, 0.0)
            for k in range(0, len(op.nodes) if kinds else 0, CHUNK):
                chunk = slice(k, k + CHUNK)
                e = strains(op, vectors, chunk)
                for p, i, j in wanted:
                    w = op.weighted(p, chunk)
                    product[p, i, j] += np.einsum("eq,eqm,eqm->m", w, e[:, :, i], e[:, :, j])
            for kind, (p, C) in kinds.items():
                energies[op.region, kind] = sum(C[i, j] * product[p, min(i, j), max(i, j)] for i, j in np.argwhere(C))
        return energies


def assemble(mesh: ShellMesh, element: Element | None = None) -> Model:
    """Model of a ShellMesh; nothing in it depends on sections or woods."""
    space = elements.space(mesh, element)
    operators = (
        *(op for region, shape in mesh.surfaces.items() for op in elements.shell_operators(space, region, shape)),
        *(op for region, line in mesh.lines.items() for op in elements.beam_operators(space, region, line)),
        *(
            op
            for region, interface_spring in mesh.interface_springs.items()
            for op in elements.interface_operators(space, region, interface_spring)
        ),
    )
    joined = sp.vstack([_nodes_of(op, space.size // 6) for op in operators if op.role == "K"], format="csr")
    pattern = (joined.T @ joined).tocsr()  # nodes that share an element
    pattern.sort_indices()
    return Model(space, operators, pattern.indptr.astype(np.int32), pattern.indices.astype(np.int32))


def _nodes_of(op: elements.Operator, size: int) -> sp.csr_array:
    """(elements, size) one where an element of an operator has a node."""
    m, n = op.nodes.shape
    return sp.csr_array((np.ones(m * n, np.int32), op.nodes.ravel(), np.arange(0, m * n + 1, n)), shape=(m, size))


def weights(sections: Sections) -> dict[Term, float]:
    """{(role, region, kind): f} from {region: Section}."""
    stiffness = {("K", region, kind): f for region, s in sections.items() for kind, f in s.stiffness.items()}
    return stiffness | {("M", region, kind): f for region, s in sections.items() for kind, f in s.mass.items()}


def section_matrix(op: elements.Operator, weights: Weights, chunk: slice = slice(None)) -> np.ndarray | int:
    """C (elements, points, strains, strains): the section's stiffness (or inertia) at each point, times the weight."""
    by_column: dict[int, np.ndarray] = {}
    for kind, (column, C) in op.kinds.items():
        f = weights.get((op.role, op.region, kind), 0.0)
        if f:
            column = 0 if op.profile is None else column
            by_column[column] = by_column.get(column, 0) + f * C
    return sum(op.weighted(p, chunk)[..., None, None] * C for p, C in by_column.items())


def _sum_of(places: np.ndarray) -> tuple[np.ndarray, sp.csr_array]:
    """(used (u,) places, (u, k) one where the k-th block goes into a used place) of places (k,) in a pattern."""
    used, slot = np.unique(places, return_inverse=True)
    return used, sp.csr_array((np.ones(len(slot)), (slot, np.arange(len(slot)))), shape=(len(used), len(slot)))


def _add_energy(
    data: np.ndarray, op: elements.Operator, sums: list[tuple[np.ndarray, sp.csr_array]], weights: Weights
) -> None:
    """Add the blocks of int B' C B to data (blocks, 6, 6)."""
    n = op.nodes.shape[1]
    for number, (used, gather) in enumerate(sums):
        chunk = slice(number * CHUNK, (number + 1) * CHUNK)
        C = section_matrix(op, weights, chunk)
        if isinstance(C, int):  # no kind of this region has a weight
            return
        m = len(C)
        B = op.B[chunk].reshape(*C.shape[:3], 6 * n)
        rows = B.reshape(m, -1, 6 * n)
        Ke = rows.transpose(0, 2, 1) @ (C @ B).reshape(rows.shape)
        blocks = Ke.reshape(m, n, 6, n, 6).transpose(0, 1, 3, 2, 4).reshape(-1, 36)
        data[used] += (gather @ blocks).reshape(-1, 6, 6)


def strains(op: elements.Operator, vectors: np.ndarray, chunk: slice = slice(None)) -> np.ndarray:
    """(elements, points, strains, m) of the vectors (size, m) on a chunk of elements of one operator."""
    nodes = op.nodes[chunk]
    local = vectors.reshape(-1, 6, vectors.shape[1])[nodes]  # (elements, nodes, 6, m)
    B = op.B[chunk]
    strain = B.reshape(*B.shape[:1], -1, 6 * B.shape[3]) @ local.reshape(len(nodes), -1, vectors.shape[1])
    return strain.reshape(*B.shape[:3], -1)
