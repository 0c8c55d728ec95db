"""What the sustain study finds: shapes and units of everything that its report is made from."""

from dataclasses import dataclass, field

import numpy as np

from fem.body_modes import BodyModes
from fem.fretboard import Fretboard, Wolf
from fem.strings import Pluck
from meshes.body import Body
from meshes.string_sets import StringSet
from meshes.supports import FREE, LAP
from studies.common.builds import Build
from studies.common.draws import PairedSummary
from studies.common.groups import IN_RIM
from studies.common.inputs import NO_SOURCE, Source
from studies.sustain.hearing import Verdict

SUPPORT_CONDITIONS = (FREE, LAP)
MESH, WOOD, STRING_LOSSES, RIM_LOSSES, UNEXPLAINED, PLAYER = (
    "mesh",
    "wood scatter",
    "string losses",
    "rim losses",
    "unexplained loss",
    "player",
)  # what is uncertain about a ratio
TIMES = "decay_time", "early_decay_time", "sound_decay_time"  # measures of a Fretboard, as of fretboards.decay_times


@dataclass(frozen=True)
class Medians:
    """Over the valid notes of one build held one way."""

    decay_time: float  # s, by 60 dB
    early_decay_time: float  # s: six times the first 10 dB
    sound_decay_time: float  # s, of the sound still to come by 60 dB
    no_rim_loss: float  # decay time without any loss in the rim, over the real one
    no_rim_loss_early: float  # the same of the early decay
    radiated: float  # J, energy radiated by a pluck
    mobility: float  # s/kg, real part of the mobility at the saddle, log mean 80 to 500 Hz


@dataclass(frozen=True)
class Played:
    """One rim build, held one way, on the finer mesh. Fretboards are (strings, frets + 1), lowest string first.

    Single notes may be shorter without loss in the rim: on a body resonance less loss means more motion, and the string
    gives its energy to it sooner. The median note lasts longer.
    """

    build: Build
    how: str  # one of SUPPORT_CONDITIONS
    modes: BodyModes = field(repr=False)
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
    """The loss of the whole rim at which the verdict's word becomes another, every other uncertainty as it stands."""

    factor: float  # times the losses of every part of the rim, of both builds alike
    loss_factor: float  # the rim's mean loss factor there (of the sheet's own build)
    word: str  # the verdict's word beyond
    at_given: str  # the word with the losses as given, their own uncertainty left out


@dataclass(frozen=True)
class Judged:
    """The ratio of one decay time, build over sheet's own, and what may be said of it."""

    ratio: float  # median over notes
    doubts: dict[str, tuple[float, float]]  # {MESH, WOOD, ...: (low, high) of `ratio`}; none that was not computed
    low: float  # all together, see hearing.combined
    high: float
    verdict: Verdict
    why: str  # plain sentence on what changed the decay, audible or not; '' where not even its direction is known
    decisive: tuple[str, ...]  # uncertainties that alone decide the word: what to measure first


@dataclass(frozen=True)
class Compared(Judged):
    """A build beside the sheet's own, held one way: its T60 judged, and the rest. Ratios are build over sheet's own."""

    build: Build
    how: str
    by_note: np.ndarray  # (strings, frets + 1) ratio of T60; nan where a note is not valid in both
    early: Judged  # of the early decay, six times the first 10 dB
    sound: Judged  # of the decay of the sound still to come
    radiated_db: float  # median over notes, dB
    mobility_db: float  # dB of the log mean of Re Y
    paired: PairedSummary | None  # of T60 over the wood scatter; None: this build was not drawn
    audible: dict[str, float]  # {tolerance: share of notes whose T60 ratio leaves it}
    flip: Flip | None  # of the word on T60; None: the word stays the same between the factors of Study.flip_range


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
    mesh_by_note: dict[
        str, dict[str, float]
    ]  # {how: {tolerance: share of the sheet's own notes moved beyond by the mesh}}
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
    def own(self) -> dict[str, Played]:
        """{how: Played} of the sheet's own build."""
        return {how: self.played["sheet", how] for how in SUPPORT_CONDITIONS}
