"""What a variant of a sweep leaves: its row, its plucked notes, its check against a full solve. Light, so that it travels."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from studies.common.ranges import in_order, numbers, positive, shares
from studies.sweep.design import Value, Variant

ARRAYS = (
    "decay_time", "early_decay_time", "no_rim_loss", "rim_dissipated", "radiated", "energy", "sound_decay_time", "first_radiated",
)  # fmt: skip
SUMMED = ("decay_s", "early_decay_s", "pluck_in_rim", "pluck_radiated", "no_rim_loss_ratio")
SHORT = {"hung free": "hung", "on the lap": "lap"}


def summary_names(holdings: Iterable[str]) -> tuple[str, ...]:
    """Names of the medians of each holding, as 'decay_s_hung'."""
    return tuple(f"{name}_{SHORT[how]}" for how in holdings for name in SUMMED)


DRY = (
    "body_g", "rim_g", "first_hz", "heat_in_rim", "stored_in_rim", "mean_loss_factor", "no_loss_gain", "estimate",
)  # fmt: skip
SUMMARY = (*DRY, *summary_names(SHORT))  # those of strings are empty in sweeps without them


@dataclass(frozen=True)
class Notes:
    """Plucked notes of one variant, held in h ways; arrays (h, notes), nan where a note is not valid."""

    holdings: tuple[str, ...]
    places: tuple[tuple[int, int], ...]  # (string, fret)
    frequency: np.ndarray  # (notes,) Hz of the fundamental on ends that do not move
    valid_to: float  # Hz: the body's modes answer for no more
    decay_time: np.ndarray  # T60 [s]
    early_decay_time: np.ndarray  # 6 x the first 10 dB of the energy still to be radiated [s]
    no_rim_loss: np.ndarray  # T60 [s] with no loss in the rim, all else equal
    rim_dissipated: np.ndarray  # share of the pluck's energy turned to heat in the rim
    radiated: np.ndarray  # share of the pluck's energy
    energy: np.ndarray  # J of the pluck in the valid partials
    sound_decay_time: np.ndarray  # T60 of the energy still to be radiated [s]
    first_radiated: np.ndarray  # J radiated in the first half second


@dataclass(frozen=True)
class Row:
    """One variant solved: n modes, p parts."""

    key: str
    parameters: dict[str, Value | dict[str, list[float]]]  # {factor: value, 'scatter': {board: draw}}
    rim: str
    method: str  # 'reduced' or 'full'
    parts: tuple[str, ...]
    frequency: np.ndarray  # (n,) Hz
    loss_factor: np.ndarray | None  # (n,)
    strain: np.ndarray | None  # (p, n) shares, single precision
    dissipated: np.ndarray | None  # (p, n) shares of the heat; None: not known, or shares not asked for
    summary: dict[str, float | None] = field(default_factory=dict)  # by the names of SUMMARY
    notes: Notes | None = None


def check_row(row: Row) -> None:
    """ArithmeticError unless a computed Row's numbers are in range."""
    what = f"row of {row.parameters}, rim '{row.rim}', {row.method}"
    in_order(what, row.frequency)
    numbers(what, {"loss_factor": row.loss_factor})
    positive(what, {"body_g": row.summary["body_g"]})
    for table in (row.strain, row.dissipated):
        if table is not None:
            shares(what, table)
    if (notes := row.notes) is not None:
        positive(what, {"decay": notes.decay_time, "early_decay": notes.early_decay_time, "energy": notes.energy})
        for table in (notes.rim_dissipated, notes.radiated):
            shares(what, table, whole=False)


@dataclass(frozen=True)
class Check:
    """A row solved again in full. Errors: relative, and of shares as parts of one. Names as in the store."""

    key: str
    frequency_error: float
    strain_error: float | None
    heat_error: float | None
    modes_below: int | None  # counted by inertia
    modes_expected: int
    note: str = ""
    decay_error: float | None = None  # largest of a note's T60
    median_decay_error: float | None = None  # largest of the medians over the notes


@dataclass(frozen=True)
class BatchResult:
    """What a worker sends back for a batch."""

    rows: list[Row]
    in_full: list[tuple[Variant, str]]  # those that the reduced model serves not well enough, each with the reason
    checks: list[Check]
    seconds: float
    cpu: float  # s of this process alone


# --- as stored ---


def notes_to_store(notes: Notes) -> tuple[str, bytes, float, bytes]:
    """(holdings and places as JSON, frequencies, valid to, arrays)."""
    head = json.dumps([notes.holdings, notes.places])
    stack = np.array([getattr(notes, name) for name in ARRAYS], np.float32)
    return head, notes.frequency.tobytes(), notes.valid_to, stack.tobytes()


def notes_from_store(head: str, frequency: bytes, valid_to: float, arrays: bytes) -> Notes:
    """Notes of what `notes_to_store` gave."""
    holdings, places = json.loads(head)
    stack = np.frombuffer(arrays, np.float32).astype(float).reshape(len(ARRAYS), len(holdings), len(places))
    return Notes(tuple(holdings), tuple(map(tuple, places)), np.frombuffer(frequency), valid_to, *stack)
