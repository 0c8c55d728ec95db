"""The corner of plate and rim twice: as orthotropic solid, and as shells joined rigidly (see joint_section).

Axes x, y, z of the solid are t along the edge, a inward, b out of the plate.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from fem.materials import SHEAR_FACTOR, Wood, plane_stress_stiffness
from fem.sections import Layer, laminate
from fem.solid import (
    Solid,
    boxes,
    graded,
    periodic_masters,
    quadratic_form,
    rigid_support,
    solid,
    solid_losses,
    solid_stiffness,
    solve,
    stiffness,
    tractions,
)
from meshes.joint_geometry import JointGeometry
from meshes.kerf_cell import lining_terms

Directions = tuple[tuple[float, float, float], ...]  # unit vectors of L, R, T in t, a, b
PartAt = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]  # number of the part at places t, a, b
Losses = dict[str, np.ndarray]  # {channel: (elements, 6, 6)}

LOADS = ("t", "a", "b", "turn")  # forces [N/m] along t, a, b and the moment about t [N], per length of edge
IN_RIM = ((1, 0, 0), (0, 0, 1), (0, 1, 0))  # L, R, T of side, lining and binding along t, b, a
FINE = 0.35e-3  # m, boxes at the corner
BEYOND = 2.5  # thicknesses of plate and side beyond the corner at which they are cut (Saint-Venant)


def ends(geometry: JointGeometry, beyond: float = BEYOND) -> tuple[float, float]:
    """Where the pieces are cut [m]: plate at a = A, side at b = -B; far enough from the corner by Saint-Venant."""
    rim = geometry.rim
    width, height = (rim.lining_width, rim.lining_height) if geometry.lined else (0.0, 0.0)
    return (
        rim.side_thickness / 2 + width + beyond * geometry.plate_thickness,
        geometry.plate_thickness / 2 + height + beyond * rim.side_thickness,
    )


def shell_compliance(geometry: JointGeometry, beyond: float = BEYOND) -> np.ndarray:
    """(4, 4) compliance [m2/N ... 1/N] of the two pieces as shells joined rigidly at the corner, order LOADS.

    Complementary energy of the forces that a load at the plate's end makes, no strain along the edge.
    """
    A, B = ends(geometry, beyond)
    floor = lining_floor(geometry)
    side, lined = _side_terms(geometry)
    total = np.zeros((4, 4))
    for low, high, terms in ((-B, floor, side), (floor, 0.0, lined)):
        for b, weight in _gauss(low, high):
            force = in_side(A, b)[1:]
            total += weight * force.T @ _flexible(terms) @ force
        total[1, 1] += (high - low) / terms["S44"]
        total[0, 0] += (high - low) / terms["A66"]
    plane, bending, shear, _ = _plate(geometry)
    for a, weight in _gauss(0.0, A):
        moment = np.array([0, 0, A - a, 1])
        total += weight * np.outer(moment, moment) / bending
    total[:2, :2] += A * np.linalg.inv(plane)
    total[2, 2] += A / shear
    return total


def lining_floor(geometry: JointGeometry) -> float:
    """b of the lining's lower edge [m]; 0 without a lining."""
    return -geometry.plate_thickness / 2 - geometry.rim.lining_height if geometry.lined else 0.0


def in_side(A: float, b: float) -> np.ndarray:
    """(3, 4): shear flow along t, N_b and M about the side's middle surface at the height b, from LOADS at A."""
    return np.array([[1, 0, 0, 0], [0, 0, 1, 0], [0, b, A, 1]])


def _side_terms(geometry: JointGeometry) -> tuple[dict[str, float], dict[str, float]]:
    """Stiffness terms of the side alone, and of side and lining."""
    rim = geometry.rim
    side = laminate([Layer(rim.side_wood, rim.side_thickness)]).stiffness
    if not geometry.lined:
        return side, side
    added = lining_terms(rim).stiffness
    return side, {kind: f + added.get(kind, 0) for kind, f in side.items()}


def _flexible(terms: Mapping[str, float]) -> np.ndarray:
    """(2, 2) strain and curvature across the rim from N_b and M."""
    return np.linalg.inv([[terms["A22"], terms["B22"]], [terms["B22"], terms["D22"]]])


def _gauss(low: float, high: float) -> list[tuple[float, float]]:
    x, w = np.polynomial.legendre.leggauss(2)
    return [((low + high) / 2 + (high - low) / 2 * s, (high - low) / 2 * v) for s, v in zip(x, w)]


def _plate_axes(geometry: JointGeometry) -> Directions:
    c, s = np.cos(geometry.grain_angle), np.sin(geometry.grain_angle)
    return ((c, s, 0), (-s, c, 0), (0, 0, 1))


