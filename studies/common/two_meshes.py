"""Two meshes of one body: what is solved on them, and what they tell of the error that is left in a figure of the finer one."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar, overload

import numpy as np

from meshes.parts import RIM
from studies.common.builds import Build
from studies.common.progress import Progress

LIMIT = "stiff_limit"  # the build that cannot be built
COARSER = 1.5  # size of the second mesh over that of the first
MESH_ERROR = f"twice the difference of two mesh sizes 1 : {COARSER:g}, for first-order convergence"

Place = TypeVar("Place")
Row = TypeVar("Row")
Figures = Mapping[str, float]
OnBoth = tuple[np.ndarray | None, np.ndarray | None]  # (n,) each, of the finer and the coarser mesh


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
    roughly: int | None = None,
    step: float = 1.0,
) -> tuple[Level[Place, Row], Level[Place, Row]]:
    """(finer, coarser) Level of builds: all of them on a mesh of `size` [m], the first `roughly` (None: all) on the coarser.

    ready: size -> Place; solve: a Build on it, after those solved there already, -> Row. step: of a progress that others
    share, a build on the finer mesh.
    """
    rough = builds[:roughly]
    own = progress or Progress(step * (len(builds) + len(rough) * COARSER**-2))
    levels: list[Level[Place, Row]] = []
    for h, wanted, weight in zip(both(size), (builds, rough), (step, step * COARSER**-2)):
        own.say(f"mesh of {1e3 * h:.0f} mm")
        place = ready(h)
        rows: list[Row] = []
        for build in wanted:
            own.say(f"{build.label}, mesh of {1e3 * h:.0f} mm")
            rows.append(solve(build, place, rows))
            own.step(weight)
        levels.append(Level(place, tuple(rows)))
    if progress is None:
        own.close("solved")
    return levels[0], levels[1]


@overload
def mesh_error(fine: float, coarse: float) -> float: ...
@overload
def mesh_error(fine: float | None, coarse: float | None) -> float | None: ...
def mesh_error(fine: float | None, coarse: float | None) -> float | None:
    """Error left in a value on the finer of two meshes: Richardson's estimate for an error that falls with the first power.

    Line braces and folded facets converge so, or better. Roache, J. Fluids Eng. 116:405 (1994). None of what is not known.
    """
    return None if fine is None or coarse is None else abs(fine - coarse) / (COARSER - 1)


def mesh_errors(fine: Mapping[str, float], coarse: Mapping[str, float]) -> dict[str, float]:
    """{key: mesh error} of figures of one build on the two meshes."""
    return {key: mesh_error(value, coarse[key]) for key, value in fine.items()}


def with_errors(fine: Figures, coarse: Figures, own: tuple[Figures, Figures]) -> dict[str, float]:
    """Figures of a build with, of each, its '..._error' and '..._change_error', of its difference from the sheet's own build.

    own: (fine, coarse) of that; what both builds share cancels in the difference.
    """
    errors = {}
    for key in fine:
        errors[f"{key}_error"] = mesh_error(fine[key], coarse[key])
        errors[f"{key}_change_error"] = mesh_error(fine[key] - own[0][key], coarse[key] - own[1][key])
    return {**fine, **errors}


def of_mode(values: OnBoth, at: tuple[int, int]) -> tuple[float | None, float | None]:
    """(value, mesh error) of a mode from values (n,) of all modes on the finer and the coarser mesh.

    at: its number on each, -1 where it has no partner; values None: not known.
    """
    fine, coarse = (None if v is None or k < 0 else float(v[k]) for v, k in zip(values, at))
    return fine, mesh_error(fine, coarse)


def shift_of_mode(
    frequency: tuple[np.ndarray, np.ndarray],
    at: tuple[int, int],
    own: tuple[np.ndarray, np.ndarray],
    own_at: tuple[int, int],
) -> tuple[float | None, float | None]:
    """(per cent, mesh error) of the shift of a mode against the sheet's own build; arguments as in of_mode."""
    fine, coarse = (
        None if k < 0 or m < 0 else 100 * (float(f[k]) / float(g[m]) - 1)
        for f, k, g, m in zip(frequency, at, own, own_at)
    )
    return fine, mesh_error(fine, coarse)


def largest_errors(builds: Mapping[str, Figures]) -> dict[str, float]:
    """{key: value} of every '..._error' in the figures {name: figures} of builds, the largest over those that can be built.

    Two meshes may agree on one build by chance.
    """
    real = [figures for name, figures in builds.items() if name != LIMIT]
    return {key: max(figures[key] for figures in real) for key in real[0] if key.endswith("_error")}


class Weighted(Protocol):
    @property
    def mass(self) -> dict[str, float]:
        """{part: kg}."""


def rim_grams(row: Weighted) -> float:
    """Weight of the rim [g]."""
    return 1e3 * sum(m for part, m in row.mass.items() if part in RIM)
