"""Brace ends drawn near the side, in it and past it: clipped with a word, or refused; what is accepted has a mesh."""

import csv

import numpy as np
import pytest
from test_sheet import bar, built

from fem.model import assemble
from meshes.build import mesh_body
from meshes.outline import Outline, distance, normal_at, point_at, where_x
from meshes.sheet_errors import SheetError

COARSE = 0.06  # m
DRAWN = {"half_outline_csv": "oval.csv"}  # in place of the measures
OVAL = (0.49, 0.36)  # m, length and width


def guitar(folder, plan):
    """Function that builds a guitar with one brace."""
    if plan == "guitar":
        return lambda brace: built(folder, brace=[brace])
    angle = np.linspace(0, np.pi, 121)
    with open(folder / "oval.csv", "w", encoding="utf-8", newline="") as file:
        rows = 1e3 * np.column_stack([OVAL[0] / 2 * (1 - np.cos(angle)), OVAL[1] / 2 * np.sin(angle)])
        csv.writer(file).writerows([["x_mm", "half_width_mm"], *np.round(rows, 3).tolist()])
    left_out = {
        f"{place}_{what}_mm": None for place in ("lower_bout", "waist", "upper_bout") for what in ("width", "place")
    }
    body = DRAWN | left_out | {"length_mm": None, "flat_tail_mm": None, "flat_neck_mm": None}
    return lambda brace: built(folder, body=body, heights={"waist_mm": None}, brace=[brace])


def drawn(rng, outline: Outline, plate):
    """A brace from rim to rim whose ends are drawn up to 3 mm inside and up to 8 mm outside, finished anyhow."""
    arcs, out = rng.uniform(0, outline.perimeter, 2), rng.uniform(-3, 8, 2)
    points = 1e3 * point_at(outline, arcs) + out[:, None] * normal_at(outline, arcs)
    brace = bar(plate=plate, from_mm=points[0].round(3).tolist(), to_mm=points[1].round(3).tolist())
    for name in ("from_end", "to_end"):
        kind = rng.choice(["free", "stops_short", "let_in", ""])
        gap = {"gap_mm": float(rng.choice([0, 0.3, 2, 7]))} if kind == "stops_short" else {}
        brace |= {name: {"kind": str(kind)} | gap} if kind else {}
    return brace


@pytest.mark.parametrize("plate", ["top", "back"])
@pytest.mark.parametrize("plan", ["guitar", "oval"])
def test_every_accepted_brace_near_the_side_has_a_mesh(plan, plate, tmp_path):
    build, rng = guitar(tmp_path, plan), np.random.default_rng([len(plan), len(plate)])
    outline = build(bar(from_mm=[200, -60], to_mm=[200, 60], plate=plate)).outline
    accepted = 0
    while accepted < 8:
        try:
            body = build(drawn(rng, outline, plate))
        except SheetError:
            continue
        mesh, brace = mesh_body(body, COARSE), body.braces[0]
        assemble(mesh)  # ValueError where a beam or the rim does not follow the triangles
        line = mesh.lines[f"{plate}_braces/bar"]
        length = np.linalg.norm(np.diff(mesh.nodes[line.edges][..., :2], axis=1)[:, 0], axis=1).sum()
        assert length == pytest.approx(brace.length, abs=0.008)  # facets of a coarse rim cut off a few mm
        accepted += 1


def cuts(body):
    """Warnings of ends cut off; the brace of these tests runs over the bridge plate too, which is another warning."""
    return [text for text in body.warnings if "cut off" in text]


@pytest.mark.parametrize("out", [-0.5, 0.0, 0.1, 1.6, 4.0])
def test_a_free_end_in_or_past_the_side_is_cut_off_with_a_word(out):
    outline = built().outline
    ends = {"from_end": {"kind": "free"}, "to_end": {"kind": "free"}}
    side = 1e3 * float(point_at(outline, where_x(outline, 0.2)[0])[1])
    body = built(brace=[bar(from_mm=[200, side - out], to_mm=[200, 60], **ends)])
    lining = 1e3 * body.lining_top.width
    (told,) = cuts(body)
    assert "'bar'" in told
    assert 1e3 * distance(outline, [body.braces[0].start])[0] == pytest.approx(lining + 1, abs=0.01)
    assert body.braces[0].end == pytest.approx((0.2, 0.06))


def test_a_free_end_drawn_inside_stays_where_it_is_drawn():
    body = built(brace=[bar(from_mm=[200, -60], to_mm=[200, 60])])
    assert body.braces[0].start == pytest.approx((0.2, -0.06)) and not cuts(body)


def test_a_brace_that_runs_along_the_side_is_refused():
    outline = built().outline
    a, b = (1e3 * point_at(outline, where_x(outline, x)[0]) + [0, 3] for x in (0.24, 0.38))  # past the waist
    with pytest.raises(SheetError, match="stays in the body"):
        built(brace=[bar(from_mm=a.tolist(), to_mm=b.tolist())])
