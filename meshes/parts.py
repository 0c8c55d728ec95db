"""One function per kind of part: from the maker's description to the sections of its regions on the mesh."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fem.materials import Wood
from fem.sections import Layer, Section, beam, difference, laminate, scaled
from fem.solid import completed
from meshes.block_root import EDGES, Yielding, behind_block, edge_section, roots_of, strip_width, yielding
from meshes.body import Block, Board, Body, Neck, Rod, back_height, top_height
from meshes.carving import patch_middle, thickness_here
from meshes.joints import joint_of
from meshes.linings import lining_section

HEEL_FILL = 0.5  # common practice, no source
HALF_ROUND = 0.66 ** (1 / 3)  # of the thickness: a rectangle as stiff in bending as half an ellipse of that depth

# the rim, as a maker means it: all that stands between the two plates; used for 'heat turned in the rim'
RIM = (
    "sides",
    "lining_top",
    "lining_back",
    "joint_top",
    "joint_back",
    "neck_block",
    "tail_block",
    "side_bars",
)


def sections(body: Body) -> dict[str, Section]:
    """{region: Section} for every region of build.mesh_body(body), and only for those."""
    return {
        **plates(body),
        **rim(body),
        **blocks(body),
        **braces(body),
        **bridge(body),
        **patches(body),
        **neck(body),
    }


def plates(body: Body) -> dict[str, Section]:
    """Top and back about their middle surfaces."""
    return {
        name: laminate([Layer(panel.wood, panel.thickness)]) for name, panel in (("top", body.top), ("back", body.back))
    }


def rim(body: Body) -> dict[str, Section]:
    """Sides about the middle of their outermost layer, linings, joints and the bars on the sides."""
    sections_of_rim = {
        "sides": side_laminate(body.sides),
        "lining_top": lining_section(body.lining_top, body.sides),
        "lining_back": lining_section(body.lining_back, body.sides),
        **joint_of(body, "top").sections,
        **joint_of(body, "back").sections,
    }
    lift = sum(panel.thickness for panel in body.sides) - body.sides[0].thickness / 2
    for number, bar in enumerate(body.side_bars, 1):
        sections_of_rim[f"side_bars/{number}"] = beam(bar.wood, bar.width, bar.thickness, lift)
    return sections_of_rim


def side_laminate(sides: Sequence[Board]) -> Section:
    """One or more layers, outermost first; the normal points outward."""
    layers, outer = [], sides[0].thickness / 2
    for panel in sides:
        across = _crosswise(panel.grain_angle - sides[0].grain_angle)
        layers.append(Layer(panel.wood, panel.thickness, outer - panel.thickness / 2, across))
        outer -= panel.thickness
    return laminate(layers)


def _crosswise(angle: float) -> bool:
    """Whether a layer's grain lies square to the outer layer's [rad]. ValueError for anything between."""
    quarters = angle / (np.pi / 2)
    if abs(quarters - round(quarters)) > 1e-3:
        raise ValueError(
            f"sides.inner_grain_deg lies {np.degrees(angle):.0f} degrees off the outer layer's grain; "
            "expected 0 (the same way) or 90 (square to it)"
        )
    return round(quarters) % 2 == 1


def blocks(body: Body) -> dict[str, Section]:
    """The blocks as layers, softer along their edges on the side."""
    edges = (block_edges(body, name, yielding(roots_of(body, name))) for name in ("neck_block", "tail_block"))
    return {**block_layers(body), **dict(pair for each in edges for pair in each.items())}


def block_layers(body: Body) -> dict[str, Section]:
    """A block as a thick eccentric layer on each face it is glued to, but for its edges on the side.

    Its mass sits on the side.

    Against a solid block (tests/test_blocks.py) the layers yield .95 to 1.35 times as much to the couple of the neck. Ten
    times as stiff a block moves the first modes of a box without neck by 1.3 % at most, the second mode with the neck, in
    which the neck block holds 7 % of the energy, by 7 %. The cut for the neck takes its share of the footprints.
    """
    layers = {}
    inner_face = body.sides[0].thickness / 2 - body.side_thickness
    for name, x in (("neck_block", body.outline.length), ("tail_block", 0.0)):
        block = getattr(body, name)
        depth = float(top_height(body, x, 0.0) - back_height(body, x, 0.0))
        on_side, on_plate = _block_woods(block)
        _, run = behind_block(body, name)  # longer than the block is wide where the rim is bent there
        layers[f"{name}/sides"] = scaled(_block_on_side(block, on_side, inner_face), mass=block.width / run)
        cut = block.cut_width * block.cut_depth / (block.width * block.thickness)
        for plate in ("top", "back"):
            if plate == "top" or block.height > 0.9 * depth:
                panel = getattr(body, plate)
                layer = Layer(on_plate, block.height / 2, -panel.thickness / 2 - block.height / 4)
                layers[f"{name}/{plate}"] = scaled(laminate([layer]), 1 - cut, mass=0.0)
    return layers


def block_edges(body: Body, name: str, found: Yielding) -> dict[str, Section]:
    """The strips along the edges of 'neck_block' or 'tail_block' on the side, which yield as `found`: see block_root."""
    middle, width = block_layers(body)[f"{name}/sides"], strip_width(body, name)
    told = zip(EDGES, roots_of(body, name), found.bent, found.slid.tolist())
    return {f"{name}/{edge}": edge_section(root, middle, width, bent, slid) for edge, root, bent, slid in told}


def _block_on_side(block: Block, wood: Wood, inner_face: float) -> Section:
    """The block behind the side: whole where nothing is cut, thinner behind the cut for the neck, without the hole."""

    def layer(thickness: float) -> Section:
        return laminate([Layer(wood, thickness, inner_face - block.thickness + thickness / 2)])

    face = block.width * block.height
    cut, hole = block.cut_width * block.cut_height / face, np.pi * block.hole**2 / 4 / face
    whole = scaled(layer(block.thickness), 1 - cut - hole, 1 - cut - hole)
    return together(whole, scaled(layer(block.thickness - block.cut_depth), cut, cut)) if cut else whole


def together(one: Section, other: Section) -> Section:
    """Section of two that lie on one footprint."""
    return difference(one, scaled(other, -1.0, -1.0))


def _block_woods(block: Block) -> tuple[Wood, Wood]:
    """The block's wood as seen on the side and on the plates, by the direction of its grain (see build.py for axis 1)."""
    wood = completed(block.wood)
    assert wood.E_T is not None and wood.nu_RT is not None
    through = replace(
        wood,
        E_L=wood.E_R,
        E_R=wood.E_T,
        G_LR=wood.G_RT,
        G_LT=wood.G_LR,
        G_RT=wood.G_LT,
        nu_LR=wood.nu_RT,
        loss_L=wood.loss_R,
    )
    if block.grain == "toward_top":
        return wood, through
    if block.grain == "along_body":
        return through, wood
    return wood, wood


