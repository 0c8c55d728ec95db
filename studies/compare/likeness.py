"""Modes of two bodies on meshes of their own, paired by likeness: the motion of top and back at places that both have.

A place is the same in both where it lies in the same part of the length and of the width there, so that shapes of a small and
of a large body can be compared.
"""

import numpy as np

from fem.elements import Space
from fem.interpolate import normal_displacement
from meshes.body import Body, back_height, top_height
from meshes.outline import point_at, where_x
from studies.common.pairing import paired

ALONG, ACROSS = 24, 16  # places
EDGE = 0.04  # of length and width: no place lies nearer to the rim


def common_places(body: Body) -> tuple[np.ndarray, np.ndarray]:
    """((p, 2) m in plan, (p,) weights) of the places on one plate: parts of a body's length and of its width there."""
    share = lambda n: EDGE + (1 - 2 * EDGE) * (np.arange(n) + 0.5) / n
    points, weights = [], []
    for x in np.min(body.outline.points[:, 0]) + share(ALONG) * body.outline.length:
        y = point_at(body.outline, where_x(body.outline, float(x)))[:, 1]
        low, high = float(y.min()), float(y.max())
        points += [(x, v) for v in low + share(ACROSS) * (high - low)]
        weights += [(high - low)] * ACROSS
    return np.array(points), np.array(weights)


def places_weight(body: Body) -> np.ndarray:
    """(2p,) weight of the places on top and back; 0 in the soundhole."""
    points, width = common_places(body)
    in_hole = np.hypot(*(points - body.soundhole.centre).T) < body.soundhole.radius
    return np.concatenate([np.where(in_hole, 0.0, width), width])


def outward_motion(body: Body, space: Space, shape: np.ndarray) -> np.ndarray:
    """(2p, n) displacement out of the body of shapes (dofs, n), at the places on the top, then on the back."""
    points = common_places(body)[0]
    found = []
    for plate, height, way in (("top", top_height, 1.0), ("back", back_height, -1.0)):
        at = np.column_stack([points, height(body, *points.T)])
        found.append(normal_displacement(space, (plate,), at, np.tile([0.0, 0.0, way], (len(at), 1))) @ shape)
    return np.concatenate(found)


def likeness(a: np.ndarray, b: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(n, m) modal assurance criterion of complex motions (p, n) and (p, m) with weights (p,)."""
    size = lambda v: weight @ np.abs(v) ** 2
    return np.abs(a.conj().T @ (weight[:, None] * b)) ** 2 / np.outer(size(a), size(b))


def pairs_by_likeness(
    a: np.ndarray, b: np.ndarray, weights: tuple[np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """((n,) partner of every mode of a among those of b, -1 for none; (n,) assurance criterion).

    Motions (p, n) and (p, m >= n); weights: of the places in either body.
    """
    return paired(likeness(a, b, np.sqrt(weights[0] * weights[1])))
