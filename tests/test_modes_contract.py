"""The machine-readable contract of `rimwork modes`: keys, sums, fixing, exported matrices, and a foreign mesh."""

import json

import box_cases as cases
import numpy as np
import pytest
from scipy.io import mmread
from scipy.sparse.linalg import eigsh

from studies.common.inputs import BadInput
from studies.modes import question as study

COUNT, SIZE_MM = 8, 60
KEYS = {
    "schema_version", "model", "frequency_hz", "residual", "strain_energy_share", "kinetic_energy_share", "heat_share",
    "loss_factor", "mass_kg", "provenance", "seconds", "peak_memory_mb",
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("modes")


@pytest.fixture(scope="module")
def sheet(folder):
    return cases.oval_sheet(folder)


@pytest.fixture(scope="module")
def result(folder, sheet):
    """What is written to the file, read strictly."""
    out = folder / "new" / "out.json"
    told = study.find_modes(sheet, count=COUNT, mesh_size_mm=SIZE_MM, json_path=out, export=folder / "export")
    read = json.loads(out.read_text(), parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))
    assert read == json.loads(json.dumps(told | {"seconds": read["seconds"]}))
    return read


def test_keys_and_types(result):
    assert set(result) >= KEYS
    assert result["schema_version"] == 2 and result["model"] == "dry"
    assert result["provenance"]["mesh_size_mm"] == [SIZE_MM]
    (unknowns,) = result["provenance"]["unknowns"]
    assert unknowns > 5000
    assert {"read_and_mesh", "assemble", "solve", "energies"} <= set(result["seconds"])
    assert 50 < result["peak_memory_mb"] < 20000


def test_one_value_per_mode(result):
    for key in ("frequency_hz", "residual", "loss_factor"):
        assert len(result[key]) == COUNT
    for key in ("strain_energy_share", "kinetic_energy_share", "heat_share"):
        assert result[key] and all(len(values) == COUNT for values in result[key].values())


def test_elastic_modes_ascend(result):
    f = np.array(result["frequency_hz"])
    assert (np.diff(f) > 0).all() and f[0] > 20
    assert max(result["residual"]) < 1e-6
    assert len(result["rigid_frequency_hz"]) == 6 and max(result["rigid_frequency_hz"]) < 1e-3


def test_shares_sum_to_one(result):
    for key in ("strain_energy_share", "kinetic_energy_share", "heat_share"):
        assert np.sum(list(result[key].values()), axis=0) == pytest.approx(np.ones(COUNT), abs=1e-12)


def test_parts_are_those_of_the_sheet(result):
    parts = {"top", "back", "sides", "lining_top", "lining_back", "neck_block", "tail_block", "bridge"}
    assert set(result["kinetic_energy_share"]) == parts == set(result["mass_kg"])
    assert set(result["strain_energy_share"]) == parts | {"joint_top", "joint_back"}
    assert {a["key"] for a in result["assumed"]} >= {"top.thickness_mm", "lining_top.kind"}
    assert all(set(a) == {"key", "value", "source"} for a in result["assumed"])


def test_loss_factor_lies_between_those_of_the_woods(result):
    assert 0.003 < min(result["loss_factor"]) < max(result["loss_factor"]) < 0.05


def test_table_names_the_largest_part(result):
    lines = study.modes_table(result).splitlines()
    assert len(lines) == COUNT + 1
    part = max(result["kinetic_energy_share"], key=lambda p: result["kinetic_energy_share"][p][0])
    assert f"{part.replace('_', ' ')} {100 * result['kinetic_energy_share'][part][0]:.0f} %" in lines[1]


# --- export, through another eigensolver ---


def exported(folder):
    told = json.loads((folder / "export" / "parts.json").read_text())["parts"]
    total = {}
    for role in ("K", "M"):
        for part in (p for p, roles in told.items() if role in roles):
            total[role] = total.get(role, 0) + mmread(folder / "export" / f"{role}_{part}.mtx").tocsc()
    return total["K"], total["M"]


