"""The corner of plate and rim as orthotropic solid (see joint_section).

Axes x, y, z of the solid are t along the edge, a inward, b out of the plate.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from fem.materials import Wood, isotropic, plane_stress_stiffness
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
from meshes.joint_geometry import LAND, JointGeometry
from meshes.linings import GLUE_NU

Directions = tuple[tuple[float, float, float], ...]  # unit vectors of L, R, T in t, a, b
PartAt = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]  # number of the part at places t, a, b

CHANNELS = ("along", "across", "shear")  # of heat in wood
SOURCES = {"plate": (3,), "rim": (1, 2, 4)}  # of compliance beside the glue line, and the numbers of their parts
IN_GLUE = 5
IN_RIM = ((1, 0, 0), (0, 0, 1), (0, 1, 0))  # L, R, T of side, lining and binding along t, b, a
FINE = 1e-4  # m, boxes where surfaces meet: compliances within .1 % of those at half of it, the glue's within 3 %
COARSE, GROWTH = 2.8e-3, 2.5  # m, boxes elsewhere, and by how much they grow from one to the next
SLIVER = 2e-5  # m, of wood that no saw leaves
GLUE_LINE = 1e-4  # m, assumed: common practice speaks of .05 to .2 mm
GLUE = isotropic("glue", 2 * (1 + GLUE_NU) * 0.4e9, GLUE_NU, 1200)  # shear modulus .4 GPa: hide glue, from memory
BEYOND = 2.5  # thicknesses of plate and side beyond the corner at which they are cut (Saint-Venant)


def ends(geometry: JointGeometry, beyond: float = BEYOND) -> tuple[float, float]:
    """Where the pieces are cut [m]: plate at a = A, side at b = -B; far enough from the corner by Saint-Venant, beyond the land."""
    rim = geometry.rim
    width, height = (rim.lining_width, rim.lining_height) if geometry.lined else (0.0, 0.0)
    return (
        max(rim.side_thickness / 2 + width + beyond * geometry.plate_thickness, LAND - geometry.outset),
        geometry.plate_thickness / 2 + height + beyond * rim.side_thickness,
    )


def lining_floor(geometry: JointGeometry) -> float:
    """b of the lining's lower edge [m]; 0 without a lining."""
    return -geometry.plate_thickness / 2 - geometry.rim.lining_height if geometry.lined else 0.0


def _plate_axes(geometry: JointGeometry) -> Directions:
    c, s = np.cos(geometry.grain_angle), np.sin(geometry.grain_angle)
    return ((c, s, 0), (-s, c, 0), (0, 0, 1))


def _plate(geometry: JointGeometry) -> tuple[float, float]:
    """Of the plate, no strain along the edge: bending stiffness across it [N m], and the twisting moment beside a unit of
    bending moment (none where the grain lies along or square to the edge).
    """
    c, s = np.cos(geometry.grain_angle), np.sin(geometry.grain_angle)
    in_grain = np.array([[s * c, -s * c, c**2 - s**2], [s**2, c**2, 2 * s * c]])  # unit strains ta, aa as L, R, LR
    Q = in_grain @ plane_stress_stiffness(geometry.plate_wood) @ in_grain.T
    return Q[1, 1] * geometry.plate_thickness**3 / 12, Q[0, 1] / Q[1, 1]


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
    """Grid lines through all cuts, `fine` at those in focus, growing by GROWTH up to COARSE."""
    places = np.unique(np.round(cuts, 9))
    near = [bool(np.isclose(cut, focus, atol=1e-9).any()) for cut in places]
    lines = [places[0]]
    for low, high, at_low, at_high in zip(places, places[1:], near, near[1:]):
        named = ("a" if at_low else "") + ("b" if at_high else "")
        lines += list(graded(low, high, fine if named else COARSE, COARSE, GROWTH, named or "a"))[1:]
    return np.array(lines)


def _at_face(cut: float, faces: Sequence[float]) -> float:
    """The cut, or a face that it comes so near to that only a sliver would stand between."""
    nearest = min(faces, key=lambda face: abs(face - cut))
    return nearest if abs(nearest - cut) < SLIVER else cut


def plate_bending(geometry: JointGeometry) -> float:
    """Bending stiffness of the plate across the edge, no strain along it [N m]."""
    return _plate(geometry)[0]


