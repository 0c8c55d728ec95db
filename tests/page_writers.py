"""Writes one of every kind of file into a folder; run in a process of its own by test_encodings."""

import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import box_cases as cases
from sustain_cases import study_by_hand, with_draws

from studies.check.question import write_new
from studies.common.at_rest import AtRest
from studies.common.first_screen import FirstScreen
from studies.common.inputs import source_of
from studies.common.rest_page import Report, answered, said
from studies.common.table import Table
from studies.sustain import page as sustain

SIGNS = "− ± – °"


def main(folder):
    """Pages of a box at rest and of plucked notes, tables, JSON, captions and a new sheet."""
    rest = folder / "rest"
    rest.mkdir()
    sheet = cases.oval_sheet(folder)
    body = replace(cases.oval(folder), name=f"Oval {SIGNS}")
    picture = rest / "picture.png"
    picture.write_bytes(b"")
    picture.with_suffix(".txt").write_text(f"a caption, {SIGNS}", encoding="utf-8")
    table = Table("Heading", ("build", "value"), ((f"a {SIGNS}", "−1.0 mm"),), f"a note, {SIGNS}")
    study = AtRest(body, 0.03, (2, 1), (), None, None, None, source=source_of(sheet))
    first = FirstScreen(f"A verdict, {SIGNS}.", (), "<svg></svg>", "a bench step", "a doubt")
    report = Report(
        study, "rest", "a title", f"a label, {SIGNS}", first, (f"An answer, {SIGNS}.",), (table,), ("a limit",), ()
    )
    row = {"build": f"a {SIGNS}", "value": -1.0}
    answered(report, {"measures": [row]}, [row], rest, [picture])
    assert SIGNS in said(report)
    (folder / "notes").mkdir()
    sustain.joint_of = lambda body, plate: SimpleNamespace(words="a joint")
    sustain.write_report(with_draws(study_by_hand(folder)), folder / "notes", pictures=False)
    write_new(folder / "new.toml")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
