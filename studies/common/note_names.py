"""Short names of notes, read and written: 'E2', 'F♯3'; and places on a fretboard, 'D3+5'. Equal temperament, A4 at 440 Hz."""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from fem.fretboard import Wolf
from fem.strings import String

LETTERS = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
A4, A4_HZ = 57, 440.0  # semitones above C0
WRITTEN = re.compile(r"([A-Ga-g])([#♯b♭]?)(-?\d)")


def semitones(frequency: ArrayLike) -> np.ndarray:
    """Semitones above C0 of a frequency [Hz], with their fraction."""
    return A4 + 12 * np.log2(np.asarray(frequency, float) / A4_HZ)


def pitch(above: float) -> float:
    """Frequency [Hz] of a number of semitones above C0."""
    return float(A4_HZ * 2 ** ((above - A4) / 12))


def short_name(frequency: float) -> str:
    """The nearest note: 'E2' for 82.4 Hz, 'F♯3' for 185 Hz."""
    n = int(np.round(semitones(frequency)))
    return f"{LETTERS[n % 12]}{n // 12}"


def read_note(text: str) -> int:
    """Semitones above C0 of 'E2', 'f#3' or 'Bb2'. ValueError for anything else."""
    found = WRITTEN.fullmatch(text.strip())
    if not found:
        raise ValueError(f"note '{text}': cannot be read; expected a letter and an octave, such as E2, F#3 or Bb2")
    letter, sign, octave = found.groups()
    step = {"#": 1, "♯": 1, "b": -1, "♭": -1, "": 0}[sign]
    return STEPS[letter.upper()] + step + 12 * int(octave)


def read_place(text: str, names: Sequence[str], tuning: Sequence[float], frets: int) -> tuple[int, int]:
    """(string, fret) of 'E2' or of 'D3+5': string D3 at fret 5.

    names: of the strings, lowest first; tuning: their open frequencies [Hz]. A note alone is looked for at the lowest fret.
    ValueError tells what is there.
    """
    strings = f"strings here: {', '.join(names)}; frets 0 to {frets}"
    if "+" in text:
        name, _, fret = text.partition("+")
        if name not in names or not fret.isdigit() or int(fret) > frets:
            raise ValueError(
                f"note '{text}': no such place; expected a string and a fret, such as {names[0]}+5 ({strings})"
            )
        return names.index(name), int(fret)
    wanted, opens = read_note(text), np.round(semitones(tuning)).astype(int)
    places = [(int(wanted - n), i) for i, n in enumerate(opens) if 0 <= wanted - n <= frets]
    if not places:
        low, high = short_name(min(tuning)), short_name(pitch(max(opens) + frets))
        raise ValueError(f"note '{text}': lies off the fretboard; expected one between {low} and {high} ({strings})")
    lowest, string = min(places)
    return string, lowest


def place_name(strings: Sequence[String], index: int, fret: int) -> str:
    """'string 4, fret 7' or 'string 4, open'; strings are counted from the highest, as players do."""
    return f"string {len(strings) - index}, " + (f"fret {fret}" if fret else "open")


def wolf_name(strings: Sequence[String], wolf: Wolf) -> str:
    """'A3 on string 4, fret 7' of a fem.fretboard.Wolf."""
    return f"{short_name(wolf.frequency)} on {place_name(strings, wolf.string, wolf.fret)}"
