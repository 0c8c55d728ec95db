"""Names, files and options as no maker writes them: told in one line, drawn as text, never a fault of the program."""

import ast
import base64
import resource
import struct
import sys
import time
import tomllib
import zlib
from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest
from foreign_cases import STEEL, grid, marked_file, parts_file
from matplotlib.figure import Figure as PlainFigure

from fem.recordings import read_recording
from meshes.drawing import draw_plan
from meshes.figures import Figure
from meshes.foreign import read_foreign
from meshes.mesh_file import read_mesh_file
from meshes.new_sheet import new_sheet_text
from meshes.plain_text import LONGEST, is_plain, printable
from meshes.sheet import read_sheet
from meshes.sheet_errors import SheetError
from meshes.toml_text import DEEPEST, parsed
from studies.__main__ import main
from studies.common.inputs import BadInput
from studies.sweep.engine import Cluster
from studies.sweep.plan import read_plan

HAZEL = (cases.BODIES / "hazel.toml").read_text(encoding="utf-8")
ESCAPE = "\x1b]0;taken\x07"


def refusal(capsys, *arguments):
    """What a command that ends with status 2 says on standard error."""
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    told = capsys.readouterr().err
    assert ended.value.code == 2, told
    return told


# --- names ---


def test_a_dollar_in_a_name_is_drawn_as_a_dollar(tmp_path):
    path = tmp_path / "sheet.toml"
    path.write_text(HAZEL.replace('name = "Hazel"', r"name = '5 $\frac$ <b> & co'"), encoding="utf-8")
    plan, _ = draw_plan(read_sheet(path), tmp_path / "plan.svg", tmp_path / "plan.png")
    assert r"5 $\frac$ &lt;b&gt; &amp; co: top" in plan.read_text(encoding="utf-8")


def test_every_drawing_begins_with_the_figure_that_knows_no_formulas():
    assert Figure is PlainFigure and not Figure().text(0, 0, "$a$").get_parse_math()
    for path in [*cases.ROOT.glob("meshes/*.py"), *cases.ROOT.glob("studies/**/*.py")]:
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        foreign = any(isinstance(n, ast.ImportFrom) and n.module == "matplotlib.figure" for n in nodes)
        made = any(isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id == "Figure" for n in nodes)
        assert not (foreign and made) and not any(
            isinstance(n, ast.alias) and n.name == "matplotlib.pyplot" for n in nodes
        ), path


@pytest.mark.parametrize("name", [ESCAPE, "a\nb", "a\u202eb", "a\u2028b", "x" * (LONGEST + 1), "a\x00"])
@pytest.mark.parametrize("place", ['name = "{}"', '[[brace]]\nname = "{}"', '[wood."{}"]\ndensity_kg_m3 = 400'])
def test_names_that_steer_terminals_or_pages_are_refused(capsys, tmp_path, name, place):
    path = tmp_path / "sheet.toml"
    written = "".join(f"\\u{ord(c):04x}" if c < " " or c > "~" else c for c in name)
    own = place.format(written)
    base = new_sheet_text()
    text = base + "\n" + own if own.startswith("[") else base.replace('name = "My guitar"', own)
    path.write_text(text, encoding="utf-8")
    told = refusal(capsys, "check", path, "--out", tmp_path / "out")
    assert "none of them a control sign" in told and len(told) < 2000
    assert all(is_plain(line) for line in told.splitlines() if len(line) <= LONGEST) and "\x1b" not in told


