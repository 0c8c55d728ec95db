"""One function per kind of lining: what it adds to the side it is glued to, as a shell section.

A lining is a strip of the side: its own terms are the laminate 'side + lining' minus the side alone, about the middle
surface of the side's outermost layer, the normal pointing outward. The strip's height is in the mesh.

Behind a kerfed lining a doubled side counts as one board with the mean constants of its layers (`side_wood`). What the
lining adds is counted beyond that same board, so the board matters only for how stress enters the web between two
cuts: from one extreme to the other, outer wood alone or inner wood alone, the added A, B, D move by .7 % at most and the
transverse shear by 15 % where the layers are rosewood and mahogany. A solid lining adds the same to any side.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fem.materials import Wood, isotropic, lookup, turned
from fem.plywood import homogenised
from fem.sections import Layer, Section, laminate, shifted
from fem.solid import completed
from meshes.body import Board, Lining
from meshes.kerf_cell import KerfCell, LiningTerms, lining_terms, solid_lining_laminate

PERIOD = 0.008  # m: a lining without kerfs has no period; its cell is this long
GLUE_NU = 0.35  # Poisson's ratio of glue, from memory; only its shear modulus matters


def kerfed(lining: Lining, sides: Sequence[Board], kerf_side: str = "inside") -> Section:
    """Saw cuts open to the inside, the uncut web glued to the side: homogenised from one kerf period in solid elements."""
    return _about_outer_layer(lining_terms(rim_cell(lining, sides, kerf_side)), sides)


def reversed_kerfed(lining: Lining, sides: Sequence[Board]) -> Section:
    """Saw cuts face the side, the uncut web toward the inside."""
    return kerfed(lining, sides, kerf_side="side")


def solid_laminated(lining: Lining, sides: Sequence[Board]) -> Section:
    """Bent laminations glued to each other and to the side, grain along the rim.

    Glue lines are part of the laminations' thickness and weigh what wood would; in a bevelled lining they are left out.
    """
    if lining.bevel_width is not None:
        return _about_outer_layer(lining_terms(rim_cell(lining, sides)), sides)
    assert lining.wood is not None
    if not lining.glue_line:
        inner_face = sides[0].thickness / 2 - _thickness(sides)
        return laminate([Layer(lining.wood, lining.width, inner_face - lining.width / 2)])
    each = lining.width / lining.laminations - lining.glue_line
    glue = isotropic("glue", 2 * (1 + GLUE_NU) * lining.glue_shear, GLUE_NU, lining.wood.density, lining.wood.loss_G)
    terms = solid_lining_laminate(
        side_wood(sides), _thickness(sides), lining.wood, lining.laminations, each, (glue, lining.glue_line)
    )
    return _about_outer_layer(terms, sides)


def no_lining(lining: Lining, sides: Sequence[Board]) -> Section:
    """Nothing glued to the side."""
    return laminate([])


LININGS = {
    "kerfed": kerfed,
    "reversed_kerfed": reversed_kerfed,
    "solid_laminated": solid_laminated,
    "none": no_lining,
}


def lining_section(lining: Lining, sides: Sequence[Board]) -> Section:
    """Section of what a Lining adds to sides (tuple of Boards, outermost first). ValueError for an unknown kind."""
    return lookup(lining.kind, LININGS, "kind of lining")(lining, sides)


def rim_cell(lining: Lining, sides: Sequence[Board], kerf_side: str | None = None) -> KerfCell:
    """KerfCell of side and lining. Of 'none' the lining is a stand-in, for the joint's solid of a side alone."""
    kerf_side = kerf_side or ("side" if lining.kind == "reversed_kerfed" else "inside")
    if lining.kind == "none":
        return KerfCell(
            _thickness(sides), side_wood(sides), _thickness(sides), 0.015, sides[0].wood, PERIOD, 0.0, _thickness(sides)
        )
    assert lining.wood is not None
    cut = lining.kind in ("kerfed", "reversed_kerfed")
    return KerfCell(
        side_thickness=_thickness(sides),
        side_wood=side_wood(sides),
        lining_width=lining.width,
        lining_height=lining.height,
        lining_wood=lining.wood,
        kerf_spacing=lining.kerf_spacing if cut else PERIOD,
        kerf_width=lining.kerf_width if cut else 0.0,
        web=lining.web if cut else lining.width,
        kerf_side=kerf_side,
        bevel_width=lining.bevel_width,
        bevel_height=lining.bevel_height,
    )


def side_wood(sides: Sequence[Board]) -> Wood:
    """The side as one board, L along the rim: grain at an angle counts as along or square, whichever is nearer.

    Layers are averaged by thickness in plane, as springs in a row through the side (see fem.plywood).
    """
    woods = [turned(panel.wood) if _square(panel) else panel.wood for panel in sides]
    if all(wood == woods[0] for wood in woods):
        return woods[0]
    halves = [(completed(wood), panel.thickness / 2, 0) for wood, panel in zip(woods, sides)]
    panel = homogenised(" + ".join(wood.name for wood in woods), halves + halves[::-1], bending=False)
    known = all(wood.losses_known for wood in woods)
    return panel if known else replace(panel, loss_L=None, loss_R=None, loss_G=None)


def _square(panel: Board) -> bool:
    """Whether a side layer's grain lies nearer to square to the rim than along it."""
    return abs(np.sin(panel.grain_angle)) > np.sqrt(0.5)


def _thickness(sides: Sequence[Board]) -> float:
    return sum(panel.thickness for panel in sides)


def _about_outer_layer(terms: LiningTerms, sides: Sequence[Board]) -> Section:
    """Section of LiningTerms, about the middle of the outermost layer, the normal outward."""
    about_middle = Section("shell", outward(terms.stiffness), outward(terms.mass), _each(terms.losses, outward))
    return shifted(about_middle, sides[0].thickness / 2 - _thickness(sides) / 2)


def outward(kinds: Mapping[str, float]) -> dict[str, float]:
    """Terms counted with z toward the inside, for a normal that points outward: first moments change sign."""
    return {kind: -f if kind.startswith("B") or kind == "m1" else f for kind, f in kinds.items()}


def _each(
    losses: Mapping[str, Mapping[str, float]] | None, change: Callable[[Mapping[str, float]], dict[str, float]]
) -> dict[str, dict[str, float]] | None:
    return None if losses is None else {channel: change(kinds) for channel, kinds in losses.items()}
