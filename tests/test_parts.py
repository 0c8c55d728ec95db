"""Sections of the parts against laminate and beam formulas worked out by hand here."""

from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest

from meshes.block_root import behind_block
from meshes.body import Board
from meshes.parts import RIM, neck, sections, side_laminate

KINDS = (("11", 0, 0), ("12", 0, 1), ("22", 1, 1), ("66", 2, 2))


def ply(wood):
    """Plane-stress stiffness (3, 3), Jones, Mechanics of Composite Materials, eq. 2.61, written out again."""
    c = 1 / (1 - wood.nu_LR**2 * wood.E_R / wood.E_L)
    Q = np.array(
        [[c * wood.E_L, c * wood.nu_LR * wood.E_R, 0], [c * wood.nu_LR * wood.E_R, c * wood.E_R, 0], [0, 0, 0]]
    )
    Q[2, 2] = wood.G_LR
    return Q


def by_hand(layers):
    """{A11 .. D66, m0, m1, m2} of (wood, thickness, middle) layers by the parallel axis theorem."""
    found = {}
    for letter, weigh in (("A", lambda t, z: t), ("B", lambda t, z: t * z), ("D", lambda t, z: t**3 / 12 + t * z**2)):
        for name, i, j in KINDS:
            found[letter + name] = sum(ply(w)[i, j] * weigh(t, z) for w, t, z in layers)
    mass = {
        "m0": sum(w.density * t for w, t, _ in layers),
        "m1": sum(w.density * t * z for w, t, z in layers),
        "m2": sum(w.density * (t**3 / 12 + t * z**2) for w, t, z in layers),
    }
    return found, mass


def assert_laminate(section, layers):
    stiffness, mass = by_hand(layers)
    assert {k: section.stiffness[k] for k in stiffness} == pytest.approx(stiffness, rel=1e-12, abs=1e-9)
    assert section.mass == pytest.approx(mass, rel=1e-12, abs=1e-15)


@pytest.fixture(scope="module")
def hazel():
    return cases.example("hazel")


@pytest.fixture(scope="module")
def linnet():
    return cases.example("linnet")


@pytest.fixture(scope="module")
def found(hazel):
    return sections(hazel)


# --- plates and sides ---


def test_plates_lie_about_their_middle(hazel, found):
    for name in ("top", "back"):
        board = getattr(hazel, name)
        assert_laminate(found[name], [(board.wood, board.thickness, 0.0)])


def test_doubled_sides_by_hand(linnet):
    """Outer layer about its own middle, inner layer on the inside: B11 below zero with the normal outward."""
    outer, inner = linnet.sides
    assert outer.wood.name != inner.wood.name and outer.thickness != inner.thickness
    section = side_laminate(linnet.sides)
    middle = -(outer.thickness + inner.thickness) / 2
    assert_laminate(section, [(outer.wood, outer.thickness, 0.0), (inner.wood, inner.thickness, middle)])
    assert section.stiffness["B11"] < 0 and section.mass["m1"] < 0


def test_third_layer_goes_further_in(linnet):
    outer, inner = linnet.sides
    section = side_laminate((outer, inner, Board(outer.wood, 0.001)))
    z2 = -(outer.thickness + inner.thickness) / 2
    z3 = z2 - inner.thickness / 2 - 0.0005
    assert_laminate(
        section, [(outer.wood, outer.thickness, 0), (inner.wood, inner.thickness, z2), (outer.wood, 0.001, z3)]
    )


# --- bridge ---


def test_bridge_sits_outside_and_its_plate_inside(hazel, found):
    half = hazel.top.thickness / 2
    bridge, plate = hazel.bridge, hazel.bridge_plate
    assert_laminate(found["bridge"], [(bridge.wood, bridge.thickness, half + bridge.thickness / 2)])
    assert_laminate(found["bridge_plate"], [(plate.wood, plate.thickness, -half - plate.thickness / 2)])
    assert found["bridge"].stiffness["B11"] > 0 > found["bridge_plate"].stiffness["B11"]


def test_bridge_without_plate_leaves_it_out(linnet):
    assert linnet.bridge_plate is None
    assert "bridge_plate" not in sections(linnet)


# --- blocks ---

WHOLE = {"cut_width": 0.0, "cut_depth": 0.0, "cut_height": 0.0, "hole": 0.0}


@pytest.mark.parametrize("name", ["neck_block", "tail_block"])
def test_block_weighs_once_and_lies_inside(hazel, name):
    block = replace(getattr(hazel, name), **WHOLE)
    found = sections(replace(hazel, **{name: block}))
    side = found[f"{name}/sides"]
    _, run = behind_block(hazel, name)  # of the bent rim behind it, longer than the block is wide
    assert 1 < run / block.width < 1.002
    assert side.mass["m0"] * run == pytest.approx(block.wood.density * block.thickness * block.width, rel=1e-12)
    lever = hazel.side_thickness - hazel.sides[0].thickness / 2 + block.thickness / 2
    assert side.stiffness["B11"] == pytest.approx(-lever * side.stiffness["A11"], rel=1e-12)
    for plate in ("top", "back"):
        on_plate = found[f"{name}/{plate}"]
        assert not any(on_plate.mass.values())
        lever = getattr(hazel, plate).thickness / 2 + block.height / 4
        assert on_plate.stiffness["B22"] == pytest.approx(-lever * on_plate.stiffness["A22"], rel=1e-12)


