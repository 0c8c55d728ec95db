"""Does the rim's build change how long plucked notes last, and could anybody hear it?

Every string at every fret on every rim build, hung free and on the lap: string and air-loaded body solved together, both
polarisations. Each build changes one thing from the sheet's own. What is doubtful stays apart: mesh, wood scatter, string
losses, rim losses; the error of the model itself is not known and in none of them.
"""

import sys
from dataclasses import replace
from pathlib import Path

from meshes.build import DEFAULT_SIZE
from meshes.sheet_strings import strung
from studies.common.inputs import BadInput, read_source, writable_folder
from studies.sustain import fretboards as boards
from studies.sustain.result import HOLDINGS
from studies.sustain.solve import DRY_MODES, run
from studies.sweep.log import Log

FRETS = 20
MOST_MODES = 250
DRAWS = 20

# Draws of the wood. Builds that are not drawn get the widest of their doubts. Ratios of pairs need neither a fine mesh nor
# many modes: the page tells the error of the rows that are solved again in full.
WOOD_BUILDS = "solid_laminated", "kerfed", "doubled_sides", "single_sides"
WOOD_MESH_MM, WOOD_MODES, WOOD_CELLS, WOOD_ESTIMATE = 60.0, 40, 1, 0.25


def main(sheet, out=None, size_mm=None, modes=DRY_MODES, frets=FRETS, draws=DRAWS, strings=None, pictures=True):
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    strings: name of a built-in set, in place of the sheet's. draws: of the wood; 0 leaves the wood scatter out.
    """
    from studies.sustain.page import write_report
    from studies.sustain.words import text

    for name, value, low, high in (
        ("--mesh-size-mm", size_mm, 5, 60), ("--modes", modes, 20, MOST_MODES), ("--frets", frets, 0, 24),
        ("--draws", draws, 0, 1000),
    ):  # fmt: skip
        if value is not None and not low <= value <= high:
            raise BadInput(f"{name} {value:g}: expected between {low} and {high}")
    if draws == 1:
        raise BadInput("--draws 1: expected 0 (no wood scatter), or 2 and more")
    body, source = read_source(sheet)
    chosen = strung(body, strings)
    out = writable_folder(out or Path("out") / f"{source.path.stem}-sustain")
    playing = boards.Playing.of(chosen, frets, out / "rows")
    size = size_mm / 1e3 if size_mm else DEFAULT_SIZE
    study = run(body, playing, size, modes, wood=wood_of(source.path, draws, playing))
    study = replace(study, source=source)
    written = write_report(study, out, pictures, lambda what: print(f"drawing: {what}", file=sys.stderr))
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)


def wood_of(sheet, draws, playing):
    """Function (build names, say) -> sweep.scatter.ScatteredNotes of the sheet's file, or None without draws.

    On a mesh and with modes of its own, whatever the study's: what other boards do to the ratio of a pair of boxes depends
    little on either.
    """
    if not draws:
        return None

    def scattered(names, say):
        from studies.sweep.scatter import WoodDraws, scatter

        drawn = tuple(name for name in names if name == "sheet" or name in WOOD_BUILDS)
        asked = WoodDraws(
            drawn, draws, HOLDINGS, strings=playing.strings.strings, pluck=playing.pluck, modes=WOOD_MODES,
            mesh_size_mm=WOOD_MESH_MM, cells=WOOD_CELLS, estimate=WOOD_ESTIMATE, checks=1,
        )  # fmt: skip
        return scatter(sheet, asked, playing.store / "wood", _Told(say))

    return scattered


class _Told(Log):
    """The log of the draws as steps of this study's progress."""

    def __init__(self, say):
        super().__init__()
        self.tell = say

    def say(self, text):
        self.tell(f"other boards of the same woods: {text}")
