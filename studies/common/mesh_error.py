"""The mesh error of a figure: of its elements from a richer space on the same triangles, of its facets from longer ones.

Both are found for the sheet's own build alone; other builds, and their differences from it, borrow them.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np

from fem.mesh import ShellMesh
from fem.model import Model, assemble
from fem.richer import quartic
from meshes.parts import RIM
from studies.common.builds import Build
from studies.common.pairing import Followed, as_one
from studies.common.progress import Progress

LIMIT = "stiff_limit"  # the build that cannot be built
FACETS = 2.0  # times longer facets tell what flat ones do to the shape
ELEMENTS = 2.0  # of what the richer space moves: what is left in the cubic one
LOWEST = 1.0  # order of convergence in the edges' length, where two lengths tell none: the lowest of 1 to 4
LONGER = 1.25 / (FACETS**LOWEST - 1)  # of what longer edges move, with a quarter to be safe
FLOOR = 0.01  # of a mode's share, added, since spaces may agree by chance
# of a difference of a build from the sheet's own, where both were solved in all spaces
IN_ELEMENTS = 1.5  # of what the richer space moves
IN_EDGES = 1.0  # of what longer edges move
BY_CHANCE = 0.05  # of the error of the sheet's own figure, added, since differences may agree by chance
# where the sheet's own alone was: what is left of the error of its figure
OF_MODE = 0.15  # of a mode's frequency
OF_SHARE = 0.3  # of a share, a loss, a deflection
OF_TAP = 1.0  # of what all modes together bring about: nothing is taken to cancel
MESH_ERROR = (
    f"{ELEMENTS:g} times what elements of fourth degree change on the same triangles, plus {LONGER:g} times what edges "
    f"{FACETS:g} times as long change; found for the sheet's own build; of that, differences from it keep a part"
)
COARSER = 1.5  # size of the second mesh over that of the first, where two meshes are compared
TWO_SIZES = f"twice the difference of two mesh sizes 1 : {COARSER:g}, for first-order convergence"

SAME = 0.9  # least criterion of a mode with its partner in another build of which a change's error is told

Place = TypeVar("Place")
Row = TypeVar("Row")
Figures = Mapping[str, float]
Three = tuple[float, float, float]  # of a figure in cubic elements, in the richer space, on longer edges
Pairs = tuple[np.ndarray, np.ndarray]  # (n,) each: number of the partner, -1 for none, and their assurance criterion


@dataclass(frozen=True)
class Solved(Generic[Place, Row]):
    """Builds solved in one space."""

    place: Place  # the model and what is read on it
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Levels(Generic[Place, Row]):
    """Builds in the space that is answered for, and the sheet's own, or all, in two others, which tell the error."""

    fine: Solved[Place, Row]  # cubic elements: what is printed
    richer: Solved[Place, Row]  # elements of fourth degree on the same triangles
    faceted: Solved[Place, Row]  # likewise, on edges FACETS times as long

    @property
    def all(self) -> tuple[Solved[Place, Row], Solved[Place, Row], Solved[Place, Row]]:
        return self.fine, self.richer, self.faceted

    @property
    def own(self) -> tuple[Row, Row, Row]:
        """The sheet's own build in each."""
        return self.fine.rows[0], self.richer.rows[0], self.faceted.rows[0]


def both(size: float) -> tuple[float, float]:
    """Sizes of two meshes that are compared, the finer first."""
    return size, COARSER * size


def spaces(mesh: Callable[[float], ShellMesh]) -> Iterator[Model]:
    """Models of cubic elements, of the richer ones, and of these on longer edges, each made when it is asked for.

    mesh: times the usual length of the edges -> ShellMesh.
    """
    usual = mesh(1.0)
    yield assemble(usual)
    yield quartic(usual)
    yield quartic(mesh(FACETS))


