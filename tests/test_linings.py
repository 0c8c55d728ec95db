"""What linings add to the side: solid ones by hand, kerfed ones between nothing and solid, all on the inside."""

from dataclasses import replace

import box_cases as cases
import pytest
from test_parts import assert_laminate, by_hand

from fem.sections import Layer, laminate, shifted
from meshes.body import Board, Lining
from meshes.linings import lining_section

STIFF = ("A11", "A22", "A66", "D11", "D22", "D66")


@pytest.fixture(scope="module")
def hazel():
    return cases.example("hazel")


@pytest.fixture(scope="module")
def added(hazel):
    """{kind: Section} on the single sides of the example, all of one size."""
    kinds = ("kerfed", "reversed_kerfed", "solid_laminated", "none")
    return {kind: lining_section(replace(hazel.lining_top, kind=kind), hazel.sides) for kind in kinds}


@pytest.fixture(scope="module")
def doubled(hazel):
    """Sides of two different layers of one wood, and their kerfed lining."""
    outer = hazel.sides[0]
    sides = (outer, Board(outer.wood, 0.0014))
    return sides, lining_section(hazel.lining_top, sides)


# --- solid ---


@pytest.mark.parametrize("inner", [0.0, 0.0014])
def test_solid_lining_by_the_parallel_axis(hazel, inner):
    outer, lining = hazel.sides[0], replace(hazel.lining_top, kind="solid_laminated")
    sides = (outer, Board(outer.wood, inner)) if inner else (outer,)
    middle = -(outer.thickness / 2 + inner + lining.width / 2)
    assert_laminate(lining_section(lining, sides), [(lining.wood, lining.width, middle)])


def test_shifted_laminate_is_the_laminate_laid_elsewhere(hazel):
    wood, other = hazel.sides[0].wood, hazel.lining_top.wood
    at = lambda d: laminate([Layer(wood, 0.002, 0.001 + d), Layer(other, 0.003, -0.004 + d)])
    for d in (0.0017, -0.0023):
        moved, direct = shifted(at(0.0), d), at(d)
        assert moved.stiffness == pytest.approx(direct.stiffness, rel=1e-12)
        assert moved.mass == pytest.approx(direct.mass, rel=1e-12)
        for channel in direct.losses:
            assert moved.losses[channel] == pytest.approx(direct.losses[channel], rel=1e-12)


# --- kerfed ---


@pytest.mark.parametrize("kind", ["kerfed", "reversed_kerfed"])
def test_kerfed_lining_lies_between_nothing_and_solid(added, kind):
    for term in STIFF:
        assert 0 < added[kind].stiffness[term] < added["solid_laminated"].stiffness[term], term


@pytest.mark.parametrize("kind", ["kerfed", "reversed_kerfed"])
def test_lining_lies_on_the_inside(added, kind):
    """Normal outward: the first moments of everything glued inside are negative, as the solid lining's are."""
    solid = added["solid_laminated"]
    for term in ("B11", "B22"):
        assert added[kind].stiffness[term] < 0 and solid.stiffness[term] < 0
    assert added[kind].mass["m1"] < 0 and solid.mass["m1"] < 0


def test_saw_cuts_take_the_stretch_along_the_rim_and_leave_it_upright(added):
    kerfed, solid = added["kerfed"].stiffness, added["solid_laminated"].stiffness
    assert kerfed["A11"] < 0.6 * solid["A11"]
    assert kerfed["A22"] > 0.8 * solid["A22"]


def test_web_on_the_inside_stiffens_more_against_bending(added):
    """Reversed kerfs keep the uncut wood furthest from the side."""
    assert added["reversed_kerfed"].stiffness["D11"] > 1.5 * added["kerfed"].stiffness["D11"]


def mass_by_hand(lining, sides, web_inside):
    """m0, m1, m2 of web and blocks about the middle of the outer layer, normal outward."""
    face = -(sum(b.thickness for b in sides) - sides[0].thickness / 2)
    left = 1 - lining.kerf_width / lining.kerf_spacing
    web, blocks = lining.web, lining.width - lining.web
    order = [(left, blocks), (1.0, web)] if web_inside else [(1.0, web), (left, blocks)]
    layers = []
    for share, t in order:
        layers.append((replace(lining.wood, density=share * lining.wood.density), t, face - t / 2))
        face -= t
    return by_hand(layers)[1]


