"""The sustain page, its tables and charts, from a small study put together by hand: no solving of boxes."""

import csv
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pytest
from sustain_cases import CHOSEN, FRETS, study_by_hand, with_draws

from studies.common.groups import GROUPS
from studies.common.words import span
from studies.sustain import page as sustain_report
from studies.sustain.charts import bar_groups, energy_svg, uncertainty_svg
from studies.sustain.page import as_json, flat_rows, per_build, per_note, write_report
from studies.sustain.result import MESH, SUPPORT_CONDITIONS, WOOD
from studies.sustain.spread import WIDTH, doubt_bands, spread_svg
from studies.sustain.thresholds import LATE, LEVEL
from studies.sustain.verdict import judged, single_notes


@pytest.fixture(scope="module", autouse=True)
def cheap():
    """The words on joints come from solid cross-sections, which have tests of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sustain_report, "joint_of", lambda body, plate: SimpleNamespace(words=f"joint of the {plate}"))
        yield


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return study_by_hand(tmp_path_factory.mktemp("sheet"))


def test_every_note_of_every_build_has_a_row(study):
    rows = per_note(study)
    assert len(rows) == 6 * (FRETS + 1) * len(CHOSEN) * 3
    for row in rows:
        assert row["valid"] == (row["decay_time_s"] is not None) == (row["rim_share"] is not None)
        if row["valid"]:
            total = sum(row[f"{group}_share"] for group in GROUPS) + row["string_share"]
            assert total == pytest.approx(1, abs=1e-6)
    assert any(not row["valid"] for row in rows)
    first = next(
        r
        for r in rows
        if r["build"] == "solid_laminated"
        and r["how"] == SUPPORT_CONDITIONS[1]
        and r["string"] == "A2"
        and r["fret"] == 3
    )
    own, mine = (
        study.played[name, SUPPORT_CONDITIONS[1]].board.decay_time[1, 3] for name in ("sheet", "solid_laminated")
    )
    assert first["note"] == "C3" and first["late_decay_ratio"] == pytest.approx(mine / own)
    assert mine > own
    c = study.compared["solid_laminated", SUPPORT_CONDITIONS[1]]
    at = lambda key: c.notes[key].bar[1, 3]
    assert first["late_decay_bar"] == pytest.approx(np.exp(at("decay_time")))  # times or divided by
    assert (
        first["level_bar"] == pytest.approx(10 / np.log(10) * at("first_radiated"))
        and first["level_word"] == "unchanged"
    )
    assert {"changed", "unchanged", "open", None} >= {row["early_decay_word"] for row in rows} > {None, "unchanged"}


def test_builds_tell_verdict_grams_and_stress(study):
    rows = per_build(study)
    own, solid = (next(r for r in rows if r["build"] == n and r["how"] == SUPPORT_CONDITIONS[0]) for n in CHOSEN[:2])
    assert "verdict" not in own and own["rim_g_more"] == 0
    assert solid["rim_g_more"] == pytest.approx(20) and solid["drying_stress_top_more_mpa"] == pytest.approx(0.1)
    assert set(solid["verdict"]) == {"whole", "single_notes"} and len(solid["modes"]["shift_percent"]) == 6
    assert solid["modes"]["shift_percent"][0] == pytest.approx(2) and solid["octaves_db"] == {
        "63": 0.1, "125": 0.2, "250": -0.3, "500": None, "1000": None, "2000": None,
    }  # fmt: skip
    spread = flat_rows(rows)
    assert len({tuple(r) for r in spread}) == 1
    assert spread[1]["late_decay_doubts_mesh_low"] == pytest.approx(solid["late_decay"]["doubts"]["mesh"][0])


def test_json_holds_no_nan_and_a_version(study):
    data = json.loads(json.dumps(as_json(study), allow_nan=False))
    assert data["schema_version"] == 2 and data["valid_to_hz"] == 330.0
    assert data["answer"] and data["model_error"] == "not known" and len(data["thresholds"]) == 4
    (solid,) = (v for v in data["verdicts"] if v["build"] == "solid_laminated")
    assert solid["whole"] in data["answer"] and data["most_moved"][0]["nearest_mode"].startswith("mode at")


class Page(HTMLParser):
    """Counts tags, checks that they close and that pictures have words."""

    VOID = ("meta", "br", "img", "link", "input", "path", "rect", "circle", "hr")

    def __init__(self):
        super().__init__()
        self.open, self.text, self.without_words = [], "", []

    def handle_starttag(self, tag, attrs):
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "img" and len(dict(attrs).get("alt", "")) < 30:
            self.without_words.append(attrs)
        if tag == "svg" and len(dict(attrs).get("aria-label", "")) < 30:
            self.without_words.append(attrs)

    def handle_endtag(self, tag):
        if tag not in self.VOID:
            assert self.open and self.open.pop() == tag, tag

    def handle_data(self, data):
        self.text += data


@pytest.fixture(scope="module")
def written(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("page")
    return out, write_report(study, out, pictures=False)


def test_page_is_whole_and_says_what_it_must(study, written):
    _, paths = written
    text = paths[0].read_text(encoding="utf-8")
    page = Page()
    page.feed(text)
    assert page.open == [] and page.without_words == []
    words = " ".join(page.text.split())
    for needed in (
        "model error is not known", "‘wood scatter’: not computed", "drying stress in the top", "loss factor 0.04: cannot tell",
        "not the change of two medians", "Single notes", "Two verdicts", "Notes most moved", "shown, never decides", "octave 125 Hz", "not determined", "Try it on the bench.", "Behind it.", "Not modelled", "Provenance", "oval.toml", "Inputs that would change a word", "the sheet has no neck",
    ):  # fmt: skip
        assert needed.lower() in words.lower(), needed
    assert "takes" not in words and not re.search(r"\bnan\b|\bNone\b|Undefined", words)
    assert text.index('<p class="verdict">') < text.index("<h2>")  # the answer first


def test_wood_scatter_is_told_in_three_figures(study, tmp_path):
    """Page with draws: the range of pairs, the interval of the median, the spread between guitars, and the mesh of their own."""
    drawn = with_draws(study)
    page = write_report(drawn, tmp_path, pictures=False)[0].read_text(encoding="utf-8")
    p = drawn.compared["solid_laminated", SUPPORT_CONDITIONS[0]].paired[LATE.key]
    for low, high in ((p.low, p.high), (p.unpaired_low, p.unpaired_high)):
        assert re.search(f"<td[^>]*>{re.escape(span(low, high))}</td>", page)
    assert f"<small>{span(p.median_low, p.median_high)}</small>" in page
    assert "8 draws on a mesh of 60 mm" in page and "a build that was not drawn" in page


def test_a_verdict_that_does_not_flip_says_between_what(study, tmp_path):
    still = replace(study, compared={key: replace(c, flip=None) for key, c in study.compared.items()})
    page = write_report(still, tmp_path, pictures=False)[0].read_text(encoding="utf-8")
    assert page.count("does not flip between a tenth and ten times") == 6


def test_tables_open_elsewhere(written):
    out, _ = written
    notes = list(csv.DictReader((out / "notes.csv").open(encoding="utf-8")))
    assert len(notes) == 270 and notes[0]["note"] == "E2"
    assert {r["verdict_whole"] for r in csv.DictReader((out / "builds.csv").open(encoding="utf-8"))} > {""}


def test_bars_hold_every_group_once(study):
    share = study.own[SUPPORT_CONDITIONS[0]].share
    assert sum(bar_groups(share).values()) == pytest.approx(sum(share.values()))
    assert bar_groups(share)["rim"] == pytest.approx(study.own[SUPPORT_CONDITIONS[0]].rim)
    svg = energy_svg([("sheet", share)], SUPPORT_CONDITIONS[0])
    wide = [float(w) for w in re.findall(r'width="([\d.]+)" height="30"', svg)]
    assert sum(wide) == pytest.approx(632, abs=0.1)
    assert "into the bands" in svg and "into the player" in energy_svg([("sheet", share)], SUPPORT_CONDITIONS[1])


def test_doubts_are_drawn_where_they_lie():
    """On a logarithmic scale, half a doubt is half as wide; a doubt that was not computed says so."""
    build = SimpleNamespace(label="solid <linings>", name="solid")
    c, other = (
        SimpleNamespace(build=build, judged={LATE.key: judged(1.0, doubts, LATE.key)})
        for doubts in ({MESH: (0.95, 1 / 0.95)}, {MESH: (0.8, 1.25), WOOD: (0.8, 1.25)})
    )
    svg = uncertainty_svg([c, other], LATE, SUPPORT_CONDITIONS[0])
    spans = [(float(a), float(b)) for a, b in re.findall(r'<path d="M([\d.]+) [\d.]+H([\d.]+)"', svg)]
    narrow, wide = spans[0], spans[2]
    assert sum(narrow) == pytest.approx(sum(wide), abs=0.3)
    assert (wide[1] - wide[0]) / (narrow[1] - narrow[0]) == pytest.approx(np.log(1.25) / -np.log(0.95), rel=0.01)
    assert svg.count("not computed") == 1 and "solid &lt;linings&gt;" in svg and "solid <linings>" not in svg
    assert "−20 %" in svg and "+40 %" in svg


def test_every_note_is_a_mark_where_it_lies():
    """Four notes: none, +3 dB, -1 dB with a wide bar, one not known; two strings, the lower one at the foot."""
    db = np.log(10) / 10
    change = np.array([[0.0, 3 * db], [-1 * db, np.nan]])
    notes = single_notes(
        change,
        {MESH: np.array([[0.1, 0.1], [2.0, 0.1]]), WOOD: 0.02, "string losses": 0.03, "rim losses": 0.04},
        LEVEL.key,
    )
    c = SimpleNamespace(build=SimpleNamespace(label="solid", name="solid"), notes={LEVEL.key: notes})
    svg = spread_svg([c], LEVEL, SUPPORT_CONDITIONS[0])
    marks = [tuple(map(float, m)) for m in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"', svg)][:3]
    (x0, y0, r0), (x1, y1, r1), (x2, y2, r2) = marks
    assert (r0, r1, r2) == (1.8, 3.0, 2.6) and y0 == y1 > y2 and x2 < x0 < x1
    # the chart ends where it holds 98 % of 0, 1 and 3 dB, interpolated; what lies beyond stands at its edge
    assert (x1 - x0) / (x0 - x2) == pytest.approx(1 + 0.96 * 2, rel=0.01) and svg.count(
        "<circle"
    ) == 3 + 3  # and the key's
    assert doubt_bands(notes) == pytest.approx({"mesh": 0.1, "boards": 0.02, "losses and pluck": 0.05})
    assert "33 % of the notes beyond the threshold, 33 % within, 33 % open" in svg


def test_the_chart_shows_both_thresholds_where_no_note_comes_near_them():
    """Changes of a hundredth of a threshold: its lines stand inside the chart, one to each side of none, 1.3 times as far to the ends."""
    notes = single_notes(
        np.full((2, 2), 0.001), {name: 0.01 for name in (MESH, WOOD, "string losses", "rim losses")}, LEVEL.key
    )
    c = SimpleNamespace(build=SimpleNamespace(label="solid", name="solid"), notes={LEVEL.key: notes})
    svg = spread_svg([c], LEVEL, SUPPORT_CONDITIONS[0])
    lines = re.findall(r'<line x1="([\d.]+)"', svg)
    low, none, high = (float(x) for x in lines[:3])
    left, right = 24.0, WIDTH - 24.0
    assert left < low < none < high < right
    assert (none - left) / (none - low) == pytest.approx(1.3, rel=0.01) and (right - none) / (
        high - none
    ) == pytest.approx(1.3, rel=0.01)