def on_levels(
    builds: Sequence[Build],
    places: Iterator[Place],
    solve: Callable[[Build, Place, Sequence[Row]], Row],
    progress: Progress | None = None,
    step: float = 1.0,
    every: bool = False,
) -> Levels[Place, Row]:
    """Levels of builds, the first of them the sheet's own; every: all of them in all spaces, not that alone.

    places: what is asked on each of `spaces`; solve: a Build there, after those solved there already, -> Row. step: of a
    progress that others share, a build.
    """
    others = builds if every else builds[:1]
    wanted_in = {"cubic elements": builds, "elements of fourth degree": others, "longer edges": others}
    own = progress or Progress(step * sum(map(len, wanted_in.values())))
    levels: list[Solved[Place, Row]] = []
    for words, wanted in wanted_in.items():
        own.say(words)
        place = next(places)
        rows: list[Row] = []
        for build in wanted:
            own.say(f"{build.label}, {words}")
            rows.append(solve(build, place, rows))
            own.step(step)
        levels.append(Solved(place, tuple(rows)))
    if progress is None:
        own.close("solved")
    return Levels(*levels)


# --- of a figure ---


def mesh_error(fine: float, richer: float, faceted: float) -> float:
    """Error of a figure of the sheet's own build with cubic elements, from the same in the richer space and on longer edges.

    docs/theory.md derives it, docs/verification.md tells how often it holds the true one.
    """
    return ELEMENTS * abs(fine - richer) + LONGER * abs(richer - faceted)


def change_error(error: float, own: float, change: float, left: float = OF_SHARE) -> float:
    """Error of the change of a figure from build to build on one mesh, from the mesh error of the sheet's own figure.

    What both builds share cancels, all but the part `left` of it; and a change errs by its own part of the figure, `own`.
    """
    part = abs(change / own) if own else 1.0
    return error * min(1.0, left + part) if change else 0.0


def difference_error(own: Three, other: Three, error: float) -> float:
    """Error of the difference of a build's figure from the sheet's own, both in cubic elements, the richer space, on longer edges.

    error: mesh_error of the sheet's own.
    """
    if other == own:
        return 0.0
    fine, richer, faceted = (b - a for a, b in zip(own, other))
    return IN_ELEMENTS * abs(fine - richer) + IN_EDGES * abs(richer - faceted) + BY_CHANCE * error


def mesh_errors(fine: Figures, richer: Figures, faceted: Figures) -> dict[str, float]:
    """{key: mesh_error} of figures of the sheet's own build."""
    return {key: mesh_error(value, richer[key], faceted[key]) for key, value in fine.items()}


def with_errors(figures: Figures, own: Figures, errors: Figures, left: float = OF_TAP) -> dict[str, float]:
    """Figures of a build with, of each, its '..._error' and '..._change_error', of its difference from the sheet's own build.

    own: figures, errors: mesh_errors, of that; left: as in change_error.
    """
    return _told(
        figures, errors, {key: change_error(errors[key], own[key], v - own[key], left) for key, v in figures.items()}
    )


def with_found_errors(figures: Sequence[Figures], own: Sequence[Figures]) -> dict[str, float]:
    """As with_errors, where the build too was solved in all three spaces: figures, own: of each."""
    errors, three = mesh_errors(*own), lambda levels, key: tuple(level[key] for level in levels)
    changes = {key: difference_error(three(own, key), three(figures, key), errors[key]) for key in errors}
    return _told(figures[0], errors, changes)


def _told(figures: Figures, errors: Figures, changes: Figures) -> dict[str, float]:
    """Figures with their errors, those of the sheet's own build and of the change together, and of the change alone."""
    told = dict(figures)
    for key, error in errors.items():
        told |= {f"{key}_error": error + changes[key], f"{key}_change_error": changes[key]}
    return told


# --- of modes ---


def mode_errors(values: Sequence[np.ndarray | None], modes: Followed, share: bool = True) -> np.ndarray:
    """(n,) mesh errors of a figure of the sheet's own modes; nan where the estimate cannot see.

    values (any number of modes) in the cubic space, in the richer one and on longer edges, or None where not known.
    share: of energy; close modes are then judged as one, their mean, and FLOOR of that is added.
    """
    count = len(modes.group)
    known = [v for v in values if v is not None]
    if len(known) < len(values):
        return np.full(count, np.nan)
    picked = [v[p] for v, p in zip(known, (np.arange(count), *modes.partner))]
    if share:
        picked = [as_one(v, modes.group) for v in picked]
    errors = np.array([mesh_error(*three) if seen else np.nan for *three, seen in zip(*picked, modes.seen)])
    return errors + FLOOR * np.abs(picked[0]) if share else errors


