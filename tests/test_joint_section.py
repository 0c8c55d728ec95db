"""The plate-to-rim joint: statics, hand formulas, what it must not depend on, and what a rebate does."""

from dataclasses import replace

import numpy as np
import pytest

from fem.materials import Wood, isotropic
from fem.sections import RIGID_ROTATION
from meshes import joint_section
from meshes.joint_section import (
    JointGeometry,
    around_outline,
    glue_area,
    joint_stiffness,
    side_behind_rebate,
    wood_behind_rebate,
)
from meshes.joint_solid import edge_compliance, ends, plate_bending, shell_compliance, solid_compliance
from meshes.kerf_cell import KerfCell

MM = 1e-3
COARSE = 0.7 * MM
# Like sugar maple, Honduras mahogany, Sitka spruce of the Wood Handbook FPL-GTR-282, ch. 5; losses for the test only
MAPLE = Wood("maple", 13.9e9, 1.83e9, 1.54e9, 0.873e9, 0.2e9, 0.424, 700, 0.9e9, 0.476, 0.774, 0.01, 0.03, 0.02)
MAHOGANY = Wood(
    "mahogany", 11.3e9, 1.21e9, 0.748e9, 0.974e9, 0.317e9, 0.314, 543, 0.725e9, 0.533, 0.6, 0.008, 0.025, 0.02
)
SPRUCE = Wood("spruce", 11.9e9, 0.93e9, 0.76e9, 0.73e9, 0.036e9, 0.372, 448, 0.51e9, 0.467, 0.435, 0.005, 0.02, 0.016)
PLASTIC = isotropic("plastic binding", 2.2e9, 0.38, 1200, 0.05)
KERFED = KerfCell(2.2 * MM, MAPLE, 6 * MM, 14 * MM, MAHOGANY, 8 * MM, 1 * MM, 1.2 * MM)
SOLID = replace(KERFED, web=6 * MM)
LINED = JointGeometry(SOLID, 2.8 * MM, SPRUCE, 0.0, 1.7 * MM, 6 * MM, MAPLE)
BARE = JointGeometry(SOLID, 2.8 * MM, SPRUCE, 0.0, lined=False)


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("RIMWORK_CACHE", str(tmp_path))
    joint_stiffness.cache_clear()


def at_corner(geometry, beyond, fine=COARSE):
    """Solid minus shell, loads moved to the corner, for pieces cut `beyond` thicknesses from it."""
    move = np.eye(4)
    move[3, 2] = -ends(geometry, beyond)[0]
    return move.T @ (solid_compliance(geometry, fine, beyond)[0] - shell_compliance(geometry, beyond)) @ move


def test_shell_corner_by_hand():
    """Two cantilevers in a row, grain along the edge: textbook beam formulas with plane strain along the edge."""
    A, B = ends(BARE)
    w, h, s, t = SPRUCE, 2.8 * MM, MAPLE, 2.2 * MM
    Dp = w.E_R / (1 - w.nu_LR**2 * w.E_R / w.E_L) * h**3 / 12
    Es = s.E_R / (1 - s.nu_LR**2 * s.E_R / s.E_L)
    Ds = Es * t**3 / 12
    C = shell_compliance(BARE)
    assert plate_bending(BARE) == pytest.approx(Dp)
    assert C[3, 3] == pytest.approx(A / Dp + B / Ds)
    assert C[2, 3] == pytest.approx(A**2 / (2 * Dp) + A * B / Ds)
    assert C[2, 2] == pytest.approx(A**3 / (3 * Dp) + A / (5 / 6 * w.G_RT * h) + A**2 * B / Ds + B / (Es * t))
    assert C[1, 3] == pytest.approx(-(B**2) / (2 * Ds))
    assert C[0, 0] == pytest.approx(A / (w.G_LR * h) + B / (s.G_LR * t))


