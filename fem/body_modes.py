"""The body as the strings meet it: natural frequencies, losses of every part, and motion at saddle and nut."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

STRING, RADIATION, HAND = "string", "radiation", "hand"  # names of shares that no part of the body may have
NEGATIVE = 1e-8  # relative size of a negative eigenvalue taken for round-off


@dataclass(frozen=True)
class Hand:
    """What holds the body while a note is fretted, at each fret elsewhere: springs, dashpots and masses at k motions."""

    motion: np.ndarray  # (frets + 1, k, n) kg^-1/2 of the body's modes; zero where nothing is held
    stiffness: np.ndarray  # (k,) N/m
    resistance: np.ndarray  # (k,) N s/m
    mass: np.ndarray  # (k,) kg


@dataclass(frozen=True)
class BodyModes:
    """n mass-normalised modes of a body, dry or with air, and s strings' ends on it. SI; x runs along the strings.

    loss: hysteretic, Phi' (eta K)_part Phi, the part's stiffness times its loss factor between modes; the diagonal alone
    may be given. viscous: true dashpots Phi' C_part Phi (supports, an opening's friction). radiation: B, so that
    C_rad = B B'. saddle: motion at saddle height, the turning of the bridge included. nut: motion of the far end of the
    string; with a leading axis of frets, of each fret. Rigid modes need the stiffness of their supports: omega > 0.
    """

    omega: np.ndarray  # (n,) rad/s
    loss: dict[str, np.ndarray]  # {part: (n, n) or (n,)} rad2/s2
    saddle: np.ndarray  # (s, n, 3) kg^-1/2
    nut: np.ndarray  # (s, n, 3) or (frets + 1, s, n, 3) kg^-1/2
    radiation: np.ndarray | None = None  # (n, r) s^-1/2
    viscous: dict[str, np.ndarray] = field(default_factory=dict)  # {part: (n, n) or (n,)} 1/s
    valid_to: float | None = None  # Hz; None: the highest mode's frequency. Set it where residual modes are appended
    hand: Hand | None = None  # joins each note's own K, C and M; none of the modes above know of it

    def __post_init__(self) -> None:
        n = len(self.omega)
        if not (n and np.isfinite(self.omega).all() and (self.omega > 0).all()):
            raise ValueError(
                f"body modes: lowest frequency {np.min(self.omega, initial=np.inf) / (2 * np.pi):g} Hz; expected all "
                "above 0: a body hung free needs its supports' stiffness, or leave the rigid modes out"
            )
        ends = {"saddle": self.saddle.shape[-3:], "nut": self.nut.shape[-3:]}
        for name, shape in ends.items():
            if shape != (len(self.saddle), n, 3):
                raise ValueError(f"body modes: {name} has shape {shape}; expected (strings, {n} modes, 3)")
        if self.radiation is not None and self.radiation.shape[:1] != (n,):
            raise ValueError(f"body modes: radiation has shape {self.radiation.shape}; expected {n} rows")
        for part in (*self.loss, *self.viscous):
            if part in (STRING, RADIATION, HAND) or (part in self.loss and part in self.viscous):
                raise ValueError(
                    f"body modes: part '{part}' appears twice; 'string', 'radiation' and 'hand' are not parts"
                )
        for part, C in {**self.loss, **self.viscous}.items():
            _check_loss(part, C, n)

    @property
    def highest_valid(self) -> float:
        """Frequency [Hz] above which modes are missing: no note is answered for there."""
        return float(self.omega.max() / (2 * np.pi)) if self.valid_to is None else self.valid_to

    def far_end(self, string: int, fret: int) -> np.ndarray:
        """(n, 3) motion of the fretted (or open) end of a string."""
        return self.nut[string] if self.nut.ndim == 3 else self.nut[fret, string]


def held_by_hand(body: BodyModes, fret: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(M, K, C) (n, n) between the modes that the hand at a fret adds."""
    if body.hand is None:
        return (np.zeros((len(body.omega),) * 2),) * 3
    h, moved = body.hand, body.hand.motion[fret]
    M, K, C = (moved.T @ (each[:, None] * moved) for each in (h.mass, h.stiffness, h.resistance))
    return M, K, C


def _check_loss(part: str, C: np.ndarray, n: int) -> None:
    """Raise ValueError for a loss of the wrong shape or one that would give energy back."""
    if C.shape not in ((n,), (n, n)):
        raise ValueError(f"body modes: losses of '{part}' have shape {C.shape}; expected ({n},) or ({n}, {n})")
    if not np.isfinite(C).all() or not _never_negative(C):
        raise ValueError(f"body modes: losses of '{part}' are negative or no numbers; a part cannot give energy")
    if C.ndim == 2 and abs(C - C.T).max() > 1e-6 * abs(C).max():
        raise ValueError(f"body modes: losses of '{part}' are not symmetric")


