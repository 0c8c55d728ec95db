"""From the sheet to the linings' and joints' sections: bevel, glue lines, doubled sides, rebates, and what check says."""

from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest

from fem.eigen import modes
from fem.energies import energies
from fem.model import assemble, weights
from fem.sections import RIGID_ROTATION, RIGID_TRANSLATION, Layer, laminate
from meshes import describe
from meshes.body import Board
from meshes.build import mesh_body
from meshes.describe import check_text
from meshes.joints import joint_geometry, joint_of
from meshes.kerf_cell import lining_terms
from meshes.linings import lining_section, rim_cell, side_wood
from meshes.parts import sections, side_laminate


@pytest.fixture(scope="module")
def hazel():
    return cases.example("hazel")


@pytest.fixture(scope="module")
def linnet():
    return cases.example("linnet")


@pytest.fixture(scope="module")
def unlined(hazel):
    """Without lining or rebate: a joint that yields."""
    return replace(hazel, lining_top=replace(hazel.lining_top, kind="none"),
                   joint_top=replace(hazel.joint_top, rebate_width=0.0))  # fmt: skip


# --- bevel and glue ---


@pytest.mark.parametrize("kind", ["kerfed", "reversed_kerfed", "solid_laminated"])
def test_bevel_takes_wood_from_the_inside(hazel, kind):
    full = replace(hazel.lining_top, kind=kind)
    bevelled = replace(full, bevel_width=0.003, bevel_height=0.010)
    one, other = (lining_section(lining, hazel.sides) for lining in (full, bevelled))
    for term in ("A22", "D22") + (() if kind == "kerfed" else ("D11",)):  # a web at the side keeps its bending along
        assert 0.3 < other.stiffness[term] / one.stiffness[term] < 0.97, term
    lever = lambda section: -section.stiffness["B22"] / section.stiffness["A22"]
    assert lever(other) < lever(one)


@pytest.mark.parametrize("kind", ["kerfed", "solid_laminated"])
def test_bevelled_lining_weighs_its_section(hazel, kind):
    """6.5 mm over 5 mm of height, then down to 3 mm over 10: 5.33 mm on average; the drawing's weight is the model's."""
    lining = replace(hazel.lining_top, kind=kind, bevel_width=0.003, bevel_height=0.010)
    assert lining.mean_width == pytest.approx((6.5 * 5 + 4.75 * 10) / 15 * 1e-3)
    section = lining_section(lining, hazel.sides)
    wood = lining.mean_width
    if kind == "kerfed":
        wood -= (lining.mean_width - lining.web) * lining.kerf_width / lining.kerf_spacing
    assert section.mass["m0"] == pytest.approx(wood * lining.wood.density, rel=1e-6)
    if kind == "kerfed":
        full = describe.lining_mass(hazel, replace(lining, bevel_width=None, bevel_height=None))
        shares = [w - (w - lining.web) / 8 for w in (lining.mean_width, lining.width)]
        assert describe.lining_mass(hazel, lining) / full == pytest.approx(shares[0] / shares[1])


def test_glue_lines_by_hand(hazel):
    """Three laminations of 2 mm with .1 mm of soft glue each behind them, side first: A11 and B11 by hand."""
    lining = replace(hazel.lining_top, kind="solid_laminated", width=0.006, laminations=3, lamination_thickness=0.002,
                     glue_line=1e-4, glue_shear=0.4e9)  # fmt: skip
    section, side = lining_section(lining, hazel.sides), hazel.sides[0]
    layers, face = [], -side.thickness / 2
    for _ in range(3):
        face -= 1e-4
        layers.append(Layer(lining.wood, 0.0019, face - 0.0019 / 2))
        face -= 0.0019
    wood = laminate(layers)
    E_glue = 2 * 1.35 * 0.4e9 / (1 - 0.35**2)
    assert section.stiffness["A11"] == pytest.approx(wood.stiffness["A11"] + 3e-4 * E_glue, rel=1e-6)
    assert section.stiffness["B11"] == pytest.approx(wood.stiffness["B11"], rel=0.01)
    assert section.mass["m0"] == pytest.approx(0.006 * lining.wood.density)
    stiff = lining_section(replace(lining, glue_line=0.0), hazel.sides)
    assert section.stiffness["S55"] < stiff.stiffness["S55"]
    assert section.losses is not None


# --- doubled sides ---


