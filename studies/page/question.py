"""One page for the reader: the answer first, then where the energy goes, curves, maps, modes in motion and sounds.

Collects what the other studies compute and keep into one HTML file that needs no network. A study that has not been run
yet is run; what is left out leaves no gap.
"""

import sys
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

from meshes.sheet_strings import strung
from meshes.sounding import HIGHEST, surroundings
from studies.common import page as common
from studies.common.files import provenance
from studies.common.inputs import BadInput, Given, given_sheet, mesh_size, writable_file
from studies.common.kept import kept_folder
from studies.common.progress import Progress
from studies.common.two_meshes import both
from studies.page import behind
from studies.page import sections as made_of
from studies.rim import air as rim_air
from studies.rim.air_page import LABEL, NOT_MODELLED, answer
from studies.solved import coupled
from studies.solved.coupled import STEPS, soundings
from studies.sustain.hearing import TOLERANCES

SHOWN = {  # builds whose modes are shown beside the sheet's own, as far as they differ from it, and their short names
    "solid_laminated": "solid linings", "kerfed": "kerfed linings", "doubled_sides": "doubled sides", "single_sides": "single sides",
}  # fmt: skip
MODES = 12
MOST_SHOWN = 3
LARGEST = 8_000_000  # bytes of the page


@dataclass(frozen=True)
class Found:
    """What the studies found; None where a study is left out."""

    air: rim_air.Study
    scene: object | None = None  # mode_scene.Scene
    stills: bytes | None = field(default=None, repr=False)  # PNG
    weather: object | None = None  # weather.Weather
    drying: bytes | None = field(default=None, repr=False)  # PNG
    sustain: object | None = None  # sustain.Study
    sounds: tuple = ()  # of page_sections.Sound


def write_reader_page(
    sheet: str | Path,
    out: str | Path | None = None,
    size_mm: float | None = None,
    modes: bool = True,
    weather: bool = True,
    sustain: bool = True,
    sounds: bool = True,
) -> str:
    """Run or re-use the studies of a sheet and write the page; returns the text to print."""
    given, size = given_sheet(sheet), mesh_size(size_mm)
    file = writable_file(out or Path("out") / f"{given.source.path.stem}-page.html")
    return written(collect(given, size, kept_folder(file), modes, weather, sustain, sounds), file)


def collect(
    given: Given,
    size: float,
    store: Path,
    modes: bool = True,
    weather: bool = True,
    sustain: bool = True,
    sounds: bool = True,
) -> Found:
    """Found of a sheet on a mesh of some size [m]; rows in the folder `store` are used again."""
    body, around = given.body, rim_air.shared(surroundings)
    say("rim builds with air")
    air = rim_air.compare_in_air(body, size, 2 * MODES, store, around=around)
    air = replace(air, source=given.source)
    scene = stills = season = drying = notes = None
    heard = ()
    if modes:
        say("modes in motion")
        scene, stills = moving(air, store, around)
    if sustain:
        say("every string and fret")
        notes = played(body, size, store, around)
    if weather:
        say("dry and damp air")
        season, drying = seasons(body, size)
    if sounds:
        say("sounds")
        heard = listened(body, shown(air)[:2], size, store, around)
    return Found(air, scene, stills, season, drying, notes, heard)


def shown(air):
    """The builds that are shown one by one: the sheet's own, then those of SHOWN."""
    return [air.builds[0], *(b for b in air.builds if b.name in SHOWN)][:MOST_SHOWN]


def moving(air, store, around=surroundings):
    """Scene of a few builds, hung free, and the contact sheet (PNG)."""
    from studies.page import modes as page_modes

    rows = shown(air)
    results = {b.name: air.fine.results[b.name, rim_air.FREE] for b in rows}
    dry = len(results["sheet"].dry_hz)
    made = soundings(rows, air.fine.size, dry, store, Progress(STEPS * len(rows)), around=around)
    scene = page_modes.scene_of(made, results, rows, MODES)
    own = made.whole["sheet"].structure
    return scene, page_modes.contact_sheet(scene, own, results["sheet"].modes)


def played(body, size, store, around):
    """sustain.Study, without wood scatter."""
    from studies.sustain.fretboards import Playing
    from studies.sustain.question import FRETS
    from studies.sustain.solve import play_builds

    return play_builds(body, Playing.of(strung(body), FRETS, store), size, coupled.DRY_MODES, around=around)


