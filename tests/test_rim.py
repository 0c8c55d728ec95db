"""The rim study on a coarse oval box: builds, pairing, stored rows, page and tables; and its mesh error on the example."""

import csv
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import box_cases as cases
import numpy as np
import pytest

from fem.mesh import part_of
from fem.model import assemble
from meshes.measured import Measured
from meshes.parts import RIM, sections
from meshes.sheet import read_sheet
from studies.common import system_check
from studies.common.box_measures import surface_spot
from studies.common.builds import STIFFENED, builds, complete_linings
from studies.common.kept import fingerprint
from studies.common.measured import beside
from studies.common.mesh_error import ELEMENTS, LONGER, difference_error, mesh_error, rim_grams
from studies.common.pairing import paired
from studies.common.progress import Progress, duration
from studies.drawing import perspective
from studies.measured.solve import computed_for
from studies.rim import dry_page
from studies.rim import question as rim
from studies.rim.dry import saddle_impulse_response
from studies.rim.dry_page import per_mode, write_report
from studies.rim.dry_screen import ENDS, ring_screen
from studies.rim.dry_words import LABEL, headline, paragraph, summary_text
from studies.solved import dry as solved_dry
from studies.solved.dry import SPARE, solve_dry, stored_row

COUNT, SIZE = 6, 0.06


def quiet():
    return Progress(1, io.StringIO())


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("rim")


@pytest.fixture(scope="module")
def body(folder):
    return cases.oval(folder)


@pytest.fixture(scope="module")
def study(body, folder):
    return rim.compare_dry(body, SIZE, COUNT, folder / "rows", quiet())


@pytest.fixture(scope="module")
def row(study):
    """{name: Row} on the finer mesh."""
    return {c.row.build.name: c.row for c in study.comparisons}


@pytest.fixture(scope="module")
def written(study, folder):
    return write_report(study, folder, pictures=False)


# --- builds ---


def test_rows_are_those_asked_for(row):
    assert list(row) == ["sheet", "reversed_kerfed", "solid_laminated", "solid_trimmed", "doubled_sides", "stiff_limit"]
    assert [r.build.is_base for r in row.values()] == [True] + 5 * [False]
    assert "cannot be built: real weight" in row["stiff_limit"].build.note


def test_each_build_changes_one_thing(body):
    """Sections of everything but the linings and the springs of their corners (and, for doubled sides, the sides) stay those of
    the sheet; the plates' lands too. Where a lining ends at a block, the block's edge there yields otherwise.
    """
    full, _ = complete_linings(body)
    base = sections(full)
    for build in builds(full)[1:]:
        regions = {region for region, s in build.sections().items() if s != base[region]}
        corners = {r for r in regions if part_of(r).startswith("joint") or "corner" in r}
        edges = {r for r in regions if r.endswith(("block/edge_top", "block/edge_back"))}
        changed = {part_of(region) for region in regions - corners - edges}
        assert not any(region.endswith("/land") for region in regions)
        if build.name == "doubled_sides":
            assert changed == {"sides", "lining_top", "lining_back", "neck_block", "tail_block"}  # those further in
        elif build.name == "stiff_limit":
            assert changed <= set(STIFFENED) and "sides" in changed
        else:
            assert changed == {"lining_top", "lining_back"} and corners


def test_doubled_sheet_is_compared_with_single_sides():
    linnet = cases.example("linnet")
    full, _ = complete_linings(linnet)
    by_name = {b.name: b for b in builds(full)}
    assert "doubled_sides" not in by_name and by_name["single_sides"].body.sides == linnet.sides[:1]
    assert {"kerfed", "reversed_kerfed", "solid_laminated"} <= set(by_name)  # its own linings are of two kinds


def test_missing_measures_are_assumed_and_said(folder):
    bare = cases.oval(folder, lining_top={"kind": "none"}, lining_back={"kind": "solid_laminated"})
    full, assumed = complete_linings(bare)
    told = [a.key for a in assumed]
    assert {"lining_top, width", "lining_top, wood", "lining_back, kerf width"} <= set(told)
    assert "lining_back, width" not in told and full.lining_back.width == bare.lining_back.width
    for build in builds(full):
        assert set(build.sections()) == set(sections(full))


# --- weights ---


