"""How far the joint of plate and rim yields beyond what the shell corner yields already.

Axes: t along the edge, a inward, b out of the plate; the corner (0, 0) is where the middle surfaces of side and plate
meet. One kerf period of the real cross-section is solid: side with its end cut by the binding rebate, binding, lining
with its kerfs, plate glued upon side and lining, all bonded without a gap. It carries a force or moment from the end
of a piece of plate to the end of a piece of side. The same pieces as shells, joined rigidly at the corner, carry the
same loads; the difference of the two compliances, carried back to the corner by statics, is the joint's. What the
lining's lower edge yields (stress needs some 2 mm to enter the lining) is found on a straight side and taken out.

Assumed: glue lines have no thickness; kerfs run through the whole height; a bevelled lining counts as rectangular;
nothing changes along the edge but the kerfs, so the joint cannot turn about a or b (ca and cb are rigid), for the
jumps kt, ka, kb already follow from one another along the edge. Couplings between the four motions are reported, not
used. In a direction in which the shell corner is as soft as the solid one or softer the joint is taken as rigid, and
said so: a plate glued onto a wide lining bends from within the lining's inner face, the shell's from the side's middle.
`span_excess` tells by how much the shell's plate is too long for that reason.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TypedDict

import numpy as np

from fem.sections import RIGID_ROTATION, RIGID_TRANSLATION, Section, joint
from meshes import cell_cache
from meshes.joint_geometry import JointGeometry
from meshes.joint_solid import (
    FINE,
    LOADS,
    edge_compliance,
    ends,
    in_side,
    lining_floor,
    plate_bending,
    shell_compliance,
    solid_compliance,
)
from meshes.source_hash import source_hash


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
class JointStiffness:
    """What a Section of family 'seam' needs, and what it was made from."""

    translations: tuple[float, float, float]  # kt, ka, kb [N/m per m]
    rotation: float  # ct, about the edge [N m/rad per m]
    compliance: np.ndarray  # (4, 4) solid minus shell at the corner, order LOADS; signed, couplings too
    solid: np.ndarray  # (4, 4) the solid corner alone, of the same pieces
    rigid: tuple[str, ...]  # directions whose compliance did not exceed the shell's: taken as rigid
    loss: float | None  # loss factor of the corner's wood under a moment; None: not known
    span_excess: float  # m, length of plate whose bending makes up for a shell corner that is softer than the solid one

    def section(self, loss: float | None = None) -> Section:
        """Section 'seam'; `loss` overrides the corner's own loss factor, None where neither is known gives 0."""
        own = self.loss if loss is None else loss
        return joint(self.translations, (self.rotation, RIGID_ROTATION, RIGID_ROTATION), own or 0.0)

    def words(self) -> str:
        """One line for a list of assumptions."""
        names = {"t": "sliding along the edge", "a": "inward", "b": "out of the plate", "turn": "rotation"}
        if not self.rigid:
            return "joint: yields in every direction beyond the shell corner"
        said = "joint taken as rigid"
        if len(self.rigid) < len(names):
            said += " in " + ", ".join(names[direction] for direction in self.rigid)
        if "turn" in self.rigid:
            said += f"; the model's plate bends as if it were {1e3 * self.span_excess:.1f} mm longer at this edge"
        return said


class JointTables(TypedDict):
    """What is kept on disk of a joint: compliances, order LOADS."""

    solid: np.ndarray  # (4, 4)
    loss: float | None
    shell: np.ndarray  # (4, 4)
    edge: np.ndarray  # (3, 3)


@cache
def joint_stiffness(geometry: JointGeometry, fine: float = FINE) -> JointStiffness:
    """JointStiffness of a JointGeometry; kept on disk like kerf cells. fine: size of the boxes at the corner [m]."""
    name = f"joint-{cell_cache.key(geometry, source_hash('meshes.joint_section'), fine)}"
    tables = cell_cache.recall(name, _accept)
    if tables is None:
        compliance, loss = solid_compliance(geometry, fine)
        edge = edge_compliance(geometry, fine)
        tables = {"solid": compliance, "loss": loss, "shell": shell_compliance(geometry), "edge": edge}
        cell_cache.keep(name, {key: v.tolist() if isinstance(v, np.ndarray) else v for key, v in tables.items()})
    A, _ = ends(geometry)
    at_edge = in_side(A, lining_floor(geometry))
    to_loads = np.eye(4)
    to_loads[3, 2] = -A  # loads at the plate's end from those at the corner
    solid = tables["solid"] - at_edge.T @ tables["edge"] @ at_edge
    beyond = to_loads.T @ (solid - tables["shell"]) @ to_loads
    excess = max(0.0, -beyond[3, 3] * plate_bending(geometry))
    return _stiff(beyond, to_loads.T @ solid @ to_loads, tables["loss"], excess)


def _accept(stored: dict) -> JointTables:
    """JointTables from a stored object; raises where it is not whole."""
    solid, shell, edge = (np.array(stored[key], float) for key in ("solid", "shell", "edge"))
    if [table.shape for table in (solid, shell, edge)] != [(4, 4), (4, 4), (3, 3)]:
        raise ValueError("stored joint is not whole")
    if not all(np.isfinite(table).all() for table in (solid, shell, edge)):
        raise ValueError("stored joint has numbers that are not finite")
    loss = None if stored["loss"] is None else float(stored["loss"])
    return {"solid": solid, "loss": loss, "shell": shell, "edge": edge}


def _stiff(compliance: np.ndarray, solid_corner: np.ndarray, loss: float | None, excess: float) -> JointStiffness:
    least = np.array([1 / RIGID_TRANSLATION] * 3 + [1 / RIGID_ROTATION])
    own = np.diag(compliance)
    kt, ka, kb, ct = (float(f) for f in 1 / np.maximum(own, least))
    rigid = tuple(name for name, c, limit in zip(LOADS, own, least) if c <= limit)
    return JointStiffness((kt, ka, kb), ct, compliance, solid_corner, rigid, loss, float(excess))


def around_outline(geometry: JointGeometry, angles: Sequence[float] | np.ndarray, fine: float = FINE) -> JointStiffness:
    """JointStiffness of a seam round the body: mean of the signed compliances over `angles` [rad] of grain to edge."""
    joints = [joint_stiffness(replace(geometry, grain_angle=float(angle)), fine) for angle in angles]
    losses = [one.loss for one in joints if one.loss is not None]
    return _stiff(
        np.mean([one.compliance for one in joints], axis=0),
        np.mean([one.solid for one in joints], axis=0),
        float(np.mean(losses)) if len(losses) == len(joints) else None,
        float(np.mean([one.span_excess for one in joints])),
    )
