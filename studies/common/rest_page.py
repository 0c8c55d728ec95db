"""What the reports of a box at rest share: tables, page, files for machines, provenance, cautions."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, select_autoescape

from studies.common.page import provenance
from studies.common.two_meshes import MESH_ERROR

SCHEMA_VERSION = 1
CAUTIONS = (
    "No verdict on strength is given or meant: whether a joint, a brace or a plate holds, and for how long, is judged by "
    "experience and trials.",
    "Strings pull with the weight of a person for decades. Slacken them before you work on an instrument, and keep face "
    "and hands away from a bridge, a neck or a string that might let go.",
    "Wood under stress, clamped, bent or drying, can split without warning.",
    "Local codes and rules for workshops come first, and licensed practice where the law asks for it.",
)
NOT_MODELLED = (
    "creep: under a load that stays wood moves on for years, by as much again or more (from memory), and stress eases as it does",
    "heat and creep of glue lines, water and heat that the gluing itself brings into the wood",
    "cracks, their growth, and repair",
    "change of stiffness with moisture (taken at 12 %), moisture that differs through a board or from part to part",
)
LEAST_GRAMS = 2.0  # difference of rim weights from which on a change per gram is told


@dataclass(frozen=True)
class Table:
    """A table for page and terminal: cells are strings."""

    heading: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""

    def lines(self):
        """Lines of plain text."""
        widths = [max(len(row[k]) for row in (self.head, *self.rows)) for k in range(len(self.head))]
        form = lambda row: "  ".join(c.ljust(w) if k == 0 else c.rjust(w) for k, (c, w) in enumerate(zip(row, widths)))
        return [self.heading, *map(form, (self.head, *self.rows)), *([self.note] if self.note else [])]


def per_gram(label, rows, grams, values, forms):
    """Table row cells of the change against the first build for each 10 g that the rim gains; '–' where weights are alike."""
    heavier = grams - rows[0]
    if abs(heavier) < LEAST_GRAMS:
        return (label, f"{heavier:+.0f} g", *("–" for _ in values))
    return (label, f"{heavier:+.0f} g", *(form.format(10 * v / heavier) for v, form in zip(values, forms)))


def page_data(study, **more):
    """What every page and JSON file holds."""
    return {
        "schema_version": SCHEMA_VERSION,
        "body": study.body.name,
        "mesh_error": f"of the sheet's own build: {MESH_ERROR}",
        "model_error": "not known",
        **more,
        "assumed": [vars(a) for a in study.body.assumed],
        "warnings": list(study.body.warnings),
        "provenance": provenance(study),
    }


def write(name, title, data, answer, tables, records, out, drawn):
    """Write index.html, <name>.csv and <name>.json into the folder `out`; returns the paths and the first picture's."""
    page, table, machine = out / "index.html", out / f"{name}.csv", out / f"{name}.json"
    machine.write_text(json.dumps(data, indent=1, allow_nan=False) + "\n")
    with table.open("w", newline="") as stream:
        writer = csv.DictWriter(stream, fieldnames=list(records[0]))
        writer.writeheader()
        writer.writerows(records)
    pages = Environment(
        loader=FileSystemLoader(Path(__file__).parents[1]), autoescape=select_autoescape(["html", "j2"])
    )
    pictures = [(p.relative_to(out).as_posix(), p.with_suffix(".txt").read_text()) for p in drawn if p.suffix == ".png"]
    page.write_text(
        pages.get_template("common/rest_page.html.j2").render(
            title=title, data=data, answer=answer, tables=tables, pictures=pictures, cautions=CAUTIONS
        )
    )
    return [page, table, machine, *drawn[:1]]
