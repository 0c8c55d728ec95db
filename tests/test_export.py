"""Modes for other tools: VTU through meshio's and pyvista's readers, CSV, names of parts."""

import csv
import json

import box_cases as cases
import meshio
import numpy as np
import pytest

from fem.eigen import Modes
from fem.elements import space
from meshes.mesh_file import read_mesh_file
from studies.modes import question as study
from studies.modes.export import drawn_as, export_modes, mode_name, small_triangles, write_modes

FREQUENCY = np.array([101.26, 202.5])


@pytest.fixture(scope="module")
def guitar():
    """Space of the example sheet on a coarse mesh, and two made-up shapes: a cubic in space, and noise."""
    from pathlib import Path

    import meshes
    from meshes.build import mesh_body
    from meshes.sheet import read_sheet

    V = space(mesh_body(read_sheet(Path(meshes.__file__).parent / "bodies" / "hazel.toml"), 0.06))
    cubic = np.zeros((len(V.points), 6))
    cubic[:, 2] = V.points[:, 0] ** 3 - V.points[:, 1]
    return V, np.column_stack([cubic.ravel(), np.random.default_rng(1).normal(size=V.size)])


@pytest.fixture(scope="module")
def file(guitar, tmp_path_factory):
    V, shape = guitar
    path = tmp_path_factory.mktemp("vtu") / "modes.vtu"
    return path, write_modes(path, V, FREQUENCY, shape)


def test_points_cells_and_shapes_come_back_through_meshio(guitar, file):
    V, shape = guitar
    path, _ = file
    back = meshio.read(path)
    assert np.array_equal(back.points, V.points)
    assert np.array_equal(back.cells_dict["triangle"], small_triangles(V))
    assert set(back.point_data) == {"mode_01_101.3_Hz", "mode_02_202.5_Hz"}
    for k, f in enumerate(FREQUENCY):
        assert np.array_equal(back.point_data[mode_name(k, f)], shape[:, k].reshape(-1, 6)[:, :3])


def test_small_triangles_tile_the_big_ones_and_face_as_they_do(guitar):
    V, _ = guitar
    small, mesh = small_triangles(V), V.mesh
    assert small.shape == (9 * len(mesh.triangles), 3)
    corners = V.points[small]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    big = mesh.nodes[mesh.triangles]
    whole = np.linalg.norm(np.cross(big[:, 1] - big[:, 0], big[:, 2] - big[:, 0]), axis=1)
    assert np.linalg.norm(cross, axis=1) == pytest.approx(np.repeat(whole / 9, 9))
    assert (np.sum(cross * np.repeat(mesh.normal, 9, axis=0), axis=1) > 0).all()
    middle = corners.mean(axis=1).reshape(-1, 9, 3).mean(axis=1)
    assert middle == pytest.approx(big.mean(axis=1))


def test_parts_come_back_by_name(guitar, file):
    V, _ = guitar
    path, names = file
    back, mesh = meshio.read(path), V.mesh
    assert {"top", "back", "sides", "neck", "top_braces", "lining_top"} <= set(names)
    faces, beams = back.cell_data["part"]
    assert {names[i] for i in np.unique(faces)} >= {"top", "back", "sides", "neck"}
    assert "lining_top" not in {names[i] for i in np.unique(faces)}  # it lies over the sides
    assert "top_braces" in {names[i] for i in np.unique(beams)}
    of_top = back.cells_dict["triangle"][faces == names.index("top")]
    assert np.abs(V.points[of_top][..., 2]).max() < 0.03
    marked = back.cell_data["is_lining_top"][0]
    own = np.concatenate([s.triangles for r, s in mesh.surfaces.items() if r.startswith("lining_top")])
    assert np.array_equal(np.flatnonzero(marked[::9]), np.unique(own))
    assert (drawn_as(mesh, names) >= 0).all()


def test_pyvista_reads_it(guitar, file):
    pv = pytest.importorskip("pyvista")
    V, _ = guitar
    path, _ = file
    grid = pv.read(path)
    assert grid.n_points == len(V.points) and "mode_01_101.3_Hz" in grid.point_data and "part" in grid.cell_data
    assert grid.point_data["mode_02_202.5_Hz"].shape == (len(V.points), 3)


def test_rimwork_reads_its_own_file_as_a_foreign_mesh(file):
    path, _ = file
    read = read_mesh_file(path)
    assert {"is_top", "is_back", "is_sides", "is_lining_top"} <= set(read.faces)
    assert "is_top_braces" in read.edges


def test_csv_and_json_beside_it(tmp_path):
    told = study.find_modes(cases.oval_sheet(tmp_path), count=4, mesh_size_mm=60, export=tmp_path / "out")
    with (tmp_path / "out" / "modes.csv").open() as stream:
        rows = list(csv.DictReader(stream))
    assert [float(r["frequency_hz"]) for r in rows] == told["frequency_hz"]
    assert [float(r["stored: top"]) for r in rows] == told["strain_energy_share"]["top"]
    for kind in ("stored", "moving", "heat"):
        sums = [sum(float(v) for key, v in r.items() if key.startswith(kind + ":")) for r in rows]
        assert sums == pytest.approx(np.ones(4), abs=1e-9)
    beside = json.loads((tmp_path / "out" / "modes.json").read_text())
    assert beside["frequency_hz"] == told["frequency_hz"] and beside["schema_version"] == 2
    with (tmp_path / "out" / "part_names.csv").open() as stream:
        names = [r["name"] for r in csv.DictReader(stream)]
    assert "top" in names and names == sorted(names)
    assert len(meshio.read(tmp_path / "out" / "modes.vtu").point_data) == 4


def test_what_is_not_known_is_left_empty(guitar, tmp_path):
    V, shape = guitar
    shares = {"top": [0.5, 0.5], "sides": [0.5, 0.5]}
    result = {
        "schema_version": 1, "frequency_hz": FREQUENCY.tolist(), "loss_factor": [None, None],
        "strain_energy_share": shares, "kinetic_energy_share": shares, "heat_share": {key: [None, None] for key in shares},
    }  # fmt: skip
    export_modes(tmp_path, V, Modes(FREQUENCY, shape, np.zeros(2), np.zeros(6)), result)
    with (tmp_path / "modes.csv").open() as stream:
        first = next(csv.DictReader(stream))
    assert first["loss_factor"] == first["heat: top"] == "" and first["moving: sides"] == "0.5"
