"""Notes on their strings as players name them: A3 on string 4, fret 7."""

from studies.note_places import short_name


def place_name(strings, index, fret):
    """'string 4, fret 7' or 'string 4, open'; strings are counted from the highest, as players do."""
    return f"string {len(strings) - index}, " + (f"fret {fret}" if fret else "open")


def wolf_name(strings, wolf):
    """'A3 on string 4, fret 7' of a fem.fretboard.Wolf."""
    return f"{short_name(wolf.frequency)} on {place_name(strings, wolf.string, wolf.fret)}"
