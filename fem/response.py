"""Harmonic response of a body with its air: mobility, and where the input power turns to heat or to sound.

(K + i sum_p H_p - omega^2 (M + M_a) + i omega (sum_p C_p + R)) q = f, e^{+i omega t}. Unknowns q: modes of the structure (a
static residual vector among them), volume displacements of the openings, cavity modes, in any basis.
H_p = eta_p K_p are hysteretic losses of a part, C_p true dashpots, R and M_a what the air outside does.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from fem.air import DENSITY, Opening
from fem.body_modes import RADIATION
from fem.radiation import Radiation, added_mass_at, in_basis, resistance_at

VISCOSITY = 1.81e-5  # Pa s, of air at 20 C
CHUNK = 64  # frequencies worked on at a time
FREQUENCIES = np.arange(40.0, 1000.5, 1.0)  # Hz
NEGATIVE = 1e-8  # relative size of a negative eigenvalue taken for round-off


@dataclass(frozen=True)
class ModalModel:
    """Matrices (n, n) of n unknowns. SI; loss and viscous as in BodyModes, by part, without a common part."""

    stiffness: np.ndarray  # K
    mass: np.ndarray  # M, without the air outside where `radiation` holds it
    loss: Mapping[str, np.ndarray] = field(default_factory=dict)  # {part: H_p = (eta K)_p}, hysteretic
    viscous: Mapping[str, np.ndarray] = field(default_factory=dict)  # {part: C_p}: supports, an opening's friction
    radiation: Radiation | None = None

    def __post_init__(self) -> None:
        n = len(self.stiffness)
        named = {"stiffness": self.stiffness, "mass": self.mass}
        named |= {f"losses of '{part}'": H for part, H in {**self.loss, **self.viscous}.items()}
        for what, A in named.items():
            if A.shape != (n, n) or not np.isfinite(A).all() or abs(A - A.T).max() > 1e-6 * max(abs(A).max(), 1e-300):
                raise ValueError(f"modal model: {what} has shape {A.shape}; expected ({n}, {n}), finite and symmetric")
        for part in (*self.loss, *self.viscous):
            if part == RADIATION or (part in self.loss and part in self.viscous):
                raise ValueError(f"modal model: part '{part}' appears twice; 'radiation' is no part")
            H = self.loss[part] if part in self.loss else self.viscous[part]
            if np.linalg.eigvalsh((H + H.T) / 2)[0] < -NEGATIVE * abs(H).max():
                raise ValueError(f"modal model: losses of '{part}' are negative; a part cannot give energy")
        if self.radiation is not None and self.radiation.resistance.shape[1:] != (n, n):
            raise ValueError(
                f"modal model: radiation has shape {self.radiation.resistance.shape[1:]}; expected ({n}, {n})"
            )


# --- what goes into a model ---


def with_air(
    K: np.ndarray,
    M: np.ndarray,
    structure: int,
    loss: Mapping[str, np.ndarray],
    resistance: Mapping[str, float] | None = None,
    radiation: Radiation | None = None,
) -> ModalModel:
    """ModalModel of a body and its air, state (q, U, s): K, M by air.coupled_matrices(..., exterior="boundary_elements").

    structure: number n of the modes q. loss: {part: (n, n)} over them. resistance: {opening: Pa s/m3} of each U, in order.
    radiation: of (q, U), as computed with the pistons' columns after the modes'.
    """
    total, resistance = len(K), resistance or {}
    wide = lambda A, at: np.pad(A, ((at, total - at - len(A)),) * 2)
    viscous = {name: wide(np.array([[r]]), structure + j) for j, (name, r) in enumerate(resistance.items())}
    if radiation is not None:
        radiation = in_basis(radiation, np.eye(radiation.resistance.shape[1], total))
    return ModalModel(K, M, {part: wide(H, 0) for part, H in loss.items()}, viscous, radiation)


@dataclass(frozen=True)
class Support:
    """Springs and dashpots between ground and k places of the body: a lap, a chest, an arm, a hanging cord."""

    part: str
    motion: np.ndarray  # (k, n) displacement of each place along its spring, per unit of each unknown
    stiffness: np.ndarray  # (k,) N/m
    resistance: np.ndarray  # (k,) N s/m


def held(model: ModalModel, supports: Iterable[Support]) -> ModalModel:
    """The model with Supports: springs join K, each support's dashpots become the viscous losses of its part."""
    K, viscous = model.stiffness, dict(model.viscous)
    for s in supports:
        K = K + (s.motion.T * s.stiffness) @ s.motion
        viscous[s.part] = viscous.get(s.part, 0) + (s.motion.T * s.resistance) @ s.motion
    return replace(model, stiffness=K, viscous=viscous)


