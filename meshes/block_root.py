"""How far a block yields where the rim enters it: the strips along its two upright edges.

A thick layer takes up the rim's forces at its very edge. In a solid block they spread from the thin side, and from the linings
that end there, into wood that lies across them, as if some 4 mm more of a bare side stood free, 10 to 35 mm more of a lined one.
The plan of rim and half a block is solved as a solid that is the same at all heights: a stub of the rim is pulled, bent and pushed
upward at its end, the block held in its middle. What it yields beyond the laminates of stub and block goes into the strip at
the block's edge, where the block's layer is made softer along the rim.

Axes s along the rim (0 at the edge, into the block), n outward (0 in the middle of the side's outermost layer), and up.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from fem.materials import Wood
from fem.sections import Layer, Section, laminate
from fem.solid import graded, rectangles, solid, solid_stiffness, solve, stiffness, tractions
from meshes.body import Body, Lining
from meshes.joint_section import positive
from meshes.outline import where_y

STRIP = 0.016  # m wide, and a quarter of the block at most: wider than the side yields, for it goes on over the block
NEAR_NECK = 0.006  # m: no second station of the rim so near to the neck's edge
STUB = 4  # of its own depth: length of the rim before the block (Saint-Venant)
FINE, COARSE, GROWTH = 0.8e-3, 6e-3, 1.6  # m, rectangles at the edge and elsewhere, and by how much they grow; 2 %
EDGES = ("edge", "edge_top", "edge_back")  # strips beside the bare side, and where a lining ends
ALONG, UPRIGHT = ((1, 0, 0), (0, 0, 1), (0, 1, 0)), ((0, 0, 1), (1, 0, 0), (0, 1, 0))  # L, R, T in s, n, up
IN_BLOCK = {"across_body": ALONG, "toward_top": UPRIGHT, "along_body": ((0, 1, 0), (1, 0, 0), (0, 0, 1))}


def behind_block(body: Body, name: str) -> tuple[float, float]:
    """Arc length [m] of the rim where 'neck_block' or 'tail_block' begins, and how far it runs behind the block."""
    neck = name == "neck_block"
    turn = 1 if neck else -1  # the rim runs towards +y at the neck, towards -y at the tail
    half = getattr(body, name).width / 2
    start, end = (float(where_y(body.outline, side * turn * half)[-1 if neck else 0]) for side in (-1, 1))
    return start, (end - start) % body.outline.perimeter


def strip_width(body: Body, name: str) -> float:
    """Width [m] of the strip along each edge of 'neck_block' or 'tail_block'; up to the neck's edge where that is near."""
    width = getattr(body, name).width
    strip = min(STRIP, width / 4)
    if body.neck is not None and name == "neck_block":
        to_neck = (width - body.neck.width) / 2
        return to_neck if abs(to_neck - strip) < NEAR_NECK else strip
    return strip


@dataclass(frozen=True)
class Root:
    """Plan of a rim that enters a block; SI. Plies from outside in: wood, thickness, whether the grain stands upright."""

    side: tuple[tuple[Wood, float, bool], ...]
    lining: tuple[tuple[Wood, float, bool], ...]  # ends at the block
    block: Wood
    grain: str  # of the block, one of body.BLOCK_GRAINS
    thickness: float  # of the block
    half: float  # of its width

    @property
    def faces(self) -> np.ndarray:
        """n of the faces of the plies of side and lining, from outside in [m]."""
        return self.side[0][1] / 2 - np.cumsum([0.0, *(thickness for _, thickness, _ in self.side + self.lining)])

    @property
    def stub(self) -> float:
        """Length of the rim before the block [m]."""
        return STUB * float(np.ptp(self.faces))

    def rim(self, lined: bool = True) -> dict[str, float]:
        """Stiffness of the side's laminate, with or without the lining."""
        plies = self.side + self.lining if lined else self.side
        middles = self.faces[: len(plies)] - [thickness / 2 for _, thickness, _ in plies]
        return laminate([Layer(*ply[:2], n, ply[2]) for ply, n in zip(plies, middles.tolist())]).stiffness

    def ply(self, n: np.ndarray) -> np.ndarray:
        """Number of the ply at places n."""
        return (np.searchsorted(-self.faces, -n) - 1).clip(0, len(self.faces) - 2)


def root_of(body: Body, name: str, lining: Lining | None) -> Root:
    """Root at an edge of 'neck_block' or 'tail_block' where a lining ends, or None. Of a kerfed lining the web reaches the block."""
    block = getattr(body, name)
    upright = [bool(abs(np.sin(board.grain_angle)) > np.sqrt(0.5)) for board in body.sides]
    side = tuple((_elastic(board.wood), board.thickness, up) for board, up in zip(body.sides, upright))
    lined: tuple[tuple[Wood, float, bool], ...] = ()
    if lining is not None and lining.wood is not None and lining.kind != "none":
        lined = ((_elastic(lining.wood), lining.web if lining.kind == "kerfed" else lining.width, False),)
    return Root(side, lined, _elastic(block.wood), block.grain, block.thickness, block.width / 2)


def roots_of(body: Body, name: str) -> tuple[Root, ...]:
    """Roots at an edge of 'neck_block' or 'tail_block', in the order of EDGES."""
    return tuple(root_of(body, name, lining) for lining in (None, body.lining_top, body.lining_back))


@dataclass(frozen=True)
class Yielding:
    """What the solids of some Roots yield, see solid_root."""

    bent: np.ndarray  # (roots, 2, 2)
    slid: np.ndarray  # (roots,)


def yielding(roots: Sequence[Root]) -> Yielding:
    """Yielding of Roots."""
    bent, slid = zip(*map(solid_root, roots))
    return Yielding(np.array(bent), np.array(slid))


