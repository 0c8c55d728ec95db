"""What the reports of a box at rest share: the load of its strings, other air."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from studies.common import cautions
from studies.common.at_rest import AtRest
from studies.common.files import About, Plain, provenance, told, write_json, write_table
from studies.common.first_screen import FirstScreen
from studies.common.mesh_error import FACETS, MESH_ERROR
from studies.common.page import captioned, write_page
from studies.common.summary import print_summary, write_summary
from studies.common.table import Table
from studies.common.words import with_files

NOT_MODELLED = (
    "creep: under a load that stays wood moves on for years, by as much again or more (from memory), and stress eases as it does",
    "heat and creep of glue lines, water and heat that the gluing itself brings into the wood",
    "cracks, their growth, and repair",
    "change of stiffness with moisture (taken at 12 %), moisture that differs through a board or from part to part",
)


@dataclass(frozen=True)
class Report:
    """What a study of a box at rest tells, and what it was made from."""

    study: AtRest
    name: str  # of its files
    title: str  # of its page, after the body's name
    label: str
    first: FirstScreen
    answer: Sequence[str]
    tables: Sequence[Table]
    limits: tuple[str, ...]  # not modelled, beside NOT_MODELLED
    assumed: tuple[str, ...]  # words in the keys of the assumptions that the terminal shows

    @property
    def not_modelled(self) -> tuple[str, ...]:
        return NOT_MODELLED + self.limits


def said(report: Report) -> str:
    """Everything printed by the command."""
    lines = [report.first.text, "", f"{report.study.body.name}: {report.label}", "", *report.answer]
    for table in report.tables:
        lines += ["", *table.lines()]
    used = [a for a in report.study.body.assumed if any(word in a.key for word in report.assumed)]
    lines += ["", *(f"assumed: {a.key}: {a.value} ({a.source})" for a in used)]
    return "\n".join([*lines, f"Not modelled: {'; '.join(report.not_modelled)}.", *cautions.AT_REST])


def answered(
    report: Report, found: Mapping[str, Plain], records: Sequence[Mapping[str, Plain]], out: Path, drawn: Sequence[Path]
) -> str:
    """Write index.html, <name>.csv and <name>.json into the folder `out`; returns the text to print.

    found: what the JSON file holds; records: the lines of the CSV; drawn: pictures that are there, captions beside them.
    """
    study, error = report.study, MESH_ERROR
    origin = provenance(study.source, (study.size, FACETS * study.size), study.unknowns)
    about = About(study.body, "at rest", report.label, error, report.not_modelled, origin)
    data = told(about, {"first_screen": report.first.as_json, **found})
    pictures = captioned([path for path in drawn if path.suffix == ".png"], out)
    title = f"{study.body.name}: {report.title}"
    summary = write_summary(report.first, title, study.source, out)
    page = write_page(out / "index.html", "common/rest_page.html.j2", {
        "source": study.source, "title": title, "data": data, "first": report.first, "answer": report.answer, "tables": report.tables, "pictures": pictures,
        "cautions": cautions.AT_REST,
    })  # fmt: skip
    table = write_table(out / f"{report.name}.csv", records)
    machine = write_json(out / f"{report.name}.json", data)
    text = with_files(said(report), [page, table, machine, summary, *drawn[:1]])
    return "\n".join([text, print_summary(summary)])
