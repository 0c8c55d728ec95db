"""The neck as a solid to be drawn: the strip of the mesh given the thickness of neck, fingerboard and heel."""

from dataclasses import dataclass

import numpy as np

from fem.elements import Space
from meshes.body import Body
from studies.drawing.features import outer_loops
from studies.drawing.field import Sampler, sampler
from studies.drawing.mode_words import neck_alone
from studies.drawing.topology import edges_of


@dataclass(frozen=True)
class Solid:
    """A closed surface carried along by a strip of the mesh; sampled points (n, 3) first below, then above the strip."""

    board: Sampler  # of the strip, n points
    drop: np.ndarray  # (2 n,) m, height of each point over the strip
    triangles: np.ndarray  # (k, 3), outward
    loops: tuple[np.ndarray, ...]  # closed arrays of point indices round the edges

    @property
    def points(self) -> np.ndarray:
        return np.vstack([self.board.points] * 2) + self.drop[:, None] * [0.0, 0.0, 1.0]

    def displacement(self, shape_column: np.ndarray) -> np.ndarray:
        """(2 n, 3) of one mode shape (dofs,): the sections stay plane and square, u + theta x r."""
        both = self.board.matrix @ shape_column.reshape(-1, 6)
        u, turn = np.vstack([both[:, :3]] * 2), np.vstack([both[:, 3:]] * 2)
        return u + np.cross(turn, self.drop[:, None] * [0.0, 0.0, 1.0])


def neck_solid(space: Space, body: Body | None) -> Solid | None:
    """Solid of a body's neck, or None where there is none to draw."""
    if body is None or body.neck is None or not len(strip := neck_alone(space.mesh)):
        return None
    board = sampler(space, strip, 2)
    neck, x = body.neck, board.points[:, 0]
    run = ((x - body.outline.length) / neck.heel_length).clip(0, 1) if neck.heel_depth else np.ones(len(x))
    # a heel's curve from its cap up to the neck; only drawn, the model has a block there
    depth = neck.at(((x - body.outline.length) / neck.length).clip(0, 1))[1]
    depth += max(neck.heel_depth - neck.thickness, 0) * (1 - np.sqrt(1 - (1 - run) ** 2))
    n = len(x)
    facing = board.triangles if board.normal[:, 2].mean() > 0 else board.triangles[:, ::-1]
    rim = _directed(board.topology.boundary, facing)
    walls = np.concatenate([np.column_stack([rim, rim[:, 1] + n]), np.column_stack([rim[:, 0], rim[:, ::-1] + n])])
    triangles = np.concatenate([facing[:, ::-1], facing + n, walls])
    loops = tuple(loop + at for loop in outer_loops(board) for at in (0, n))
    return Solid(board, np.append(-depth, np.full(n, neck.fingerboard_thickness)), triangles, loops)


def _directed(edges, triangles):
    """Boundary edges (k, 2) in the order in which their triangles run through them."""
    runs = {tuple(e) for e in edges_of(triangles).tolist()}
    return np.array([e if tuple(e) in runs else e[::-1] for e in edges.tolist()])
