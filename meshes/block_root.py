"""How far a block yields where the rim enters it: the strip along each of its upright edges.

A thick layer takes up the rim's forces and moments at its very edge. In a solid block they spread from the thin side, and from
the linings that end there, into wood that lies across them; there side and block yield more, as if some 4 mm more of a bare side
stood free, and 10 to 30 mm of a lined one. The plan of rim and half a block is solved as a solid that does not change with height
(axes s along the rim, n outward; the reference line n = 0 is the middle of the side's outermost layer): a stub of the rim is pulled, bent
and pushed upward at its end, the block held in its middle. What it yields beyond the laminates of stub and block
is given to the block's outermost MARGIN, where the layer is made softer along the rim. Nothing else changes there.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from fem.materials import Wood
from fem.sections import Layer, Section, laminate
from fem.solid import graded, rectangles, solid, solid_stiffness, solve, stiffness, tractions
from meshes.body import Block, Board, Lining
from meshes.joint_section import positive

MARGIN = 0.012  # m, of a block's width at each edge; a quarter of a narrow block
STUB = 4  # of its own depth: length of the rim before the block (Saint-Venant)
FINE, COARSE, GROWTH = 0.8e-3, 6e-3, 1.6  # m, rectangles at the edge and elsewhere, and by how much they grow
ALONG, CROSSWISE = (
    ((1, 0, 0), (0, 0, 1), (0, 1, 0)),
    ((0, 0, 1), (1, 0, 0), (0, 1, 0)),
)  # L, R, T of a board in s, n, up
IN_BLOCK = {"across_body": ALONG, "toward_top": CROSSWISE, "along_body": ((0, 1, 0), (1, 0, 0), (0, 0, 1))}


def margin(block: Block) -> float:
    """Width [m] of the strip along each edge of a block."""
    return min(MARGIN, block.width / 4)


@dataclass(frozen=True)
class Root:
    """Plan of a rim that enters a block; SI. Each ply of the rim, outermost first: wood, thickness, whether its grain stands upright."""

    side: tuple[tuple[Wood, float, bool], ...]
    lining: tuple[tuple[Wood, float, bool], ...]  # ends at the block
    block_wood: Wood
    grain: str  # of the block
    block_thickness: float
    half_width: float  # of the block

    @property
    def stub(self) -> float:
        """Length of the rim before the block [m]."""
        return STUB * sum(ply[1] for ply in self.side + self.lining)


def root_of(sides: tuple[Board, ...], lining: Lining | None, block: Block) -> Root:
    """Root of a block; lining: the one that ends there, or None. Of a kerfed lining the web runs up to the block."""
    across = [abs(np.sin(board.grain_angle)) > np.sqrt(0.5) for board in sides]
    side = tuple((_quiet(board.wood), board.thickness, bool(up)) for board, up in zip(sides, across))
    lined = ()
    if lining is not None and lining.wood is not None:
        lined = ((_quiet(lining.wood), lining.web if lining.kind == "kerfed" else lining.width, False),)
    return Root(side, lined, _quiet(block.wood), block.grain, block.thickness, block.width / 2)


def _quiet(wood: Wood) -> Wood:
    """The wood without what the solid does not ask for."""
    return replace(wood, density=1.0, loss_L=None, loss_R=None, loss_G=None)


def rim_laminate(root: Root, lined: bool = True) -> Section:
    """Section of the root's side, with or without its lining, about the reference line."""
    layers, outer = [], root.side[0][1] / 2
    for wood, thickness, upright in root.side + root.lining * lined:
        layers.append(Layer(wood, thickness, outer - thickness / 2, upright))
        outer -= thickness
    return laminate(layers)


