"""One function per kind of part: from the maker's description to the sections of its regions on the mesh."""

from dataclasses import replace

from fem.sections import Layer, beam, joint, laminate, scaled
from meshes.body import back_height, top_height
from meshes.linings import lining_section

HALF_ROUND = 0.66 ** (
    1 / 3
)  # of the thickness: a rectangle as stiff in bending as a half-elliptical neck of that depth

# the rim, as a maker means it: all that stands between the two plates; used for 'heat turned in the rim'
RIM = (
    "sides", "lining_top", "lining_back", "joint_top", "joint_back", "neck_block", "tail_block", "side_bars",
)  # fmt: skip


def sections(body):
    """{region: Section} for every region of build.mesh_body(body), and only for those."""
    return {
        **plates(body),
        **rim(body),
        **blocks(body),
        **braces(body),
        **bridge(body),
        **neck(body),
    }


def plates(body):
    """Top and back about their middle surfaces."""
    return {
        name: laminate([Layer(board.wood, board.thickness)]) for name, board in (("top", body.top), ("back", body.back))
    }


def rim(body):
    """Sides about the middle of their outermost layer, linings, joints and the bars on the sides."""
    found = {
        "sides": side_laminate(body.sides),
        "lining_top": lining_section(body.lining_top, body.sides),
        "lining_back": lining_section(body.lining_back, body.sides),
        "joint_top": joint(),
        "joint_back": joint(),
    }
    lift = sum(board.thickness for board in body.sides) - body.sides[0].thickness / 2
    for number, bar in enumerate(body.side_bars, 1):
        found[f"side_bars/{number}"] = beam(bar.wood, bar.width, bar.thickness, lift)
    return found


def side_laminate(sides):
    """One or more layers, outermost first; the normal points outward."""
    layers, outer = [], sides[0].thickness / 2
    for board in sides:
        layers.append(Layer(board.wood, board.thickness, outer - board.thickness / 2))
        outer -= board.thickness
    return laminate(layers)


def blocks(body):
    """A block as a thick eccentric layer on each face it is glued to; its mass sits on the side.

    A block is so much stiffer than what it holds that only this matters: its footprints move as one rigid body.
    """
    found = {}
    inner_face = body.sides[0].thickness / 2 - body.side_thickness
    for name, x in (("neck_block", body.outline.length), ("tail_block", 0.0)):
        block = getattr(body, name)
        depth = float(top_height(body, x, 0.0) - back_height(body, x, 0.0))
        on_side, on_plate = _block_woods(block)
        found[f"{name}/sides"] = laminate([Layer(on_side, block.thickness, inner_face - block.thickness / 2)])
        for plate in ("top", "back"):
            if plate == "top" or block.height > 0.9 * depth:
                board = getattr(body, plate)
                layer = Layer(on_plate, block.height / 2, -board.thickness / 2 - block.height / 4)
                found[f"{name}/{plate}"] = scaled(laminate([layer]), mass=0.0)
    return found


def _block_woods(block):
    """The block's wood as seen on the side and on the plates, by the direction of its grain (see build.py for axis 1)."""
    wood = block.wood
    through = replace(
        wood, E_L=wood.E_R, E_R=wood.E_T or wood.E_R, G_LR=wood.G_RT, G_LT=wood.G_LR, G_RT=wood.G_LT, nu_LR=0.3
    )
    if block.grain == "toward_top":
        return wood, through
    if block.grain == "along_body":
        return through, wood
    return wood, wood


def braces(body):
    """Beams on the inside of top and back."""
    return {
        f"{brace.plate}_braces/{brace.name}": beam(
            brace.wood, brace.width, brace.height, getattr(body, brace.plate).thickness / 2
        )
        for brace in body.braces
    }


def bridge(body):
    """Bridge outside, bridge plate inside, as layers of the top over their footprints."""
    half = body.top.thickness / 2
    found = {"bridge": laminate([Layer(body.bridge.wood, body.bridge.thickness, half + body.bridge.thickness / 2)])}
    if (plate := body.bridge_plate) is not None:
        found["bridge_plate"] = laminate([Layer(plate.wood, plate.thickness, -half - plate.thickness / 2)])
    return found


def neck(body):
    """Neck and fingerboard as a strip in the plane of the top; the head as a strip that weighs what the maker says."""
    if (n := body.neck) is None:
        return {}
    thickness = HALF_ROUND * n.thickness
    shaft = Layer(n.wood, thickness, -thickness / 2)
    board = Layer(n.fingerboard_wood, n.fingerboard_thickness, n.fingerboard_thickness / 2)
    head = laminate([shaft])
    areal = n.head_mass / (n.head_length * n.width)
    return {"neck": laminate([shaft, board]), "neck/head": scaled(head, mass=areal / head.mass["m0"])}
