"""Cross-section of the joint of a plate to the rim, as the solid and the shells of it are made from."""

from dataclasses import dataclass, replace

import numpy as np

from fem.materials import Wood
from meshes.kerf_cell import KerfCell

LAND = 0.012  # m inward from the mesh's corner over which the plate is stiffer: wider than nearly all linings
# times the plate's stiffest direction in bending across the edge, transverse shear and sliding, over the land
STIFFER = 10
LOADS = ("t", "a", "b", "turn")  # forces [N/m] along t, a, b and the moment about t [N], per length of edge


@dataclass(frozen=True)
class JointGeometry:
    """Cross-section of a plate-to-rim joint; SI."""

    rim: KerfCell  # side and lining
    plate_thickness: float  # m
    plate_wood: Wood  # L and R in the plate, T through it
    grain_angle: float  # rad, from the edge to the plate's grain: 0 at the waist, pi/2 at the tail
    rebate_width: float = 0.0  # m, inward from the side's outer face
    rebate_height: float = 0.0  # m, down from the plate's outer face
    binding_wood: Wood | None = None  # fills the rebate; None: left open
    lined: bool = True  # False: the side alone, no lining
    outset: float = 0.0  # m, of the mesh's corner outside the side's middle: it is the outer layer's middle

    def __post_init__(self) -> None:
        deep = self.rim.side_thickness + (self.rim.lining_width if self.lined else 0.0)
        limits = {
            "plate_thickness": (1e-4, 0.02),
            "rebate_width": (0.0, 0.8 * deep),
            "rebate_height": (0.0, self.plate_thickness + 0.8 * self.rim.lining_height),
        }
        for name, (low, high) in limits.items():
            if not low <= getattr(self, name) <= high:
                raise ValueError(
                    f"joint: {name} = {getattr(self, name) * 1e3:g} mm; expected between {low * 1e3:g} and "
                    f"{high * 1e3:.3g} mm" + (" (the rebate must leave wood behind it)" if "rebate" in name else "")
                )
        if not np.isfinite(self.grain_angle):
            raise ValueError(f"joint: grain_angle = {self.grain_angle}; expected a number of radians")

    @property
    def rebated(self) -> bool:
        return self.rebate_width > 0 and self.rebate_height > 0


def at_grain(geometry: JointGeometry, angle: float) -> JointGeometry:
    """The same with the plate's grain at an angle [rad] to the edge."""
    return replace(geometry, grain_angle=float(angle))
