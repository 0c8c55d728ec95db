"""What pages say first, and how they fit screens and paper: words by the rule, boxes measured in a real browser."""

import json
import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from types import SimpleNamespace

import box_cases as cases
import browser
import numpy as np
import pytest
from rim_cases import air_by_hand, modes_by_hand
from sustain_cases import study_by_hand, with_draws
from test_sustain_words import with_change

from meshes.joints import joint_sections
from meshes.unexplained_loss import IN_WOOD
from studies.common.first_screen import Bar, Lane
from studies.common.html import folded, labelled
from studies.common.neighbours import link_neighbours
from studies.common.summary import print_summary
from studies.common.table import Table
from studies.drawing.builds_chart import Scale, builds_svg
from studies.load import first_screen as load_first
from studies.load import question as load
from studies.rim import air_page
from studies.rim import first_screen as rim_first
from studies.squeeze import question as squeeze
from studies.sustain import first_screen as sustain_first
from studies.sustain import page as sustain_page
from studies.sustain.result import PLAYER, RIM_LOSSES
from studies.sustain.rule import AUDIBLE, CANNOT_TELL, NO_DIFFERENCE
from studies.sustain.thresholds import LATE
from studies.sustain.verdict import judged
from studies.weather import first_screen as weather_first
from studies.weather import question as weather

CHROMIUM = pytest.mark.skipif(browser.find() is None, reason="no Chromium on this machine: the page is not opened")
SCREENS = ((1280, 800), (390, 844))
PAPER = {"A4": (210 - 24) / 25.4 * 96, "letter": 8.5 * 96 - 24 / 25.4 * 96}  # px between the margins of common/page.css
MOST_WORDS = 90


@pytest.fixture(scope="module", autouse=True)
def cheap():
    """The words on joints come from solid cross-sections, which have tests of their own."""
    with pytest.MonkeyPatch.context() as patch:
        for module in (air_page, sustain_page):
            patch.setattr(module, "joint_of", lambda body, plate: SimpleNamespace(words=f"joint of the {plate}"))
        patch.setattr(air_page, "per_mode", modes_by_hand)
        yield


FOLDERS = {
    "rim": "air",
    "sustain": "sustain",
    "weather": "weather",
    "load": "load",
    "squeeze": "squeeze",
}  # and their JSON


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """{name: (page, its JSON file)}: rim with every build, sustain with wood scatter, the box at rest and the open rim."""
    at = {name: tmp_path_factory.mktemp(name) for name in FOLDERS}
    air_page.write_report(air_by_hand(at["rim"]), at["rim"], pictures=False)
    sustain_page.write_report(with_draws(study_by_hand(at["sustain"])), at["sustain"], pictures=False)
    sheet = cases.oval_sheet(at["weather"])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "meshes.parts.joint_of", lambda body, plate: SimpleNamespace(sections=joint_sections(body, plate, None))
        )
        weather.season_box(sheet, at["weather"], 60, 50, [30, 60], 0.5, pictures=False)
        strung = cases.oval_sheet(at["load"], neck={"included": True}, strings={"scale_length_mm": 640})
        load.load_box(strung, at["load"], 60, pictures=False)
        squeeze.squeeze_rims(sheet, at["squeeze"], size_mm=60)
    return {name: (folder / "index.html", folder / f"{FOLDERS[name]}.json") for name, folder in at.items()}


# --- the sentence ---