def braces(body: Body) -> dict[str, Section]:
    """Beams on the inside of top and back."""
    return {
        f"{brace.plate}_braces/{brace.name}": beam(
            brace.wood, brace.width, brace.height, getattr(body, brace.plate).thickness / 2, brace.form
        )
        for brace in body.braces
    }


def bridge(body: Body) -> dict[str, Section]:
    """Bridge outside, bridge plate inside, as layers of the top over their footprints."""
    half = thickness_here(body, "top", body.bridge.centre) / 2
    layers = {"bridge": laminate([Layer(body.bridge.wood, body.bridge.thickness, half + body.bridge.thickness / 2)])}
    if (plate := body.bridge_plate) is not None:
        layers["bridge_plate"] = laminate([Layer(plate.wood, plate.thickness, -half - plate.thickness / 2)])
    return layers


def patches(body: Body) -> dict[str, Section]:
    """Rings and strips inside a plate, as layers of it over their footprints."""
    sections_of_patches = {}
    for patch in body.patches:
        half = thickness_here(body, patch.plate, patch_middle(body, patch)) / 2
        layer = Layer(patch.wood, patch.thickness, -half - patch.thickness / 2)
        sections_of_patches[f"{patch.plate}/{patch.name}"] = laminate([layer])
    return sections_of_patches