def test_mass_moments_by_hand(hazel, added, doubled):
    """Doubled sides shift the reference surface: a shift the wrong way must show."""
    lining = hazel.lining_top
    assert added["kerfed"].mass == pytest.approx(mass_by_hand(lining, hazel.sides, False), rel=1e-9)
    assert added["reversed_kerfed"].mass == pytest.approx(mass_by_hand(lining, hazel.sides, True), rel=1e-9)
    sides, section = doubled
    assert section.mass == pytest.approx(mass_by_hand(lining, sides, False), rel=1e-9)


@pytest.mark.parametrize("inner", [0.0, 0.0004, 0.0014, 0.0022])
def test_upright_wood_is_web_and_blocks_whatever_the_side(hazel, added, inner):
    """Up the side nothing is cut: A22 and its lever are those of web and blocks by hand, 1 % (contraction held or not).

    Side thicknesses whose halves add up with round-off are among the cases: no element of the cell may be degenerate.
    """
    lining, outer = hazel.lining_top, hazel.sides[0]
    sides = (outer, Board(outer.wood, inner)) if inner else (outer,)
    web, blocks = lining.web, (lining.width - lining.web) * (1 - lining.kerf_width / lining.kerf_spacing)
    centroid = (web * web / 2 + blocks * (lining.web + lining.width) / 2) / (web + blocks)
    section = lining_section(lining, sides)
    lever = outer.thickness / 2 + inner + centroid
    assert section.stiffness["A22"] == pytest.approx((web + blocks) * lining.wood.E_R, rel=0.01)
    assert section.stiffness["B22"] / section.stiffness["A22"] == pytest.approx(-lever, rel=0.01)
    assert section.stiffness["A11"] == pytest.approx(added["kerfed"].stiffness["A11"], rel=0.02)


def test_shear_of_a_kerfed_lining_rises_smoothly_with_the_side(hazel):
    """The transverse shear stiffness that a lining adds stays within the whole section's 5/6 G (t + w)."""
    outer, lining = hazel.sides[0], hazel.lining_top
    found = []
    for inner in (0.0, 0.0004, 0.0014, 0.0022, 0.003):
        sides = (outer, Board(outer.wood, inner)) if inner else (outer,)
        found.append(lining_section(lining, sides).stiffness["S55"])
        whole = 5 / 6 * (outer.wood.G_LT * (outer.thickness + inner) + lining.wood.G_LT * lining.width)
        assert 0 <= found[-1] < whole
    assert found == sorted(found)


def test_shallow_saw_cuts_approach_a_solid_lining(hazel, added):
    """Cuts of .01 mm, .5 mm deep: upright terms those of the laminate within .5 %, stretch along the rim a little less."""
    lining = replace(hazel.lining_top, kerf_width=1e-5, web=hazel.lining_top.width - 0.0005)
    cut, solid = lining_section(lining, hazel.sides).stiffness, added["solid_laminated"].stiffness
    for term in ("A22", "B22", "D22"):
        assert cut[term] == pytest.approx(solid[term], rel=0.005), term
    for term in ("A11", "B11", "D11"):
        assert 0.85 < cut[term] / solid[term] < 1, term


def test_losses_never_exceed_the_lossiest_wood(added):
    """Heat over stiffness of every diagonal term lies below the largest loss factor of side and lining."""
    for kind in ("kerfed", "reversed_kerfed", "solid_laminated"):
        section = added[kind]
        for term in ("A11", "A22", "A66", "D11", "D22", "D66"):
            eta = sum(losses[term] for losses in section.losses.values()) / section.stiffness[term]
            assert 0 < eta < 0.06, (kind, term)


# --- none, unknown ---


def test_no_lining_adds_nothing(added):
    section = added["none"]
    assert not any(section.stiffness.values()) and not any(section.mass.values())
    assert section.losses is not None


def test_unknown_kind_names_the_nearest(hazel):
    with pytest.raises(ValueError, match=r"unknown kind of lining 'kerf' \(did you mean 'kerfed'\?\)"):
        lining_section(Lining("kerf"), hazel.sides)