def test_the_rims_sentence_follows_its_bars(tmp_path):
    """Hearing begins at 1 dB: +2 dB is louder, -0.4 dB too little, a bar across 1 dB open; grey figures give no number."""
    study = air_by_hand(tmp_path, louder={"doubled_sides": -2.0, "solid_laminated": 0.4, "reversed_kerfed": 0.01})
    lanes = {lane.label.partition(",")[0]: lane for lane in rim_first.sound_lanes(study)}
    assert not any("stiff" in label for label in lanes)  # what cannot be built is no advice
    assert lanes["solid laminated linings"].word == NO_DIFFERENCE
    (doubled,) = (lane for label, lane in lanes.items() if label.startswith("doubled"))
    assert doubled.word == AUDIBLE
    assert not lanes["reversed kerfed linings"].bars[0].sure and lanes["solid laminated linings"].bars[0].sure
    told = rim_first.sound_screen(study).verdict
    assert told == (
        "On this guitar other linings (+0.4 dB) do not change how loud it is enough to hear; doubled sides (80 g more, −2.0 dB) "
        "make it audibly softer."
    )
    across = (Bar("hung free", (0.8,), 0.5, 1.1, ""), Bar("on the lap", (0.2,), 0.1, 0.3, ""))
    assert rim_first.word(across) == CANNOT_TELL


def test_loss_that_no_part_explains_is_in_the_bars(tmp_path):
    """A change of -2 dB that would be none with that loss in the wood is open."""
    study = air_by_hand(tmp_path, louder={"doubled_sides": -2.0})
    lost = {
        key: {**found, "radiated_w": 0.9} if key[2] == IN_WOOD else found for key, found in study.unexplained.items()
    }
    (lane,) = (x for x in rim_first.sound_lanes(replace(study, unexplained=lost)) if x.label.startswith("doubled"))
    assert lane.word == CANNOT_TELL and lane.bars[0].high == pytest.approx(0, abs=0.01) and not lane.bars[0].sure
    assert (
        "it cannot be told whether anybody would hear doubled sides"
        in rim_first.sound_screen(replace(study, unexplained=lost)).verdict
    )


def test_grey_figures_claim_nothing(tmp_path):
    told = rim_first.sound_screen(air_by_hand(tmp_path, louder={"sheet": 0.0, "doubled_sides": 0.02})).verdict
    assert (
        "neither other linings (no change beyond the doubts) nor doubled sides (80 g more, no change beyond the doubts) change"
        in told
        and "dB" not in told
    )


@pytest.mark.parametrize(
    ("times", "words"),
    [
        (0.1, "solid laminated linings (20 g more) make no audible difference, on the whole as in single notes"),
        (2, "solid laminated linings (20 g more) make an audible difference, on the whole as in single notes"),
        (
            1.0,
            "it cannot be told whether anybody would hear solid laminated linings (20 g more), on the whole or in single notes",
        ),
    ],
)
def test_the_sustain_sentence_is_the_verdicts(tmp_path, times, words):
    study = with_change(study_by_hand(tmp_path), times)
    told = sustain_first.verdict_sentence(study)
    assert told == f"On this guitar {words}."
    bars = [bar for lane in sustain_first.median_lanes(study) for bar in lane.bars]
    beyond = [abs(dot) for bar in bars for dot in bar.dots]
    assert np.allclose(beyond, times, rtol=1e-6)  # in thresholds of hearing


def test_bars_and_the_main_doubt_are_of_all_ways_to_hold_it(tmp_path):
    """The last way alone is wide, by the player; the first has a narrower doubt of another name: by hand."""
    study = with_change(study_by_hand(tmp_path), 0.1)
    wide, first = (("solid_laminated", study.holdings[k]) for k in (-1, 0))
    doubt = lambda name, half: {name: (np.exp(-half), np.exp(half))}
    late = {first: doubt(RIM_LOSSES, 0.2) | doubt(PLAYER, 0.1), wide: doubt(PLAYER, 0.5)}
    compared = study.compared | {
        key: replace(c := study.compared[key], judged=c.judged | {LATE.key: judged(1.0, ends, LATE.key)})
        for key, ends in late.items()
    }
    found = replace(study, compared=compared)
    (lane,) = (x for x in sustain_first.median_lanes(found) if x.label.startswith("solid"))
    assert lane.bars[2].high == pytest.approx(0.5 / np.log(1.4)) and lane.bars[2].low == pytest.approx(
        0.5 / np.log(0.75)
    )
    assert sustain_first.WIDEST[PLAYER] in sustain_first.main_doubt(found)
    turned = replace(found, compared=compared | {wide: compared[first], first: compared[wide]})
    assert sustain_first.WIDEST[PLAYER] in sustain_first.main_doubt(turned)


