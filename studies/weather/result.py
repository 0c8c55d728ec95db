"""What the weather study holds, and what is read from it."""

from dataclasses import dataclass

import numpy as np

from fem.moisture import equilibrium_moisture, movement
from meshes.body import Board, Body
from meshes.open_rim import pressed_places
from studies.common.at_rest import AtRest
from studies.common.builds import Build


@dataclass(frozen=True)
class Stress:
    """A plate's stress across the grain, per 1 % of moisture (or for the gap): at its faces, averaged over patches [Pa]."""

    linings: np.ndarray  # (places, 2) near the linings; outer and inner face
    ends: np.ndarray  # (brace ends, 2)
    everywhere: np.ndarray  # (nodes, 2), for pictures


@dataclass(frozen=True)
class Response:
    """The box under one cause: 1 % more moisture, or a rim gap of 1 m."""

    displacement: np.ndarray  # (nodes, 3) m, as seen from the rim
    width: dict[str, tuple[float, ...]]  # {place: (top edge, back edge)} m
    arch: dict[str, float]  # {plate: m}, positive where the arch rises
    stress: dict[str, Stress]


@dataclass(frozen=True)
class Row:
    """One rim build."""

    build: Build
    mass: dict[str, float]  # {part: kg}
    moisture: Response  # for 1 % more
    gap: Response  # for a gap of 1 m
    closing: float  # N that hold the gap of 1 m shut, all round
    balance: float  # largest relative difference of work and strain energy


@dataclass(frozen=True)
class Weather(AtRest[Row]):
    """Everything that the report is made from."""

    built: float  # % relative humidity
    used: tuple[float, ...]
    rim_gap: float  # m

    @property
    def changes(self) -> dict[float, float]:
        """{used humidity: change of moisture content [%]}."""
        start = equilibrium_moisture(self.built)
        return {used: equilibrium_moisture(used) - start for used in self.used}

    @property
    def driest(self) -> float:
        """The driest of the used humidities [%]."""
        return min(self.used)


def board_movement(board: Board) -> tuple[float, float]:
    """(along, across) strain of a board per 1 % of moisture."""
    m = movement(board.wood)
    return m.along, m.radial


def free_width(board: Board, width: float) -> float:
    """m by which a loose board of that width across the body widens for 1 % more moisture."""
    along, across = board_movement(board)
    return width * (along * np.sin(board.grain_angle) ** 2 + across * np.cos(board.grain_angle) ** 2)


# --- measures ---


def widths(body: Body) -> dict[str, float]:
    """{place: m} across the body at its bouts and waist."""
    return {place: float(bass[0, 1] - treble[0, 1]) for place, (treble, bass) in pressed_places(body).items()}


def largest_pull(row: Row, plate: str, where: str, change: float, rim_gap: float = 0.0) -> tuple[float, int | None]:
    """(Pa, index of the place) of the largest tension across the grain of a plate for a change of moisture [%].

    where: 'linings' or 'ends'. The stress of a gap [m] glued shut is added, counted either way round. (0, None) where
    nothing pulls or is there.
    """
    swollen, closed = (getattr(response.stress[plate], where) for response in (row.moisture, row.gap))
    stress = change * swollen + rim_gap * np.abs(closed)
    if not stress.size or stress.max() <= 0:
        return 0.0, None
    return float(stress.max()), int(np.argmax(stress.max(axis=1)))


def gap_pull(row: Row, plate: str, where: str, rim_gap: float) -> float:
    """Largest built-in tension [Pa] across the grain from a rim gap [m], either way round; where: as in largest_pull."""
    return rim_gap * float(np.abs(getattr(row.gap.stress[plate], where)).max(initial=0))


def mean_pull(row: Row, plate: str, change: float) -> float:
    """Pa across the grain near the linings of a plate, through the thickness and all round, for a change of moisture [%]."""
    return float(np.mean(change * row.moisture.stress[plate].linings))


def place_words(place: np.ndarray) -> str:
    """Words for a place (2,) [m] in plan."""
    x, y = place
    return f"{1e3 * x:.0f} mm from the tail, {1e3 * abs(y):.0f} mm on the {'bass' if y > 0 else 'treble'} side"