def test_trimmed_solid_lining_weighs_what_the_kerfed_one_weighs(row):
    for part in ("lining_top", "lining_back"):
        assert row["solid_trimmed"].mass[part] == pytest.approx(row["sheet"].mass[part], rel=1e-9)
        assert row["solid_laminated"].mass[part] > 1.05 * row["sheet"].mass[part]
    assert rim_grams(row["solid_trimmed"]) == pytest.approx(rim_grams(row["sheet"]), rel=1e-9)


def test_doubled_sides_add_the_sides_weight(row):
    base, doubled = row["sheet"], row["doubled_sides"]
    assert doubled.mass["sides"] == pytest.approx(2 * base.mass["sides"], rel=1e-9)
    assert rim_grams(doubled) - rim_grams(base) == pytest.approx(1e3 * base.mass["sides"], rel=1e-6)


def test_stiff_limit_keeps_the_weight_and_turns_less_heat_in_the_rim(row):
    base, limit = row["sheet"], row["stiff_limit"]
    assert limit.mass == pytest.approx(base.mass, rel=1e-12)
    heat = [sum(saddle_impulse_response(r, COUNT).heat.get(part, 0) for part in RIM) for r in (base, limit)]
    assert heat[1] < 0.5 * heat[0]


def test_rim_weighs_the_sum_of_its_parts(row):
    base = row["sheet"]
    by_hand = sum(m for part, m in base.mass.items() if part not in ("top", "back", "bridge"))
    assert rim_grams(base) == pytest.approx(1e3 * by_hand, rel=1e-12)


# --- energies, pairing ---


def test_shares_sum_to_one_in_every_row(row):
    for r in row.values():
        for shares in (r.split.strain_share, r.split.kinetic_share, r.split.dissipated_share):
            assert sum(shares.values()) == pytest.approx(np.ones(COUNT + 6), abs=1e-12)


def test_joints_hold_in_every_row(row):
    """Joints are taken as stiff: they store next to nothing in the sheet's build."""
    joints = sum(row["sheet"].split.strain_share[f"joint_{plate}"] for plate in ("top", "back"))
    assert (joints[:COUNT] < 0.02).all()


def test_sheets_modes_are_their_own_partners(study):
    base = study.comparisons[0]
    assert np.array_equal(base.partner, np.arange(COUNT))
    assert base.match == pytest.approx(np.ones(COUNT), abs=1e-6)


def test_stiffer_linings_never_lower_a_frequency_of_equal_weight(row):
    """Rayleigh: more stiffness and the same mass raise every frequency; order by order, not pair by pair."""
    assert (row["stiff_limit"].found.frequency >= row["sheet"].found.frequency - 1e-6).all()


def test_pairing_finds_swapped_modes():
    """A permuted identity with a third row that resembles nothing."""
    criterion = np.array([[0.1, 0.9, 0.0], [0.95, 0.05, 0.1], [0.1, 0.2, 0.3]])
    partner, match = paired(criterion)
    assert partner.tolist() == [1, 0, -1]
    assert match.tolist() == [0.9, 0.95, 0.3]


def test_tap_of_separate_modes_is_their_sum(row):
    """Where no two modes lie close, the split is the sum over modes, each by its motion at the saddle; 2 %: they overlap a little."""
    base = row["sheet"]
    w = base.bridge[:COUNT] ** 2
    heat = sum(base.split.dissipated_share[part] for part in RIM if part in base.split.dissipated_share)[:COUNT]
    found = saddle_impulse_response(base, COUNT)
    assert sum(found.heat.values()) == pytest.approx(1, abs=1e-6)
    assert sum(found.heat.get(part, 0) for part in RIM) == pytest.approx(np.sum(w * heat) / w.sum(), rel=0.02)


def test_bridge_motion_is_that_of_the_top_at_the_saddle(study, row):
    """At the saddle's middle itself, which lies on no node."""
    space, shape = study.space, row["sheet"].found.shape
    place = np.array([study.body.bridge.saddle_x, study.body.bridge.centre[1]])
    assert np.hypot(*(space.points[space.nodes_of("top"), :2] - place).T).min() > 1e-3
    spot = surface_spot(space, space.mesh.surfaces["top"].triangles, *place)
    assert row["sheet"].bridge == pytest.approx(spot.shares @ shape[6 * spot.nodes + 2], rel=1e-4)