def test_a_bar_is_told_in_thresholds_of_its_own_side():
    """−25 and +40 % of late decay are as far as is not heard, either way."""
    at = [sustain_first.of_threshold(ratio, LATE.key) for ratio in (0.75, 1.0, 1.4, 0.75**2)]
    assert at == pytest.approx([-1, 0, 1, -2])


def test_the_chart_shows_every_bar_where_it_lies():
    lanes = [
        Lane("a <b>", (Bar("one", (0.0,), -0.5, 0.5, "0 dB"), Bar("two", (3.0,), 2.0, 4.0, "+3 dB", sure=False)), 0.0)
    ]
    text = builds_svg(lanes, Scale((-1.0, 1.0), ((-1, "−1"), (1, "+1"))), "title", "foot")
    starts = [
        tuple(map(float, m))
        for m in re.findall(r'<line x1="([\d.]+)" y1="[\d.]+" x2="([\d.]+)"[^>]*stroke-width="2"', text)
    ]
    (a, b), (c, d) = starts
    assert (d - c) / (b - a) == pytest.approx(2, rel=0.01) and c > b
    assert re.search(r'text-anchor="end"[^>]*>−1<', text)  # outward of both lines
    assert "+1<" in text and not re.search(r'text-anchor="[^>]*>\+1<', text)
    assert text.count('stroke-dasharray="4 3"') == 2 and "a &lt;b&gt;" in text and "one 0 dB, two +3 dB" in text


def test_a_gauge_and_a_cracks_pull_follow_their_bars():
    bar = lambda low, high: Bar("x", (0.5 * (low + high),), low, high, "")
    assert load_first.gauge_word((bar(-0.2, 0.3), bar(-1, 1))) == load_first.WITHIN
    assert load_first.gauge_word((bar(-0.2, 0.3), bar(0.8, 1.2))) == load_first.OPEN
    assert load_first.gauge_word((bar(-0.2, 0.3), bar(-3, -1.1))) == load_first.BEYOND
    ends = ((0.5, 0.9), (1.1, 1.3), (0.9, 1.1))
    assert [weather_first.place(bar(*e)) for e in ends] == [
        weather_first.SHORT,
        weather_first.BEYOND,
        weather_first.OPEN,
    ]


def test_the_squeeze_sentence_follows_the_pairs(pages):
    """A rim is told from the sheet's own where the JSON names a press that does."""
    found = json.loads(pages["squeeze"][1].read_text(encoding="utf-8"))
    told, _, hidden = found["first_screen"]["verdict"].partition(
        "cannot" if "cannot" in found["first_screen"]["verdict"] else "but not"
    )
    labels = {b["name"]: b["label"].partition(" (")[0] for b in found["builds"]}
    others = {p["builds"][1]: p["told_apart_by"] for p in found["pairs"] if p["builds"][0] == "sheet"}
    assert len(others) >= 4 and any(others.values())
    for name, presses in others.items():
        assert labels[name] in (told if presses else hidden)


def test_the_seasons_sentence_follows_the_measures(pages):
    """The largest of the stresses at the driest humidity, by the JSON's own list."""
    found = json.loads(pages["weather"][1].read_text(encoding="utf-8"))
    for plate in ("top", "back"):
        most = max(
            m["value"] for m in found["measures"]
            if m["build"] == "sheet" and m["used_at_humidity_percent"] == 30 and m["measure"].startswith(f"{plate}, most")
        )  # fmt: skip
        (bar,) = (b for b in found["first_screen"]["builds"][0]["bars"] if b["name"] == plate)
        assert (
            bar["told"].startswith(f"{most:.1f} ±")
            and f"the {plate} is pulled across its grain by {most:.1f}" in found["first_screen"]["verdict"]
        )


