"""What a variant of a night leaves: its row, its plucked notes, its check against a full solve. Light, so that it travels."""

import json
from dataclasses import dataclass, field

import numpy as np

MODEL_VERSION = 4  # raise whenever a row may change
ARRAYS = ("decay_time", "early_decay_time", "no_rim_loss", "rim_heat", "radiated", "energy", "sound_decay_time")
SUMMED = ("decay_s", "early_decay_s", "pluck_in_rim", "pluck_radiated", "no_rim_loss_ratio")
SHORT = {"hung free": "hung", "on the lap": "lap"}


def summary_names(holdings):
    """Names of the medians of each holding, as 'decay_s_hung'."""
    return tuple(f"{name}_{SHORT[how]}" for how in holdings for name in SUMMED)


DRY = (
    "body_g", "rim_g", "first_hz", "heat_in_rim", "stored_in_rim", "mean_loss_factor", "no_loss_gain", "estimate",
)  # fmt: skip
SUMMARY = (*DRY, *summary_names(SHORT))  # those of strings are empty in nights without them


@dataclass(frozen=True)
class Notes:
    """Plucked notes of one variant, held in h ways; arrays (h, notes), nan where a note is not valid."""

    holdings: tuple[str, ...]
    places: tuple[tuple[int, int], ...]  # (string, fret)
    frequency: np.ndarray  # (notes,) Hz of the fundamental on ends that do not move
    valid_to: float  # Hz: the body's modes answer for no more
    decay_time: np.ndarray  # T60 [s]
    early_decay_time: np.ndarray  # s
    no_rim_loss: np.ndarray  # T60 [s] with no loss in the rim, all else equal
    rim_heat: np.ndarray  # share of the pluck's energy
    radiated: np.ndarray  # share of the pluck's energy
    energy: np.ndarray  # J of the pluck in the valid partials
    sound_decay_time: np.ndarray  # T60 of the energy still to be radiated [s]


@dataclass(frozen=True)
class Row:
    """One variant solved: n modes, p parts."""

    key: str
    parameters: dict  # {factor: value, 'scatter': {board: [...]}} as JSON holds them
    rim: str
    method: str  # 'reduced' or 'full'
    parts: tuple[str, ...]
    frequency: np.ndarray  # (n,) Hz
    loss_factor: np.ndarray | None  # (n,)
    strain: np.ndarray | None  # (p, n) shares, single precision
    heat: np.ndarray | None  # (p, n); None: losses not known, or shares not asked for
    summary: dict = field(default_factory=dict)  # {name of SUMMARY: value or None}
    notes: object = None  # Notes


@dataclass(frozen=True)
class Check:
    """A row solved again in full. Errors: relative, and of shares as parts of one."""

    key: str
    frequency_error: float
    strain_error: float | None
    heat_error: float | None
    modes_below: int | None  # counted by inertia
    modes_expected: int
    note: str = ""
    decay_error: float | None = None  # largest of a note's T60
    median_decay_error: float | None = None  # largest of the medians over the notes


@dataclass
class Result:
    """What a worker sends back for a batch."""

    rows: list  # of Row
    in_full: list  # variants that the reduced model serves not well enough, each with the reason in words
    checks: list  # of Check
    seconds: float
    cpu: float  # s of this process alone


# --- as stored ---


def packed(notes):
    """(head, frequency, valid to, arrays): text, bytes, a number and bytes."""
    head = json.dumps([notes.holdings, notes.places])
    stack = np.array([getattr(notes, name) for name in ARRAYS], np.float32)
    return head, notes.frequency.tobytes(), notes.valid_to, stack.tobytes()


def unpacked(head, frequency, valid_to, arrays):
    """Notes of what `packed` gave."""
    holdings, places = json.loads(head)
    frequency = np.frombuffer(frequency)
    stack = np.frombuffer(arrays, np.float32).astype(float).reshape(len(ARRAYS), len(holdings), len(places))
    return Notes(tuple(holdings), tuple(map(tuple, places)), frequency, valid_to, *stack)
