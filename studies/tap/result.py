"""What was study, what was heard in it, and what is computed for the same stage."""

from dataclasses import dataclass

import numpy as np

from fem.decaying_poles import Pole, Stabilisation
from meshes.body import Body
from studies.common.inputs import NO_SOURCE, Source

MODE, HUM, ROOM, UNSURE = "mode", "hum", "the room's?", "not sure"


@dataclass(frozen=True)
class Stage:
    """A stage of building that can be study."""

    label: str
    key: str | None = None  # of the sheet's table [measured]
    computed: str = ""  # how it is computed; empty: it is not
    instead: str = ""  # where nothing is computed: why, or what tells more


STAGES = {
    "loose-top": Stage("loose top, no braces", instead="rimwork plate reads a rectangular board by its tones"),
    "loose-back": Stage("loose back, no braces", instead="rimwork plate reads a rectangular board by its tones"),
    "braced-top": Stage(
        "loose top with braces and bridge plate, no bridge", "top_tap_hz", "dry, free all round: air and fingers lower its tones"
    ),
    "braced-back": Stage(
        "loose back with braces", "back_tap_hz", "dry, free all round: air and fingers lower its tones"
    ),
    "top-on-rim": Stage("top on the rim, no back", instead="no model of a box that is open on one side"),
    "back-on-rim": Stage("back on the rim, no top", instead="no model of a box that is open on one side"),
    "open-rim": Stage("open rim held in two fingers", "rim_tap_hz", "dry, free, as rimwork squeeze computes it"),
    "closed-box": Stage(
        "closed box with its bridge, no neck, no strings", "closed_box_tap_hz", "with the air inside and the sound outside"
    ),
    "strung": Stage(
        "whole guitar, strung, strings damped", None, "with the air inside and the sound outside, with the neck, without strings"
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Computed:
    """A computed mode."""

    frequency: float  # Hz
    loss_factor: float | None
    radiated_share: float | None = None  # of its loss
    moves: str = ""


@dataclass(frozen=True)
class Heard:
    """A tone that was heard, and what it is taken for."""

    pole: Pole
    level: float  # dB below the strongest of the stage
    kind: str  # MODE, HUM, ROOM or UNSURE
    why: str = ""
    partner: int | None = None  # place among the computed modes


@dataclass(frozen=True)
class Take:
    """A recording of one stage."""

    file: str
    sha256: str
    place: str  # of the microphone
    taps: int


@dataclass(frozen=True)
class StageRead:
    """A stage with its recordings."""

    name: str  # of STAGES
    takes: tuple[Take, ...]
    heard: tuple[Heard, ...]
    stabilisation: Stabilisation
    frequency: np.ndarray  # (n,) Hz, of the spectrum
    level: np.ndarray  # (n,) dB, mean of all taps
    notes: tuple[str, ...]
    computed: tuple[Computed, ...] = ()
    chance: float | None = None  # of as many tones at random, how many would have a partner

    @property
    def stage(self) -> Stage:
        return STAGES[self.name]

    @property
    def modes(self) -> tuple[Heard, ...]:
        return tuple(h for h in self.heard if h.kind == MODE)


@dataclass(frozen=True)
class Tapped:
    """All stages of one guitar."""

    body: Body
    stages: tuple[StageRead, ...]
    held: str  # 'free' or 'lap'
    size: float  # m
    temperature: float | None = None  # degrees C
    humidity: float | None = None  # percent
    source: Source = NO_SOURCE