# --- what becomes of the text ---


def test_tables_fit_a_terminal():
    """Words of a heading stand below each other, columns that do not fit stand below, and every cell is told once."""
    head = ("build of the rim", *(f"measure number {k} of many" for k in range(12)))
    rows = tuple(
        (f"a build with quite a long name for one line, {r}", *(f"{r}{k:02d}.25 MPa" for k in range(12)))
        for r in (7, 8)
    )
    lines = Table("Heading", head, rows, "note").lines()
    assert max(map(len, lines)) <= 100 and (lines[0], lines[-1]) == ("Heading", "note")
    text = "\n".join(lines)
    assert all(text.count(cell) == 1 for row in rows for cell in row[1:])
    small = Table("", ("a", "b"), (("x", "1.00"), ("long", "2")), "").lines()
    assert small == ["a        b", "x     1.00", "long     2"]


def test_sections_are_folded_and_wide_tables_labelled():
    text = folded("<p>first</p><h2>One</h2><p>a</p><h2>Two</h2>b")
    assert text == (
        "<p>first</p><details><summary><h2>One</h2></summary>\n<p>a</p></details>\n"
        "<details><summary><h2>Two</h2></summary>\nb</details>\n"
    )
    heads = "".join(f"<th>{h}</th>" for h in ("build", "rim<br><small>g</small>", "a &amp; b", "d"))
    table = f'<table class="x"><tr>{heads}</tr><tr><td>k</td><td class="n">1</td><td>2</td><td>3</td></tr></table>'
    scoped = heads.replace("<th>", '<th scope="col">')
    assert labelled(table) == (
        f'<table class="cards x"><tr>{scoped}</tr><tr><td data-column="build">k</td><td class="n" data-column="rim g">1</td>'
        '<td data-column="a &amp; b">2</td><td data-column="d">3</td></tr></table>'
    )
    narrow = "<table><tr><th>a</th><th>b</th></tr><tr><td>1</td><td>2</td></tr></table>"
    assert labelled(narrow) == narrow.replace("<th>", '<th scope="col">')
    assert labelled('<div class="chart scroll">') == '<div class="chart scroll" tabindex="0">'  # reached by keyboard


def test_pages_of_one_sheet_link_to_each_other(tmp_path):
    """Whichever came first; not to another sheet's, not from a folder of another name, and only to what is there."""
    place = "<!-- neighbours --><!-- end -->"
    for name in ("my-oval-rim", "my-oval-sustain", "oval-rim", "other"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "index.html").write_text(f"a {place} b", encoding="utf-8")
        link_neighbours(tmp_path / name / "index.html")
    links = {
        p.name: re.findall('href="(.*?)"', (p / "index.html").read_text(encoding="utf-8")) for p in tmp_path.iterdir()
    }
    assert links.pop("my-oval-rim") == ["../my-oval-sustain/index.html"]
    assert links.pop("my-oval-sustain") == ["../my-oval-rim/index.html"]
    assert links == {"oval-rim": [], "other": []}


class Before(HTMLParser):
    """Words that are read before the first drawing."""

    def __init__(self, text):
        super().__init__()
        self.words, self.silent, self.drawn = [], 0, False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.silent += tag in ("style", "title")
        self.drawn |= tag == "svg"

    def handle_endtag(self, tag):
        self.silent -= tag in ("style", "title")

    def handle_data(self, data):
        self.words += [] if self.silent or self.drawn else data.split()


@pytest.mark.parametrize("name", FOLDERS)
def test_few_words_stand_before_the_first_chart(pages, name):
    page, data = pages[name]
    words = Before(page.read_text(encoding="utf-8")).words
    told = json.loads(data.read_text(encoding="utf-8"))["first_screen"]
    assert " ".join(words).endswith(told["verdict"]) and len(words) <= MOST_WORDS


