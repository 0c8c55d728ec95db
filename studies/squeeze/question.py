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

from dataclasses import replace
from pathlib import Path

from meshes.build import DEFAULT_SIZE
from meshes.measured import Measured, ReadingErrors
from meshes.open_rim import pressed_places
from studies.common.inputs import BadInput, read_source, writable_folder
from studies.squeeze.solve import run

GAIN_HINT = "(a recorder with automatic gain levels a low rim's slow decay: switch it off)"


def main(
    sheet, out=None, load_kg=2.0, size_mm=None, measured=None, recordings=(), pictures=True, ruler_mm=None,
    load_error_percent=None,
):  # fmt: skip
    """Run the study on a sheet, write tables and picture, return the text to print.

    measured: a Measured, or {press: mm} under the same load, set beside the computed values. recordings: WAV files of
    the rim held in two fingers and tapped. ruler_mm, load_error_percent: the maker's reading errors.
    """
    from studies.squeeze.page import write_tables
    from studies.squeeze.words import text

    _check(load_kg, "--load-kg", 0.1, 20, "kg")
    if size_mm is not None:
        _check(size_mm, "--mesh-size-mm", 5, 60, "mm")
    body, source = read_source(sheet)
    out = writable_folder(out or f"out/{source.path.stem}-squeeze")
    measured = as_measured(measured or body.measured, body, load_kg)
    errors = reading_errors(measured.errors, ruler_mm, load_error_percent)
    tones, notes = listen(recordings)
    study = run(body, load_kg, size_mm / 1e3 if size_mm else DEFAULT_SIZE, errors, measured, tones, notes)
    study = replace(study, source=source)
    written = write_tables(study, out)
    if pictures:
        from studies.squeeze.pictures import draw

        written += draw(study, out)
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)


# --- what is given ---


def _check(value, name, low, high, unit):
    if not low <= value <= high:
        raise BadInput(f"{name} {value:g}: expected between {low:g} and {high:g} {unit}")


def as_measured(given, body, load):
    """Measured of a Measured, of {press: mm} read under `load` [kg]."""
    if isinstance(given, Measured):
        return given
    from fem.materials import lookup

    known = dict.fromkeys([*pressed_places(body), "twist"])
    for press, value in given.items():
        lookup(press, known, "measured press")
        _check(value, f"measured deflection, {press}:", 0, 200, "mm")
    return Measured(
        squeezes={press: value / 1e3 for press, value in given.items()}, squeeze_load=load, errors=body.measured.errors
    )


def reading_errors(given, ruler_mm, load_percent):
    """ReadingErrors with those replaced that are given."""
    if ruler_mm is not None:
        _check(ruler_mm, "--ruler-mm", 0.001, 5, "mm")
    if load_percent is not None:
        _check(load_percent, "--load-error-percent", 0, 30, "percent")
    return ReadingErrors(
        given.scale,
        given.ruler if ruler_mm is None else ruler_mm / 1e3,
        given.load if load_percent is None else load_percent / 100,
        given.tap,
    )


def listen(recordings):
    """(tones, notes) of WAV recordings of the rim held in two fingers and tapped; automatic gain is told in the notes."""
    from fem.taps import find_tones, read_recording

    tones, notes = [], []
    for path in [recordings] if isinstance(recordings, str | Path) else recordings:
        try:
            found, said = find_tones(read_recording(path), lowest=10.0, highest=600.0)
        except ValueError as problem:
            text = str(problem) if str(path) in str(problem) else f"{path}: {problem}"
            raise BadInput(f"{text} {GAIN_HINT}" if "tone" in text or "tap found" in text else text) from None
        tones += found
        notes += [f"{path}: {note}" for note in said]
    return tones, notes
