"""Laminate strips: what a narrow strip of shell with free edges gives as a beam, and strips that lie side by side.

Laminates are (6, 6) matrices about one reference surface, in the order eps_11, eps_22, eps_12, kappa_11, kappa_22,
kappa_12 with kappa_12 twice the twist; A [N/m], B [N], D [N m].
"""

from collections.abc import Mapping, Sequence

import numpy as np

Slice = tuple[float, np.ndarray, Mapping[str, np.ndarray] | None]  # share, stiffness, losses
SHARED = [0, 3, 5]  # eps_11, kappa_11, kappa_12: the same in every slice of a lining whose width changes along y


def laminate_strip(ABD: np.ndarray, S55: float, height: float) -> np.ndarray:
    """(4, 4) as strip_cell, of a laminate strip of shear-flexible shell with free edges.

    Stretch and bending by leaving the edges free of force and moment; twist by Reissner's plate: GJ = 4 D66 h
    (1 - tanh(q)/q), q = (h/2) sqrt(S55/D66), D66 at no membrane shear force.
    """
    along, free = [0, 3], [1, 4]
    C = ABD[np.ix_(along, along)]
    C = C - ABD[np.ix_(along, free)] @ np.linalg.solve(ABD[np.ix_(free, free)], ABD[np.ix_(free, along)])
    D66 = ABD[5, 5] - ABD[2, 5] ** 2 / ABD[2, 2]
    q = height / 2 * np.sqrt(S55 / D66)
    beam = np.zeros((4, 4))
    beam[:2, :2] = height * C
    beam[2, 2] = C[0, 0] * height**3 / 12
    beam[3, 3] = 4 * D66 * height * (1 - np.tanh(q) / q)
    return beam


def shear_along(ABD: np.ndarray, GJ: float, height: float, limit: float) -> float:
    """S55 [N/m] with which a laminate strip twists as the solid strip does; never above `limit`."""
    from scipy.optimize import brentq

    def excess(log_S: float) -> float:
        return laminate_strip(ABD, np.exp(log_S), height)[3, 3] - GJ

    low, high = np.log(1e-4 * limit), np.log(limit)
    if excess(high) <= 0:
        return limit
    return float(np.exp(brentq(excess, low, high))) if excess(low) < 0 else 1e-4 * limit


def side_by_side(
    slices: Sequence[Slice],
) -> tuple[np.ndarray, dict[str, np.ndarray] | None]:
    """Mean laminate of slices [(share, stiffness, losses)] that lie beside each other along y.

    eps_11, kappa_11, kappa_12 and the forces that belong to the other strains are the same in every slice; exact for
    a width that changes slowly. Each slice's strains are L (6, 6) times the mean strains.
    """
    rest = [i for i in range(6) if i not in SHARED]
    flexible = [np.linalg.inv(C[np.ix_(rest, rest)]) for _, C, _ in slices]
    mixed = sum(s * F @ C[np.ix_(rest, SHARED)] for (s, C, _), F in zip(slices, flexible))
    C_rest = np.linalg.inv(sum(s * F for (s, _, _), F in zip(slices, flexible)))
    total, first = np.zeros((6, 6)), slices[0][2]
    dissipated = None if first is None else {c: np.zeros((6, 6)) for c in first}
    for (share, C, losses), F in zip(slices, flexible):
        L = np.zeros((6, 6))
        L[SHARED, SHARED] = 1
        L[np.ix_(rest, rest)] = F @ C_rest
        L[np.ix_(rest, SHARED)] = F @ (C_rest @ mixed - C[np.ix_(rest, SHARED)])
        total += share * L.T @ C @ L
        if dissipated is not None and losses is not None:
            dissipated = {c: dissipated[c] + share * L.T @ losses[c] @ L for c in dissipated}
    return total, dissipated
