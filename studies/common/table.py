"""Tables of words for page and terminal, and those of a box at rest that set builds of the rim beside each other."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from studies.common.builds import Build
from studies.common.two_meshes import Weighted, rim_grams
from studies.common.words import UNKNOWN, signed

LEAST_GRAMS = 2.0  # difference of rim weights from which on a change per gram is told
BUILD = ("build of the rim", "rim")
PER_GRAM = "Change against the sheet's own build for each 10 g that the rim gains; '–': within 2 g of the same weight."


@dataclass(frozen=True)
class Table:
    """Cells are strings; on a page what follows the first line of a cell is small print."""

    heading: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""

    def lines(self) -> list[str]:
        """Lines of plain text."""
        widths = [max(len(row[k]) for row in (self.head, *self.rows)) for k in range(len(self.head))]
        form = lambda row: "  ".join(c.ljust(w) if k == 0 else c.rjust(w) for k, (c, w) in enumerate(zip(row, widths)))
        return [self.heading, *map(form, (self.head, *self.rows)), *([self.note] if self.note else [])]


class BuildRow(Weighted, Protocol):
    """One build of the rim, solved."""

    @property
    def build(self) -> Build: ...


Row = TypeVar("Row", bound=BuildRow)


def build_table(
    heading: str, head: Iterable[str], rows: Sequence[Row], cells: Callable[[Row], Iterable[str]],
    errors: Iterable[str], note: str = "", above: Sequence[tuple[str, ...]] = (),
) -> Table:  # fmt: skip
    """Table of builds: each one's label, the weight of its rim and cells(row); below them the mesh errors.

    head: of the cells alone. above: rows that stand before the builds.
    """
    of_builds = [(row.build.label, f"{rim_grams(row):.0f} g", *cells(row)) for row in rows]
    return Table(heading, (*BUILD, *head), (*above, *of_builds, ("mesh error", "", *errors)), note)


def per_gram(
    rows: Sequence[Row], values: Callable[[Row], Sequence[float]], forms: Sequence[tuple[int, str]]
) -> tuple[tuple[str, ...], ...]:
    """Cells of what values(row) change from the first build to each other one for each 10 g that its rim gains.

    forms: digits and unit of each value; '–' where weights are alike.
    """
    first, found = values(rows[0]), []
    for row in rows[1:]:
        heavier = rim_grams(row) - rim_grams(rows[0])
        alike = abs(heavier) < LEAST_GRAMS
        cells = (
            UNKNOWN if alike else f"{signed(10 * (value - own) / heavier, digits)} {unit}"
            for value, own, (digits, unit) in zip(values(row), first, forms)
        )
        found.append((row.build.label, f"{signed(heavier, 0)} g", *cells))
    return tuple(found)
