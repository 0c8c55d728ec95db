"""What the squeeze study holds: deflections of each build of the open rim."""

from dataclasses import dataclass, field

import numpy as np

from meshes.measured import Measured, ReadingErrors
from studies.common.inputs import NO_SOURCE, Source
from studies.common.two_meshes import mesh_error

GRAVITY = 9.80665  # m/s2
BATTEN = 0.200  # m, from the centre line to the weight that twists
STATES = {"free": (), "mould": ("rim_back",)}  # and which edges are held in place, free to turn


@dataclass(frozen=True)
class Row:
    """One build of the open rim on one mesh."""

    build: object
    mass: dict[str, float]  # {part: kg}
    deflection: dict[tuple[str, str], float]  # {(state, press): m}
    outline: dict[str, np.ndarray]  # {press: (k, 2) m} how the free rim's plan shape moves, mean of both edges
    frequency: dict[str, np.ndarray]  # {state: (COUNT,) Hz}
    loss_factor: dict[str, np.ndarray | None]  # {state: (COUNT,)}; None: not known
    balance: float  # largest relative difference of work and strain energy


@dataclass(frozen=True)
class Squeeze:
    """Everything that text, tables and picture are made from."""

    body: object
    load: float  # kg
    size: float  # m
    rows: tuple[Row, ...]  # the sheet's own build first
    coarse: tuple[Row, ...]
    plan: np.ndarray  # (k, 2) m, the outline that Row.outline moves
    places: dict[str, np.ndarray]  # {press: (2, 2) m} where the outline is pressed
    errors: ReadingErrors = field(default_factory=ReadingErrors)
    measured: Measured = field(default_factory=Measured)
    tones: tuple = ()  # of the rim's recordings
    notes: tuple[str, ...] = field(default=())
    unknowns: tuple[int, int] = (0, 0)  # of the finer and the coarser mesh
    source: Source = NO_SOURCE

    @property
    def presses(self):
        """{state: names of the presses}, in order."""
        found = {state: [] for state in STATES}
        for state, press in self.rows[0].deflection:
            found[state].append(press)
        return found


# --- measures ---


def told_apart(study, a, b, state="free"):
    """The presses by which a ruler tells row a from row b: they differ by more than both reading errors together."""
    found = []
    for press in study.presses[state]:
        one, other = (row.deflection[state, press] for row in (a, b))
        if abs(one - other) > study.errors.of_deflection(one) + study.errors.of_deflection(other):
            found.append(press)
    return found


def largest_mesh_error(study, state, press):
    """Largest mesh error [m] over the builds: two meshes may agree on one of them by chance."""
    return max(
        mesh_error(a.deflection[state, press], b.deflection[state, press]) for a, b in zip(study.rows, study.coarse)
    )
