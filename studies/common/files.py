"""Files for machines: JSON and CSV in one form, in UTF-8 wherever they are written, with what tells how to compute them again."""

import csv
import json
import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

from meshes.body import Body
from meshes.lengths import number
from meshes.whole_file import whole_text, write_whole
from studies.common.inputs import Source
from studies.common.machine import rimwork_version

SCHEMA_VERSION = 2  # of every JSON file; docs/contract.md lists what changed
LIBRARIES = ("numpy", "scipy", "scikit-fem", "gmsh")

Plain = str | int | float | bool | None | Sequence["Plain"] | Mapping[str, "Plain"]


def write_json(path: Path, data: Mapping[str, Plain]) -> Path:
    """Write what a study found; ValueError for a figure that is no number."""
    return write_whole(path, json.dumps(data, indent=1, allow_nan=False) + "\n")


def cell(value: Plain) -> Plain:
    """What a cell of a CSV file holds: words that a spreadsheet would take for a formula stand behind an apostrophe."""
    if not isinstance(value, str) or not value.startswith(("=", "+", "-", "@", "\t", "\r")):
        return value
    return value if number(value) is not None else f"'{value}"


def write_rows(path: Path, rows: Iterable[Sequence[Plain]]) -> Path:
    """Write rows, the heading first, as CSV."""
    with whole_text(path) as stream:
        csv.writer(stream).writerows(map(cell, row) for row in rows)
    return path


def write_table(path: Path, rows: Sequence[Mapping[str, Plain]]) -> Path:
    """Write rows of the same keys as CSV."""
    head = list(rows[0])
    return write_rows(path, [head, *([row[key] for key in head] for row in rows)])


def program(source: Source) -> dict[str, Plain]:
    """{what: value} of the program and of the file that it was given."""
    return {
        "rimwork": rimwork_version(),
        "sheet": source.path.name,
        "sheet_sha256": source.sha256,
        "date": date.today().isoformat(),
        "python": platform.python_version(),
        **{name: version(name) for name in LIBRARIES},
    }


def provenance(source: Source, sizes: Sequence[float], unknowns: Sequence[int]) -> dict[str, Plain]:
    """{what: value} that lets somebody compute the same again. sizes [m] and unknowns of each mesh, the finest first."""
    return {
        **program(source),
        "element": "cubic triangle (P3), flat facets, full integration",
        "mesh_size_mm": [1e3 * size for size in sizes],
        "unknowns": list(unknowns),
    }


@dataclass(frozen=True)
class About:
    """What every JSON file says of itself, whatever it holds."""

    body: Body
    model: str
    label: str
    mesh_error: str  # how it is estimated
    not_modelled: tuple[str, ...]
    provenance: Mapping[str, Plain]
    model_error: str = "not known"
    warnings: tuple[str, ...] = ()  # beside those of the sheet


def told(about: About, found: Mapping[str, Plain]) -> dict[str, Plain]:
    """What a study found, between what every JSON file begins and ends with."""
    return {
        "schema_version": SCHEMA_VERSION,
        "model": about.model,
        "label": about.label,
        "body": about.body.name,
        "mesh_error": about.mesh_error,
        "model_error": about.model_error,
        **found,
        "assumed": [vars(a) for a in about.body.assumed],
        "warnings": [*about.body.warnings, *about.warnings],
        "not_modelled": list(about.not_modelled),
        "provenance": about.provenance,
    }
