"""Reduced basis: exact on its snapshots, good between them, and honest about its error; modes counted by inertia."""

from dataclasses import replace

import numpy as np
import pytest
import shell_cases as cases
from shell_cases import LOSSY, SPRUCE

from fem import compressed_terms, reduce
from fem.eigen import SHIFT, modes, rigid_modes
from fem.energies import energies, masses
from fem.factor import Factor
from fem.model import assemble, weights
from fem.sections import Layer, beam, laminate

COUNT = 8
THIN = replace(LOSSY, name="other", E_L=14e9, E_R=0.6e9, loss_L=0.01, loss_R=0.03, loss_G=0.02)


def sections(top=0.003, side=0.0022, stiff=1.0, rib=0.012):
    """Sections of the folded box, every part of another thickness, grain and wood."""
    wood = replace(LOSSY, E_L=stiff * LOSSY.E_L, E_R=stiff**0.5 * LOSSY.E_R)
    return {
        "top": laminate([Layer(wood, top)]),
        "back": laminate([Layer(THIN, 0.0026)]),
        "sides": laminate([Layer(THIN, side, across=True)]),
        "rib": beam(wood, 0.008, rib, top / 2),
    }


def draws(n, seed=1):
    u = np.random.default_rng(seed).random((n, 4))
    return [sections(0.002 + 0.002 * a, 0.0015 + 0.0015 * b, 0.7 + 0.6 * c, 0.008 + 0.008 * d) for a, b, c, d in u]


@pytest.fixture(scope="module")
def box():
    return assemble(cases.folded_box(0.3, 0.2, 0.08, 2))


@pytest.fixture(scope="module")
def found(box):
    samples = [weights(sections()), *map(weights, draws(15))]
    return reduce.greedy(box, samples, COUNT, tolerance=0.01, most=160)


@pytest.fixture(scope="module")
def small(box, found):
    return reduce.reduce(box, found.V, found.Z)


@pytest.fixture(scope="module")
def compressed(small):
    return compressed_terms.compress(small, draws(60, seed=5))


def test_terms_are_projections_of_the_models_own(box, found, small):
    for key in (
        ("K", "top", "D11"),
        ("K", "sides", "A12"),
        ("K", "rib", "GS2"),
        ("M", "back", "m0"),
        ("M", "rib", "mS1"),
    ):
        whole = box.term(*key)
        projected = found.V.T @ (whole @ found.V)
        assert np.abs(small.term(*key) - projected).max() < 1e-10 * np.abs(projected).max()
        sketched = found.Z.T @ (whole @ found.V)
        assert np.abs(small.sketched[key] - sketched).max() < 1e-9 * np.abs(sketched).max()


def test_matrix_is_the_projection_of_the_sum(box, found, small):
    w = weights(draws(1, seed=9)[0])
    for role in "KM":
        projected = found.V.T @ (box.matrix(role, w) @ found.V)
        assert np.abs(small.matrix(role, w) - projected).max() < 1e-9 * np.abs(projected).max()


def test_snapshots_are_met(box, small):
    w = weights(sections())
    full, quick = modes(box, w, COUNT), reduce.reduced_modes(small, w, COUNT)
    assert quick.frequency == pytest.approx(full.frequency, rel=1e-5)
    assert quick.rigid_frequency.max() < 1e-2 * quick.frequency[0]


def test_variants_between_snapshots(box, small):
    """Never seen variants: .1 % in frequency; a reduced frequency lies above the full one (Rayleigh-Ritz)."""
    for s in draws(4, seed=77):
        full, quick = modes(box, weights(s), COUNT), reduce.reduced_modes(small, weights(s), COUNT)
        off = quick.frequency / full.frequency - 1
        assert off.max() < 1e-3 and off.min() > -1e-6


def test_the_estimate_is_the_residual_in_the_norm(box, found, small):
    """At the reference weights: |A^-1 r|, A factorised here, against its sketch: 40 vectors, 11 % each; three times that."""
    w = weights(sections())
    A = box.matrix("K", w) - SHIFT * box.matrix("M", w)
    y = np.random.default_rng(3).standard_normal((small.size, 5))
    y /= np.sqrt(np.einsum("im,ij,jm->m", y, small.matrix("M", w), y))
    omega2 = np.einsum("im,ij,jm->m", y, small.matrix("K", w), y)
    x = found.V @ y
    r = box.matrix("K", w) @ x - (box.matrix("M", w) @ x) * omega2
    exact = np.sqrt(np.sum(r * Factor(A).solve(r), axis=0) / np.sum(x * (A @ x), axis=0))
    assert small.residual(w, omega2, y) == pytest.approx(exact, rel=0.35)


def test_the_estimate_warns_outside_the_box(small):
    inside = reduce.reduced_modes(small, weights(sections()), COUNT).residual.max()
    outside = reduce.reduced_modes(small, weights(sections(top=0.006, side=0.0008, stiff=3.0)), COUNT).residual.max()
    assert outside > 10 * inside and outside > 0.02


def test_greedy_lowers_the_worst_estimate(found):
    assert min(found.worst) < 0.01 < found.worst[0]
    assert len(set(found.solved)) == len(found.solved)


def test_estimates_of_many_are_those_of_each(small):
    samples = [weights(s) for s in draws(5, seed=31)]
    each = [reduce.reduced_modes(small, w, COUNT).residual.max() for w in samples]
    assert reduce.estimates(small, samples, COUNT) == pytest.approx(each, rel=1e-6)


