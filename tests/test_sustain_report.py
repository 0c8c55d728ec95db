"""The sustain page, its tables and charts, from a small study put together by hand: no solving of boxes."""

import csv
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace

import pytest
from sustain_cases import CHOSEN, FRETS, study_by_hand, with_draws

from studies.common.groups import GROUPS
from studies.common.words import span
from studies.sustain import page as sustain_report
from studies.sustain.charts import bar_groups, energy_svg, uncertainty_svg
from studies.sustain.hearing import TOLERANCES
from studies.sustain.page import as_json, flat_rows, per_build, per_note, write_report
from studies.sustain.result import SUPPORT_CONDITIONS


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
    assert len(rows) == 6 * (FRETS + 1) * len(CHOSEN) * 2
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
    assert first["note"] == "C3" and first["ratio_to_sheet"] == pytest.approx(mine / own)
    assert mine > own


def test_builds_tell_verdict_grams_and_stress(study):
    rows = per_build(study)
    own, solid = (next(r for r in rows if r["build"] == n and r["how"] == SUPPORT_CONDITIONS[0]) for n in CHOSEN[:2])
    assert "verdict" not in own and own["rim_g_more"] == 0
    assert solid["rim_g_more"] == pytest.approx(20) and solid["drying_stress_top_more_mpa"] == pytest.approx(0.1)
    assert set(solid["by_tolerance"]) == {t.name for t in TOLERANCES}
    spread = flat_rows(rows)
    assert len({tuple(r) for r in spread}) == 1
    assert spread[1]["doubts_mesh_low"] == pytest.approx(solid["doubts"]["mesh"][0])


def test_json_holds_no_nan_and_a_version(study):
    data = json.loads(json.dumps(as_json(study), allow_nan=False))
    assert data["schema_version"] == 2 and data["valid_to_hz"] == 330.0
    assert data["answer"] and data["model_error"] == "not known"


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
        "model: not known", "wood scatter: not computed", "drying stress in the top", "loss factor 0.04: cannot tell",
        "not the ratio of two medians", "Behind it.", "Not modelled", "Provenance", "oval.toml", "Inputs that would change the verdict", "the sheet has no neck",
    ):  # fmt: skip
        assert needed.lower() in words.lower(), needed
    assert "takes" not in words and not re.search(r"\bnan\b|\bNone\b|Undefined", words)
    assert "@page { size: A4" in text and "max-width: 40rem" in text
    assert text.index("<p>") < text.index("<h2>")  # the answer first


def test_wood_scatter_is_told_in_three_figures(study, tmp_path):
    """Page with draws: the range of pairs, the interval of the median, the spread between guitars, and the mesh of their own."""
    drawn = with_draws(study)
    page = write_report(drawn, tmp_path, pictures=False)[0].read_text(encoding="utf-8")
    p = drawn.compared["solid_laminated", SUPPORT_CONDITIONS[0]].paired
    for low, high in ((p.low, p.high), (p.median_low, p.median_high), (p.unpaired_low, p.unpaired_high)):
        assert f"<td>{span(low, high)}</td>" in page
    assert "8 draws on a mesh of 60 mm" in page and "a build that was not drawn" in page


def test_a_verdict_that_does_not_flip_says_between_what(study, tmp_path):
    still = replace(study, compared={key: replace(c, flip=None) for key, c in study.compared.items()})
    page = write_report(still, tmp_path, pictures=False)[0].read_text(encoding="utf-8")
    assert page.count("does not flip between a tenth and ten times") == 4


def test_tables_open_elsewhere(written):
    out, _ = written
    notes = list(csv.DictReader((out / "notes.csv").open(encoding="utf-8")))
    assert len(notes) == 180 and notes[0]["note"] == "E2"
    assert {r["verdict"] for r in csv.DictReader((out / "builds.csv").open(encoding="utf-8"))} >= {""}


def test_bars_hold_every_group_once(study):
    share = study.own[SUPPORT_CONDITIONS[0]].share
    assert sum(bar_groups(share).values()) == pytest.approx(sum(share.values()))
    assert bar_groups(share)["rim"] == pytest.approx(study.own[SUPPORT_CONDITIONS[0]].rim)
    svg = energy_svg([("sheet", share)], SUPPORT_CONDITIONS[0])
    wide = [float(w) for w in re.findall(r'width="([\d.]+)" height="30"', svg)]
    assert sum(wide) == pytest.approx(632, abs=0.1)
    assert "into the bands" in svg and "into the player" in energy_svg([("sheet", share)], SUPPORT_CONDITIONS[1])


def test_doubts_are_drawn_where_they_lie():
    """On a scale from -10 to 10 per cent the middle lies half way; a doubt that was not computed says so."""
    build = SimpleNamespace(label="solid <linings>", name="solid")
    c = SimpleNamespace(build=build, ratio=1.0, low=0.9, high=1.1, doubts={"mesh": (0.95, 1.05)})
    other = SimpleNamespace(
        build=build, ratio=1.02, low=1.0, high=1.04, doubts={"mesh": (1.0, 1.03), "wood scatter": (1.0, 1.04)}
    )
    svg = uncertainty_svg([c, other], SUPPORT_CONDITIONS[0])
    spans = [(float(a), float(b)) for a, b in re.findall(r'<path d="M([\d.]+) [\d.]+H([\d.]+)"', svg)]
    mesh, whole = spans[0], spans[1]
    assert sum(mesh) == pytest.approx(sum(whole), abs=0.3) and whole[1] - whole[0] == pytest.approx(
        2 * (mesh[1] - mesh[0]), abs=0.3
    )
    assert svg.count("not computed") == 1 and "solid &lt;linings&gt;" in svg and "solid <linings>" not in svg
