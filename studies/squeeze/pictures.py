"""The squeezed rim in plan, neck up, as seen from the front: before, and after in every build, motion enlarged."""

from itertools import cycle
from pathlib import Path
from textwrap import fill

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from scipy.interpolate import CubicSpline

from meshes.body import Body
from meshes.outline import nearest, point_at
from studies.drawing.plan import on_page
from studies.drawing.scales import round_down
from studies.drawing.sheet import Sheet, lettering, save, sheet
from studies.squeeze.result import GRAVITY, Squeeze, ring

REACH = 0.11  # of the rim's width: how far the furthest point of the softest build is drawn to move
Stroke = tuple[str | tuple[int, tuple[float, ...]], float, str]  # dashes [points], width, grey
STYLES: tuple[Stroke, ...] = (  # line styles that a copy in black and white keeps apart
    ("solid", 1.5, "0.0"),
    ((0, (6, 2)), 1.1, "0.0"),
    ((0, (1, 1.6)), 1.4, "0.0"),
    ((0, (7, 1.5, 1, 1.5)), 1.0, "0.0"),
    ((0, (2.5, 1)), 2.0, "0.55"),
    ((0, (10, 3)), 0.7, "0.0"),
)
BEFORE: Stroke = ("solid", 3.2, "0.82")
MARKERS = "osD^v"
WIDTH, ROW, TEXT = 180.0, 5.5, 7.5  # mm of print, points


def draw(study: Squeeze, out: Path) -> list[Path]:
    """Write squeezed_rim.svg and .png into the folder; returns the paths."""
    return save(squeezed_figure(study), out / "squeezed_rim", (".svg", ".png"))


def squeezed_figure(study: Squeeze) -> Figure:
    """Figure with one panel for each squeeze of the free rim."""
    presses = list(study.places)
    arc, plan = true_outline(study.body)
    span = np.ptp(plan, axis=0)
    wide = (WIDTH - 4 * (len(presses) + 1)) / max(len(presses), 2)
    high = wide * (1.1 * span[1]) / (1.3 * span[0])
    foot = ROW * (len(study.rows) + 1.5) + 15
    page = sheet(WIDTH, high + foot + 13)
    for k, press in enumerate(presses):
        left = 4 + k * (wide + 4)
        times = _panel(page.axes(left, foot, wide, high), study, press, arc, plan)
        middle = left + wide / 2
        page.words(middle, page.height - 2, press, TEXT + 1.5, "0", "center", "top")
        page.words(middle, page.height - 7.5, f"motion drawn {times:g} times", TEXT - 1, "0.3", "center", "top")
    _chart(page, study)
    return page.figure


def true_outline(body: Body) -> tuple[np.ndarray, np.ndarray]:
    """Arc lengths (m,) [m] of the outline itself, not of the mesh's polygon, and its points (m, 2) on the page [m]."""
    arc = np.linspace(0, body.outline.perimeter, 1200, endpoint=False)
    return arc, on_page(point_at(body.outline, arc))


def motion_along(study: Squeeze, motion: np.ndarray, arc: np.ndarray) -> np.ndarray:
    """(m, 2) motion at arc lengths (m,) of the outline, from that (k, 2) of the mesh's corners, smooth between them."""
    outline, corners = study.body.outline, ring(study.space, "rim_top")[::3]
    at = np.array([nearest(outline, point) for point in study.space.points[corners, :2]])
    order = np.argsort(at)
    at, motion = at[order], motion[::3][order]
    around = np.append(at, at[0] + outline.perimeter), np.vstack([motion, motion[:1]])
    return CubicSpline(*around, bc_type="periodic")(at[0] + (arc - at[0]) % outline.perimeter)


