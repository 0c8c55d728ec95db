"""Sheets beside each other as a page and tables for machines."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.first_screen import FirstScreen
from studies.common.mesh_error import FACETS, MESH_ERROR
from studies.common.page import write_page
from studies.common.summary import write_summary
from studies.common.words import several
from studies.compare.result import Beside, Figure
from studies.compare.words import CANNOT, LABEL, NOT_MODELLED, changed, every_table, pair_figure
from studies.rim.result import SUPPORT_CONDITIONS
from studies.sustain.rule import CANNOT_TELL

TITLE = "beside each other"
OF_EACH = f"of each sheet by itself: {MESH_ERROR.partition(';')[0]}; of a difference both errors together, as the root of the sum of their squares"
assert CANNOT == CANNOT_TELL


def records(study: Beside) -> list[dict[str, Plain]]:
    """One dict for each figure and sheet: its value, its mesh error, and how it differs from the first sheet's."""
    rows = []
    for f in every_figure(study):
        for k, name in enumerate(study.names if len(f.values) == len(study.names) else ()):
            rows.append(
                {"group": f.group, "how": f.how, "figure": f.key, "what": f.words, "sheet": name, **told_of_sheet(f, k)}
            )
    return rows


def every_figure(study: Beside) -> Iterator[Figure]:
    """All but the modes."""
    yield from study.figures
    if study.noted:
        yield from study.noted.figures


def told_of_sheet(f: Figure, k: int) -> dict[str, Plain]:
    """The figure of sheet k, and its difference from the first one's."""
    change = f.change(k) if k else None
    return {
        "value": f.values[k], "unit": f.unit, "mesh_error": f.errors[k], "difference": change and change[0],
        "difference_error": change and change[1], "told_apart": f.told_apart(k) if change else None,
    }  # fmt: skip


def per_pair(study: Beside) -> Iterator[dict[str, Plain]]:
    """One dict for each mode of the first sheet, way to hold it and other sheet."""
    for how in SUPPORT_CONDITIONS:
        first = study.sheets[0].held[how]
        for k in range(min(study.count, len(first.frequency))):
            for other in range(1, len(study.sheets)):
                f, p = pair_figure(study, how, k, other), study.paired[other - 1][how]
                at, its = int(p.partner[k]), study.sheets[other].held[how]
                rim = lambda held, i: {"loss_factor": float(held.loss_factor[i]), "heat_in_rim": float(held.rim[i])}
                yield {
                    "how": how, "mode": k + 1, "moves": first.moves[k], "frequency_hz": f.values[0], "frequency_error_hz": f.errors[0],
                    **rim(first, k), "sheet": study.names[other], "partner": None if at < 0 else at + 1, "assurance": float(p.assurance[k]),
                    "partner_frequency_hz": f.values[1], "partner_frequency_error_hz": f.errors[1],
                    **{f"partner_{key}": None if at < 0 else v for key, v in rim(its, max(at, 0)).items()},
                    "told_apart": f.told_apart(1) if f.change(1) else None,
                }  # fmt: skip


def as_json(study: Beside, first: FirstScreen) -> dict[str, Plain]:
    """The whole comparison for machines."""
    own = study.sheets[0]
    assumed = tuple(
        dict.fromkeys(a for s in study.sheets for a in (*s.body.assumed, *(study.noted.assumed if study.noted else ())))
    )
    about = About(
        replace(own.body, assumed=assumed), "air", LABEL, OF_EACH, NOT_MODELLED,
        provenance(own.source, (study.size, FACETS * study.size), own.unknowns),
        warnings=tuple(f"{s.name}: {w}" for s in study.sheets[1:] for w in s.body.warnings),
    )  # fmt: skip
    return told(about, {
        "first_screen": first.as_json,
        "sheets": [{"name": s.name, "body": s.body.name, "file": s.source.path.name, "sha256": s.source.sha256, "valid_to_hz": s.valid_to, "unknowns": list(s.unknowns)} for s in study.sheets],
        "differences": {name: lines for name, lines in changed(study)},
        "figures": records(study),
        "modes": list(per_pair(study)),
        "notes": note_words(study),
    })  # fmt: skip


def note_words(study: Beside) -> list[dict[str, Plain]]:
    """One dict for each sheet but the first, way to hold it and measure: the median's change, its doubts and its word."""
    if not study.noted:
        return []
    safe = lambda v: float(v) if np.isfinite(v) else None
    return [
        {
            "sheet": name, "how": how, "measure": key, "ratio": safe(j.ratio), "low": safe(j.low), "high": safe(j.high), "word": j.word,
            "doubts": {doubt: [safe(v) for v in ends] for doubt, ends in j.doubts.items()},
        }
        for name, judged in zip(study.names[1:], study.noted.judged) for (how, key), j in judged.items()
    ]  # fmt: skip


def write_beside(study: Beside, first: FirstScreen, out: Path) -> list[Path]:
    """Write index.html, compare.json and the tables into the folder `out`; returns the paths written."""
    data, title = as_json(study, first), f"{several(study.names)} {TITLE}"
    summary = write_summary(first, title, study.sheets[0].source, out)
    page = write_page(out / "index.html", "compare/page.html.j2", {
        "source": study.sheets[0].source, "title": title, "data": data, "first": first, "tables": every_table(study), "changed": changed(study), "names": study.names,
        "files": [str(s.source.path) for s in study.sheets], "cautions": cautions.RIM,
    })  # fmt: skip
    table = write_table(out / "compare.csv", records(study))
    modes = write_table(out / "compare-modes.csv", list(per_pair(study)))
    return [page, table, modes, write_json(out / "compare.json", data), summary]
