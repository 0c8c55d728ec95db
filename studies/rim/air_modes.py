"""Pictures of modes of top, back and the air between them together."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure

from fem.elements import Space
from fem.interpolate import volume_rows
from fem.viscothermal_losses import pressures
from meshes.body import back_height, top_height
from meshes.coupled_model import CoupledModel, FluidDomain, Structure
from meshes.drawing import block_outlines
from meshes.outline import within
from meshes.plan import inside as inside_convex
from meshes.supports import FREE
from studies.common.groups import IN_RIM, grouped
from studies.drawing.boards import Boards, boards_of
from studies.drawing.field import Field
from studies.drawing.mode_names import furthest
from studies.drawing.plan import FINER, Motion, PlatePlan, Style, draw_plates, on_page, proportion, true_curves
from studies.drawing.sheet import sheet
from studies.drawing.topology import Topology
from studies.rim.result import Result

WIDTH = 180.0  # mm of print
LEAST_AIR = 0.01  # part of the energy in the air from which on a mode is drawn with its air


@dataclass(frozen=True)
class BoardsAndAir:
    """Top, back and the air half way between them, ready to be painted with the modes of a CoupledModel."""

    structure: Structure
    boards: Boards
    middle: np.ndarray  # (n, 3) m, places half way between top and back
    topology: Topology  # of triangles of these
    pressure: np.ndarray  # (n, N) Pa there per unit of each unknown, of the kept cavity modes
    blocks: tuple[np.ndarray, ...]  # outlines (m, 2) on the page

    @cached_property
    def air_plate(self) -> PlatePlan:
        """The air as it lies on the page, seen through the top."""
        curves = (on_page(c[::FINER]) for c in true_curves(self.structure.body))
        return PlatePlan(on_page(self.middle[:, :2]), (*curves, *self.blocks))

    def fields(self, x: np.ndarray) -> dict[str, Field]:
        """{'top', 'back', 'air': Field} of a real state x (N,): displacement outward, pressure [Pa]."""
        inside = Field(self.middle, self.topology, self.pressure @ x, np.zeros_like(self.middle))
        return self.boards.moving(self.structure.shape @ x[: len(self.structure.frequency)]) | {"air": inside}


def boards_and_air(whole: CoupledModel) -> BoardsAndAir:
    """BoardsAndAir of a CoupledModel; no air where the blocks are."""
    s, fluid = whole.structure, whole.around
    assert isinstance(s.space, Space) and isinstance(fluid, FluidDomain)  # what is drawn has a mesh
    boards = boards_of(s.space, s.body, 3, ("top", "back"))
    back, blocks = boards.samplers["back"], block_outlines(s.body)
    in_wood = np.any([inside_convex(block, back.points[:, :2]) for block in blocks], axis=0)
    used, triangles = np.unique(back.triangles[~in_wood[back.triangles].all(axis=1)], return_inverse=True)
    x, y = back.points[used, :2].T
    middle = np.column_stack([x, y, (top_height(s.body, x, y) + back_height(s.body, x, y)) / 2])
    pressure = volume_rows(fluid.air.basis, middle) @ (fluid.air.shape @ pressures(fluid.air, whole.coupling))
    within_rim = tuple(on_page(within(s.body.outline, block)) for block in blocks)
    return BoardsAndAir(s, boards, middle, Topology(triangles.reshape(-1, 3)), pressure, within_rim)


def drawn_modes(result: Result, count: int) -> np.ndarray:
    """Indices of those of the first modes in which the air has a noticeable part of the energy."""
    return np.flatnonzero(result.modes.air_share[:count] > LEAST_AIR)


def mode_figure(boards: BoardsAndAir, result: Result, number: int, moves: str) -> tuple[Figure, str]:
    """Figure of one air-loaded mode, and its caption. The instant at which the surface moves furthest is shown."""
    m = result.modes
    x = np.real(m.shape[:, number] * furthest(result.motion[:, number]))
    fields = boards.fields(x)
    if fields["top"].value[np.argmax(np.abs(fields["top"].value))] < 0:
        fields = boards.fields(-x)
    plates, air = boards.boards.plates, {"air": boards.air_plate}
    largest = max(fields[n].largest for n in plates)
    ratio, alone = proportion(plates), proportion(air)
    high = (WIDTH - 12) / (1 / ratio + 1 / alone)
    page, left = sheet(WIDTH, high + 28), 4.0
    for group, p, scale, words in (
        (plates, ratio, largest, "top (left) and back (right), each as you face it"),
        (air, alone, fields["air"].largest, "pressure of the air inside, seen through the top"),
    ):
        wide = high / p
        ax = page.axes(left, 14, wide, high)
        draw_plates(ax, group, Motion(fields, scale), Style(scale=0.8))
        if group is air:
            wood = [block - [boards.air_plate.plan[:, 0].min(), 0] for block in boards.blocks]
            ax.add_collection(PolyCollection(wood, facecolors="w", zorder=2.5), autolim=False)
        page.words(left + wide / 2, 12, words, 7, "0", "center")
        left += wide + 4
    title = f"Mode {number + 1}, {m.frequency[number]:.1f} Hz, with air, {FREE}: {moves}"
    parts = (
        f"{100 * m.air_share[number]:.0f} % of the energy is in the air; of the loss {100 * m.loss_share['radiation'][number]:.0f} % "
        f"goes out as sound and {100 * sum(grouped(m.loss_share)[g][number] for g in IN_RIM):.1f} % turns to heat in the rim"
    )
    page.words(0.02 * WIDTH, page.height - 4.5, title, 8.5, "0")
    page.words(0.02 * WIDTH, page.height - 9, parts, 7.5, "0.25")
    page.colours(0.3 * WIDTH, 5.5, 0.4 * WIDTH, 3, zero=False)
    page.words(0.29 * WIDTH, 7, "inward, or pressure below", 6.5, "0", "right")
    page.words(0.71 * WIDTH, 7, "outward, or pressure above", 6.5, "0")
    note = f"Bold: at rest, or no pressure; white: blocks. Largest pressure for 1 µm of largest displacement of a plate: {1e-6 * fields['air'].largest / largest:.2g} Pa"
    page.words(0.5 * WIDTH, 2.5, note, 6.5, "0", "center")
    return page.figure, f"{title}; {parts}. {note}. Neck upward. Computed with Rimwork."