def _never_negative(C: np.ndarray) -> bool:
    """Whether losses (n,) or (n, n) take energy from every motion, but for round-off."""
    room = NEGATIVE * max(abs(C).max(), 1e-300)
    if C.ndim == 1:
        return C.min() >= -room
    try:
        np.linalg.cholesky((C + C.T) / 2 + room * np.eye(len(C)))
    except np.linalg.LinAlgError:
        return False
    return True


def dampings(body: BodyModes) -> dict[str, np.ndarray]:
    """{part: (n, n)} viscous matrices [1/s] of every part, radiation among them.

    Hysteretic losses act at each mode as at its own frequency: C_p = W^-1/2 Phi' (eta K)_p Phi W^-1/2, W = diag(omega).
    """
    n, root = len(body.omega), np.sqrt(body.omega)
    full = lambda C: np.diag(C) if C.ndim == 1 else (C + C.T) / 2
    matrices = {part: full(C) / root[:, None] / root for part, C in body.loss.items()}
    matrices |= {part: full(C) for part, C in body.viscous.items()}
    B = np.zeros((n, 0)) if body.radiation is None else body.radiation
    return matrices | {RADIATION: B @ B.T}


def with_losses(body: BodyModes, factors: Mapping[str, float]) -> BodyModes:
    """The body with the losses of some parts ('radiation' too) multiplied, {part: factor}; a factor 0 is the
    counterfactual 'no loss there, all else equal'. Frequencies and shapes stay. ValueError for an unknown part.
    """
    unknown = set(factors) - set(body.loss) - set(body.viscous) - {RADIATION}
    if unknown:
        known = ", ".join(sorted({*body.loss, *body.viscous, RADIATION}))
        raise ValueError(f"no losses of '{sorted(unknown)[0]}' in this body; known: {known}")
    turn = lambda group: {part: factors.get(part, 1.0) * C for part, C in group.items()}
    B = body.radiation
    if B is not None:
        B = np.sqrt(factors.get(RADIATION, 1.0)) * B
    return replace(body, loss=turn(body.loss), viscous=turn(body.viscous), radiation=B)


def with_more_loss(body: BodyModes, name: str, loss: np.ndarray) -> BodyModes:
    """The body with a further hysteretic loss (n, n) or (n,) [rad2/s2] under a name of its own. Frequencies and shapes stay.

    ValueError if a part has that name, or the loss would give energy back.
    """
    if name in body.loss or name in body.viscous:
        raise ValueError(f"losses of '{name}' are in this body already; expected a name of its own")
    return replace(body, loss={**body.loss, name: loss})


def radiation_factor(resistance: np.ndarray) -> np.ndarray:
    """B (n, n) of C_rad = B B' from modal radiation resistances (n, n, n) [1/s], one matrix at each mode's frequency.

    Row i of B is row i of the square root of the resistance at omega_i: C_rad is then never negative, and its diagonal
    holds each mode's own resistance. Negative eigenvalues (errors of the boundary elements) are clipped.
    """
    rows = []
    for i, R in enumerate(resistance):
        value, vector = np.linalg.eigh((R + R.T) / 2)
        rows.append((vector[i] * np.sqrt(np.maximum(value, 0))) @ vector.T)
    return np.array(rows)


def mobility(body: BodyModes, string: int, omega: float | np.ndarray) -> np.ndarray:
    """Y (k, 3, 3) [s/kg] at a string's saddle, velocity over force, without the strings; omega (k,) rad/s.

    The same dashpots as in time: exact at each mode's own frequency, nearly so between.
    """
    f = body.saddle[string]
    return f.T @ _velocity(body, f, omega)


def normal_mobility(body: BodyModes, omega: float | np.ndarray) -> np.ndarray:
    """(k, s) [s/kg]: mobility away from the top at the saddle of every string, as of `mobility`."""
    f = body.saddle[:, :, 2].T
    return np.einsum("ns,kns->ks", f, _velocity(body, f, omega))


def _velocity(body: BodyModes, force: np.ndarray, omega: float | np.ndarray) -> np.ndarray:
    """(k, n, m) velocity of each mode under modal forces (n, m) at omega (k,) rad/s."""
    C, w = sum(dampings(body).values()), np.atleast_1d(omega)[:, None, None]
    Z = np.diag(body.omega**2) - w**2 * np.eye(len(force)) + 1j * w * C
    return 1j * w * np.linalg.solve(Z, np.broadcast_to(force.astype(complex), (len(w), *force.shape)))
