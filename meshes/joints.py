"""The joints of top and back to the rim, as the sheet describes them: sections for the model, figures for the maker."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fem import sections
from fem.sections import Section, scaled
from meshes.body import Body
from meshes.carving import edge_thickness
from meshes.joint_section import Corner, JointGeometry, corner, glue_area, side_behind_rebate, wood_behind_rebate
from meshes.joint_solid import FINE
from meshes.land import land_section
from meshes.linings import rim_cell


@dataclass(frozen=True)
class Joint:
    """A joint round the body. Lengths in m; None where its geometry could not be computed."""

    sections: Mapping[str, Section]  # {region: Section}: the land and the springs
    words: str  # what was found, one line
    corner: Corner | None = None
    side_left: float | None = None  # thickness of the side behind the rebate
    wood_left: float | None = None  # side and lining behind it, kerfs averaged
    glue: float | None = None  # glued area per length of edge [m2/m]


def joint_of(body: Body, plate: str) -> Joint:
    """Joint of the plate 'top' or 'back'; rigid, and said so, where the solid cannot be made or solved."""
    try:
        geometry = joint_geometry(body, plate)
        found = corner(geometry, FINE)
    except (ValueError, RuntimeError, np.linalg.LinAlgError) as error:
        return Joint(joint_sections(body, plate, None), f"joint taken as rigid: {error}")
    return Joint(
        joint_sections(body, plate, found),
        found.words(),
        found,
        side_behind_rebate(geometry),
        wood_behind_rebate(geometry),
        glue_area(geometry),
    )


def joint_sections(body: Body, plate: str, found: Corner | None) -> dict[str, Section]:
    """{region: Section} of a joint with a Corner; None: rigid, the plate as it is. At the blocks the joint is rigid.

    The glue line, the plate's and the rim's wood lie side by side, in the parts that they belong to.
    """
    loss = getattr(body, f"joint_{plate}").loss
    rigid, nothing = sections.joint(loss=loss), Section("interface", {}, {}, {})
    land = land_section(getattr(body, plate).wood, edge_thickness(body, plate))
    if found is None:
        land, glue, plate_wood, rim_wood = scaled(land, 0.0), rigid, nothing, nothing
    else:
        glue, *wood = found.stiffness()
        of_plate, of_rim = found.losses(joint_geometry(body, plate))
        about = {kind: rigid.stiffness[kind] for kind in ("ca", "cb")}
        glue = sections.corner(glue, loss, "joint")
        glue = Section("interface", glue.stiffness | about, {}, glue.losses)
        plate_wood, rim_wood = (sections.corner(k, eta, "corner") for k, eta in zip(wood, (of_plate, of_rim)))
    return {
        f"{plate}/land": land,
        f"joint_{plate}": glue,
        f"joint_{plate}/blocks": rigid,
        f"{plate}/corner": plate_wood,
        f"sides/corner_{plate}": rim_wood,
    }


def joint_geometry(body: Body, plate: str) -> JointGeometry:
    """JointGeometry of the plate 'top' or 'back', its grain along the edge. ValueError where no wood is left."""
    panel, made, lining = (getattr(body, name) for name in (plate, f"joint_{plate}", f"lining_{plate}"))
    return JointGeometry(
        rim=replace(rim_cell(lining, body.sides), bevel_width=None, bevel_height=None),
        plate_thickness=edge_thickness(body, plate),
        plate_wood=panel.wood,
        grain_angle=0.0,
        rebate_width=made.rebate_width,
        rebate_height=made.rebate_height,
        binding_wood=made.binding,
        lined=lining.kind != "none",
        outset=(body.side_thickness - body.sides[0].thickness) / 2,
    )
