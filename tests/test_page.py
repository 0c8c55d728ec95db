"""The one-file page: from a small study put together by hand, opened in a real browser without network."""

import base64
import json
import re
import time
from html.parser import HTMLParser
from types import SimpleNamespace

import box_cases as cases
import browser
import numpy as np
import pytest
from rim_cases import air_by_hand

from fem.elements import space
from meshes.body import top_height
from meshes.build import mesh_body
from meshes.coupled_model import fluid_domain
from meshes.outline import point_at
from meshes.sheet_strings import strung
from meshes.side_ports import openings_of
from studies.common.groups import GROUPS, IN_RIM
from studies.common.words import percent
from studies.drawing.boards import boards_of
from studies.page import (
    behind as page_behind,
)
from studies.page import (
    charts as page_charts,
)
from studies.page import (
    energy_flow,
)
from studies.page import (
    modes as page_modes,
)
from studies.page import (
    question as page,
)
from studies.page import (
    sections as page_sections,
)
from studies.page.scene import Shape, ViewerScene, aligned, outward, packed, paired_shapes, surface_of
from studies.page.sustain import wav
from studies.rim import air as rim_air
from studies.solved import dry as solved_dry
from studies.solved import level as solved_level
from studies.sustain import solve as sustain

CHOSEN = ("sheet", "solid_laminated", "doubled_sides")
CHROMIUM = pytest.mark.skipif(browser.find() is None, reason="no Chromium on this machine: the page is not opened")
LARGEST = 8e6


def test_the_pages_notes_are_plucked_as_those_of_sustain(tmp_path, monkeypatch):
    """With every assumption about strings and pluck, from the one place that makes them."""
    body = cases.oval(tmp_path)
    monkeypatch.setattr(sustain, "play_builds", lambda body, playing, *_, **__: playing)
    playing = page.played(body, 0.06, tmp_path, fluid_domain)
    assert playing.assumed == strung(body).assumed
    assert {"strings.set", "strings.pluck_place_mm", "strings.pluck_force_N"} <= {a.key for a in playing.assumed}


# --- a study put together by hand ---


@pytest.fixture(scope="module")
def air(tmp_path_factory):
    return air_by_hand(tmp_path_factory.mktemp("page"), CHOSEN)


@pytest.fixture(scope="module")
def scene(air):
    """Three modes on the box's own surface: swelling, tilting, and one that the last build does not have."""
    surface = surface_of(air.body, 0.03)
    x, y, z = surface.points.T
    swell = surface.normal * (np.abs(surface.normal[:, 2]) * np.exp(-((x - 0.23) ** 2 + y**2) / 0.02))[:, None]
    tilt = np.column_stack([0 * x, 0 * x, (x - 0.235) / 0.235])
    roll = np.column_stack([0 * x, -z, y]) * 4
    hertz = (100.0, 180.5, 240.0)
    shapes = {
        b.name: [Shape(f + k, 0.01, (1 + 0.1 * k) * m) for f, m in zip(hertz, (swell, tilt, roll))]
        for k, b in enumerate(air.builds)
    }
    shapes[air.builds[-1].name][2] = None
    return ViewerScene(
        surface, tuple((b.name, b.label) for b in air.builds), shapes, ("top swells", "box tilts", "box rolls")
    )


DOT = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
)


@pytest.fixture(scope="module")
def sounds():
    t = np.arange(11025) / 11025
    note = page_sections.inline(wav(0.5 * np.sin(2 * np.pi * 220 * t) * np.exp(-3 * t)), "audio/wav")
    return page_sections.Sound("as on the sheet", note, "A short phrase"), page_sections.Sound("solid linings", note)


