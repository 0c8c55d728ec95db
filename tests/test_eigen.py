"""Modes against a dense solver, supports, convergence, pairing by the modal assurance criterion."""

import numpy as np
import pytest
import scipy.linalg as sl
import scipy.sparse as sp
import shell_cases as cases
from shell_cases import SPRUCE, STEEL

from fem.eigen import fixed_unknowns, mac, modes, rigid_modes
from fem.materials import isotropic
from fem.model import assemble, weights
from fem.sections import Layer, beam, laminate

pytestmark = pytest.mark.usefixtures("solver")
SECTIONS = {"plate": laminate([Layer(SPRUCE, 0.003)])}
BOX = {
    "top": laminate([Layer(SPRUCE, 0.003)]),
    "back": laminate([Layer(STEEL, 0.001)]),
    "sides": laminate([Layer(SPRUCE, 0.002)]),
    "rib": beam(SPRUCE, 0.008, 0.014, 0.0015),
}


@pytest.fixture(scope="module")
def plate():
    return assemble(cases.plate(0.4, 0.3, 6, 5, grain=27))


def dense(K, M, count, rigid):
    """Hz of the elastic modes, by a dense solver on (M, K + shift M): M is singular."""
    shift = 1e4
    mu = sl.eigvalsh(M.toarray(), (K + shift * M).toarray())[::-1]
    return np.sqrt((1 / mu - shift)[rigid : rigid + count]) / (2 * np.pi)


def test_free_modes_against_a_dense_solver():
    model, w = assemble(cases.folded_box(0.3, 0.2, 0.08, 2)), weights(BOX)
    hand = dense(model.matrix("K", w), model.matrix("M", w), 12, 6)
    found = modes(model, w, 12)
    assert found.frequency == pytest.approx(hand, rel=1e-6)
    assert np.max(found.residual) < 1e-5


def test_clamped_modes_against_a_dense_solver():
    model, w = assemble(cases.plate(0.4, 0.3, 3, 3, grain=27)), weights(SECTIONS)
    fixed = fixed_unknowns(model.space, ["west"])
    free = np.setdiff1d(np.arange(model.size), fixed)
    K, M = (model.matrix(r, w)[free][:, free] for r in "KM")
    found = modes(model, w, 8, fixed)
    assert found.frequency == pytest.approx(dense(K, M, 8, 0), rel=1e-6)
    assert np.all(found.shape[fixed] == 0)
    assert found.rigid_frequency.size == 0


@pytest.mark.parametrize("size", [0.02, 0.4, 20.0])
def test_modes_of_the_very_small_and_the_very_large(size):
    """A steel plate scaled as a whole keeps f times size: no fixed frequency may be built into the solver."""
    model = assemble(cases.plate(size, 0.8 * size, 8, 7))
    found = modes(model, weights({"plate": laminate([Layer(STEEL, size / 150)])}), 8)
    unit = assemble(cases.plate(1.0, 0.8, 8, 7))
    w = weights({"plate": laminate([Layer(STEEL, 1 / 150)])})
    free = dense_by_projection(unit.matrix("K", w), unit.matrix("M", w), 8)
    assert found.frequency * size == pytest.approx(free, rel=1e-5)


def dense_by_projection(K, M, count):
    """Hz of a free plate's elastic modes by scipy's own Lanczos, an independent path."""
    from scipy.sparse.linalg import eigsh

    value = np.sort(
        eigsh(K.tocsc(), count + 6, M.tocsc(), sigma=-100.0, v0=np.ones(K.shape[0]), return_eigenvectors=False)
    )
    return np.sqrt(value[6:]) / (2 * np.pi)


