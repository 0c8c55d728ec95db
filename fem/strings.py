"""A stretched stiff string: partials, losses, and how a pluck shapes it."""

from dataclasses import dataclass

import numpy as np

from fem.still_air import DENSITY, VISCOSITY

DECAY_60 = 3 * np.log(10)  # 6.908: amplitude falls by 60 dB when rate x time reaches it


@dataclass(frozen=True)
class String:
    """A string of a guitar, its open length taut between nut and saddle.

    Loss factor of a partial: eta = [T (loss_friction + loss_air/omega) + EI loss_bending k^2]/[T + EI k^2] + R/(mu omega).
    Woodhouse, Acta Acustica 90:945 (2004), with the drag R of still air on the diameter. Measured constants of a source that
    counts the air in loss_air go without a diameter.
    """

    name: str
    length: float  # m, open
    tension: float  # N
    mass: float  # kg/m
    bending_stiffness: float = 0.0  # EI, N m2
    loss_friction: float = 0.0
    loss_air: float = 0.0  # 1/s
    loss_bending: float = 0.0
    diameter: float = 0.0  # m, outside; 0: the air is in loss_air

    def __post_init__(self) -> None:
        for key in ("length", "tension", "mass"):
            if not (np.isfinite(getattr(self, key)) and getattr(self, key) > 0):
                raise ValueError(f"string '{self.name}': {key} = {getattr(self, key)}; expected a positive number")
        for key in ("bending_stiffness", "loss_friction", "loss_air", "loss_bending", "diameter"):
            if not (np.isfinite(getattr(self, key)) and getattr(self, key) >= 0):
                raise ValueError(f"string '{self.name}': {key} = {getattr(self, key)}; expected 0 or more")

    @property
    def impedance(self) -> float:
        """Characteristic impedance Z = sqrt(T mu) [N s/m]."""
        return np.sqrt(self.tension * self.mass)


@dataclass(frozen=True)
class Pluck:
    """Pulled aside by a force spread over a width, then let go. Distance from the saddle; angle 0 pulls away from the
    top, pi/2 along it.
    """

    distance: float = 0.13  # m
    width: float = 0.005  # m
    angle: float = np.pi / 4  # rad
    force: float = 2.0  # N


def fretted_length(string: String, fret: int) -> float:
    """Length [m] between fret and saddle, equal temperament; the tension stays."""
    return float(sounding_length(string.length, fret))


def sounding_length(scale: float, fret: int | np.ndarray) -> np.ndarray:
    """Length [m] between frets and saddle on a scale length [m], equal temperament."""
    return scale * 2.0 ** (-np.asarray(fret) / 12)


def wave_number(string: String, fret: int, n: int | np.ndarray) -> np.ndarray:
    """k_n = n pi/L [1/m] of partials n."""
    return np.asarray(n) * np.pi / fretted_length(string, fret)


def partials(string: String, fret: int, n: int | np.ndarray) -> np.ndarray:
    """omega_n [rad/s] of the string on hinged ends: mu omega^2 = T k^2 + EI k^4."""
    k = wave_number(string, fret, n)
    return k * np.sqrt((string.tension + string.bending_stiffness * k**2) / string.mass)


def fundamental(string: String, fret: int = 0) -> float:
    """Frequency [Hz] of the first partial on fixed hinged ends."""
    return float(partials(string, fret, 1) / (2 * np.pi))


def inharmonicity(string: String, fret: int = 0) -> float:
    """B of f_n = n f_0 sqrt(1 + B n^2): pi^2 EI/(T L^2). Fletcher, JASA 36:203 (1964)."""
    return np.pi**2 * string.bending_stiffness / (string.tension * fretted_length(string, fret) ** 2)


def drag(diameter: float, omega: np.ndarray) -> np.ndarray:
    """R [N s/m per m] of still air on a thin cylinder that moves to and fro sideways: 2 pi (eta + d sqrt(eta rho omega/2)).

    Stokes (1851) for amplitudes below the diameter, as in Fletcher & Rossing, The Physics of Musical Instruments, 2.10
    (from memory); the same formula stands in the public program of the measured string of tests/literature.toml (read).
    """
    return 2 * np.pi * (VISCOSITY + diameter * np.sqrt(VISCOSITY * DENSITY * omega / 2))


def loss_factor(string: String, fret: int, n: int | np.ndarray) -> np.ndarray:
    """Intrinsic loss factor eta_n of partials n (see String)."""
    k, T, EI, omega = wave_number(string, fret, n), string.tension, string.bending_stiffness, partials(string, fret, n)
    own = (T * (string.loss_friction + string.loss_air / omega) + EI * string.loss_bending * k**2) / (T + EI * k**2)
    return own + (drag(string.diameter, omega) / (string.mass * omega) if string.diameter else 0)


def intrinsic_decay_time(string: String, fret: int, n: int | np.ndarray) -> np.ndarray:
    """T60 [s] of partials n on ends that do not move: 2 x 6.908/(eta omega)."""
    with np.errstate(divide="ignore"):
        return 2 * DECAY_60 / (loss_factor(string, fret, n) * partials(string, fret, n))


def weak_decay_time(string: String, fret: int, Y: complex) -> float:
    """T60 [s] of the fundamental through a bridge of mobility Y [s/kg], weak coupling: alpha = 2 f Z Re Y.

    Off a body resonance only: on one the string and the body share two new modes. Gough, Acustica 49:124 (1981).
    """
    return DECAY_60 / (2 * fundamental(string, fret) * string.impedance * np.real(Y))


def plucked_shape(string: String, fret: int, pluck: Pluck, n: np.ndarray) -> np.ndarray:
    """Sine amplitudes q (m, 2) [m], away from the top and along it, of the string held by the pluck, ends fixed.

    q_k = F sin(k x) sinc(k width/2) / [(T k^2 + EI k^4) L/2]. ValueError if the pluck lies beyond the fret.
    """
    L, k = fretted_length(string, fret), wave_number(string, fret, n)
    if not pluck.width / 2 < pluck.distance < L - pluck.width / 2:
        raise ValueError(
            f"pluck at {pluck.distance * 1000:g} mm from the saddle, {pluck.width * 1000:g} mm wide: string "
            f"'{string.name}' at fret {fret} is {L * 1000:.0f} mm long; expected a place on the string"
        )
    shape = np.sin(k * (L - pluck.distance)) * np.sinc(k * pluck.width / (2 * np.pi))
    stiffness = (string.tension * k**2 + string.bending_stiffness * k**4) * L / 2
    return np.outer(pluck.force * shape / stiffness, [np.cos(pluck.angle), np.sin(pluck.angle)])


def modal_mass(string: String, fret: int) -> float:
    """mu L/2 [kg] of every sine of the string."""
    return string.mass * fretted_length(string, fret) / 2


def pluck_energy(string: String, fret: int, pluck: Pluck, n: np.ndarray | None = None) -> float:
    """Energy [J] stored in the string when it is let go, of partials n; of the first 4000 if not given."""
    n = np.arange(1, 4001) if n is None else n
    q = plucked_shape(string, fret, pluck, n)
    return float(0.5 * modal_mass(string, fret) * (partials(string, fret, n) ** 2 @ (q**2).sum(1)))