def test_exported_matrices_have_the_same_frequencies(folder, result):
    """Matrix Market files summed and solved by ARPACK (scipy), shift and invert: no code shared with our own solver."""
    K, M = exported(folder)
    assert K.shape == M.shape == (*result["provenance"]["unknowns"],) * 2
    assert abs(K - K.T).max() == 0 and abs(M - M.T).max() == 0
    shift = -((2 * np.pi * 60) ** 2)
    values = np.sort(eigsh(K, k=COUNT + 6, M=M, sigma=shift, which="LM", return_eigenvectors=False))
    assert np.abs(values[:6]).max() < 1e-3 * values[6]
    assert np.sqrt(values[6:]) / (2 * np.pi) == pytest.approx(result["frequency_hz"], rel=1e-6)


def test_exported_masses_move_as_a_whole(folder, result):
    _, M = exported(folder)
    for axis in range(3):
        step = np.zeros(M.shape[0])
        step[axis::6] = 1
        assert step @ M @ step == pytest.approx(sum(result["mass_kg"].values()), rel=1e-9)


def test_exported_mesh_and_places(folder, result):
    import meshio

    mesh = meshio.read(folder / "export" / "mesh.vtu")
    triangles = mesh.cells_dict["triangle"]
    data = {name: values[0] for name, values in mesh.cell_data.items()}
    assert {"top", "back", "sides", "lining_top", "neck_block_top"} <= set(data)
    assert set(np.unique(data["top"])) == {0, 1} and len(data["top"]) == len(triangles)
    assert np.abs(mesh.points[triangles[data["top"] == 1]][..., 2]).max() < 0.03  # the top lies at z = 0, not the back
    places = np.loadtxt(folder / "export" / "nodes.csv", delimiter=",", skiprows=1)
    assert [6 * len(places)] == result["provenance"]["unknowns"]
    gap = [np.linalg.norm(places - p, axis=1).min() for p in mesh.points[:40]]
    assert max(gap) < 1e-9


# --- fix and hold ---


def test_clamped_and_held_edges(sheet, result):
    """Free < held < clamped for the lowest elastic mode that all three share; fixed bodies have no rigid modes."""
    held, clamped = (
        study.find_modes(sheet, count=3, mesh_size_mm=SIZE_MM, **{way: ["rim_top", "rim_back"]})
        for way in ("support", "fix")
    )
    for found in (held, clamped):
        assert found["rigid_frequency_hz"] == []
        assert np.sum(list(found["strain_energy_share"].values()), axis=0) == pytest.approx(np.ones(3), abs=1e-12)
    assert (np.array(clamped["frequency_hz"]) > 1.0001 * np.array(held["frequency_hz"])).all()
    assert clamped["provenance"] == result["provenance"]


def test_fixing_a_part_keeps_it_at_rest(sheet):
    found = study.find_modes(sheet, count=3, mesh_size_mm=SIZE_MM, fix=["sides"])
    assert max(np.abs(found["strain_energy_share"]["sides"])) < 0.05  # what yields at the corner of side and plate
    assert max(found["kinetic_energy_share"]["sides"]) < 1e-9
    assert max(found["strain_energy_share"]["top"]) > 0.3


# --- bad input, told before any work ---


@pytest.mark.parametrize(
    ("given", "words"),
    [({"count": 0}, "--count 0"), ({"count": -3}, "--count -3"), ({"mesh_size_mm": float("nan")}, "--mesh-size-mm nan"),
     ({"mesh_size_mm": 0.5}, "5 and 60 mm"), ({"mesh_size_mm": 0}, "5 and 60 mm"), ({"count": 10**6}, "--count"),
     ({"fix": ["topp"]}, "did you mean 'top'"), ({"support": ["rim"]}, "unknown part or edge 'rim'")],
)  # fmt: skip
def test_bad_numbers_and_names(sheet, given, words):
    with pytest.raises(ValueError, match=words):
        study.find_modes(sheet, **{"mesh_size_mm": SIZE_MM, "count": 2} | given)


def test_too_many_modes_are_refused_with_the_number_allowed(sheet, monkeypatch):
    monkeypatch.setattr(study, "modes", lambda *_: pytest.fail("went to work"))
    with pytest.raises(BadInput, match=r"--count 5000.*at most \d+"):
        study.find_modes(sheet, mesh_size_mm=SIZE_MM, count=5000)


# --- foreign mesh ---

SIDE, EDGE_A, EDGE_B = 10, 0.36, 0.24
PARTS = """
length_unit = "mm"
[material.aluminium]
E_GPa = 68.7
nu = 0.3
density_kg_m3 = 2820
{loss}
[part.plate]
material = "aluminium"
thickness_mm = 2
grain = [1, 0, 0]
"""


