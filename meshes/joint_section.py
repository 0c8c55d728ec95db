"""What the corner of plate and rim yields beyond its shells, and springs that give it back.

Axes: t along the edge, a inward, b out of the plate; the corner is where the middle surfaces of side (of its outermost
layer) and plate meet. One kerf period of the real cross-section is solid: side with its end cut by the binding rebate,
binding, lining with its kerfs, plate glued upon side and lining by a glue line. It carries forces and a moment from the
end of a piece of plate to the end of a piece of side. The same pieces as the mesh has them, as shells, carry the same
loads (see joint_shell). A plate glued onto a wide lining bends from within the lining's inner face, a shell's from the side's
middle; so the mesh makes the plate STIFFER over LAND from the corner (region 'land': bending across the edge, transverse shear
and sliding along it; mass and stretch stay), and its corner is as stiff as the solid's or stiffer. The
difference of the two compliances, carried to the corner by statics, is that of springs between plate and rim: 4 x 4 for
the forces along t, a, b and the moment about t, positive semi-definite. What is negative in it is set to zero, the
nearest in the measure of the solid's own compliances, and by how much is told.

It is split by what stores it in the solid: glue line, plate, and rim (side, lining, binding), each as its own region, so
that energy and heat go to the part they belong to. The glue line stores what the tractions on it store in the solid.

Assumed: a glue line of GLUE_LINE between plate and rim, none elsewhere; kerfs run through the whole height; a bevelled
lining counts as rectangular; nothing changes along the edge but the kerfs, so the joint cannot turn about a or b.
"""

from dataclasses import dataclass, replace
from functools import cache
from typing import TypedDict

import numpy as np

from fem.forms import CORNER_ANGLES
from fem.materials import Wood
from fem.sections import RIGID_ROTATION, RIGID_TRANSLATION
from meshes import cell_cache
from meshes.joint_geometry import JointGeometry, at_grain
from meshes.joint_solid import CHANNELS, FINE, SOURCES, ends, plate_bending, solid_compliance
from meshes.source_hash import source_hash

FLOOR = np.diag([1 / RIGID_TRANSLATION] * 3 + [1 / RIGID_ROTATION])  # of a compliance: as stiff as a rigid joint


def side_behind_rebate(geometry: JointGeometry) -> float:
    """Thickness [m] of the side left behind the rebate; the whole side where the rebate cuts the plate's edge only."""
    cut = geometry.rebate_width if geometry.rebate_height > geometry.plate_thickness else 0.0
    return max(0.0, geometry.rim.side_thickness - cut)


def wood_behind_rebate(geometry: JointGeometry) -> float:
    """Thickness [m] of side and lining together behind the rebate, kerfs averaged."""
    cut = geometry.rebate_width if geometry.rebate_height > geometry.plate_thickness else 0.0
    return _wood_beyond(geometry, cut)


def glue_area(geometry: JointGeometry) -> float:
    """Area by which the plate is glued to side and lining, per length of edge [m2/m]; 1000 times that is mm2/mm."""
    return _wood_beyond(geometry, geometry.rebate_width if geometry.rebated else 0.0)


def _wood_beyond(geometry: JointGeometry, cut: float) -> float:
    """Side and lining, kerfs averaged, inward of a depth `cut` from the side's outer face [m]."""
    rim, left = geometry.rim, max(0.0, geometry.rim.side_thickness - cut)
    if not geometry.lined:
        return left
    into = max(0.0, cut - rim.side_thickness)  # a deep rebate reaches the lining
    gap = rim.kerf_width / rim.kerf_spacing if rim.kerfed else 0.0
    zone = (rim.web, rim.lining_width) if rim.kerf_side == "inside" else (0.0, rim.lining_width - rim.web)
    kerf = max(0.0, zone[1] - max(zone[0], into)) * gap
    return left + rim.lining_width - into - kerf