def test_the_leading_part_is_a_basis_of_fewer_columns(box, found, small):
    part = reduce.leading(small, 40)
    again = reduce.reduce(box, found.V[:, :40], found.Z)
    w = weights(draws(1, seed=9)[0])
    for role in "KM":
        assert np.abs(part.matrix(role, w) - again.matrix(role, w)).max() < 1e-10 * np.abs(again.matrix(role, w)).max()
    pair = [reduce.reduced_modes(r, w, COUNT) for r in (part, again)]
    assert pair[0].residual == pytest.approx(pair[1].residual, rel=1e-6)


def test_directions_come_in_the_order_of_their_worth(small):
    """Each column less takes an estimate up, over a few samples at least: the last ones matter least."""
    samples = [weights(s) for s in draws(6, seed=41)]
    worst = [reduce.estimates(reduce.leading(small, r), samples, COUNT).max() for r in (20, 40, 60, small.size)]
    assert sorted(worst, reverse=True) == worst and worst[0] > 3 * worst[-1]


def test_a_basis_is_cut_as_far_as_the_limit_allows(small):
    samples = [weights(sections()), *map(weights, draws(30, seed=17))]
    own = reduce.estimates(small, samples, COUNT).max()
    limit = 3 * own
    cut = reduce.smallest(small, samples, COUNT, limit)
    assert cut.size < small.size and reduce.estimates(cut, samples, COUNT).max() <= limit
    assert reduce.estimates(reduce.leading(small, cut.size - 1), samples, COUNT).max() > limit
    assert reduce.smallest(small, samples, COUNT, own / 2) is small


def test_greedy_repeats_itself(box, found):
    samples = [weights(sections()), *map(weights, draws(15))]
    again = reduce.greedy(box, samples, COUNT, tolerance=0.01, most=160)
    assert np.array_equal(again.V, found.V) and again.solved == found.solved


def test_a_full_basis_stops(box):
    samples = [weights(sections()), *map(weights, draws(6))]
    tight = reduce.greedy(box, samples, COUNT, tolerance=1e-6, most=40)
    assert tight.V.shape[1] == 40 and min(tight.worst) > 1e-6 and len(tight.solved) == 7


def test_sketch_has_the_inverse_as_covariance(box):
    """Mean of (z' b)^2 over many z is b' A^-1 b: 600 vectors, so 6 % standard deviation."""
    norm = reduce.Norm(box, weights(sections()))
    Z = norm.sketch(600, seed=2)
    B = np.random.default_rng(4).standard_normal((box.size, 3)) * np.geomspace(1, 1e-3, box.size)[:, None]
    assert np.mean((Z.T @ B) ** 2, axis=0) == pytest.approx(np.sum(B * Factor(norm.A).solve(B), axis=0), rel=0.25)


def test_merged_terms_give_the_reduced_models_answer(box, found, small, compressed):
    s = draws(1, seed=123)[0]
    quick, v = reduce.reduced_modes(small, weights(s), COUNT), compressed_terms.solve(compressed, s, COUNT)
    assert v.projection_error < compressed_terms.PROJECTION_TOLERANCE
    assert v.frequency == pytest.approx(quick.frequency, rel=1e-8)
    assert v.estimate == pytest.approx(quick.residual.max(), rel=1e-3)
    split = energies(box, s, found.V @ v.y)
    for part, values in split.strain_share.items():
        assert v.strain_share[part] == pytest.approx(values, abs=1e-5)  # single precision
        assert v.dissipated_share[part] == pytest.approx(split.dissipated_share[part], abs=1e-5)
    assert v.loss_factor == pytest.approx(split.loss_factor, rel=1e-5)
    assert v.mass == pytest.approx(masses(box, s), rel=1e-9)


def test_merged_shares_against_a_full_solve(box, compressed):
    """Half a point, as a night's check rows are held to."""
    for s in draws(3, seed=31):
        full = modes(box, weights(s), COUNT)
        split, v = energies(box, s, full.shape), compressed_terms.solve(compressed, s, COUNT)
        for part in split.dissipated_share:
            assert v.strain_share[part] == pytest.approx(split.strain_share[part], abs=5e-3)
            assert v.dissipated_share[part] == pytest.approx(split.dissipated_share[part], abs=5e-3)


def test_what_the_samples_do_not_span_is_told(compressed):
    s = draws(1)[0]
    s["sides"] = laminate([Layer(replace(THIN, G_LR=3 * THIN.G_LR), 0.002)])  # grain turned, another ratio of moduli
    assert compressed_terms.solve(compressed, s, COUNT).projection_error > compressed_terms.PROJECTION_TOLERANCE


def test_merging_makes_few_of_many(small, compressed):
    assert len(compressed.packed["K"]) < len([k for k in small.columns if k[0] == "K"]) / 2


def test_losses_not_known_leave_heat_unknown(small):
    s = [{**d, "back": laminate([Layer(SPRUCE, 0.0026)])} for d in draws(30)]
    v = compressed_terms.solve(compressed_terms.compress(small, s), s[0], COUNT)
    assert v.dissipated_share is None and v.loss_factor is None
    assert sum(v.strain_share.values()) == pytest.approx(1, abs=1e-5)


def test_modes_are_counted_by_inertia(box):
    w = weights(sections())
    f = modes(box, w, 12).frequency
    for n in (1, 5, 11):
        if f[n] / f[n - 1] > 1.001:
            assert reduce.count_below(box, w, (f[n - 1] + f[n]) / 2) == n
    assert reduce.count_below(box, w, f[0] / 2) == 0


def test_rigid_modes_lie_in_the_basis(box, found, small):
    rigid = rigid_modes(box.space.points)
    inside = found.V @ np.linalg.lstsq(found.V, rigid, rcond=None)[0]
    assert np.abs(inside - rigid).max() < 1e-8 * np.abs(rigid).max()
    step = np.zeros(box.size)
    step[2::6] = 1
    assert found.V @ small.step == pytest.approx(step, abs=1e-8)
