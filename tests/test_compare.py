"""Sheets beside each other: what differs in words, modes paired across meshes, what can be told, and one comparison as a whole."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import box_cases as cases
import numpy as np
import pytest

from fem.eigen import modes
from fem.model import assemble, weights
from fem.strings import Pluck
from fem.woods import library
from meshes.build import mesh_body
from meshes.parts import sections
from meshes.sheet import body_of
from meshes.sheet_strings import Strung
from meshes.string_sets import string_set
from studies.common.inputs import BadInput
from studies.compare.differences import differences
from studies.compare.first_screen import word_of
from studies.compare.likeness import likeness, outward_motion, pairs_by_likeness, places_weight
from studies.compare.question import compare_sheets
from studies.compare.result import Figure
from studies.compare.words import difference
from studies.notes.listen import Heard
from studies.rim.result import SUPPORT_CONDITIONS
from studies.sustain.thresholds import MEASURES
from studies.sustain.verdict import judged

# --- in words ---


def medlar(change=lambda raw: None):
    """Body of the sheet after change(its tables)."""
    raw = tomllib.loads((cases.BODIES / "medlar.toml").read_text(encoding="utf-8"))
    change(raw)
    return body_of(raw, "medlar.toml", cases.BODIES, library())


def lower_brace(raw):
    next(b for b in raw["brace"] if b["name"] == "upper bar")["height_mm"] = 11


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (lower_brace, "upper bar: height 13 -> 11 mm"),
        (lambda raw: raw["top"].update(wood="engelmann_spruce"), "top: wood sitka spruce -> engelmann spruce"),
        (lambda raw: raw["soundhole"].update(diameter_mm=96), "soundhole: radius 50 -> 48 mm"),
        (lambda raw: raw["bridge"].update(mass_g=30), "bridge: wood (indian rosewood): density +11.1 %"),  # 30/27
        (lambda raw: raw["back"].update(grain_deg=2), "back: grain angle 0 -> 2 degrees"),
        (lambda raw: raw["brace"].pop(3), "slant 1: gone"),
        (lambda raw: raw["heights"].update(tail_mm=118), "height of the side: at tail 116 -> 118 mm"),
        (lambda raw: raw["lining_top"].update(kind="reversed_kerfed"), "kind kerfed -> reversed kerfed"),
    ],
)
def test_a_change_is_told_in_the_makers_words(change, line):
    assert any(line in told for told in differences(medlar(), medlar(change)))


def test_parts_that_change_alike_share_a_line():
    both = lambda raw: [brace.update(width_mm=9) for brace in raw["brace"] if brace["name"].startswith("cross")]
    (line,) = differences(medlar(), medlar(both))
    assert line.startswith("cross bass, cross treble: width 8 -> 9 mm")


def test_the_same_sheet_in_inches_differs_in_nothing():
    def inches(raw):
        raw["top"]["thickness_in"] = raw["top"].pop("thickness_mm") / 25.4
        raw["name"] = "Another name"

    assert differences(medlar(), medlar(inches)) == []


# --- likeness ---


@pytest.fixture(scope="module")
def box(tmp_path_factory):
    return cases.oval(tmp_path_factory.mktemp("oval"))


def test_rigid_motions_come_out_exactly(box):
    """Up: the top moves outward, the back inward; turning about the length: by the place across. By hand."""
    space = assemble(mesh_body(box, 0.06)).space
    up, turned = np.zeros((2, len(space.points), 6))
    up[:, 2] = 1.0
    turned[:, :3], turned[:, 3] = np.cross([1.0, 0, 0], space.points), 1.0
    found = outward_motion(box, space, np.column_stack([up.ravel(), turned.ravel()]))
    n = len(found) // 2
    assert found[:n, 0] == pytest.approx(1) and found[n:, 0] == pytest.approx(-1)
    assert np.ptp(found[:n, 1]) == pytest.approx(np.ptp(found[n:, 1]), rel=1e-6)
    assert found[:n, 1] == pytest.approx(-found[n:, 1], abs=1e-9)


def similar(body, times):
    """The body with every length multiplied."""

    def longer(value, name=""):
        if isinstance(value, float) and name not in SHARES:
            return value / times if name in ("along", "across") else value * times
        if isinstance(value, tuple):
            return tuple(longer(v, name) for v in value)
        if isinstance(value, np.ndarray):
            return value * times
        if hasattr(value, "__dataclass_fields__") and type(value).__name__ not in ("Wood", "Form"):
            return replace(value, **{key: longer(getattr(value, key), key) for key in value.__dataclass_fields__})
        return value

    parts = ("outline", "heights", "top_surface", "back_surface", "back_deepest", "soundhole", "top", "back", "sides", "bridge", "joint_top",
             "joint_back", "neck_block", "tail_block", "side_bars", "lining_top", "lining_back")  # fmt: skip
    return replace(body, **{key: longer(getattr(body, key), key) for key in parts})


SHARES = ("slope", "grain_angle", "loss", "glue_shear")


def test_a_larger_body_of_the_same_shape_has_the_same_modes(box):
    """Geometric similarity: all lengths 1.2 times, the same woods: every frequency over 1.2, the same shapes. On other edges."""
    found = []
    for body, size in ((box, 0.06), (similar(box, 1.2), 0.055)):
        model = assemble(mesh_body(body, size))
        solved = modes(model, weights(sections(body)), 10)
        found.append((solved.frequency, outward_motion(body, model.space, solved.shape), places_weight(body)))
    (f, a, wa), (g, b, wb) = found
    partner, alike = pairs_by_likeness(a[:, :6], b, (wa, wb))
    assert (partner >= 0).all() and alike.min() > 0.9
    assert g[partner] * 1.2 == pytest.approx(f[:6], rel=0.02)  # 2 %: edges of 60 mm on one, of 46 mm on the other


def test_likeness_is_one_of_a_shape_with_itself_turned_and_none_of_square_ones():
    a = np.array([[1, 1], [1, -1], [2, 0.0]])
    found = likeness(1j * a, 3 * a, np.array([1.0, 1.0, 0.0]))
    assert found == pytest.approx(np.eye(2))


# --- what can be told ---


@pytest.mark.parametrize(
    ("other", "told"), [(100.51, "+0.51 ± 0.50 Hz"), (99.51, "cannot tell"), (100.0, "none"), (None, "–")]
)
def test_a_difference_within_both_errors_cannot_be_told(other, told):
    """Errors of .3 and .4: together .5, a right triangle's long side."""
    assert difference(Figure("tap", "f", "F", "Hz", 2, (100.0, other), (0.3, 0.4)), 1) == told


