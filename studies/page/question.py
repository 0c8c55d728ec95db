"""One page for the reader: the answer first, then where the energy goes, curves, maps, modes in motion and sounds.

Collects what the other studies compute and keep into one HTML file that needs no network. A study that has not been run
yet is run; what is left out leaves no gap.
"""

import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from meshes.body import Body
from meshes.coupled_model import HIGHEST, FluidDomain, fluid_domain
from meshes.sheet_strings import strung
from meshes.string_sets import StringSet
from meshes.supports import FREE, LAP
from meshes.whole_file import write_whole
from studies.common import page as common
from studies.common.builds import Build
from studies.common.files import provenance
from studies.common.inputs import NO_SOURCE, BadInput, Given, Source, given_sheet, mesh_size, writable_file
from studies.common.kept import kept_folder
from studies.common.mesh_error import FACETS
from studies.common.progress import Progress
from studies.common.side_by_side import processes
from studies.notes import listen
from studies.page import behind
from studies.page import modes as page_modes
from studies.page import sections as made_of
from studies.page import sustain as page_sustain
from studies.page.scene import ViewerScene
from studies.rim import air as rim_air
from studies.rim.air_words import LABEL, NOT_MODELLED, answer
from studies.rim.result import AirStudy
from studies.solved.coupled import STEPS, coupled_models
from studies.solved.level import DRY_MODES, dry_modes, prepare
from studies.sustain import page as sustain_report
from studies.sustain import question as sustain_question
from studies.sustain import solve as sustain_solve
from studies.sustain.fretboards import Playing
from studies.sustain.result import Study as Sustain
from studies.sustain.thresholds import DECIDING
from studies.weather import pictures as weather_pictures
from studies.weather.result import Weather
from studies.weather.solve import humidities, season_builds

Around = Callable[[Body], FluidDomain]

SHOWN = {  # builds whose modes are shown beside the sheet's own, as far as they differ from it, and their short names
    "solid_laminated": "solid linings", "kerfed": "kerfed linings", "doubled_sides": "doubled sides", "single_sides": "single sides",
}  # fmt: skip
MODES = 12
MOST_SHOWN = 3
LARGEST = 8_000_000  # bytes of the page


@dataclass(frozen=True)
class Found:
    """What the studies found; None where a study is left out."""

    air: AirStudy
    scene: ViewerScene | None = None
    stills: bytes | None = field(default=None, repr=False)  # PNG
    weather: Weather | None = None
    drying: bytes | None = field(default=None, repr=False)  # PNG
    sustain: Sustain | None = None
    sounds: tuple[made_of.Sound, ...] = ()


def write_reader_page(
    sheet: str | Path, out: str | Path | None = None, size_mm: float | None = None, modes: bool = True,
    weather: bool = True, sustain: bool = True, sounds: bool = True,
) -> str:  # fmt: skip
    """Run or re-use the studies of a sheet and write the page; returns the text to print."""
    given, size = given_sheet(sheet), mesh_size(size_mm)
    file = writable_file(out or Path("out") / f"{given.source.path.stem}-page.html")
    return written(collect(given, size, kept_folder(file), modes, weather, sustain, sounds), file)


def collect(
    given: Given, size: float, store: Path, modes: bool, weather: bool, sustain: bool, sounds: bool
) -> Found:  # fmt: skip
    """Found of a sheet on a mesh of some size [m]; rows in the folder `store` are used again."""
    body, around = given.body, rim_air.shared(fluid_domain)
    say_page("rim builds with air")
    air = replace(rim_air.compare_in_air(body, size, 2 * MODES, store, around=around), source=given.source)
    scene, stills = moving(air, store, around) if modes else (None, None)
    notes = played(body, size, store, around) if sustain else None
    season, drying = seasons(body, size) if weather else (None, None)
    heard = listened(body, shown_builds(air)[:2], size, store, around) if sounds else ()
    return Found(air, scene, stills, season, drying, notes, heard)


def shown_builds(air: AirStudy) -> list[Build]:
    """The builds that are shown one by one: the sheet's own, then those of SHOWN."""
    return [air.builds[0], *(b for b in air.builds if b.name in SHOWN)][:MOST_SHOWN]


def moving(air: AirStudy, store: Path, around: Around) -> tuple[ViewerScene, bytes]:
    """ViewerScene of a few builds, hung free, and the contact sheet (PNG)."""
    say_page("modes in motion")
    rows = shown_builds(air)
    results = {b.name: air.fine.results[b.name, FREE] for b in rows}
    own = results["sheet"]
    level = prepare(rows[0].body, air.fine.size, store, dry_modes(air.count))
    made = coupled_models(rows, level, Progress(STEPS * len(rows)), around=around)
    scene = page_modes.scene_of(made, results, rows, MODES)
    return scene, page_modes.contact_sheet(scene, made.whole["sheet"].structure, own.modes)