@pytest.fixture(scope="module", autouse=True)
def cheap():
    """The words on joints come from solid cross-sections, which have tests of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(page_behind, "joint_of", lambda body, plate: SimpleNamespace(words=f"joint of the {plate}"))
        yield


@pytest.fixture(scope="module")
def file(air, scene, sounds, tmp_path_factory):
    path = tmp_path_factory.mktemp("written") / "page.html"
    page.written(page.Found(air, scene, DOT, sounds=sounds), path)
    return path


@pytest.fixture(scope="module")
def text(file):
    return file.read_text(encoding="utf-8")


# --- what is written ---


class Tags(HTMLParser):
    """Checks that tags close; gathers ids, links, pictures without words and everything that would be fetched."""

    VOID = ("meta", "br", "img", "link", "input", "path", "rect", "circle", "hr")

    def __init__(self, text):
        super().__init__()
        self.stack, self.ids, self.links, self.wordless, self.fetched = [], [], [], [], []
        self.feed(text)
        assert not self.stack, self.stack

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if tag not in self.VOID:
            self.stack.append(tag)
        self.ids += [found["id"]] if "id" in found else []
        self.links += [found["href"]] if tag == "a" else []
        self.fetched += [found[k] for k in ("src", "srcset", "data", "poster") if k in found]
        self.fetched += [found["href"]] if tag == "link" else []
        if (tag == "img" and len(found.get("alt", "")) < 20) or (
            tag == "svg" and len(found.get("aria-label", "")) < 20
        ):
            self.wordless.append((tag, found.get("id")))

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.stack.pop()

    def handle_endtag(self, tag):
        if tag not in self.VOID:
            assert self.stack and self.stack.pop() == tag, tag


def test_page_is_one_file_with_nothing_to_fetch(file, text):
    tags = Tags(text)
    assert file.stat().st_size < LARGEST
    assert all(address.startswith("data:") for address in tags.fetched) and tags.fetched
    assert not re.search(r"https?://|@import|url\((?!#)", text)
    assert not tags.wordless
    assert len(set(tags.ids)) == len(tags.ids)
    assert all(link.startswith("#") and link[1:] in tags.ids for link in tags.links) and len(tags.links) > 6


def test_sections_come_in_the_order_of_a_reader(text):
    wanted = ("flow", "builds", "mobility", "modes", "stills", "listen", "doubts", "assumed", "sources", "provenance")
    places = [text.index(f'<section id="{key}">') for key in wanted]
    assert places == sorted(places)
    assert text.index("turns to heat in the rim as the sheet builds it") < places[0]


def test_what_is_absent_leaves_no_gap(air):
    text = page.page_html(page.page_of(page.Found(air)))
    for key in ("modes", "stills", "listen", "drying", "maps", "hearing"):
        assert f'id="{key}"' not in text and f'href="#{key}"' not in text
    assert "<audio" not in text and "viewer-data" not in text and "undefined" not in text


def test_a_page_too_large_is_refused(air, monkeypatch, tmp_path):
    monkeypatch.setattr(page, "LARGEST", 1000)
    with pytest.raises(page.BadInput, match="--no-sounds"):
        page.written(page.Found(air), tmp_path / "p.html")
    assert not (tmp_path / "p.html").exists()


# --- the flow ---


def test_flow_leaves_nothing_out():
    share = dict.fromkeys(GROUPS, 0.0) | {"radiation": 0.3, "string": 0.4, "top": 0.2, "sides": 0.06, "joints": 0.04}
    found = energy_flow.branches(share)
    assert sum(b.share for b in found) == pytest.approx(1)
    assert [b.kind for b in found] == ["sound", "string", "heat", "rim"]
    assert found[-1].share == pytest.approx(sum(c.share for c in found[-1].children)) == pytest.approx(0.1)
    words = energy_flow.flow_in_words(found, "a pluck")
    assert "heat in the rim 10.0 % (sides 6.0 %, joints 4.0 %)" in words
    with pytest.raises(ValueError, match="glue"):
        energy_flow.branches(share | {"glue": 0.1})


def test_every_group_has_its_ribbon():
    names = [*GROUPS, "string"]
    found = energy_flow.branches(dict.fromkeys(names, 1 / len(names)), "the player")
    assert sum(b.share for b in found) == pytest.approx(1)
    assert [c.words for c in found[-2].children] == list(IN_RIM)
    told = [b.words for b in found if not b.children]
    assert all(told) and len(set(told)) == len(names) - len(IN_RIM) and found[-1].words == "into the player"


def test_each_way_to_hold_it_has_its_own_flow_and_table(air):
    """By hand: a third to sound, 10 % to what holds it, 8 % to the rim hung free and 9 % on the lap, the rest to the top."""
    flow, tables = page_sections.power_flow(air), page_sections.power_tables(air).tables
    for drawing, table, held, holder, rim in zip(
        flow.drawings, tables, ("Hung free", "On the lap"), ("the bands", "the player"), (8.0, 9.0)
    ):
        assert drawing.heading == table.heading == held
        for svg in (drawing.wide, drawing.narrow):
            words = re.search('aria-label="([^"]+)"', svg)[1]
            assert f"heat in the rim {rim} % (sides {rim} %)" in words and "goes out as sound 33.3 %" in words
            assert f"heat in the top {100 - 100 / 3 - 10 - rim:.1f} %" in words and f"into {holder} 10.0 %" in words
        assert f"into {holder}" in table.head and "weight of the rim with blocks" in table.head
        own, solid, _ = table.rows
        assert own[1:5] == ("400 g", f"{rim} %\n± 0.3", "33.3 %\n± 0.1", "10.0 %") and own[6] == "–"
        assert solid[1:3] == ("420 g\n+20 g", f"{rim - 1} %\n± 0.6")


def test_ribbons_are_as_broad_as_their_shares():
    share = dict.fromkeys(GROUPS, 0.0) | {"radiation": 0.5, "top": 0.25, "sides": 0.2, "supports": 0.05}
    svg = energy_flow.flow_svg(energy_flow.branches(share, "the player"), "power", "t")
    bars = [float(h) for h in re.findall(r'<rect x="[\d.]+" y="[\d.]+" width="11" height="([\d.]+)"', svg)]
    # the whole, then sound, top, rim, its sides, supports
    assert bars == pytest.approx([250, 125, 62.5, 50, 50, 12.5])
    assert "into the player" in svg


def test_small_shares_are_told_and_not_rounded_to_nothing():
    assert percent(0.0002) == "< 0.1 %" and percent(0.123) == "12.3 %"


# --- curves ---


def test_curves_end_where_the_modes_do():
    f = np.geomspace(40, 1000, 50)
    svg = page_charts.curves_svg(
        [page_charts.Curve("one", f, -40 + 0 * f), page_charts.Curve("two", f, -38 + 0 * f)], "dB", valid_to=500.0
    )
    paths = re.findall(r'<path d="(M[^"]+)" fill="none"', svg)
    assert len(paths) == 3  # two curves, one difference
    x = [float(p.split(" ")[0]) for p in paths[0][1:].split("L")]
    assert len(x) == np.sum(f <= 500) and max(x) < 700


# --- the scene ---


def test_surface_is_the_box_with_its_openings_open(air):
    surface = surface_of(air.body, 0.03)
    p = surface.points[surface.triangles]
    n = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    assert np.allclose(np.linalg.norm(surface.normal, axis=1), 1)
    assert (np.sum(n * surface.normal[surface.triangles].mean(axis=1), axis=1) > 0).all()  # outward, all of them
    hole = np.linalg.norm(p.mean(axis=1)[:, :2] - air.body.soundhole.centre, axis=1) < 0.8 * air.body.soundhole.radius
    assert not (hole & (n[:, 2] > 0)).any() and (hole & (n[:, 2] < 0)).any()  # open above, the back below
    assert set(surface.lines) == {"edge", "part"} and surface.lines["edge"].max() < len(surface.points) < 65536


def test_a_side_port_is_open_and_outlined(air, tmp_path):
    port = {"side": "bass", "from_neck_mm": 324, "below_top_mm": 52, "diameter_mm": 40}
    body = cases.oval(tmp_path, side_port=[port])
    surface, bare = surface_of(body, 0.015), surface_of(air.body, 0.015)
    ((arc, depth, radius),) = openings_of(body)
    x, y = point_at(body.outline, arc)
    centre = np.array([x, y, float(top_height(body, x, y)) - depth])
    away = lambda s: np.linalg.norm(s.points[s.triangles].mean(axis=1) - centre, axis=1)
    assert away(bare).min() < 0.7 * radius < 0.9 * radius < away(surface).min()
    of_sides = lambda s: s.lines["edge"][np.isin(s.lines["edge"], s.groups["sides"]).all(axis=1)]
    assert not len(of_sides(bare))
    edge = surface.points[of_sides(surface).ravel()]
    assert len(edge) > 20 and np.linalg.norm(edge - centre, axis=1) == pytest.approx(radius, rel=0.1)


def struck(body, w):
    """Structure and modes of one shape on a coarse mesh of the box: the top moves by w(x, y) along z, the rest is still."""
    V = space(mesh_body(body, 0.09))
    shape = np.zeros((len(V.points), 6))
    on_top = V.nodes_of("top")
    shape[on_top, 2] = w(*V.points[on_top, :2].T)
    return SimpleNamespace(space=V, body=body, frequency=np.ones(1), shape=shape.reshape(-1, 1))


def sounded(phase):
    return SimpleNamespace(frequency=np.array([100.0]), loss_factor=np.array([0.01]), shape=np.array([[phase]]))


def test_shapes_of_builds_are_read_plate_by_plate_and_go_along(air):
    """The top alone moves; the solver gave it inward and turned by any angle, and another build's the other way round."""
    body = air.body
    dome = lambda x, y: np.exp(-((x - 0.23) ** 2 + y**2) / 0.01)
    structure, surface = struck(body, dome), surface_of(body, 0.05)
    others = {"solid_laminated": (structure, sounded(0.5 * np.exp(2.5j)))}
    found = paired_shapes(surface, (structure, sounded(-np.exp(0.3j))), others, {"solid_laminated": np.array([0])})
    own, other = (found[name][0].motion[:, 2] for name in ("sheet", "solid_laminated"))
    inner = np.setdiff1d(surface.groups["top"], surface.lines["edge"])
    assert own[inner] == pytest.approx(dome(*surface.points[inner, :2].T), abs=0.05)
    assert np.abs(own[surface.groups["back"]]).max() < 1e-9
    assert other == pytest.approx(0.5 * own)
    only = ViewerScene(surface, (), {}, ("top swells",))
    column = page_modes._columns(surface, structure, sounded(-1j), 1)[:, 0]
    fields = boards_of(structure.space, structure.body, 6).moving(column)
    assert fields["top"].value.max() == fields["top"].largest == pytest.approx(1, abs=0.05)  # outward
    assert fields["back"].largest < 1e-9
    assert page_modes.contact_sheet(only, structure, sounded(-1j)).startswith(b"\x89PNG")


