"""How does the guitar on the bench ring, stage by stage, and does the model ring alike?

Recordings of taps are read at any stage of building; every tone is given with its Q and the standard uncertainty of both, and stands
beside the computed mode as it was held. Hum, tones of the room and unsure ones are told as such, and a tone without a computed
partner is left without one.
"""

from collections.abc import Sequence
from pathlib import Path

from studies.common.inputs import BadInput, existing_file, given_sheet, mesh_size, within
from studies.common.kept import kept_folder
from studies.common.words import with_files
from studies.tap.listen import Given, named_take, read_stage
from studies.tap.result import STAGES, Tapped
from studies.tap.solve import SUPPORTS, with_computed


def tap_guitar(
    sheet: str | Path,
    takes: Sequence[str],
    out: str | Path | None = None,
    held: str | None = None,
    size_mm: float | None = None,
    temperature_c: float | None = None,
    humidity_percent: float | None = None,
    pictures: bool = True,
) -> str:
    """Read recordings ['closed-box=take.wav', ...], write page and tables, return the text to print."""
    from studies.tap.page import write_report
    from studies.tap.words import text

    given, size, named = given_sheet(sheet), mesh_size(size_mm), named_takes(takes)
    if temperature_c is not None:
        within("--temperature-c", temperature_c, -20, 50, "degrees")
    if humidity_percent is not None:
        within("--humidity-percent", humidity_percent, 0, 100, "percent")
    how = held or given.body.measured.box_held
    if how not in SUPPORTS:
        raise BadInput(f"--held {how}: expected 'free' or 'lap'")
    stages = {name: [take for take in named if take.stage == name] for name in STAGES}
    reads = [read_stage(name, some) for name, some in stages.items() if some]  # all files first, before the long work
    folder = given.folder(out, "tap")
    found = tuple(with_computed(read, given.body, how, size, kept_folder(folder)) for read in reads)
    study = Tapped(given.body, found, how, size, temperature_c, humidity_percent, given.source)
    return with_files(text(study), write_report(study, folder, pictures))


def named_takes(takes: Sequence[str]) -> list[Given]:
    """[Given] of what was typed. BadInput for what cannot be read, a file that is not there or one given twice for a stage."""
    if not takes:
        raise BadInput(
            f"no recording given; expected STAGE=FILE, such as closed-box=take.wav; stages: {', '.join(STAGES)}"
        )
    named = [named_take(text) for text in takes]
    for k, take in enumerate(named):
        existing_file(take.path)
        if any(take.path.resolve() == other.path.resolve() for other in named[:k]):
            raise BadInput(f"{take.path}: given twice; expected each recording once")
    return named
