"""Build sheets: every mistake told with file, key, value, range and the likely right one; doming; masses by hand."""

import json
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fem.woods import library
from meshes import dome
from meshes.body import Lining, Surface, back_height, braces_of, side_height, surface_height, top_height
from meshes.carving import brace_heights
from meshes.describe import air_volume, areas, bends, check_text, describe, lining_mass, masses
from meshes.drawing import draw_plan
from meshes.lengths import length
from meshes.new_sheet import new_sheet_text
from meshes.outline import bend_radius, distance
from meshes.outline_csv import outline_from_drawing
from meshes.parts import sections
from meshes.sheet import body_of, read_sheet, sheet_schema
from meshes.sheet_errors import SheetError

BODIES = Path(__file__).parents[1] / "meshes" / "bodies"


def edited(text=None, **tables):
    """Parsed minimal sheet with keys of tables set, or taken away by None."""
    raw = tomllib.loads(text or new_sheet_text())
    for table, keys in tables.items():
        if isinstance(keys, dict):
            raw.setdefault(table, {}).update(keys)
            raw[table] = {key: value for key, value in raw[table].items() if value is not None}
        else:
            raw[table] = keys
    return raw


def built(folder=Path(), **tables):
    return body_of(edited(**tables), "guitar.toml", folder, library())


def mistakes_of(folder=Path(), **tables):
    """Texts of all the mistakes in the edited minimal sheet."""
    with pytest.raises(SheetError) as caught:
        built(folder, **tables)
    return str(caught.value).splitlines()


def bar(**keys):
    return {
        "name": "bar", "plate": "top", "from_mm": [400, -130], "to_mm": [400, 130], "width_mm": 8, "height_mm": 14
    } | keys  # fmt: skip


# --- sheets that are right ---


@pytest.mark.parametrize(
    ("name", "top", "back"), [("hazel", 9, 4), ("linnet", 9, 3), ("medlar", 9, 4), ("dunnock", 9, 3)]
)
def test_examples_are_read_without_warnings(name, top, back):
    body = read_sheet(BODIES / f"{name}.toml")
    assert body.warnings == ()
    assert (len(braces_of(body, "top")), len(braces_of(body, "back"))) == (top, back)
    measures = {"neck_block.height_mm", "tail_block.height_mm", "lining_top.width_mm"}
    assert {a.key for a in body.assumed if "simplification" not in a.source} <= measures