def test_phase_is_the_same_whatever_the_solver_gave(scene):
    """A complex mode turned by any angle comes out as one real motion; another build's goes along with it."""
    motion = np.stack([s.motion for s in scene.shapes["sheet"][:2]], axis=2)
    turned = motion * np.exp(1j * np.array([2.0, -1.2]))
    own = aligned(turned)
    own = own * outward(scene.surface, own)
    assert np.allclose(own, motion * outward(scene.surface, motion))
    other = aligned(own, motion * np.exp(1j * np.array([0.4, 3.0])))
    assert np.allclose(other, own)
    assert outward(scene.surface, -motion[..., :1]) == [-1] and outward(scene.surface, motion[..., :1]) == [1]


def test_packed_numbers_come_back(scene):
    data = json.loads(json.dumps(packed(scene, {})))
    array = lambda words, kind: np.frombuffer(base64.b64decode(words), kind)
    points = array(data["points"], "<i2").reshape(-1, 3) * data["unit"]
    assert np.abs(points - scene.surface.points).max() < 1e-5
    assert np.array_equal(array(data["triangles"], "<u2").reshape(-1, 3), scene.surface.triangles)
    mode = data["modes"][0]["builds"]["solid_laminated"]
    motion = array(mode["motion"], "<i2").reshape(-1, 3) / 32767 * mode["scale"]
    full = np.abs(np.sum(scene.shapes["sheet"][0].motion * scene.surface.normal, axis=1)).max()
    assert np.abs(motion - scene.shapes["solid_laminated"][0].motion / full).max() < 1e-4
    assert "doubled_sides" not in data["modes"][2]["builds"] and len(data["tones"]) == 11


