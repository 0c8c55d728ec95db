"""Where strings end: saddle, nut and every fret, carried by the top, by the neck's strip and by the tongue."""

from dataclasses import replace
from types import SimpleNamespace

import box_cases as cases
import numpy as np
import pytest

from fem.eigen import rigid_modes
from fem.elements import space
from meshes.body import top_height
from meshes.build import mesh_body
from meshes.string_body import string_ends
from meshes.string_places import FRETS, far_places, saddle_places, string_loads


@pytest.fixture(scope="module")
def body():
    return cases.example("hazel")


@pytest.fixture(scope="module")
def places(body):
    return space(mesh_body(body, 0.1))


def nodes_of(space, region):
    """Nodes of the shape functions on a region."""
    return np.unique(space.basis.dofs.element_dofs[:, space.mesh.surfaces[region].triangles])


def test_strings_end_where_the_sheet_says(body, places):
    """Rigid motions carry all ends as one rigid body: at places worked out by hand from the sheet (saddle 208.7 mm from the
    tail, 13 mm above the 2.9 mm top; nut 496 + 357.7 mm; scale 645 mm; board of 6 mm, crowns 1 mm above it), the first
    string at +y.
    """
    structure = SimpleNamespace(body=body, space=places, shape=rigid_modes(places.points))
    saddle, far = string_ends(structure, 6)
    assert far.shape == (FRETS + 1, 6, 6, 3)
    top = lambda x, y: float(top_height(body, x, y))
    hand = [(0.2087, y, top(0.2087, 0.0) + 0.01445) for y in (0.027, -0.027)]
    hand += [(0.8537, y, 0.007 + top(0.496, y)) for y in (0.0185, -0.0185)]
    x = 0.8537 - 0.3225  # half the scale from the nut: on the neck
    hand += [(x, y, 0.007 + top(0.496, y)) for y in (0.02275, -0.02275)]  # half way to the saddle, nearly
    x = 0.8537 - 0.645 * (1 - 2 ** (-20 / 12))  # over the body
    hand += [(x, y, 0.007 + 0.00145 + top(x, y)) for y in (0.0243, -0.0243)]
    moved = np.stack([saddle[0], saddle[5], *(far[k, s] for k in (0, 12, 20) for s in (0, 5))])
    centre = places.points.mean(axis=0)
    for place, motion in zip(np.array(hand), moved):
        target = np.vstack([np.eye(3), np.cross(np.eye(3), place - centre)])
        assert motion == pytest.approx(target, abs=3e-4)  # the dome tilts the strings' row by 50 um; y by interpolation


def test_a_fret_moves_as_the_wood_under_it_and_turns_with_its_height(body, places):
    """Against u + th x h of fields prescribed on the strip and on the tongue, all six different, cubic in place.

    All other wood is moved far away: the heel on the side and the top beside the tongue must not carry a fret.
    """
    draw = np.random.default_rng(4)
    powers = np.array([(i, j) for i in range(4) for j in range(4 - i)])
    fields = draw.normal(size=(2, len(powers), 6))
    value = lambda which, x, y: ((10 * (x - 0.6)) ** powers[:, 0] * (20 * y) ** powers[:, 1]) @ fields[which]
    shape = np.full((len(places.points), 6), 1e3)
    for which, region in ((0, "neck/shaft"), (1, "neck/tongue")):
        for n in nodes_of(places, region):
            if abs(shape[n, 0]) == 1e3:
                shape[n] = value(which, *places.points[n, :2])
    structure = SimpleNamespace(body=body, space=places, shape=shape.reshape(-1, 1))
    _, far = string_ends(structure, 2)
    seen = set()
    for fret, (region, crowns) in enumerate(far_places(body, 2, 20)):  # those that the tongue reaches
        on_top = region == "neck/tongue"
        seen.add(region)
        for s, (x, y, z) in enumerate(crowns):
            if abs(x - body.outline.length) < 2e-3:
                continue  # the last fret of the neck: strip, top and side meet at the edge
            below = top_height(body, x, y) if on_top else top_height(body, body.outline.length, y)
            u = value(int(on_top), x, y)
            target = u[:3] + np.cross(u[3:], [0, 0, z - below])
            size = abs(target).max()
            # the dome tilts the tongue's arm
            assert far[fret, s, 0] == pytest.approx(target, abs=4e-3 * size), (fret, s)
    assert seen == {"neck/shaft", "neck/tongue"}


def test_frets_follow_the_scale_and_not_the_place_of_the_saddle(body):
    """A saddle moved back to make up for stretching leaves the frets where they are; without a scale it sets them."""
    moved = replace(body, bridge=replace(body.bridge, saddle_x=body.bridge.saddle_x - 0.003))
    xs = lambda b: np.array([p[0, 0] for _, p in far_places(b, 1)])
    assert xs(moved) == pytest.approx(xs(body), abs=1e-12)
    assert xs(body)[0] - xs(body)[12] == pytest.approx(0.3225, abs=1e-9)
    unsaid = xs(replace(moved, strings=None))
    assert unsaid[0] - unsaid[12] == pytest.approx(0.648 / 2, abs=1e-6)


def test_without_a_neck_the_far_end_stands_still(body, places):
    bare = replace(body, neck=None)
    structure = SimpleNamespace(body=bare, space=places, shape=rigid_modes(places.points))
    saddle, far = string_ends(structure, 6)
    assert far_places(bare, 6) == [] and far.shape == saddle.shape and not far.any() and saddle.any()
    no_tongue = replace(body, neck=replace(body.neck, tongue=0.0))
    assert {region for region, _ in far_places(no_tongue, 6)} == {"neck/shaft", "top"}


def test_the_saddle_stands_on_the_top_as_thinned_there(body):
    thin = replace(body, top=replace(body.top, thickness_map=((0.2, 0.0, 0.0025),)))
    lower = saddle_places(body, 2) - saddle_places(thin, 2)
    assert lower == pytest.approx(np.tile([0, 0, 0.0002], (2, 1)), abs=1e-9)  # half of 2.9 - 2.5 mm


def test_loads_of_strings_push_at_both_outer_strings_and_along_the_frets(body, places):
    """Force and moment about the middle of all points of each load, from the work it does in rigid motions."""
    forces, centre = string_loads(body, places).T @ rigid_modes(places.points), places.points.mean(axis=0)
    at = [([body.bridge.saddle_x, 0.0, 0.0], [0, 0, 1])]
    for fret in (0, 12, 20):
        bass, treble = far_places(body, 2)[fret][1]
        at += [(bass, [0, 0, 1]), (treble, [0, 0, 1]), ((bass + treble) / 2, [0, 1, 0])]
    hand = np.array([[*push, *np.cross(place - centre, push)] for place, push in at])
    assert forces == pytest.approx(hand, abs=1e-4)  # the dome tilts the lever of a load by 50 um
