"""Plain words for computed modes: dry shapes on a shell, and air-loaded ones."""

from collections.abc import Sequence

import numpy as np

from fem.elements import Space
from meshes.coupled_model import CoupledModel, VibroacousticModes
from studies.drawing.boards import Boards, boards_of
from studies.drawing.mode_words import distinct, plain_label

SUBDIVIDE = 3  # as fine as areas need to be told apart
AIR_LEADS = 0.4  # share of the energy in the air from which on a mode is the air's own


def names(space: Space, shape: np.ndarray) -> Sequence[str | None]:
    """[words] of shapes (dofs, n) on a Space: 'top and back swell together, the top further', 'neck twists; ...'.

    None for every mode where no surface group is a plate, 'top' facing up or 'back' facing down.
    """
    boards = boards_of(space, None, SUBDIVIDE)
    if not boards.samplers:
        return [None] * shape.shape[1]
    return distinct([named(space, boards, column) for column in shape.T])


def named(space: Space, boards: Boards, column: np.ndarray) -> str:
    """Words for one shape (dofs,) on Boards without a body."""
    return plain_label(space, boards.moving(column), column)


def names_with_air(whole: CoupledModel, modes: VibroacousticModes, motion: np.ndarray, count: int) -> list[str]:
    """[words] of the first `count` modes of a CoupledModel, where the air leads said first; motion (m, n) of its outer surface."""
    structure = whole.structure
    assert isinstance(structure.space, Space)  # a shell is drawn, not its coordinates in a basis
    boards, own = boards_of(structure.space, None, SUBDIVIDE), len(structure.frequency)
    words = []
    for k in range(min(count, len(modes.frequency))):
        column = structure.shape @ np.real(modes.shape[:own, k] * furthest(motion[:, k]))
        words.append(said_of_air(named(structure.space, boards, column), modes.air_share[k]))
    return distinct(words)


def said_of_air(words: str, share: float) -> str:
    """The words, with the air said first where its share of the energy leads."""
    return f"air resonance; {words}" if share >= AIR_LEADS else words


def furthest(motion: np.ndarray) -> np.ndarray:
    """Unit complex number that turns a complex motion (m,) to the instant at which it is largest; of several (m, k): (k,)."""
    return np.exp(-0.5j * np.angle(np.sum(motion**2, axis=0)))