def test_doubled_side_as_one_board_has_its_layers_mean(linnet):
    """In plane the board stretches as the laminate does: A11, A22, A66, mass; across-the-grain layers too."""
    outer, inner = linnet.sides
    for sides in (linnet.sides, (outer, replace(inner, grain_angle=np.pi / 2))):
        board, exact = side_wood(sides), side_laminate(sides)
        one = laminate([Layer(board, outer.thickness + inner.thickness)])
        for term in ("A11", "A12", "A22", "A66"):
            assert one.stiffness[term] == pytest.approx(
                exact.stiffness[term], rel=5e-4
            )  # losses enter as complex moduli
        assert one.mass["m0"] == pytest.approx(exact.mass["m0"])


def test_side_of_one_wood_stays_that_wood(hazel):
    outer = hazel.sides[0]
    assert side_wood(hazel.sides) == outer.wood
    assert side_wood((outer, Board(outer.wood, 0.0015))) == outer.wood
    turned = side_wood((replace(outer, grain_angle=np.pi / 2),))
    assert (turned.E_L, turned.E_R) == (outer.wood.E_R, outer.wood.E_L)


def test_unknown_loss_of_one_layer_is_not_made_zero(linnet):
    outer, inner = linnet.sides
    assert side_wood((outer, replace(inner, wood=replace(inner.wood, loss_L=None)))).loss_L is None
    assert side_wood(linnet.sides).losses_known


@pytest.mark.parametrize("kind", ["kerfed", "reversed_kerfed"])
def test_kerfed_lining_hardly_asks_what_the_doubled_side_is_made_of(linnet, kind):
    """The board behind it all of the outer wood, or all of the inner: A, B, D of what the lining adds within 1 %."""
    cell = rim_cell(replace(linnet.lining_back, kind=kind), linnet.sides)
    mean = lining_terms(cell).stiffness
    for layer in linnet.sides:
        other = lining_terms(replace(cell, side_wood=layer.wood)).stiffness
        for term in [term for term in mean if term[0] in "ABD"]:
            assert other[term] == pytest.approx(mean[term], rel=0.01), term


# --- joints ---


def turning(body, plate="top"):
    """Compliance [1/N] with which the springs of a joint turn, grain along the edge."""
    return joint_of(body, plate).corner.compliance.sum(axis=0)[0, 3, 3]


def test_joint_lies_in_the_parts_that_yield(hazel):
    """Glue line with the sheet's loss, plate and side with their woods' own; the blocks' joint and turns about a, b stay rigid."""
    found, joint = sections(hazel), joint_of(hazel, "top")
    glue, of_plate, of_rim = joint.corner.stiffness()
    regions = {"joint_top": glue, "top/corner": of_plate, "sides/corner_top": of_rim}
    for region, K in regions.items():
        for kind, place in {"rr@0": (0, 3, 3), "br@45": (1, 2, 3), "ta@45": (1, 0, 1), "tt@90": (2, 0, 0)}.items():
            assert found[region].stiffness[kind] == K[place], (region, kind)
    assert found["joint_top"].losses["joint"]["rr@90"] == pytest.approx(hazel.joint_top.loss * glue[2, 3, 3])
    losses = joint.corner.losses(joint_geometry(hazel, "top"))
    for region, eta in zip(("top/corner", "sides/corner_top"), losses):
        assert 0.003 < eta < 0.05
        kinds = found[region].stiffness
        assert found[region].losses["corner"] == pytest.approx({kind: eta * f for kind, f in kinds.items()})
    assert found["joint_top"].stiffness["ca"] == found["joint_top/blocks"].stiffness["ct"] == RIGID_ROTATION
    assert found["joint_top/blocks"].stiffness["kb"] == RIGID_TRANSLATION


def test_loss_of_the_joints_moves_the_modes_by_what_the_glue_stores(hazel):
    """Twice or half the loss factor: the modal loss moves by it times the share of the strain energy in the joints' own springs."""
    model, base = assemble(mesh_body(hazel, 0.06)), sections(hazel)
    found = modes(model, weights(base), 8)
    omega2 = (2 * np.pi * found.frequency) ** 2
    w = {
        key: f for key, f in weights(base).items() if key[1].endswith("/blocks") or key[2] not in ("ca", "cb")
    }  # those are rigid
    of = lambda end: {key: f for key, f in w.items() if key[1] in (f"joint_top{end}", f"joint_back{end}")}
    lined, blocks = (
        np.einsum("im,im->m", found.shape, model.matrix("K", of(end)) @ found.shape) / omega2 for end in ("", "/blocks")
    )
    assert (lined > 1e-6).all() and lined.max() > 5e-4
    loss = energies(model, base, found.shape).loss_factor
    for factor in (0.5, 2.0):
        joints = {name: replace(made, loss=factor * made.loss) for name, made in _joints(hazel).items()}
        other = energies(model, sections(replace(hazel, **joints)), found.shape).loss_factor
        assert other - loss == pytest.approx((factor - 1) * hazel.joint_top.loss * (lined + blocks), rel=1e-6)


