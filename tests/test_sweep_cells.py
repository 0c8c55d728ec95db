"""Which linings and joints a night computes in solid cells; none is solved here."""

from dataclasses import replace

import numpy as np
import pytest
from box_cases import example, oval_sheet

from fem.sections import laminate
from meshes.parts import sections
from studies.sweep.basis import mixed
from studies.sweep.bodies import body_at
from studies.sweep.cells import slow_pieces
from studies.sweep.design import variants
from studies.sweep.kit import BaseGeometry, Kit
from studies.sweep.maps import parameter_maps
from studies.sweep.plan import read_plan
from studies.sweep.prepare import with_geometries
from studies.sweep.scatter import WoodDraws, sweep_of_draws
from studies.sweep.sections import cell_points, fit, inputs, sections_of_piece, slow_piece

FLAT = laminate([])
REBATES = {f"joint_{p}": {"rebate_width_mm": 1.2, "rebate_height_mm": 4} for p in ("top", "back")}
LAMINATED = """
mesh_size_mm = 100
[design]
kind = "grid"
[[factor]]
name = "laminations"
keys = ["lining_top.laminations"]
levels = [2, 3]
[[factor]]
name = "thickness of each"
keys = ["lining_top.lamination_thickness_mm"]
levels = [1.5, 2.0]
"""


def test_linings_and_joints_may_stay_as_the_sheet_makes_them(tmp_path):
    """One cell of each: that of the sheet's own boards, whatever is drawn; with more, as many as a linear fit needs."""
    sheet = oval_sheet(tmp_path)
    for cells, most, fewer in ((1, 1, 1), (6, 13, 7)):  # the back and the sides are one plank: four coordinates fewer
        night = sweep_of_draws(sheet, WoodDraws(("sheet", "solid_laminated"), 16, cells=cells))
        own = body_at(night, {})
        maps = parameter_maps(night, own)
        kit = Kit(night, maps, {(): BaseGeometry(own, maps, "")})
        asked = []

        def some(todo, asked=asked):
            asked += todo
            return [FLAT] * len(todo)

        slow, *_ = slow_pieces(kit, variants(night.plan), some, print)
        counts = {piece: sum(p == piece for _, p in asked) / len(slow) for piece in ("joint_top", "joint_back")}
        assert counts == {"joint_top": most, "joint_back": fewer}
        if cells == 1:
            assert {inputs(b, p) for b, p in asked if p == "joint_top"} >= {inputs(own, "joint_top")}


def test_what_the_edges_of_a_block_yield_is_fitted():
    """Over the sides' thickness and the block's stiffness, at a place that was not fitted; what neither changes is no coordinate."""
    hazel = example("hazel")

    def at(thickness, stiff):
        block, side = hazel.neck_block, hazel.sides[0]
        wood = block.wood
        stiffer = {k: stiff * getattr(wood, k) for k in ("E_L", "E_R", "E_T", "G_LR", "G_LT", "G_RT")}
        sides = (replace(side, thickness=thickness), *hazel.sides[1:])
        return replace(hazel, neck_block=replace(block, wood=replace(wood, **stiffer)), sides=sides)

    axes = (("side", 2.2e-3, 0.4e-3), ("block", 1.0, 0.4))
    points = cell_points(2, 12, np.zeros(2, bool))
    piece = "edges_neck_block"
    made = [slow_piece(at(2.2e-3 + 0.4e-3 * x, 1 + 0.4 * y), piece) for x, y in points]
    fitted, own = fit(points, made, axes), at(2.43e-3, 0.75)
    found, true = fitted.at(own, piece, {"side": 2.43e-3, "block": 0.75}), slow_piece(own, piece)
    assert found.bent == pytest.approx(true.bent, rel=2e-3) and found.slid == pytest.approx(true.slid, rel=2e-3)
    assert 0 < fitted.error < 2e-3
    assert abs(true.bent / slow_piece(hazel, piece).bent - 1).max() > 0.1  # the fit has something to follow
    told = sections_of_piece(own, piece, found)
    whole = sections(own)
    assert set(told) == {f"neck_block/{edge}" for edge in ("edge", "edge_top", "edge_back")}
    for region, section in told.items():
        for kind, value in section.stiffness.items():
            assert value == pytest.approx(whole[region].stiffness[kind], rel=5e-3, abs=1e-9), (region, kind)
    lined = replace(hazel, lining_top=replace(hazel.lining_top, height=0.02))
    assert inputs(lined, piece) == inputs(hazel, piece) != inputs(own, piece)


def test_training_variants_are_of_every_rim_build():
    """48 of 72 variants in even steps would never meet the second of three builds that take turns."""
    for n, count, builds in ((72, 48, 3), (60, 48, 3), (2400, 200, 4)):
        picked = mixed(n, count)
        assert len(set(picked)) == count and picked[0] == 0 and max(picked) < n
        each = np.bincount(np.array(picked) % builds, minlength=builds)
        assert each.min() > count / builds / 2
    assert list(mixed(3, 48)) == [0, 1, 2]


def test_cells_are_those_of_each_geometry(tmp_path):
    """A lining's width is its laminations times their thickness: what a thickness does depends on the laminations."""
    bevelled = {"kind": "solid_laminated", "bevel_width_mm": 1, "bevel_height_mm": 2, "laminations": 3}
    sheet = oval_sheet(tmp_path, lining_top=bevelled, lining_back={"kind": "none"}, **REBATES)
    (tmp_path / "plan.toml").write_text(LAMINATED)
    sweep = read_plan(tmp_path / "plan.toml", sheet)
    found = variants(sweep.plan)
    kit = Kit(sweep, parameter_maps(sweep, body_at(sweep, {})))
    assert kit.maps.remade == ("laminations",)
    kit, _ = with_geometries(kit, found, print)
    asked = []

    def some(pieces):
        asked.extend(body for body, piece in pieces if piece == "lining_top")
        return [FLAT] * len(pieces)

    slow_pieces(kit, found, some, print)
    wanted = {round(1e-3 * v.values["laminations"] * v.values["thickness of each"], 9) for v in found}
    assert {round(body.lining_top.width, 9) for body in asked} == wanted
