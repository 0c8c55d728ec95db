"""Terms of a reduced model that vary together, merged part by part: a handful of small matrices in place of hundreds.

The coefficients of a part (A_ij, D_ij, m0 ... of all its regions) over many variants span few dimensions: a board of one
wood has one for its thickness and wood together at each power of the thickness. A singular value decomposition of sampled
coefficients finds them; the matrices of the terms are summed once with its rows. What a variant has outside that span is
reported as `miss`, never dropped in silence.
"""

from dataclasses import dataclass

import numpy as np

from fem.eigen import SHIFT
from fem.mesh import part_of
from fem.reduce import RIGID, estimate, small_modes

SPAN = 1e-9  # of the largest singular value: smaller ones are round-off or below any use
MISS = 1e-6  # relative coefficient outside the span that a variant may have


@dataclass(frozen=True)
class Group:
    """The terms of one part and role, and how they merge."""

    role: str
    part: str
    keys: tuple  # ((region, kind), ...)
    scale: np.ndarray  # (t,) largest |coefficient| in the samples
    rows: np.ndarray  # (q, t) orthonormal: coefficients / scale is nearly c @ rows
    place: slice  # of its q merged terms among all of the role

    def coefficients(self, values):
        """(c (q,), relative miss) of the coefficients (t,) of the terms."""
        w = values / self.scale
        c = self.rows @ w
        size = np.linalg.norm(w)
        return c, (np.linalg.norm(w - c @ self.rows) / size if size else 0.0)


@dataclass(frozen=True)
class Merged:
    """A reduced model with merged terms; plain arrays, so that it travels between processes."""

    size: int  # r
    groups: tuple[Group, ...]
    packed: dict  # {role: (q, r (r + 1) / 2)} upper triangles
    energies: np.ndarray  # (q, r (r + 1) / 2) of role K in single precision, off-diagonals doubled, for shares
    tested: dict  # {role: (q, SKETCH, r)}
    unit_mass: np.ndarray  # (q,) kg of the merged terms of role M
    upper: tuple  # indices of the upper triangle


@dataclass(frozen=True)
class Variant:
    """One variant solved on the merged model: n modes."""

    frequency: np.ndarray  # (n,) Hz
    strain_share: dict[str, np.ndarray]  # {part: (n,)}
    heat_share: dict[str, np.ndarray] | None  # {part: (n,)}; None: losses not known
    loss_factor: np.ndarray | None  # (n,)
    mass: dict[str, float]  # {part: kg}
    estimate: float  # largest error estimate over the modes, see fem.reduce
    miss: float  # largest relative coefficient outside the span of the merged terms
    y: np.ndarray  # (r, n) coordinates of the mode shapes in the basis


def merge(reduced, samples):
    """Merged of a Reduced over sampled [{region: Section}]."""
    groups, packed, tested = [], {}, {}
    for role in "KM":
        start, matrices, sketches = 0, [], []
        for part, keys in _keys_by_part(reduced, samples, role).items():
            table = np.array([row for s in samples for row in _rows(s, role, keys)])
            used = np.abs(table).max(axis=0) > 0
            if not used.any():
                continue
            keys = tuple(key for key, on in zip(keys, used) if on)
            scale = np.abs(table[:, used]).max(axis=0)
            value, rows = np.linalg.svd(table[:, used] / scale, full_matrices=False)[1:]
            rows = rows[value > SPAN * value[0]]
            place = slice(start, start := start + len(rows))
            groups.append(Group(role, part, keys, scale, rows, place))
            terms = [(role, *key) for key in keys]
            matrices.append((rows * scale) @ np.array([reduced.columns[t] for t in terms]))
            sketches.append(np.tensordot(rows * scale, np.array([reduced.tested[t] for t in terms]), 1))
        packed[role], tested[role] = np.concatenate(matrices), np.concatenate(sketches)
    i, j = np.triu_indices(reduced.size)
    twice = np.where(i == j, 1, 2)
    unit_mass = packed["M"] @ (reduced.step[i] * reduced.step[j] * twice)
    energies = (packed["K"] * twice).astype(np.float32)
    return Merged(reduced.size, tuple(groups), packed, energies, tested, unit_mass, (i, j))


def _keys_by_part(reduced, samples, role):
    """{part: [(region, kind), ...]} of all the terms that the samples weigh and the model has."""
    found = {}
    for sections in samples:
        for region, section in sections.items():
            for kind in section.stiffness if role == "K" else section.mass:
                if (role, region, kind) in reduced.columns:
                    found.setdefault(part_of(region), {})[region, kind] = True
    return {part: list(keys) for part, keys in found.items()}


def _rows(sections, role, keys):
    """Coefficient vectors (t,) of one variant: mass, or stiffness and, where known, stiffness times loss factor."""
    yield _values(_coefficients(sections, role), keys)
    if role == "K" and all(sections[region].losses is not None for region, _ in keys if region in sections):
        yield _values(_dissipated(sections, {region for region, _ in keys}), keys)


