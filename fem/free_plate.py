"""Free rectangular orthotropic plate with transverse shear (Mindlin), by Ritz's method with Legendre polynomials.

Unknowns w, psi_1, psi_2; curvatures psi_1,1, psi_2,2, psi_1,2 + psi_2,1; shears w,1 + psi_1, w,2 + psi_2; rotary
inertia included. Axis 1 = length, along the grain. The plate is symmetric about both centre lines, so the modes fall
into four families (even or odd along each axis), solved one by one. Where the plate
twists, the rotation of an edge turns within h sqrt(G_LR/(10 G)) of it, G being G_RT at the ends and G_LT at the sides:
the basis holds that exponential, else the twisting mode converges slowly (0.2 % high at degree 12). Mindlin, J. Appl.
Mech. 18 (1951); Liew, Xiang & Kitipornchai, J. Sound Vib. 180 (1995), a survey (both from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.polynomial import legendre
from scipy.linalg import eigh

from fem.materials import SHEAR_FACTOR, Wood, plane_stress_stiffness

DEGREE = 10  # of the polynomials along each axis
KINDS = ("Q11", "Q22", "Q12", "Q66", "G_LT", "G_RT")  # the stiffness is linear in these


@dataclass(frozen=True)
class PlateModes:
    """Elastic modes in ascending order; n of them."""

    frequency: np.ndarray  # (n,) Hz
    label: tuple[tuple[int, int], ...]  # nodal lines crossing the length, crossing the width: (2, 0) bends the length
    purity: np.ndarray  # (n,) share of that product of beam shapes in the deflection, 1 = pure
    deflection: np.ndarray  # (n, DEGREE+1, DEGREE+1) Legendre coefficients of w, along times across
    energy: np.ndarray  # (n, 6) energy of a unit of each of KINDS, for modes of unit modal mass

    def number(self, label: tuple[int, int]) -> int:
        """Position of the purest mode with that label; ValueError if no computed mode bears it."""
        same = [i for i, other in enumerate(self.label) if other == label]
        if not same:
            raise ValueError(
                f"the mode with {label[0]} nodal lines across the length and {label[1]} across the width is not among "
                f"the lowest {len(self.label)} of this plate; expected a plate that is less narrow, or other tones"
            )
        return max(same, key=lambda i: self.purity[i])


def stiffness_numbers(wood: Wood) -> np.ndarray:
    """(6,) [Pa]: the numbers of KINDS for a wood; the shear factor 5/6 is in the last two."""
    Q = plane_stress_stiffness(wood)
    return np.array(
        [Q[0, 0], Q[1, 1], Q[0, 1], Q[2, 2], SHEAR_FACTOR * wood.G_LT, SHEAR_FACTOR * wood.G_RT],
    )


def plate_modes(
    wood: Wood, length: float, width: float, thickness: float, count: int = 12, degree: int = DEGREE
) -> PlateModes:
    """The lowest `count` elastic modes of the free plate; length along the grain; m. Returns PlateModes."""
    weights, families = stiffness_numbers(wood), []
    for odd in product((0, 1), (0, 1)):
        w, K, M = _family(odd, length, width, thickness, wood, degree)
        rigid = 1 - odd[0] * odd[1]  # one rigid motion in each family but the twisting one
        last = min(rigid + count, len(M)) - 1
        values, shapes = eigh(np.tensordot(weights, K, 1), M, subset_by_index=(rigid, last))
        energy = np.einsum("am,iab,bm->mi", shapes, K, shapes)
        families += [(v, w(shapes[:, i]), energy[i]) for i, v in enumerate(values)]
    families.sort(key=lambda mode: mode[0])
    values, deflection, energy = (np.array(column) for column in zip(*families[:count], strict=True))
    labels, purity = zip(*(_label(c) for c in deflection), strict=True)
    return PlateModes(np.sqrt(values) / (2 * np.pi), labels, np.array(purity), deflection, energy)


def plate_frequencies(
    wood: Wood, length: float, width: float, thickness: float, count: int = 12
) -> tuple[np.ndarray, list[str]]:
    """(frequencies (count,) [Hz], mode labels ['(2, 0)', ...]) of the free plate; lengths in m."""
    modes = plate_modes(wood, length, width, thickness, count)
    return modes.frequency, [str(label) for label in modes.label]


def on_grid(coefficients: np.ndarray, points: int = 120) -> np.ndarray:
    """w on a grid (points, points) over length x width, from Legendre coefficients."""
    s = np.linspace(-1, 1, points)
    return legendre.leggrid2d(s, s, coefficients)


def _family(
    odd: tuple[int, int], length: float, width: float, thickness: float, wood: Wood, degree: int
) -> tuple[Callable[[np.ndarray], np.ndarray], np.ndarray, np.ndarray]:
    """Of one symmetry family: function vector -> w coefficients; K (6, n, n) per unit of KINDS; M (n, n)."""
    p, q = odd
    parities = [(p, q), (1 - p, q), (p, 1 - q)]  # of w, psi_1, psi_2
    layer = [thickness * np.sqrt(wood.G_LR / (12 * SHEAR_FACTOR * G)) for G in (wood.G_RT, wood.G_LT)]
    first, g_first = _axis(2 * layer[0] / length, degree)
    second, g_second = _axis(2 * layer[1] / width, degree)
    area = np.outer(g_first, g_second).ravel() * length * width / 4

    def field(unknown: int, by: int | None) -> np.ndarray:
        """Basis of one unknown at all points, or its derivative by axis 1 or 2: (points, functions)."""
        along = first(parities[unknown][0], by == 1, unknown == 2)
        across = second(parities[unknown][1], by == 2, unknown == 1)
        return np.kron(along, across) * {None: 1, 1: 2 / length, 2: 2 / width}[by]

    at = np.cumsum([0, *(field(unknown, None).shape[1] for unknown in range(3))])

    def row(*terms: tuple[int, int | None]) -> np.ndarray:
        """Strain at all points as a matrix on all unknowns; terms: (unknown, derivative)."""
        B = np.zeros((len(area), at[-1]))
        for unknown, by in terms:
            B[:, at[unknown] : at[unknown + 1]] += field(unknown, by)
        return B

    def form(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return a.T @ (area[:, None] * b)

    k_1, k_2, k_12 = row((1, 1)), row((2, 2)), row((1, 2), (2, 1))
    g_1, g_2 = row((0, 1), (1, None)), row((0, 2), (2, None))
    coupling = form(k_1, k_2)
    terms = [form(k_1, k_1), form(k_2, k_2), coupling + coupling.T, form(k_12, k_12), form(g_1, g_1), form(g_2, g_2)]
    h, h3 = thickness, thickness**3 / 12
    K = np.array([c * k for c, k in zip((h3, h3, h3, h3, h, h), terms, strict=True)])
    w, psi_1, psi_2 = row((0, None)), row((1, None)), row((2, None))
    M = wood.density * (h * form(w, w) + h3 * (form(psi_1, psi_1) + form(psi_2, psi_2)))

    def deflection(vector: np.ndarray) -> np.ndarray:
        c = np.zeros((degree + 1, degree + 1))
        c[p::2, q::2] = vector[: at[1]].reshape(c[p::2, q::2].shape)
        return c

    return deflection, K, M


def _axis(layer: float, degree: int) -> tuple[Callable[[int, bool, bool], np.ndarray], np.ndarray]:
    """One axis, s from -1 to 1: (function (parity, slope, edge) -> (points, functions), Gauss weights).

    Legendre polynomials of one parity; with `edge` also exp(-distance from the edge / layer), the twisting layer.
    """
    ends = [-1, -1 + min(6 * layer, 0.5), 1 - min(6 * layer, 0.5), 1]
    panels = [
        ((a + b) / 2, (b - a) / 2, *legendre.leggauss(n)) for (a, b), n in zip(pairwise(ends), (8, degree + 2, 8))
    ]
    s = np.concatenate([centre + half * x for centre, half, x, _ in panels])
    weight = np.concatenate([half * g for _, half, _, g in panels])
    value = legendre.legvander(s, degree)
    slope = np.array([legendre.legval(s, legendre.legder(row)) for row in np.eye(degree + 1)]).T
    left, right = np.exp(-(1 + s) / layer), np.exp(-(1 - s) / layer)

    def functions(parity: int, derivative: bool, edge: bool) -> np.ndarray:
        sign = 1 - 2 * parity
        columns = (slope if derivative else value)[:, parity::2]
        extra = (right - sign * left) / layer if derivative else right + sign * left
        return np.column_stack([columns, extra]) if edge else columns

    return functions, weight


def _label(coefficients: np.ndarray) -> tuple[tuple[int, int], float]:
    """((m, n), purity): the product of free beam shapes that holds most of the deflection."""
    beams, norm = _beam_shapes(len(coefficients) - 1)
    parts = (beams.T @ (norm[:, None] * coefficients * norm) @ beams) ** 2
    m, n = np.unravel_index(parts.argmax(), parts.shape)
    return (int(m), int(n)), float(parts.max() / parts.sum())


def _beam_shapes(degree: int) -> tuple[np.ndarray, np.ndarray]:
    """Shapes of a free beam as Legendre coefficients (degree+1, degree+1), orthonormal, and the norms int P_i^2."""
    s, g = legendre.leggauss(degree + 2)
    curvature = np.array([legendre.legval(s, legendre.legder(row, 2)) for row in np.eye(degree + 1)])
    norm = 2 / (2 * np.arange(degree + 1) + 1)
    _, shapes = eigh((curvature * g) @ curvature.T, np.diag(norm))
    shapes[:, :2] = np.eye(degree + 1)[:, :2] / np.sqrt(norm[:2])  # lift and tilt, apart
    return shapes, norm
