"""Two meshes of one body: what is solved on them, and what they tell of the error that is left in a figure of the finer one."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from meshes.parts import RIM
from studies.common.builds import Build
from studies.common.progress import Progress

LIMIT = "stiff_limit"  # the build that cannot be built
COARSER = 1.5  # size of the second mesh over that of the first
MESH_ERROR = f"twice the difference of two mesh sizes 1 : {COARSER:g}, for first-order convergence"
MESHING = 0.5  # of progress, where a build on the finer mesh takes 1

Place, Row = TypeVar("Place"), TypeVar("Row")


@dataclass(frozen=True)
class Level(Generic[Place, Row]):
    """Builds solved on one mesh."""

    place: Place  # the mesh and what is read on it
    rows: tuple[Row, ...]


def both(size: float) -> tuple[float, float]:
    """Sizes of the two meshes, the finer first."""
    return size, COARSER * size


def on_both(
    builds: Sequence[Build],
    size: float,
    ready: Callable[[float], Place],
    solve: Callable[[Build, Place, Sequence[Row]], Row],
    progress: Progress | None = None,
    roughly: int = 1,
) -> tuple[Level[Place, Row], Level[Place, Row]]:
    """(finer, coarser) Level of builds: all of them on a mesh of `size` [m], the first `roughly` on the coarser one too.

    ready: size -> Place; solve: a Build on it, after those solved there already, -> Row.
    """
    progress = progress or Progress(2 * MESHING + len(builds) + MESHING * roughly)
    levels = []
    for h, wanted, weight in zip(both(size), (builds, builds[:roughly]), (1.0, MESHING)):
        progress.say(f"mesh of {1e3 * h:.0f} mm")
        place, rows = ready(h), []
        progress.step(MESHING)
        for build in wanted:
            progress.say(build.label)
            rows.append(solve(build, place, rows))
            progress.step(weight)
        levels.append(Level(place, tuple(rows)))
    progress.close("solved")
    return levels[0], levels[1]


def mesh_error(fine: float, coarse: float) -> float:
    """Error left in a value on the finer of two meshes: Richardson's estimate for an error that falls with the first power.

    Line braces and folded facets converge so, or better. Roache, J. Fluids Eng. 116:405 (1994).
    """
    return abs(fine - coarse) / (COARSER - 1)


def largest_errors(items: Sequence[Mapping[str, str | float | None]]) -> dict[str, float | None]:
    """{key: value} of every '..._error' in dicts of builds {'build': name, ...}, the largest over those that can be built.

    Two meshes may agree on one build by chance.
    """
    real = [item for item in items if item["build"] != LIMIT]
    kinds = [key for key in items[0] if key.endswith("_error")]
    return {key: max((i[key] for i in real if i[key] is not None), default=None) for key in kinds}


class Weighed(Protocol):
    mass: dict[str, float]  # {part: kg}


def rim_grams(row: Weighed) -> float:
    """Weight of the rim [g]."""
    return 1e3 * sum(m for part, m in row.mass.items() if part in RIM)
