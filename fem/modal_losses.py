"""Losses, stiffness and mass of every part between the modes of a model: Phi' A_part Phi, without forming any A_part."""

import numpy as np

from fem.mesh import part_of
from fem.model import CHUNK, Model, Term, Weights, section_matrix, strains, weights
from fem.reduce import Reduced
from fem.sections import Sections


def modal_terms(model: Model | Reduced, role: str, weight: Weights, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{part: (n, n)} Phi' A_part Phi for shapes (size, n), A = sum of weight {(role, region, kind): f} times unit terms.

    int strain' C strain, element by element: exact, and symmetric to round-off. A reduced model knows its own.
    """
    if not isinstance(model, Model):
        return model.modal_terms(role, weight, shape)
    terms: dict[str, np.ndarray] = {}
    for op in model.operators:
        if op.role != role:
            continue
        total = np.zeros((shape.shape[1],) * 2)
        for k in range(0, len(op.nodes), CHUNK):
            chunk = slice(k, k + CHUNK)
            C = section_matrix(op, weight, chunk)
            if isinstance(C, int):  # no kind of this region has a weight
                break
            e = strains(op, shape, chunk)
            total += e.reshape(-1, e.shape[-1]).T @ (C @ e).reshape(-1, e.shape[-1])
        part = part_of(op.region)
        terms[part] = terms.get(part, 0) + (total + total.T) / 2
    return terms


def modal_losses(model: Model | Reduced, sections: Sections, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{part: (n, n)} H = Phi' (eta K)_part Phi of shapes (size, n) [rad2/s2 for mass-normalised ones].

    Losses by direction of the grain as the Sections hold them (see sections.laminate). ValueError where some are unknown.
    """
    losses = {region: s.losses for region, s in sections.items() if s.losses is not None}
    unknown = sorted({part_of(region) for region in sections if region not in losses})
    if unknown:
        raise ValueError(
            f"loss factors are not known for {', '.join(unknown)}; expected the wood's loss factors along and across the "
            "grain and in shear, all three"
        )
    total: dict[Term, float] = {}
    for region, channels in losses.items():
        for kinds in channels.values():
            for kind, g in kinds.items():
                total["K", region, kind] = total.get(("K", region, kind), 0.0) + g
    return modal_terms(model, "K", total, shape)


def modal_stiffness(model: Model | Reduced, sections: Sections, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{part: (n, n)} Phi' K_part Phi."""
    return modal_terms(model, "K", weights(sections), shape)


def modal_mass(model: Model | Reduced, sections: Sections, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{part: (n, n)} Phi' M_part Phi."""
    return modal_terms(model, "M", weights(sections), shape)