def test_names_of_all_scripts_stay():
    for name in ("Müllers Gitarre No. 3 “Süß”", "ギター", "גיטרה", "a$b%c{d}", "<script>", "=1+1"):
        assert is_plain(name) and printable(name) == name
    assert printable("a\x1b\u202e\tb\n") == "a\\x1b\\u202e\tb\n"


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (["plate/left", "plate/right"], ["'plate/left'", "'plate/right'", "would be one part, 'plate'"]),
        (["plate/left", "plate"], ["would be one part, 'plate'"]),
        (["plate" + ESCAPE], [r"group 'plate\x1b]0;taken\x07'", "none of them a control sign"]),
    ],
)
def test_groups_that_would_fall_together_or_steer_are_refused(tmp_path, monkeypatch, names, words):
    from meshes import foreign

    points, quads = grid(4, 3, 0.4, 0.3)
    pieces = [("plate", "quad", quads[:6]), ("other", "quad", quads[6:])][: len(names)]
    read = foreign.read_mesh_file(
        marked_file(tmp_path / "plate.vtu", points, pieces if names[1:] else [("plate", "quad", quads)])
    )
    faces = dict(zip(names, read.faces.values(), strict=True))
    monkeypatch.setattr(
        foreign, "read_mesh_file", lambda _: foreign.MeshFile(read.points, read.triangles, faces, {}, "")
    )
    tables = STEEL.split("[part.plate]")[0] + "".join(
        f'[part."{name.replace(chr(27), chr(92) + "u001b").replace(chr(7), chr(92) + "u0007")}"]\nmaterial = "steel"\nthickness_mm = 50\n'
        for name in names
    )
    with pytest.raises(SheetError) as told:
        read_foreign(tmp_path / "plate.vtu", parts_file(tmp_path / "parts.toml", tables))
    assert all(word in str(told.value) for word in words), str(told.value)


def test_a_file_that_is_named_with_escape_bytes_is_told_of_without_them(capsys, tmp_path):
    assert "\\x1b]0;taken" in refusal(capsys, "check", tmp_path / f"{ESCAPE}.toml")


# --- sheets, plans, parts sheets ---


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 100_000, "a" + ".a" * 3000 + " = 1", "[x" + ".y" * 40 + "]", "a = " + "9" * 5000]
)
@pytest.mark.parametrize("command", ["check", "sweep", "modes"])
def test_toml_nested_too_deep_is_a_mistake_of_the_file(capsys, tmp_path, text, command):
    path = tmp_path / "deep.toml"
    path.write_text(text + "\n", encoding="utf-8")
    (tmp_path / "a.vtu").write_text("", encoding="utf-8")
    arguments = [tmp_path / "a.vtu", "--parts", path] if command == "modes" else [path]
    told = refusal(capsys, command, *arguments)
    assert told.startswith("rimwork: deep.toml") and len(told) < 2000


def test_toml_as_deep_as_a_sheet_needs_is_read():
    deep = "a" + ".a" * (DEEPEST - 1) + " = 1"
    assert parsed(deep) == tomllib.loads(deep) and parsed("a = [[[1, 2]]]") == {"a": [[[1, 2]]]}
    with pytest.raises(tomllib.TOMLDecodeError, match="nested"):
        parsed("a." + deep)


@pytest.mark.parametrize(
    ("sheet", "key"),
    [
        ("brace = 1", "brace.upper bar.width_mm"),
        ("brace = [1, 'a']", "brace.upper bar.width_mm"),
        ("side_port = 2", "side_port.1.diameter_mm"),
        ("side_port = 2", "top.thickness_mm"),
        ("wood = 3", "wood.own.density_kg_m3"),
        ("top = 1", "top.thickness_mm"),
        ("lining_top = 'a'", "lining_top.height_mm"),
    ],
)
def test_a_plan_that_leads_into_a_table_which_is_none(capsys, tmp_path, sheet, key):
    (tmp_path / "sheet.toml").write_text(sheet + "\n" + new_sheet_text(), encoding="utf-8")
    plan = tmp_path / "plan.toml"
    plan.write_text(
        f'sheet = "sheet.toml"\n[[factor]]\nname = "a"\nkeys = ["{key}"]\nfrom = 1.5\nto = 2\n', encoding="utf-8"
    )
    told = refusal(capsys, "sweep", plan, "--out", tmp_path / "out")
    assert "plan.toml: factor 1 (a)" in told or f"sheet.toml: {sheet.split()[0]}" in told


def test_a_plan_whose_names_steer_is_refused(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'name = "a\\u001bb"\n[[factor]]\nname = "a"\nkeys = ["top.thickness_mm"]\nfrom = 2\nto = 3\n', encoding="utf-8"
    )
    with pytest.raises(SheetError, match="none of them a control sign"):
        read_plan(plan)