def test_new_sheet_needs_only_measures_and_lists_every_default(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(new_sheet_text())
    body = read_sheet(path)
    assumed = {a.key: a.value for a in body.assumed}
    assert assumed["top.thickness_mm"] == "2.8 mm"
    assert assumed["heights.top_radius_mm"] == "flat"
    assert assumed["lining_top.width_mm"] == "6 mm"
    assert "at 100, 268, 416 mm" in assumed["brace (plate = 'top')"]
    assert not [key for key in assumed if key.startswith(("body.length", "soundhole", "wood", "neck.included"))]
    assert all(a.source.startswith("assumed") for a in body.assumed)
    told = check_text(body)
    assert all(a.key in told for a in body.assumed)


def test_every_commented_key_of_the_new_sheet_is_known():
    """Taking the # away before each key leaves a sheet without unknown keys."""
    measures, rest = new_sheet_text().split("# ---- everything below")
    lines = [re.sub(r"^# (?=\[|\w+ = )", "", line) for line in rest.splitlines()[1:]]
    body = body_of(tomllib.loads("\n".join([measures, *lines])), "new.toml", Path(), library())
    assert body.sides[1].thickness == pytest.approx(1.5e-3)
    assert len(body.side_bars) == 4
    assert body.neck.head_mass == pytest.approx(0.35)


def test_what_a_sheet_gives_is_not_assumed():
    body = built(top={"thickness_mm": 3.1, "wood": "western_redcedar"})
    assert body.top.thickness == pytest.approx(3.1e-3)
    assert body.top.wood.name == "western_redcedar"
    assert "top.grain_deg" in {a.key for a in body.assumed}
    assert not {"top.thickness_mm", "top.wood"} & {a.key for a in body.assumed}


def test_inches_are_millimetres_times_25_4():
    in_mm = built(top={"thickness_mm": 2.54}, brace=[bar(from_mm=[406.4, -127], to_mm=[406.4, 127])])
    in_inches = built(
        top={"thickness_in": 0.1}, body={"length_mm": None, "length_in": 490 / 25.4},
        brace=[{k.replace("from_mm", "from_in").replace("to_mm", "to_in"): v for k, v in
                bar(from_mm=[16, -5], to_mm=[16, 5]).items()}],
    )  # fmt: skip
    assert in_inches.top.thickness == pytest.approx(in_mm.top.thickness)
    assert in_inches.outline.length == pytest.approx(0.490)
    assert in_inches.braces[0].start == pytest.approx(in_mm.braces[0].start, abs=1e-6)


def test_grain_angles_keep_their_sign():
    assert built(top={"grain_deg": 27}).top.grain_angle == pytest.approx(np.radians(27))
    assert built(top={"grain_deg": -27}).top.grain_angle == pytest.approx(-np.radians(27))


def test_sides_doubled_outer_layer_first():
    body = built(sides={"thickness_mm": 1.9, "inner_wood": "spanish_cedar", "inner_thickness_mm": 1.4})
    assert [(layer.wood.name, round(layer.thickness, 6)) for layer in body.sides] == [
        ("honduras_mahogany", 0.0019),
        ("spanish_cedar", 0.0014),
    ]
    assert body.side_thickness == pytest.approx(3.3e-3)


def test_own_woods_and_single_values_of_library_woods():
    own = {
        "E_along_GPa": 11.5, "E_across_GPa": 0.8, "nu_along_across": 0.4, "G_in_plane_GPa": 0.75,
        "G_along_normal_GPa": 0.7, "G_across_normal_GPa": 0.04, "density_kg_m3": 410, "source": "bench",
    }  # fmt: skip
    sitka = library()["sitka_spruce"]
    body = built(
        wood={"attic_spruce": own, "sitka_spruce": {"density_kg_m3": 433, "source": "scales"}},
        top={"wood": "attic_spruce"},
    )
    wood = body.top.wood
    assert (wood.E_L, wood.E_R, wood.G_LR, wood.G_LT, wood.G_RT) == pytest.approx(
        (11.5e9, 0.8e9, 0.75e9, 0.7e9, 0.04e9)
    )
    assert not wood.losses_known
    assert wood.sources["E_L"] == "bench"
    brace = body.braces[0].wood
    assert (brace.density, brace.E_L, brace.loss_L) == (433, sitka.E_L, sitka.loss_L)
    assert (brace.sources["density"], brace.sources["E_L"]) == ("scales", sitka.sources["E_L"])


def test_constants_through_the_plate_may_be_given():
    own = {"E_normal_GPa": 0.5, "nu_along_normal": 0.41, "nu_across_normal": 0.52}
    wood = built(wood={"sitka_spruce": own}).top.wood
    assert (wood.E_T, wood.nu_LT, wood.nu_RT) == pytest.approx((0.5e9, 0.41, 0.52))
    assert wood.sources["E_T"] == "build sheet"


def test_measured_values_are_carried_in_si():
    body = built(measured={"sides_g": 310, "squeeze_waist_mm": 4.5, "top_tap_hz": [98, 172]})
    assert body.measured.weights == pytest.approx({"sides_g": 0.310})
    assert body.measured.squeezes == pytest.approx({"waist": 4.5e-3})
    assert body.measured.taps == {"top_tap_hz": (98, 172)}
    assert not built().measured
    assert not [a for a in built().assumed if a.key.startswith("measured")]


def test_rebate_heel_tongue_cut_and_hole_are_carried_in_si():
    body = built(
        joint_top={"rebate_width_mm": 1.4, "rebate_height_in": 0.25, "binding_wood": "none", "loss_factor": 0.05},
        neck={"heel_depth_mm": 80, "heel_length_mm": 30, "tongue_mm": 70}, tail_block={"hole_mm": 12},
        neck_block={"cut_width_mm": 20, "cut_depth_mm": 15},
    )  # fmt: skip
    made = body.joint_top
    assert (made.rebate_width, made.rebate_height, made.binding, made.loss) == (
        1.4e-3,
        pytest.approx(6.35e-3),
        None,
        0.05,
    )
    assert body.joint_back.binding.name == "sugar_maple"
    assert (body.neck.heel_depth, body.neck.heel_length, body.neck.tongue) == pytest.approx((0.08, 0.03, 0.07))
    assert (body.neck_block.cut_width, body.neck_block.cut_depth) == pytest.approx((0.020, 0.015))
    assert body.neck_block.cut_height == pytest.approx(0.080)  # the heel's depth
    assert body.tail_block.hole == pytest.approx(0.012)


def test_assumed_rebate_leaves_wood_in_a_thin_bare_side():
    body = built(sides={"thickness_mm": 1.0}, lining_top={"kind": "none"})
    assert body.joint_top.rebate_width == pytest.approx(0.7e-3)
    assert body.joint_top.rebate_height == pytest.approx(2.8e-3)


def test_assumed_tongue_ends_short_of_the_soundhole():
    body = built(soundhole={"place_mm": 372})
    assert body.neck.tongue == pytest.approx((490 - 372 - 49 - 3) * 1e-3)
    assert built().neck.tongue == pytest.approx((645 * (2 ** (-14 / 12) - 2 ** (-20 / 12))) * 1e-3)


def test_brace_ends_let_in_stopping_short_and_free():
    ends = {"let_in": 0.0, "stops_short": 9e-3, "free": None}
    for kind, gap in ends.items():
        brace = built(brace=[bar(ends={"kind": kind, "gap_mm": 9, "taper_mm": 30, "height_mm": 3})]).braces[0]
        outline = built().outline
        for point, drawn in ((brace.start, (0.4, -0.13)), (brace.end, (0.4, 0.13))):
            if gap is None:
                assert point == pytest.approx(drawn)
            else:
                assert distance(outline, [point])[0] == pytest.approx(gap, abs=1e-5)
                assert point[0] == pytest.approx(0.4)  # stays on its line
    assert brace_heights(brace, 0.0) == pytest.approx(3e-3)
    assert brace_heights(brace, 0.5 * brace.length) == pytest.approx(14e-3)
    assert brace_heights(brace, 15e-3) == pytest.approx(8.5e-3)


def test_end_drawn_inside_is_free_and_a_stretched_one_is_warned_of():
    free, short = bar(from_mm=[400, -60]), bar(ends={"kind": "stops_short", "gap_mm": 60})
    assert built(brace=[free]).braces[0].at_start.kind == "free"
    assert built(brace=[free]).braces[0].at_end.kind == "stops_short"
    assert "drawn" in built(brace=[short]).warnings[0]
    assert "'bar'" in built(brace=[short]).warnings[0]


def test_mirrored_brace_ends_get_one_answer_and_a_carried_one_its_nearest_place():
    answers = {side: mistakes_of(brace=[bar(from_mm=[40, side * 165])])[0].split("; ")[-1] for side in (-1, 1)}
    assert answers[-1] == answers[1] and "mm outside" in answers[1]
    carried = bar(from_mm=[400, -60], ends={"kind": "stops_short"})
    mistakes = mistakes_of(brace=[carried])
    assert len(mistakes) == 1
    place = re.search(
        r"from_mm = \[400.0, -60.0\].*; did you mean (\[400, -\d+\])\? from_end.kind = 'free'", mistakes[0]
    )
    near = built(brace=[carried | {"from_mm": json.loads(place[1])}]).braces[0].start
    assert 1e3 * near[1] == pytest.approx(json.loads(place[1])[1], abs=0.6)


def test_bridge_as_heavy_as_weighed_and_a_heavy_block_is_told():
    block = {"length_mm": 152, "width_mm": 36, "thickness_mm": 9}
    heavy, weighed = built(bridge=block), built(bridge=block | {"mass_g": 28})
    assert len(heavy.warnings) == 1 and "full block" in heavy.warnings[0] and "bridge.mass_g" in heavy.warnings[0]
    assert weighed.warnings == ()
    assert masses(weighed)["bridge"] == pytest.approx(0.028)
    ours, full = (sections(body)["bridge"] for body in (weighed, heavy))
    assert ours.stiffness == full.stiffness
    ratio = 0.028 / masses(heavy)["bridge"]
    assert [ours.mass[k] / full.mass[k] for k in ("m0", "m1", "m2")] == pytest.approx([ratio] * 3)
    others = {part: mass for part, mass in masses(heavy).items() if part != "bridge"}
    assert others == {part: mass for part, mass in masses(weighed).items() if part != "bridge"}


def test_refused_values_of_a_wood_are_not_called_missing():
    refused = mistakes_of(wood={"attic": {"E_along_GPa": 11500, "density_kg_m3": 410}})
    assert "did you mean 11.5? (MPa written as GPa)" in refused[0]
    assert "lacks E_across_GPa" in refused[1] and "E_along_GPa" not in refused[1]


def test_left_out_version_is_told():
    raw = edited()
    del raw["sheet_version"]
    told = [a for a in body_of(raw, "guitar.toml", Path(), library()).assumed if a.key == "sheet_version"]
    assert [(a.value, "not given, read as 1" in a.source) for a in told] == [("1", True)]
    assert "sheet_version" not in {a.key for a in built().assumed}


def test_plates_may_be_unbraced_and_bodies_without_neck():
    body = built(top={"braced": False}, back={"braced": False}, neck={"included": False})
    assert body.braces == ()
    assert body.neck is None


def test_solid_lining_is_as_wide_as_its_laminations():
    body = built(lining_top={"kind": "solid_laminated", "laminations": 4, "lamination_thickness_mm": 1.6})
    assert body.lining_top.width == pytest.approx(6.4e-3)
    assert body.lining_top.kerf_spacing == 0
    keys = {a.key for a in body.assumed}
    assert "lining_top.kerf_width_mm" not in keys
    assert "lining_back.kerf_width_mm" in keys


# --- lengths as makers write them ---


@pytest.mark.parametrize(
    "text, unit, expected",
    [
        ("19 1/2", "in", 19.5),
        ("19-1/2", "in", 19.5),
        ("-5 1/2", "in", -5.5),
        ("3/32", "in", 0.09375),
        ("19 1/2 in", "mm", 495.3),
        ('1/8"', "mm", 3.175),
        ("2,8", "mm", 2.8),
        ("2,8 mm", "mm", 2.8),
        ("50.8 mm", "in", 2.0),
        (".5", "mm", 0.5),
        ("1 2", "mm", None),
        ("19 1/0", "in", None),
        ("19 .5", "in", None),
        ("flat", "mm", None),
        ("2.8 cm", "mm", None),
    ],
)
def test_lengths_as_written(text, unit, expected):
    assert length(text, unit) == (expected if expected is None else pytest.approx(expected, rel=1e-14))
    pattern = sheet_schema()["$defs"]["TopTable"]["properties"]["thickness_mm"]["pattern"]
    assert (re.search(pattern, text) is not None) == (expected is not None)


def test_a_sheet_in_fractions_is_the_sheet_in_numbers():
    """Each key by itself, so that a unit taken for another fails."""
    words = {"body": {"length_mm": "19 1/4 in"}, "top": {"thickness_in": "7/64"}, "back": {"thickness_mm": "2,5"}}
    body = built(
        **words, soundhole={"place_mm": None, "place_in": "13 1/2"}, brace=[bar(from_mm=["15 1/2 in", "-3 in"])]
    )
    assert body.outline.length == pytest.approx(19.25 * 25.4e-3)
    assert body.top.thickness == pytest.approx(7 / 64 * 25.4e-3)
    assert body.back.thickness == pytest.approx(2.5e-3)
    assert body.soundhole.centre[0] == pytest.approx(13.5 * 25.4e-3)
    assert body.braces[0].start == pytest.approx((15.5 * 25.4e-3, -3 * 25.4e-3))
    assert built(heights={"back_radius_mm": "flat"}).heights == built(heights={"back_radius_mm": "flat"}).heights


def test_frets_to_the_body_place_neck_and_saddle():
    """Fret 12 halves the string: 650 mm leave 325 mm of neck, and the saddle 325 mm from the body's edge."""
    body = built(neck={"frets_to_body": 12}, strings={"scale_length_mm": 650})
    assert body.neck.length == pytest.approx(0.325)
    assert body.bridge.saddle_x == pytest.approx(body.outline.length - 0.325)
    assert "neck.length_mm" not in {a.key for a in body.assumed}
    wrong = mistakes_of(neck={"frets_to_body": 12, "length_mm": 357}, strings={"scale_length_mm": 650})
    assert wrong == [
        "guitar.toml: neck.length_mm = 357; expected 325 mm, 12 frets of the scale length, or no frets_to_body"
    ]
    assert built(neck={"frets_to_body": 12, "length_mm": 324}, strings={"scale_length_mm": 650}).neck.length == 0.324


def test_a_fraction_without_quotes_is_told_how_to_stand(tmp_path):
    (tmp_path / "a.toml").write_text("[body]\nlength_in = 19 1/2  # measured\n", encoding="utf-8")
    with pytest.raises(SheetError, match="put quotes around it: '19 1/2'"):
        read_sheet(tmp_path / "a.toml")


# --- sheets that are wrong ---

BAD = {
    "28 for 2.8": ({"top": {"thickness_mm": 28}}, ["top.thickness_mm = 28", "1 to 8 mm", "did you mean 2.8?"]),
    "negative": ({"back": {"thickness_mm": -2.6}}, ["back.thickness_mm = -2.6", "1 to 8 mm", "did you mean 2.6?"]),
    "not a number": ({"soundhole": {"diameter_mm": float("nan")}}, ["soundhole.diameter_mm = nan", "20 to 200 mm"]),
    "endless digits": ({"top": {"thickness_in": 10**400}}, ["top.thickness_in", "plain number"]),
    "infinite": ({"heights": {"tail_mm": float("inf")}}, ["heights.tail_mm = inf", "20 to 200 mm", "plain number"]),
    "inches as mm": ({"body": {"length_mm": 19.3}}, ["body.length_mm = 19.3", "did you mean 490.2?", "inches"]),
    "mm as inches": ({"top": {"thickness_in": 2.8}}, ["top.thickness_in = 2.8", "0.03937 to 0.315 inches", "0.1102?"]),
    "mm and inches": (
        {"top": {"thickness_mm": 2.8, "thickness_in": 0.11}},
        ["top.thickness_in", "only one of thickness_in and thickness_mm"],
    ),
    "text for a number": ({"neck": {"head_mass_g": "350,5"}}, ["neck.head_mass_g = '350,5'", "350.5 without quotes"]),
    "words for a length": ({"top": {"thickness_mm": "thin"}}, ["top.thickness_mm = 'thin'", "1 to 8 mm", "'19 1/2'"]),
    "fraction for mm": ({"top": {"thickness_mm": "7/64"}}, ["top.thickness_mm = '7/64'", "did you mean '7/64 in'?"]),
    "fraction too long": ({"top": {"thickness_in": "1 7/64"}}, ["top.thickness_in = '1 7/64'", "0.03937 to 0.315 inches"]),
    "yes for true": ({"top": {"braced": "yes"}}, ["top.braced = 'yes'", "true or false"]),
    "unknown key": ({"top": {"thicknes_mm": 2.8}}, ["top.thicknes_mm", "did you mean 'thickness_mm'?"]),
    "key without unit": ({"top": {"thickness": 2.8}}, ["top.thickness = 2.8", "did you mean 'thickness_mm'?"]),
    "unknown table": ({"topp": {"wood": "x"}}, ["topp", "did you mean 'top'?"]),
    "unknown wood": ({"top": {"wood": "sitka"}}, ["top.wood = 'sitka'", "wood of the library", "'sitka_spruce'?"]),
    "wood of a kind": ({"back": {"wood": "sapele"}}, ["back.wood = 'sapele'", "a mahogany-like wood: african_mahogany or"]),
    "wood misspelt": ({"top": {"wood": "sitka_sprce"}}, ["top.wood = 'sitka_sprce'", "did you mean 'sitka_spruce'?"]),
    "incomplete wood": ({"bridge": {"wood": "gaboon_ebony"}}, ["bridge.wood = 'gaboon_ebony'", "incomplete", "E_L"]),
    "half a wood": ({"wood": {"attic": {"E_along_GPa": 11}}}, ["wood.attic", "lacks E_across_GPa", "density_kg_m3"]),
    "impossible wood": (
        {"wood": {"sitka_spruce": {"E_across_GPa": 390, "nu_along_across": 1.5}}},
        ["wood.sitka_spruce", "Poisson ratio 1.5"],
    ),
    "MPa as GPa": (
        {"wood": {"sitka_spruce": {"G_across_normal_GPa": 40}}},
        ["wood.sitka_spruce.G_across_normal_GPa = 40", "at most E_across_GPa", "did you mean 0.04? (MPa written as GPa)"],
    ),
    "table misspelt": ({"brige": {"mass_g": 28}}, ["brige = a table", "did you mean 'bridge'?"]),
    "unknown kind": ({"lining_top": {"kind": "kerved"}}, ["lining_top.kind = 'kerved'", "laminated", "'kerfed'?"]),
    "unknown grain": ({"tail_block": {"grain": "to_top"}}, ["tail_block.grain", "toward_top, along_body, across_body"]),
    "later version": ({"sheet_version": 2}, ["sheet_version = 2", "one of: 1"]),
    "missing measure": ({"body": {"waist_width_mm": None}}, ["body.waist_width_mm = nothing given", "needed"]),
    "missing height": ({"heights": {"tail_mm": None}}, ["heights.tail_mm = nothing given", "20 to 200 mm"]),
    "waist too wide": ({"body": {"waist_width_mm": 300}}, ["body.waist_width_mm = 300", "upper_bout_width_mm = 284"]),
    "places out of order": ({"body": {"waist_place_mm": 420}}, ["body.waist_place_mm = 420", "less than upper_bout"]),
    "measures and drawing": ({"body": {"half_outline_csv": "a.csv"}}, ["only body.half_outline_csv", "not both"]),
    "hole wider than the waist": (
        {"body": {"waist_width_mm": 170}, "soundhole": {"diameter_mm": 180}},
        ["soundhole.diameter_mm = 180", "less than the waist, 170 mm"],
    ),
    "hole over the edge": ({"soundhole": {"place_mm": 450}}, ["soundhole.diameter_mm = 98", "at most 70 mm there"]),
    "hole outside": ({"soundhole": {"place_mm": 560}}, ["soundhole.place_mm = 560", "0 to 490 mm from the tail"]),
    "brace outside": ({"brace": [bar(to_mm=[400, 260])]}, ["brace 1 (bar).to_mm = [400.0, 260.0]", "118 mm outside"]),
    "brace swapped": ({"brace": [bar(from_mm=[130, 400])]}, ["brace 1 (bar).from_mm", "did you mean [400.0, 130.0]?"]),
    "brace over the waist": (
        {"brace": [bar(from_mm=[140, 186], to_mm=[402, 139])]},
        ["brace 1 (bar).to_mm", "straight line that stays in the body"],
    ),
    "brace of no length": ({"brace": [bar(to_mm=[400, -125])]}, ["at least 20 mm from from_mm"]),
    "brace too tall": ({"brace": [bar(height_mm=39), bar(name="x")], "heights": {"neck_block_mm": 70}}, ["35 mm"]),
    "brace names": ({"brace": [bar(), bar()]}, ["brace 2 (bar).name", "no other brace"]),
    "long tapers": ({"brace": [bar(ends={"taper_mm": 200})]}, ["brace 1 (bar).ends.taper_mm = 400", "260 mm"]),
    "tall end": ({"brace": [bar(to_end={"height_mm": 20})]}, ["brace 1 (bar).to_end.height_mm = 20", "height 14 mm"]),
    "braces denied": ({"top": {"braced": False}, "brace": [bar()]}, ["top.braced = false", "no [[brace]]"]),
    "brace point short": ({"brace": [bar(from_mm=[400])]}, ["brace 1 (bar).from_mm 2 = nothing given"]),
    "bridge off the top": ({"bridge": {"saddle_mm": 25}}, ["bridge.place_mm = 22", "inside the outline"]),
    "bridge under the hole": ({"bridge": {"place_mm": 300, "saddle_mm": 300}}, ["bridge.place_mm = 300", "soundhole"]),
    "saddle off the bridge": ({"bridge": {"place_mm": 180, "saddle_mm": 200}}, ["bridge.saddle_mm = 200", "165 to"]),
    "tall lining": ({"lining_back": {"height_mm": 50}}, ["lining_back.height_mm = 50", "lowest side, 47.5 mm"]),
    "thick web": ({"lining_top": {"web_mm": 7}}, ["lining_top.web_mm = 7", "width 6 mm"]),
    "wide kerf": ({"lining_top": {"kerf_width_mm": 4, "kerf_spacing_mm": 3}}, ["kerf_width_mm = 4", "= 3 mm"]),
    "laminations": (
        {"lining_top": {"kind": "solid_laminated", "width_mm": 7}},
        ["lining_top.width_mm = 7", "= 6 mm", "leave width_mm out"],
    ),
    "thick glue": (
        {"lining_top": {"kind": "solid_laminated", "glue_line_mm": 1}},
        ["lining_top.glue_line_mm = 1", "less than half the lamination, 1 mm"],
    ),
    "bevel below the web": ({"lining_top": {"bevel_width_mm": 1}}, ["bevel_width_mm = 1", "1.2 to 6 mm", "web_mm"]),
    "bevel wider than the lining": ({"lining_back": {"bevel_width_mm": 7}}, ["bevel_width_mm = 7", "1.2 to 6 mm"]),
    "bevel without width": ({"lining_top": {"bevel_height_mm": 8}}, ["lining_top.bevel_width_mm = nothing given"]),
    "tall bevel": (
        {"lining_top": {"bevel_width_mm": 3, "bevel_height_mm": 20}}, ["bevel_height_mm = 20", "height 15 mm"],
    ),
    "wide rebate": (
        {"joint_top": {"rebate_width_mm": 8}},
        ["joint_top.rebate_width_mm = 8", "at most 6.56 mm", "side and lining together", "leave wood"],
    ),
    "rebate through a bare side": (
        {"joint_top": {"rebate_width_mm": 2}, "lining_top": {"kind": "none"}},
        ["joint_top.rebate_width_mm = 2", "at most 1.76 mm", "0.8 of the side"],
    ),
    "deep rebate": ({"joint_back": {"rebate_height_mm": 20}}, ["joint_back.rebate_height_mm = 20", "at most 14.7 mm"]),
    "rebate as a percentage": ({"joint_top": {"loss_factor": 2}}, ["joint_top.loss_factor = 2", "0 to 0.5", "0.2?"]),
    "unknown binding": (
        {"joint_top": {"binding_wood": "suger_maple"}}, ["joint_top.binding_wood = 'suger_maple'", "'sugar_maple'?"],
    ),
    "half a cut": ({"neck_block": {"cut_width_mm": 20}}, ["neck_block.cut_depth_mm = nothing given", "both or none"]),
    "height of no cut": ({"neck_block": {"cut_height_mm": 70}}, ["neck_block.cut_width_mm = nothing given"]),
    "wide cut": (
        {"neck_block": {"cut_width_mm": 70, "cut_depth_mm": 16}}, ["cut_width_mm = 70", "at most 64 mm", "block's width"],
    ),
    "deep cut": ({"neck_block": {"cut_width_mm": 20, "cut_depth_mm": 44}}, ["cut_depth_mm = 44", "at most 36 mm"]),
    "tall cut": (
        {"neck_block": {"cut_width_mm": 20, "cut_depth_mm": 16, "cut_height_mm": 120}},
        ["cut_height_mm = 120", "at most 95 mm"],
    ),
    "hole in the neck block": ({"neck_block": {"hole_mm": 12}}, ["neck_block.hole_mm = 12", "a known key"]),
    "wide hole": ({"tail_block": {"hole_mm": 35, "width_mm": 40}}, ["tail_block.hole_mm = 35", "at most 32 mm"]),
    "deep heel": ({"neck": {"heel_depth_mm": 120}}, ["neck.heel_depth_mm = 120", "at most the side there, 95 mm"]),
    "shallow heel": ({"neck": {"heel_depth_mm": 10}}, ["heel_depth_mm = 10", "thickness 16 mm, or 0 for no heel"]),
    "long tongue": ({"neck": {"tongue_mm": 120}}, ["neck.tongue_mm = 120", "at most 99 mm", "soundhole begins"]),
    "deep rod": (
        {"neck": {"rod": "bar", "rod_height_mm": 10, "rod_depth_mm": 3, "nut_thickness_mm": 14}},
        ["neck.rod_depth_mm = 3", "with its height 10 mm at most 12 mm, 2 mm of wood below it"],
    ),
    "wide rod": ({"neck": {"rod": "round", "rod_width_mm": 13, "nut_width_mm": 25.5, "thickness_mm": 30}}, ["nut_width_mm"]),
    "unknown rod": ({"neck": {"rod": "wire"}}, ["neck.rod = 'wire'"]),
    "slanting inner layer": (
        {"sides": {"inner_wood": "sugar_maple", "inner_thickness_mm": 1.4, "inner_grain_deg": 80}},
        ["sides.inner_grain_deg = 80", "along or square", "did you mean 90?"],
    ),
    "impossible normal": (
        {"wood": {"sitka_spruce": {"nu_across_normal": 1.9}}}, ["wood.sitka_spruce = impossible", "nu_RT"],
    ),
    "measured elsewhere": ({"measured": {"sides_mm": 310}}, ["measured.sides_mm = 310", "known key"]),
    "measured too much": ({"measured": {"sides_g": 31000}}, ["measured.sides_g = 31000", "20 to 2000 g"]),
    "half doubled": ({"sides": {"inner_thickness_mm": 1.5}}, ["sides.inner_wood = nothing given", "both or none"]),
    "tall block": ({"neck_block": {"height_mm": 120}}, ["neck_block.height_mm = 120", "at most the side there, 95 mm"]),
    "wide block": ({"neck_block": {"width_mm": 250, "thickness_mm": 20}}, ["neck_block.width_mm", "between the sides"]),
    "bar beyond the neck": ({"side_bars": {"places_mm": [100, 520]}}, ["side_bars.places_mm = 520", "485 mm"]),
    "string lists": ({"strings": {"gauge_mm": [1.0, 0.8], "tension_N": [70]}}, ["gauge_mm: 2, tension_N: 1"]),
    "long neck": ({"strings": {"scale_length_mm": 420}, "neck": {"length_mm": 430},
                   "bridge": {"saddle_mm": 200}}, ["neck.length_mm = 430", "= 420 mm"]),
    "deepest off the body": ({"heights": {"back_deepest_mm": 600}}, ["back_deepest_mm = 600", "490 mm"]),
    "no room": (
        {
            "heights": {"neck_block_mm": 20, "tail_mm": 20, "back_radius_mm": "flat", "back_radius_across_mm": 1000},
            "lining_top": {"kind": "none"}, "lining_back": {"kind": "none"},
            "top": {"braced": False}, "back": {"braced": False},
        },
        ["heights = 2 mm between top and back", "at least 10 mm"],
    ),
    "no drawing": (
        {"body": dict.fromkeys(tomllib.loads(new_sheet_text())["body"]) | {"full_outline_csv": "nowhere.csv"}},
        ["nowhere.csv: file", "No such file"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_sheets_are_told_to_the_maker(case):
    tables, words = BAD[case]
    lines = mistakes_of(**tables)
    assert len(lines) == 1, lines
    assert lines[0].startswith(("guitar.toml: ", "nowhere.csv: "))
    assert all(word in lines[0] for word in words), lines[0]


def test_all_mistakes_are_told_at_once():
    """Field mistakes, a missing measure, an unknown wood and a brace outside the body in one go."""
    lines = mistakes_of(
        top={"thickness_mm": 28, "wood": "larch"},
        back={"grain_deg": float("nan"), "thicknes_mm": 2},
        brace=[bar(to_mm=[400, 260]), bar(name="y", plate="side")],
        lining_back={"height_mm": 50},
    )
    expected = [
        "top.wood", "top.thickness_mm", "back.grain_deg", "back.thicknes_mm", "brace 2 (y).plate",
        "brace 1 (bar).to_mm", "lining_back.height_mm",
    ]  # fmt: skip
    assert len(lines) == len(expected)
    assert all(any(f" {key} " in line for line in lines) for key in expected)


def test_mistake_holds_its_parts():
    with pytest.raises(SheetError) as caught:
        built(top={"thickness_mm": 28})
    (mistake,) = caught.value.mistakes
    assert (mistake.file, mistake.key, mistake.value) == ("guitar.toml", "top.thickness_mm", "28")
    assert (mistake.allowed, mistake.hint) == ("1 to 8 mm", "did you mean 2.8?")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", ["is empty", "rimwork new"]),
        (b"# only words\n", ["is empty"]),
        (b"[body]\nlength_mm = 490,5\n", ["line 2, column 16", "length_mm = 490,5", "decimal point"]),
        (b"[body]\nlength_mm = \n", ["line 2", "TOML"]),
        (b"[body]\nlength_mm = 490\nlength_mm = 480\n", ["line 3", "only once"]),
        (b"[body\n", ["line 1", "[body"]),
        (b"\xff\xfe\x00", ["is not a text file"]),
    ],
)
def test_files_that_are_no_sheets(tmp_path, content, words):
    path = tmp_path / "sheet.toml"
    path.write_bytes(content)
    with pytest.raises(SheetError) as caught:
        read_sheet(path)
    assert len(caught.value.mistakes) == 1
    assert all(word in str(caught.value) for word in ("sheet.toml: ", *words)), str(caught.value)


def test_missing_file_and_folder(tmp_path):
    (tmp_path / "hazel.toml").write_text("")
    with pytest.raises(SheetError, match=r"hazle\.toml: file = not found.*did you mean 'hazel\.toml'\?"):
        read_sheet(tmp_path / "hazle.toml")
    with pytest.raises(SheetError, match="cannot be read"):
        read_sheet(tmp_path)


def test_self_crossing_drawing(tmp_path):
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    points = np.column_stack([250 - 240 * np.cos(angle), 180 * np.sin(2 * angle)])  # a figure of eight
    (tmp_path / "eight.csv").write_text("x_mm,y_mm\n" + "\n".join(f"{x:.3f},{y:.3f}" for x, y in points))
    body = dict.fromkeys(edited()["body"]) | {"full_outline_csv": "eight.csv"}
    lines = mistakes_of(tmp_path, body=body)
    assert len(lines) == 1
    assert "eight.csv: outline = crosses itself near x = " in lines[0]


def test_drawn_body_is_read(tmp_path):
    """A half outline drawn as half an ellipse: area pi a b."""
    angle = np.linspace(0, np.pi, 50)
    rows = "\n".join(f"{240 - 240 * np.cos(a):.4f},{180 * np.sin(a):.4f}" for a in angle)
    (tmp_path / "half.csv").write_text("x_mm,half_width_mm\n" + rows)
    body = built(tmp_path, body=dict.fromkeys(edited()["body"]) | {"half_outline_csv": "half.csv"})
    assert body.outline.area == pytest.approx(np.pi * 0.24 * 0.18, rel=1e-4)
    assert not [a for a in body.assumed if a.key.startswith("body.")]


# --- schema ---


def test_schema_lists_both_units_and_the_version():
    schema = json.loads(json.dumps(sheet_schema()))
    top = schema["$defs"]["TopTable"]["properties"]
    assert (top["thickness_mm"]["minimum"], top["thickness_mm"]["maximum"]) == (1, 8)
    assert top["thickness_in"]["maximum"] == pytest.approx(8 / 25.4)
    assert schema["properties"]["sheet_version"]["const"] == 1
    assert {"oneOf": [{"required": ["tail_mm"]}, {"required": ["tail_in"]}]} in schema["$defs"]["Heights"]["allOf"]
    assert set(schema["required"]) == {"body", "heights", "soundhole"}


# --- doming ---


@pytest.mark.parametrize("radius", [3.0, 4.5, 9.0])
def test_cap_against_the_sphere(radius):
    """The parabola's error against the sphere's sagitta R - sqrt(R^2 - r^2) is r^4 / (8 R^3), 21 um at 3 m."""
    r = np.linspace(0, 0.26, 14)
    cap = Surface(0.0, 0.0, 0.25, 1 / radius, 1 / radius)
    sagitta = radius - np.sqrt(radius**2 - r**2)
    for x, y in ((0.25 + r, 0 * r), (0.25 + 0 * r, r), (0.25 - 0.6 * r, 0.8 * r)):
        error = sagitta + surface_height(cap, x, y)
        assert error == pytest.approx(r**4 / (8 * radius**3), rel=0.02, abs=1e-12)


def test_two_heights_are_met_exactly_whatever_the_radii():
    body = built(heights={"back_radius_mm": 3800, "back_radius_across_mm": 6000, "top_radius_mm": 9000})
    assert side_height(body, 0.0, 0.0) == pytest.approx(0.112, abs=1e-12)
    assert side_height(body, 0.49, 0.0) == pytest.approx(0.095, abs=1e-12)
    z = [back_height(body, x, 0.0) for x in (0.1, 0.2, 0.3)]
    assert (z[0] - 2 * z[1] + z[2]) / 0.01 == pytest.approx(1 / 3.8, rel=1e-9)
    z = [back_height(body, 0.2, y) for y in (-0.1, 0.0, 0.1)]
    assert (z[0] - 2 * z[1] + z[2]) / 0.01 == pytest.approx(1 / 6.0, rel=1e-9)


def test_three_heights_are_fitted_and_the_exact_radius_is_told():
    """Heights of a back of 5 m radius, cut by an exact sphere; a sheet that says 3 m must be told 5 m."""
    waist = (0.298, 0.120)

    def sphere(x, y):
        return 0.12 - (5 - np.sqrt(25 - (x - 0.15) ** 2 - y**2))

    heights = {"tail_mm": 1e3 * sphere(0, 0), "waist_mm": 1e3 * sphere(*waist), "neck_block_mm": 1e3 * sphere(0.49, 0)}
    right = built(heights=heights | {"back_radius_mm": 5000})
    assert right.warnings == ()
    assert max(map(abs, dome.reconcile(right).mismatch.values())) < 1e-5
    assert dome.reconcile(right).deepest == pytest.approx(0.15, abs=1e-3)
    wrong = built(heights=heights | {"back_radius_mm": 2500})
    found = dome.reconcile(wrong)
    assert found.exact_radius == pytest.approx(5.0, rel=0.01)
    assert sum(found.mismatch.values()) == pytest.approx(0, abs=1e-9)  # least squares with a free level
    assert len(wrong.warnings) == 1
    assert "waist +" in wrong.warnings[0]
    told = re.search(r"A back radius of (\d+) mm would meet all heights", wrong.warnings[0])
    assert float(told[1]) == pytest.approx(5000, rel=0.01)


@pytest.mark.parametrize(("extra", "warned"), [(0.0, False), (1.0, False), (3.0, True)])
def test_mismatch_is_warned_of_above_one_millimetre(extra, warned):
    """A waist `extra` mm above the fitted one leaves about 0.53 of it at the waist after the fit."""
    fit = built()
    waist = 1e3 * side_height(fit, 0.298, 0.120)
    body = built(heights={"waist_mm": float(waist + extra)})
    worst = max(map(abs, dome.reconcile(body).mismatch.values()))
    assert (worst > 1e-3) is warned
    assert bool(body.warnings) is warned


def test_deepest_place_named_elsewhere_is_warned_of():
    body = built(heights={"back_deepest_mm": 298})
    assert "not at 298 mm" in body.warnings[0]
    found = dome.reconcile(body)
    line = np.linspace(0, 0.49, 491)
    depth = top_height(body, line, 0) - back_height(body, line, 0)
    assert found.deepest == pytest.approx(line[np.argmax(depth)], abs=1e-3)
    named = built(heights={"back_deepest_mm": 120})
    radius = dome.reconcile(named).radius_for_named
    met = built(heights={"back_deepest_mm": 120, "back_radius_mm": 1e3 * radius})
    assert dome.reconcile(met).deepest == pytest.approx(0.120, abs=1e-3)


def test_top_edge_lies_at_zero_on_average_and_its_crown_above():
    body = built(heights={"top_radius_mm": 9000})
    points = body.outline.points
    step = np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1)
    z = top_height(body, *((points + np.roll(points, -1, axis=0)) / 2).T)
    assert np.sum(z * step) == pytest.approx(0, abs=1e-5)
    assert top_height(body, 0.245, 0) > 1e-3


# --- figures ---


def round_body(radius, **changes):
    """A body with a circular plan, flat and parallel plates unless changed."""
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    circle = outline_from_drawing(
        np.column_stack([radius * (1 - np.cos(angle)), radius * np.sin(angle)]), is_half=False
    )
    flat = {"top_surface": Surface(0.0), "back_surface": Surface(-0.1)}
    return replace(built(neck={"included": False}), outline=circle, **(flat | changes))


def test_areas_and_air_of_a_drum():
    """Cylinder of radius 0.2 m and height 0.1 m."""
    drum = round_body(0.2)
    found, hole = areas(drum), np.pi * 0.049**2
    assert found["top"] == pytest.approx(np.pi * 0.04 - hole, rel=1e-5)
    assert found["sides"] == pytest.approx(2 * np.pi * 0.2 * 0.1, rel=1e-5)
    assert air_volume(drum) == pytest.approx(np.pi * 0.04 * 0.1, rel=1e-5)


def test_area_and_air_of_a_domed_drum():
    """Cap of base a of a sphere R: height s = R - sqrt(R^2 - a^2), area 2 pi R s, volume pi s (3 a^2 + s^2)/6."""
    a, R = 0.2, 4.0
    s = R - np.sqrt(R**2 - a**2)
    drum = round_body(a, back_surface=Surface(-0.1 - s, 0.0, a, -1 / R, -1 / R))
    assert areas(drum)["back"] == pytest.approx(2 * np.pi * R * s, rel=2e-5)
    assert air_volume(drum) == pytest.approx(np.pi * a**2 * 0.1 + np.pi * s * (3 * a**2 + s**2) / 6, rel=1e-4)


def test_a_tapered_neck_with_a_rod_by_hand():
    """Ends as the sheet says; the rod's middle half its height below its upper face; a tapered shaft's mass in closed form."""
    taper = {"width_mm": 56, "nut_width_mm": 44, "thickness_mm": 18, "nut_thickness_mm": 14, "length_mm": 350}
    body = built(
        neck={**taper, "rod": "bar", "rod_width_mm": 6, "rod_height_mm": 9, "rod_depth_mm": 1, "rod_glued": True}
    )
    neck, rod = body.neck, body.neck.rod
    assert np.array(neck.at([0.0, 0.25, 1.0])) == pytest.approx(
        np.array([[0.056, 0.053, 0.044], [0.018, 0.017, 0.014]])
    )
    assert (rod.width, rod.height, rod.depth) == pytest.approx((0.006, 0.009, 0.0055)) and rod.glued
    assert rod.area == pytest.approx(54e-6) and rod.second_moment == pytest.approx(0.006 * 0.009**3 / 12)
    plain = built(neck=taper)
    steel, wood = 7850.0, library()["honduras_mahogany"].density
    assert plain.neck.rod is None
    assert describe(body).masses["neck"] - describe(plain).masses["neck"] == pytest.approx(
        54e-6 * 0.350 * (steel - wood)
    )
    even = built(neck={**taper, "nut_width_mm": 56, "nut_thickness_mm": 18})
    # mean of width times thickness: (2 a c + a d + b c + 2 b d)/6, and of the width
    less = np.pi / 4 * 0.350 * (56 * 18 - (2 * 56 * 18 + 56 * 14 + 44 * 18 + 2 * 44 * 14) / 6) * 1e-6 * wood
    less += 0.350 * 0.006 * 0.006 * library()["indian_rosewood"].density
    assert describe(even).masses["neck"] - describe(plain).masses["neck"] == pytest.approx(less)
    thick = built(neck={"rod": "round", "rod_width_mm": 5, "thickness_mm": 18}).neck.rod
    assert thick.area == pytest.approx(np.pi * 0.0025**2) and thick.depth == pytest.approx(0.0025)
    assert thick.second_moment == pytest.approx(np.pi * 0.0025**4 / 4) and not thick.glued


def test_masses_by_hand():
    woods = library()
    body = built(
        brace=[bar(ends={"kind": "free", "taper_mm": 40, "height_mm": 4})], back={"braced": False},
        bridge={"length_mm": 160, "width_mm": 30, "thickness_mm": 8}, side_bars={"places_mm": [138]},
        neck={"length_mm": 350, "width_mm": 50, "thickness_mm": 16, "fingerboard_thickness_mm": 6, "head_mass_g": 350,
              "heel_depth_mm": 86, "heel_length_mm": 36, "tongue_mm": 80},
        neck_block={"cut_width_mm": 20, "cut_depth_mm": 15, "cut_height_mm": 70}, tail_block={"hole_mm": 12},
    )  # fmt: skip
    found = describe(body).masses
    spruce, rosewood = woods["sitka_spruce"].density, woods["indian_rosewood"].density
    mahogany = woods["honduras_mahogany"].density
    # 260 mm long, 14 high, two ends of 40 mm falling to 4: 260 x 14 - 2 x 40 x 10 / 2 = 3240 mm2, 8 mm wide
    assert found["top_braces"] == pytest.approx(3240e-6 * 8e-3 * spruce)
    assert found["bridge"] == pytest.approx(0.160 * 0.030 * 0.008 * rosewood)
    assert found["neck_block"] == pytest.approx((0.080 * 0.045 * 0.095 - 0.020 * 0.015 * 0.070) * mahogany)
    assert found["tail_block"] == pytest.approx((0.080 * 0.112 - np.pi * 0.006**2) * 0.020 * mahogany)
    # a half-elliptic shaft, fingerboard with tongue, half the heel's box below the shaft, the tenon in the block's cut
    shaft, board = np.pi / 4 * 0.350 * 0.050 * 0.016 * mahogany, 0.430 * 0.050 * 0.006 * rosewood
    heel = (0.050 * 0.036 * 0.070 / 2 + 0.020 * 0.015 * 0.070) * mahogany
    assert found["neck"] == pytest.approx(shaft + board + heel + 0.350)
    height = side_height(body, 0.138, 0.19) - 0.030
    assert found["side_bars"] == pytest.approx(2 * 0.010 * 0.0025 * height * spruce, rel=1e-6)
    assert "back_braces" not in found
    assert describe(body).total == pytest.approx(sum(found.values()))


def test_lining_mass_of_a_drum():
    """A ring from radius R - t/2 - w to R - t/2, less two blocks of 80 mm; one cut of 1 mm in 8 leaves 1.2 mm of 6."""
    drum = round_body(0.2)
    wood = library()["honduras_mahogany"]
    solid = Lining("solid_laminated", 6e-3, 15e-3, wood, laminations=3, lamination_thickness=2e-3)
    outer = 0.2 - drum.side_thickness / 2
    ring = np.pi * (outer**2 - (outer - 6e-3) ** 2) - 0.160 * 6e-3
    assert lining_mass(drum, solid) == pytest.approx(ring * 15e-3 * wood.density, rel=1e-4)
    kerfed = Lining("kerfed", 6e-3, 15e-3, wood, 8e-3, 1e-3, 1.2e-3)
    assert lining_mass(drum, kerfed) / lining_mass(drum, solid) == pytest.approx(1 - (1 / 8) * (4.8 / 6))


def test_bending_strain_of_each_layer():
    """The inner layer of 1.4 mm bends round 200 - 1.1 - 0.7 mm; of a single side the outline is its own middle."""
    drum = round_body(0.2)
    doubled = replace(drum, sides=(drum.sides[0], replace(drum.sides[0], thickness=1.4e-3)))
    outer, inner = bends(doubled)
    assert (outer.radius, inner.radius) == pytest.approx((0.2, 0.1982), rel=5e-3)
    assert outer.radius - inner.radius == pytest.approx(1.8e-3, rel=1e-6)
    assert (outer.strain, inner.strain) == pytest.approx((2.2 / 400, 1.4 / 396.4), rel=5e-3)  # the curve drawn


def test_inner_layer_bends_wider_round_a_hollow_waist():
    """Where the rim is hollow the inner layer lies outside of the bend."""
    body = built(body={"waist_width_mm": 130, "waist_place_mm": 290}, soundhole={"diameter_mm": 60})
    thick = replace(body, sides=(body.sides[0], replace(body.sides[0], thickness=4e-3)))
    outer, inner = bends(thick)
    _, radius = bend_radius(body.outline)
    assert radius[np.argmin(abs(radius))] < 0  # the waist is the tightest place
    assert outer.radius == pytest.approx(-radius[radius < 0].max(), rel=1e-6)
    hollow, bout = -radius[radius < 0].max() + 3.1e-3, radius[radius > 0].min() - 3.1e-3
    assert inner.radius == pytest.approx(min(hollow, bout), rel=1e-6)


# --- drawing ---


def test_drawing_is_to_scale(tmp_path):
    """The bar of 100 mm measures 50 mm in the file at a scale of one half (1 pt = 25.4/72 mm)."""
    (path,) = draw_plan(read_sheet(BODIES / "hazel.toml"), tmp_path / "hazel.svg", scale=0.5)
    text = path.read_text()
    lines = re.findall(r"M ([\d.]+) ([\d.]+) \nL ([\d.]+) ([\d.]+) \n\"", text)
    level = [abs(float(x1) - float(x0)) for x0, y0, x1, y1 in lines if y0 == y1]
    assert min(abs(run - 50 / 25.4 * 72) for run in level) < 1e-3
    assert "Hazel: top, seen from the front" in text


@pytest.mark.parametrize("ending", ["pdf", "png"])
def test_drawing_in_other_formats(tmp_path, ending):
    (path,) = draw_plan(read_sheet(BODIES / "linnet.toml"), tmp_path / f"linnet.{ending}", scale=0.2)
    assert path.stat().st_size > 5000


def test_drawing_refuses_other_endings(tmp_path):
    with pytest.raises(ValueError, match=r"cannot draw a '\.dwg' file; expected one of \.svg, \.pdf, \.png"):
        draw_plan(read_sheet(BODIES / "linnet.toml"), tmp_path / "linnet.dwg")