def test_measured_stands_beside_what_is_computed_on_the_mesh_asked_for(study, folder, tmp_path, monkeypatch):
    sheet = cases.oval_sheet(tmp_path, measured={"sides_g": 310, "top_tap_hz": [98]})
    monkeypatch.setattr(rim, "compare_dry", lambda *_: study)
    monkeypatch.setattr(rim, "write_pages", lambda found, *_: found)
    told = rim.compare_rims(sheet, tmp_path / "out", 1e3 * SIZE, COUNT, air=False).dry.measured
    body = read_sheet(sheet)
    assert told == tuple(beside(body.measured, computed_for(body, body.measured, SIZE)))
    assert told != tuple(beside(body.measured, computed_for(body, body.measured, 0.9 * SIZE)))


def test_counterfactual_is_the_loss_that_is_left(study, row):
    """Without loss in the rim, each mode's eta falls by the rim's share of its heat: ring times w/(eta omega) before and after.

    2 %: modes overlap a little.
    """
    base = row["sheet"]
    heat = sum(base.split.dissipated_share[part] for part in RIM if part in base.split.dissipated_share)[:COUNT]
    rate = base.split.loss_factor[:COUNT] * base.found.frequency[:COUNT]
    w = base.bridge[:COUNT] ** 2
    by_hand = np.sum(w / (rate * (1 - heat))) / np.sum(w / rate) - 1
    assert headline(study)[0]["no_loss_gain"] == pytest.approx(by_hand, rel=0.02)


# --- stored rows ---


def test_second_run_reads_the_stored_rows(study, body, folder, monkeypatch):
    def forbidden(*_):
        raise AssertionError("solved again")

    monkeypatch.setattr(solved_dry, "solve_dry", forbidden)
    monkeypatch.setattr(solved_dry, "solve_richer", forbidden)
    again = rim.compare_dry(body, SIZE, COUNT, folder / "rows", quiet())
    for a, b in zip(study.comparisons, again.comparisons):
        assert np.array_equal(a.row.found.frequency, b.row.found.frequency)
        assert np.array_equal(a.partner, b.partner)
        assert a.row.mass == b.row.mass
    assert headline(study) == headline(again)


@pytest.mark.slow
def test_rows_of_a_longer_solution_serve_this_study_too(study, body, folder):
    """With more modes solved for and stored, the first ones and all that is told of a tap stay what they were."""
    more = rim.compare_dry(body, SIZE, COUNT, folder / "longer", quiet(), COUNT + 12)
    for a, b in zip(study.comparisons, more.comparisons):
        assert b.row.found.shape.shape == a.row.found.shape.shape and len(b.row.split.loss_factor) == COUNT + SPARE
        assert b.row.found.frequency[:COUNT] == pytest.approx(a.row.found.frequency[:COUNT], rel=1e-6)
        assert b.row.losses["sides"].shape == (COUNT + SPARE,) * 2
    for a, b in zip(headline(study), headline(more)):
        assert b["heat"] == pytest.approx(a["heat"], rel=1e-3) and b["stored"] == pytest.approx(a["stored"], rel=1e-3)


def equal(a, b):
    """Whether two rows are the same to the bit; a row cut to its first modes has no attachment mode."""
    mine, other = ({k: v for k, v in solved_dry.pack(row).items() if k != "modes/attachment"} for row in (a, b))
    return mine.keys() == other.keys() and all(np.array_equal(v, other[k]) for k, v in mine.items())


def stored(build, level, folder):
    """(Row, whether it was solved)."""
    solved = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(solved_dry, "solve_dry", lambda *given: solved.append(given) or solve_dry(*given))
        return stored_row(build, replace(level, store=folder)), bool(solved)


@pytest.mark.parametrize("place", [0.1, 0.5, 0.9])
def test_a_damaged_row_is_told_and_solved_again(study, tmp_path, capsys, place):
    base = study.comparisons[0].row
    assert equal(stored(base.build, study.levels[2], tmp_path)[0], study.own[2])
    (file,) = tmp_path.glob("dry-*.npz")
    data = bytearray(file.read_bytes())
    data[int(place * len(data))] ^= 8
    file.write_bytes(data)
    row, solved = stored(base.build, study.levels[2], tmp_path)
    assert solved and equal(row, study.own[2])
    assert f"{file}: damaged" in capsys.readouterr().err


