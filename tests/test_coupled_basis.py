"""A sounding body in a reduced basis: the same as in full where the basis holds the modes, close to it in a real basis."""

from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest

from fem import compressed_terms
from fem.air import cavity_modes
from fem.body_modes import dampings
from fem.eigen import modes
from fem.fretboard import fretboard
from fem.model import assemble, weights
from fem.radiation import boundary
from fem.reduce import greedy, reduce, reduced_modes
from fem.response import harmonic
from fem.strings import Pluck
from meshes import cavity as cavity_mesh
from meshes import outer_surface as outer_mesh
from meshes.build import mesh_body
from meshes.coupled_basis import coupled_basis, coupled_model_in_basis, enclosed, structure_in
from meshes.coupled_model import FluidDomain, coupled_model, modes_of, outside, structure_of, velocities
from meshes.outline import where_x
from meshes.parts import sections
from meshes.string_body import string_body
from meshes.string_places import string_loads
from meshes.string_sets import string_set
from meshes.supports import FREE, LAP, with_supports

pytestmark = pytest.mark.slow  # real bases with air: a minute

FEW = (40.0, 200.0, 400.0, 650.0, 1000.0)  # Hz: enough for a coarse surface
COUNT = 14
NOTES = [(i, fret) for i in range(6) for fret in (0, 5)]


def around_of(body):
    """FluidDomain on coarse meshes, with a side port beside the soundhole: two openings that must not change places."""
    ports = [(float(where_x(body.outline, 0.12)[0]), 0.045, 0.014)]
    cavity, outer = cavity_mesh.mesh_cavity(body, 0.05, ports), outer_mesh.outer_surface(body, 0.075, ports)
    return FluidDomain(cavity, cavity_modes(cavity, 300.0), boundary(outer.nodes, outer.triangles), outer.groups)


def in_full(body, model, parts, around, count=COUNT):
    found = modes(model, weights(parts), count)
    structure = structure_of(body, model, parts, found)
    return coupled_model(structure, around, outside(around.surface, [velocities(structure, around)], frequency=FEW)[0])


@pytest.fixture(scope="module")
def body():
    return cases.example("hazel")


@pytest.fixture(scope="module")
def model(body):
    return assemble(mesh_body(body, 0.1))


@pytest.fixture(scope="module")
def around(body):
    return around_of(body)


@pytest.fixture(scope="module")
def full(body, model, around):
    return in_full(body, model, sections(body), around)


@pytest.fixture(scope="module")
def quick(body, model, around, full):
    """The same from a basis that holds the full modes and the bending at the saddle, mixed by a random matrix."""
    draw = np.random.default_rng(1)
    shape = full.structure.shape
    V = np.column_stack([shape[:, :6], shape @ draw.normal(size=(shape.shape[1], shape.shape[1] - 6))])
    basis = coupled_basis(body, model.space, V, around, frequency=FEW)
    parts = sections(body)
    reduced = replace(reduce(model, V), space=basis.space)
    structure = structure_of(body, reduced, parts, reduced_modes(reduced, weights(parts), COUNT))
    return coupled_model_in_basis(basis, enclosed(body, model.space, V, around), structure)


def test_the_same_structure(full, quick):
    a, b = full.structure, quick.structure
    assert b.frequency == pytest.approx(a.frequency, rel=1e-7, abs=1e-6)
    assert abs(b.drive) == pytest.approx(abs(a.drive), rel=1e-5, abs=1e-7)
    assert b.weight == pytest.approx(a.weight, rel=1e-9)
    assert set(a.loss) == set(b.loss) and set(a.mass) == set(b.mass)
    for part in a.loss:
        assert np.diag(b.loss[part]) == pytest.approx(np.diag(a.loss[part]), rel=1e-5, abs=1e-3)


@pytest.mark.parametrize("how", [FREE, LAP])
def test_the_same_complex_modes(full, quick, how):
    a, b = (modes_of(s, with_supports(s, how), highest=350.0) for s in (full, quick))
    assert b.frequency == pytest.approx(a.frequency, rel=1e-6)
    assert b.loss_factor == pytest.approx(a.loss_factor, rel=1e-5)
    for name in ("loss_share", "kinetic_share", "potential_share"):
        for part, share in getattr(a, name).items():
            assert getattr(b, name)[part] == pytest.approx(share, abs=1e-6), (name, part)


@pytest.mark.parametrize("how", [FREE, LAP])
def test_the_same_mobility_and_power(full, quick, how):
    f = np.arange(60.0, 350.0, 7.0)
    a, b = (harmonic(with_supports(s, how), s.drive, f) for s in (full, quick))
    assert b.mobility == pytest.approx(a.mobility, rel=1e-5)
    for part in a.power:
        assert b.share[part] == pytest.approx(a.share[part], abs=1e-6)


def notes_of(coupled, how):
    body = string_body(coupled, with_supports(coupled, how))
    return body, fretboard(string_set("steel").strings, body, Pluck(), frets=5)


