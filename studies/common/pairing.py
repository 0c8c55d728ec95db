"""Which mode of one build, or of one mesh, is which of another."""

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

PAIRED = 0.5  # least modal assurance criterion of two modes called the same


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