def test_kept_row_of_another_mesh_is_not_used(study, folder):
    """Rows hold one number per unknown: on a mesh of another size they must be computed anew, not read."""
    base, level = study.comparisons[0].row, study.levels[2]
    assert not stored(base.build, level, folder / "rows")[1]
    model = level.model
    mesh = model.space.mesh
    other = assemble(replace(mesh, nodes=mesh.nodes * (1 + 1e-9)), model.space.element)
    assert stored(base.build, replace(level, model=other), folder / "rows")[1]
    assert stored(base.build, replace(level, model=assemble(mesh)), folder / "rows")[
        1
    ]  # cubic elements on the same mesh


def test_words_and_measurements_do_not_change_a_kept_row(study, folder):
    """So that all commands share the rows of a sheet: each adds assumptions of its own to the body."""
    build = study.comparisons[0].row.build
    told = replace(build.body, name="x", assumed=(*build.body.assumed, build.body.assumed[0]), warnings=("mind",))
    other = replace(build, label="other words", body=told)
    row, solved = stored(other, study.levels[0], folder / "rows")
    assert not solved and row.build is other
    thicker = replace(build, body=replace(build.body, top=replace(build.body.top, thickness=0.0031)))
    assert stored(thicker, study.levels[2], folder / "rows")[1]


@pytest.mark.parametrize(
    ("change", "words"),
    [(lambda m: replace(m, frequency=-m.frequency), "frequency of .*expected above 0"),
     (lambda m: replace(m, frequency=m.frequency[::-1]), "not in order"), (lambda m: replace(m, shape=m.shape * np.nan), "not finite")],
)  # fmt: skip
def test_a_row_out_of_range_gives_no_figure(study, tmp_path, change, words):
    base = study.comparisons[0].row
    wrong = replace(base, found=change(base.found))
    with pytest.MonkeyPatch.context() as patch, pytest.raises(ArithmeticError, match=words):
        patch.setattr(solved_dry, "solve_dry", lambda *_: wrong)
        stored_row(base.build, replace(study.levels[0], store=tmp_path))
    assert not list(tmp_path.iterdir())


def test_shares_that_do_not_sum_to_one_give_no_figure(study):
    base = study.comparisons[0].row
    split = replace(
        base.split, dissipated_share={**base.split.dissipated_share, "top": base.split.dissipated_share["top"] + 1e-4}
    )
    with pytest.raises(ArithmeticError, match=r"miss a sum of 1 by 0\.0001"):
        solved_dry.check(replace(base, split=split))


def test_key_depends_on_everything_in_the_body(body):
    full, _ = complete_linings(body)
    base = builds(full)[0]
    key = fingerprint(base)
    assert key == fingerprint(builds(complete_linings(body)[0])[0])
    thicker = replace(full, top=replace(full.top, thickness=full.top.thickness + 1e-5))
    wood = replace(full, back=replace(full.back, wood=replace(full.back.wood, loss_G=0.5)))
    moved = full.outline.points.copy()
    moved[7, 1] += 1e-6
    shape = replace(full, outline=replace(full.outline, points=moved))
    others = [fingerprint(replace(base, body=b)) for b in (thicker, wood, shape)] + [
        fingerprint(replace(base, stiffness=2.0))
    ]
    assert len({key, *others}) == 5


def test_fingerprint_tells_alike_values_apart():
    values = [
        1,
        1.0,
        True,
        "1",
        (1,),
        (1, 1),
        ((1,), 1),
        {"a": 1},
        {"a": 1.0},
        np.array([1.0]),
        np.array([1]),
        None,
        "None",
    ]
    assert len({fingerprint(v) for v in values}) == len(values)
    assert fingerprint({"a": 1, "b": 2}) == fingerprint({"b": 2, "a": 1})
    assert fingerprint("ab", "c") != fingerprint("a", "bc")
    with pytest.raises(TypeError):
        fingerprint(object())


# --- page, tables ---