def _plate(geometry: JointGeometry) -> tuple[np.ndarray, float, float, float]:
    """Plate across the edge, no strain along it: membrane (2, 2) for forces along t and a, bending, transverse shear,
    and the twisting moment beside a unit of bending moment (none where the grain lies along or square to the edge).
    """
    wood, h = geometry.plate_wood, geometry.plate_thickness
    c, s = np.cos(geometry.grain_angle), np.sin(geometry.grain_angle)
    in_grain = np.array([[s * c, -s * c, c**2 - s**2], [s**2, c**2, 2 * s * c]])  # unit strains ta, aa as L, R, LR
    Q = in_grain @ plane_stress_stiffness(wood) @ in_grain.T
    twist = Q[0, 1] / Q[1, 1]
    along_L, along_R = c * twist + s, c - s * twist  # shear forces in the wood's planes; dM_ta/da = Q_t
    flexible = (along_L**2 / wood.G_LT + along_R**2 / wood.G_RT) / (SHEAR_FACTOR * h)
    return h * Q, Q[1, 1] * h**3 / 12, 1 / flexible, twist


def _rim(geometry: JointGeometry, low: float, high: float) -> tuple[PartAt, np.ndarray, list[float]]:
    """part(t, a, b) of side and lining: 0 nothing, 1 side, 2 lining where low < b < high; and cuts along t and a."""
    rim, face = geometry.rim, geometry.rim.side_thickness / 2
    p, k, width = rim.kerf_spacing, rim.kerf_width, rim.lining_width
    kerfed = geometry.lined and rim.kerfed
    root = face + (rim.web if rim.kerf_side == "inside" else width - rim.web)

    def part(t: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        number = np.where(a < face, 1, np.where((a < face + width) & (low < b) & (b < high) & geometry.lined, 2, 0))
        beyond_root = a > root if rim.kerf_side == "inside" else a < root
        return np.where((number == 2) & kerfed & (abs(t - p / 2) < k / 2) & beyond_root, 0, number)

    # without a kerf nothing changes along t: one box of any length will do
    t = np.array([0, (p - k) / 2, (p + k) / 2, p]) if kerfed else np.array([0, p / 4])
    inward = [-face, face] + ([face + width] if geometry.lined else []) + ([root] if kerfed else [])
    return part, t, inward


def _spaced(cuts: Sequence[float], focus: Sequence[float], fine: float) -> np.ndarray:
    """Grid lines through all cuts, `fine` at those in focus, up to four times that elsewhere."""
    places = np.unique(np.round(cuts, 9))
    near = [bool(np.isclose(cut, focus, atol=1e-9).any()) for cut in places]
    lines = [places[0]]
    for low, high, at_low, at_high in zip(places, places[1:], near, near[1:]):
        named = ("a" if at_low else "") + ("b" if at_high else "")
        lines += list(graded(low, high, fine if named else 4 * fine, 4 * fine, 1.7, named or "a"))[1:]
    return np.array(lines)


def _filled(
    geometry: JointGeometry, t: np.ndarray, a: np.ndarray, b: np.ndarray, part: PartAt
) -> tuple[Solid, np.ndarray, Losses | None, np.ndarray]:
    """Solid of the boxes where part(t, a, b) > 0, its C (elements, 6, 6), losses {channel: C} or None, parts."""
    body = solid(boxes(t, a, b, lambda t, a, b: part(t, a, b) > 0))
    parts = part(*body.middles.T)
    woods: dict[int, tuple[Wood, Directions]] = {
        1: (geometry.rim.side_wood, IN_RIM),
        2: (geometry.rim.lining_wood, IN_RIM),
        3: (geometry.plate_wood, _plate_axes(geometry)),
    }
    if geometry.binding_wood is not None:
        woods[4] = (geometry.binding_wood, IN_RIM)
    C = np.zeros((len(parts), 6, 6))
    losses: Losses | None = {channel: np.zeros_like(C) for channel in ("along", "across", "shear")}
    for number in np.unique(parts):
        wood, axes = woods[number]
        C[parts == number] = solid_stiffness(wood, axes)
        lost = solid_losses(wood, axes)
        if lost is None:
            losses = None
        elif losses is not None:
            for channel in losses:
                losses[channel][parts == number] = lost[channel]
    return body, C, losses, parts


def plate_bending(geometry: JointGeometry) -> float:
    """Bending stiffness of the plate across the edge, no strain along it [N m]."""
    return _plate(geometry)[1]


def section_solid(
    geometry: JointGeometry, fine: float = FINE, beyond: float = BEYOND
) -> tuple[Solid, np.ndarray, Losses | None, np.ndarray]:
    """Solid of one kerf period of the corner, C, losses, and parts: 1 side, 2 lining, 3 plate, 4 binding."""
    h, face = geometry.plate_thickness, geometry.rim.side_thickness / 2
    A, B = ends(geometry, beyond)
    rim_part, t, inward = _rim(geometry, lining_floor(geometry), -h / 2)
    cut_a = -face + geometry.rebate_width if geometry.rebated else -face
    cut_b = h / 2 - geometry.rebate_height if geometry.rebated else h / 2

    def part(t: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        number = np.where(b > -h / 2, 3, rim_part(t, a, b))
        return np.where((a < cut_a) & (b > cut_b), 4 if geometry.binding_wood else 0, number)

    a = _spaced([*inward, cut_a, A], [-face, cut_a, face, max(inward)], fine)
    b = _spaced([-B, min(lining_floor(geometry), -h / 2), cut_b, -h / 2, h / 2], [cut_b, -h / 2, h / 2], fine)
    return _filled(geometry, t, a, b, part)


def solid_compliance(
    geometry: JointGeometry, fine: float = FINE, beyond: float = BEYOND
) -> tuple[np.ndarray, float | None]:
    """(4, 4) compliance of the solid pieces, order LOADS, and the loss factor of the corner under a moment, or None."""
    body, C, losses, _ = section_solid(geometry, fine, beyond)
    u, compliance = solve_corner(geometry, body, C, beyond)
    if losses is None:
        return compliance, None
    strains = body.strains(u)[..., 3:]
    plate_end, side_end = ends(geometry, 0.0)
    corner = ((body.middles[:, 1] < plate_end) & (body.middles[:, 2] > -side_end))[:, None, None]
    stored, lost = (quadratic_form(body, strains, X * corner)[0, 0] for X in (C, sum(losses.values())))
    return compliance, float(lost / stored)


def solve_corner(
    geometry: JointGeometry, body: Solid, C: np.ndarray, beyond: float = BEYOND
) -> tuple[np.ndarray, np.ndarray]:
    """u (n, 3, 4) under unit LOADS at the plate's end, balanced at the side's, and the compliance (4, 4)."""
    A, B = ends(geometry, beyond)
    h, ts = geometry.plate_thickness, geometry.rim.side_thickness
    *_, twist = _plate(geometry)

    def on_plate(points: np.ndarray) -> np.ndarray:
        """Stresses of a beam: uniform, parabolic, linear."""
        stress, b = np.zeros((len(points), 3, 4)), 2 * points[:, 2] / h
        stress[:, 0, 0] = stress[:, 1, 1] = 1 / h
        stress[:, 2, 2] = 1.5 * (1 - b**2) / h
        stress[:, 1, 3] = -6 * b / h**2
        stress[:, 0, 3] = twist * stress[:, 1, 3]
        return stress

    def on_side(points: np.ndarray) -> np.ndarray:
        """What balances them: forces, and the moment of the loads F_t, F_a, F_b, M about (0, -B)."""
        stress, a = np.zeros((len(points), 3, 4)), 2 * points[:, 1] / ts
        stress[:, 0, 0] = stress[:, 2, 2] = -1 / ts
        stress[:, 1, 1] = -1.5 * (1 - a**2) / ts
        stress[:, 2] -= 6 * a[:, None] / ts**2 * np.array([0, -B, A, 1])
        return stress

    return _under(body, C, tractions(body, 1, A, on_plate) + tractions(body, 2, -B, on_side))


def _under(body: Solid, C: np.ndarray, forces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """u (n, 3, cases) under balanced forces (n, 3, cases) periodic along t, and the compliance per length of edge."""
    masters = periodic_masters(body.points, 0)
    F = np.zeros_like(forces)
    np.add.at(F, masters, forces)
    F = F.reshape(-1, forces.shape[-1])
    u = solve(stiffness(body, C, masters), F, rigid_support(body, masters[body.nodes]))[masters]
    return u, F.T @ u.reshape(len(F), -1) / np.ptp(body.points[:, 0])


def edge_compliance(geometry: JointGeometry, fine: float = FINE) -> np.ndarray:
    """(3, 3) by which the lining's lower edge yields more than shells say, for shear along t, N_b and M there.

    Stress needs some way to enter the lining's full width. Half of solid minus shell of a straight side that carries
    a piece of lining as high as the real one between two bare ends.
    """
    if not geometry.lined:
        return np.zeros((3, 3))
    L, ts = geometry.rim.lining_height / 2, geometry.rim.side_thickness
    end = L + BEYOND * ts
    part, t, inward = _rim(geometry, -L, L)
    b = _spaced([-end, -L, L, end], [-L, L], fine)
    body, C, _, _ = _filled(geometry, t, _spaced(inward, [ts / 2], fine), b, part)

    def pull(points: np.ndarray) -> np.ndarray:
        stress = np.zeros((len(points), 3, 3))
        stress[:, 0, 0] = stress[:, 2, 1] = 1 / ts
        stress[:, 2, 2] = 12 * points[:, 1] / ts**3
        return stress

    _, compliance = _under(body, C, tractions(body, 2, end, pull) - tractions(body, 2, -end, pull))
    side, lined = _side_terms(geometry)
    for length, terms in ((2 * (end - L), side), (2 * L, lined)):
        compliance[0, 0] -= length / terms["A66"]
        compliance[1:, 1:] -= length * _flexible(terms)
    return compliance / 2
