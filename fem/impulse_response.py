"""What becomes of a tap's energy: a blow at one point, then free decay, in closed form from the modes and their losses."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_continuous_lyapunov


@dataclass(frozen=True)
class ImpulseDecay:
    """Split of the energy of a tap over the parts; each quantity sums to 1."""

    heat: dict[str, float]  # {part: share of the energy that it turns to heat before all is still}
    stored: dict[str, float]  # {part: share of the strain energy stored, averaged over the whole decay}
    ring_time: float  # s, integral of the energy over its first value: the time constant of a single mode


def viscous(omega: np.ndarray, hysteretic: np.ndarray) -> np.ndarray:
    """(n, n) C = W^-1/2 H W^-1/2 [1/s] of hysteretic losses H = Phi' (eta K) Phi [rad2/s2]: right at each mode's own frequency."""
    root = np.sqrt(omega)
    return hysteretic / root[:, None] / root


def impulse_response(
    omega: np.ndarray, losses: Mapping[str, np.ndarray], stiffness: Mapping[str, np.ndarray], impulse: np.ndarray
) -> ImpulseDecay:
    """Tap of modes omega (n,) [rad/s] struck at once with modal velocities in the ratio of `strike` (n,).

    losses {part: (n, n)} Phi' (eta K)_part Phi, stiffness {part: (n, n)} Phi' K_part Phi [rad2/s2]. The state is
    x = (omega q, dq/dt), its energy |x|^2 / 2; P = int x x' dt over the decay solves A P + P A' = -x0 x0' (Lyapunov). Modes
    that lie close beat, and their cross terms count: the split does not depend on how a near-degenerate pair is turned.
    """
    n = len(omega)
    W = np.diag(omega)
    C = {part: viscous(omega, H) for part, H in losses.items()}
    A = np.block([[np.zeros((n, n)), W], [-W, -sum(C.values())]])
    x0 = np.concatenate([np.zeros(n), impulse / np.linalg.norm(impulse)])
    P = solve_continuous_lyapunov(A, -np.outer(x0, x0))
    P_q, P_v = P[:n, :n] / np.outer(omega, omega), P[n:, n:]
    dissipated = {part: 2 * float(np.sum(c * P_v)) for part, c in C.items()}
    stored = {part: float(np.sum(K * P_q)) for part, K in stiffness.items()}
    whole = sum(stored.values())
    return ImpulseDecay(dissipated, {part: e / whole for part, e in stored.items()}, float(np.trace(P)))