def opening_resistance(
    opening: Opening, frequency: float, density: float = DENSITY, viscosity: float = VISCOSITY
) -> float:
    """Viscous resistance [Pa s/m3] of a round Opening at a frequency [Hz]: pressure over volume velocity.

    A wide tube's wall drags with sqrt(rho mu omega / 2) times the velocity (Pierce, Acoustics, 1981), over the wall's
    thickness and an end correction at both faces. Assumed: the inertial one, 8 a/(3 pi) each; a thin plate's sharp edge
    drags more (Brandao & Schnitzer, Acoustic impedance of a cylindrical orifice, J. Fluid Mech., 2020). It grows with the
    root of the frequency: take the lowest resonance of the air, where nearly all of it acts.
    """
    drag = np.sqrt(density * viscosity * np.pi * frequency)
    length = opening.thickness + 16 * opening.radius / (3 * np.pi)
    return 2 * drag * length / opening.radius / opening.area


# --- harmonic drive ---


@dataclass(frozen=True)
class Response:
    """Answer of a model to a harmonic force of amplitude 1 N at w frequencies."""

    frequency: np.ndarray  # (w,) Hz
    displacement: np.ndarray  # (w, n) complex, of the unknowns
    mobility: np.ndarray  # (w,) complex, velocity over force at the drive [s/kg]
    power: dict[str, np.ndarray]  # {part or 'radiation': (w,)} mean power, heat or sound [W]

    @property
    def input_power(self) -> np.ndarray:
        """(w,) mean power that the force puts in [W]."""
        return self.mobility.real / 2

    @property
    def radiated_power(self) -> np.ndarray:
        """(w,) [W]; zero where the model has no air outside."""
        return self.power.get(RADIATION, np.zeros(len(self.frequency)))

    @property
    def share(self) -> dict[str, np.ndarray]:
        """{part or 'radiation': (w,)} of the input power; they sum to 1."""
        return {part: p / self.input_power for part, p in self.power.items()}

    @property
    def imbalance(self) -> np.ndarray:
        """(w,) |input - sum of the parts| / input: round-off, else an error."""
        return np.abs(self.input_power - sum(self.power.values())) / self.input_power

    @property
    def velocity(self) -> np.ndarray:
        """(w, n) complex, of the unknowns."""
        return 2j * np.pi * self.frequency[:, None] * self.displacement


def harmonic(model: ModalModel, drive: np.ndarray, frequency: ArrayLike = FREQUENCIES) -> Response:
    """Response to a force of 1 N whose work on the unknowns is drive' q, drive (n,), at frequencies (w,) [Hz].

    Power of a part: 1/2 omega q^H H_p q, or 1/2 omega^2 q^H C_p q; radiated: 1/2 omega^2 q^H R q.
    """
    frequency = np.asarray(frequency, float)
    chunks = [_chunk(model, drive, frequency[i : i + CHUNK]) for i in range(0, len(frequency), CHUNK)]
    q = np.concatenate([displacement for displacement, _ in chunks])
    power = {part: np.concatenate([p[part] for _, p in chunks]) for part in chunks[0][1]}
    return Response(frequency, q, 2j * np.pi * frequency * (q @ drive), power)


def _chunk(model: ModalModel, drive: np.ndarray, frequency: np.ndarray) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Displacements (w, n) and {part: power (w,)} at a few frequencies."""
    omega = 2 * np.pi * frequency
    w = omega[:, None, None]
    hysteretic, viscous, R, added = matrices_at(model, omega)
    D = model.stiffness + 1j * hysteretic - w**2 * (model.mass + added) + 1j * w * (viscous + R)
    q = np.linalg.solve(D, np.broadcast_to(drive.astype(complex)[:, None], (len(omega), len(drive), 1)))[..., 0]
    energy = lambda A: np.real(np.einsum("wi,wi->w", q.conj(), q @ A))
    power = {part: omega / 2 * energy(H) for part, H in model.loss.items()}
    power |= {part: omega**2 / 2 * energy(C) for part, C in model.viscous.items()}
    if model.radiation is not None:
        power[RADIATION] = omega**2 / 2 * np.real(np.einsum("wi,wij,wj->w", q.conj(), R, q))
    return q, power


def matrices_at(model: ModalModel, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """sum H_p, sum C_p (n, n), R and M_a (w, n, n) at omega (w,)."""
    none = np.zeros_like(model.stiffness)
    hysteretic, viscous = sum(model.loss.values(), none), sum(model.viscous.values(), none)
    if model.radiation is None:
        return hysteretic, viscous, none[None], none[None]
    return hysteretic, viscous, resistance_at(model.radiation, omega), added_mass_at(model.radiation, omega)
