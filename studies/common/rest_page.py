"""What the reports of a box at rest share: the load of its strings, other air."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from meshes.body import Body
from studies.common import cautions
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.inputs import Source
from studies.common.page import captioned, write_page
from studies.common.table import Table
from studies.common.two_meshes import MESH_ERROR, both

NOT_MODELLED = (
    "creep: under a load that stays wood moves on for years, by as much again or more (from memory), and stress eases as it does",
    "heat and creep of glue lines, water and heat that the gluing itself brings into the wood",
    "cracks, their growth, and repair",
    "change of stiffness with moisture (taken at 12 %), moisture that differs through a board or from part to part",
)


@dataclass(frozen=True)
class Report:
    """What a study of a box at rest tells, and what it was made from."""

    body: Body
    size: float  # m, of the finer mesh
    unknowns: tuple[int, int]  # fine, coarse
    source: Source
    name: str  # of its files
    title: str  # of its page, after the body's name
    label: str
    answer: Sequence[str]
    tables: Sequence[Table]
    limits: tuple[str, ...]  # not modelled, beside NOT_MODELLED
    assumed: tuple[str, ...]  # words in the keys of the assumptions that the terminal shows

    @property
    def not_modelled(self) -> tuple[str, ...]:
        return NOT_MODELLED + self.limits


def said(report: Report) -> str:
    """Everything printed by the command."""
    lines = [f"{report.body.name}: {report.label}", "", *report.answer]
    for table in report.tables:
        lines += ["", *table.lines()]
    used = [a for a in report.body.assumed if any(word in a.key for word in report.assumed)]
    lines += ["", *(f"assumed: {a.key}: {a.value} ({a.source})" for a in used)]
    return "\n".join([*lines, f"Not modelled: {'; '.join(report.not_modelled)}.", *cautions.AT_REST])


def write(report: Report, found: Mapping[str, Plain], out: Path, drawn: Sequence[Path]) -> list[Path]:
    """Write index.html, <name>.csv and <name>.json into the folder `out`; returns the paths and the first picture's.

    found: what the JSON file holds, its 'measures' the lines of the CSV.
    """
    about = About(
        report.body, "at rest", report.label, f"of the sheet's own build: {MESH_ERROR}", report.not_modelled,
        provenance(report.source, both(report.size), report.unknowns),
    )  # fmt: skip
    data = told(about, found)
    machine = write_json(out / f"{report.name}.json", data)
    table = write_table(out / f"{report.name}.csv", found["measures"])
    filling = {
        "title": f"{report.body.name}: {report.title}", "data": data, "report": report, "cautions": cautions.AT_REST,
        "pictures": captioned([p for p in drawn if p.suffix == ".png"], out),
    }  # fmt: skip
    return [write_page(out / "index.html", "common/rest_page.html.j2", filling), table, machine, *drawn[:1]]
