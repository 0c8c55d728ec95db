"""Numbers on a page, whatever draws it: axes and round numbers."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

HERTZ = (40, 63, 100, 160, 250, 400, 630, 1000)  # told on an axis of frequency
STEPS = (1, 2, 5, 10)  # times a power of ten: numbers that read well


@dataclass(frozen=True)
class Axis:
    """The numbers from low to high, laid evenly or by their logarithm along the page from start to end."""

    low: float
    high: float
    start: float = 0.0
    end: float = 1.0
    logarithmic: bool = False

    def at(self, value: ArrayLike) -> np.ndarray:
        """Places of values; beyond the ends of the page's line where they lie beyond the axis, nan of nan."""
        turn = np.log if self.logarithmic else np.asarray
        with np.errstate(divide="ignore", invalid="ignore"):
            part = (turn(value) - turn(self.low)) / (turn(self.high) - turn(self.low))
        return self.start + part * (self.end - self.start)

    def ticks(self, most: int = 5) -> list[float]:
        """At most so many round numbers, and one more, between the ends."""
        return multiples(self.low, self.high, round_up((self.high - self.low) / most))


def multiples(low: float, high: float, step: float) -> list[float]:
    """The multiples of a step from low to high."""
    return [float(k * step) for k in np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) + 0.0]


def round_up(value: float, steps: tuple[float, ...] = STEPS) -> float:
    """The next of `steps` times a power of ten at or above a value; 1 where there is none to reach."""
    if not value > 0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    return float(power * next(s for s in steps if s * power >= value))


def round_down(value: float, steps: tuple[float, ...] = STEPS) -> float:
    """The nearest of `steps` times a power of ten at or below a value above 0."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(power * max(s for s in steps if s * power <= value * (1 + 1e-9)))
