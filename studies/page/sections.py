"""What each study found, turned into sections of the one-file page: words, tables, drawings as text."""

import base64
import json
from dataclasses import dataclass

import numpy as np

from meshes.supports import FREE, LAP, PLAYED
from studies.common.mesh_error import LIMIT
from studies.common.table import Table
from studies.common.words import percent, signed
from studies.page import energy_flow
from studies.page.charts import Curve, curves_svg
from studies.page.scene import TONES, ViewerScene, packed, tones
from studies.rim.air_words import answered_range, measures
from studies.rim.result import SUPPORT_CONDITIONS, AirStudy
from studies.solved.power import summary
from studies.weather import words as weather_words
from studies.weather.result import Weather

WIDTHS = (760.0, 366.0)  # pixels of drawings on a desk and in the hand
HELD = {FREE: "Hung free", LAP: "On the lap", PLAYED: "Played"}
HOLDER = {FREE: "the bands", LAP: "the player"}


@dataclass(frozen=True)
class Drawing:
    """An inline SVG in two widths."""

    heading: str
    wide: str
    narrow: str


@dataclass(frozen=True)
class Picture:
    """A picture inside the page; scrolls sideways in the hand rather than shrink."""

    uri: str
    alt: str
    note: str = ""


@dataclass(frozen=True)
class Sound:
    """A sound inside the page; the first of several of the same notes bears their heading."""

    label: str
    uri: str
    heading: str = ""


@dataclass(frozen=True)
class Viewer:
    """Modes in motion, to be turned by hand."""

    data: str  # JSON
    modes: tuple[str, ...]
    builds: tuple[tuple[str, str], ...]  # (name, label)
    steps: tuple[str, ...]  # of a CSS gradient


@dataclass(frozen=True)
class Section:
    """One section; what it has not got is left out. Lines that start with '- ' become a list."""

    key: str
    heading: str
    name: str = ""  # in the row of links
    texts: tuple[str, ...] = ()
    drawings: tuple[Drawing, ...] = ()
    pictures: tuple[Picture, ...] = ()
    viewer: Viewer | None = None
    tables: tuple[Table, ...] = ()
    sounds: tuple[Sound, ...] = ()
    after: tuple[str, ...] = ()
    in_words: bool = False  # tables of words, not of figures


@dataclass(frozen=True)
class Page:
    """Everything that the template fills in."""

    title: str
    label: str
    answer: tuple[str, ...]
    sections: tuple[Section, ...]


def inline(data: bytes, kind: str) -> str:
    """Data URI of bytes; kind: 'image/png' and the like."""
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def flows(start: str, shares: dict[str, dict[str, float]], source: str, note: str) -> Section:
    """Section: energy from a `start`, 'bridge', to every part; shares: {how the guitar is held: {group: share}} of `source`."""
    drawings = []
    for k, (how, share) in enumerate(shares.items()):
        ribbons = energy_flow.branches(share, HOLDER[how])
        names = (f"{start}{k}-{end}" for end in "wn")
        drawings.append(
            Drawing(HELD[how], *(energy_flow.flow_svg(ribbons, source, n, w) for n, w in zip(names, WIDTHS)))
        )
    note = (
        f"The sheet's own build{note} Breadth of a ribbon: its share. Braces are those of top and back; the heat in the opening is friction "
        "of the air."
    )
    heading = f"From the {start} to each part and to the air"
    return Section("flow", heading, "energy flow", drawings=tuple(drawings), after=(note,))


# --- power at the bridge, with air ---


def power_flow(air: AirStudy) -> Section:
    """Section: where the power of a force at the saddle goes, for every way to support the body."""
    driven = {how: summary(air.fine.results["sheet", how].driven) for how in SUPPORT_CONDITIONS}
    shares = {how: {g: v for g, v in values.items() if g in energy_flow.GROUPS} for how, values in driven.items()}
    note = f". Power of a steady force out of the top at the saddle's middle, {_band(air)}, every frequency alike on a logarithmic scale."
    return flows("bridge", shares, "power put in at the saddle", note)


def _band(air):
    low, high = answered_range(air)
    return f"{low:.0f} to {high:.0f} Hz"