@pytest.mark.parametrize(
    ("grain", "side", "plate"),
    [
        ("toward_top", ("E_L", "E_R"), ("E_R", "E_T")),  # side: up, along; plate: seen on end grain
        ("along_body", ("E_R", "E_T"), ("E_L", "E_R")),  # side: seen on end grain; plate: along the body, across it
        ("across_body", ("E_L", "E_R"), ("E_L", "E_R")),  # side: along the rim, up; plate: across the body, along it
    ],
)
def test_block_shows_its_grain_to_side_and_plate(hazel, grain, side, plate):
    """Axis 1 and 2 of the block's footprints are as stiff as the wood's own axes that lie there."""
    block = replace(hazel.neck_block, grain=grain, **WHOLE)
    wood = block.wood
    found = sections(replace(hazel, neck_block=block))
    for section, thickness, (first, second) in (
        (found["neck_block/sides"], block.thickness, side), (found["neck_block/top"], block.height / 2, plate),
    ):  # fmt: skip
        A = np.array(
            [[section.stiffness["A11"], section.stiffness["A12"]], [section.stiffness["A12"], section.stiffness["A22"]]]
        )
        E = 1 / (np.diag(np.linalg.inv(A)) * thickness)  # Young's moduli from the compliance
        assert E == pytest.approx([getattr(wood, first), getattr(wood, second) or wood.E_R], rel=1e-9)


def test_end_grain_has_the_losses_of_the_cross_grain(hazel):
    """Seen on end grain no fibre is stretched: 'along' the plate's axis 1 is wood R, and R's loss factor is its own."""
    block = replace(hazel.neck_block, grain="along_body")
    wood = block.wood
    assert wood.losses_known and wood.loss_R > 1.2 * wood.loss_L
    section = sections(replace(hazel, neck_block=block))["neck_block/sides"]
    per_stiffness = section.losses["along"]["A11"] / section.stiffness["A11"]
    assert per_stiffness > 0.9 * wood.loss_R


# --- beams ---


def test_braces_stand_on_the_inner_face(hazel, found):
    """E integral of z^2 from the face at half the plate's thickness; sums over the powers of the taper at full height."""
    for brace in hazel.braces:
        section = found[f"{brace.plate}_braces/{brace.name}"]
        low = getattr(hazel, brace.plate).thickness / 2
        high = low + brace.height
        moments = {k: brace.width * (high ** (k + 1) - low ** (k + 1)) / (k + 1) for k in (0, 1, 2)}
        for kind, k in (("EA", 0), ("ES", 1), ("EI", 2)):
            total = sum(f for name, f in section.stiffness.items() if name.rstrip("123") == kind)
            assert total == pytest.approx(brace.wood.E_L * moments[k], rel=1e-12)
        assert section.mass["m1"] == pytest.approx(brace.wood.density * moments[0], rel=1e-12)


@pytest.mark.parametrize("doubled", [False, True])
def test_side_bars_stand_on_the_innermost_layer(hazel, doubled):
    outer = hazel.sides[0]
    body = replace(hazel, sides=(outer, Board(outer.wood, 0.0015))) if doubled else hazel
    bar, section = body.side_bars[0], sections(body)["side_bars/1"]
    low = outer.thickness / 2 + (0.0015 if doubled else 0)
    first = bar.wood.E_L * bar.width * ((low + bar.thickness) ** 2 - low**2) / 2
    assert sum(f for name, f in section.stiffness.items() if name.startswith("ES")) == pytest.approx(first, rel=1e-12)


# --- neck ---


def test_head_weighs_what_the_maker_says(hazel, found):
    n = hazel.neck
    assert found["neck/head"].mass["m0"] * n.head_length * n.width == pytest.approx(n.head_mass, rel=1e-12)


def test_fingerboard_lies_above_the_shaft(hazel, found):
    n = hazel.neck
    board_only = replace(n, heel_depth=0.0, wood=replace(n.wood, E_L=1e3, E_R=1e3, G_LR=1e3, nu_LR=0.0))
    above = neck(replace(hazel, neck=board_only))["neck/shaft"]
    assert above.stiffness["B11"] == pytest.approx(above.stiffness["A11"] * n.fingerboard_thickness / 2, rel=1e-3)
    assert found["neck/shaft"].stiffness["B11"] < above.stiffness["B11"]


def test_shaft_is_as_stiff_as_a_half_ellipse(hazel):
    """Second moment of a half ellipse about its own centroid by quadrature; the fingerboard is left out."""
    n = hazel.neck
    thin = replace(n, fingerboard_wood=replace(n.fingerboard_wood, E_L=1e3, E_R=1e3, G_LR=1e3, nu_LR=0.0))
    section = neck(replace(hazel, neck=thin))["neck/shaft"]
    z = (np.arange(20000) + 0.5) / 20000 * n.thickness
    width = n.width * np.sqrt(1 - (z / n.thickness) ** 2)
    dz = n.thickness / 20000
    centroid = np.sum(width * z) / np.sum(width)
    second = np.sum(width * (z - centroid) ** 2) * dz
    A11, B11, D11 = (section.stiffness[k] for k in ("A11", "B11", "D11"))
    # EI of a strip, free to narrow
    own = (D11 - B11**2 / A11) * n.width * (1 - n.wood.nu_LR**2 * n.wood.E_R / n.wood.E_L)
    assert own == pytest.approx(n.wood.E_L * second, rel=0.01)


def test_body_without_neck(hazel):
    assert neck(replace(hazel, neck=None)) == {}


# --- the rim as a whole ---


def test_rim_is_what_stands_between_the_plates(found):
    parts = {region.split("/")[0] for region in found}
    assert set(RIM) == parts - {"top", "back", "top_braces", "back_braces", "bridge", "bridge_plate", "neck"}


def test_every_section_knows_its_losses(found):
    """All woods of the example sheets have loss factors: no null heat for the first user."""
    assert [region for region, section in found.items() if section.losses is None] == []