def _panel(ax: Axes, study: Squeeze, press: str, arc: np.ndarray, plan: np.ndarray) -> float:
    """Draws one squeeze; returns how many times its motion is enlarged."""
    span, middle = np.ptp(plan, axis=0), (plan.max(axis=0) + plan.min(axis=0)) / 2
    furthest = max(np.hypot(*row.outline[press].T).max() for row in study.rows)
    times = round_down(REACH * span[0] / furthest)
    _curve(ax, plan, BEFORE)
    for row, style in zip(study.rows, cycle(STYLES)):
        _curve(ax, plan + times * on_page(motion_along(study, row.outline[press], arc)), style)
    arrow = {"arrowstyle": "-|>", "lw": 1.0, "color": "0.0", "shrinkA": 0, "shrinkB": 0, "mutation_scale": 9}
    for place in on_page(study.places[press]):
        outward = np.array([np.sign(place[0]) * span[0], 0])
        ax.annotate("", place + 0.012 * outward, place + 0.125 * outward, arrowprops=arrow)
    ax.set_xlim(middle[0] - 0.65 * span[0], middle[0] + 0.65 * span[0])
    ax.set_ylim(middle[1] - 0.55 * span[1], middle[1] + 0.55 * span[1])
    ax.set_aspect("equal")
    ax.set_axis_off()
    return times


def _curve(ax: Axes, xy: np.ndarray, style: Stroke) -> None:
    dashes, width, grey = style
    ax.plot(*np.vstack([xy, xy[:1]]).T, ls=dashes, lw=width, color=grey, solid_joinstyle="round")


def _chart(page: Sheet, study: Squeeze) -> None:
    """One row for each build: its line style, its name, and every deflection with the reading error on one scale [mm]."""
    rows, left, family = len(study.rows), 82.0, lettering()
    ax = page.axes(left, 13, WIDTH - left - 8, ROW * (rows + 0.5))
    for k, row in enumerate(study.rows):
        for press, marker in zip(study.presses["free"], MARKERS):
            d = row.deflection["free", press]
            error = 1e3 * study.errors.of_deflection(d)
            ax.errorbar(
                1e3 * d, k, xerr=error, fmt=marker, ms=4.2, mfc="1.0", mec="0.0", mew=0.8, ecolor="0.0", elinewidth=0.7,
                capsize=2, label=press if k == 0 else None,
            )  # fmt: skip
        _sample(page, row.build.label, STYLES[k % len(STYLES)], 13 + ROW * (rows - 0.5 - k))
    _sample(page, "before", BEFORE, 13 + ROW * (rows + 0.6))
    ax.set_ylim(rows - 0.5, -1)
    ax.set_xlim(left=0)
    ax.set_yticks(range(rows), [""] * rows)
    ax.grid(axis="y", lw=0.3, color="0.85")
    ax.tick_params(labelsize=TEXT - 1, length=2, width=0.5)
    ax.tick_params(axis="y", length=0)
    ax.set_axisbelow(True)
    for name, spine in ax.spines.items():
        spine.set_visible(name == "bottom")
        spine.set_linewidth(0.5)
    ax.set_xlabel("given under the load, mm; bars: reading error", labelpad=1, family=family, size=TEXT - 0.5)
    ax.legend(
        loc="lower right", bbox_to_anchor=(1, 0.98), ncols=4, frameon=False, handletextpad=0.2, columnspacing=1.2,
        prop={"family": family, "size": TEXT - 0.5}, borderpad=0,
    )  # fmt: skip
    told = (
        f"{study.body.name}: open rim, free, two forces of {study.load:g} kg ({study.load * GRAVITY:.1f} N) pressing together, "
        "half at each edge; seen from the front, neck up. Computed; model error not known."
    )
    page.words(4, 3, told, TEXT - 1.5, "0.3")


def _sample(page: Sheet, label: str, style: Stroke, y: float) -> None:
    dashes, width, grey = style
    across, up = [4 / WIDTH, 18 / WIDTH], [y / page.height] * 2
    page.figure.add_artist(Line2D(across, up, ls=dashes, lw=width, color=grey, figure=page.figure))
    words, place = fill(label, 44), (20 / WIDTH, up[0])
    page.figure.text(*place, words, size=TEXT, family=lettering(), va="center", linespacing=1.0)
