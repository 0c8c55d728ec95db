"""Where the power that a force at the saddle puts in goes, against frequency: bands, radiation efficiency, overlays."""

from dataclasses import dataclass

import numpy as np

from fem.radiation import DENSITY, SPEED, Boundary, RadiationAt, radiation_at
from fem.response import FREQUENCIES, energy, harmonic
from meshes.coupled_model import CoupledModel
from studies.common.groups import IN_RIM, grouped
from studies.solved.answer import Answer

THIRDS = 1000.0 * 2.0 ** (np.arange(-13, 1) / 3)  # Hz, middles of third octaves, 50 to 1000
NAMES = (50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000)
SUMMARY = (80.0, 500.0)  # Hz: the range of the one figure per build, cut at the highest frequency answered for
IN_SUMMARY = slice(*np.searchsorted(FREQUENCIES, SUMMARY) + [0, 1])  # those of FREQUENCIES in it


@dataclass(frozen=True)
class Driven:
    """A body on its supports driven by 1 N at the saddle's middle."""

    frequency: np.ndarray  # (w,) Hz
    mobility: np.ndarray  # (w,) complex s/kg
    share: dict[str, np.ndarray]  # {group: (w,)} of the input power; sum to 1
    radiated: np.ndarray  # (w,) W
    efficiency: np.ndarray  # (w,) radiation efficiency [-]
    imbalance: float  # largest |input - sum of the parts| over the input
    valid_to: float  # Hz


def driven(
    answer: Answer,
    mass: np.ndarray,
    frequency: np.ndarray = FREQUENCIES,
    outside: RadiationAt | None = None,
) -> Driven:
    """Driven of an Answer. mass (n, n): of the outer surface, see `surface_mass`.

    outside: air_outside at these frequencies, where it is there already.
    """
    coupled = answer.whole
    response = harmonic(answer.supported, coupled.drive, frequency, outside)
    square = energy(mass, response.velocity[:, : len(mass)])
    efficiency = response.radiated_power / (DENSITY * SPEED / 2 * square)
    return Driven(
        response.frequency, response.mobility, grouped(response.share), response.radiated_power, efficiency,
        float(response.imbalance.max()), coupled.structure.valid_to,
    )  # fmt: skip


def air_outside(coupled: CoupledModel) -> RadiationAt:
    """What the air outside does to a CoupledModel at FREQUENCIES, however it is held and whatever it loses."""
    assert coupled.model.radiation is not None
    return radiation_at(coupled.model.radiation, 2 * np.pi * FREQUENCIES)


def surface_mass(surface: Boundary, velocity: np.ndarray) -> np.ndarray:
    """(n, n) m2: int v_i v_j dS of normal velocities (m, n), the openings among them."""
    return velocity.T @ (surface.area[:, None] * velocity)


def log_mean(frequency: np.ndarray, values: np.ndarray, low: float, high: float) -> float:
    """Mean of values (w,) over the logarithm of frequency between two frequencies [Hz]."""
    width = np.gradient(np.log(frequency)) * ((frequency >= low) & (frequency <= high))
    return float(np.sum(width * values) / np.sum(width))


def summary(found: Driven) -> dict[str, float]:
    """{measure: value} over SUMMARY: shares by group, rim together, mean Re Y, radiated power over 1 N."""
    return over(found, SUMMARY[0], min(SUMMARY[1], found.valid_to))


def power_summary(answer: Answer, outside: RadiationAt) -> dict[str, float]:
    """summary of an Answer, the radiation efficiency without a meaning; outside: air_outside of its CoupledModel."""
    plain = np.eye(answer.whole.coupling.c.shape[1])
    return summary(driven(answer, plain, FREQUENCIES[IN_SUMMARY], outside.part(IN_SUMMARY)))


def bands(found: Driven) -> list[tuple[int, dict[str, float]]]:
    """[(name, measures)] of the third octaves that the modes answer for in full."""
    edge = 2.0 ** (1 / 6)
    return [
        (name, over(found, middle / edge, middle * edge))
        for name, middle in zip(NAMES, THIRDS)
        if middle * edge <= min(found.valid_to, found.frequency[-1]) and middle / edge >= found.frequency[0]
    ]


def over(found: Driven, low: float, high: float) -> dict[str, float]:
    """The measures between two frequencies. Shares are those of the power put in there at every frequency alike, log mean."""
    mean = lambda v: log_mean(found.frequency, v, low, high)
    share = {group: mean(v) for group, v in found.share.items()}
    return {
        "rim": sum(share[g] for g in IN_RIM),
        **share,
        "mobility_real_s_per_kg": mean(found.mobility.real),
        "radiated_w": mean(found.radiated),
        "radiation_efficiency": mean(found.efficiency),
    }
