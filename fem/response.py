"""Harmonic response of a body with its air: mobility, and where the input power turns to heat or to sound.

(K + i sum_p H_p - omega^2 (M + M_a) + i omega (sum_p C_p + R)) q = f, e^{+i omega t}. Unknowns q: modes of the structure (their
residual attachment modes among them), volume displacements of the openings, cavity modes, in any basis.
H_p = eta_p K_p are hysteretic losses of a part, C_p true dashpots, R and M_a what the air outside does.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from fem.air import DENSITY, Opening
from fem.body_modes import RADIATION
from fem.radiation import Radiation, RadiationAt, in_basis, radiation_at
from fem.still_air import VISCOSITY

CHUNK = 64  # frequencies worked on at a time
FREQUENCIES = np.arange(40.0, 1000.5, 1.0)  # Hz
COVER = "clothing"  # the part that covers of supports are
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
    """What k motions of the body rest on: a lap, a chest, an arm, a hanging cord. Springs and dashpots to the ground and the mass
    that moves with it, behind a cover (clothing) that gives.
    """

    part: str
    motion: np.ndarray  # (k, n) each motion per unit of each unknown
    stiffness: np.ndarray  # (k,) N/m
    resistance: np.ndarray  # (k,) N s/m
    mass: np.ndarray | float = 0.0  # (k,) kg
    cover: np.ndarray | float = np.inf  # (k,) N/m, spring of the cover; inf: none
    cover_loss: float = 0.0  # its loss factor


def held(model: ModalModel, supports: Iterable[Support]) -> ModalModel:
    """The model with Supports: springs join K, masses M, dashpots the viscous losses of their part, covers the losses of COVER.

    Every covered motion brings an unknown behind the model's own: the motion of what lies under the cover. Exact, and the problem
    stays quadratic in omega.
    """
    supports, n = list(supports), len(model.stiffness)
    covered = [np.isfinite(np.broadcast_to(s.cover, len(s.motion))) for s in supports]
    model = widened(model, n + sum(int(c.sum()) for c in covered))
    K, M, loss, viscous = model.stiffness, model.mass, dict(model.loss), dict(model.viscous)
    of = lambda motion, each: (motion.T * each) @ motion
    last = n
    for s, under in zip(supports, covered):
        body = np.pad(s.motion, ((0, 0), (0, len(K) - n)))
        face = np.where(under[:, None], 0.0, body)
        face[under, last : last + under.sum()] = np.eye(under.sum())
        last += under.sum()
        cover = of(body - face, np.where(under, s.cover, 0.0))
        K, M = K + of(face, s.stiffness) + cover, M + of(face, s.mass)
        viscous[s.part] = viscous.get(s.part, 0) + of(face, s.resistance)
        if under.any():
            loss[COVER] = loss.get(COVER, 0) + s.cover_loss * cover
    return replace(model, stiffness=K, mass=M, loss=loss, viscous=viscous)


def widened(model: ModalModel, size: int) -> ModalModel:
    """The model with unknowns behind its own, `size` in all, that nothing holds or moves yet."""
    n = len(model.stiffness)
    if size == n:
        return model
    wide = lambda A: np.pad(A, ((0, size - n),) * 2)
    all_wide = lambda parts: {part: wide(A) for part, A in parts.items()}
    radiation = None if model.radiation is None else in_basis(model.radiation, np.eye(n, size))
    return ModalModel(wide(model.stiffness), wide(model.mass), all_wide(model.loss), all_wide(model.viscous), radiation)


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


def harmonic(
    model: ModalModel, drive: np.ndarray, frequency: ArrayLike = FREQUENCIES, outside: RadiationAt | None = None
) -> Response:
    """Response to a force of 1 N whose work on the unknowns is drive' q, drive (n,), at frequencies (w,) [Hz].

    A drive shorter than n does nothing to the unknowns behind it.

    Power of a part: 1/2 omega q^H H_p q, or 1/2 omega^2 q^H C_p q; radiated: 1/2 omega^2 q^H R q.
    outside: radiation_at of the model's radiation and these frequencies, where it is there already: supports and losses
    leave it as it is.
    """
    frequency, drive = np.asarray(frequency, float), np.pad(drive, (0, len(model.stiffness) - len(drive)))
    if outside is not None and not np.array_equal(outside.omega, 2 * np.pi * frequency):
        raise ValueError("the air outside was asked for at other frequencies than the response: pass the same ones")
    omega, (hysteretic, viscous) = 2 * np.pi * frequency, losses(model)
    q, radiated = np.empty((len(omega), len(drive)), complex), np.zeros(len(omega))
    for rows in (slice(i, i + CHUNK) for i in range(0, len(omega), CHUNK)):
        w = omega[rows, None, None]
        D = np.empty((len(w), *model.stiffness.shape), complex)
        D.real, D.imag = model.stiffness - w**2 * model.mass, hysteretic + w * viscous
        if model.radiation is not None:
            air = radiation_at(model.radiation, omega[rows]) if outside is None else outside.part(rows)
            D[:, air.unknowns[:, None], air.unknowns] += 1j * w * air.impedance
        q[rows] = np.linalg.solve(D, np.broadcast_to(drive.astype(complex)[:, None], (len(D), len(drive), 1)))[..., 0]
        if model.radiation is not None:
            radiated[rows] = omega[rows] ** 2 / 2 * energy(air.impedance.real, q[rows][:, air.unknowns])
    power = {part: omega / 2 * energy(H, q) for part, H in model.loss.items()}
    power |= {part: omega**2 / 2 * energy(C, q) for part, C in model.viscous.items()}
    power |= {RADIATION: radiated} if model.radiation is not None else {}
    return Response(frequency, q, 1j * omega * (q @ drive), power)


def energy(A: np.ndarray, q: np.ndarray) -> np.ndarray:
    """q^H A q (w,) of motions q (w, n), complex, for a real symmetric A (n, n), or (w, n, n) with one for each motion."""
    of = lambda v: np.sum(v * (v @ A if A.ndim == 2 else (A @ v[..., None])[..., 0]), axis=1)
    return of(np.ascontiguousarray(q.real)) + of(np.ascontiguousarray(q.imag))


def losses(model: ModalModel) -> tuple[np.ndarray, np.ndarray]:
    """sum H_p and sum C_p (n, n) of a model."""
    none = np.zeros_like(model.stiffness)
    return sum(model.loss.values(), none), sum(model.viscous.values(), none)


def matrices_at(model: ModalModel, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A = K + i sum H_p + i omega (sum C_p + R) and B = M + M_a (w, n, n) at omega (w,): D = A - omega^2 B."""
    hysteretic, viscous = losses(model)
    w = omega[:, None, None]
    A = model.stiffness + 1j * hysteretic + 1j * w * viscous
    B = np.repeat(model.mass[None], len(omega), axis=0)
    if model.radiation is not None:
        air = radiation_at(model.radiation, omega)
        meets = np.s_[:, air.unknowns[:, None], air.unknowns]
        A[meets] += 1j * w * air.impedance.real
        B[meets] += air.impedance.imag / w
    return A, B