class Checked(HTMLParser):
    """Fails on tags that close in the wrong order."""

    VOID = ("meta", "img", "br", "link", "hr", "input")

    def __init__(self):
        super().__init__()
        self.open, self.seen, self.words = [], [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append(tag)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, f"</{tag}> at {self.getpos()}"

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def page(written):
    parser = Checked()
    parser.feed(written[0].read_text(encoding="utf-8"))
    parser.close()
    return parser


def test_page_is_well_formed(page):
    assert page.open == []
    assert {"html", "head", "title", "body", "table", "ul"} <= set(page.seen)


def test_label_and_both_bars_stand_on_the_page(study, page):
    words = " ".join(" ".join(page.words).split())
    assert LABEL in words and LABEL in summary_text(study)
    assert "model error is not known" in words and "model error is not known" in summary_text(study)
    assert "cannot be built: real weight" in words
    assert words.index("heat turned in the rim") < words.index("energy stored in the rim")
    for row in headline(study):
        assert row["label"] in words


def test_no_word_takes(study, written):
    """Energy stored comes back; energy turned to heat does not. 'Takes' would blur the two."""
    for text in (summary_text(study), *(file.read_text(encoding="utf-8") for file in written)):
        assert not re.search(r"\btakes\b", text, re.IGNORECASE)


def test_json_holds_every_build_and_mode(study, written):
    data = json.loads(written[2].read_text(), parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))
    assert data["schema_version"] == 2 and data["model"] == "dry" and data["label"] == LABEL
    assert data["model_error"] == "not known"
    assert [b["name"] for b in data["builds"]] == [c.row.build.name for c in study.comparisons]
    assert len(data["modes"]) == COUNT * len(data["builds"])
    for build in data["builds"]:
        total = np.sum(list(build["strain_energy_share"].values()), axis=0)
        assert total == pytest.approx(np.ones(COUNT + 6), abs=1e-12)
        for key in ("heat", "stored", "no_loss_gain", "ring_time"):
            assert np.isfinite(build[key]) and build[f"{key}_error"] >= 0
    told = data["provenance"]
    assert told["mesh_size_mm"] == pytest.approx([60, 120]) and len(told["unknowns"]) == 3 and told["scikit-fem"]
    assert data["assumed"] and data["not_modelled"]


def test_csv_says_what_the_json_says(written):
    with written[1].open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    modes = json.loads(written[2].read_text())["modes"]
    assert len(rows) == len(modes) and list(rows[0]) == list(modes[0])
    for row, mode in zip(rows, modes):
        assert row["build"] == mode["build"] and int(row["mode"]) == mode["mode"]
        assert row["frequency_hz"] == ("" if mode["frequency_hz"] is None else str(mode["frequency_hz"]))


def test_per_mode_figures_by_hand(study, row):
    base = [m for m in per_mode(study) if m["build"] == "sheet"]
    richer, longer = (row.found.frequency for row in study.own[1:])
    for k, m in enumerate(base):
        assert m["shift_percent"] == 0
        assert m["frequency_hz"] == row["sheet"].found.frequency[k]
        q, r = (partner[k] for partner in study.followed.partner)
        by_hand = ELEMENTS * abs(m["frequency_hz"] - richer[q]) + LONGER * abs(richer[q] - longer[r])
        assert m["frequency_error_hz"] == (pytest.approx(by_hand) if study.followed.seen[k] else None)
    assert study.followed.seen.sum() >= COUNT - 1
    for m in per_mode(study):
        if m["frequency_hz"] is not None:
            f = base[m["mode"] - 1]["frequency_hz"]
            assert m["frequency_hz"] == pytest.approx(f * (1 + m["shift_percent"] / 100), rel=1e-12)
            assert m["loss_factor_rim_without_loss"] < m["loss_factor"]


def test_shift_errors_are_of_what_the_builds_do_not_share(study):
    """Of the base itself none; elsewhere what the other spaces make of the shift."""
    rows = list(per_mode(study))
    own = [m for m in rows if m["build"] == "sheet"]
    assert all(m["shift_error_percent"] == 0 for m in own if m["frequency_error_hz"] is not None)
    told = [m for m in rows if m["build"] != "sheet" and m["shift_error_percent"] is not None]
    assert len(told) > 2 * COUNT
    base, other = (c for c in study.comparisons if c.row.build.name in ("sheet", "solid_laminated"))
    m = next(m for m in told if m["build"] == "solid_laminated" and not m["judged_with"])
    k = m["mode"] - 1
    three = [
        tuple(row.found.frequency[p[k]] for row, p in zip(c.levels, (c.partner, *c.numbers))) for c in (base, other)
    ]
    by_hand = difference_error(*three, mesh_error(*three[0]))
    assert m["shift_error_percent"] == pytest.approx(100 * by_hand / three[0][0], rel=1e-9)


