"""Fields of a box at rest as pictures for print: top and back side by side, one scale with numbers for all panels."""

from collections.abc import Sequence
from functools import partial

import numpy as np
from matplotlib.figure import Figure

from fem.elements import Space
from meshes.body import Body
from studies.common.words import capital
from studies.drawing.boards import Boards, boards_of
from studies.drawing.plan import FULL_WIDTH, Motion, Panel, Style, panels_sheet
from studies.drawing.scales import round_up

HUNG_FREE = "Hung free, elastic, without creep. Computed with Rimwork."  # for captions
ROOMS = (0.0, 9.0, 14.0)  # mm: above all, for the words under a panel, for the scale
SIZES = ((0.8, 8.0), (4.6, 6.5))  # mm under a panel and points, of headings and labels
INSIDE = 0.9999  # of full scale: what lies on its very end would be left white
SUBDIVIDE = {1: 4, 2: 3, 3: 3}  # per columns: small panels need fewer points
STEPS = (1, 1.5, 2, 3, 4, 5, 6, 8, 10)  # times a power of ten: full scales that read well


def field_boards(space: Space, body: Body, columns: int = 1, names: tuple[str, ...] = ("top", "back")) -> Boards:
    """Boards as fine as pictures in so many columns need them."""
    return boards_of(space, body, SUBDIVIDE[columns], names)


def out_of_box(u: np.ndarray) -> dict[str, np.ndarray]:
    """{plate: (nodes,)} mm out of the box of displacements (nodes, 3) [m]."""
    return {"top": 1e3 * u[:, 2], "back": -1e3 * u[:, 2]}


def field_figure(
    boards: Boards, panels: Sequence[tuple[str, str, dict[str, np.ndarray]]], largest: float, ends: tuple[str, str],
    unit: str, columns: int = 1, marks: bool = True,
) -> Figure:  # fmt: skip
    """Figure of panels [(heading, label, {plate: (nodes,)})] on one scale -largest .. largest [unit].

    ends: words for the two ends of the scale; unit: what is drawn, in which unit. marks: + and - at the furthest places.
    """
    drawn = [
        Panel(boards.plates, Motion(boards.painted(values, INSIDE * largest), largest), heading, label)
        for heading, label, values in panels
    ]
    page = panels_sheet(
        drawn, FULL_WIDTH if columns == 1 else 180.0, columns, ROOMS, SIZES, Style(marks=marks, rest=False)
    )
    words, at = partial(page.words, size=6.5, ink=page.theme.quiet, ha="center"), lambda part: part * page.width
    page.colours(at(0.2), 9.5, at(0.6), 3.0, rest=False)
    for x in (-1, -0.5, 0, 0.5, 1):
        words(at(0.5 + 0.3 * x), 7.3, f"{x * largest:.2g}")
    words(at(0.18), 11, ends[0], ha="right")
    words(at(0.82), 11, ends[1], ha="left")
    words(at(0.5), 4.3, unit + ".")
    both = "Top as you face it on the left, back as you face it on the right, " if len(boards.plates) > 1 else ""
    words(at(0.5), 1.7, f"Bold line: zero. {capital(both + 'neck')} upward.")
    return page.figure


def full_scale(boards: Boards, values: dict[str, np.ndarray], part: float = 100.0) -> float:
    """A scale that reads well and holds this part [%] of the values (nodes,) by plate."""
    sizes = np.concatenate([np.abs(f.value) for f in boards.painted(values).values()])
    return round_up(0.999 * np.percentile(sizes, part), STEPS)