def power_tables(air: AirStudy) -> Section:
    """Section: every build beside the sheet's own."""
    rows, tables = measures(air), []
    for how in SUPPORT_CONDITIONS:
        supported = [row for row in rows if row["how"] == how]
        own = next(row for row in supported if row["build"] == "sheet")
        head = ("build of the rim", "weight of the rim with blocks", "heat in the rim", "goes out as sound", f"into {HOLDER[how]}",
                "heat elsewhere", "sound for the same force")  # fmt: skip
        tables.append(Table(HELD[how], head, tuple(_power_row(row, own) for row in supported)))
    text = (
        f"Shares of the power put in at the saddle, {_band(air)}. Heat is a loss; what the rim stores is given back each half period and "
        "does not stand here. Small print: the mesh error, which is one of the doubts (see below)."
    )
    return Section("builds", "Builds side by side", "builds", texts=(text,), tables=tuple(tables))


def _power_row(row, own):
    share = lambda key: f"{percent(row[key])}\n± {max(0.1, 100 * row[f'{key}_error']):.1f}"
    elsewhere = 1 - row["rim"] - row["radiation"] - row["supports"]
    base = row is own
    return (
        noted_label(row["label"], row["note"]),
        grams(row["rim_g"], own["rim_g"], base),
        share("rim"),
        share("radiation"),
        percent(row["supports"]),
        percent(elsewhere, 0),
        "–" if base else f"{signed(row['sound_db'], 1)} dB\n± {max(0.1, row['sound_db_error']):.1f}",
    )


def noted_label(words: str, note: str) -> str:
    """A build's label, its note in small print below."""
    return f"{words}\n{note}" if note else words


def grams(rim: float, own: float, base: bool) -> str:
    """'312 g', and below it how much more that is than the sheet's own rim; base: it is that."""
    return f"{rim:.0f} g" + ("" if base else f"\n{signed(rim - own, 0)} g")


def mobility(air: AirStudy) -> Section:
    """Section: bridge mobility of every build over frequency."""
    drawings = []
    for how in SUPPORT_CONDITIONS:
        driven = {b.label: air.fine.results[b.name, how].driven for b in air.builds if b.name != LIMIT}
        curves = [Curve(words, d.frequency, 20 * np.log10(np.abs(d.mobility))) for words, d in driven.items()]
        valid_to = min(d.valid_to for d in driven.values())
        drawn = (curves_svg(curves, "mobility |v/F|, dB re 1 s/kg", width, valid_to) for width in WIDTHS)
        drawings.append(Drawing(HELD[how], *drawn))
    text = (
        "How readily the saddle moves for a force out of the top. Each peak is a mode of body and air; a rim build shows as a peak that "
        "moves or changes its height. Grey: above the computed modes, not answered for."
    )
    return Section("mobility", "Mobility at the bridge", "mobility", texts=(text,), drawings=tuple(drawings))


# --- modes ---


def modes_section(
    scene: ViewerScene, sheet_png: bytes, short: dict[str, str], size: float
) -> tuple[Section, Section]:  # fmt: skip
    """Sections: the viewer, and the same modes still (PNG). short: {build: words}; size [m] of the mesh."""
    n = len(scene.labels)
    modes = tuple(f"{s.frequency:.0f} Hz, {words}" for s, words in zip(scene.own, scene.labels))
    steps = tuple(f"{tone} {100 * k / TONES:.1f}% {100 * (k + 1) / TONES:.1f}%" for k, tone in enumerate(tones()))
    data = json.dumps(packed(scene, short), separators=(",", ":")).replace("</", "<\\/")
    text = (
        f"The first {n} modes of body and air, hung free (mesh {1e3 * size:.0f} mm): near to what taps on the finished box show. Reports of the "
        "dry box, without air, name other frequencies."
    )
    still = Picture(
        inline(sheet_png, "image/png"), f"Contact sheet of {n} modes, top and back: " + "; ".join(modes),
        "The same modes of the sheet's own build, still; each on its own colour scale.",
    )  # fmt: skip
    viewer = Viewer(data, modes, scene.builds, steps)
    return (
        Section("modes", "Modes in motion", "modes", texts=(text,), viewer=viewer),
        Section("stills", "The modes, still", pictures=(still,)),
    )


# --- drying ---


def drying_section(study: Weather, picture: bytes) -> Section:
    """Section of the weather study; picture: PNG."""
    tables = [f(study, used) for used in study.used for f in (weather_words.stress_table, weather_words.shape_table)]
    used = min(study.changes, key=lambda humidity: study.changes[humidity])
    words = f"Stress across the grain at {used:g} % relative humidity, every rim build on one scale; light is pulled, dark is pressed."
    return Section(
        "drying", "Dry air: what a stiffer rim costs", "drying", texts=tuple(weather_words.answer(study)),
        pictures=(Picture(inline(picture, "image/png"), words, words),), tables=tuple(tables),
        after=("Elastic, without creep, which eases stress with time. A stiffer rim holds the plates' width better and strains them more.",),
    )  # fmt: skip