@dataclass(frozen=True)
class OfModes:
    """A figure of a build's partners of the sheet's own modes, (n,) each; nan: no partner, or not determined."""

    value: np.ndarray
    error: np.ndarray
    change: np.ndarray  # from the sheet's own
    change_error: np.ndarray


def of_modes(
    values: np.ndarray | None, pairs: Pairs, own: np.ndarray | None, errors: np.ndarray, modes: Followed, share: bool = True
) -> OfModes:  # fmt: skip
    """OfModes of a build's values, and of those of the sheet's own build, (any number of modes), or None where not known.

    pairs: numbers into values and assurance criteria; errors (n,), modes, share: as of mode_errors. A mode that is not one
    of several close ones and whose shape the build changes is not the same one: how far its figures err is not determined.
    """
    value, first = told_of(values, pairs[0], modes, share), told_of(own, np.arange(len(pairs[0])), modes, share)
    change, part = value - first, OF_SHARE if share else OF_MODE
    left = np.array([change_error(*three, part) for three in zip(errors, first, change)])
    left[_another(pairs, modes)] = np.nan
    return OfModes(value, errors + left, change, left)


def found_of_modes(
    values: Sequence[np.ndarray | None], pairs: Pairs, numbers: Sequence[np.ndarray], own: Sequence[np.ndarray | None],
    modes: Followed, share: bool = True,
) -> OfModes:  # fmt: skip
    """As of_modes, where the build too was solved in all three spaces: values, own: in each.

    numbers: (n,) of its modes in the richer space and on longer edges that are those of the sheet's own.
    """
    errors, count = mode_errors(own, modes, share), len(pairs[0])
    mine = [told_of(v, p, modes, share) for v, p in zip(own, (np.arange(count), *modes.partner))]
    theirs = [told_of(v, p, modes, share) for v, p in zip(values, (pairs[0], *numbers))]
    left = np.array(
        [difference_error(a, b, e) for a, b, e in zip(zip(*mine), zip(*theirs), errors)]
    )  # a nan in any leaves one
    left[_another(pairs, modes) | np.isnan(errors)] = np.nan
    return OfModes(theirs[0], errors + left, theirs[0] - mine[0], left)


def told_of(values: np.ndarray | None, partner: np.ndarray, modes: Followed, share: bool) -> np.ndarray:
    """(n,) figures of partners, nan where there is none: of shares the mean of close modes, else as these rise."""
    if values is None:
        return np.full(len(partner), np.nan)
    numbers = partner if share else in_rising_order(partner, modes.group)
    found = np.where(numbers < 0, np.nan, values[numbers])
    return as_one(found, modes.group) if share else found


def _another(pairs: Pairs, modes: Followed) -> np.ndarray:
    """(n,) bool: modes, not of several close ones, whose shape the build changes so far that they are not the same."""
    return (np.bincount(modes.group)[modes.group] == 1) & (pairs[1] < SAME)


def in_rising_order(partner: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Partners (n,) in rising order among the modes that are judged as one, where all of them have one."""
    found = partner.copy()
    for first in np.unique(group):
        some = np.flatnonzero(group == first)
        if (partner[some] >= 0).all():
            found[some] = np.sort(partner[some])
    return found


def known(value: float) -> float | None:
    """A figure for files and pages: None where it is not determined."""
    return float(value) if np.isfinite(value) else None


class Weighted(Protocol):
    @property
    def mass(self) -> dict[str, float]:
        """{part: kg}."""


def rim_grams(row: Weighted) -> float:
    """Weight of the rim [g]."""
    return 1e3 * sum(m for part, m in row.mass.items() if part in RIM)
