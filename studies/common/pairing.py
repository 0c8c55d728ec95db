"""Which mode of one build, or of one mesh, is which of another."""

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

PAIRED = 0.5  # least modal assurance criterion of two modes called the same


def paired(criterion):
    """For every mode a (rows of the criterion (na, nb)): its partner b, -1 if none, and their criterion."""
    a, b = linear_sum_assignment(-criterion)
    match = criterion[a, b]
    partner = np.full(criterion.shape[0], -1)
    value = np.zeros(criterion.shape[0])
    partner[a], value[a] = np.where(match >= PAIRED, b, -1), match
    return partner, value


def nearest_nodes(fine, coarse):
    """For every coarse point (m, 3) the index of the nearest fine one (n, 3)."""
    return cKDTree(fine).query(coarse)[1]


def sampled_mac(fine, coarse, near):
    """Modal assurance criterion of displacements on two meshes, sampled at the coarse mesh's nodes."""

    def displacement(shape):
        u = shape.reshape(-1, 6, shape.shape[1])[:, :3]
        return u

    a, b = displacement(fine)[near].reshape(-1, fine.shape[1]), displacement(coarse).reshape(-1, coarse.shape[1])
    return (a.T @ b) ** 2 / np.outer(np.sum(a**2, axis=0), np.sum(b**2, axis=0))
