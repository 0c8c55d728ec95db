"""A dozen plucked notes of one variant: how long they last, and how much of each pluck turns to heat in the rim."""

from collections.abc import Sequence

import numpy as np

from fem.body_modes import RADIATION, dampings
from fem.coupled_string import dissipated, fall_time, valid_partials
from fem.damped_body import damped_body
from fem.radiated_sound import first_radiated, radiated_decay_time, sound_of
from fem.string_poles import plucked
from fem.strings import Pluck, String, fundamental
from meshes.parts import RIM
from studies.solved.answer import Answer
from studies.sweep.result import ARRAYS, SHORT, SUMMED, Notes

HIGHEST_FRET = 7  # of the notes spread by default: the highest string stays below 500 Hz there


def spread(count: int, strings: int = 6) -> tuple[tuple[int, int], ...]:
    """((string, fret), ...) of `count` notes spread evenly over the strings and over the frets up to HIGHEST_FRET."""
    places = [(k % strings, int((HIGHEST_FRET + 1) * ((k + 0.5) * 0.618034 % 1))) for k in range(count)]
    taken: set[tuple[int, int]] = set()
    for k, (string, fret) in enumerate(places):
        while (string, fret) in taken:
            fret = (fret + 1) % (HIGHEST_FRET + 1)
        places[k] = (string, fret)
        taken.add((string, fret))
    return tuple(sorted(places))


def notes_of(
    answers: Sequence[Answer], strings: Sequence[String], places: Sequence[tuple[int, int]], pluck: Pluck
) -> Notes:
    """Notes of a body's Answers, full or reduced, one for each way to hold it, at places (string, fret)."""
    played = []
    for answer in answers:
        body = answer.played(len(strings))
        parts = dampings(body)
        reduced, quiet = damped_body(body, parts), damped_body(body, {p: C for p, C in parts.items() if p not in RIM})
        played.append([_note(strings[i], i, fret, reduced, quiet, pluck) for i, fret in places])
    frequency = np.array([fundamental(strings[i], fret) for i, fret in places])
    stack = np.moveaxis(np.array(played), -1, 0)  # (arrays, holdings, notes)
    holdings, valid_to = tuple(a.how for a in answers), answers[0].whole.structure.valid_to
    return Notes(holdings, tuple(places), frequency, valid_to, *stack)


def _note(string, index, fret, reduced, quiet, pluck):
    """Values of ARRAYS of one note on a DampedBody; quiet: the same without the rim's losses."""
    if not valid_partials(string, fret, reduced.body):
        return [np.nan] * len(ARRAYS)
    ringing = plucked(string, index, fret, reduced, pluck)
    share = dissipated(ringing, reduced.parts)
    decay = fall_time(ringing, 60.0)
    without = fall_time(plucked(string, index, fret, quiet, pluck), 60.0)
    in_rim = sum(share.get(part, 0.0) for part in RIM)
    sound = sound_of(ringing)
    early, late = 6 * radiated_decay_time(sound, 10.0), radiated_decay_time(sound, 60.0)
    return [decay, early, without, in_rim, share[RADIATION], ringing.energy, late, first_radiated(sound)]


# --- in numbers ---


def summary_of(notes: Notes) -> dict[str, float | None]:
    """{name: median over the valid notes, or None}."""
    summary: dict[str, float | None] = {}
    for h, how in enumerate(notes.holdings):
        ratio = notes.no_rim_loss[h] / notes.decay_time[h]
        values = (notes.decay_time[h], notes.early_decay_time[h], notes.rim_dissipated[h], notes.radiated[h], ratio)
        summary |= {f"{name}_{SHORT[how]}": _median(v) for name, v in zip(SUMMED, values)}
    return summary


def _median(values):
    good = values[np.isfinite(values)]
    return float(np.median(good)) if len(good) else None


def note_errors(small: Notes, big: Notes) -> tuple[float | None, float | None]:
    """(largest relative error of a note's T60, largest error of a median T60 over the notes) of Notes against others."""
    with np.errstate(invalid="ignore"):
        miss = np.abs(small.decay_time / big.decay_time - 1)
        middle = np.abs(np.nanmedian(small.decay_time, axis=1) / np.nanmedian(big.decay_time, axis=1) - 1)
    good = miss[np.isfinite(miss)]
    return (float(good.max()), float(np.nanmax(middle))) if len(good) else (None, None)
