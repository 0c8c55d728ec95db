"""What the maker measured, beside the computed value."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from meshes.measured import CLOSED_BOX, SQUEEZES, TAPS, WEIGHTS, Measured
from studies.common.words import UNKNOWN, minus, rounded, signed

if TYPE_CHECKING:
    from fem.tap_tones import Tone

WORDS = {"g": 1e3, "mm": 1e3, "Hz": 1.0, "": 1.0}
HEAD = ("what", "measured", "computed", "difference", "reading error", "in agreement")
LIMITS = (
    "In agreement: the difference is within the reading error. Woods of one name differ by 20 % and more in stiffness and "
    "10 % in weight, and the model's own error is not known: a difference larger than the reading error is no fault of yours.",
    "Tap tones are set beside the nearest computed modes in rising order, without looking at their shapes: where modes lie "
    "close together, agreement may be chance.",
)
BOX = (
    "The closed box is computed with the air inside and the sound outside, held as 'closed_box_held' says. A tap at one place leaves out the "
    "modes that hardly move it."
)


@dataclass(frozen=True)
class Beside:
    """One measured value and what the model says, SI units."""

    name: str
    unit: str  # in which it is printed: 'g', 'mm', 'Hz', '' for a loss factor
    measured: float
    computed: float | None  # None: the model has no such value
    reading_error: float

    @property
    def difference(self) -> float | None:
        """Measured minus computed, or None."""
        return None if self.computed is None else self.measured - self.computed

    @property
    def agrees(self) -> bool | None:
        """Whether the difference is within the reading error, or None."""
        return None if self.computed is None else abs(self.measured - self.computed) <= self.reading_error


def beside(measured: Measured, computed: Mapping[str, float | np.ndarray]) -> tuple[Beside, ...]:
    """Besides of a Measured and the computed values {sheet key: kg, m, or (n,) Hz}, in the order of the sheet."""
    errors, support = measured.errors, {"free": "free", "mould": "in its mould"}[measured.squeeze_held]
    alone = lambda key: float(computed[key]) if key in computed else None
    rows = [
        Beside(f"weight: {WEIGHTS[key][1]}", "g", value, alone(key), errors.scale)
        for key, value in measured.weights.items()
    ]
    for key, press in SQUEEZES.items():
        if press in measured.squeezes:
            value, words = measured.squeezes[press], f"{press}, {measured.squeeze_load:g} kg, {support}"
            rows.append(Beside(words, "mm", value, alone(key), errors.of_deflection(value)))
    for key, tones in measured.taps.items():
        for k, (tone, partner) in enumerate(zip(tones, nearest_modes(tones, np.atleast_1d(computed.get(key, ())))), 1):
            rows.append(Beside(f"tap {k}: {TAPS[key]}", "Hz", tone, partner, errors.tap * tone))
    return tuple(rows)


def heard(
    tones: "Sequence[Tone]", frequency: np.ndarray, loss_factor: np.ndarray | None, tap_error: float
) -> tuple[Beside, ...]:
    """Besides of the tones of a recording: frequency and loss factor, beside the modes with those (n,) and (n,) or None."""
    rows = []
    partners = nearest_modes([tone.frequency for tone in tones], frequency)
    for tone, partner in zip(tones, partners):
        error = max(tone.frequency_uncertainty, tap_error * tone.frequency)
        rows.append(Beside(f"tone at {tone.frequency:.1f} Hz", "Hz", tone.frequency, partner, error))
        if tone.loss is not None and tone.loss_uncertainty is not None:
            value = None
            if partner is not None and loss_factor is not None:
                value = float(loss_factor[np.argmin(np.abs(frequency - partner))])
            rows.append(Beside("  its loss factor", "", tone.loss, value, tone.loss_uncertainty))
    return tuple(rows)


def nearest_modes(tones: Sequence[float], frequencies: Sequence[float] | np.ndarray) -> list[float | None]:
    """For each tone [Hz] its partner among the frequencies [Hz], each used once, or None where they run out."""
    if not len(frequencies):
        return [None] * len(tones)
    from scipy.optimize import linear_sum_assignment

    cost = np.abs(np.log(np.asarray(tones, float)[:, None] / np.asarray(frequencies, float)))
    partner = dict(zip(*linear_sum_assignment(cost)))
    return [float(frequencies[partner[k]]) if k in partner else None for k in range(len(tones))]


def squeeze_values(deflection: Mapping[tuple[str, str], float], state: str) -> dict[str, float]:
    """{sheet key: m} from {(state, press): m}."""
    return {key: deflection[state, press] for key, press in SQUEEZES.items() if (state, press) in deflection}


def as_dict(row: Beside) -> dict[str, str | float | bool | None]:
    """A Beside for JSON, SI units."""
    return {**vars(row), "difference": row.difference, "agrees": row.agrees}


def table(rows: Iterable[Beside]) -> str:
    """The rows as text, in the maker's units, with what the comparison can and cannot say."""
    width = max(len(row.name) for row in rows)
    line = lambda name, *of: "{:{}}  {:>10} {:>10} {:>11} {:>14}  {}".format(name, width, *of)
    lines = [line(*HEAD), *(line(*cells(row)) for row in rows)]
    box = [BOX] if any(TAPS[CLOSED_BOX] in row.name and row.unit == "Hz" for row in rows) else []
    return "\n".join([*lines, *LIMITS, *box])


def cells(row: Beside) -> tuple[str, ...]:
    """What stands under HEAD."""
    told = (shown(row.measured, row.unit), shown(row.computed, row.unit), shown(row.difference, row.unit, "+"))
    agrees = {True: "yes", False: "no", None: "no computed value"}[row.agrees]
    return row.name, *told, shown(row.reading_error, row.unit), agrees


def shown(value: float | None, unit: str, sign: str = "") -> str:
    """'12.3 mm'; a loss factor with two figures."""
    if value is None:
        return UNKNOWN
    if not unit:
        return minus(f"{value:{sign}.2g}")
    written = signed if sign else rounded
    return f"{written(value * WORDS[unit], {'g': 0, 'mm': 2, 'Hz': 1}[unit])} {unit}"
