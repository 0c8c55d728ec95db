"""The unbent side: its height along the rim, as a table and as a drawing at full size to lay on the wood."""

import csv
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from meshes.body import Body, back_height, top_height
from meshes.lengths import MM_PER_INCH
from meshes.outline import point_at, where_y
from meshes.side_ports import from_tail, height_of
from meshes.whole_file import whole_file, whole_text

SIDES = ("bass", "treble")
STEP = 0.025  # m between stations
MM = 1e3
TURN = np.linspace(0, 2 * np.pi, 181)


def side_profile(body: Body, side: str = "bass", step: float = STEP) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stations along one side from the tail's centre line to the neck's: distance s, top edge and back edge z (k,) [m].

    z counts from the level of the top's edge on average, upward; the height of the side is top - back. The side is
    developed along its outer measure, the outline of the body. ValueError for a side that is not 'bass' or 'treble'.
    """
    if side not in SIDES:
        raise ValueError(f"side '{side}'; expected one of {', '.join(SIDES)}")
    total = body.outline.perimeter
    neck = where_y(body.outline, 0.0)[-1]
    length = total - neck if side == "bass" else neck
    s = np.append(np.arange(0, length - step / 4, step), length)
    x, y = point_at(body.outline, total - s if side == "bass" else s).T
    return s, top_height(body, x, y), back_height(body, x, y)


def ports_on(body: Body, side: str) -> list[tuple[int, float, float, float]]:
    """[(number, distance of the centre along the side from the tail, its z, radius)] [m] of the ports in one side."""
    return [
        (number, from_tail(body, port), height_of(body, port), port.radius)
        for number, port in enumerate(body.side_ports, 1)
        if port.side == side
    ]


def write_profile_table(body: Body, path: Path, side: str = "bass") -> Path:
    """CSV of the unbent side, millimetres."""
    s, top, back = side_profile(body, side)
    with whole_text(path) as stream:
        writer = csv.writer(stream)
        writer.writerow(["from_tail_along_side_mm", "top_edge_mm", "back_edge_mm", "height_mm"])
        writer.writerows([f"{MM * v:.1f}" for v in row] for row in zip(s, top, back, top - back))
    return path


def draw_profile(body: Body, path: Path, side: str = "bass") -> Path:
    """PDF of the unbent side at full size, with the height every 25 mm and a bar of 100 mm to check the print."""
    from meshes.figures import Figure

    s, top, back = (MM * v for v in side_profile(body, side))
    fine, top_line, back_line = (MM * v for v in side_profile(body, side, step=0.005))
    left, low = 15.0, back.min() - 32
    width, height = s[-1] + 2 * left, top.max() - low + 12
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set(xlim=(-left, width - left), ylim=(low, low + height), aspect="equal")
    ax.set_axis_off()
    ax.plot(np.r_[fine, fine[::-1], fine[0]], np.r_[top_line, back_line[::-1], top_line[0]], "k", lw=0.8)
    for x, z0, z1 in zip(s, back, top):
        ax.plot([x, x], [z0, z1], color="0.6", lw=0.3)
        ax.text(x, z0 - 2, f"{z1 - z0:.1f}", fontsize=6, ha="center", va="top", rotation=90)
    for number, place, z, radius in ports_on(body, side):
        _draw_port(ax, number, MM * place, MM * z, MM * radius)
    ax.plot([0, 100], [low + 8] * 2, "k", lw=1.2)
    for x in range(0, 101, 10):
        ax.plot([x, x], [low + 8, low + 11], "k", lw=0.6)
    ax.text(105, low + 8, "100 mm: measure this bar on the print before you cut", fontsize=8)
    ax.text(
        2,
        top.max() + 3,
        f"{body.name}: unbent side, {side}; tail left, neck right; leave a margin for trimming",
        fontsize=8,
    )
    with whole_file(path) as stream:
        figure.savefig(stream, format="pdf")
    return path


def _draw_port(ax: Axes, number: int, x: float, z: float, radius: float) -> None:
    """Circle with its centre marked and its measures beside it [mm]."""
    ax.plot(*(radius * np.array([np.cos(TURN), np.sin(TURN)]) + [[x], [z]]), "k", lw=0.8)
    for dx, dz in ((4, 0), (0, 4)):
        ax.plot([x - dx, x + dx], [z - dz, z + dz], "k", lw=0.4)
    text = f"port {number}: {2 * radius:.0f} across, its centre {x:.0f} from the tail"
    ax.text(x, z - radius - 3, text, fontsize=6, ha="center", va="top", bbox={"fc": "w", "ec": "none", "pad": 0.5})