# --- in a browser ---


@pytest.fixture(scope="module")
def opened(file, tmp_path_factory):
    with browser.Browser(tmp_path_factory.mktemp("browser")) as chromium:
        chromium.open(file)
        chromium.run("document.querySelector('#viewer').scrollIntoView()")
        yield chromium


PIXELS = "document.querySelector('#viewer canvas').toDataURL()"


def stopped(chromium, pause=0.15):
    """The picture after everything asked for was drawn."""
    time.sleep(pause)
    return chromium.run(PIXELS)


def status(chromium):
    return chromium.run("document.querySelector('#viewer [name=status]').textContent")


def coloured(chromium):
    """Share of the canvas that is neither white nor grey."""
    return chromium.run(
        "(() => { const c = document.querySelector('#viewer canvas'), f = document.createElement('canvas'); f.width = c.width;"
        "f.height = c.height; const p = f.getContext('2d'); p.drawImage(c, 0, 0); const d = p.getImageData(0, 0, f.width, f.height).data;"
        "let n = 0; for (let i = 0; i < d.length; i += 4) if (Math.max(d[i], d[i+1], d[i+2]) - Math.min(d[i], d[i+1], d[i+2]) > 24) n++;"
        "return 4 * n / d.length; })()"
    )


@CHROMIUM
def test_viewer_draws_moves_and_stops(opened):
    assert opened.run("!document.querySelector('#viewer').classList.contains('still')"), "no WebGL in this Chromium"
    assert coloured(opened) > 0.05
    frames = {stopped(opened) for _ in range(4)}
    assert len(frames) > 1
    opened.run("document.querySelector('#viewer [name=play]').click()")
    assert stopped(opened) == stopped(opened, 0.4)


