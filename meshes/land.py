"""The land: what a plate has more, on the strip along its edge, to be as stiff there as the solid corner."""

from fem.materials import Wood
from fem.sections import Layer, Section, laminate
from meshes.joint_geometry import STIFFER


def land_section(wood: Wood, thickness: float) -> Section:
    """What a plate has more on its land, axis 1 along the edge: bending across the edge, transverse shear, sliding along it.

    STIFFER - 1 times what the plate has in its stiffest direction; nothing in bending along the edge, no mass.
    """
    more = STIFFER - 1
    whole = laminate([Layer(wood, thickness)]).stiffness
    shear = more * max(whole["S44"], whole["S55"])
    stiffness = {"D22": more * whole["D11"], "S44": shear, "S55": shear, "A66": more * whole["A66"]}
    if wood.loss_L is None or wood.loss_G is None or not wood.losses_known:
        return Section("shell", stiffness, {}, None)
    losses = {"along": {"D22": wood.loss_L * stiffness["D22"]}}
    losses["shear"] = {kind: wood.loss_G * stiffness[kind] for kind in ("S44", "S55", "A66")}
    return Section("shell", stiffness, {}, losses)