def pair(ratios, doubt):
    """A study of two sheets whose notes differ by ratios {measure's key}, each in doubt by so many per cent either way."""
    each = lambda key: judged(
        ratios.get(key, 1.0), {"mesh": tuple(ratios.get(key, 1.0) * (1 + s * doubt) for s in (-1, 1))}, key
    )
    found = {(how, m.key): each(m.key) for how in SUPPORT_CONDITIONS for m in MEASURES}
    return SimpleNamespace(noted=SimpleNamespace(judged=(found,)))


@pytest.mark.parametrize(
    ("ratios", "doubt", "word"),
    [
        ({}, 0.01, "no audible difference"),
        ({}, 0.10, "cannot tell"),  # early decay is heard from 5 % on
        ({"first_radiated": 10**0.2}, 0.01, "audible difference"),  # 2 dB, twice what is heard
        ({"first_radiated": 10**0.2}, 0.40, "cannot tell"),
        ({"decay_time": 1.3}, 0.01, "no audible difference"),  # not heard up to 40 % longer
    ],
)
def test_the_word_follows_the_rule(ratios, doubt, word):
    """docs/verdict.md, with the thresholds of its table."""
    assert word_of(pair(ratios, doubt), 1) == word


# --- as a whole ---


def test_sheets_of_one_name_or_alone_are_refused(tmp_path):
    sheet = cases.oval_sheet(tmp_path)
    with pytest.raises(BadInput, match="expected 2 to 6"):
        compare_sheets([sheet], tmp_path / "out")
    with pytest.raises(BadInput, match="different names"):
        compare_sheets([sheet, sheet], tmp_path / "out")


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    """(folder, printed text) of an oval box beside itself under another name and beside one with a heavier bridge."""
    folder = tmp_path_factory.mktemp("compared")
    own = cases.oval_sheet(folder)
    text = own.read_text()
    (folder / "twin.toml").write_text(text)
    (folder / "heavy.toml").write_text(text + "\n[bridge]\nmass_g = 120\n")
    sheets = [own, folder / "twin.toml", folder / "heavy.toml"]
    return folder, compare_sheets(sheets, folder / "out" / "all", 60, 6, 0, at_rest=False)


