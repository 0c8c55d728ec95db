"""Does the rim's build change how long plucked notes last, and could anybody hear it?

Every string at every fret on every rim build, hung free, on the lap and played, a hand at the note's fret: string and air-loaded body
solved together, both polarisations. Each build changes one thing from the sheet's own. What is uncertain stays apart: mesh, wood scatter, string
losses, rim losses, losses that no part explains, the player; the error of the model itself is not known and in none of them.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from meshes.sheet_strings import strung
from meshes.supports import FREE, LAP
from studies.common.inputs import BadInput, given_sheet, mesh_size, within
from studies.common.kept import kept_folder
from studies.common.locks import say_line
from studies.common.progress import say_drawing
from studies.common.side_by_side import processes
from studies.common.summary import print_summary
from studies.common.words import with_files
from studies.solved.level import DRY_MODES
from studies.sustain.fretboards import Playing
from studies.sustain.solve import Wood, play_builds
from studies.sweep import scatter
from studies.sweep.log import Log

FRETS = 20
DRAWS = 20
FEWEST_MODES, MOST_MODES, MOST_FRETS, MOST_DRAWS = 20, 250, 24, 1000  # that the command takes

# Draws of the wood. Builds that are not drawn get the widest of their ranges. Ratios of pairs need neither a fine mesh nor
# many modes: the page tells the error of the rows that are solved again in full. Played, the draws on the lap serve.
WOOD = scatter.WoodDraws(
    ("solid_laminated", "kerfed", "doubled_sides", "single_sides"), DRAWS, (FREE, LAP),
    modes=40, mesh_size_mm=60.0, cells=1, estimate=0.25, checks=1,
)  # fmt: skip


def compare_sustain(
    sheet: str | Path,
    out: str | Path | None = None,
    size_mm: float | None = None,
    modes: int = DRY_MODES,
    frets: int = FRETS,
    draws: int = DRAWS,
    strings: str | None = None,
    pictures: bool = True,
) -> str:
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    strings: name of a built-in set, in place of the sheet's. draws: of the wood; 0 leaves the wood scatter out.
    """
    from studies.sustain.page import write_report
    from studies.sustain.words import text

    given, size = given_sheet(sheet), mesh_size(size_mm)
    within("--modes", modes, FEWEST_MODES, MOST_MODES)
    within("--frets", frets, 0, MOST_FRETS)
    within("--draws", draws, 0, MOST_DRAWS)
    if draws == 1:
        raise BadInput("--draws 1: expected 0 (no wood scatter), or 2 and more")
    chosen = strung(given.body, strings)
    out = given.folder(out, "sustain")
    playing = Playing.of(chosen, frets, kept_folder(out), processes())
    wood = wood_of(given.source.path, draws, playing, out / "wood")
    study = play_builds(given.body, playing, size, modes, wood)
    study = replace(study, source=given.source)
    told = with_files(text(study), write_report(study, out, pictures, say_drawing))
    return "\n".join([told, print_summary(out / "summary.html")])


def wood_of(sheet: Path, draws: int, playing: Playing, out: Path) -> Wood | None:
    """Draws of the wood of the sheet's file, for solve.play_builds; None without draws. out: folder of their rows."""
    return OtherBoards(sheet, draws, playing, out) if draws else None


@dataclass(frozen=True)
class OtherBoards:
    """Function that draws the wood of some builds; travels by pickle.

    On a mesh and with modes of its own, whatever the study's: what other boards do to the ratio of a pair of boxes depends
    little on either.
    """

    sheet: Path
    draws: int
    playing: Playing
    out: Path

    def __call__(self, names: tuple[str, ...]) -> scatter.ScatteredNotes:
        drawn = tuple(name for name in names if name == "sheet" or name in WOOD.builds)
        strings, pluck = self.playing.strings.strings, self.playing.pluck
        asked = replace(WOOD, builds=drawn, draws=self.draws, strings=strings, pluck=pluck)
        return scatter.scatter(self.sheet, asked, self.out, _Told(), self.playing.store)


class _Told(Log):
    """The log of the draws as lines of this study's progress."""

    def say(self, text: str) -> None:
        say_line(f"other boards of the same woods: {text}")