@dataclass(frozen=True)
class Corner:
    """Compliance of the springs at a corner, at forms.CORNER_ANGLES from edge to grain, order LOADS."""

    compliance: np.ndarray  # (3, angles, 4, 4) of glue line, plate and rim; each positive semi-definite
    heat: np.ndarray  # (4, 3) of solid_compliance, mean over angles
    clipped: float = 0.0  # largest change that made the remainder positive, over the solid's own compliances
    # m inside the corner: where a clamped plate would bend as much under a moment; mean over angles
    clamped: float = 0.0
    # (angles, 4) and (angles, 3, 4, 4): of each angle, see beyond()
    beyond: tuple[np.ndarray, np.ndarray] | None = None

    def stiffness(self) -> np.ndarray:
        """(3, angles, 4, 4) of glue line, plate and rim side by side: each stores what its part of the springs does."""
        total = self.compliance.sum(axis=0) + FLOOR
        K = np.linalg.inv(total)
        K = (K + K.swapaxes(-1, -2)) / 2
        parts = np.array([K @ C @ K for C in self.compliance])
        parts[0] += K @ FLOOR @ K
        return (parts + parts.swapaxes(-1, -2)) / 2

    def losses(self, geometry: JointGeometry) -> tuple[float | None, float | None]:
        """Loss factors of the plate's and of the rim's wood at the corner; None: not known."""
        rim = geometry.rim
        woods = rim.side_wood, rim.lining_wood, geometry.plate_wood, geometry.binding_wood or rim.side_wood
        lost = [_lost(share, wood) for share, wood in zip(self.heat, woods)]
        of_rim = [eta for number, eta in enumerate(lost, 1) if number in SOURCES["rim"]]
        return lost[2], None if None in of_rim else float(sum(eta for eta in of_rim if eta is not None))

    def words(self) -> str:
        """One line for a list of assumptions."""
        said = (
            f"the joint is as stiff as its solid cross-section for tilt, shear, push inward and along the edge; the plate "
            f"bends as if clamped {1e3 * self.clamped:.1f} mm inside the side's middle"
        )
        if self.clipped > 0.001:
            said += f", up to {100 * self.clipped:.1f} % softer in some direction, where its springs cannot be negative"
        return said


def _lost(share: np.ndarray, wood: Wood) -> float | None:
    """Loss factor that a wood with shares (3,) of CHANNELS gives; None where not known."""
    if not share.any():
        return 0.0
    return float(share @ np.array([wood.loss_L, wood.loss_R, wood.loss_G], float)) if wood.losses_known else None


class JointTables(TypedDict):
    """What is kept on disk of a joint's solid: see solid_compliance."""

    solid: np.ndarray  # (3, 4, 4)
    heat: np.ndarray  # (4, 3)


@cache
def joint_tables(geometry: JointGeometry, fine: float = FINE) -> JointTables:
    """JointTables of a JointGeometry; kept on disk like kerf cells. fine: size of the boxes at the corner [m]."""
    name = f"joint-{cell_cache.key(geometry, source_hash('meshes.joint_section'), fine)}"
    tables = cell_cache.recall(name, _accept)
    if tables is None:
        solid, heat = solid_compliance(geometry, fine)
        tables = {"solid": solid, "heat": heat}
        cell_cache.keep(name, {"solid": solid.tolist(), "heat": heat.tolist()})
    return tables


def _accept(stored: dict) -> JointTables:
    """JointTables from a stored object; raises where it is not whole."""
    solid, heat = np.array(stored["solid"], float), np.array(stored["heat"], float)
    if solid.shape != (1 + len(SOURCES), 4, 4) or heat.shape != (4, len(CHANNELS)):
        raise ValueError("stored joint is not whole")
    if not (np.isfinite(solid).all() and np.isfinite(heat).all()):
        raise ValueError("stored joint has numbers that are not finite")
    return {"solid": solid, "heat": heat}


def to_corner(geometry: JointGeometry) -> np.ndarray:
    """(4, 4) loads at the plate's cut end from those at the mesh's corner."""
    move = np.eye(4)
    move[3, 2] = -(ends(geometry)[0] + geometry.outset)
    return move