@pytest.mark.slow  # two boxes in three spaces each, with air
def test_a_twin_differs_in_nothing_and_a_heavy_bridge_by_its_weight(compared):
    folder, text = compared
    assert max(map(len, text.split("\nwrote ")[0].splitlines())) <= 100
    found = json.loads((folder / "out" / "all" / "compare.json").read_text(encoding="utf-8"))
    assert found["differences"]["twin"] == ["nothing that is computed"]
    assert found["differences"]["heavy"][0].startswith("bridge: wood")
    of = lambda sheet, key: next(f for f in found["figures"] if f["sheet"] == sheet and f["figure"] == key)
    assert {f["difference"] for f in found["figures"] if f["sheet"] == "twin"} == {0.0}
    assert all(m["assurance"] > 0.999 and m["partner"] == m["mode"] for m in found["modes"] if m["sheet"] == "twin")
    assert next(lane["word"] for lane in found["first_screen"]["builds"]) == "no audible difference"
    whole = of("heavy", "whole guitar without strings")
    bridge = next(
        f["value"] for f in found["figures"] if f["sheet"] == "oval" and f["figure"] == "top with braces and bridge"
    )
    assert whole["told_apart"] and whole["difference"] == pytest.approx(
        of("heavy", "top with braces and bridge")["value"] - bridge
    )
    assert len(list((folder / "out" / "kept").glob("dry-*.npz"))) == 6  # the twin was not solved again
    assert {"schema_version", "model", "first_screen", "assumed", "provenance"} <= set(found)
    page = (folder / "out" / "all" / "index.html").read_text(encoding="utf-8")
    assert "What differs between the sheets" in page and "cannot tell" in page
    assert Path(folder / "out" / "all" / "compare.csv").is_file()


def test_each_guitar_sounds_with_its_own_strings_up_to_where_both_answer(monkeypatch):
    """Band and items are of both; the second guitar's strings bear the first one's names."""
    from studies.compare import sounds

    asked = []

    def of_one(heard, strings, pluck, wanted):
        (one,) = heard
        asked.append((one.valid_to, [s.name for s in strings], [s.mass for s in strings], pluck))
        items = ["E2-open", "phrase"] if len(asked) == 1 else ["phrase"]
        return {item: {one.build.name: np.ones(3)} for item in items}, [] if len(asked) == 1 else ["E2-open"]

    monkeypatch.setattr(sounds, "sounds", of_one)
    heard = [Heard(SimpleNamespace(name=n), None, None, top, {}) for n, top in (("a", 900.0), ("b", 800.0))]
    steel, nylon = (Strung(string_set(name), Pluck(), ()) for name in ("steel", "nylon"))
    signals, left_out = sounds.sounds_of_both(heard, (steel, nylon))
    assert set(signals) == {"phrase"} and set(signals["phrase"]) == {"a", "b"} and left_out == ["E2-open"]
    assert [top for top, *_ in asked] == [800.0, 800.0]
    assert asked[0][1] == asked[1][1] and asked[0][2] != asked[1][2]
