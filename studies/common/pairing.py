"""Which mode of one build, or of one mesh, is which of another."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

PAIRED = 0.5  # least modal assurance criterion of two modes called the same
MIXED = 0.1  # criterion of a mode with another one's partner from which both are judged as one
CLOSE = 0.05  # of a frequency: modes further apart are not
SEEN = 0.7  # least part of a mode that lies within its partner and those of the modes it is judged with


@dataclass(frozen=True)
class Followed:
    """Modes found again in other spaces; close ones, which mix there, are judged as one."""

    partner: tuple[np.ndarray, ...]  # (n,) each: number in each other space, rising among those judged as one
    group: np.ndarray  # (n,) number of the first mode of those it is judged with
    seen: np.ndarray  # (n,) bool: found again in all of them


def followed(criteria: Sequence[np.ndarray], frequency: np.ndarray) -> Followed:
    """Followed of n modes of frequencies (n,) from their assurance criterion (n, m >= n) with the modes of each other space."""
    partners = [assigned(c) for c in criteria]
    mixed = np.any([c[:, p] > MIXED for c, p in zip(criteria, partners)], axis=0)
    close = np.abs(frequency[:, None] / frequency - 1) < CLOSE
    _, label = connected_components(mixed & close, directed=False)
    group = np.array([np.argmax(label == one) for one in label])
    seen = np.ones(len(group), bool)
    for c, p in zip(criteria, partners):
        for first in np.unique(group):
            some = np.flatnonzero(group == first)
            p[some] = np.sort(p[some])
            seen[some] &= c[np.ix_(some, p[some])].sum(axis=1) >= SEEN
    return Followed(tuple(partners), group, seen)


def assigned(criterion: np.ndarray) -> np.ndarray:
    """(n,) partner of each mode by their assurance criterion (n, m >= n), however little alike."""
    return linear_sum_assignment(-criterion)[1]


def as_one(values: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Values (n,) of modes, each the mean of those judged with it; group: as in Followed."""
    return (np.bincount(group, values) / np.maximum(np.bincount(group), 1))[group]


def paired(criterion: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For every mode a (rows of the criterion (na, nb)): its partner b, -1 if none, and their criterion."""
    a, b = linear_sum_assignment(-criterion)
    partner, match = np.full(len(criterion), -1), np.zeros(len(criterion))
    match[a] = criterion[a, b]
    partner[a] = np.where(match[a] >= PAIRED, b, -1)
    return partner, match


def nearest_nodes(fine: np.ndarray, coarse: np.ndarray) -> np.ndarray:
    """For every coarse point (m, 3) the index of the nearest fine one (n, 3)."""
    return cKDTree(fine).query(coarse)[1]


def sampled_mac(fine: np.ndarray, coarse: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Modal assurance criterion of displacements on two meshes, sampled at the coarse mesh's nodes.

    Shapes (dofs, n) of both; near: nodes of the fine mesh, as nearest_nodes finds them.
    """
    displacement = lambda shape: shape.reshape(-1, 6, shape.shape[1])[:, :3]
    a, b = displacement(fine)[near].reshape(-1, fine.shape[1]), displacement(coarse).reshape(-1, coarse.shape[1])
    return (a.T @ b) ** 2 / np.outer(np.sum(a**2, axis=0), np.sum(b**2, axis=0))