def _elastic(wood: Wood) -> Wood:
    """The wood without what the solid does not ask for."""
    return replace(wood, density=1.0, loss_L=None, loss_R=None, loss_G=None)


@lru_cache(maxsize=256)
def solid_root(root: Root, fine: float = FINE) -> tuple[np.ndarray, float]:
    """What stub and half block yield, per height: compliance (2, 2) under a force along the rim and a moment about n = 0,
    at the stub's end, and under an upward force.

    The block's middle stays plane under the first two; under the third it stays at rest.
    """
    inner = root.faces[len(root.side)]
    floor = inner - root.thickness
    body = solid(rectangles(*_lines(root, fine), lambda s, n: n > np.where(s < 0, root.faces[-1], floor)), (0, 1))
    s, n, _ = body.middles.T
    stiff = [solid_stiffness(wood, UPRIGHT if up else ALONG) for wood, _, up in root.side + root.lining]
    stiff.append(solid_stiffness(root.block, IN_BLOCK[root.grain]))
    C = np.array(stiff)[np.where((s > 0) & (n < inner), -1, root.ply(n))]
    F = tractions(body, 0, -root.stub, lambda points: _on_stub(root, points[:, 1])).reshape(-1, 3)
    K, middle = stiffness(body, C), 3 * np.flatnonzero(np.abs(body.points[:, 0] - root.half) < 1e-9)
    bent = solve(K, F[:, :2], [*middle, middle[0] + 1, middle[0] + 2]).reshape(-1, 2)
    slid = solve(K, F[:, 2:], [*(middle + 2), middle[0], middle[0] + 1, middle[-1]]).reshape(-1, 1)
    return F[:, :2].T @ bent, float(F[:, 2] @ slid[:, 0])


def _lines(root: Root, fine: float) -> tuple[list[float], list[float]]:
    """Lines of the grid across s and n, close to each other where the rim enters."""
    faces = root.faces
    at = np.unique(np.round([*faces, faces[len(root.side)] - root.thickness], 9))
    n = [float(at[0])]
    for a, b in pairwise(at.tolist()):
        n += graded(a, b, min(fine, b - a), COARSE, GROWTH, "ab" if a > faces[-1] - 1e-9 else "b")[1:]
    before, behind = ((-root.stub, 0.0, "b"), (0.0, root.half, "a"))
    s = [graded(a, b, fine, COARSE, GROWTH, focus) for a, b, focus in (before, behind)]
    return [*s[0], *s[1][1:]], n


def _on_stub(root: Root, n: np.ndarray) -> np.ndarray:
    """(k, 3, 3) tractions [Pa] on the stub's end at places n, as its laminate carries the unit loads of solid_root."""
    whole, ply = root.rim(), root.ply(n)
    boards = [laminate([Layer(wood, 1.0, 0.0, up)]).stiffness for wood, _, up in root.side + root.lining]
    stretch, slide = (np.array([board[kind] for board in boards])[ply] for kind in ("A11", "A66"))
    stress = np.zeros((len(n), 3, 3))
    stress[:, 0, :2] = -stretch[:, None] * (np.column_stack([np.ones_like(n), n]) @ np.linalg.inv(_stretching(whole)))
    stress[:, 2, 2] = -slide / whole["A66"]
    return stress


def _stretching(k: dict[str, float], axis: str = "11") -> np.ndarray:
    return np.array([[k["A" + axis], k["B" + axis]], [k["B" + axis], k["D" + axis]]])


def edge_section(root: Root, middle: Section, width: float, bent: np.ndarray, slid: float) -> Section:
    """Section of the strip, `width` [m] wide, at a block's edge, beside the side; from `middle`, the block's layer on the side,
    and what solid_root tells.

    Along the rim it stretches, bends and slides so that stub, strip and block yield as the solid does, never less than the
    layer. Its twisting stiffness falls as the root of the bending stiffness: Huber's estimate for orthotropic plates,
    Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, art. 86. It dissipates as the layer does.
    """
    axis = "22" if root.grain == "toward_top" else "11"  # along the rim
    stub, side, k = root.rim(), root.rim(lined=False), dict(middle.stiffness)
    layer = np.linalg.inv(_stretching(side) + _stretching(k, axis))
    more = _positive(bent - root.stub * np.linalg.inv(_stretching(stub)) - root.half * layer)
    left = _positive(np.linalg.inv(layer + more / width) - _stretching(side))
    k |= {"A" + axis: left[0, 0], "B" + axis: left[0, 1], "D" + axis: left[1, 1], "A12": 0.0, "B12": 0.0, "D12": 0.0}
    slides = side["A66"] + k["A66"]
    more_slide = max(0.0, slid - root.stub / stub["A66"] - root.half / slides)
    slide = max(0.0, 1 / (1 / slides + more_slide / width) - side["A66"]) / k["A66"]
    twist = (left[1, 1] / middle.stiffness["D" + axis]) ** 0.5
    k |= {"A66": slide * k["A66"], "B66": (slide * twist) ** 0.5 * k["B66"], "D66": twist * k["D66"]}
    k = {kind: float(f) for kind, f in k.items()}
    part = {kind: k[kind] / f if f else 0.0 for kind, f in middle.stiffness.items()}
    losses = middle.losses and {
        c: {kind: part[kind] * g for kind, g in kinds.items()} for c, kinds in middle.losses.items()
    }
    return Section("shell", k, middle.mass, losses)


def _positive(matrix: np.ndarray) -> np.ndarray:
    """The nearest positive semi-definite matrix, stretching and bending each in its own unit."""
    scale = np.sqrt(np.abs(np.outer(np.diag(matrix), np.diag(matrix))))
    return positive(matrix / scale) * scale
