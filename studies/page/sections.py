"""What each study found, turned into sections of the one-file page: words, tables, drawings as text."""

import base64
import json
from dataclasses import dataclass

import numpy as np

from meshes.holding import FREE, LAP
from studies.common.table import Table
from studies.common.two_meshes import LIMIT
from studies.common.words import percent, signed
from studies.page import charts as page_charts
from studies.page import energy_flow
from studies.page.modes import viewer_data
from studies.rim.air import HOLDINGS
from studies.rim.air_page import measures
from studies.solved.power import SUMMARY, summary

WIDE, NARROW = 760.0, 366.0  # pixels of drawings on a desk and in the hand
HELD = {FREE: "Hung free", LAP: "On the lap"}
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
class Section:
    """One section; what it has not got is left out. Lines that start with '- ' become a list."""

    key: str
    heading: str
    name: str = ""  # in the row of links
    texts: tuple = ()
    drawings: tuple = ()
    pictures: tuple = ()
    viewer: dict | None = None
    tables: tuple = ()
    sounds: tuple = ()
    after: tuple = ()
    in_words: bool = False  # tables of words, not of figures


@dataclass(frozen=True)
class Page:
    """Everything that the template fills in."""

    title: str
    label: str
    answer: tuple
    sections: tuple


def inline(data, kind):
    """Data URI of bytes; kind: 'image/png' and the like."""
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def flow_drawing(share, source, how, name):
    """Drawing of an energy flow {group: share} of a guitar held one way."""
    found = energy_flow.branches(share, HOLDER[how])
    wide, narrow = (energy_flow.flow_svg(found, source, f"{name}-{k}", w) for k, w in (("w", WIDE), ("n", NARROW)))
    return Drawing(HELD[how], wide, narrow)


# --- power at the bridge, with air ---


def power_flow(air):
    """Section: where the power of a force at the saddle goes, for every way to hold the body."""
    drawings = []
    for k, how in enumerate(HOLDINGS):
        found = summary(air.fine.results["sheet", how].driven)
        share = {g: v for g, v in found.items() if g in energy_flow.GROUPS}
        drawings.append(flow_drawing(share, "power put in at the saddle", how, f"power{k}"))
    note = (
        f"The sheet's own build. Power of a steady force out of the top at the saddle's middle, {_band(air)}, every frequency alike on a "
        "logarithmic scale. Breadth of a ribbon: its share. Braces are those of top and back; the heat in the opening is friction of the air."
    )
    return Section(
        "flow", "From the bridge to each part and to the air", "energy flow", drawings=tuple(drawings), after=(note,)
    )


def _band(air):
    high = min(SUMMARY[1], air.fine.results["sheet", FREE].driven.valid_to)
    return f"{SUMMARY[0]:.0f} to {high:.0f} Hz"


def power_tables(air):
    """Section: every build beside the sheet's own."""
    rows, tables = measures(air), []
    for how in HOLDINGS:
        own = next(r for r in rows if r["how"] == how and r["build"] == "sheet")
        cells = tuple(_power_row(r, own) for r in rows if r["how"] == how)
        head = ("build of the rim", "weight of the rim with blocks", "heat in the rim", "goes out as sound", f"into {HOLDER[how]}",
                "heat elsewhere", "sound for the same force")  # fmt: skip
        tables.append(Table(HELD[how], head, cells))
    text = (
        f"Shares of the power put in at the saddle, {_band(air)}. Heat is a loss; what the rim stores is given back each half period and "
        "does not stand here. Small print: the mesh error, which is one of four doubts (see below)."
    )
    return Section("builds", "Builds side by side", "builds", texts=(text,), tables=tuple(tables))


