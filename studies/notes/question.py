"""How long do notes last on the real guitar, and how long does the sheet's own build let them last in the computation?"""

from collections.abc import Callable, Sequence
from pathlib import Path

from fem.body_modes import BodyModes
from fem.coupled_string import couple, pluck_note, valid_partials
from fem.radiated_sound import radiated_later
from fem.strings import Pluck, String, fundamental
from meshes.body import Body
from meshes.coupled_model import HIGHEST, FluidDomain, fluid_domain
from meshes.sheet_strings import strung
from meshes.supports import FREE, LAP, PLAYED
from studies.common.builds import builds, complete_linings
from studies.common.inputs import BadInput, existing_file, given_sheet, mesh_size
from studies.common.kept import kept_folder
from studies.common.note_names import read_place
from studies.common.progress import Progress
from studies.notes.measured import ALWAYS, NoteRead, beside_computed, in_band, nominal_pitch, read_file, words
from studies.solved.answer import ask
from studies.solved.coupled import STEPS, one_coupled
from studies.solved.level import prepare

FRETS = 20  # of the highest note that can be asked for
LABEL = (
    "Measured: the microphone's place and the room are in it. Computed: the sound in all directions together, in free air, the other "
    "strings damped. Both over the same ranges of level and the same band."
)


def read_notes(
    takes: Sequence[str],
    sheet: str | Path | None = None,
    out: str | Path | None = None,
    holding: str = "lap",
    size_mm: float | None = None,
    strings: str | None = None,
) -> str:
    """Read recordings ['E2=take.wav', ...] and, with a sheet, set the computed notes beside; returns the text to print."""
    named = [read_take(text) for text in takes]
    if not named:
        raise BadInput("no recording given; expected NOTE=FILE, such as E2=take.wav")
    if sheet is None:
        return "\n".join([*(words(read_file(path, note)) for note, path in named), warning()])
    given, size, how = given_sheet(sheet), mesh_size(size_mm), held(holding)
    body = complete_linings(given.body)[0]
    chosen = strung(body, strings)
    played = chosen.strings.strings
    places = read_places([note for note, _ in named], played)
    reads = [read_file(path, note, HIGHEST) for note, path in named]  # what cannot be read is told before the long work
    modes = body_modes(body, how, size, kept_folder(given.folder(out, "sustain")), len(played))
    rows = [one(*take, played, place, modes, chosen.pluck, read) for take, place, read in zip(named, places, reads)]
    return "\n".join([f"{body.name}, as on the sheet, {how}. {LABEL}", "", *rows, warning()])


def read_take(text: str) -> tuple[str, Path]:
    """(note, path) of 'E2=take.wav'. BadInput for anything else."""
    note, sign, path = text.partition("=")
    if not sign or not note or not path:
        raise BadInput(f"'{text}': expected NOTE=FILE, such as E2=take.wav, or D3+5=take.wav for string D3 at fret 5")
    try:
        nominal_pitch(note)
    except ValueError as problem:
        raise BadInput(str(problem)) from None
    return note, existing_file(path)


def read_places(notes: Sequence[str], strings: Sequence[String]) -> list[tuple[int, int]]:
    """[(string, fret)] of notes as they are typed, 'E2' or 'D3+5'. BadInput for what the strings do not hold."""
    tuning = [fundamental(s) for s in strings]
    return [read_place(note, [s.name for s in strings], tuning, FRETS) for note in notes]


def body_modes(
    body: Body, how: str, size: float, store: Path, strings: int, around: Callable[[Body], FluidDomain] = fluid_domain
) -> BodyModes:
    """BodyModes of the sheet's own build, held one way."""
    own = builds(body)[0]
    return ask(one_coupled(own, prepare(own.body, size, store), Progress(STEPS), around), how).played(strings)


def one(
    note: str,
    path: Path,
    strings: Sequence[String],
    place: tuple[int, int],
    modes: BodyModes,
    pluck: Pluck,
    read: NoteRead,
) -> str:
    """Words on one recording beside its computed note; the measured band ends where the computed modes do."""
    string, fret = place
    if not valid_partials(strings[string], fret, modes):
        above = f"{modes.highest_valid:.0f} Hz, where the computed modes end"
        return f"{words(read)}\n  not computed: the note lies above {above}"
    if modes.highest_valid < HIGHEST:
        read = read_file(path, note, modes.highest_valid)
    ringing = pluck_note(couple(strings[string], string, fret, modes), pluck)
    return words(read, beside_computed(read, radiated_later(in_band(ringing, read.band))))


def warning() -> str:
    return f"\nAlways: {ALWAYS}."


def held(word: str) -> str:
    """FREE, LAP or PLAYED from what is typed."""
    known = {"free": FREE, "lap": LAP, FREE: FREE, LAP: LAP, PLAYED: PLAYED}
    if word not in known:
        raise BadInput(f"--held {word}: expected 'lap', 'free' or 'played'")
    return known[word]