def seasons(body, size):
    """(Weather, PNG of the stress of every build in the driest air)."""
    from studies.page import modes as page_modes
    from studies.weather import pictures as weather_pictures
    from studies.weather.solve import humidities, season_builds

    built, used, assumed = humidities(body)
    study = season_builds(replace(body, assumed=body.assumed + assumed), built, used, size, body.weather.rim_gap)
    with tempfile.TemporaryDirectory() as folder:
        drawn = weather_pictures.draw(study, Path(folder))
        last = [p for p in drawn if p.suffix == ".png"][-1]
        return study, page_modes.fewer_colours(last.read_bytes(), 1100)


def listened(body, builds, size, store, around):
    """Sounds of two Builds on the lap."""
    from studies.notes import listen
    from studies.page.sustain import sounds_of

    found, place = strung(body), listen.place_of(body)
    strings = found.strings.strings
    setting = listen.Setting(rim_air.LAP, place)
    heard = listen.ready(body, builds, setting, size, store, len(strings), coupled.DRY_MODES, around)
    return sounds_of(heard, strings, found.pluck, {b.name: b.label for b in builds})


# --- the page ---


def page_of(found):
    """Page of what was found."""
    air, body = found.air, found.air.body
    title, label, lines = "where the sound goes, and what the rim has to do with it", LABEL, answer(air)
    assumed, not_modelled, known = list(body.assumed), list(NOT_MODELLED), []
    doubted, drawn, after, middle = (), (), (), []
    sections = [made_of.power_flow(air)]
    if found.sustain is not None:
        from studies.page import sustain as page_sustain
        from studies.sustain import page as sustain_report

        study = found.sustain
        title, label, lines = page_sustain.TITLE, sustain_report.LABEL, page_sustain.lead(study)
        sections = [page_sustain.pluck_flow(study), page_sustain.verdicts(study)]
        middle = [page_sustain.maps(study, [b.name for b in shown(air)])]
        (doubted, after), drawn = page_sustain.doubt_lines(study), page_sustain.doubt_drawings(study)
        assumed += study.body.assumed
        not_modelled = [*sustain_report.NOT_MODELLED, *(n for n in NOT_MODELLED if n.startswith("pores"))]
        known = [(t.name, t.source) for t in TOLERANCES] + string_sources(study.strings)
    sections += [made_of.power_tables(air), *middle, made_of.mobility(air)]
    if found.scene is not None:
        sections += made_of.modes_section(found.scene, found.stills, {"sheet": "sheet", **SHOWN}, air.fine.size)
    if found.weather is not None:
        sections.append(made_of.drying(found.weather, found.drying))
        assumed += found.weather.body.assumed
    if found.sounds:
        from studies.page.sustain import listening

        sections.append(listening(found.sounds, min(HIGHEST, air.fine.results["sheet", rim_air.LAP].driven.valid_to)))
    sections.append(behind.doubts(air, doubted, drawn, after))
    sections += behind.assumptions(replace(body, assumed=tuple(assumed)), not_modelled)
    sections += [behind.sources(body, known), behind.provenance(provenance(air.source, both(air.size), air.unknowns))]
    return made_of.Page(f"{body.name}: {title}", label, tuple(lines), tuple(sections))


def string_sources(strings):
    """[(what, source)] of a StringSet, values of one source in one line."""
    by_source = {}
    for what, source in strings.sources.items():
        by_source.setdefault(source, []).append(what)
    return [(f"strings: {', '.join(what)}", source) for source, what in by_source.items()]


def written(found, file):
    """Write the page; returns words about it. BadInput if it is larger than LARGEST."""
    page = page_of(found)
    text = rendered(page)
    size = len(text.encode("utf-8"))
    if size > LARGEST:
        raise BadInput(
            f"{file}: {size / 1e6:.1f} MB; expected at most {LARGEST / 1e6:.0f} MB. Leave out the sounds (--no-sounds)"
        )
    file.write_text(text, encoding="utf-8")
    return "\n".join([*page.answer, "", f"wrote {file} ({size / 1e6:.1f} MB; one file, no network needed)"])


def rendered(page: made_of.Page) -> str:
    """HTML text of a Page."""
    return common.rendered("page/page.html.j2", {"title": page.title, "page": page})


def say(words):
    print(f"page: {words}", file=sys.stderr)