@pytest.mark.parametrize("how", [FREE, LAP])
def test_the_same_notes(full, quick, how):
    (one, a), (other, b) = notes_of(full, how), notes_of(quick, how)
    assert other.omega == pytest.approx(one.omega, rel=1e-6)
    for part, C in dampings(one).items():
        assert np.diag(dampings(other)[part]) == pytest.approx(np.diag(C), rel=1e-4, abs=1e-5), part
    for end in ("saddle", "nut"):
        assert abs(getattr(other, end)) == pytest.approx(abs(getattr(one, end)), rel=1e-4, abs=1e-6)
    assert a.valid.sum() >= 12
    assert b.decay_time == pytest.approx(a.decay_time, rel=1e-5, nan_ok=True)
    for part in a.share:
        assert b.share[part] == pytest.approx(a.share[part], abs=1e-6, nan_ok=True)


# --- a real basis ---


def with_top(body, thickness):
    return replace(body, top=replace(body.top, thickness=thickness))


def with_joint_of(body, other):
    """Sections of another body with the joint of this one: a corner's stiffness is no power of the thickness, which the
    merged terms of a few samples would span.
    """
    joint = {r: s for r, s in sections(body).items() if r.startswith("joint_") or "corner" in r}
    return sections(other) | joint


@pytest.fixture(scope="module")
def trained(body, model, around):
    """(CoupledBasis, Enclosed, Compressed, basis) over tops of 2.6 to 3.2 mm."""
    tops = [with_top(body, t) for t in (0.0029, 0.0026, 0.0032)]
    samples = [with_joint_of(body, b) for b in tops]
    found = greedy(model, [weights(s) for s in samples], COUNT, 0.02, loads=string_loads(body, model.space))
    basis = coupled_basis(body, model.space, found.V, around, frequency=FEW)
    compressed = compressed_terms.compress(reduce(model, found.V, found.Z), samples)
    return basis, enclosed(body, model.space, found.V, around), compressed


def in_basis(trained, body, all_parts=True, parts=None):
    basis, air, compressed = trained
    weighted = compressed_terms.weight_terms(compressed, parts := parts or sections(body))
    v = compressed_terms.solve(compressed, parts, COUNT, weighted)
    structure = structure_in(basis, body, weighted, v.frequency, v.y, all_parts)
    return coupled_model_in_basis(basis, air.inside(body), structure)


def test_a_changed_top_in_a_real_basis(body, model, around, full, trained):
    """A thickness between the trained ones against the full way with air of its own: frequencies within .1 %, decay times
    within .5 %, while the change itself moves notes by several times as much.
    """
    other = with_top(body, 0.00305)
    parts = with_joint_of(body, other)
    whole, small = in_full(other, model, parts, around_of(other)), in_basis(trained, other, parts=parts)
    assert small.structure.frequency[6 : 6 + COUNT] == pytest.approx(whole.structure.frequency[6 : 6 + COUNT], rel=1e-3)
    assert abs(small.drive[12:]).sum() > 0 and small.lowest_hz == pytest.approx(whole.lowest_hz, rel=1e-3)
    a, b = (modes_of(s, with_supports(s, FREE), highest=300.0) for s in (whole, small))
    assert b.frequency == pytest.approx(a.frequency, rel=1e-3)
    for part in a.loss_share:
        assert b.loss_share[part] == pytest.approx(a.loss_share[part], abs=5e-3)
    (_, exact), (_, near), (_, before) = notes_of(whole, FREE), notes_of(small, FREE), notes_of(full, FREE)
    miss = np.nanmax(abs(near.decay_time / exact.decay_time - 1))
    assert miss < 5e-3
    assert np.nanmax(abs(before.decay_time / exact.decay_time - 1)) > 5 * miss


def test_the_basis_holds_the_bending_at_the_saddle(trained, body, full):
    """Static answer at the saddle beyond the modes: with the saddle's own shapes in the basis within 1 % of the full one."""
    small = in_basis(trained, body, all_parts=False).structure
    static = lambda s: np.sum((s.drive[6 + COUNT :] / s.frequency[6 + COUNT :]) ** 2)
    assert static(small) == pytest.approx(static(full.structure), rel=0.01)


def test_air_follows_the_thickness_of_the_wood(body, trained):
    """A top 1 mm thicker takes half a millimetre from the air over the whole plan, and thickens the opening."""
    air = trained[1]
    thick = air.inside(with_top(body, body.top.thickness + 1e-3))
    assert air.volume - thick.volume == pytest.approx(body.outline.area * 0.5e-3, rel=1e-6)
    assert thick.openings["soundhole"].thickness == pytest.approx(body.top.thickness + 1e-3)
    assert thick.coupling.c[0] == pytest.approx(air.coupling.c[0] * np.sqrt(air.volume / thick.volume))
    assert np.array_equal(thick.coupling.c[1:], air.coupling.c[1:])


def test_places_far_from_those_of_the_basis_are_refused(body, trained):
    moved = replace(body, bridge=replace(body.bridge, saddle_x=body.bridge.saddle_x + 0.05))
    with pytest.raises(ValueError, match="from those that the reduced basis holds"):
        in_basis(trained, moved)


def test_fewer_modes_of_the_air_answer_alike(full, around):
    """Cavity modes above twice the validity limit left to the residual mass: the notes hardly change."""
    s, around = full.structure, replace(around, air=cavity_modes(around.cavity, 800.0))
    radiated = outside(around.surface, [velocities(s, around)], frequency=FEW)[0]
    many, few = (coupled_model(s, around, radiated, fewer) for fewer in (False, True))
    assert len(few.drive) < len(many.drive)
    a, b = (modes_of(x, with_supports(x, FREE), highest=300.0) for x in (many, few))
    assert b.frequency == pytest.approx(a.frequency, rel=1e-3)
