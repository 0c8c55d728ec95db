"""Strains of shells, beams and joints, and the unit terms made from them.

The energy of a part is 1/2 sum_kinds f int tau_p strain' C strain: C and the column p of the part's profile are listed
here for every kind, f comes from the part's section (sections.py). The profile says how the part gets thinner or lower:
tau_p is the power p of a plate's thickness or of a rectangular bar's height over the full one; a bar of another form has
columns of its own (bar_forms.py). So K(p) stays affine in f whatever is carved. Unknowns per node: displacement u,
rotation th, in global axes. A strain operator B has the shape (elements, points, strains, nodes, 6).
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from fem.bar_forms import LEVER, SIDEWAYS, TORSION

CORNER_ANGLES = (0, 45, 90)  # degrees from edge to grain, between which a corner's stiffness is interpolated
JUMPS = "tabr"  # of a corner: along the edge, inward, out of the plate, rotation about the edge
DRILLING = 0.1  # of A66: holds the rotation about the normal; softer, and curved sides soften as the mesh is refined


Entries = Mapping[tuple[int, int], float]  # of a symmetric matrix, each pair once
Kinds = dict[str, tuple[int, np.ndarray]]  # {kind: (column of the profile, C)}


def _symmetric(size: int, entries: Entries) -> np.ndarray:
    C = np.zeros((size, size))
    for (i, j), c in entries.items():
        C[i, j] = C[j, i] = c
    return C


def _laminate_kinds() -> Kinds:
    """Strains: 0-2 membrane, 3-5 curvature, 6-7 transverse shear, 8 drilling."""
    kinds: dict[str, dict[tuple[int, int], float]] = {}
    for name, i, j in (("11", 0, 0), ("12", 0, 1), ("22", 1, 1), ("66", 2, 2)):
        kinds["A" + name] = {(i, j): 1}
        kinds["B" + name] = {(i, j + 3): 1, (j, i + 3): 1}
        kinds["D" + name] = {(i + 3, j + 3): 1}
    kinds["A66"][8, 8] = DRILLING
    kinds |= {"S55": {(6, 6): 1}, "S44": {(7, 7): 1}}
    power = {"A": 1, "B": 2, "D": 3, "S": 1}
    return {kind: (power[kind[0]], _symmetric(9, entries)) for kind, entries in kinds.items()}


def _beam_kinds() -> Kinds:
    """Strains: 0-2 stretch along t, shear along a and b; 3-5 twist, bending about a and b. Kind 'EI2' goes with column 2."""
    entries = {
        "EA": (1, {(0, 0): 1}), "ES": (2, {(0, 4): 1}), "EI": (3, {(4, 4): 1}),
        "GAa": (1, {(1, 1): 1}), "GS": (2, {(1, 3): -1}), "GJ": (3, {(3, 3): 1}), "GAb": (1, {(2, 2): 1}),
    }  # fmt: skip
    alone = {"EIb1": (SIDEWAYS, {(5, 5): 1}), "GJ4": (LEVER, {(3, 3): 1}), "GJ5": (TORSION, {(3, 3): 1})}
    powers = {f"{k}{p}": (p, e) for k, (top, e) in entries.items() for p in range(1, top + 1)}
    return {kind: (p, _symmetric(6, e)) for kind, (p, e) in (powers | alone).items()}


def _beam_mass_kinds() -> Kinds:
    """Velocities along and rotation rates about t, a, b. The rotation about b has no inertia (see shell_velocities)."""
    entries = {
        "m": (1, {(0, 0): 1, (1, 1): 1, (2, 2): 1}),
        "mS": (2, {(0, 4): 1, (1, 3): -1}),
        "mI": (3, {(4, 4): 1, (3, 3): 1}),
    }
    powers = {f"{k}{p}": (p, _symmetric(6, e)) for k, (top, e) in entries.items() for p in range(1, top + 1)}
    return powers | {"mIb1": (SIDEWAYS, _symmetric(6, {(3, 3): 1}))}


def _interface_kinds() -> Kinds:
    """Strains: jumps of u and of th along t, a, b. Six alone; and those of a corner, coupled, 'ab@45' at 45 degrees."""
    kinds = {kind: (0, _symmetric(6, {(i, i): 1})) for i, kind in enumerate(("kt", "ka", "kb", "ct", "ca", "cb"))}
    return kinds | {kind: (column, _symmetric(6, {(i, j): 1})) for kind, column, _, i, j in corner_entries()}


def corner_entries() -> Iterator[tuple[str, int, int, int, int]]:
    """(kind, column of corner_columns, number among CORNER_ANGLES, i, j) of what a corner's stiffness has, i <= j among JUMPS.

    Couplings of sliding along the edge with the rest change sign with the angle and vanish where the grain lies along or square.
    """
    last = len(CORNER_ANGLES) - 1
    for i, one in enumerate(JUMPS):
        for j, other in enumerate(JUMPS[i:], i):
            for number, degrees in enumerate(CORNER_ANGLES):
                odd = i == 0 and j > 0
                if not odd or 0 < number < last:
                    yield f"{one}{other}@{degrees}", 1 + number + odd * last, number, i, j


def corner_columns(angle: np.ndarray) -> np.ndarray:
    """(1 + n + n - 2, k) profile of an interface at angles (k,) [rad]: one, shares of the n CORNER_ANGLES, signed ones of the
    inner ones.

    Straight in |sin|^3 between them, near to how the bending stiffness of a board of wood runs.
    """
    knots = np.abs(np.sin(np.radians(CORNER_ANGLES))) ** 3
    shares = np.array([np.interp(np.abs(np.sin(angle)) ** 3, knots, unit) for unit in np.eye(len(knots))])
    return np.vstack([np.ones_like(angle), shares, np.sign(np.sin(2 * angle)) * shares[1:-1]])


# {role: {family: {kind: (column of the profile, C)}}}
KINDS: dict[str, dict[str, Kinds]] = {
    "K": {
        "shell": _laminate_kinds(),
        "beam": _beam_kinds(),
        "interface": _interface_kinds(),
    },
    "M": {
        "shell": {
            "m0": (1, _symmetric(5, {(0, 0): 1, (1, 1): 1, (2, 2): 1})),
            "m1": (2, _symmetric(5, {(0, 4): 1, (1, 3): -1})),
            "m2": (3, _symmetric(5, {(3, 3): 1, (4, 4): 1})),
        },
        "beam": _beam_mass_kinds(),
        "interface": {},
    },
}


def _operator(rows: Sequence[tuple[np.ndarray | None, np.ndarray | None]], shape: tuple[int, ...]) -> np.ndarray:
    """B (elements, points, strains, nodes, 6) from rows of (part on u, part on th), each (..., nodes, 3) or None."""
    B = np.zeros((*shape[:2], len(rows), shape[2], 6))
    for k, (on_u, on_th) in enumerate(rows):
        if on_u is not None:
            B[:, :, k, :, :3] = on_u
        if on_th is not None:
            B[:, :, k, :, 3:] = on_th
    return B


def shell_strains(e1: np.ndarray, e2: np.ndarray, n: np.ndarray, phi: np.ndarray, grad: np.ndarray) -> np.ndarray:
    """Strain operator of a flat shell facet, 9 strains in the frame e1 (grain), e2, n; frame vectors (elements, 3).

    phi (points, nodes) shape functions, grad (elements, points, nodes, 3) their surface gradients [1/m].
    """
    g1 = np.einsum("eqai,ei->eqa", grad, e1)[..., None]
    g2 = np.einsum("eqai,ei->eqa", grad, e2)[..., None]
    e1, e2, n = (v[:, None, None] for v in (e1, e2, n))
    N = phi[None, :, :, None]
    rows = [
        (g1 * e1, None),  # eps_11 = e1.u,1
        (g2 * e2, None),  # eps_22 = e2.u,2
        (g1 * e2 + g2 * e1, None),  # eps_12 = e2.u,1 + e1.u,2
        (None, g1 * e2),  # kappa_11 = e2.th,1
        (None, -g2 * e1),  # kappa_22 = -e1.th,2
        (None, g2 * e2 - g1 * e1),  # kappa_12 = e2.th,2 - e1.th,1
        (g1 * n, N * e2),  # gamma_1 = n.u,1 + e2.th
        (g2 * n, -N * e1),  # gamma_2 = n.u,2 - e1.th
        ((g1 * e2 - g2 * e1) / 2, -N * n),  # drilling = (e2.u,1 - e1.u,2)/2 - n.th
    ]
    return _operator(rows, grad.shape)


def shell_velocities(e1: np.ndarray, e2: np.ndarray, n: np.ndarray, phi: np.ndarray, elements: int) -> np.ndarray:
    """Operator of u along e1, e2, n and th about e1, e2. None about n: its inertia would breed spurious modes."""
    e1, e2, n = (v[:, None, None] for v in (e1, e2, n))
    N = phi[None, :, :, None]
    rows = [(N * e1, None), (N * e2, None), (N * n, None), (None, N * e1), (None, N * e2)]
    return _operator(rows, (elements, *phi.shape))


def beam_strains(t: np.ndarray, b: np.ndarray, r: np.ndarray, phi: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """Strain operator of a shear-flexible beam at a distance r from the edge that carries it, 6 strains in t, a, b.

    Gamma = u' + th' x r - th x t, kappa = th'. t (edges, 3) along the edge, b its height, a = b x t, r (edges, 3) m;
    phi (points, nodes), slope (edges, points, nodes) derivative along t [1/m]. The change of r along the line is left
    out on purpose: a rigid rotation must cost nothing where r turns along a curve.
    """
    a = np.cross(b, t)
    N, dN = phi[None, :, :, None], slope[..., None]
    rows = []
    for d in (t, a, b):  # d.(th' x r) = th'.(r x d); -d.(th x t) = -th.(t x d)
        along, lever, turn = (v[:, None, None] for v in (d, np.cross(r, d), np.cross(t, d)))
        rows.append((dN * along, dN * lever - N * turn))
    rows += [(None, dN * d[:, None, None]) for d in (t, a, b)]
    return _operator(rows, slope.shape)


def beam_velocities(t: np.ndarray, b: np.ndarray, r: np.ndarray, phi: np.ndarray, edges: int) -> np.ndarray:
    """Operator of the velocity u + th x r along t, a, b and of th about t, a, b."""
    a = np.cross(b, t)
    N = phi[None, :, :, None]
    rows = [(N * d[:, None, None], N * np.cross(r, d)[:, None, None]) for d in (t, a, b)]
    rows += [(None, N * d[:, None, None]) for d in (t, a, b)]
    return _operator(rows, (edges, *phi.shape))


def interface_displacements(t: np.ndarray, a: np.ndarray, b: np.ndarray, phi: np.ndarray) -> np.ndarray:
    """Operator of the jump (plate minus rim) of u, then of th, along t, a, b (edges, points, 3).

    phi (points, nodes); nodes of the plate first, then the rim's.
    """
    N = np.concatenate([phi, -phi], axis=1)[None, :, :, None]
    frame = [d[:, :, None] for d in (t, a, b)]
    rows = [(N * d, None) for d in frame] + [(None, N * d) for d in frame]
    return _operator(rows, (len(t), *N.shape[1:3]))