def test_modes_of_the_base_are_told_in_words(study):
    rows = list(per_mode(study))
    words = [m["moves"] for m in rows if m["build"] == "sheet"]
    assert all(words) and len(set(words)) == COUNT  # no two alike
    assert any("top" in w or "back" in w for w in words)
    assert all(m["moves"] is None for m in rows if m["build"] != "sheet")


def test_figures_below_their_error_are_grey(study, tmp_path):
    """As many grey cells as there are figures smaller than their own mesh error."""
    page = write_report(study, tmp_path, pictures=False)[0].read_text()
    beyond = lambda m, key, error: m[key] is not None and m[error] is not None and m[error] > abs(m[key])
    rows = list(per_mode(study))
    expected = sum(beyond(m, "shift_percent", "shift_error_percent") for m in rows if m["build"] != "sheet")
    expected += sum(beyond(m, key, f"{key}_error") for m in rows for key in ("heat_in_rim", "stored_in_rim"))
    assert page.count('class="unsure"') == expected > 0


def test_a_fault_in_a_picture_does_not_cost_the_answer(study, tmp_path, monkeypatch, capsys):
    """Tables and page are there before anything is drawn; the fault is told on standard error and on the page."""
    from studies.rim import dry_page as rim_report

    def fails(study, out):
        assert {p.name for p in out.iterdir()} == {"index.html", "rim.csv", "rim.json", "summary.html"}
        raise RuntimeError("Triangulation is invalid")

    monkeypatch.setattr(rim_report, "pictures_of", fails)
    page = write_report(study, tmp_path)[0].read_text()
    for told in (page, capsys.readouterr().err):
        assert "Not all pictures could be drawn (RuntimeError: Triangulation is invalid)" in told
    assert "Builds side by side" in page
    assert "could be drawn" not in write_report(study, tmp_path, pictures=False)[0].read_text()


def test_the_dry_page_begins_with_how_long_a_tap_rings(study, tmp_path):
    """Bars are the changes of the ring time in the table below, by what the ear needs; words follow the bars."""
    page, *_ = write_report(study, tmp_path, pictures=False)
    found = json.loads((tmp_path / "rim.json").read_text(encoding="utf-8"))
    first, rows = found["first_screen"], {b["name"]: b for b in found["builds"]}
    others = [row for name, row in rows.items() if name not in ("sheet", "stiff_limit")]
    assert ENDS == pytest.approx((-25, 40)) and len(others) == len(first["builds"])
    for row, lane in zip(others, first["builds"]):
        (bar,) = lane["bars"]
        assert bar["dots"] == pytest.approx([100 * (row["ring_time"] / rows["sheet"]["ring_time"] - 1)])
        assert lane["rim_g"] == row["rim_g"] and bar["low"] <= bar["dots"][0] <= bar["high"]
        assert (lane["word"] == "no audible difference") == (bar["low"] >= ENDS[0] and bar["high"] <= ENDS[1])
    text = page.read_text(encoding="utf-8")
    assert text.index("verdict") < text.index("<svg") < text.index("Try it on the bench") < text.index("<details")


def test_the_answer_is_told_before_anything_is_drawn(study, tmp_path):
    """In this order: pages without pictures, words, pictures, files."""
    order, told = [], []

    def drawn(say):
        assert (tmp_path / "index.html").exists()
        order.append("drawn")
        yield []

    def tell(text):
        order.append("told")
        told.append(text)

    line = io.StringIO()
    whole = rim.write_pages(rim.Answer(study, None, tmp_path, drawn), Progress(1, line), tell)
    assert order == ["told", "drawn", "told"]
    assert told[0] == f"{ring_screen(study).text}\n\n{summary_text(study)}" and "wrote" not in told[0]
    wrote = [f"wrote {tmp_path / name}" for name in ("index.html", "rim.csv", "rim.json", "summary.html")]
    assert told[1].strip().splitlines()[:4] == wrote
    assert whole == "\n".join(told) and line.getvalue().startswith("100 %")