def section_solid(
    geometry: JointGeometry, fine: float = FINE, beyond: float = BEYOND
) -> tuple[Solid, np.ndarray, np.ndarray]:
    """Solid of one kerf period of the corner, C (elements, 6, 6), parts: 1 side, 2 lining, 3 plate, 4 binding, 5 glue."""
    h, face = geometry.plate_thickness, geometry.rim.side_thickness / 2
    A, B = ends(geometry, beyond)
    rim_part, t, inward = _rim(geometry, lining_floor(geometry), -h / 2)
    line = -h / 2 - GLUE_LINE
    cut_a = _at_face(-face + geometry.rebate_width, [-face, *inward]) if geometry.rebated else -face
    cut_b = _at_face(h / 2 - geometry.rebate_height, [h / 2, -h / 2, line]) if geometry.rebated else h / 2

    def part(t: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        number = np.where(b > -h / 2, 3, rim_part(t, a, b))
        number = np.where((number > 0) & (b < -h / 2) & (b > line), IN_GLUE, number)
        return np.where((a < cut_a) & (b > cut_b), 4 if geometry.binding_wood else 0, number)

    a = _spaced([*inward, cut_a, A], [-face, cut_a, face, max(inward)], fine)
    at_glue = [cut_b, -h / 2, line, h / 2]
    floor = min(lining_floor(geometry), line)
    b = _spaced([-B, floor, *at_glue], [floor, *at_glue], fine)
    body = solid(boxes(t, a, b, lambda t, a, b: part(t, a, b) > 0))
    parts = part(*body.middles.T)
    C = np.zeros((len(parts), 6, 6))
    for number, (wood, axes) in _woods(geometry).items():
        C[parts == number] = solid_stiffness(wood, axes)
    return body, C, parts


def _woods(geometry: JointGeometry) -> dict[int, tuple[Wood, Directions]]:
    """{part: (wood, its L, R, T)} of section_solid."""
    woods: dict[int, tuple[Wood, Directions]] = {
        1: (geometry.rim.side_wood, IN_RIM),
        2: (geometry.rim.lining_wood, IN_RIM),
        3: (geometry.plate_wood, _plate_axes(geometry)),
        IN_GLUE: (GLUE, IN_RIM),
    }
    return woods if geometry.binding_wood is None else woods | {4: (geometry.binding_wood, IN_RIM)}


def solid_compliance(
    geometry: JointGeometry, fine: float = FINE, beyond: float = BEYOND
) -> tuple[np.ndarray, np.ndarray]:
    """(3, 4, 4) compliances of glue line, plate and rim (side, lining, binding) in the solid, order LOADS, loads at A.

    A part's compliance is twice the energy that it stores; the three sum to the solid's. Of the glue line it is what the tractions
    on it store; its stretch along with the wood counts to the rim. And (4, 3) what side, lining, plate and
    binding store under a moment by CHANNELS, over what plate or rim stores: times the loss factors of the woods it is the loss
    factor of the one and of the other. Losses of the woods themselves are not asked.
    """
    body, C, parts = section_solid(geometry, fine, beyond)
    u, _ = solve_corner(geometry, body, C, beyond)
    strains, length = body.strains(u), np.ptp(body.points[:, 0])

    def held(C: np.ndarray, numbers: Sequence[int]) -> np.ndarray:
        """(4, 4) of some parts alone, C (elements, 6, 6) or one for all."""
        some = np.isin(parts, numbers)
        of_each = np.broadcast_to(C, (len(parts), 6, 6))[some]
        return quadratic_form(body.weight[some], strains[some], of_each) / length

    by_tractions = glue_traction_stiffness()
    rest = solid_stiffness(GLUE, IN_RIM) - by_tractions
    stored = np.array(
        [held(by_tractions, (IN_GLUE,)), held(C, SOURCES["plate"]), held(C, SOURCES["rim"]) + held(rest, (IN_GLUE,))]
    )
    shares = np.zeros((IN_GLUE - 1, len(CHANNELS)))
    for number, (wood, axes) in _woods(geometry).items():
        for at, numbers in enumerate(SOURCES.values(), 1):
            if number in numbers:
                Q = solid_losses(replace(wood, loss_L=1.0, loss_R=1.0, loss_G=1.0), axes) or {}
                shares[number - 1] = [held(Q[c], (number,))[3, 3] / stored[at, 3, 3] for c in CHANNELS]
    return stored, shares


def glue_traction_stiffness() -> np.ndarray:
    """(6, 6) of strains that gives the glue's energy by its tractions alone: s_b^2/M + (s_tb^2 + s_ab^2)/G.

    M of a layer that cannot contract in its plane. The rest is stretch in its own plane, along with the wood beside it.
    """
    C, nu = solid_stiffness(GLUE, IN_RIM), GLUE_NU
    P = np.diag([0, 0, (1 + nu) * (1 - 2 * nu) / (1 - nu) / GLUE.E_L, 1 / GLUE.G_LR, 1 / GLUE.G_LR, 0])
    return C @ P @ C


def solve_corner(
    geometry: JointGeometry, body: Solid, C: np.ndarray, beyond: float = BEYOND
) -> tuple[np.ndarray, np.ndarray]:
    """u (n, 3, 4) under unit LOADS at the plate's end, balanced at the side's, and the compliance (4, 4)."""
    A, B = ends(geometry, beyond)
    h, ts = geometry.plate_thickness, geometry.rim.side_thickness
    _, twist = _plate(geometry)

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