def test_the_summary_says_what_the_page_says(pages):
    """Verdict, bench and doubt of the JSON, and the grams of every build, the sheet's own first."""
    for page, data in pages.values():
        text = unescape(page.with_name("summary.html").read_text(encoding="utf-8"))
        found = json.loads(data.read_text(encoding="utf-8"))
        told = found["first_screen"]
        assert all(told[key] in text for key in ("verdict", "bench", "main_doubt"))
        grams = [f"{lane['rim_g']:.0f} g" for lane in told["builds"]]
        rows = re.findall(r'<tr><td[^>]*>(.*?)</td><td class="n"[^>]*>(.*?)</td>', text)
        own = [f"{found['builds'][0]['rim_g']:.0f} g"]
        assert [g for _, g in rows] == (grams if grams[:1] == own and rows[0][0] == "as on the sheet" else own + grams)
        assert not re.search(r'(src|href)="(?!index\.html)', text)  # everything else is in the file


def test_without_a_browser_it_is_told_how_to_print(pages):
    page = pages["rim"][0].with_name("summary.html")
    told = print_summary(page)  # no test has a browser unless it asks for one
    assert str(page) in told and "print it" in told and not page.with_suffix(".pdf").exists()


# --- in a browser ---


@CHROMIUM
@pytest.mark.parametrize("name", FOLDERS)
def test_the_summary_is_one_sheet(pages, opened, name, monkeypatch):
    """Of A4 and of letter, from the browser's own print and as the PDF that the command writes."""
    page = pages[name][0].with_name("summary.html")
    opened.open(page)
    assert [opened.sheets(paper) for paper in PAPER] == [1, 1]
    monkeypatch.setenv("RIMWORK_BROWSER", browser.find())
    assert print_summary(page) == f"wrote {page.with_suffix('.pdf')}"
    pdf = page.with_suffix(".pdf").read_bytes()
    assert browser.sheets(pdf) == 1
    width, height = (float(v) * 25.4 / 72 for v in re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf).groups())
    assert (width, height) == pytest.approx((210, 297), abs=0.5)


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    with browser.Browser(tmp_path_factory.mktemp("browser")) as chromium:
        yield chromium


@CHROMIUM
@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("name", FOLDERS)
def test_verdict_chart_and_bench_lie_on_the_first_screen(pages, opened, name, screen):
    """And say what the JSON says."""
    page, data = pages[name]
    told = json.loads(data.read_text(encoding="utf-8"))["first_screen"]
    opened.resize(*screen)
    opened.open(page)
    boxes = opened.run(
        "['.verdict', '.first svg', '.bench', '.doubt'].map(s => { const e = document.querySelector(s), r = e.getBoundingClientRect();"
        "return [r.top, r.bottom, r.left, r.right, e.textContent]; })"
    )
    for top, bottom, left, right, _ in boxes[:3]:
        assert 0 <= top < bottom <= screen[1] and 0 <= left < right <= screen[0]
    assert boxes[0][4] == told["verdict"] and told["bench"] in boxes[2][4] and told["main_doubt"] in boxes[3][4]
    assert opened.run(
        "[...document.querySelectorAll('.first svg text')].every(t => t.getBBox().x >= -1 && t.getBBox().x + t.getBBox().width <= 359)"
    )
    for lane in told["builds"]:
        assert lane["label"] in boxes[1][4] and all(bar["told"] in boxes[1][4] for bar in lane["bars"])


@CHROMIUM
@pytest.mark.skipif(browser.axe() is None, reason="axe-core is not installed: accessibility is not checked")
@pytest.mark.parametrize("screen", SCREENS)
def test_axe_finds_no_fault(pages, opened, screen):
    """Every rule that axe-core runs by itself: contrast, names, landmarks, headers of tables, keyboard."""
    opened.resize(*screen)
    for page, _ in pages.values():
        for file in (page, page.with_name("summary.html")):
            if file.exists():
                opened.open(file)
                assert opened.faults() == [], file


