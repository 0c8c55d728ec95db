"""Parts before the box is closed: the open rim (sides, linings, blocks, side bars) and a loose braced plate.

They are the same pieces, regions and sections as in the closed box, so that a measure taken on the bench tests the
box's own model. Where a maker presses a rim is told here too.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from fem.mesh import ShellMesh, part_of
from fem.sections import Section
from meshes.body import Body, back_height, top_height
from meshes.build import DEFAULT_SIZE, _plate, _rim, _sides
from meshes.outline import point_at, waist_of, where_x
from meshes.pieces import Piece

GLUED_LATER = ("bridge", "neck_block", "tail_block")  # braces and bridge plate are on a loose plate
STEPS = 400  # places along the body among which bouts and waist are looked for


def mesh_open_rim(body: Body, size: float = DEFAULT_SIZE, times: float = 1.0) -> ShellMesh:
    """ShellMesh of the rim alone, edges as in mesh_body; named edges 'rim_top' and 'rim_back'."""
    return _alone(_sides(body, _rim(body, size, times), times * size), ())


def mesh_loose_plate(body: Body, plate: str, size: float = DEFAULT_SIZE) -> ShellMesh:
    """ShellMesh of the 'top' or 'back' with its braces and bridge plate, without bridge, before it is glued to the rim."""
    piece = _plate(body, plate, _rim(body, size), size)
    later = [region for region in piece.surfaces if part_of(region) in GLUED_LATER or region == f"{plate}/land"]
    return _alone(piece, later)


def _alone(piece: Piece, without: Sequence[str]) -> ShellMesh:
    surfaces = {region: s for region, s in piece.surfaces.items() if region not in without}
    return ShellMesh(piece.nodes, piece.triangles, piece.normal, surfaces, piece.lines, {}, piece.edges)


def sections_on(mesh: ShellMesh, sections: Mapping[str, Section]) -> dict[str, Section]:
    """{region: Section} of those sections whose region lies on the mesh."""
    regions = {*mesh.surfaces, *mesh.lines, *mesh.interface_springs}
    return {region: section for region, section in sections.items() if region in regions}


def pressed_places(body: Body) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """{name: (points of the treble side, of the bass side)}: (2, 3) [m] each, at the top edge and at the back edge.

    'lower bout' and 'upper bout' where the body is widest, 'waist' where it is narrowest between them; of an oval
    without a waist only 'widest place'.
    """
    x = np.linspace(0, body.outline.length, STEPS + 2)[1:-1]
    ends = [point_at(body.outline, where_x(body.outline, place)[[0, -1]]) for place in x]
    width = np.array([bass[1] - treble[1] for treble, bass in ends])
    waist = waist_of(body.outline)
    if waist is None:
        stations = {"widest place": int(np.argmax(width))}
    else:
        middle = int(np.searchsorted(x, waist[0]))
        lower, upper = int(np.argmax(width[:middle])), middle + int(np.argmax(width[middle:]))
        stations = {"lower bout": lower, "waist": lower + int(np.argmin(width[lower : upper + 1])), "upper bout": upper}
    return {name: (_both_edges(body, ends[at][0]), _both_edges(body, ends[at][1])) for name, at in stations.items()}


def block_corners(body: Body) -> np.ndarray:
    """(4, 3) [m]: the places of the top edge at the two ends of the neck block, then of the tail block."""
    length, corners = body.outline.length, []
    for block, x in ((body.neck_block, length), (body.tail_block, 0.0)):
        corners += [(x, side * block.width / 2) for side in (-1, 1)]
    x, y = np.array(corners).T
    return np.column_stack([x, y, top_height(body, x, y)])


def _both_edges(body: Body, point: np.ndarray) -> np.ndarray:
    z = [float(height(body, *point)) for height in (top_height, back_height)]
    return np.column_stack([np.tile(point, (2, 1)), z])