def test_the_page_shows_what_is_drawn_and_no_more_is_drawn(study, tmp_path, monkeypatch):
    """Light PNG with captions; print formats and dark pages are made by `rimwork pictures`."""
    lame = lambda name: system_check.Check(name, False, (), "not tried")
    monkeypatch.setattr(system_check, "works", lame)
    monkeypatch.setattr(perspective, "FINER", 1)
    monkeypatch.setattr(dry_page, "DRAWN", 2)
    page = write_report(study, tmp_path)[0].read_text()
    shown = set(re.findall(r'(?:src|href)="(pictures/[^"]+)"', page))
    assert "pictures/modes-contact-sheet.png" in shown and "pictures/mode-01-plan.png" in shown
    there = {p.relative_to(tmp_path).as_posix() for p in (tmp_path / "pictures").iterdir()}
    assert there == shown | {name.replace(".png", ".txt") for name in shown}


def test_dry_page_beside_the_one_with_air(study, tmp_path):
    pages = write_report(study, tmp_path, pictures=False, beside="index.html")
    assert [p.name for p in pages] == ["dry.html", "rim.csv", "rim.json"]
    page = pages[0].read_text()
    assert 'href="index.html"' in page and f"Dry: {LABEL}" in page
    assert json.loads(pages[2].read_text())["model"] == "dry"
    words = paragraph(study)
    assert words.startswith(f"Dry ({LABEL})") and "takes" not in words
    assert f"{100 * headline(study)[0]['heat']:.1f} ±" in words


# --- unknown losses ---


def test_unknown_losses_are_told_not_guessed(study, tmp_path):
    """A wood without loss factors: no heat, no counterfactual, a plain sentence; the rest of the page stands."""

    def mute(row):
        split = replace(
            row.split,
            dissipated_share=None,
            dissipated_share_by_channel=None,
            loss_factor=None,
            losses_unknown=("back",),
        )
        return replace(row, split=split, losses=None)

    muted = [dict(zip(("row", "richer", "faceted"), map(mute, c.levels))) for c in study.comparisons]
    found = replace(study, comparisons=tuple(replace(c, **rows) for c, rows in zip(study.comparisons, muted)))
    assert headline(found)[0]["heat"] is None and headline(found)[0]["stored"] is None
    assert "Loss factors are not known for back" in summary_text(found)
    pages = write_report(found, tmp_path, pictures=False)
    data = json.loads(pages[2].read_text())
    assert data["builds"][0]["heat_share"] is None and data["modes"][0]["heat_in_rim"] is None
    row = found.comparisons[0].row
    again = solved_dry.unpack({name: np.asarray(value) for name, value in solved_dry.pack(row).items()}, row.build)
    assert again.split.dissipated_share is None and again.losses is None and again.split.losses_unknown == ("back",)


# --- progress ---


def test_progress_tells_time_left():
    class Line(io.StringIO):
        def isatty(self):
            return False

    now = [0.0]
    out = Line()
    p = Progress(4, out, lambda: now[0])
    p.say("first")
    p.step()
    now[0] = 30.0
    p.say("second")
    p.close()
    lines = out.getvalue().splitlines()
    assert lines[0] == "  0 %  first (time left not known yet)"
    assert lines[1] == " 25 %  second (1 min 30 s left)"
    assert lines[2] == "100 %  done in 30 s"
    assert [duration(s) for s in (59.4, 60, 3599.4, 3660)] == ["59 s", "1 min 0 s", "59 min 59 s", "1 h 1 min"]


def test_measured_values_stand_beside_the_computed_ones(study, tmp_path):
    """In the terminal, on the page and in the JSON: what was weighed, computed, their difference and the reading error."""
    rows = beside(Measured(weights={"sides_g": 0.35}), {"sides_g": 0.343})
    found = replace(study, measured=tuple(rows))
    assert "350 g" in summary_text(found) and "343 g" in summary_text(found)
    pages = write_report(found, tmp_path, pictures=False)
    assert "350 g" in pages[0].read_text() and "+7 g" in pages[0].read_text()
    told = json.loads(pages[2].read_text())
    assert told["measured"][0]["agrees"] is False and len(told["joints"]) == 2