def _joints(body):
    return {name: getattr(body, name) for name in ("joint_top", "joint_back")}


def test_other_linings_and_losses_leave_the_mesh_alone(hazel):
    """The same regions on the same triangles, land and all: a model is weighed anew, not meshed anew."""
    lining = replace(hazel.lining_top, kind="solid_laminated", width=0.009)
    other = replace(hazel, lining_top=lining, lining_back=replace(hazel.lining_back, kind="reversed_kerfed"))
    one, two = (mesh_body(body, 0.08) for body in (hazel, other))
    assert np.array_equal(one.nodes, two.nodes) and np.array_equal(one.triangles, two.triangles)
    assert set(sections(other)) == set(sections(hazel))
    assert sections(other)["top/land"] == sections(hazel)["top/land"]
    assert turning(other) != turning(hazel)


def test_bevelled_lining_counts_as_rectangular_in_the_joint(hazel):
    bevelled = replace(hazel, lining_top=replace(hazel.lining_top, bevel_width=0.003, bevel_height=0.010))
    assert turning(bevelled) == turning(hazel)


def test_joint_without_lining_yields_more(hazel, unlined):
    assert turning(unlined) > 1.3 * turning(replace(hazel, joint_top=unlined.joint_top))


def test_rebate_softens_a_joint_without_lining(unlined):
    """An open rebate weakens more than one filled by maple; the glue area falls by its width."""
    width = replace(unlined.joint_top, rebate_width=0.0015)
    filled, empty = (replace(unlined, joint_top=made) for made in (width, replace(width, binding=None)))
    assert turning(empty) > 1.5 * turning(filled)
    none, empty = joint_of(unlined, "top"), joint_of(empty, "top")
    assert (none.glue, empty.glue) == pytest.approx((0.0022, 0.0007))
    assert none.side_left == pytest.approx(0.0022) and empty.side_left == pytest.approx(0.0007)


def test_glue_area_counts_kerfs_once_by_hand(hazel):
    """2.2 mm of side less 1.6 of rebate, 1.2 of web, 7 parts in 8 of 5.3 mm of blocks: 6.44 mm2 per mm."""
    assert 1e3 * joint_of(hazel, "top").glue == pytest.approx(0.6 + 1.2 + 5.3 * 7 / 8)


def test_joint_that_cannot_be_computed_is_rigid_and_says_so(hazel):
    """And the plate has no land then."""
    found = joint_of(replace(hazel, joint_top=replace(hazel.joint_top, rebate_width=0.009)), "top")
    assert found.sections["joint_top"].stiffness["ka"] == RIGID_TRANSLATION and found.glue is None
    assert found.words.startswith("joint taken as rigid: joint: rebate_width = 9 mm")
    assert found.sections["joint_top"].losses["joint"]["ka"] == pytest.approx(0.02 * RIGID_TRANSLATION)
    assert not any(found.sections["top/land"].stiffness.values())


def test_corner_of_a_doubled_side_lies_outside_its_middle(linnet):
    """The mesh's corner is the outer layer's middle; loads there are moved to where the solid has them."""
    geometry = joint_geometry(linnet, "top")
    _outer, inner = linnet.sides
    assert geometry.outset == pytest.approx(inner.thickness / 2)
    assert joint_of(linnet, "top").corner.clipped < 0.01


# --- what the maker reads ---


def test_check_prints_the_joints(hazel):
    text = check_text(hazel)
    assert "top: behind the rebate 0.6 mm of the side, 6.4 mm with the lining; glue area 6.4 mm2 per mm" in text
    assert "the plate bends as if clamped" in text and "taken as rigid" not in text


def test_simplifications_are_listed(linnet):
    text = check_text(linnet)
    assert "lining_back: the doubled side behind it counts as one board" in text
    assert "lining_back: in the joint's solid it counts as not bevelled" in text


def test_joint_loss_is_said_to_be_hardly_known():
    (note,) = [a for a in cases.guitar().assumed if a.key == "joint_top.loss_factor"]
    assert note.value == "0.02" and "0.005 to 0.1" in note.source
