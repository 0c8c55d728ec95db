"""How far does the open rim give when it is squeezed or twisted, and can a ruler tell one rim build from another?

The rim alone, before top and back are glued on: checked on the bench with a weight, a batten and a ruler. Free: a
batten as high as the side lies over it at the widest (or narrowest) place, touches its two edges and carries the
weight; half of it enters at the top edge, half at the back edge, where the linings are, and the far side rests on a
second batten. The softer side between the linings is not dented, and what the width loses is the same wherever along
the batten it is read. In its mould: the back edge is held all round in the mould's dish, free to turn; both forces
act on the open top edge. Twist: tail block in a vice, neck block resting on its middle, a batten across the neck block
with the weight on its end. The rim's own weight is in both readings and drops out. Small deflections: the load does
not turn with the rim.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fem.recordings import read_recording
from fem.tap_tones import Tone, find_tones
from meshes.measured import ReadingErrors
from studies.common.inputs import BadInput, given_sheet, mesh_size, within
from studies.common.summary import print_summary
from studies.common.words import with_files
from studies.squeeze.solve import squeeze_builds

GAIN_HINT = "(a recorder with automatic gain levels a low rim's slow decay: switch it off)"


def squeeze_rims(
    sheet: str | Path,
    out: str | Path | None = None,
    load_kg: float = 2.0,
    size_mm: float | None = None,
    recordings: Sequence[str | Path] = (),
    pictures: bool = True,
    ruler_mm: float | None = None,
    load_error_percent: float | None = None,
) -> str:
    """Run the study on a sheet, write tables and picture, return the text to print.

    recordings: WAV files of the rim held in two fingers and tapped. ruler_mm, load_error_percent: the maker's reading
    errors. What the sheet says was measured is set beside the computed values.
    """
    from studies.squeeze.page import write_report
    from studies.squeeze.words import text

    given, size = given_sheet(sheet), mesh_size(size_mm)
    within("--load-kg", load_kg, 0.1, 20, "kg")
    body = given.body
    out = given.folder(out, "squeeze")
    errors = reading_errors(body.measured.errors, ruler_mm, load_error_percent)
    study = squeeze_builds(body, load_kg, size, errors, *tapped_tones(recordings))
    study = replace(study, source=given.source)
    written = write_report(study, out, pictures)
    return "\n".join([with_files(text(study), written), print_summary(out / "summary.html")])


# --- what is given ---


def reading_errors(given: ReadingErrors, ruler_mm: float | None, load_percent: float | None) -> ReadingErrors:
    """ReadingErrors with those replaced that are given."""
    if ruler_mm is not None:
        given = replace(given, ruler=within("--ruler-mm", ruler_mm, 0.001, 5, "mm") / 1e3)
    if load_percent is not None:
        given = replace(given, load=within("--load-error-percent", load_percent, 0, 30, "percent") / 100)
    return given


def tapped_tones(recordings: Sequence[str | Path]) -> tuple[list[Tone], list[str]]:
    """(tones, notes) of WAV recordings of the rim held in two fingers and tapped; automatic gain is told in the notes."""
    tones, notes = [], []
    for path in recordings:
        try:
            found, said = find_tones(read_recording(path), lowest=10.0, highest=600.0)
        except ValueError as problem:
            text = str(problem) if str(path) in str(problem) else f"{path}: {problem}"
            raise BadInput(f"{text} {GAIN_HINT}" if "tone" in text or "tap found" in text else text) from None
        tones += found
        notes += [f"{path}: {note}" for note in said]
    return tones, notes