def played(body: Body, size: float, store: Path, around: Around) -> Sustain:
    """The sustain study, without wood scatter."""
    say_page("every string and fret")
    playing = Playing.of(strung(body), sustain_question.FRETS, store, processes())
    return sustain_solve.play_builds(body, playing, size, DRY_MODES, around=around)


def seasons(body: Body, size: float) -> tuple[Weather, bytes]:
    """(Weather, PNG of the stress of every build in the driest air)."""
    say_page("dry and damp air")
    built, used, assumed = humidities(body)
    study = season_builds(replace(body, assumed=body.assumed + assumed), built, used, size, body.weather.rim_gap)
    with tempfile.TemporaryDirectory() as folder:
        drawn = weather_pictures.draw(study, Path(folder))
        last = [p for p in drawn if p.suffix == ".png"][-1]
        return study, page_modes.fewer_colours(last.read_bytes(), 1100)


def listened(body: Body, builds: list[Build], size: float, store: Path, around: Around) -> tuple[made_of.Sound, ...]:
    """Sounds of two Builds on the lap."""
    say_page("sounds")
    plucked = strung(body)
    strings, setting = plucked.strings.strings, listen.Setting(LAP, listen.place_of(body))
    heard = listen.ready(body, builds, setting, size, store, len(strings), DRY_MODES, around)
    return page_sustain.sounds_of(heard, strings, plucked.pluck, {b.name: b.label for b in builds})


# --- the page ---


def page_of(found: Found) -> made_of.Page:
    """Page of what was found."""
    air, body, study = found.air, found.air.body, found.sustain
    assumed, not_modelled = body.assumed, tuple(NOT_MODELLED)
    if study is None:
        title, label, lines = "where the sound goes, and what the rim has to do with it", LABEL, tuple(answer(air))
        sections = [made_of.power_flow(air), made_of.power_tables(air)]
        error_bars, known = behind.doubts(air), []
    else:
        title, label, lines = page_sustain.TITLE, sustain_report.LABEL, page_sustain.lead(study)
        sections = [page_sustain.pluck_flow(study), page_sustain.verdicts(study), made_of.power_tables(air)]
        sections.append(page_sustain.maps(study, [b.name for b in shown_builds(air)]))
        error_bars = behind.doubts(air, *page_sustain.doubt_lines(study), page_sustain.doubt_drawings(study))
        assumed += study.body.assumed
        not_modelled = (*sustain_report.NOT_MODELLED, *(n for n in NOT_MODELLED if n.startswith("pores")))
        known = [(f"threshold of hearing, {t.measure.name}", t.source) for t in DECIDING] + string_sources(
            study.strings
        )
    sections.append(made_of.mobility(air))
    if found.scene is not None and found.stills is not None:
        sections += made_of.modes_section(found.scene, found.stills, {"sheet": "sheet", **SHOWN}, air.fine.size)
    if found.weather is not None and found.drying is not None:
        sections.append(made_of.drying_section(found.weather, found.drying))
        assumed += found.weather.body.assumed
    if found.sounds:
        valid_to = min(HIGHEST, air.fine.results["sheet", LAP].driven.valid_to)
        sections.append(page_sustain.listening(found.sounds, valid_to))
    sections += [error_bars, *behind.assumptions(replace(body, assumed=assumed), not_modelled)]
    sections += [
        behind.sources(body, known),
        behind.made_with(provenance(air.source, (air.size, FACETS * air.size), air.unknowns)),
    ]
    return made_of.Page(f"{body.name}: {title}", label, lines, tuple(sections))


def string_sources(strings: StringSet) -> list[tuple[str, str]]:
    """[(what, source)] of a StringSet, values of one source in one line."""
    by_source: dict[str, list[str]] = {}
    for what, source in strings.sources.items():
        by_source.setdefault(source, []).append(what)
    return [(f"strings: {', '.join(what)}", source) for source, what in by_source.items()]


def written(found: Found, file: Path) -> str:
    """Write the page; returns words about it. BadInput if it is larger than LARGEST."""
    page = page_of(found)
    text = page_html(page, found.air.source)
    size = len(text.encode("utf-8"))
    if size > LARGEST:
        raise BadInput(
            f"{file}: {size / 1e6:.1f} MB; expected at most {LARGEST / 1e6:.0f} MB. Leave out the sounds (--no-sounds)"
        )
    write_whole(file, text)
    return "\n".join([*page.answer, "", f"wrote {file} ({size / 1e6:.1f} MB; one file, no network needed)"])


def page_html(page: made_of.Page, source: Source = NO_SOURCE) -> str:
    """HTML text of a Page made from a sheet."""
    return common.rendered("page/page.html.j2", {"title": page.title, "page": page, "source": source})


def say_page(words: str) -> None:
    """Tell on standard error what is being done."""
    print(f"page: {words}", file=sys.stderr)