def _power_row(row, own):
    share = lambda key: f"{percent(row[key])}\n± {max(0.1, 100 * row[f'{key}_error']):.1f}"
    elsewhere = 1 - row["rim"] - row["radiation"] - row["supports"]
    base = row is own
    return (
        row["label"] + (f"\n{row['note']}" if row["note"] else ""),
        grams(row["rim_g"], own["rim_g"], base),
        share("rim"),
        share("radiation"),
        percent(row["supports"]),
        percent(elsewhere, 0),
        "–" if base else f"{signed(row['sound_db'], 1)} dB\n± {max(0.1, row['sound_db_error']):.1f}",
    )


def grams(rim, own, base):
    """'312 g', and below it how much more that is than the sheet's own rim; base: it is that."""
    return f"{rim:.0f} g" + ("" if base else f"\n{signed(rim - own, 0)} g")


def mobility(air):
    """Section: bridge mobility of every build over frequency."""
    drawings = []
    for how in HOLDINGS:
        rows = [air.fine.results[b.name, how] for b in air.builds if b.name != LIMIT]
        curves = [
            page_charts.Curve(r.build.label, r.driven.frequency, 20 * np.log10(np.abs(r.driven.mobility))) for r in rows
        ]
        valid_to = min(r.driven.valid_to for r in rows)
        draw = lambda w, c=curves, v=valid_to: page_charts.curves_svg(c, "mobility |v/F|, dB re 1 s/kg", w, v)
        drawings.append(Drawing(HELD[how], draw(WIDE), draw(NARROW)))
    text = (
        "How readily the saddle moves for a force out of the top. Each peak is a mode of body and air; a rim build shows as a peak that "
        "moves or changes its height. Grey: above the computed modes, not answered for."
    )
    return Section("mobility", "Mobility at the bridge", "mobility", texts=(text,), drawings=tuple(drawings))


# --- modes ---


def modes_section(scene, sheet_png, short, size):
    """Section: the viewer, and the same modes still."""
    data, n = viewer_data(scene, short), len(scene.labels)
    tones = data["tones"]
    steps = [f"{tone} {100 * k / len(tones):.1f}% {100 * (k + 1) / len(tones):.1f}%" for k, tone in enumerate(tones)]
    viewer = {
        "data": json.dumps(data, separators=(",", ":")).replace("</", "<\\/"),
        "modes": [f"{scene.shapes['sheet'][k].frequency:.0f} Hz, {label}" for k, label in enumerate(scene.labels)],
        "builds": data["builds"],
        "steps": steps,
        "without": "A moving picture of the box, which this browser cannot draw; still pictures follow.",
    }
    text = (
        f"The first {n} modes of body and air, hung free (mesh {1e3 * size:.0f} mm): near to what taps on the finished box show. Reports of the "
        "dry box, without air, name other frequencies."
    )
    alt = f"Contact sheet of {n} modes, top and back: " + "; ".join(viewer["modes"])
    still = Picture(
        inline(sheet_png, "image/png"),
        alt,
        "The same modes of the sheet's own build, still; each on its own colour scale.",
    )
    return Section("modes", "Modes in motion", "modes", texts=(text,), viewer=viewer), Section(
        "stills", "The modes, still", pictures=(still,)
    )


# --- drying ---


def drying(study, picture):
    """Section of the weather study (studies.weather.Weather); picture: PNG bytes or None."""
    from studies.weather import words as weather_report

    tables = [f(study, used) for used in study.used for f in (weather_report.stress_table, weather_report.shape_table)]
    pictures = ()
    if picture is not None:
        used = min(study.changes, key=study.changes.get)
        words = f"Stress across the grain at {used:g} % relative humidity, every rim build on one scale; light is pulled, dark is pressed."
        pictures = (Picture(inline(picture, "image/png"), words, words),)
    return Section(
        "drying", "Dry air: what a stiffer rim costs", "drying", texts=tuple(weather_report.answer(study)), pictures=pictures,
        tables=tuple(tables),
        after=("Elastic, without creep, which eases stress with time. A stiffer rim holds the plates' width better and strains them more.",),
    )  # fmt: skip
