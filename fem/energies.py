"""Where each mode keeps its energy and turns it to heat: shares by part, modal loss factor, counterfactuals."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fem.mesh import part_of
from fem.model import Model, weights
from fem.sections import Sections

if TYPE_CHECKING:
    from fem.reduce import Reduced


@dataclass(frozen=True)
class Energies:
    """Shares of n modes; those of each quantity sum to 1 per mode. Heat and loss are None where a part's losses are not known."""

    strain_share: dict[str, np.ndarray]  # {part: (n,)}
    kinetic_share: dict[str, np.ndarray]  # {part: (n,)}
    dissipated_share: dict[str, np.ndarray] | None  # {part: (n,)}
    dissipated_share_by_channel: dict[str, np.ndarray] | None  # {'along', 'across', 'shear', 'joint', 'corner': (n,)}
    loss_factor: np.ndarray | None  # (n,)
    losses_unknown: tuple[str, ...]  # parts whose losses are not known


def energies(model: "Model | Reduced", sections: Sections, shape: np.ndarray) -> Energies:
    """Energies of mode shapes (size, n) of a model with sections {region: Section}.

    Strain share of a part: phi' K_p phi over its sum. Heat share: eta_p times it, split by the compliance form (see
    sections.laminate), over the modal loss factor eta_n = sum_p eta_p share_p. Ungar & Kerwin, JASA 34:954 (1962).
    """
    w = weights(sections)
    strain = model.unit_energies("K", w, shape)
    kinetic = model.unit_energies("M", w, shape)
    stored = _by_part({(r, k): w["K", r, k] * e for (r, k), e in strain.items()})
    moving = _by_part({(r, k): w["M", r, k] * e for (r, k), e in kinetic.items()})
    none = np.zeros(shape.shape[1])
    total = sum(stored.values(), none)
    losses = {r: s.losses for r, s in sections.items() if s.losses is not None}
    unknown = tuple(sorted({part_of(r) for r in sections if r not in losses}))
    shares = by_channel = loss_factor = None
    if not unknown:
        terms = {
            (r, c): sum((g * strain[r, k] for k, g in kinds.items()), none)
            for r, by_kind in losses.items()
            for c, kinds in by_kind.items()
        }
        by_part = _by_part(terms)
        dissipated = sum(by_part.values(), none)
        loss_factor = dissipated / total
        channels = dict.fromkeys(c for _, c in terms)
        with np.errstate(invalid="ignore"):  # no losses at all: shares of nothing are not a number
            by_channel = {c: sum((e for (_, d), e in terms.items() if d == c), none) / dissipated for c in channels}
            shares = {part: e / dissipated for part, e in by_part.items()}
    mass = sum(moving.values(), none)
    return Energies(
        {part: e / total for part, e in stored.items()},
        {part: e / mass for part, e in moving.items()},
        shares,
        by_channel,
        loss_factor,
        unknown,
    )


def loss_factor_without(energies: Energies, parts: Iterable[str]) -> np.ndarray:
    """(n,) modal loss factor if the named parts had no loss and all else stayed equal: the shapes do not change."""
    eta, share = energies.loss_factor, energies.dissipated_share
    assert eta is not None and share is not None
    return eta * (1 - sum((share[p] for p in parts if p in share), np.zeros_like(eta)))


def masses(model: "Model | Reduced", sections: Sections) -> dict[str, float]:
    """{part: kg} of every part that has mass."""
    w = weights(sections)
    energy = model.unit_energies("M", w, model.step[:, None])
    return {p: float(m[0]) for p, m in _by_part({(r, k): w["M", r, k] * e for (r, k), e in energy.items()}).items()}


def _by_part(terms: Mapping[tuple[str, str], np.ndarray]) -> dict[str, np.ndarray]:
    """Sum {(region, anything): (n,)} over regions of a part and over everything else."""
    by_part: dict[str, np.ndarray] = {}
    for (region, _), value in terms.items():
        by_part[part_of(region)] = by_part.get(part_of(region), 0) + value
    return by_part
