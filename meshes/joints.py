"""The joints of top and back to the rim, as the sheet describes them: sections for the model, figures for the maker."""

from dataclasses import dataclass

import numpy as np

from fem.sections import RIGID_ROTATION, RIGID_TRANSLATION, Section, joint
from meshes.body import Body
from meshes.carving import edge_thickness
from meshes.joint_section import JointGeometry, around_outline, glue_area, side_behind_rebate, wood_behind_rebate
from meshes.linings import rim_cell
from meshes.outline import tangent_at

ANGLES = 3  # of grain to edge that stand for the whole outline
FINE = 0.7e-3  # m, boxes at the corner: compliance within 1 % of the whole corner's from that at .35 mm
STATIONS = 720  # places on the outline at which the angle is taken


@dataclass(frozen=True)
class Joint:
    """A joint round the body. Lengths in m; None where its geometry could not be computed."""

    section: Section  # family 'seam'
    words: str  # what was found, one line
    side_left: float | None = None  # thickness of the side behind the rebate
    wood_left: float | None = None  # side and lining behind it, kerfs averaged
    glue: float | None = None  # glued area per length of edge [m2/m]


def joint_of(body: Body, plate: str) -> Joint:
    """Joint of the plate 'top' or 'back'; rigid, and said so, where the solid cannot be made or solved."""
    loss = getattr(body, f"joint_{plate}").loss
    try:
        geometry = joint_geometry(body, plate)
        stiffness = around_outline(geometry, grain_angles(body, plate), FINE)
    except (ValueError, RuntimeError, np.linalg.LinAlgError) as error:
        return Joint(joint(RIGID_TRANSLATION, RIGID_ROTATION, loss), f"joint taken as rigid: {error}")
    return Joint(
        stiffness.section(loss),
        stiffness.words(),
        side_behind_rebate(geometry),
        wood_behind_rebate(geometry),
        glue_area(geometry),
    )


def joint_geometry(body: Body, plate: str) -> JointGeometry:
    """JointGeometry of the plate 'top' or 'back', its grain along the edge. ValueError where no wood is left."""
    panel, made, lining = (getattr(body, name) for name in (plate, f"joint_{plate}", f"lining_{plate}"))
    return JointGeometry(
        rim=rim_cell(lining, body.sides),
        plate_thickness=edge_thickness(body, plate),
        plate_wood=panel.wood,
        grain_angle=0.0,
        rebate_width=made.rebate_width,
        rebate_height=made.rebate_height,
        binding_wood=made.binding,
        lined=lining.kind != "none",
    )


def grain_angles(body: Body, plate: str, count: int = ANGLES) -> np.ndarray:
    """Angles [rad] between grain and edge, 0 to pi/2, that stand for equal lengths of the outline each; whole degrees.

    A joint with the grain to the left is the mirror image of one with the grain to the right.
    """
    s = (np.arange(STATIONS) + 0.5) / STATIONS * body.outline.perimeter
    grain = getattr(body, plate).grain_angle
    folded = np.arccos(np.abs(tangent_at(body.outline, s) @ [np.cos(grain), np.sin(grain)]).clip(0, 1))
    return np.radians(np.round(np.degrees(np.sort(folded).reshape(count, -1).mean(axis=1))))
