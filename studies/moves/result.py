"""What steps were found to move."""

from dataclasses import dataclass, field

import numpy as np

from meshes.body import Body
from studies.common.inputs import NO_SOURCE, Source


@dataclass(frozen=True)
class Moved:
    """After a step: the sheet's own first modes, (n,) each, nan where none looks like it; sound for the same force."""

    frequency: np.ndarray  # Hz
    loss_factor: np.ndarray
    level: float  # dB


@dataclass(frozen=True)
class Effect:
    """Of one step: half the difference of the step and the step the other way, and its noise. (n,) of the first modes."""

    key: str
    words: str
    hertz: np.ndarray  # Hz
    hertz_noise: np.ndarray
    loss: np.ndarray  # change of the loss factor, of itself
    loss_noise: np.ndarray
    level_db: float  # sound for the same force
    level_noise: float


@dataclass(frozen=True)
class Moves:
    """Everything that the report is made from."""

    body: Body
    sizes: tuple[float, float]  # m, of the finer and the coarser mesh
    frequency: np.ndarray  # (n,) Hz of the air-loaded modes, hung free
    loss_factor: np.ndarray  # (n,)
    moves: tuple[str, ...]  # the modes in words
    effects: tuple[Effect, ...]
    grams: dict[str, float]  # {step: what it adds}
    source: Source = field(default=NO_SOURCE, kw_only=True)


def determined(value: float, noise: float) -> bool:
    """Whether an effect lies above its noise; not where either is not known."""
    return bool(abs(value) > noise)