@CHROMIUM
def test_modes_and_builds_switch(opened):
    choose = "(() => {{ const s = document.querySelector('#viewer [name={}]'); s.value = '{}'; s.dispatchEvent(new Event('change')); }})()"
    before = stopped(opened)
    opened.run(choose.format("mode", 1))
    assert status(opened).startswith("Mode 2 of 3: 180.5 Hz") and "box tilts" in status(opened).lower()
    second = stopped(opened)
    assert second != before
    opened.run(choose.format("build", "solid_laminated"))
    assert "181.5 Hz" in status(opened) and "solid laminated" in status(opened)
    opened.run(choose.format("build", "doubled_sides"))
    opened.run(choose.format("mode", 2))
    assert "no mode of this build" in status(opened)
    opened.run(choose.format("build", "sheet"))
    opened.run(choose.format("mode", 1))
    assert stopped(opened) == second


@CHROMIUM
def test_keys_and_mouse_do_what_the_page_says(opened):
    opened.run("document.querySelector('#viewer canvas').focus()")
    start = stopped(opened)
    for key, back in (("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown"), ("+", "-"), ("v", "v")):
        opened.press(key)
        assert stopped(opened) != start, key
        opened.press(back)
        assert stopped(opened) == start, back
    opened.press("n")
    assert status(opened).startswith("Mode 3")
    opened.press("p")
    opened.press("b")
    assert "solid laminated" in status(opened)
    opened.press(" ")
    assert len({stopped(opened) for _ in range(3)}) > 1
    opened.press(" ")
    box = opened.run("document.querySelector('#viewer canvas').getBoundingClientRect().toJSON()")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = stopped(opened)
    opened.drag((x, y), (x + 60, y + 10))
    assert stopped(opened) != before


