"""How the body's own modes move from one rim build to another: which is which, by how much in pitch and in damping."""

from dataclasses import dataclass

import numpy as np

from fem.body_modes import BodyModes, dampings
from studies.common.pairing import paired
from studies.solved.answer import Answer

LOWEST = 60.0  # Hz: below, the whole guitar rocks on what holds it


@dataclass(frozen=True)
class BodyShifts:
    """n modes of the sheet's own build, ascending, and their partners in another one; nan where there is none."""

    frequency: np.ndarray  # (n,) Hz
    ratio: np.ndarray  # (n,) of frequencies, build over sheet's own
    loss_factor: np.ndarray  # (n,)
    loss_ratio: np.ndarray  # (n,)


def surface_motion(velocity: np.ndarray, answer: Answer) -> np.ndarray:
    """(m, n) normal motion of the outer surface in each real mode of an Answer; velocity: its build's, of CoupledModels."""
    return velocity @ answer.real_modes[1][: velocity.shape[1]]


def partners_of(own: np.ndarray, other: np.ndarray, area: np.ndarray) -> np.ndarray:
    """(n,) for every column of `own` (m, n) its partner in `other`, -1 if none, by their modal assurance criterion.

    Of motions of one surface, area (m,) of its pieces.
    """
    size = lambda v: area @ v**2
    return paired((own.T @ (area[:, None] * other)) ** 2 / np.outer(size(own), size(other)))[0]


def body_shifts(own: BodyModes, other: BodyModes, partner: np.ndarray) -> BodyShifts:
    """BodyShifts of the modes between LOWEST and the highest frequency answered for; partner: as `partners_of` finds it."""
    keep = np.flatnonzero((own.omega > 2 * np.pi * LOWEST) & (own.omega < 2 * np.pi * own.highest_valid))
    loss, loss_other = (np.diag(np.add.reduce(list(dampings(b).values()))) / b.omega for b in (own, other))
    at = partner[keep]
    of = lambda mine, its: np.where(at >= 0, its[at] / mine[keep], np.nan)
    return BodyShifts(own.omega[keep] / (2 * np.pi), of(own.omega, other.omega), loss[keep], of(loss, loss_other))


def nearest(shifts: BodyShifts, frequency: float) -> int | None:
    """Number of the mode that lies nearest to a frequency [Hz] on either build; None without modes."""
    with np.errstate(invalid="ignore"):
        away = np.abs(np.log(np.stack([shifts.frequency, shifts.frequency * shifts.ratio]) / frequency))
    return int(np.argmin(np.nanmin(away, axis=0))) if shifts.frequency.size else None