def foreign(folder, loss="", kind="plate.msh"):
    """A plate of 360 x 240 x 2 mm by meshio, in mm, its rim a named curve group; path of mesh and of parts sheet."""
    import meshio

    k = np.arange((SIDE + 1) ** 2).reshape(SIDE + 1, SIDE + 1)
    x, y = np.meshgrid(np.linspace(0, 1e3 * EDGE_A, SIDE + 1), np.linspace(0, 1e3 * EDGE_B, SIDE + 1), indexing="ij")
    a, b, c, d = (v.ravel() for v in (k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]))
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    runs = [k[0], k[-1], k[:, 0], k[:, -1]]
    lines = np.concatenate([np.column_stack([r[:-1], r[1:]]) for r in runs])
    tags = [np.ones(len(triangles), int), np.full(len(lines), 2)]
    mesh = meshio.Mesh(
        np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]), [("triangle", triangles), ("line", lines)],
        cell_data={"gmsh:physical": tags, "gmsh:geometrical": tags}, field_data={"plate": [1, 2], "rim": [2, 1]},
    )  # fmt: skip
    meshio.write(folder / kind, mesh, file_format="gmsh22", binary=False)
    (folder / "parts.toml").write_text(PARTS.format(loss=loss))
    return folder / kind, folder / "parts.toml"


def test_foreign_plate_simply_supported(tmp_path, record):
    """Leissa 1969, NASA SP-160, 4.1: omega = pi^2 (m^2/a^2 + n^2/b^2) sqrt(D / rho h); thin plate, 0.3 % for shear."""
    mesh, parts = foreign(tmp_path)
    found = study.find_modes(mesh, parts=parts, count=5, support=["rim"])
    D = 68.7e9 * 0.002**3 / (12 * (1 - 0.3**2))
    hand = sorted(
        np.pi / 2 * (m**2 / EDGE_A**2 + n**2 / EDGE_B**2) * np.sqrt(D / (2820 * 0.002))
        for m in range(1, 5) for n in range(1, 5)
    )[:5]  # fmt: skip
    record("foreign plate, simply supported", "Leissa 1969, NASA SP-160, 4.1", hand, found["frequency_hz"], "Hz")
    assert found["frequency_hz"] == pytest.approx(hand, rel=3e-3)
    assert found["mass_kg"] == {"plate": pytest.approx(EDGE_A * EDGE_B * 0.002 * 2820, rel=1e-9)}
    assert found["loss_factor"] == [None] * 5 and found["heat_share"] == {"plate": [None] * 5}
    assert found["losses_not_given_for"] == ["plate"] and found["assumed"] == []


def test_foreign_plate_with_losses(tmp_path):
    """One material, no Poisson part lost: the modal loss factor is at most the material's and near it."""
    mesh, parts = foreign(tmp_path, loss="loss = 0.001")
    found = study.find_modes(mesh, parts=parts, count=3)
    assert len(found["rigid_frequency_hz"]) == 6
    assert found["heat_share"] == {"plate": pytest.approx([1, 1, 1], abs=1e-12)}
    assert all(0.0005 < eta < 0.0015 for eta in found["loss_factor"])


def test_plate_held_at_one_straight_edge_has_a_finite_spectrum(tmp_path):
    """Held on a straight line it still swings like a door at 0 Hz: no elastic mode, and no null among the frequencies."""
    mesh, parts = foreign(tmp_path)
    text = mesh.read_text()
    # only the first run of the rim (x = 0) keeps its group, the rest is dropped
    lines = text.splitlines()
    at = lines.index("$Elements")
    cells = [line.split() for line in lines[at + 2 : lines.index("$EndElements")]]
    kept = [c for c in cells if c[1] == "2"] + [c for c in cells if c[1] == "1"][:SIDE]
    kept = [" ".join([str(i + 1), *c[1:]]) for i, c in enumerate(kept)]
    mesh.write_text("\n".join([*lines[: at + 1], str(len(kept)), *kept, "$EndElements"]) + "\n")
    found = study.find_modes(mesh, parts=parts, count=3, support=["rim"])
    assert None not in found["frequency_hz"]
    assert min(found["frequency_hz"]) > 1