def neck(body: Body) -> dict[str, Section]:
    """Neck and fingerboard as a strip in the plane of the top; the head as a strip that weighs what the maker says.

    The heel is a thick eccentric layer, as a block is, under the strip's root and outside the side; its mass, tapered,
    sits on the side, with the tenon that fills the neck block's cut. The tongue is fingerboard on the top.
    """
    if (n := body.neck) is None:
        return {}
    middles = {region: n.at(sum(ends) / 2) for region, ends in n.stretches.items()}
    strips = {region: _shaft(n, float(width), float(thickness)) for region, (width, thickness) in middles.items()}
    width, at_nut = n.at(1.0)
    head, areal = laminate([_half_round(n, float(at_nut))]), n.head_mass / (n.head_length * float(width))
    strips["neck/head"] = scaled(head, mass=areal / head.mass["m0"])
    thickness = HALF_ROUND * n.thickness
    if n.heel_depth:
        depth = (n.heel_depth - thickness) / 2
        under = laminate([Layer(n.wood, depth, -thickness - depth / 2)])
        strips |= {"neck/heel": scaled(under, mass=0.0), "neck/heel_side": _heel_on_side(body)}
    if n.tongue:
        above = body.top.thickness / 2 + n.fingerboard_thickness / 2
        strips["neck/tongue"] = laminate([Layer(n.fingerboard_wood, n.fingerboard_thickness, above)])
    return strips


def _half_round(n: Neck, thickness: float) -> Layer:
    """The shaft's wood as a layer below the strip, as stiff in bending and as heavy as half an ellipse of that depth."""
    wood = replace(n.wood, density=n.wood.density * np.pi / 4 / HALF_ROUND)  # its area, hence its weight
    return Layer(wood, HALF_ROUND * thickness, -HALF_ROUND * thickness / 2)


def _shaft(n: Neck, width: float, thickness: float) -> Section:
    """Shaft, fingerboard and rod as a strip of a width [m]."""
    board = Layer(n.fingerboard_wood, n.fingerboard_thickness, n.fingerboard_thickness / 2)
    strip = laminate([_half_round(n, thickness), board])
    return strip if n.rod is None else with_rod(strip, n.rod, n.wood, width)


def with_rod(strip: Section, rod: Rod, wood: Wood, width: float) -> Section:
    """The strip of a width [m] with a rod in the place of some of its wood: EA, ES and EI along it, and its mass.

    A rod that slides in its slot takes no part in the strip's stretching: it bends about its own middle alone.
    """
    z, share = -rod.depth, rod.area / (width * rod.height)
    slot = scaled(laminate([Layer(wood, rod.height, z)]), share, share)
    left = difference(strip, slot)
    A, A2 = rod.area / width, rod.second_moment / width
    held = float(rod.glued)
    stiffness = {"A11": held * A, "B11": held * z * A, "D11": A2 + held * z**2 * A}
    mass = {"m0": A, "m1": z * A, "m2": A2 + z**2 * A}
    add = lambda kinds, more, factor: kinds | {kind: kinds[kind] + factor * f for kind, f in more.items()}
    return replace(left, stiffness=add(left.stiffness, stiffness, rod.modulus), mass=add(left.mass, mass, rod.density))


def _heel_on_side(body: Body) -> Section:
    """Heel outside the side, its grain along the neck, square to the side; and the tenon in the block's cut."""
    assert body.neck is not None
    n, block, half = body.neck, body.neck_block, body.sides[0].thickness / 2
    _, through = _block_woods(replace(block, wood=n.wood, grain="toward_top"))
    face, volume = n.width * n.heel_depth, heel_volume(n)
    heel = laminate([Layer(through, n.heel_length, half + n.heel_length / 2)])
    heel = scaled(heel, mass=volume / (face * n.heel_length))
    if not block.cut_volume:
        return heel
    share = block.cut_volume / (face * block.cut_depth)
    tenon = laminate([Layer(through, block.cut_depth, half - body.side_thickness - block.cut_depth / 2)])
    return together(heel, scaled(tenon, min(share, 1.0), share))


def heel_volume(neck: Neck) -> float:
    """Wood of the heel below the shaft [m3]; HEEL_FILL of its box, for it tapers in length and width."""
    return HEEL_FILL * neck.width * neck.heel_length * max(0.0, neck.heel_depth - neck.thickness)
