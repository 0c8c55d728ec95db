"""What the squeeze study holds: deflections of each build of the open rim."""

from dataclasses import dataclass

import numpy as np

from fem.elements import Space
from fem.tap_tones import Tone
from meshes.measured import ReadingErrors
from meshes.open_rim import pressed_places
from studies.common.at_rest import AtRest
from studies.common.builds import Build
from studies.common.mesh_error import mesh_error

GRAVITY = 9.80665  # m/s2
BATTEN = 0.200  # m, from the centre line to the weight that twists
STATES = {"free": (), "mould": ("rim_back",)}  # and which edges are supported in place, free to turn


@dataclass(frozen=True)
class Row:
    """One build of the open rim on one mesh."""

    build: Build
    mass: dict[str, float]  # {part: kg}
    deflection: dict[tuple[str, str], float]  # {(state, press): m}
    outline: dict[str, np.ndarray]  # {press: (k, 2) m} how the free rim's plan shape moves, mean of both edges
    frequency: dict[str, np.ndarray]  # {state: (COUNT,) Hz}
    loss_factor: dict[str, np.ndarray | None]  # {state: (COUNT,)}; None: not known
    balance: float  # largest relative difference of work and strain energy


@dataclass(frozen=True)
class Squeeze(AtRest[Row]):
    """Everything that text, tables and picture are made from."""

    load: float  # kg
    errors: ReadingErrors = ReadingErrors()
    tones: tuple[Tone, ...] = ()  # of the rim's recordings
    notes: tuple[str, ...] = ()

    @property
    def presses(self) -> dict[str, list[str]]:
        """{state: names of the presses}, in order."""
        return {state: [press for s, press in self.rows[0].deflection if s == state] for state in STATES}

    @property
    def places(self) -> dict[str, np.ndarray]:
        """{press: (2, 2) m} where the outline is pressed: treble and bass side."""
        return {
            press: np.array([sides[0][0, :2], sides[1][0, :2]]) for press, sides in pressed_places(self.body).items()
        }


def ring(space: Space, edge: str) -> np.ndarray:
    """Shape-function nodes round the rim at one of its edges, each once, in order."""
    return space.edge_nodes(space.mesh.edges[edge])[:, :-1].ravel()


# --- measures ---


def apart(study: Squeeze, a: Row, b: Row) -> dict[str, tuple[float, float]]:
    """{press of the free rim: (how far two rows differ, both reading errors together)} [m]."""
    pairs = {press: (a.deflection["free", press], b.deflection["free", press]) for press in study.presses["free"]}
    error = study.errors.of_deflection
    return {press: (abs(one - other), error(one) + error(other)) for press, (one, other) in pairs.items()}


def told_apart(study: Squeeze, a: Row, b: Row) -> list[str]:
    """The presses by which a ruler tells row a from row b: they differ by more than both reading errors together."""
    return [press for press, (difference, errors) in apart(study, a, b).items() if difference > errors]


def press_error(study: Squeeze, row: Row, state: str, press: str) -> float:
    """Mesh error [m] of a deflection of a build: the same part of it as of the sheet's own."""
    own = mesh_error(*(found.deflection[state, press] for found in study.own))
    return own * abs(row.deflection[state, press] / study.rows[0].deflection[state, press])


def largest_mesh_error(study: Squeeze, state: str, press: str) -> float:
    """Largest mesh error [m] over the builds."""
    return max(press_error(study, row, state, press) for row in study.rows)
