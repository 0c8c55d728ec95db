"""Losses, stiffness and mass of parts between modes, against the matrices that they never form."""

from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest

from fem.energies import energies
from fem.materials import isotropic
from fem.mesh import part_of
from fem.modal_losses import modal_losses, modal_mass, modal_stiffness, modal_stiffness_and_losses
from fem.model import assemble, weights
from fem.sections import Layer, laminate, scaled
from meshes.build import mesh_body
from meshes.parts import sections


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    """Model of an oval box, its sections, and four shapes without any symmetry."""
    body = cases.oval(tmp_path_factory.mktemp("oval"))
    model = assemble(mesh_body(body, 0.09))
    return model, sections(body), np.random.default_rng(5).standard_normal((model.size, 4))


def loss_weights(sections, part):
    """{('K', region, kind): sum over channels of g} of one part."""
    found = {}
    for region, section in sections.items():
        for kinds in section.losses.values() if part_of(region) == part else ():
            for kind, g in kinds.items():
                found["K", region, kind] = found.get(("K", region, kind), 0) + g
    return found


def test_losses_are_those_of_the_matrices(case):
    """Every part with its own eta K as a sparse matrix: the same products, cross terms included, to round-off."""
    model, parts, shape = case
    found = modal_losses(model, parts, shape)
    assert set(found) == {part_of(region) for region in parts}
    for part, H in found.items():
        by_matrix = shape.T @ (model.matrix("K", loss_weights(parts, part)) @ shape)
        assert H == pytest.approx(by_matrix, abs=1e-10 * abs(by_matrix).max())
        assert abs(H - H.T).max() == 0
    assert len({round(float(H[0, 0] / H[1, 1]), 6) for H in found.values()}) == len(found)  # no two parts alike


def test_stiffness_and_mass_add_up(case):
    model, parts, shape = case
    for role, find in (("K", modal_stiffness), ("M", modal_mass)):
        whole = shape.T @ (model.matrix(role, weights(parts)) @ shape)
        assert sum(find(model, parts, shape).values()) == pytest.approx(whole, rel=1e-9, abs=1e-10 * abs(whole).max())


def test_the_diagonal_is_the_heat_of_the_energies(case):
    """Another way through the code: unit energies by kind, summed with the losses' coefficients."""
    model, parts, shape = case
    split = energies(model, parts, shape)
    stored = sum(np.diag(K) for K in modal_stiffness(model, parts, shape).values())
    for part, H in modal_losses(model, parts, shape).items():
        assert np.diag(H) == pytest.approx(split.dissipated_share[part] * split.loss_factor * stored, rel=1e-9)


def test_one_loss_factor_for_everything_scales_the_stiffness(case):
    model, parts, shape = case
    metal = isotropic("metal", E=69e9, nu=0.33, density=2700.0, loss=0.004)
    beside = {
        region: scaled(s, 0.0) for region, s in parts.items() if part_of(region) == "top"
    }  # wood of land and corner
    parts = parts | beside | {"top": laminate([Layer(metal, 0.003)])}
    H, K = modal_losses(model, parts, shape)["top"], modal_stiffness(model, parts, shape)["top"]
    assert H == pytest.approx(0.004 * K, abs=1e-12 * abs(K).max())


def test_no_part_gives_energy(case):
    """Linings are side with lining minus the side alone: their losses must not turn negative for that."""
    for H in modal_losses(*case).values():
        assert np.linalg.eigvalsh(H)[0] > -1e-10 * abs(H).max()


def test_unknown_losses_are_told(case):
    model, parts, shape = case
    parts = parts | {"top": replace(parts["top"], losses=None)}
    with pytest.raises(ValueError, match="not known for top; expected"):
        modal_losses(model, parts, shape)


def test_stiffness_and_losses_asked_together_are_those_asked_alone(case):
    together = modal_stiffness_and_losses(*case)
    for found, alone in zip(together, (modal_stiffness(*case), modal_losses(*case))):
        assert list(found) == list(alone)
        for part in alone:
            np.testing.assert_array_equal(found[part], alone[part])
    assert not np.array_equal(together[0]["top"], together[1]["top"])
