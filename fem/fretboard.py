"""Every string at every fret on one body: decay times, where each pluck's energy goes, wolf notes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.body_modes import HAND, RADIATION, STRING, BodyModes, dampings, held_by_hand
from fem.coupled_string import POLARISATIONS, dissipated, fall_time, valid_partials
from fem.damped_body import DampedBody, damped_body
from fem.radiated_sound import OCTAVES, first_radiated, radiated_decay_time, radiated_in_octaves, sound_of
from fem.string_poles import plucked
from fem.strings import Pluck, String, fretted_length, fundamental, inharmonicity, pluck_energy

OF_NOTE = 9  # figures of a note before its octaves and shares


@dataclass(frozen=True)
class Fretboard:
    """Arrays (strings, frets + 1); column 0 is the open string. Notes that are not valid hold nan."""

    frequency: np.ndarray  # Hz, on ends that do not move
    inharmonicity: np.ndarray  # B
    valid: np.ndarray  # bool: the fundamental lies below the highest frequency that the body modes answer for
    partials: np.ndarray  # how many partials lie below it
    decay_time: np.ndarray  # T60 of the energy, s
    # 6 x the time in which the energy still to be radiated falls by 10 dB, s; nan without radiation
    early_decay_time: np.ndarray
    sound_decay_time: np.ndarray  # T60 of the energy still to be radiated, s; nan without radiation
    first_radiated: np.ndarray  # J radiated in the first half second; nan without radiation
    share: dict[str, np.ndarray]  # {part, 'radiation', 'string': share of the pluck's energy}; sums to 1
    energy: np.ndarray  # J of the pluck in the partials kept
    energy_kept: np.ndarray  # the same over the energy of the whole pluck
    # (strings, frets + 1, radiated_sound.OCTAVES) J radiated in each; nan of one that ends above highest_valid
    octaves: np.ndarray
    highest_valid: float  # Hz

    @property
    def radiated(self) -> np.ndarray:
        """Energy radiated by each note [J]."""
        return self.energy * self.share[RADIATION]

    @property
    def imbalance(self) -> float:
        """Largest distance of a note's shares from a sum of 1."""
        total = sum(self.share.values(), np.zeros(self.valid.shape))[self.valid]
        return float(abs(total - 1).max(initial=0))


@dataclass(frozen=True)
class Wolf:
    """A note that shares its fundamental with a body mode: the two may beat. Whether it dies early, its decay tells."""

    string: int
    fret: int
    frequency: float  # Hz of the note
    body_frequency: float  # Hz of the body mode
    strength: float  # above 1 the two split (Gough's K)
    split: float  # Hz between the two modes that share it, were the string tuned to the body mode


def fretboard(strings: Sequence[String], body: BodyModes, pluck: Pluck, frets: int = 20) -> Fretboard:
    """Fretboard of all strings, open and at every fret; each note alone, the other strings damped.

    The matrices of a note are too small for more than one thread: set OMP_NUM_THREADS=1. ValueError for a number of strings
    that the body does not have.
    """
    if len(strings) != len(body.saddle):
        raise ValueError(f"{len(strings)} strings on a body with {len(body.saddle)} saddle points; expected one each")
    reduced = damped_body(body)
    places = [(i, fret) for i in range(len(strings)) for fret in range(frets + 1)]
    names = [*reduced.parts, *shared_by_hand(body), STRING]
    rows = np.array([one_note(strings[i], i, fret, reduced, pluck) for i, fret in places])
    columns = rows.T.reshape(-1, len(strings), frets + 1)
    first = OF_NOTE + len(OCTAVES)
    frequency, stiff, partials, decay, early, sound, level, energy, kept = columns[:OF_NOTE]
    return Fretboard(
        frequency, stiff, partials > 0, partials.astype(int), decay, early, sound, level,
        dict(zip(names, columns[first:])), energy, kept, np.moveaxis(columns[OF_NOTE:first], 0, -1), body.highest_valid,
    )  # fmt: skip


def shared_by_hand(body: BodyModes) -> tuple[str, ...]:
    """Names of shares beyond the body's own parts and the string."""
    return () if body.hand is None else (HAND,)


def one_note(string: String, index: int, fret: int, reduced: DampedBody, pluck: Pluck) -> list[float]:
    """[frequency, inharmonicity, valid partials, three decay times, radiated first, energy, energy kept, radiated in each
    octave, share of each part, of the hand where there is one, and of the string]."""
    body, parts = reduced.body, reduced.parts
    m = valid_partials(string, fret, body)
    row = [fundamental(string, fret), inharmonicity(string, fret), m]
    if m == 0:
        return row + [np.nan] * (OF_NOTE - 2 + len(OCTAVES) + len(parts) + len(shared_by_hand(body)))
    ringing = plucked(string, index, fret, reduced, pluck)
    share = dissipated(ringing, parts)
    whole = pluck_energy(string, fret, pluck)
    sound = sound_of(ringing)
    times = [fall_time(ringing, 60.0), 6 * radiated_decay_time(sound, 10.0), radiated_decay_time(sound, 60.0)]
    octaves = radiated_in_octaves(sound, body.highest_valid)
    return [*row, *times, first_radiated(sound), ringing.energy, ringing.energy / whole, *octaves, *share.values()]


def wolf_notes(strings: Sequence[String], body: BodyModes, frets: int = 20) -> list[Wolf]:
    """[Wolf], strongest first: the fundamental lies within the half-width of a body mode, and the two modes split.

    K = (2 Q/pi) sqrt(2 m/M), string mass m, effective mass M at the saddle, in the direction in which the mode moves the
    string's end; K > 1 splits. Gough, Acustica 49:124 (1981). Q is the body's at that mode; motion of the nut counts too. A hand at
    the fret changes each mode by itself.
    """
    C = np.diag(sum(dampings(body).values()))  # half-width in rad/s is C/2
    wolves = []
    for fret in range(frets + 1):
        more, stiffer, lossier = (np.diag(A) for A in held_by_hand(body, fret))
        modes, width = np.sqrt((body.omega**2 + stiffer) / (1 + more)), (C + lossier) / (1 + more)
        for i, string in enumerate(strings):
            omega = 2 * np.pi * fundamental(string, fret)
            ends = (body.saddle[i] + body.far_end(i, fret))[:, POLARISATIONS]
            ends = ends / np.sqrt(1 + more)[:, None]
            share = np.linalg.norm(ends, axis=1) * np.sqrt(2 * string.mass * fretted_length(string, fret)) / np.pi
            strength = 2 * share * modes / width
            for j in np.flatnonzero((abs(omega - modes) < width / 2) & (strength > 1)):
                at = float(modes[j] / (2 * np.pi))
                split = at * share[j] * np.sqrt(1 - strength[j] ** -2)
                wolves.append(Wolf(i, fret, omega / (2 * np.pi), at, float(strength[j]), float(split)))
    return sorted(wolves, key=lambda wolf: -wolf.strength)
