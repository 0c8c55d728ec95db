"""Terms of a reduced model that vary together, merged part by part: a handful of small matrices in place of hundreds.

The coefficients of a part (A_ij, D_ij, m0 ... of all its regions) over many variants span few dimensions: a board of one
wood has one for its thickness and wood together at each power of the thickness. A singular value decomposition of sampled
coefficients finds them; the matrices of the terms are summed once with its rows. What a variant has outside that span is
reported as `miss`, never dropped in silence.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, repeat

import numpy as np
import scipy.linalg as sl

from fem.eigen import SHIFT
from fem.mesh import part_of
from fem.reduce import RIGID, Reduced, estimate, small_modes, unpacked
from fem.sections import Section, Sections

Regions = Sequence[tuple[str, Sequence[str]]]  # [(region, [kind, ...]), ...]
Block = tuple[str, list[tuple[str, str]], np.ndarray, np.ndarray]  # part, keys, scale, rows
SPAN = 1e-9  # of the largest singular value: smaller ones are round-off or below any use
NOTHING = Section("shell", {}, {}, {})
PROJECTION_TOLERANCE = 1e-6  # relative coefficient outside the span that a variant may have


@dataclass(frozen=True)
class Terms:
    """The t terms of one role, part after part, and the q that they merge into."""

    regions: tuple[tuple[str, tuple[str, ...]], ...]  # ((region, (kind, ...)), ...) in the order of the terms
    scale: np.ndarray  # (t,) largest |coefficient| in the samples
    rows: np.ndarray  # (q, t) orthonormal, part by part: coefficients / scale is nearly c @ rows
    first: np.ndarray  # (parts,) place of each part's first term
    parts: dict[str, slice]  # {part: slice of its merged terms}

    def coefficients(self, values: np.ndarray) -> tuple[np.ndarray, float]:
        """c (m, q) of m lists of coefficients (m, t), and the largest relative miss of any part."""
        w = values / self.scale
        c = w @ self.rows.T
        size, off = (np.add.reduceat(x**2, self.first, axis=1) for x in (w, w - c @ self.rows))
        return c, float(np.sqrt(np.max(off[size > 0] / size[size > 0], initial=0.0)))


@dataclass(frozen=True)
class Compressed:
    """A reduced model with merged terms; plain arrays, so that it travels between processes."""

    size: int  # r
    terms: dict[str, Terms]  # {role: Terms}
    packed: dict[str, np.ndarray]  # {role: (q, r (r + 1) / 2)} upper triangles
    energies: np.ndarray  # (q, r (r + 1) / 2) of role K in single precision, off-diagonals doubled, for shares
    sketched: dict[str, np.ndarray]  # {role: (q, SKETCH, r)}
    unit_mass: np.ndarray  # (q,) kg of the merged terms of role M


@dataclass(frozen=True)
class Variant:
    """One variant solved on the merged model: n modes."""

    frequency: np.ndarray  # (n,) Hz
    strain_share: dict[str, np.ndarray]  # {part: (n,)}
    dissipated_share: dict[str, np.ndarray] | None  # {part: (n,)}; None: losses not known
    loss_factor: np.ndarray | None  # (n,)
    mass: dict[str, float]  # {part: kg}
    estimate: float  # largest error estimate over the modes, see fem.reduce
    projection_error: float  # largest relative coefficient outside the span of the merged terms
    y: np.ndarray  # (r, n) coordinates of the mode shapes in the basis


def compress(reduced: Reduced, samples: Sequence[Sections]) -> Compressed:
    """Compressed of a Reduced over sampled [{region: Section}]."""
    terms, packed, sketched = {}, {}, {}
    for role in "KM":
        blocks, matrices, sketches = [], [], []
        for part, regions in _regions_by_part(reduced, samples, role).items():
            table = np.array([row for s in samples for row in _rows(s, role, regions)])
            largest = np.abs(table).max(axis=0)
            used = largest > 0
            if not used.any():
                continue
            keys = [key for key, on in zip(_keys(regions), used) if on]
            scale = largest[used]
            value, rows = np.linalg.svd(table[:, used] / scale, full_matrices=False)[1:]
            rows = rows[value > SPAN * value[0]]
            blocks.append((part, keys, scale, rows))
            matrices.append((rows * scale) @ np.array([reduced.columns[role, *key] for key in keys]))
            sketches.append(np.tensordot(rows * scale, np.array([reduced.sketched[role, *key] for key in keys]), 1))
        terms[role] = _terms(blocks)
        packed[role], sketched[role] = np.concatenate(matrices), np.concatenate(sketches)
    i, j = np.triu_indices(reduced.size)
    twice = np.where(i == j, 1, 2)
    unit_mass = packed["M"] @ (reduced.step[i] * reduced.step[j] * twice)
    energies = (packed["K"] * twice).astype(np.float32)
    return Compressed(reduced.size, terms, packed, energies, sketched, unit_mass)


def _terms(blocks: Sequence[Block]) -> Terms:
    """Terms of [(part, keys, scale (t,), rows (q, t))]."""
    ends = np.cumsum([0, *(len(rows) for *_, rows in blocks)])
    regions: dict[str, list[str]] = {}
    for _, keys, *_ in blocks:
        for region, kind in keys:
            regions.setdefault(region, []).append(kind)
    return Terms(
        tuple((region, tuple(kinds)) for region, kinds in regions.items()),
        np.concatenate([scale for *_, scale, _ in blocks]),
        sl.block_diag(*(rows for *_, rows in blocks)),
        np.cumsum([0, *(len(keys) for _, keys, *_ in blocks[:-1])]),
        {part: slice(*place) for (part, *_), place in zip(blocks, pairwise(ends))},
    )


def _regions_by_part(reduced: Reduced, samples: Sequence[Sections], role: str) -> dict[str, Regions]:
    """{part: [(region, [kind, ...]), ...]} of all the terms that the samples weigh and the model has."""
    by_part: dict[str, dict[str, dict[str, bool]]] = {}
    for sections in samples:
        for region, section in sections.items():
            for kind in section.stiffness if role == "K" else section.mass:
                if (role, region, kind) in reduced.columns:
                    by_part.setdefault(part_of(region), {}).setdefault(region, {})[kind] = True
    return {part: [(region, list(kinds)) for region, kinds in regions.items()] for part, regions in by_part.items()}


def _keys(regions: Regions) -> list[tuple[str, str]]:
    return [(region, kind) for region, kinds in regions for kind in kinds]


def _rows(sections: Sections, role: str, regions: Regions) -> Iterator[np.ndarray]:
    """Coefficients (t,) of one variant: mass, or stiffness and, where known, stiffness times loss factor."""
    yield np.array(_coefficients(sections, role, regions))
    if role == "K" and all(sections[region].losses is not None for region, _ in regions if region in sections):
        yield np.array(_dissipated(sections, regions))


def _coefficients(sections: Sections, role: str, regions: Regions) -> list[float]:
    """[f of each term]; zero where a region or kind is not there."""
    coefficients: list[float] = []
    for region, kinds in regions:
        section = sections.get(region, NOTHING)
        coefficients.extend(map((section.stiffness if role == "K" else section.mass).get, kinds, repeat(0.0)))
    return coefficients


def _dissipated(sections: Sections, regions: Regions) -> list[float]:
    """[stiffness times loss factor, summed over channels, of each term]."""
    coefficients: list[float] = []
    for region, kinds in regions:
        losses = sections.get(region, NOTHING).losses
        assert losses is not None
        channels = (map(g.get, kinds, repeat(0.0)) for g in losses.values())
        coefficients.extend(map(sum, zip(repeat(0.0, len(kinds)), *channels)))
    return coefficients


@dataclass(frozen=True)
class Weighted:
    """A Compressed model with the coefficients of one variant."""

    compressed: Compressed
    K: np.ndarray  # (r, r)
    M: np.ndarray  # (r, r)
    c: dict[str, np.ndarray]  # {role: (q,)}
    h: np.ndarray | None  # (q,) of role K, times the loss factors; None: losses not known
    mass: dict[str, float]  # {part: kg}
    projection_error: float  # largest relative coefficient outside the span of the merged terms

    def between(
        self, y: np.ndarray, all_parts: bool = True
    ) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray], dict[str, np.ndarray]]:
        """Losses, stiffness and mass, each {part: (n, n)}, between vectors y (r, n); losses alone unless all_parts.

        ValueError where losses are not known.
        """
        if self.h is None:
            raise ValueError("loss factors are not known for every part; expected those of every wood")
        wanted = [("K", self.h)] + ([("K", self.c["K"]), ("M", self.c["M"])] if all_parts else [])
        products = []
        for role, values in wanted:
            packed, parts = self.compressed.packed[role], self.compressed.terms[role].parts
            part_of_it = lambda place, values=values, packed=packed: unpacked(values[place] @ packed[place], len(y))
            products.append({part: y.T @ part_of_it(place) @ y for part, place in parts.items()})
        losses, stiffness, mass = products if all_parts else (products[0], {}, {})
        return losses, stiffness, mass


def weight_terms(compressed: Compressed, sections: Sections) -> Weighted:
    """Weighted of {region: Section}."""
    known = all(s.losses is not None for s in sections.values())
    stiffness, mass = compressed.terms["K"], compressed.terms["M"]
    rows = [_coefficients(sections, "K", stiffness.regions)]
    rows += [_dissipated(sections, stiffness.regions)] if known else []
    (k, *h), error = stiffness.coefficients(np.array(rows))
    (m,), mass_error = mass.coefficients(np.array([_coefficients(sections, "M", mass.regions)]))
    c = {"K": k, "M": m}
    K, M = (unpacked(c[role] @ compressed.packed[role], compressed.size) for role in "KM")
    masses = {part: float(m[place] @ compressed.unit_mass[place]) for part, place in mass.parts.items()}
    return Weighted(compressed, K, M, c, h[0] if known else None, masses, max(error, mass_error))


def solve(compressed: Compressed, sections: Sections, count: int, weighted: Weighted | None = None) -> Variant:
    """Variant of {region: Section}: modes, shares by part, masses and the error estimate. weighed: made before."""
    w = weighted or weight_terms(compressed, sections)
    known = w.h is not None
    omega2, y = small_modes(w.K, w.M, count)
    omega2, y = omega2[RIGID:], y[:, RIGID:]
    sketched = [np.tensordot(w.c[role], compressed.sketched[role], 1) @ y for role in "KM"]
    nothing = {part_of(region): np.zeros(y.shape[1]) for region, s in sections.items() if s.stiffness}
    h = np.zeros(len(w.c["K"])) if w.h is None else w.h
    stored, dissipated_by_part = (nothing | e for e in _energies(compressed, w.c["K"], h, y))
    none = np.zeros(y.shape[1])
    total, dissipated = sum(stored.values(), none), sum(dissipated_by_part.values(), none)
    return Variant(
        np.sqrt(omega2.clip(0)) / (2 * np.pi),
        {part: e / total for part, e in stored.items()},
        {part: e / dissipated for part, e in dissipated_by_part.items()} if known and np.all(dissipated > 0) else None,
        dissipated / total if known else None,
        w.mass,
        float(estimate(sketched[0] - sketched[1] * omega2, omega2.clip(SHIFT / -100)).max()),
        w.projection_error,
        y,
    )


def _energies(compressed: Compressed, c: np.ndarray, h: np.ndarray, y: np.ndarray) -> tuple[dict[str, np.ndarray], ...]:
    """({part: y' K_part y (n,)}, the same with loss factors) of the shapes y (r, n)."""
    y = y.astype(np.float32)
    products, start = np.empty((compressed.energies.shape[1], y.shape[1]), np.float32), 0
    for k in range(compressed.size):
        stop = start + compressed.size - k
        np.multiply(y[k], y[k:], out=products[start:stop])
        start = stop
    unit = compressed.energies @ products  # (q, n)
    parts = compressed.terms["K"].parts
    return tuple({part: (f[at] @ unit[at]).astype(float) for part, at in parts.items()} for f in (c, h))