@pytest.mark.parametrize("degrees", [0, 45, 90])
def test_joint_does_not_depend_on_where_the_pieces_are_cut(degrees):
    """Saint-Venant: plate and side as shells must take over exactly what the solid does, off the grain too.

    Tolerance: 1 % of the compliance of the pieces, which grows with their length while the joint's must not.
    """
    geometry = replace(LINED, grain_angle=np.radians(degrees))
    near, far = at_corner(geometry, 2.5), at_corner(geometry, 5)
    pieces = np.diag(shell_compliance(geometry, 2.5))
    assert np.diag(far) / pieces == pytest.approx(np.diag(near) / pieces, abs=0.01)
    assert near == pytest.approx(near.T, rel=1e-6, abs=1e-9 * abs(near).max())


def test_grain_to_the_left_and_to_the_right_mirror():
    left, right = (at_corner(replace(LINED, grain_angle=angle), 2.5) for angle in (0.5, -0.5))
    assert np.diag(left) == pytest.approx(np.diag(right), rel=1e-6)
    assert (
        left[0, 3] == pytest.approx(-right[0, 3], rel=1e-5) and abs(left[0, 3]) > 1e-9
    )  # sliding along the edge turns


def test_rolling_shear_of_the_corner_of_a_side_without_lining():
    """The square where plate and side overlap carries the moment in shear, as the panel zone of a steel frame's corner.

    6/5 1/(G_RT h t): 6/5 for a parabolic spread, as in a beam. 15 %: the corner's own spread is not that of a beam.
    Only the difference between two G_RT is compared: shells know nothing of it.
    """
    soft, stiff = (replace(BARE, plate_wood=replace(SPRUCE, G_RT=G)) for G in (30e6, 90e6))
    found = at_corner(soft, 2.5)[3, 3] - at_corner(stiff, 2.5)[3, 3]
    assert found == pytest.approx(1.2 * (1 / 30e6 - 1 / 90e6) / (2.8 * MM * 2.2 * MM), rel=0.15)


def test_lower_edge_of_the_lining_yields_the_same_on_a_taller_lining():
    """The edge is its own thing: as a length of bare side it is about the side's thickness, whatever the height."""
    taller = replace(LINED, rim=replace(SOLID, lining_height=20 * MM))
    one, other = edge_compliance(LINED, COARSE), edge_compliance(taller, COARSE)
    assert other[2, 2] == pytest.approx(one[2, 2], rel=0.03)
    D_side = MAPLE.E_R / (1 - MAPLE.nu_LR**2 * MAPLE.E_R / MAPLE.E_L) * (2.2 * MM) ** 3 / 12
    assert 0.3 < one[2, 2] * D_side / (2.2 * MM) < 1.2
    assert (edge_compliance(BARE) == 0).all()


def test_a_wide_lining_makes_the_joint_rigid_and_says_so():
    found = joint_stiffness(LINED)
    assert "turn" in found.rigid and found.rotation == pytest.approx(RIGID_ROTATION)
    assert found.compliance[3, 3] < 0  # the shell corner is softer than the solid one
    assert found.span_excess == pytest.approx(-found.compliance[3, 3] * plate_bending(LINED))
    assert 1 * MM < found.span_excess < 7.1 * MM  # the plate cannot be held further in than the lining's inner face
    assert f"{found.span_excess * 1e3:.1f} mm longer" in found.words()


def test_kerfs_hardly_matter_to_the_joint_but_sliding():
    """The plate is glued to block after block: turned at the edge, kerfed and solid differ by less than 2 %."""
    solid, kerfed = (joint_stiffness(replace(LINED, rim=rim), COARSE).solid for rim in (SOLID, KERFED))
    assert 0 < kerfed[3, 3] / solid[3, 3] - 1 < 0.02
    assert kerfed[0, 0] > 1.1 * solid[0, 0]