# --- measures that no instrument has ---


@pytest.mark.parametrize("key", ["rebate_width_mm", "rebate_height_mm"])
def test_a_rebate_thinner_than_any_binding_is_refused(key):
    for value in (0.00004, 0.3):
        with pytest.raises(SheetError, match=f"joint_top.{key} = .*0 for none, or at least 0.5 mm"):
            cases.guitar(joint_top={key: value})
    assert cases.guitar(joint_top={key: 0.5}) and cases.guitar(joint_top={key: 0.0})


def test_no_sliver_stands_between_a_rebate_and_the_face_beside_it():
    """The solid of a rebate that ends .04 um beyond the side's inner face or the plate's inner face is that of one that ends there."""
    from meshes.joint_solid import section_solid
    from meshes.joints import joint_geometry

    body = cases.guitar()
    made = joint_geometry(body, "top")
    side, plate = made.rim.side_thickness, made.plate_thickness
    for width, height in ((side, 6e-3), (1.5e-3, plate)):
        at, near = (
            section_solid(replace(made, rebate_width=width + off, rebate_height=height + off), fine=1e-3)[0]
            for off in (0.0, 4e-8)
        )
        assert np.allclose(at.points, near.points, atol=1e-6) and len(at.points) == len(near.points)


def test_a_strip_is_no_plate(capsys, tmp_path):
    sizes = "--length-mm 560 --width-mm 12 --thickness-mm 0.5 --mass-g 2 --along-hz 46 --across-hz 92 --twist-hz 39"
    assert "560 x 12 mm is a strip" in refusal(capsys, "plate", *sizes.split(), "--out", tmp_path)


# --- sounds and meshes ---


def wav(path, channels=1, rate=44100, samples=40_000, claimed=None):
    """A WAV file, 16 bit, whatever its header claims."""
    data = np.random.default_rng(1).integers(-9000, 9000, samples, np.int16).tobytes()
    size = len(data) if claimed is None else claimed
    block = 2 * channels
    head = struct.pack("<IHHIIHH", 16, 1, channels, rate, rate * block % 2**32, block, 16)
    path.write_bytes(
        b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVEfmt " + head + b"data" + struct.pack("<I", size) + data
    )
    return path


