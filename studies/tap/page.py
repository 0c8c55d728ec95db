"""The taps as a page and tables for machines."""

from pathlib import Path

from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.first_screen import FirstScreen
from studies.common.page import Filling, write_page
from studies.tap.charts import pairs_svg, stabilisation_svg
from studies.tap.result import Heard, StageRead, Tapped
from studies.tap.words import (
    CAUTIONS,
    LABEL,
    MESH_ERROR,
    NOT_MODELLED,
    PAIRED,
    READING,
    air_words,
    bench_step,
    doubt,
    sheet_lines,
    tap_verdict,
    tones_table,
    unheard_words,
)


def first_screen(study: Tapped) -> FirstScreen:
    """What the page says first; its chart is that of the last stage with a model."""
    shown = next((read for read in reversed(study.stages) if read.computed), study.stages[-1])
    return FirstScreen(tap_verdict(study), (), pairs_svg(shown), bench_step(study), doubt(study))


def heard_json(read: StageRead, h: Heard) -> dict[str, Plain]:
    """A tone for machines, without its partner."""
    p = h.pole
    return {
        "stage": read.name, "frequency_hz": p.frequency, "frequency_uncertainty_hz": p.frequency_uncertainty,
        "quality": p.quality, "quality_uncertainty": p.quality_uncertainty, "level_db": h.level, "orders": p.orders,
        "scatter": p.scatter, "kind": h.kind, "why": h.why,
    }  # fmt: skip


def records(study: Tapped) -> list[dict[str, Plain]]:
    """One dict for each tone of every stage, its partner beside it."""
    rows = []
    for read in study.stages:
        for h in read.heard:
            c = None if h.partner is None else read.computed[h.partner]
            quality = None if c is None or c.loss_factor is None else 1 / c.loss_factor
            beside: dict[str, Plain] = {
                "computed_hz": None if c is None else c.frequency, "computed_quality": quality, "computed_moves": None if c is None else c.moves,
            }  # fmt: skip
            rows.append({**heard_json(read, h), **beside})
    return rows


def stage_json(study: Tapped, read: StageRead) -> dict[str, Plain]:
    """A stage for machines."""
    computed = [
        {
            "frequency_hz": c.frequency,
            "loss_factor": c.loss_factor,
            "radiated_share": c.radiated_share,
            "moves": c.moves,
        }
        for c in read.computed
    ]
    return {
        "name": read.name, "label": read.stage.label, "takes": [vars(take) for take in read.takes],
        "tones": [row for row in records(study) if row["stage"] == read.name], "computed": computed, "partners_by_chance": read.chance, "notes": list(read.notes),
    }  # fmt: skip


def as_json(study: Tapped, first: FirstScreen) -> dict[str, Plain]:
    """The whole study for machines."""
    origin = provenance(study.source, (study.size,), ())
    about = About(study.body, "tapped", LABEL, MESH_ERROR, NOT_MODELLED, origin)
    return told(about, {
        "first_screen": first.as_json, "held": study.held, "temperature_c": study.temperature,
        "humidity_percent": study.humidity, "stages": [stage_json(study, read) for read in study.stages],
        "for_the_sheet": sheet_lines(study),
    })  # fmt: skip


def write_report(study: Tapped, out: Path, pictures: bool = True) -> list[Path]:
    """Write index.html, tap.json and tap.csv into the folder; returns the paths. pictures: the stabilisation of every stage."""
    first = first_screen(study)
    data, rows = as_json(study, first), records(study)
    stages: list[Filling] = [
        {
            "table": tones_table(read, study.held), "unheard": unheard_words(read), "notes": list(read.notes),
            "picture": stabilisation_svg(read) if pictures else "", "pairs": pairs_svg(read),
            "takes": "; ".join(f"{take.file}: {take.taps} taps, microphone at '{take.place}'" for take in read.takes),
        }
        for read in study.stages
    ]  # fmt: skip
    page = write_page(out / "index.html", "tap/page.html.j2", {
        "title": f"{study.body.name}: tapped", "data": data, "first": first, "stages": stages, "reading": READING,
        "paired": PAIRED, "air": air_words(study), "lines": sheet_lines(study), "cautions": CAUTIONS,
    })  # fmt: skip
    machine = write_json(out / "tap.json", data)
    return [page, machine, *([write_table(out / "tap.csv", rows)] if rows else [])]