def _coefficients(sections, role):
    """{region: {kind: f}}."""
    return {region: s.stiffness if role == "K" else s.mass for region, s in sections.items()}


def _dissipated(sections, regions):
    """{region: {kind: stiffness times loss factor, summed over channels}}."""
    found = {}
    for region in regions & sections.keys():
        first, *rest = sections[region].losses.values() or ({},)
        total = dict(first)
        for kinds in rest:
            for kind, g in kinds.items():
                total[kind] = total.get(kind, 0.0) + g
        found[region] = total
    return found


def _values(of, keys):
    """(t,) of {region: {kind: value}}; zero where there is none."""
    nothing = {}
    return np.array([of.get(region, nothing).get(kind, 0.0) for region, kind in keys])


@dataclass(frozen=True)
class Weighed:
    """A Merged model with the coefficients of one variant."""

    merged: Merged
    K: np.ndarray  # (r, r)
    M: np.ndarray  # (r, r)
    c: dict  # {role: (q,)}
    h: np.ndarray | None  # (q,) of role K, times the loss factors; None: losses not known
    mass: dict[str, float]  # {part: kg}
    miss: float  # largest relative coefficient outside the span of the merged terms

    def between(self, y, all_parts=True):
        """Losses, stiffness and mass, each {part: (n, n)}, between vectors y (r, n); losses alone unless all_parts.

        ValueError where losses are not known.
        """
        if self.h is None:
            raise ValueError("loss factors are not known for every part; expected those of every wood")
        wanted = [("K", self.h)] + ([("K", self.c["K"]), ("M", self.c["M"])] if all_parts else [])
        found = []
        for role, values in wanted:
            groups = [g for g in self.merged.groups if g.role == role]
            packed = self.merged.packed[role]
            found.append({g.part: y.T @ _full(values[g.place] @ packed[g.place], self.merged) @ y for g in groups})
        return tuple(found) if all_parts else (found[0], {}, {})


def weigh(merged, sections):
    """Weighed of {region: Section}."""
    known = all(s.losses is not None for s in sections.values())
    c = {role: np.zeros(len(merged.packed[role])) for role in "KM"}
    h, misses = np.zeros(len(c["K"])), [0.0]
    of = {role: _coefficients(sections, role) for role in "KM"}
    lost = _dissipated(sections, set(sections)) if known else {}
    for g in merged.groups:
        c[g.role][g.place], miss = g.coefficients(_values(of[g.role], g.keys))
        misses.append(miss)
        if g.role == "K" and known:
            h[g.place], miss = g.coefficients(_values(lost, g.keys))
            misses.append(miss)
    K, M = (_full(c[role] @ merged.packed[role], merged) for role in "KM")
    mass = {g.part: float(c["M"][g.place] @ merged.unit_mass[g.place]) for g in merged.groups if g.role == "M"}
    return Weighed(merged, K, M, c, h if known else None, mass, float(max(misses)))


def solve(merged, sections, count, weighed=None):
    """Variant of {region: Section}: modes, shares by part, masses and the error estimate. weighed: made before."""
    w = weighed or weigh(merged, sections)
    known = w.h is not None
    omega2, y = small_modes(w.K, w.M, count)
    omega2, y = omega2[RIGID:], y[:, RIGID:]
    tested = [np.tensordot(w.c[role], merged.tested[role], 1) @ y for role in "KM"]
    nothing = {part_of(region): np.zeros(y.shape[1]) for region, s in sections.items() if s.stiffness}
    stored, heat = (nothing | e for e in _energies(merged, w.c["K"], w.h if known else np.zeros(len(w.c["K"])), y))
    total, dissipated = sum(stored.values()), sum(heat.values())
    return Variant(
        np.sqrt(omega2.clip(0)) / (2 * np.pi),
        {part: e / total for part, e in stored.items()},
        {part: e / dissipated for part, e in heat.items()} if known and np.all(dissipated > 0) else None,
        dissipated / total if known else None,
        w.mass,
        float(estimate(tested[0] - tested[1] * omega2, omega2.clip(SHIFT / -100)).max()),
        w.miss,
        y,
    )


def _full(packed, merged):
    full = np.empty((merged.size, merged.size))
    full[merged.upper] = packed
    full.T[merged.upper] = packed
    return full


def _energies(merged, c, h, y):
    """({part: y' K_part y (n,)}, the same with loss factors) of the shapes y (r, n)."""
    y = y.astype(np.float32)
    products, start = np.empty((len(merged.upper[0]), y.shape[1]), np.float32), 0
    for k in range(merged.size):
        stop = start + merged.size - k
        np.multiply(y[k], y[k:], out=products[start:stop])
        start = stop
    unit = merged.energies @ products  # (q, n)
    groups = [g for g in merged.groups if g.role == "K"]
    return tuple({g.part: (f[g.place] @ unit[g.place]).astype(float) for g in groups} for f in (c, h))
