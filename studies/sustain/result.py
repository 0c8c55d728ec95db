"""What the sustain study finds: shapes and units of everything that its report is made from."""

from dataclasses import dataclass, field

import numpy as np

from fem.body_modes import BodyModes
from fem.fretboard import Fretboard, Wolf
from fem.strings import Pluck
from meshes.body import Body
from meshes.string_sets import StringSet
from meshes.supports import FREE, LAP, PLAYED
from studies.common.builds import Build
from studies.common.draws import PairedSummary
from studies.common.groups import IN_RIM
from studies.common.inputs import NO_SOURCE, Source
from studies.sustain.bodies import BodyShifts

SUPPORT_CONDITIONS = (FREE, LAP, PLAYED)
MESH, WOOD, STRING_LOSSES, RIM_LOSSES, UNEXPLAINED, PLAYER, PLUCK = (
    "mesh",
    "wood scatter",
    "string losses",
    "rim losses",
    "unexplained loss",
    "player",
    "direction of the pluck",
)  # what is uncertain about a change


def holdings_of(body: Body) -> tuple[str, ...]:
    """How the guitar is held: without a neck there is nothing for a hand to hold."""
    return tuple(how for how in SUPPORT_CONDITIONS if how != PLAYED or body.neck is not None)


def without_hand(how: str) -> str:
    """What a way to hold the guitar is but for the fretting hand: played, the body and its modes are as on the lap."""
    return LAP if how == PLAYED else how


@dataclass(frozen=True)
class Medians:
    """Over the valid notes of one build held one way."""

    decay_time: float  # s, by 60 dB
    early_decay_time: float  # s: six times the first 10 dB of the sound still to come
    first_radiated: float  # J in the first half second
    no_rim_loss: float  # decay time without any loss in the rim, over the real one
    radiated: float  # J, energy radiated by a pluck
    mobility: float  # s/kg, real part of the mobility at the saddle, log mean 80 to 500 Hz; without the hand


@dataclass(frozen=True)
class Played:
    """One rim build, held one way, on the finer mesh. Fretboards are (strings, frets + 1), lowest string first.

    Single notes may be shorter without loss in the rim: on a body resonance less loss means more motion, and the string
    gives its energy to it sooner. The median note lasts longer.
    """

    build: Build
    how: str  # one of SUPPORT_CONDITIONS
    modes: BodyModes = field(repr=False)
    partner: np.ndarray = field(repr=False)  # (n,) this build's mode that is each of the sheet's own, -1: none
    board: Fretboard  # as given
    rough: Fretboard  # on the coarser mesh
    no_rim_loss: Fretboard  # of the counterfactual: no heat in any part of the rim, all else equal
    wolves: tuple[Wolf, ...]  # strongest first
    median: Medians
    share: dict[str, float]  # {group of common.groups.GROUPS or 'string': mean over the valid notes}; sums to 1
    rate: dict[str, float]  # {the same: 1/s}, mean over the valid notes of share/T60: how fast notes lose to it
    stiffness: float  # of the rim over that of the sheet's own, in the motion of the sheet's own low modes
    unexplained: dict[str, np.ndarray] = field(
        repr=False
    )  # {place of meshes.unexplained_loss: (n, n) the most it may lose}

    @property
    def rim(self) -> float:
        """Share of the plucks' energy turned to heat in the rim."""
        return sum(self.share[group] for group in IN_RIM)


@dataclass(frozen=True)
class Flip:
    """The loss of the whole rim at which the word on the guitar on the whole becomes another, all other doubts as they stand."""

    factor: float  # times the losses of every part of the rim, of both builds alike
    loss_factor: float  # the rim's mean loss factor there (of the sheet's own build)
    word: str  # beyond
    at_given: str  # with the losses as given, their own doubt left out


@dataclass(frozen=True)
class Judged:
    """The change of one measure over the whole fretboard, as a ratio of build over sheet's own."""

    ratio: float  # median over notes
    doubts: dict[str, tuple[float, float]]  # {MESH, WOOD, ...: (low, high) of `ratio`}; none that was not computed
    low: float  # all together, see rule.combined
    high: float
    word: str  # by this measure alone, held this way


