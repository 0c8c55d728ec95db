"""What moves what: of one guitar, what does a plane stroke here or a gram there do to each low mode, to loudness and to weight?

Every step is taken there and back; half the difference is told. Steps that leave the mesh as it is are solved between the sheet's own
modes with their air; those that do not, anew. What lies below the noise is 'not determined'.
"""

from dataclasses import replace
from pathlib import Path
from textwrap import wrap

from studies.common import cautions
from studies.common.builds import complete_linings
from studies.common.inputs import given_sheet, mesh_size, within
from studies.common.kept import kept_folder
from studies.common.table import TERMINAL
from studies.common.words import with_files
from studies.moves.solve import what_moves

MOST = 20


def what_moves_what(
    sheet: str | Path, out: str | Path | None = None, size_mm: float | None = None, count: int = 6, hole: bool = True
) -> str:
    """Run the study on a sheet, write page and tables; returns the text to print. hole: the soundhole's step too, whose meshes take longest."""
    from studies.moves.page import write_moves
    from studies.moves.words import NOT_MODELLED, answer, effects_table

    given, size = given_sheet(sheet), mesh_size(size_mm)
    within("--count", count, 1, MOST, "modes")
    out = given.folder(out, "moves")
    body, assumed = complete_linings(given.body)
    body = replace(body, assumed=(*body.assumed, *assumed))
    study, unknowns = what_moves(body, size, count, kept_folder(out), hole)
    study = replace(study, source=given.source)
    *rows, note = effects_table(study).lines()
    lines = [line for text in answer(study) for line in wrap(text, TERMINAL, subsequent_indent="  ")]
    rest = [
        line
        for text in (note, f"Not modelled: {'; '.join(NOT_MODELLED)}.", *cautions.RIM)
        for line in wrap(text, TERMINAL)
    ]
    return with_files("\n".join([*lines, "", *rows, *rest]), write_moves(study, unknowns, out))
