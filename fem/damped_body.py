"""The body's own damped modes, found once: what a string meets of it at a few coordinates is a sum over them.

(s^2 I + s C + W^2)^-1 = sum_j x_j x_j'/(s - p_j), over the poles p_j and their conjugates, with x_j'(2 p_j I + C) x_j = 1: the
residues of a viscously damped system whose losses couple its modes (Tisseur & Meerbergen, SIAM Rev. 43:235, 2001, 3.5).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from fem.body_modes import BodyModes, dampings

INVERSE = (
    1e-9  # how far V^-1 V may miss the identity: body modes that nearly fall together are left to the full eigenproblem
)


@dataclass(frozen=True)
class DampedBody:
    """BodyModes with their losses, and the n damped modes of the upper half plane without strings and hand.

    pole is empty where a damped mode does not swing, or two of them (nearly) fall together: each note is then solved in full.
    """

    body: BodyModes
    parts: dict[str, np.ndarray] = field(repr=False)  # dampings(body)
    damping: np.ndarray = field(repr=False)  # (n, n) 1/s, their sum
    pole: np.ndarray  # (n,) 1/s
    shape: np.ndarray = field(repr=False)  # (n, n) columns x_j


def damped_body(body: BodyModes, parts: Mapping[str, np.ndarray] | None = None) -> DampedBody:
    """DampedBody of BodyModes; parts: dampings(body), where they are known already or are to be others."""
    parts, n = dict(dampings(body) if parts is None else parts), len(body.omega)
    C = np.add.reduce(list(parts.values()))
    A = np.zeros((2 * n, 2 * n))
    A[:n, n:], A[n:, :n], A[n:, n:] = np.diag(body.omega), -np.diag(body.omega), -C
    pole, state = np.linalg.eig(A)
    up = pole.imag > 0
    p, x = pole[up], state[:n, up] / body.omega[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = x / np.sqrt(np.einsum("ij,ij->j", x, 2 * p * x + C @ x))
    if np.count_nonzero(up) < n or not _complete(p, x, body.omega):
        p, x = np.zeros(0, complex), np.zeros((n, 0), complex)
    return DampedBody(body, parts, C, p, x)


def _complete(p: np.ndarray, x: np.ndarray, omega: np.ndarray) -> bool:
    """Whether all modes together make up the body: sum x_j x_j' = 0 and sum p_j x_j x_j' = I, conjugates counted."""
    miss = lambda A, B: abs(A - B).max() <= INVERSE
    one = 2 * ((x * p) @ x.T).real
    none = 2 * (x @ x.T).real * np.sqrt(np.outer(omega, omega))
    return bool(np.isfinite(x).all() and miss(one, np.eye(len(p))) and miss(none, np.zeros_like(none)))
