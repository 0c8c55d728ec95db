"""What each part of a body would do by itself when the moisture of all wood changes by 1 %: free strains by region.

Every layer of a region is given with its own section, since layers of different woods pull against each other. Boards
are quarter-sawn, as everywhere: R across the grain in the plane, T through it. A lining's kerfs are in its section; the
wood between them moves as solid wood does.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fem.materials import Wood
from fem.mesh import ShellMesh, part_of
from fem.moisture import Movement, movement, strain_along, swelling_strain
from fem.sections import Layer, Section, difference, laminate
from meshes.body import Board, Body, WoodenPart, braces_of
from meshes.parts import _crosswise, neck, sections


def swelling(body: Body) -> dict[str, list[tuple[Section, np.ndarray]]]:
    """{region: [(Section, strain per 1 % of moisture)]} of every region of parts.sections(body) but the joints and the lands."""
    whole = sections(body)
    layers = {"sides": side_layers(body.sides)}
    for name in ("top", "back"):
        layers[name] = [(whole[name], strain(getattr(body, name).wood))]
    for name in ("bridge", "bridge_plate", "lining_top", "lining_back"):
        part = getattr(body, name)
        if name in whole and part.wood is not None:
            layers[name] = [(whole[name], strain(part.wood))]
    for brace in braces_of(body, "top") + braces_of(body, "back"):
        region = f"{brace.plate}_braces/{brace.name}"
        layers[region] = [(whole[region], strain(brace.wood, "beam"))]
    for patch in body.patches:
        layers[f"{patch.plate}/{patch.name}"] = [(whole[f"{patch.plate}/{patch.name}"], strain(patch.wood))]
    for number, bar in enumerate(body.side_bars, 1):
        layers[f"side_bars/{number}"] = [(whole[f"side_bars/{number}"], strain(bar.wood, "beam"))]
    return layers | _blocks(body, whole) | _neck(body, whole)


def land_swelling(body: Body, mesh: ShellMesh) -> dict[str, list[tuple[Section, np.ndarray]]]:
    """The same of the plates' lands, whose axes turn with the edge: strains (elements, 9)."""
    whole, layers = sections(body), {}
    for plate in ("top", "back"):
        m = movement(getattr(body, plate).wood)
        region = f"{plate}/land"
        layers[region] = [(whole[region], strain_along(mesh, region, m.along, m.radial))]
    return layers


def strain(wood: Wood, family: str = "shell", seen: str = "LR") -> np.ndarray:
    """Strain of a layer per 1 % of moisture. seen: which directions of the wood lie along the first and second axis."""
    m = movement(wood)
    by_letter = {"L": m.along, "R": m.radial, "T": m.tangential}
    return swelling_strain(family, *(by_letter[letter] for letter in seen))


def side_layers(sides: Sequence[Board]) -> list[tuple[Section, np.ndarray]]:
    """[(Section, strain)] of each layer of a side, outermost first."""
    layers, outer = [], sides[0].thickness / 2
    for panel in sides:
        across = _crosswise(panel.grain_angle - sides[0].grain_angle)
        layer = Layer(panel.wood, panel.thickness, outer - panel.thickness / 2, across)
        layers.append((laminate([layer]), strain(panel.wood, seen="RL" if across else "LR")))
        outer -= panel.thickness
    return layers


def _blocks(body: Body, whole: Mapping[str, Section]) -> dict[str, list[tuple[Section, np.ndarray]]]:
    """Blocks as parts.blocks has them: L and R in the plane of a footprint, or R and T where the grain runs through it."""
    layers = {}
    for name in ("neck_block", "tail_block"):
        block = getattr(body, name)
        for region in (r for r in whole if part_of(r) == name):
            on_plate = region.endswith(("/top", "/back"))
            through = block.grain == ("toward_top" if on_plate else "along_body")
            layers[region] = [(whole[region], strain(block.wood, seen="RT" if through else "LR"))]
    return layers


def _neck(body: Body, whole: Mapping[str, Section]) -> dict[str, list[tuple[Section, np.ndarray]]]:
    """A rod holds against the wood and does not swell."""
    if (n := body.neck) is None:
        return {}
    fretboard = laminate([Layer(n.fingerboard_wood, n.fingerboard_thickness, n.fingerboard_thickness / 2)])
    board = (fretboard, strain(n.fingerboard_wood))
    shaft = whole if n.rod is None else neck(replace(body, neck=replace(n, rod=replace(n.rod, modulus=0.0))))
    layers = {r: [(difference(shaft[r], fretboard), strain(n.wood)), board] for r in n.stretches}
    for region, wood, seen in (
        ("neck/head", n.wood, "LR"),
        ("neck/heel", n.wood, "LR"),
        ("neck/heel_side", n.wood, "RT"),
        ("neck/tongue", n.fingerboard_wood, "LR"),
    ):
        if region in whole:
            layers[region] = [(whole[region], strain(wood, seen=seen))]
    return layers


def movements(body: Body) -> dict[str, Movement]:
    """{name of a wood: Movement} of all woods that the body uses."""
    parts: list[WoodenPart | None] = [body.top, body.back, *body.sides, *body.braces, *body.patches, body.bridge]
    parts += [
        body.lining_top,
        body.lining_back,
        body.bridge_plate,
        body.neck_block,
        body.tail_block,
        *body.side_bars,
        body.neck,
    ]
    woods = [part.wood for part in parts if part is not None and part.wood is not None]
    woods += [body.neck.fingerboard_wood] if body.neck else []
    return {wood.name: movement(wood) for wood in woods}