@cache
def corner(geometry: JointGeometry, fine: float = FINE) -> Corner:
    """Corner of a JointGeometry, whatever its own angle of grain."""
    from meshes.joint_shell import shell_compliance  # it solves; most corners are read from the store

    found, heat, clipped, clamped, unsplit = [], [], [], [], []
    for degrees in CORNER_ANGLES:
        one = at_grain(geometry, np.radians(degrees))
        tables, move = joint_tables(without_losses(one), fine), to_corner(one)
        plate, rim = (move.T @ shell @ move for shell in shell_compliance(one, *ends(one)))
        unsplit.append(beyond(move.T @ tables["solid"] @ move, plate, rim))
        parts, change = split(*unsplit[-1])
        found.append(parts)
        heat.append(tables["heat"])
        clipped.append(change)
        in_plate = plate[3, 3] + parts[1, 3, 3]  # of the model, to the plate's cut end
        clamped.append(ends(one)[0] - in_plate * plate_bending(one))
    size, over = (np.array(each) for each in zip(*unsplit))
    compliance, heat = np.array(found).swapaxes(0, 1), np.mean(heat, axis=0)
    return Corner(compliance, heat, float(max(clipped)), float(np.mean(clamped)), (size, over))


def corner_between(size: np.ndarray, over: np.ndarray, heat: np.ndarray) -> Corner:
    """Corner from what beyond() gives at each angle, (angles, 4) and (angles, 3, 4, 4), and shares of heat: of a fit, say."""
    found = [split(*each) for each in zip(size, over)]
    compliance, clipped = np.array([parts for parts, _ in found]), max(change for _, change in found)
    return Corner(compliance.swapaxes(0, 1), heat, clipped, beyond=(size, over))


def without_losses(geometry: JointGeometry) -> JointGeometry:
    """The same of woods whose losses nobody knows: the solid does not ask for them."""
    quiet = lambda wood: wood and replace(wood, loss_L=None, loss_R=None, loss_G=None)
    rim = replace(geometry.rim, side_wood=quiet(geometry.rim.side_wood), lining_wood=quiet(geometry.rim.lining_wood))
    return replace(geometry, rim=rim, plate_wood=quiet(geometry.plate_wood), binding_wood=quiet(geometry.binding_wood))


def beyond(solid: np.ndarray, plate: np.ndarray, rim: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What a solid (3, 4, 4) yields beyond the shells (4, 4) of plate and rim, positive or not; it runs smoothly with every measure.

    The roots (4,) of the solid's own compliances, and over them (3, 4, 4): the glue line's, all that remains, and the rim's.
    """
    size = np.sqrt(np.diag(solid.sum(axis=0)))
    return size, np.array([solid[0], solid.sum(axis=0) - plate - rim, solid[2] - rim]) / np.outer(size, size)


def split(size: np.ndarray, over: np.ndarray) -> tuple[np.ndarray, float]:
    """(3, 4, 4) compliances of springs of glue line, plate and rim, from what beyond() gives; and the change made.

    The remainder loses its negative part; glue line and rim take of it what they store in the solid beyond their shells,
    the plate the rest, none of them less than nothing in any direction.
    """
    glue_over, remainder, rim_over = over
    whole = positive(remainder)
    glue = _share(whole, glue_over)
    of_rim = _share(whole - glue, rim_over)
    springs = np.array([glue, whole - glue - of_rim, of_rim]) * np.outer(size, size)
    return springs, float(np.abs(whole - remainder).max())


def positive(C: np.ndarray) -> np.ndarray:
    """The positive semi-definite matrix nearest to a symmetric one (..., n, n): negative eigenvalues set to zero."""
    values, vectors = np.linalg.eigh((C + C.swapaxes(-1, -2)) / 2)
    return (vectors * values.clip(0)[..., None, :]) @ vectors.swapaxes(-1, -2)


def _share(whole: np.ndarray, part: np.ndarray) -> np.ndarray:
    """The part of a positive semi-definite whole (n, n) with its share in every direction held between 0 and 1."""
    values, vectors = np.linalg.eigh(whole)
    kept = values > 1e-9 * values.max()
    root = vectors[:, kept] * np.sqrt(values[kept])  # whole = root root'
    back = np.linalg.pinv(root)
    shares, turn = np.linalg.eigh(back @ (part + part.T) @ back.T / 2)
    turned = root @ turn
    return (turned * shares.clip(0, 1)) @ turned.T