@CHROMIUM
def test_page_fits_a_phone_and_paper(opened, tmp_path):
    opened.resize(400, 800)
    try:
        assert opened.run("document.documentElement.scrollWidth") <= 400
        assert opened.run("getComputedStyle(document.querySelector('.wide')).display") == "none"
        opened.run("document.querySelector('#viewer').scrollIntoView()")
        assert coloured(opened) > 0.05
    finally:
        opened.resize(760, 760)
    opened.print(tmp_path / "page.pdf")
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")


@CHROMIUM
@pytest.mark.skipif(browser.axe() is None, reason="axe-core is not installed: accessibility is not checked")
def test_axe_finds_no_fault(opened):
    assert opened.faults() == []


@CHROMIUM
def test_a_sound_plays(opened):
    found = opened.run(
        "new Promise((done) => { const a = document.querySelector('audio'); a.preload = 'auto';"
        "a.onloadedmetadata = () => done(a.duration); a.onerror = () => done('error'); a.load(); })"
    )
    assert found == pytest.approx(1.0, abs=0.01)


@CHROMIUM
def test_without_webgl_there_is_a_still_picture(file, tmp_path):
    with browser.Browser(tmp_path, flags=("--disable-gpu", "--disable-3d-apis")) as chromium:
        chromium.open(file)
        assert chromium.run("document.querySelector('#viewer').classList.contains('still')")
        assert coloured(chromium) > 0.05
        before = chromium.run(PIXELS)
        chromium.run("document.querySelector('#viewer canvas').focus()")
        chromium.press("n")
        assert chromium.run(PIXELS) != before
        assert not [entry for entry in chromium.log if entry[0] in ("error", "exception")]


@CHROMIUM
def test_nothing_was_asked_for_and_nothing_went_wrong(opened):
    """Last: everything that the tests above did is in the log."""
    assert not [address for address in opened.asked if not address.startswith(("file:", "data:", "blob:"))]
    assert not opened.log


# --- the whole way ---


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_from_the_sheet_to_the_file(tmp_path, monkeypatch):
    """A bare oval box on coarse meshes of everything: every study is run, its rows are kept, the file holds every section."""
    from meshes.coupled_model import fluid_domain
    from studies.common import builds as rim_builds
    from studies.sustain import question as sustain
    from studies.sustain import solve as sustain_solve
    from studies.weather import solve as weather_solve

    some = lambda body: [b for b in rim_builds.builds(body) if b.name in CHOSEN[:2]]
    for module in (rim_air, sustain_solve, weather_solve):
        monkeypatch.setattr(module, "builds", some)
    monkeypatch.setattr(page, "fluid_domain", lambda body: fluid_domain(body, 300.0, 0.09, 0.13))
    for module in (page, solved_level):
        monkeypatch.setattr(module, "DRY_MODES", 16)
    monkeypatch.setattr(sustain, "FRETS", 2)
    monkeypatch.setattr(page, "MODES", 4)
    monkeypatch.chdir(tmp_path)
    solved, row_of = [], solved_dry.row_of
    monkeypatch.setattr(solved_dry, "row_of", lambda *a: solved.append((a[0].name, a[1].size)) or row_of(*a))
    said = page.write_reader_page(cases.oval_sheet(tmp_path), size_mm=60.0)
    # two builds in cubic elements on both of sustain's meshes, the sheet's own in the two spaces of the mesh error: each once
    assert len(solved) == len(set(solved)) == 2 * 2 + 2
    text = (tmp_path / "out" / "oval-page.html").read_text(encoding="utf-8")
    for key in "flow hearing builds maps mobility modes stills drying listen doubts assumed sources".split():
        assert f'<section id="{key}">' in text
    assert not Tags(text).wordless and "one file, no network needed" in said
    kept = {p.name: p.stat().st_ino for p in (tmp_path / "out" / "kept").glob("*.npz")}
    page.write_reader_page(tmp_path / "oval.toml", size_mm=60.0, weather=False, sounds=False)
    again = {p.name: p.stat().st_ino for p in (tmp_path / "out" / "kept").glob("*.npz")}
    assert again == kept
    text = (tmp_path / "out" / "oval-page.html").read_text(encoding="utf-8")
    assert 'id="drying"' not in text and "<audio" not in text