@CHROMIUM
@pytest.mark.skipif(browser.axe() is None, reason="axe-core is not installed: accessibility is not checked")
def test_axe_finds_faults_that_are_there(opened, tmp_path):
    """So that an empty list means something: pale words, a picture without words, a table's empty heading."""
    page = tmp_path / "bad.html"
    page.write_text(
        '<!doctype html><title>bad</title><main><p style="color: #aaa">pale</p><img src="data:image/gif;base64,R0lGODlhAQABAAAAACw=">'
        "<table><tr><th></th></tr><tr><td>1</td></tr></table></main>",
        encoding="utf-8",
    )
    opened.open(page)
    found = {fault.partition(":")[0] for fault in opened.faults()}
    assert {"color-contrast", "image-alt", "empty-table-header", "html-has-lang"} <= found


OUTSIDE = (  # what is seen and reaches beyond the page or, in a box that scrolls, out of that
    "(() => { const w = document.documentElement.clientWidth, seen = [...document.querySelectorAll('body *')].filter(e => e.checkVisibility());"
    "const wide = seen.filter(e => { const r = e.getBoundingClientRect(); return r.right > w + 1 || r.left < -1; });"
    "const cut = seen.filter(e => e.matches('.scroll') && e.scrollWidth > e.clientWidth + 1);"
    "return [...wide, ...cut].map(e => e.tagName + ' ' + e.textContent.trim().slice(0, 40)); })()"
)


@CHROMIUM
@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("name", FOLDERS)
def test_no_column_is_cut_on_paper(pages, opened, name, paper):
    """With everything unfolded."""
    opened.open(pages[name][0])
    opened.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    opened.send("Emulation.setEmulatedMedia", media="print")
    try:
        opened.resize(int(PAPER[paper]), 1000)
        assert opened.run("document.querySelectorAll('table').length") > 3
        assert opened.run(OUTSIDE) == []
    finally:
        opened.send("Emulation.setEmulatedMedia", media="")


@CHROMIUM
@pytest.mark.parametrize("name", FOLDERS)
def test_a_phone_need_not_scroll_sideways(pages, opened, name):
    """With everything unfolded; a wide table is a card for each row, each figure beside its column's name."""
    opened.resize(390, 844)
    opened.open(pages[name][0])
    opened.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert opened.run("document.documentElement.scrollWidth") <= 390
    assert opened.run(OUTSIDE) == []
    cell = "document.querySelector('table.cards tr:nth-child(2) td:nth-child(3)')"
    assert opened.run(f"getComputedStyle({cell}).display") == "flow-root"
    assert opened.run(f"getComputedStyle({cell}, '::before').content.length > 2 && {cell}.dataset.column.length > 0")
    assert opened.run(f"getComputedStyle({cell}.closest('table').rows[0]).display") == "none"


@CHROMIUM
@pytest.mark.parametrize("width", [1280, 760, 390])
def test_no_word_is_broken_in_the_column_of_thresholds(pages, opened, width):
    """A broken word has boxes on more than one line."""
    opened.resize(width, 800)
    opened.open(pages["sustain"][0])
    opened.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    broken = opened.run(
        "(() => { const found = []; for (const cell of document.querySelectorAll('.thresholds td:nth-child(-n+2)')) {"
        "const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT); let node; while (node = walk.nextNode())"
        "for (const word of node.data.matchAll(/[^\\s]+/g)) { const range = document.createRange(); range.setStart(node, word.index);"
        "range.setEnd(node, word.index + word[0].length); const lines = new Set([...range.getClientRects()].map(r => Math.round(r.top)));"
        "if (lines.size > 1) found.push(word[0]); } } return found; })()"
    )
    assert broken == [] and opened.run("document.querySelectorAll('.thresholds td').length") == 20
