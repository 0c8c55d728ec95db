"""What the weather study holds, and what is read from it."""

from dataclasses import dataclass

import numpy as np

from fem.moisture import equilibrium_moisture, movement
from meshes.open_rim import pressed_places
from studies.common.inputs import NO_SOURCE, Source
from studies.weather.readings import Response


@dataclass(frozen=True)
class Row:
    """One rim build."""

    build: object
    mass: dict[str, float]  # {part: kg}
    moisture: Response  # for 1 % more
    gap: Response | None  # for a gap of 1 m
    closing: float | None  # N that hold the gap of 1 m shut, all round
    balance: float  # largest relative difference of work and strain energy


@dataclass(frozen=True)
class Weather:
    """Everything that the report is made from."""

    body: object
    size: float  # m
    unknowns: tuple[int, int]  # fine, coarse
    built: float  # % relative humidity
    used: tuple[float, ...]
    temperature: float  # degrees Celsius
    rim_gap: float  # m
    rows: tuple[Row, ...]  # the sheet's own build first
    coarse: Row  # the sheet's own build on the coarser mesh
    movement: dict[str, object]  # {wood: Movement}
    ends: dict[str, list[str]]  # {plate: names of brace ends}
    places: dict[str, np.ndarray]  # {plate: (k, 2) m near its linings}
    space: object = None  # for pictures
    source: Source = NO_SOURCE

    @property
    def changes(self):
        """{used humidity: change of moisture content [%]}."""
        start = equilibrium_moisture(self.built, self.temperature)
        return {used: equilibrium_moisture(used, self.temperature) - start for used in self.used}


def board_movement(board):
    """(along, across) strain of a board per 1 % of moisture."""
    m = movement(board.wood)
    return m.along, m.radial


def free_width(board, width):
    """m by which a loose board of that width across the body widens for 1 % more moisture."""
    along, across = board_movement(board)
    return width * (along * np.sin(board.grain_angle) ** 2 + across * np.cos(board.grain_angle) ** 2)


# --- measures ---


def widths(body):
    """{place: m} across the body at its bouts and waist."""
    return {place: float(bass[0, 1] - treble[0, 1]) for place, (treble, bass) in pressed_places(body).items()}


def worst(study: "Weather", row: Row, plate: str, where: str, change: float) -> tuple[float, str]:
    """(Pa, words) as largest_pull, with words for the place, '' where nothing pulls."""
    pull, at = largest_pull(row, plate, where, change, study.rim_gap)
    if at is None:
        return pull, ""
    return pull, study.ends[plate][at] if where == "ends" else place_words(study.places[plate][at])


def largest_pull(row: Row, plate: str, where: str, change: float, rim_gap: float = 0.0) -> tuple[float, int | None]:
    """(Pa, index of the place) of the largest tension across the grain of a plate for a change of moisture [%].

    where: 'linings' or 'ends'. The stress of a gap [m] glued shut is added, counted either way round. (0, None) where
    nothing pulls or is there.
    """
    stress = change * getattr(row.moisture.stress[plate], where)
    if row.gap is not None:
        stress = stress + rim_gap * np.abs(getattr(row.gap.stress[plate], where))
    if not stress.size or stress.max() <= 0:
        return 0.0, None
    return float(stress.max()), int(np.argmax(stress.max(axis=1)))


def place_words(place: np.ndarray) -> str:
    """Words for a place (2,) [m] in plan."""
    x, y = place
    return f"{1e3 * x:.0f} mm from the tail, {1e3 * abs(y):.0f} mm {side(y)}"


def mean_pull(row, plate, change):
    """Pa across the grain near the linings of a plate, through the thickness and all round, for a change of moisture [%]."""
    return float(np.mean(change * row.moisture.stress[plate].linings))


def side(y):
    return "on the bass side" if y > 0 else "on the treble side"
