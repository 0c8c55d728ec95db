"""The parts sheet of a foreign mesh: what it says, and every mistake at once in plain words."""

import pytest

from meshes.parts_sheet import Parts, read_parts

SHEET = """
parts_version = 1
length_unit = "mm"

[material.spruce]
E_along_GPa = 11.5
E_across_GPa = 0.6
nu_along_across = 0.4
G_in_plane_GPa = 0.71
G_along_normal_GPa = 0.72
G_across_normal_GPa = 0.06
density_kg_m3 = 420
loss_along = 0.006
loss_across = 0.021
loss_shear = 0.016
[material.aluminium]
E_GPa = 68.7
nu = 0.3
density_kg_m3 = 2820
loss = 0.001
[part.top]
material = "spruce"
thickness_mm = 2.8
grain = [1, 0, 0]
[part.sides]
material = "spruce"
thickness_mm = 2
grain = "rim"
[part.plate]
material = "aluminium"
thickness_mm = 3
[beam.rib]
material = "aluminium"
width_mm = 6.35
height_mm = 12.7
up = [0, 0, 1]
offset_mm = [0, 0, 7.035]
[beam.lining]
material = "spruce"
width_mm = 6
height_mm = 14
up = [0, 0, 1]
offset_mm = {inward = 3, up = -7}
"""


def read(tmp_path, text):
    path = tmp_path / "p.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_parts(path)


def mistakes(tmp_path, text):
    """The lines told."""
    with pytest.raises(ValueError) as told:
        read(tmp_path, text)
    return str(told.value).splitlines()


def test_constants_in_si(tmp_path):
    """Every constant lands in its own place: all differ."""
    _, woods = read(tmp_path, SHEET)
    spruce, metal = woods["spruce"], woods["aluminium"]
    assert (spruce.E_L, spruce.E_R, spruce.nu_LR, spruce.density) == pytest.approx((11.5e9, 0.6e9, 0.4, 420))
    assert (spruce.G_LR, spruce.G_LT, spruce.G_RT) == pytest.approx((0.71e9, 0.72e9, 0.06e9))
    assert (spruce.loss_L, spruce.loss_R, spruce.loss_G) == (0.006, 0.021, 0.016)
    assert (metal.E_L, metal.E_R, metal.nu_LR, metal.density) == pytest.approx((68.7e9, 68.7e9, 0.3, 2820))
    assert (metal.G_LR, metal.G_LT, metal.G_RT) == pytest.approx(3 * (68.7e9 / 2.6,))
    assert (metal.loss_L, metal.loss_R, metal.loss_G) == 3 * (0.001,)


def test_parts_and_beams(tmp_path):
    sheet, _ = read(tmp_path, SHEET)
    assert sheet.length_unit == "mm"
    assert (sheet.part["top"].thickness_mm, sheet.part["top"].grain) == (2.8, [1, 0, 0])
    assert (sheet.part["sides"].grain, sheet.part["plate"].grain) == ("rim", None)
    assert sheet.beam["rib"].offset_mm == [0, 0, 7.035]
    assert (sheet.beam["lining"].offset_mm.inward, sheet.beam["lining"].offset_mm.up) == (3, -7)


def test_losses_unit_and_version_may_be_left_out(tmp_path):
    text = "\n".join(row for row in SHEET.splitlines() if not row.startswith(("loss", "parts_version", "length_unit")))
    sheet, woods = read(tmp_path, text)
    assert sheet.length_unit == "m"
    assert not woods["spruce"].losses_known and not woods["aluminium"].losses_known


def test_shear_moduli_through_the_plate_may_be_raised(tmp_path):
    """A thousand-fold, to compare with the theory of thin plates."""
    text = SHEET.replace("G_along_normal_GPa = 0.72", "G_along_normal_GPa = 720")
    assert read(tmp_path, text)[1]["spruce"].G_LT == pytest.approx(720e9)