@dataclass(frozen=True)
class SingleNotes:
    """The change of one measure note by note. Arrays (strings, frets + 1), nan where a note is not valid in both builds."""

    change: np.ndarray  # natural logarithm of build over sheet's own
    doubts: dict[str, np.ndarray | float]  # {MESH, ...: half bar of each note, or one for all}
    bar: np.ndarray  # half bar, all doubts together
    side: np.ndarray  # see rule
    word: str  # by this measure alone, held this way

    @property
    def known(self) -> np.ndarray:
        """bool: notes that are answered for."""
        return np.isfinite(self.change)

    def share(self, *sides: float) -> float:
        """Share of the notes that lie on some sides."""
        return float(np.isin(self.side[self.known], sides).mean()) if self.known.any() else float("nan")

    @property
    def open(self) -> float:
        """Share of the notes that are open."""
        return 1 - self.share(-1, 0, 1)


@dataclass(frozen=True)
class Compared:
    """A build beside the sheet's own, held one way. Dicts by the name of a Measure."""

    build: Build
    how: str
    judged: dict[str, Judged]
    notes: dict[str, SingleNotes]
    why: str  # plain sentence on what changed the late decay; '' where not even its direction is known
    # (radiated_sound.OCTAVES,) dB, median over notes of what each radiates; nan above the highest valid
    octaves_db: np.ndarray
    radiated_db: float  # median over notes of all that is radiated, dB
    mobility_db: float  # dB of the log mean of Re Y
    shifts: BodyShifts  # of the body's modes
    paired: dict[str, PairedSummary]  # over the wood scatter; empty: this build was not drawn
    flip: Flip | None  # of this way's word; None: the word stays the same between the factors of Study.flip_range


@dataclass(frozen=True)
class Drying:
    """One build in the driest air of the sheet: tension across the grain of the plates [Pa], worst place near the linings."""

    top: float
    back: float


@dataclass(frozen=True)
class Dry:
    """The air of the Drying results."""

    built: float  # % relative humidity at glue-up
    used: float  # % of the driest use
    builds: dict[str, Drying]  # by name


@dataclass(frozen=True)
class Study:
    """Everything that the report is made from."""

    body: Body
    strings: StringSet  # on the sheet's scale
    pluck: Pluck
    builds: tuple[Build, ...]  # the sheet's own ('sheet') first
    played: dict[tuple[str, str], Played]  # by (build name, how)
    compared: dict[tuple[str, str], Compared]  # by (build name, how), of every build but the sheet's own
    no_rim_low: dict[
        str, float
    ]  # {how: T60 without rim loss over real, sheet's own, losses at the low end of their ranges}
    no_rim_high: dict[str, float]  # {how: the same at the high end}
    dry: Dry
    top_damping: dict[str, tuple[float, float]]  # {how: (T60 with half the top's losses over given, with double)}
    rim_loss_factor: float  # mean of the sheet's own rim, by the energy stored in it
    unexplained: dict[
        str, dict[str, float]
    ]  # {how: {place: T60 of the sheet's own with the most it may lose, over given}}
    unexplained_in_joints: float  # loss factor that joints and linings would then have
    highest_valid: float  # Hz: no note is answered for above
    sizes: tuple[float, float]  # m, the finer and the coarser mesh
    unknowns: tuple[int, int]
    flip_range: tuple[float, float]  # factors between which a flip was looked for
    draws: int  # of the wood; 0: wood scatter not computed
    wood_words: tuple[str, ...]  # how they were drawn, and the observed error
    rim_g: dict[str, float]  # {build name: g}
    notes: tuple[str, ...]  # plain lines for the maker: the nut stands still, wood scatter not computed, ...
    source: Source = NO_SOURCE

    @property
    def holdings(self) -> tuple[str, ...]:
        """How the guitar is held."""
        return tuple(dict.fromkeys(how for _, how in self.played))

    def beside(self, name: str) -> dict[str, Compared]:
        """{how: Compared} of a build; empty if the run left it out."""
        return {how: self.compared[name, how] for how in self.holdings if (name, how) in self.compared}

    @property
    def own(self) -> dict[str, Played]:
        """{how: Played} of the sheet's own build."""
        return {how: self.played["sheet", how] for how in self.holdings}
