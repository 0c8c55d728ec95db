"""Losses, stiffness and mass of every part between the modes of a model: Phi' A_part Phi, without forming any A_part."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fem.mesh import part_of
from fem.model import CHUNK, Model, Term, Weights, section_matrix, strains, weights
from fem.sections import Sections

if TYPE_CHECKING:
    from fem.reduce import Reduced


def modal_terms(
    model: "Model | Reduced", role: str, sets: Sequence[Weights], shape: np.ndarray
) -> list[dict[str, np.ndarray]]:
    """[{part: (n, n)} of each set] Phi' A_part Phi for shapes (size, n), A = sum of {(role, region, kind): f} times unit terms.

    int strain' C strain, element by element: exact, and symmetric to round-off. The strains are taken once for all sets of
    weights. A reduced model knows its own terms.
    """
    if not isinstance(model, Model):
        return [model.modal_terms(role, weight, shape) for weight in sets]
    terms: list[dict[str, np.ndarray]] = [{} for _ in sets]
    for op in model.operators:
        if op.role != role:
            continue
        total = np.zeros((len(sets), *(shape.shape[1],) * 2))
        for k in range(0, len(op.nodes), CHUNK):
            chunk = slice(k, k + CHUNK)
            stiff = [section_matrix(op, weight, chunk) for weight in sets]
            if all(isinstance(C, int) for C in stiff):  # no kind of this region has a weight
                break
            e = strains(op, shape, chunk)
            for A, C in zip(total, stiff):
                A += e.reshape(-1, e.shape[-1]).T @ (C @ e).reshape(-1, e.shape[-1]) if not isinstance(C, int) else 0
        part = part_of(op.region)
        for found, A in zip(terms, total):
            found[part] = found.get(part, 0) + (A + A.T) / 2
    return terms


def modal_losses(model: "Model | Reduced", sections: Sections, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{part: (n, n)} H = Phi' (eta K)_part Phi of shapes (size, n) [rad2/s2 for mass-normalised ones].

    Losses by direction of the grain as the Sections hold them (see sections.laminate). ValueError where some are unknown.
    """
    return modal_terms(model, "K", [loss_weights(sections)], shape)[0]


def loss_weights(sections: Sections) -> dict[Term, float]:
    """{('K', region, kind): eta f}. ValueError where some losses are unknown."""
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
    return total


def modal_stiffness(model: "Model | Reduced", sections: Sections, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{part: (n, n)} Phi' K_part Phi."""
    return modal_terms(model, "K", [weights(sections)], shape)[0]


def modal_stiffness_and_losses(
    model: "Model | Reduced", sections: Sections, shape: np.ndarray
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """(modal_stiffness, modal_losses) for the cost of little more than one."""
    stiffness, losses = modal_terms(model, "K", [weights(sections), loss_weights(sections)], shape)
    return stiffness, losses


def modal_mass(model: "Model | Reduced", sections: Sections, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{part: (n, n)} Phi' M_part Phi."""
    return modal_terms(model, "M", [weights(sections)], shape)[0]
