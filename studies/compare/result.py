"""What is known of sheets that are set beside each other: figures with their mesh errors, modes paired, notes with their doubts."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from fem.body_modes import BodyModes
from fem.strings import Pluck
from meshes.body import Assumption, Body
from meshes.string_sets import StringSet
from studies.common.builds import Build
from studies.common.inputs import Source
from studies.sustain.result import Judged

Three = tuple[float, float, float]  # in cubic elements, in the richer space, on longer edges


@dataclass(frozen=True)
class Figure:
    """One figure of every sheet with its mesh error, all in `unit`; None where there is none."""

    group: str  # of what it is one: 'weight', 'bridge tap', ...
    key: str
    words: str
    unit: str
    digits: int
    values: tuple[float | None, ...]
    errors: tuple[float | None, ...]
    how: str = ""  # how the guitar is held, where that matters

    def change(self, k: int) -> tuple[float, float] | None:
        """(difference of sheet k from the first one, both errors joined as the root of their squares); None where not known.

        What is the same, error and all, differs by nothing, and that without an error.
        """
        a, b, ea, eb = self.values[0], self.values[k], self.errors[0], self.errors[k]
        if a is None or b is None or ea is None or eb is None:
            return None
        if (a, ea) == (b, eb):
            return 0.0, 0.0
        return b - a, float(np.hypot(ea, eb))

    def told_apart(self, k: int) -> bool:
        """Whether sheet k differs from the first one by more than both errors joined."""
        found = self.change(k)
        return found is not None and abs(found[0]) > found[1]


@dataclass(frozen=True)
class Held:
    """One sheet held one way. n modes of the body, ascending."""

    frequency: np.ndarray  # (n,) Hz
    error: np.ndarray  # (n,) Hz of mesh; nan where the estimate cannot see
    loss_factor: np.ndarray  # (n,)
    rim: np.ndarray  # (n,) part of the loss that is heat in the rim
    rim_error: np.ndarray  # (n,)
    moves: tuple[str, ...]  # of the first modes, in words
    motion: np.ndarray = field(repr=False)  # (p, n) complex, of common places, outward
    figures: dict[str, Three]  # {key: value}: of energies and of the bridge tap; nan where there is none
    bodies: tuple[BodyModes, BodyModes, BodyModes] = field(repr=False)  # for strings
    unexplained: dict[str, np.ndarray] = field(
        repr=False
    )  # {place: (m, m) loss of unit size}, of the first of `bodies`


@dataclass(frozen=True)
class Solved:
    """One sheet solved."""

    name: str  # of the file, without its ending
    body: Body
    source: Source
    build: Build
    mass: dict[str, Three]  # {part: kg}
    held: dict[str, Held]  # {how}
    weight: np.ndarray = field(repr=False)  # (p,) of the common places; 0 where this body has no wood
    most: dict[str, float] = field(repr=False)  # {place: times its unit loss} as of this sheet's first resonances
    unknowns: tuple[int, int, int]
    valid_to: float  # Hz


@dataclass(frozen=True)
class Paired:
    """Modes of the first sheet and their partners in another one, (n,) each; -1: none looks like it."""

    partner: np.ndarray
    assurance: np.ndarray


@dataclass(frozen=True)
class Noted:
    """A few notes of every sheet: doubts about the changes, and the figures themselves."""

    places: tuple[tuple[int, int], ...]  # (string, fret)
    figures: tuple[Figure, ...]  # medians over the notes that every sheet answers for
    judged: tuple[dict[tuple[str, str], Judged], ...]  # of every sheet but the first: {(how, measure's key)}
    strings: tuple[StringSet, ...]
    pluck: tuple[Pluck, ...]
    assumed: tuple[Assumption, ...]


@dataclass(frozen=True)
class Beside:
    """Everything that the report is made from; the first sheet is the one that others are compared with."""

    sheets: tuple[Solved, ...]
    size: float  # m
    count: int  # modes compared
    figures: tuple[Figure, ...]  # weights, energies, bridge tap, at rest
    paired: tuple[dict[str, Paired], ...]  # of every sheet but the first: {how}
    noted: Noted | None

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(sheet.name for sheet in self.sheets)

    def of(self, group: str, how: str = "") -> Sequence[Figure]:
        """Figures of a group, held one way."""
        return [f for f in self.figures if f.group == group and f.how == how]
