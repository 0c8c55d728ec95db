"""What the sustain study finds: shapes and units of everything that its report is made from."""

from dataclasses import dataclass

import numpy as np

from meshes.holding import FREE, LAP
from studies.common.groups import IN_RIM
from studies.common.inputs import NO_SOURCE, Source

HOLDINGS = (FREE, LAP)
MESH, WOOD, STRING_LOSSES, RIM_LOSSES = "mesh", "wood scatter", "string losses", "rim losses"  # the doubts of a ratio


@dataclass(frozen=True)
class Played:
    """One rim build, held one way, on the finer mesh. Boards are (strings, frets + 1), lowest string first.

    Single notes may be shorter without loss in the rim: on a body resonance less loss means more motion, and the string
    gives its energy to it sooner. The median note lasts longer.
    """

    build: object  # rim_builds.Build
    how: str  # one of HOLDINGS
    board: object  # fem.fretboard.Fretboard as given
    no_rim_loss: object  # Fretboard of the counterfactual: no heat in any part of the rim, all else equal
    wolves: tuple  # of fem.fretboard.Wolf, strongest first
    median: dict[str, float]  # over the valid notes: the keys of MEDIANS
    share: dict[str, float]  # {group of studies.air.GROUPS or 'string': mean over the valid notes}; sums to 1
    rate: dict[
        str, float
    ]  # {group or 'string': 1/s}, mean over the valid notes of share/T60: how fast notes lose to it

    @property
    def rim(self):
        """Share of the plucks' energy turned to heat in the rim."""
        return sum(self.share[group] for group in IN_RIM)


MEDIANS = {  # {key of Played.median: (words, unit)}
    "decay_time": ("decay by 60 dB", "s"),
    "early_decay_time": ("early decay: six times the first 10 dB", "s"),
    "sound_decay_time": ("decay of the sound still to come by 60 dB", "s"),
    "no_rim_loss": ("decay time without any loss in the rim, over the real one", ""),
    "no_rim_loss_early": ("the same of the early decay", ""),
    "radiated": ("energy radiated by a pluck", "J"),
    "mobility": ("real part of the mobility at the saddle, log mean 80 to 500 Hz", "s/kg"),
}


@dataclass(frozen=True)
class Flip:
    """The loss of the whole rim at which the verdict's word becomes another, every other doubt as it stands."""

    factor: float  # times the losses of every part of the rim, of both builds alike
    loss_factor: float  # the rim's mean loss factor there (of the sheet's own build)
    word: str  # the verdict's word beyond
    at_given: str  # the word with the losses as given, their own doubt left out


@dataclass(frozen=True)
class Judged:
    """The ratio of one decay time, build over sheet's own, and what may be said of it."""

    ratio: float  # median over notes
    doubts: dict[str, tuple[float, float]]  # {MESH, WOOD, ...: (low, high) of `ratio`}; a doubt not computed is missing
    low: float  # all doubts together, see hearing.combined
    high: float
    verdict: object  # hearing.Verdict: word, sentence, by_tolerance, reason
    why: str  # plain sentence on what changed the decay, audible or not; '' where not even its direction is known
    decisive: tuple[str, ...]  # doubts that alone decide the word: what to measure first


@dataclass(frozen=True)
class Compared:
    """A build beside the sheet's own, held one way. Ratios are build over sheet's own."""

    build: object
    how: str
    by_note: np.ndarray  # (strings, frets + 1) ratio of T60; nan where a note is not valid in both
    decay: Judged  # of T60; its fields are properties of this as well
    early: Judged  # of the early decay, six times the first 10 dB
    sound: Judged  # of the decay of the sound still to come
    radiated_db: float  # median over notes, dB
    mobility_db: float  # dB of the log mean of Re Y
    paired: object  # studies.paired.PairedSummary of T60 over the wood scatter; None: this build was not drawn
    audible: dict[str, float]  # {tolerance: share of notes whose T60 ratio leaves it}
    flip: Flip | None  # of the word on T60; None: the word stays the same between the factors of Study.flip_range
    stiffness: float  # of the rim over that of the sheet's own, in the motion of the sheet's own low modes
    grams: float  # rim, more than the sheet's own

    ratio = property(lambda self: self.decay.ratio)
    early_ratio = property(lambda self: self.early.ratio)
    sound_ratio = property(lambda self: self.sound.ratio)
    doubts = property(lambda self: self.decay.doubts)
    low = property(lambda self: self.decay.low)
    high = property(lambda self: self.decay.high)
    verdict = property(lambda self: self.decay.verdict)
    why = property(lambda self: self.decay.why)
    decisive = property(lambda self: self.decay.decisive)


@dataclass(frozen=True)
class Drying:
    """One build in the driest air of the sheet: tension across the grain of the plates [Pa], worst place near the linings."""

    build: object
    top: float
    top_place: str
    back: float
    back_place: str
    rim_g: float


@dataclass(frozen=True)
class Dry:
    """The air of the Drying results."""

    built: float  # % relative humidity at glue-up
    used: float  # % of the driest use
    rows: tuple[Drying, ...]  # in the order of the builds


@dataclass(frozen=True)
class Study:
    """Everything that the report is made from."""

    body: object
    strings: object  # meshes.string_sets.StringSet on the sheet's scale
    pluck: object  # fem.strings.Pluck
    builds: tuple  # of Build, the sheet's own ('sheet') first
    played: dict  # {(build name, how): Played}
    compared: dict  # {(build name, how): Compared} of every build but the sheet's own
    no_rim_low: dict  # {how: ratio T60 without rim loss over real, sheet's own, losses at the low end of their ranges}
    no_rim_high: dict  # {how: the same at the high end}
    dry: Dry
    mesh_by_note: dict  # {how: {tolerance: share of the sheet's own notes that the coarser mesh moves beyond it}}
    top_damping: dict  # {how: (T60 with half the top's losses over that as given, with double)}: an outside check
    rim_loss_factor: float  # mean of the sheet's own rim, by the energy stored in it
    rim_loss_ranges: tuple  # of meshes.body.Assumption: the ranges of joints, linings, sides
    highest_valid: float  # Hz: no note is answered for above
    sizes: tuple[float, float]  # m, the finer and the coarser mesh
    unknowns: tuple[int, int]
    dry_modes: int
    flip_range: tuple[float, float]  # factors between which a flip was looked for
    draws: int  # of the wood; 0: wood scatter not computed
    wood_words: tuple[str, ...]  # how they were drawn, and the observed error
    rim_g: dict[str, float]  # {build name: g}
    notes: tuple[str, ...]  # plain lines for the maker: the nut stands still, wood scatter not computed, ...
    source: Source = NO_SOURCE

    @property
    def own(self):
        """{how: Played} of the sheet's own build."""
        return {how: self.played["sheet", how] for how in HOLDINGS}
