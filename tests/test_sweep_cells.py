"""Which linings and joints a night computes in solid cells; none is solved here."""

import numpy as np
from box_cases import oval_sheet

from fem.sections import laminate
from studies.sweep.basis import mixed
from studies.sweep.bodies import body_at
from studies.sweep.cells import slow_pieces
from studies.sweep.design import variants
from studies.sweep.kit import BaseGeometry, Kit
from studies.sweep.maps import parameter_maps
from studies.sweep.plan import read_plan
from studies.sweep.prepare import with_geometries
from studies.sweep.scatter import WoodDraws, sweep_of_draws
from studies.sweep.sections import inputs

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
