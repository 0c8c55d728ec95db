"""Modes one step richer on the same triangles, against the richer space's own; facets made longer in every bend."""

import numpy as np
import pytest
import shell_cases as cases
from shell_cases import SPRUCE, STEEL

from fem.eigen import mac, modes
from fem.model import assemble, weights
from fem.richer import prolongation, quartic, richer_modes
from fem.sections import Layer, beam, laminate
from meshes.build import mesh_body
from meshes.outline import signed_area
from meshes.sheet import read_sheet

BOX = {
    "top": laminate([Layer(SPRUCE, 0.003)]),
    "back": laminate([Layer(STEEL, 0.001)]),
    "sides": laminate([Layer(SPRUCE, 0.002)]),
    "rib": beam(SPRUCE, 0.008, 0.014, 0.0015),
}


@pytest.fixture(scope="module")
def box():
    mesh = cases.folded_box(0.3, 0.2, 0.08, 3)
    return assemble(mesh), quartic(mesh), weights(BOX)


def test_a_field_keeps_its_energies_in_the_richer_space(box):
    cubic, richer, w = box
    x = np.random.default_rng(1).normal(size=(cubic.size, 3))
    y = prolongation(cubic.space, richer.space) @ x
    for role in ("K", "M"):
        skin = {key: f for key, f in w.items() if key[1] != "rib"}  # a rib has fewer points in the cubic space
        small, large = cubic.matrix(role, skin), richer.matrix(role, skin)
        assert np.sum(y * (large @ y), axis=0) == pytest.approx(np.sum(x * (small @ x), axis=0), rel=1e-9)


def test_a_linear_field_stays_itself(box):
    cubic, richer, _ = box
    linear = lambda space: np.hstack(
        [space.points @ [[1, 2], [3, -1], [0.5, 4]], space.points, np.ones((len(space.points), 1))]
    ).ravel()
    assert prolongation(cubic.space, richer.space) @ linear(cubic.space) == pytest.approx(
        linear(richer.space), abs=1e-12
    )


def test_one_step_gives_nearly_the_richer_spaces_own_modes(box):
    cubic, richer, w = box
    count = 5
    given, own = modes(cubic, w, count), modes(richer, w, count)
    found = richer_modes(richer, w, cubic.space, given)
    gap = given.frequency - own.frequency
    assert gap.max() > 2e-3 * own.frequency.max()  # there is something to find
    assert np.all(found.frequency <= given.frequency)
    assert np.all(found.frequency >= own.frequency * (1 - 1e-9))
    assert found.frequency - own.frequency == pytest.approx(0, abs=0.05 * gap.max())
    M = richer.matrix("M", w)
    assert found.shape.T @ (M @ found.shape) == pytest.approx(np.eye(count), abs=1e-9)
    assert np.diag(mac(M, own.shape, found.shape)).min() > 0.99


def test_the_step_answers_for_loads_as_all_modes_do(box):
    cubic, richer, w = box
    load = np.zeros((richer.size, 1))
    load[6 * np.argmax(richer.space.points[:, 2]) + 2] = 1.0
    given = modes(cubic, w, 6)
    found = richer_modes(richer, w, cubic.space, given, load)
    direct = modes(richer, w, 6, loads=load)
    K = richer.matrix("K", w)

    def static(found):
        """J: the load's own displacement, of the modes and of the residual attachment mode."""
        bent = found.attachment[:, 0]
        of_modes = np.sum((load.T @ found.shape) ** 2 / (2 * np.pi * found.frequency) ** 2)
        return of_modes + (load.T @ bent).item() ** 2 / (bent @ (K @ bent))

    assert static(found) == pytest.approx(static(direct), rel=2e-3)


def test_facets_twice_as_long_even_in_the_bends():
    body = read_sheet("meshes/bodies/hazel.toml")
    rim = lambda *how: (lambda m: m.nodes[m.edges["rim_top"][:, 0], :2])(mesh_body(body, *how))
    lost = lambda ring: body.outline.area - signed_area(ring)
    plain, size_alone, longer = rim(0.02), rim(0.04), rim(0.02, 2)
    assert len(longer) < len(size_alone) < len(plain)
    assert lost(longer) > lost(size_alone) > lost(plain)
