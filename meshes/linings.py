"""One function per kind of lining: what it adds to the side it is glued to, as a shell section.

A lining is a strip of the side: its own terms are the laminate 'side + lining' minus the side alone, about the middle
surface of the side's outermost layer, the normal pointing outward. The strip's height is in the mesh.
"""

from fem.materials import lookup
from fem.sections import Layer, Section, laminate, shifted
from meshes.kerf_cell import KerfCell, lining_terms


def kerfed(lining, sides, kerf_side="inside"):
    """Saw cuts open to the inside, the uncut web glued to the side: homogenised from one kerf period in solid elements."""
    thickness = sum(board.thickness for board in sides)
    terms = lining_terms(
        KerfCell(
            side_thickness=thickness,
            side_wood=sides[0].wood,
            lining_width=lining.width,
            lining_height=lining.height,
            lining_wood=lining.wood,
            kerf_spacing=lining.kerf_spacing,
            kerf_width=lining.kerf_width,
            web=lining.web,
            kerf_side=kerf_side,
        )
    )
    about_middle = Section("shell", _outward(terms.stiffness), _outward(terms.mass), _each(terms.losses, _outward))
    return shifted(about_middle, sides[0].thickness / 2 - thickness / 2)


def reversed_kerfed(lining, sides):
    """Saw cuts face the side, the uncut web toward the inside."""
    return kerfed(lining, sides, kerf_side="side")


def solid_laminated(lining, sides):
    """Bent laminations glued to each other and to the side, grain along the rim."""
    inner_face = sides[0].thickness / 2 - sum(board.thickness for board in sides)
    return laminate([Layer(lining.wood, lining.width, inner_face - lining.width / 2)])


def no_lining(lining, sides):
    """Nothing glued to the side."""
    return laminate([])


LININGS = {
    "kerfed": kerfed,
    "reversed_kerfed": reversed_kerfed,
    "solid_laminated": solid_laminated,
    "none": no_lining,
}


def lining_section(lining, sides):
    """Section of what a Lining adds to sides (tuple of Boards, outermost first). ValueError for an unknown kind."""
    return lookup(lining.kind, LININGS, "kind of lining")(lining, sides)


def _outward(kinds):
    """Terms counted with z toward the inside, for a normal that points outward: first moments change sign."""
    return {kind: -f if kind.startswith("B") or kind == "m1" else f for kind, f in kinds.items()}


def _each(losses, change):
    return losses and {channel: change(kinds) for channel, kinds in losses.items()}
