"""Tables of words for page and terminal, and those of a box at rest that set builds of the rim beside each other."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from textwrap import wrap
from typing import Protocol, TypeVar

from studies.common.builds import Build
from studies.common.mesh_error import Weighted, rim_grams
from studies.common.words import UNKNOWN, signed

TERMINAL, LABEL, GAP = 100, (22, 34), "  "  # letters of a line, of a row's name at least and at most; between columns
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
        """Lines of plain text of no more than TERMINAL letters: long words over several lines, columns that do not fit below."""
        table = [[cell.replace("\n", " ") for cell in row] for row in (self.head, *self.rows)]
        others = range(1, len(self.head))
        longest = lambda k: max(map(len, [*table[0][k].split(), *(row[k] for row in table[1:])]), default=0)
        wide = {k: min(longest(k), TERMINAL - LABEL[1] - len(GAP)) for k in others}
        room = TERMINAL - sum(w + len(GAP) for w in wide.values())  # for the first column, where all stand side by side
        most = min(LABEL[1], max(len(row[0]) for row in table))
        first = wide[0] = room if LABEL[0] <= room < most else most
        blocks: list[list[int]] = [[]]
        for k in others:
            if blocks[-1] and first + sum(wide[j] + len(GAP) for j in (*blocks[-1], k)) > TERMINAL:
                blocks.append([])
            blocks[-1].append(k)
        lines = [
            line for block in blocks for row in table for line in _row_lines([(row[k], wide[k]) for k in (0, *block)])
        ]
        return [*([self.heading] if self.heading else []), *lines, *([self.note] if self.note else [])]


def _row_lines(cells):
    """Lines of a row of (words, width): the first to the left, the others to the right."""
    broken = [wrap(words, width) or [""] for words, width in cells]
    for parts in zip_longest(*broken, fillvalue=""):
        told = [part.ljust(w) if k == 0 else part.rjust(w) for k, (part, (_, w)) in enumerate(zip(parts, cells))]
        yield GAP.join(told).rstrip()


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
