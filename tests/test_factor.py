"""Both sparse solvers against dense ones: definite, indefinite and singular matrices, columns of any kind, one analysis for many matrices."""

import numpy as np
import pytest
import scipy.sparse as sp
import shell_cases as cases
from shell_cases import SPRUCE

from fem import factor
from fem.factor import Analysis, Factor
from fem.model import assemble, weights
from fem.sections import Layer, laminate

pytestmark = pytest.mark.usefixtures("solver")


def chain(n, ends=1.0):
    """(n, n) stiffness of n masses in a row, springs of 1 N/m between, of `ends` at both ends to ground."""
    return sp.diags_array(
        [np.r_[1 + ends, np.full(n - 2, 2.0), 1 + ends], -np.ones(n - 1), -np.ones(n - 1)], offsets=[0, 1, -1]
    ).tocsr()


@pytest.mark.parametrize(
    "B",
    [
        np.arange(40.0),
        np.eye(40)[:, :3],
        np.eye(40, dtype=int)[:, ::-1],
        np.zeros((40, 0)),
        np.asfortranarray(np.eye(40) + 2),
    ],
)
@pytest.mark.parametrize("shift", [0.0, 0.3])  # the second makes it indefinite
def test_solves_as_a_dense_solver_does(B, shift):
    A = (chain(40) - shift * sp.diags_array(np.linspace(1, 2, 40))).tocsr()
    x = Factor(A).solve(B)
    assert x.shape == B.shape
    assert x == pytest.approx(np.linalg.solve(A.toarray(), B.astype(float)), rel=1e-9, abs=1e-9)


def test_a_free_chain_is_refused_as_singular():
    A = sp.block_diag([chain(30, ends=0.0), chain(20)]).tocsr()
    A[0, 0] = 1.0
    with pytest.raises(RuntimeError):
        Factor(A)
    assert Factor(chain(30)).solve(np.ones(30)).max() > 100  # and a failure leaves nothing behind


def test_one_analysis_serves_all_matrices_of_a_pattern():
    model = assemble(cases.plate(0.4, 0.3, 4, 3, grain=27))
    rng = np.random.default_rng(1)
    for thickness in (0.002, 0.003):
        w = weights({"plate": laminate([Layer(SPRUCE, thickness)])})
        K, M = model.matrix("K", w), model.matrix("M", w)
        A = sp.csr_array((K.data + 1e5 * M.data, K.indices, K.indptr), shape=K.shape)
        b = rng.standard_normal((model.size, 2))
        x = Factor(A, model.analysis).solve(b)
        assert np.linalg.norm(A @ x - b) < 1e-8 * np.linalg.norm(b)
        assert x == pytest.approx(Factor(A).solve(b), rel=1e-6, abs=1e-9 * np.abs(x).max())


def test_an_analysis_of_another_pattern_is_refused():
    if factor.rslab is None:
        pytest.skip("SuperLU orders each matrix anew")
    with pytest.raises(ValueError):
        Factor(chain(30), Analysis(sp.csr_array(chain(30) @ chain(30))))


def test_any_number_of_threads_gives_the_same_bits(monkeypatch):
    model = assemble(cases.plate(0.4, 0.3, 12, 9, grain=27))
    w = weights({"plate": laminate([Layer(SPRUCE, 0.003)])})
    K, M = model.matrix("K", w), model.matrix("M", w)
    A, b = (K + 1e5 * M).tocsr(), np.random.default_rng(0).standard_normal((model.size, 8))
    found = []
    for threads in (1, 2, 3):
        monkeypatch.setattr(factor, "THREADS", threads)
        found.append(Factor(A).solve(b))
    assert np.array_equal(found[0], found[1]) and np.array_equal(found[0], found[2])