@lru_cache(maxsize=256)
def solid_root(root: Root, fine: float = FINE) -> tuple[np.ndarray, float]:
    """Compliance (2, 2) of stub and half block under force and moment about the reference line, and under upward shear.

    Per height: [m/N], [1/N] and [1/(N m)] m. Loads at the stub's end; the block's middle stays plane for the first two, for the third it stays at rest.
    """
    plies, deep = root.side + root.lining, sum(ply[1] for ply in root.side)
    faces = root.side[0][1] / 2 - np.cumsum([0, *(ply[1] for ply in plies)])
    floor = root.side[0][1] / 2 - deep - root.block_thickness
    inner = floor + root.block_thickness
    lines = np.unique(np.round([*faces, floor], 9))
    n = [lines[0]]
    for a, b in pairwise(lines):
        n += (
            graded(a, b, fine, COARSE, GROWTH, "b" if a < faces.min() - 1e-9 or b == lines[-1] else "ab")[1:]
            if b - a > 3 * fine
            else [b]
        )
    length, half = root.stub, root.half_width
    s = [*graded(-length, 0, fine, COARSE, GROWTH, "b"), *graded(0, half, fine, COARSE, GROWTH, "a")[1:]]
    body = solid(rectangles(s, n, lambda s, n: np.where(s < 0, n > faces[-1], n > floor)), (0, 1))
    at_s, at_n, _ = body.middles.T
    ply = np.searchsorted(-faces, -at_n) - 1
    stiff = [solid_stiffness(w, CROSSWISE if up else ALONG) for w, _, up in plies]
    stiff.append(solid_stiffness(root.block_wood, IN_BLOCK[root.grain]))
    in_block = (at_s > 0) & (at_n < inner)
    C = np.array(stiff)[np.where(in_block, len(plies), ply.clip(0, len(plies) - 1))]
    f = _compliance(rim_laminate(root).stiffness)
    boards = [laminate([Layer(w, 1.0, 0.0, up)]).stiffness for w, _, up in plies]

    def stress(p: np.ndarray) -> np.ndarray:
        """What the stub's laminate carries under unit force, moment and upward shear."""
        found, z = np.zeros((len(p), 3, 3)), p[:, 1]
        at = (np.searchsorted(-faces, -z) - 1).clip(0, len(plies) - 1)
        stretch, shear = (np.array([b[kind] for b in boards])[at] for kind in ("A11", "A66"))
        found[:, 0, :2] = stretch[:, None] * (f[0] + z[:, None] * f[1])
        found[:, 2, 2] = shear / rim_laminate(root).stiffness["A66"]
        return found

    F = tractions(body, 0, -length, stress).reshape(-1, 3)
    K = stiffness(body, C)
    middle = np.flatnonzero(np.abs(body.points[:, 0] - half) < 1e-9)
    u = solve(K, F[:, :2], [*(3 * middle), 3 * middle[0] + 1, 3 * middle[0] + 2]).reshape(-1, 2)
    w = solve(K, F[:, 2:], [*(3 * middle + 2), 3 * middle[0], 3 * middle[0] + 1, 3 * middle[-1]]).reshape(-1, 1)
    return F[:, :2].T @ u, float((F[:, 2:].T @ w)[0, 0])


def _stretch(k: dict[str, float], axis: str = "11") -> np.ndarray:
    return np.array([[k["A" + axis], k["B" + axis]], [k["B" + axis], k["D" + axis]]])


def _compliance(k: dict[str, float], axis: str = "11") -> np.ndarray:
    return np.linalg.inv(_stretch(k, axis))


def edge_section(root: Root, middle: Section, width: float) -> Section:
    """Section of a block's edge strip of a width [m], beside the side, from that of the block's middle on the side.

    Along the rim its stretching, bending and sliding are those with which stub, strip and block yield as the solid does;
    twisting follows sliding. Where the solid yields less than the laminates, they stay.
    """
    rim = "22" if root.grain == "toward_top" else "11"  # axis along the rim
    stub, side, k = rim_laminate(root).stiffness, rim_laminate(root, lined=False).stiffness, dict(middle.stiffness)
    solid, slide = solid_root(root)
    whole = np.linalg.inv(_stretch(side) + _stretch(k, rim))
    more = _clipped(solid - root.stub * _compliance(stub) - root.half_width * whole)
    left = _clipped(np.linalg.inv(whole + more / width) - _stretch(side))
    k |= {"A" + rim: left[0, 0], "B" + rim: left[0, 1], "D" + rim: left[1, 1], "A12": 0.0, "B12": 0.0, "D12": 0.0}
    together = side["A66"] + k["A66"]
    more_slide = max(0.0, slide - root.stub / stub["A66"] - root.half_width / together)
    share = max(0.0, 1 / (1 / together + more_slide / width) - side["A66"]) / k["A66"]
    k |= {kind: share * k[kind] for kind in ("A66", "B66", "D66")}
    per = {kind: k[kind] / f if f else 0.0 for kind, f in middle.stiffness.items()}
    losses = middle.losses and {
        c: {kind: per[kind] * g for kind, g in kinds.items()} for c, kinds in middle.losses.items()
    }
    return Section("shell", k, middle.mass, losses)


def _clipped(matrix: np.ndarray) -> np.ndarray:
    """The nearest positive semi-definite one, each row in its own unit."""
    scale = np.sqrt(np.outer(np.abs(np.diag(matrix)), np.abs(np.diag(matrix))))
    return positive(matrix / scale) * scale
