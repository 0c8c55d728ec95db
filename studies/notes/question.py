"""How long do notes last on the real guitar, and how long does the sheet's own build let them last in the computation?"""

from pathlib import Path

from fem.coupled_string import couple, pluck_note, radiated_later, valid_partials
from fem.strings import fundamental
from meshes.build import DEFAULT_SIZE
from meshes.holding import FREE, LAP, hold
from meshes.sheet import read_sheet
from meshes.sheet_strings import strung
from meshes.sounding import HIGHEST, surroundings
from meshes.string_body import string_body
from studies.common.builds import builds, complete_linings
from studies.common.inputs import BadInput, existing_file, writable_folder
from studies.common.note_names import read_place
from studies.common.progress import Progress
from studies.notes.measured import ALWAYS, beside, nominal_pitch, read_file, within, words
from studies.solved.coupled import STEPS, soundings

DRY_MODES, FRETS = 60, 20
LABEL = (
    "Measured: the microphone's place and the room are in it. Computed: the sound in all directions together, in free air, the other "
    "strings damped. Both over the same ranges of level and the same band."
)


def main(takes, sheet=None, out=None, how=LAP, size_mm=None, strings=None):
    """Read recordings ['E2=take.wav', ...] and, with a sheet, set the computed notes beside; returns the text to print."""
    named = [read_take(text) for text in takes]
    if not named:
        raise BadInput("no recording given; expected NOTE=FILE, such as E2=take.wav")
    if sheet is None:
        return "\n".join([*(words(read_file(path, note)) for note, path in named), warning()])
    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    sheet = existing_file(sheet)
    body = complete_linings(read_sheet(sheet))[0]
    found = strung(body, strings)
    played = found.strings.strings
    places = [read_place(note, [s.name for s in played], [fundamental(s) for s in played], FRETS) for note, _ in named]
    reads = [read_file(path, note, HIGHEST) for note, path in named]  # what cannot be read is told before the long work
    store = writable_folder(out or Path("out") / f"{sheet.stem}-sustain") / "rows"
    modes = body_modes(body, how, size_mm / 1e3 if size_mm else DEFAULT_SIZE, DRY_MODES, store, len(played))
    lines = [f"{body.name}, as on the sheet, {how}. {LABEL}", ""]
    for (note, path), place, read in zip(named, places, reads):
        lines.append(one(note, path, played, place, modes, found.pluck, read))
    return "\n".join([*lines, warning()])


def read_take(text):
    """(note, path) of 'E2=take.wav'. BadInput for anything else."""
    note, sign, path = text.partition("=")
    if not sign or not note or not path:
        raise BadInput(f"'{text}': expected NOTE=FILE, such as E2=take.wav, or D3+5=take.wav for string D3 at fret 5")
    try:
        nominal_pitch(note)
    except ValueError as problem:
        raise BadInput(str(problem)) from None
    return note, existing_file(path)


def body_modes(body, how, size, dry, store, strings, around=surroundings, progress=None):
    """BodyModes of the sheet's own build, held one way."""
    own = builds(body)[:1]
    made = soundings(own, size, dry, store, progress or Progress(STEPS), 1.0, around)
    whole = made.whole[own[0].name]
    return string_body(whole, hold(whole, how), strings)


def one(note, path, strings, place, modes, pluck, read):
    """Words on one recording beside its computed note; the measured band ends where the computed modes do."""
    string, fret = place
    if not valid_partials(strings[string], fret, modes):
        return (
            words(read)
            + f"\n  not computed: the note lies above {modes.highest_valid:.0f} Hz, where the computed modes end"
        )
    if modes.highest_valid < HIGHEST:
        read = read_file(path, note, modes.highest_valid)
    ringing = pluck_note(couple(strings[string], string, fret, modes), pluck)
    return words(read, beside(read, radiated_later(within(ringing, read.band))))


def warning():
    return f"\nAlways: {ALWAYS}."


def held(word):
    """FREE or LAP from what is typed."""
    known = {"free": FREE, "lap": LAP, FREE: FREE, LAP: LAP}
    if word not in known:
        raise BadInput(f"--held {word}: expected 'lap' or 'free'")
    return known[word]