@pytest.mark.parametrize(
    ("claims", "words"),
    [
        ({"channels": 0}, "not a readable WAV file"),
        ({"rate": 0}, "0 samples a second; expected 2000"),
        ({"rate": 1}, "1 samples a second; expected 2000"),
        ({"rate": 100}, "100 samples a second; expected 2000"),
        ({"rate": 2**30}, "samples a second"),
        ({"claimed": 2**32 - 2, "samples": 400}, "s long; expected at least"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", ["note", "plate"])
def test_a_recording_that_claims_what_none_has(capsys, tmp_path, claims, words, command):
    path = wav(tmp_path / "take.wav", **claims)
    board = "--length-mm 560 --width-mm 210 --thickness-mm 3.2 --mass-g 160 --recording".split()
    told = refusal(capsys, command, *([f"E2={path}"] if command == "note" else [*board, path]))
    assert "take.wav" in told and words in told


def test_a_recording_larger_than_any_tap_takes_no_memory(tmp_path):
    with (tmp_path / "take.wav").open("wb") as stream:
        stream.truncate(2_000_000_000)
    with pytest.raises(ValueError, match=r"take.wav': 2000 MB; expected at most 300"):
        read_recording(tmp_path / "take.wav")


def plate_vtu(path, cells):
    points, _ = grid(4, 3, 0.4, 0.3)
    return marked_file(path, points, [("plate", "quad", np.asarray(cells))])


@pytest.mark.parametrize("node", [20, 10**6, -1])
def test_a_cell_that_names_a_node_which_is_none(tmp_path, node):
    _, quads = grid(4, 3, 0.4, 0.3)
    quads[3, 2] = node
    with pytest.raises(ValueError, match=r"plate.vtu: a cell names node .* of 20; expected a sound mesh file"):
        read_mesh_file(plate_vtu(tmp_path / "plate.vtu", quads))


def bomb(path, cells):
    """A .vtu of about a thousandth of what it unpacks to: as many triangles, all of them nothing."""
    whole = lambda a: (
        base64.b64encode(struct.pack("<IIII", 1, len(a), 0, len(z := zlib.compress(a, 9)))) + base64.b64encode(z)
    )
    arrays = {
        "connectivity": ("UInt8", np.zeros(3 * cells, np.uint8)),
        "offsets": ("UInt8", np.zeros(cells, np.uint8)),
        "types": ("UInt8", np.full(cells, 5, np.uint8)),
    }
    tags = "".join(
        f'<DataArray type="{kind}" Name="{name}" format="binary">{whole(a.tobytes()).decode()}</DataArray>'
        for name, (kind, a) in arrays.items()
    )
    path.write_text(
        '<VTKFile type="UnstructuredGrid" version="0.1" byte_order="LittleEndian" compressor="vtkZLibDataCompressor">'
        f'<UnstructuredGrid><Piece NumberOfPoints="3" NumberOfCells="{cells}"><Points>'
        '<DataArray type="Float64" NumberOfComponents="3" format="ascii">0 0 0 1 0 0 0 1 0</DataArray></Points>'
        f"<Cells>{tags}</Cells></Piece></UnstructuredGrid></VTKFile>"
    )
    return path


def test_a_small_file_that_unpacks_to_millions_of_cells_is_refused_before_it_does(tmp_path):
    path = bomb(tmp_path / "bomb.vtu", 4_000_000)
    start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(ValueError, match=r"bomb.vtu: claims 4000000 nodes or cells in"):
        read_mesh_file(path)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 2e5  # kB
    assert time.perf_counter() - start < 5


NODES_22 = "$MeshFormat\n2.2 0 8\n$EndMeshFormat\n$Nodes\n3\n1 0 0 0\n2 1 0 0\n{} 0 1 0\n$EndNodes\n$Elements\n1\n1 2 2 0 1 1 2 {}\n$EndElements\n"
NODES_41 = "$MeshFormat\n4.1 0 8\n$EndMeshFormat\n$Nodes\n1 {} 1 3\n2 1 0 3\n1\n2\n3\n0 0 0\n1 0 0\n0 1 0\n$EndNodes\n"


@pytest.mark.skipif(sys.platform != "linux", reason="memory can be bounded on Linux alone")
def test_a_mesh_whose_node_numbers_ask_for_gigabytes_is_refused(tmp_path):
    path = tmp_path / "sparse.msh"
    path.write_text(NODES_22.format(2_000_000_000, 2_000_000_000))
    limits = resource.getrlimit(resource.RLIMIT_AS)
    with pytest.raises(ValueError, match=r"sparse.msh: asks for more memory"):
        read_mesh_file(path)
    assert resource.getrlimit(resource.RLIMIT_AS) == limits


def test_a_mesh_that_claims_a_thousand_million_nodes_is_refused(tmp_path):
    path = tmp_path / "many.msh"
    path.write_text(NODES_41.format(1_000_000_000))
    with pytest.raises(ValueError, match=r"many.msh: claims 1000000000 nodes"):
        read_mesh_file(path)


# --- a cluster that is none ---


@pytest.mark.parametrize(
    "address",
    [
        "nonsense",
        "",
        "tcp://",
        "tcp://127.0.0.1:1",
        "http://127.0.0.1:80",
        "tcp://127.0.0.1:abc",
        "127.0.0.1:99999",
        "udp://x:1",
    ],
)
def test_an_address_where_no_scheduler_can_be_is_told_at_once(address):
    start = time.perf_counter()
    with pytest.raises(BadInput, match=r"--scheduler .* expected a running 'dask scheduler'"):
        Cluster(scheduler=address)
    assert time.perf_counter() - start < 20


def test_a_worker_that_dies_while_the_cluster_starts_is_told(monkeypatch):
    import distributed

    def dies(**_):
        raise AssertionError("Status.closing")

    monkeypatch.setattr(distributed, "LocalCluster", dies)
    with pytest.raises(BadInput, match="local cluster: no workers could be reached"):
        Cluster(2)