def test_schema_can_be_written():
    assert set(Parts.model_json_schema()["properties"]) == {"parts_version", "length_unit", "material", "part", "beam"}


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ("thickness_mm = 2.8", "thickness_mm = -2.8", "part.top.thickness_mm = -2.8", "did you mean 2.8?"),
        ("thickness_mm = 2.8", "thickness_mm = 0", "part.top.thickness_mm = 0", "expected 0.02 to 2000 mm"),
        ("thickness_mm = 2.8", "thickness_mm = 0.0028", "part.top.thickness_mm", "did you mean 2.8? (m written as mm)"),
        ("thickness_mm = 2.8", "thickness_mm = nan", "part.top.thickness_mm = nan", "mm"),
        ("thickness_mm = 2.8", "thickness_mm = inf", "part.top.thickness_mm = inf", "mm"),
        ("thickness_mm = 2.8", f"thickness_mm = 1{400 * '0'}", "part.top.thickness_mm", "mm"),
        ("thickness_mm = 2.8", 'thickness_mm = "2,8 m"', "part.top.thickness_mm = '2,8 m'", "'19 1/2 in'"),
        ("density_kg_m3 = 420", 'density_kg_m3 = "420,5"', "material.spruce.density_kg_m3 = '420,5'", "write 420.5 without quotes"),
        ("thickness_mm = 2.8", "thickness_mm = true", "part.top.thickness_mm = true", "mm"),
        ("thickness_mm = 2.8", "thikness_mm = 2.8", "part.top.thikness_mm", "did you mean 'thickness_mm'?"),
        ("thickness_mm = 2.8", "", "part.top.thickness_mm = nothing given", "mm"),
        ("density_kg_m3 = 420", "density_kg_m3 = 0.42", "material.spruce.density_kg_m3 = 0.42", "did you mean 420? (g/cm3"),
        ("E_along_GPa = 11.5", "E_along_GPa = 11500", "material.spruce.E_along_GPa = 11500", "did you mean 11.5? (MPa"),
        ("E_GPa = 68.7", "E_GPa = 68.7e9", "material.aluminium.E_GPa", "did you mean 68.7? (Pa"),
        ("nu = 0.3", "nu = 3", "material.aluminium.nu = 3", "did you mean 0.3?"),
        ("nu = 0.3", "mu = 0.3", "material.aluminium.mu", "did you mean 'nu'?"),
        ("loss = 0.001", "loss = 1.2", "material.aluminium.loss = 1.2", "did you mean 0.012? (per cent"),
        ("nu_along_across = 0.4", "nu_along_across = 4.5", "material.spruce.nu_along_across = 4.5", "less than 4.38"),
        ("nu_along_across = 0.4", "nu_along_across = -4.5", "material.spruce.nu_along_across = -4.5", "less than 4.38"),
        ("E_across_GPa = 0.6", "E_across_GPa = 72", "material.spruce.nu_along_across = 0.4", "less than 0.4,"),
        ("loss_shear = 0.016", "", "material.spruce.loss_shear = nothing given", "all three losses, or none"),
        ("grain = [1, 0, 0]", "", "part.top.grain = nothing given", "'spruce' differs along and across"),
        ("grain = [1, 0, 0]", "grain = [0, 0, 0]", "part.top.grain = [0, 0, 0]", "not all zero"),
        ("grain = [1, 0, 0]", "grain = [1, 0]", "part.top.grain = [1, 0]", "three numbers"),
        ("grain = [1, 0, 0]", "grain = [1, 0, nan]", "part.top.grain = [1, 0, nan]", "three numbers"),
        ("grain = [1, 0, 0]", 'grain = "along"', "part.top.grain = 'along'", "or 'rim'"),
        ("up = [0, 0, 1]", "up = [0, 0, 0]", "beam.rib.up = [0, 0, 0]", "not all zero"),
        ("up = [0, 0, 1]", "", "beam.rib.up = nothing given", "three numbers"),
        ("offset_mm = [0, 0, 7.035]", "offset_mm = 7", "beam.rib.offset_mm = 7", "{inward = 3, up = -7}"),
        ("{inward = 3, up = -7}", "{inwards = 3}", "beam.lining.offset_mm", "{inward = 3, up = -7}"),
        ('material = "spruce"', 'material = "spruse"', "part.top.material = 'spruse'", "did you mean 'spruce'?"),
        ('material = "spruce"', 'material = "brick"', "part.top.material = 'brick'", "known: aluminium, spruce"),
        ('material = "spruce"', "material = 3", "part.top.material = 3", "words in quotes"),
        ('length_unit = "mm"', 'length_unit = "mn"', "length_unit = 'mn'", "one of: m, cm, mm, in"),
        ("parts_version = 1", "parts_version = 2", "parts_version = 2", "one of: 1"),
        ("[part.plate]", "[parts.plate]", "parts; expected a table [material.NAME], [part.NAME]", "did you mean 'part'?"),
        ("[part.plate]", "[part]", "part.material = 'aluminium'", "a table [part.NAME]"),
        ("[beam.lining]", "[beam.top]", "beam.top", "a name of its own"),
    ],
)  # fmt: skip
def test_each_mistake_in_one_line(tmp_path, old, new, key, words):
    """File, key, value, what was expected, the likely right one; nothing else is complained of for the same key."""
    assert old in SHEET
    told = mistakes(tmp_path, SHEET.replace(old, new, 1))
    about = [line for line in told if line.startswith(f"p.toml: {key}")]
    assert len(about) == 1, told
    assert words in about[0] and len(about[0]) < 300


def test_group_that_is_no_table(tmp_path):
    assert mistakes(tmp_path, "material = 3\npart = 'top'") == [
        "p.toml: material = 3; expected tables [material.NAME]",
        "p.toml: part = 'top'; expected tables [part.NAME]",
    ]


def test_all_mistakes_at_once(tmp_path):
    text = SHEET.replace("thickness_mm = 2.8", "thickness_mm = -2.8").replace("nu = 0.3", "nu = nan")
    text = text.replace('grain = "rim"', "").replace("width_mm = 6.35", "widht_mm = 6.35")
    text = text.replace('"mm"', '"ell"').replace('"aluminium"', '"alu"', 1)
    told = mistakes(tmp_path, text)
    keys = sorted(line.removeprefix("p.toml: ").split(" = ")[0] for line in told)
    assert keys == [
        "beam.rib.widht_mm", "beam.rib.width_mm", "length_unit", "material.aluminium.nu", "part.plate.material",
        "part.sides.grain", "part.top.thickness_mm",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "p.toml: is empty"),
        ("# nothing here\n", "p.toml: is empty"),
        (b"\xff\xfe\x00", "p.toml: is not a text file"),
        ("[part.top\nthickness_mm = 2.8", "not TOML at line 1, '[part.top'"),
        ("[part.top]\nthickness_mm = 2,8", "not TOML at line 2, 'thickness_mm = 2,8'"),
        ("[part.top]\n[part.top]", "line 2"),
        ("[part.top]\nmaterial = 'sp", "line 2"),
    ],
)
def test_files_that_are_no_sheet(tmp_path, text, words):
    told = mistakes(tmp_path, text)
    assert len(told) == 1 and words in told[0] and "expected" in told[0]


def test_missing_file(tmp_path):
    with pytest.raises(ValueError, match=r"none\.toml: cannot be read"):
        read_parts(tmp_path / "none.toml")
