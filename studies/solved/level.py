"""Where builds are solved: a model of one mesh, what is wanted of each build on it, and the folder that keeps the answers."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

from fem.model import Model, assemble
from meshes.body import Body
from meshes.build import mesh_body
from studies.common.mesh_error import FACETS, spaces

DRY_MODES = 60  # of the example bodies: they reach 1 kHz


@dataclass(frozen=True)
class Level:
    """A Model, and what is asked of every build on it."""

    model: Model = field(repr=False)
    size: float  # m, usual length of the edges
    store: Path  # folder of the answers
    count: int  # dry modes
    strung: bool = True  # with the residual attachment modes of the strings, which a coupled model needs
    start: "Level | None" = field(
        default=None, repr=False
    )  # on the same triangles: its modes are taken one step richer

    def fewer(self, count: int) -> "Level":
        """The same for the first `count` modes, to be compared with others: without strings."""
        return self if count >= self.count else replace(self, count=count, strung=False)


def prepare(body: Body, size: float, store: Path, count: int = DRY_MODES) -> Level:
    """Level of cubic elements on a Body's mesh of some size [m]; all builds of its rim share it."""
    return Level(assemble(mesh_body(body, size)), size, store, count)


def prepare_three(body: Body, size: float, store: Path, count: int, strung: bool) -> Iterator[Level]:
    """Levels of cubic elements, of the richer ones, and of these on longer edges, which tell the mesh error."""
    models = spaces(partial(mesh_body, body, size))
    yield (cubic := Level(next(models), size, store, count, strung))
    yield replace(cubic, model=next(models), start=cubic)
    yield replace(cubic, model=next(models), size=FACETS * size)


def dry_modes(count: int) -> int:
    """How many modes of the dry structure are solved for to find `count` with air."""
    return max(DRY_MODES, 2 * count)