def test_rebate_without_lining_makes_a_hinge():
    """0.5 mm of side left behind an open rebate, bent over the 3.2 mm below the plate: at least that strip alone."""
    rebated = replace(BARE, rebate_width=1.7 * MM, rebate_height=6 * MM)
    opened, plastic, maple = (
        joint_stiffness(replace(rebated, binding_wood=binding), COARSE) for binding in (None, PLASTIC, MAPLE)
    )
    strip = 3.2 * MM / (MAPLE.E_R * (0.5 * MM) ** 3 / 12)
    side = 3.2 * MM / (MAPLE.E_R * (2.2 * MM) ** 3 / 12)
    assert opened.compliance[3, 3] > 0.9 * (strip - side)
    assert opened.rotation == pytest.approx(1 / opened.compliance[3, 3]) and "turn" not in opened.rigid
    assert opened.solid[3, 3] > 10 * max(maple.solid[3, 3], plastic.solid[3, 3])
    assert plastic.loss > maple.loss  # a lossy binding makes a lossy corner
    interface_spring = opened.section(loss=0.04)
    assert interface_spring.family == "interface" and interface_spring.stiffness["ct"] == opened.rotation
    assert interface_spring.losses["joint"]["ct"] == pytest.approx(0.04 * opened.rotation)


def test_around_the_outline_is_the_mean():
    angles = [0.0, np.pi / 2]
    mean = around_outline(BARE, angles)
    each = [joint_stiffness(replace(BARE, grain_angle=a)).compliance[3, 3] for a in angles]
    assert each[0] != pytest.approx(each[1], rel=0.1)
    assert mean.rotation == pytest.approx(1 / np.mean(each))


def test_wood_left_and_glue_area_by_hand():
    kerfed = replace(LINED, rim=KERFED)
    assert side_behind_rebate(kerfed) == pytest.approx(0.5 * MM)
    assert wood_behind_rebate(kerfed) == pytest.approx((0.5 + 6 - 4.8 / 8) * MM)
    assert glue_area(kerfed) == pytest.approx((0.5 + 5.4) * MM)  # 5.9 mm2 per mm of edge
    shallow = replace(kerfed, rebate_height=2.5 * MM)  # cuts the plate's edge only
    assert side_behind_rebate(shallow) == pytest.approx(2.2 * MM)
    assert glue_area(shallow) == pytest.approx(5.9 * MM)  # binding stands where the plate's edge was
    deep = replace(LINED, rim=replace(KERFED, kerf_side="side"), rebate_width=3.2 * MM)  # 1 mm into the kerfed zone
    assert side_behind_rebate(deep) == 0
    assert wood_behind_rebate(deep) == pytest.approx((5 - 3.8 / 8) * MM)
    assert glue_area(BARE) == pytest.approx(2.2 * MM)


def test_joint_is_kept_on_disk_and_damage_is_survived(tmp_path, monkeypatch):
    first = joint_stiffness(BARE, COARSE)
    (file,) = tmp_path.glob("joint-*.json")
    with monkeypatch.context() as patched:
        patched.setattr(joint_section, "solid_compliance", None)  # calling it would fail
        joint_stiffness.cache_clear()
        assert joint_stiffness(BARE, COARSE).rotation == pytest.approx(first.rotation)
    for damage in ("", "[]", '{"solid": [[1]], "shell": 2, "edge": 3, "loss": null}'):
        file.write_text(damage)
        joint_stiffness.cache_clear()
        assert joint_stiffness(BARE, COARSE).rotation == pytest.approx(first.rotation)


def test_unknown_losses_stay_unknown():
    quiet = replace(BARE, plate_wood=replace(SPRUCE, loss_R=None))
    assert joint_stiffness(quiet, COARSE).loss is None


@pytest.mark.parametrize(
    "change, words",
    [
        ({"rebate_width": 8 * MM}, "rebate_width = 8 mm; expected between 0 and 6.56 mm .the rebate must leave wood"),
        ({"plate_thickness": 28 * MM}, "plate_thickness = 28 mm"),
        ({"rebate_height": float("nan")}, "rebate_height"),
        ({"grain_angle": float("inf")}, "grain_angle"),
    ],
)
def test_impossible_joints_are_named(change, words):
    with pytest.raises(ValueError, match=words):
        replace(LINED, **change)