def test_shapes_are_mass_normalised_and_free_of_rigid_motion(plate):
    w = weights(SECTIONS)
    K, M, found = plate.matrix("K", w), plate.matrix("M", w), modes(plate, w, 6)
    omega2 = (2 * np.pi * found.frequency) ** 2
    assert found.shape.T @ (M @ found.shape) == pytest.approx(np.eye(6), abs=1e-8)
    assert found.shape.T @ (K @ found.shape) / omega2 == pytest.approx(np.eye(6), abs=1e-4)
    drift = np.tile(np.eye(6)[:3], len(found.shape) // 6)
    assert np.abs(drift @ (M @ found.shape)).max() < 1e-8


def test_same_input_same_answer():
    found = [modes(assemble(cases.plate(0.4, 0.3, 4, 4, grain=27)), weights(SECTIONS), 6) for _ in range(2)]
    assert np.array_equal(found[0].frequency, found[1].frequency)
    assert np.array_equal(found[0].shape, found[1].shape)


@pytest.mark.parametrize(("support", "beta_L"), [("fix", 4.73004), ("support", np.pi)])
def test_fixed_ends_are_clamped_and_held_ends_are_hinged(support, beta_L, literature, record):
    """A slender strip without Poisson effect: clamped-clamped beam, or a hinged one. Blevins 1979, table 8-1."""
    if support == "fix":
        assert beta_L == literature["euler_free_beam"]["value"][0]
    L, h, wood = 0.5, 0.003, isotropic("strip", 10e9, 0.0, 500.0)
    model = assemble(cases.plate(L, 0.02, 10, 1))
    fixed = fixed_unknowns(model.space, **{support: ["west", "east"]})
    found = modes(model, weights({"plate": laminate([Layer(wood, h)])}), 1, fixed)
    hand = (beta_L / L) ** 2 * h / np.sqrt(12) * np.sqrt(wood.E_L / wood.density) / (2 * np.pi)
    record(
        f"slender strip, {'clamped' if support == 'fix' else 'hinged'} ends",
        "Blevins 1979, table 8-1",
        hand,
        found.frequency,
        "Hz",
    )
    assert found.frequency[0] == pytest.approx(hand, rel=2e-3)


def test_modal_assurance_criterion(plate):
    w = weights(SECTIONS)
    M, shape = plate.matrix("M", w), modes(plate, w, 6).shape
    assert mac(M, shape, shape) == pytest.approx(np.eye(6), abs=1e-8)
    flipped = -3.0 * shape[:, ::-1]
    assert mac(M, shape, flipped) == pytest.approx(np.eye(6)[::-1], abs=1e-8)
    half = (shape[:, :1] + shape[:, 1:2]) / np.sqrt(2)
    assert mac(M, shape, half)[:2, 0] == pytest.approx([0.5, 0.5], abs=1e-8)


def test_modes_of_two_builds_pair_across_a_change_of_order(plate):
    """Half the stiffness across the grain reorders the modes; the criterion still names the partner of each."""
    from dataclasses import replace

    weak = {"plate": laminate([Layer(replace(SPRUCE, E_R=0.4 * SPRUCE.E_R), 0.003)])}
    a, b = modes(plate, weights(SECTIONS), 4), modes(plate, weights(weak), 5)
    pair = mac(plate.matrix("M", weights(SECTIONS)), a.shape, b.shape)
    partner = pair.argmax(axis=1)
    assert sorted(set(partner)) == sorted(partner)
    assert np.all(pair.max(axis=1) > 0.6)
    assert np.all(b.frequency[partner] < a.frequency * (1 + 1e-9))


def test_a_load_brings_its_residual_attachment_mode_along(plate):
    """The static answer of a clamped plate is that of its modes and the attachment mode together, exactly (Craig & Kurdila)."""
    w, fixed = weights(SECTIONS), fixed_unknowns(plate.space, ["west"])
    free = np.setdiff1d(np.arange(plate.size), fixed)
    load = np.zeros(plate.size)
    load[free[np.argmax(plate.space.points[free // 6, 0] + 0.3 * plate.space.points[free // 6, 1])] // 6 * 6 + 2] = 1.0
    K, M = (plate.matrix(r, w) for r in "KM")
    found = modes(plate, w, 5, fixed, loads=load[:, None])
    shape = np.column_stack([found.shape, found.attachment])
    assert shape.T @ (M @ shape) == pytest.approx(np.eye(6), abs=1e-9)
    bent = found.attachment[:, 0]
    static = np.append(found.shape.T @ load / (2 * np.pi * found.frequency) ** 2, bent @ load / (bent @ (K @ bent)))
    exact = np.zeros(plate.size)
    exact[free] = sp.linalg.spsolve(K[free][:, free].tocsc(), load[free])
    assert load @ (shape @ static) == pytest.approx(load @ exact, rel=1e-7)
    beyond = exact - found.shape @ static[:5]
    beyond /= np.sqrt(beyond @ (M @ beyond))
    assert abs(bent - np.sign(bent @ (M @ beyond)) * beyond).max() < 1e-6 * abs(bent).max()
    assert load @ (found.shape @ static[:5]) < 0.999 * (load @ exact)  # the modes alone do not tell it
    assert modes(plate, w, 5, fixed).attachment is None
    loose = modes(plate, w, 5, loads=load[:, None]).attachment
    assert abs(rigid_modes(plate.space.points).T @ (M @ loose)).max() < 1e-9  # of a free plate without its rigid motion
