"""The body's outside as one closed surface."""

from pathlib import Path

import numpy as np
import pytest

from fem.radiation import boundary
from meshes.body import back_height, side_height, top_height
from meshes.outer_surface import outer_surface
from meshes.outline import inside, normal_at, point_at
from meshes.sheet import read_sheet

BODIES = Path(__file__).parents[1] / "meshes" / "bodies"


@pytest.fixture(scope="module", params=["hazel", "linnet"])
def body(request):
    return read_sheet(BODIES / f"{request.param}.toml")


def test_it_is_closed_and_holds_the_bodys_volume(body):
    """Volume by Gauss's theorem against top minus back summed over a 4 mm grid; boundary() itself refuses a gap."""
    mesh = outer_surface(body)
    surface = boundary(mesh.nodes, mesh.triangles)
    assert 1000 < len(surface.area) < 1500
    (x0, y0), (x1, y1) = body.outline.points.min(axis=0), body.outline.points.max(axis=0)
    x, y = (v.ravel() for v in np.meshgrid(np.arange(x0, x1, 0.004), np.arange(y0, y1, 0.004)))
    x, y = np.column_stack([x, y])[inside(body.outline, np.column_stack([x, y]))].T
    volume = np.sum(top_height(body, x, y) - back_height(body, x, y)) * 0.004**2
    found = np.einsum("m,mi,mi->", surface.area, surface.centroid, surface.normal) / 3
    assert found == pytest.approx(volume, rel=0.01)  # a polygon of 31 mm sides cuts the bends short


def test_groups_cover_it_once_and_face_their_way(body):
    mesh = outer_surface(body)
    surface = boundary(mesh.nodes, mesh.triangles)
    assert sorted(mesh.groups) == ["back", "sides", "soundhole", "top"]
    assert np.array_equal(np.sort(np.concatenate(list(mesh.groups.values()))), np.arange(len(mesh.triangles)))
    area = {name: surface.area[at].sum() for name, at in mesh.groups.items()}
    assert area["soundhole"] == pytest.approx(np.pi * body.soundhole.radius**2, rel=0.002)
    assert area["top"] + area["soundhole"] == pytest.approx(body.outline.area, rel=0.01)
    height = np.mean(side_height(body, *body.outline.points.T))
    assert area["sides"] == pytest.approx(body.outline.perimeter * height, rel=0.02)
    z = surface.normal[:, 2]
    assert z[mesh.groups["top"]].min() > 0.9 and z[mesh.groups["back"]].max() < -0.9
    assert np.abs(z[mesh.groups["sides"]]).max() < 0.15  # triangles across a bend tilt a little
    off = surface.centroid[mesh.groups["soundhole"], :2] - body.soundhole.centre
    assert np.hypot(*off.T).max() < body.soundhole.radius


def test_side_ports(body):
    """Two ports, one of them where the unrolled sides meet nothing special: area of each, place, outward, closed."""
    ports = ((0.3, 0.05, 0.02), (0.9, 0.045, 0.015))
    mesh = outer_surface(body, ports=ports)
    surface = boundary(mesh.nodes, mesh.triangles)
    assert sorted(mesh.groups) == ["back", "port 1", "port 2", "sides", "soundhole", "top"]
    assert np.array_equal(np.sort(np.concatenate(list(mesh.groups.values()))), np.arange(len(mesh.triangles)))
    for name, (place, depth, radius) in zip(("port 1", "port 2"), ports):
        at = mesh.groups[name]
        assert surface.area[at].sum() == pytest.approx(np.pi * radius**2, rel=0.03)  # on the chords of a bent side
        centre = surface.area[at] @ surface.centroid[at] / surface.area[at].sum()
        x, y = point_at(body.outline, place)
        assert centre == pytest.approx([x, y, top_height(body, x, y) - depth], abs=0.002)
        assert (surface.normal[at][:, :2] @ normal_at(body.outline, place)).min() > 0.9


def test_a_finer_mesh_has_more_triangles(body):
    assert len(outer_surface(body, 0.022).triangles) > 1.5 * len(outer_surface(body, 0.031).triangles)
