"""What of a note is judged, and what listeners are known to hear of it. docs/verdict.md tells the same in words."""

from dataclasses import dataclass

import numpy as np

from studies.common.words import percent_change, signed, span

Ends = tuple[float, float]


@dataclass(frozen=True)
class Measure:
    """A positive figure of a note; builds are compared by its ratio, build over sheet's own."""

    key: str  # name in Fretboard and ScatteredNotes
    name: str
    words: str
    more: str  # of a note whose ratio is above 1
    less: str
    decibel: bool = False  # told so: an energy

    def told(self, ratio: float) -> str:
        """'+0.3 dB' or '+3.1 %' of a ratio."""
        return f"{signed(10 * np.log10(ratio), 1)} dB" if self.decibel else percent_change(ratio)

    def span(self, low: float, high: float) -> str:
        """'-0.3 to +0.1 dB' or '-3.1 to +0.2 %' of two ratios."""
        if not self.decibel:
            return span(low, high)
        ends = [signed(10 * np.log10(v), 1) for v in (low, high)]
        if ends[0] == ends[1]:
            return f"{ends[0]} dB"
        if ends[0][0] == "−" and ends[1][0] == "+" and ends[0][1:] == ends[1][1:]:
            return f"±{ends[1][1:]} dB"
        return f"{ends[0]} to {ends[1]} dB"


LEVEL = Measure("first_radiated", "level", "level of the first half second", "louder", "softer", decibel=True)
EARLY = Measure(
    "early_decay_time", "early decay", "early decay of the sound", "slower to fall at first", "quicker to fall at first"
)
LATE = Measure("decay_time", "late decay", "decay by 60 dB", "longer", "shorter")
MEASURES = (LEVEL, EARLY, LATE)


@dataclass(frozen=True)
class Threshold:
    """Ratios between which no listener was found to hear a change of a Measure."""

    measure: Measure
    low: float
    high: float
    source: str
    listeners: str
    method: str
    stimulus: str
    read: str  # how the number was read
    decides: bool

    @property
    def ends(self) -> Ends:
        return self.low, self.high

    @property
    def told(self) -> str:
        """'±1.0 dB'."""
        return self.measure.span(self.low, self.high)


ROOMS = "ISO 3382-1:2009, Table A.1 (just noticeable differences of room acoustics)"
SECOND_HAND = "second-hand: the same number stands in the documentation of two libraries for room acoustics; the standard itself was not read"
DECIDING = (
    Threshold(
        LEVEL, 10**-0.1, 10**0.1, f"{ROOMS}, sound strength G: 1 dB", "not told where it was read",
        "just noticeable difference", "music in rooms, not plucked notes", SECOND_HAND, True,
    ),
    Threshold(
        EARLY, 0.95, 1.05, f"{ROOMS}, early decay time: 5 %", "not told where it was read", "just noticeable difference",
        "music in rooms, not plucked notes", SECOND_HAND, True,
    ),
    Threshold(
        LATE, 0.75, 1.4,
        "Tolonen & Jarvelainen, 'Perceptual study of decay parameters in plucked string synthesis', 109th AES Convention (2000): "
        "−25 to +40 % in the time constant of decay inaudible",
        "number not read", "listening experiment, eight test sets",
        "synthetic plucked tones of a waveguide model, two fundamentals, two durations, two excitations", "abstract read", True,
    ),
)  # fmt: skip
PLAYERS = Threshold(
    LATE, 1 / 1.05, 1 / 0.95, "Christian, Savart Journal (2011): experienced guitarists perceive 5 % in damping",
    "none", "none: stated in its introduction without a test", "none", "introduction read", False,
)  # fmt: skip
LIMITS = {t.measure.key: t.ends for t in DECIDING}
NOT_USED = (
    "Woodhouse, Manuel, Smith, Wheble & Fritz, Acta Acustica 98:475 (2012): just noticeable differences in the damping of a guitar's "
    "body and strings, synthesised plucks, three-alternative forced choice; abstract read, its numbers not",
)
