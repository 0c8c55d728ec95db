"""What would two rim builds sound like? The same notes and a short phrase of both, as WAV files at one gain, plain and blind.

The sound pressure at a place, by default 1 m in front of the saddle in free air: each body mode's surface velocity times its
boundary-element transfer at the frequency of the motion. It ends where the computed modes end: everything above is missing,
from both builds alike.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fem.body_modes import BodyModes
from fem.coupled_string import valid_partials
from fem.radiation import Boundary, Radiation, point_pressure, static_integrals
from fem.strings import Pluck, String
from meshes.body import Body
from meshes.coupled_model import HIGHEST, FluidDomain, fluid_domain
from meshes.sheet_strings import Strung, strung
from meshes.supports import FREE
from meshes.unexplained_loss import LARGEST, factors, unit_losses
from studies.common.builds import Build, builds, complete_linings
from studies.common.inputs import BadInput, given_sheet, mesh_size
from studies.common.kept import kept_folder
from studies.common.mesh_error import LIMIT
from studies.common.progress import Progress
from studies.notes.question import held, read_places
from studies.notes.sound import KEY, Receiver, common_gain, phrase, reveal, write_blind, write_wavs
from studies.solved.answer import ask
from studies.solved.coupled import STEPS, coupled_models, shared
from studies.solved.level import DRY_MODES, prepare
from studies.solved.outside import in_front

LOWEST = 40.0  # Hz, of the boundary elements
NEAREST = 0.1  # m from the surface: nearer, its flat triangles show
SECONDS = 5.0  # of a single note
BEAT = 0.34  # s

# (string counted from the lowest, fret, beat at which it starts, beats that it rings): invented for this
PHRASE = (
    (1, 0, 0, 7), (2, 2, 1, 4), (3, 2, 2, 3), (4, 0, 3, 2), (5, 0, 4, 4), (4, 1, 5, 2), (3, 0, 6, 2), (2, 4, 7, 2),
    (1, 2, 7, 5), (4, 3, 8, 3), (3, 4, 9, 3), (2, 0, 10, 4), (0, 3, 12, 10), (3, 0, 12, 10), (4, 0, 12.15, 10),
    (5, 3, 12.3, 10),
)  # fmt: skip
NOTES = ((0, 0), (1, 3), (2, 0), (2, 7), (4, 0), (4, 5))  # single notes: open strings and fretted ones


PAIRS = GIVEN, SMALLEST, _ = "given", "smallest", "largest"  # differences of two builds, see sustain.pairs
Signals = dict[str, dict[str, np.ndarray]]  # {item: {build: sound pressure (k,) [Pa]}}


@dataclass(frozen=True)
class Heard:
    """One build ready to be played and heard at a place."""

    build: Build
    body: BodyModes
    radiated: Radiation = field(repr=False)  # Radiation of the body's real modes, with the pressure at the place
    valid_to: float  # Hz
    unexplained: dict[str, np.ndarray] = field(
        repr=False
    )  # {place of meshes.unexplained_loss: (n, n) the most it may lose}


@dataclass(frozen=True)
class Pair:
    """Two builds and how they are played."""

    words: str
    heard: tuple[Heard, ...]
    strings: tuple[String, ...]
    pluck: Pluck


@dataclass(frozen=True)
class Setting:
    """How the guitar is held, and the place (3,) [m] where it is heard."""

    how: str  # FREE, LAP or PLAYED
    place: np.ndarray


@dataclass(frozen=True)
class Wanted:
    """What is to be heard, as it is typed."""

    builds: tuple[str, ...] = ()  # two names; none: the sheet's own and solid linings
    notes: tuple[str, ...] = ()  # 'E2', 'D3+5'; none: the built-in ones
    held: str = "lap"
    place_mm: tuple[float, float, float] | None = None  # from the tail, from the centre line, out of the top
    blind: bool = True  # the same sounds without names, in a hidden order, too
    pair: str = GIVEN  # one of PAIRS


AS_GIVEN = (
    "Losses and pluck as given. Doubts about them leave a smaller and a larger difference: the same command with --pair smallest, "
    "--pair largest."
)
# how two builds are played: (one of PAIRS, [Heard], strings and pluck, notes to choose by, folder of kept results)
Choose = Callable[[str, Sequence[Heard], Strung, Sequence[tuple[int, int]], Path], Pair]


def as_given(pair: str, heard: Sequence[Heard], strung: Strung, places: Sequence[tuple[int, int]], store: Path) -> Pair:
    """Pair with losses and pluck as given, whatever `pair`."""
    return Pair(AS_GIVEN, tuple(heard), strung.strings.strings, strung.pluck)


def write_sounds(
    sheet: str | Path,
    out: str | Path | None = None,
    size_mm: float | None = None,
    strings: str | None = None,
    wanted: Wanted = Wanted(),
    choose: Choose = as_given,
) -> str:
    """Write the sounds of two builds of a sheet; returns what was written as text.

    choose: makes of the two builds what is played, by wanted.pair; the folder has that name if it is not GIVEN.
    """
    given, size, how = given_sheet(sheet), mesh_size(size_mm), held(wanted.held)
    if wanted.pair not in PAIRS:
        raise BadInput(f"--pair {wanted.pair}: expected {', '.join(PAIRS[:-1])} or {PAIRS[-1]}")
    body, _ = complete_linings(given.body)
    chosen = pair_of_builds(body, wanted.builds)
    strung_set = strung(body, strings)
    played = strung_set.strings.strings
    places = read_places(wanted.notes, played) or [p for p in NOTES if p[0] < len(played)]
    setting = Setting(how, place_of(body, wanted.place_mm))
    out = given.folder(out, "listen")
    store = kept_folder(out)
    row = choose(wanted.pair, ready(body, chosen, setting, size, store, len(played)), strung_set, places, store)
    signals, left_out = sounds(row.heard, row.strings, row.pluck, places)
    folder = out if wanted.pair == GIVEN else out / wanted.pair
    return f"{row.words}\n\n{write_items(folder, row.heard, signals, left_out, setting, row.pluck, wanted.blind)}"


def pair_of_builds(body: Body, names: tuple[str, ...]) -> list[Build]:
    """The Builds of two different names; without names the sheet's own and solid linings, or kerfed ones if it has solid
    ones itself. BadInput tells which there are.
    """
    known = {b.name: b for b in builds(body) if b.name != LIMIT}
    names = names or ("sheet", "solid_laminated" if "solid_laminated" in known else "kerfed")
    if len(names) != 2 or len(set(names)) != 2 or not set(names) <= set(known):
        raise BadInput(f"--builds {' '.join(names)}: expected two different builds among {', '.join(known)}")
    return [known[name] for name in names]


def place_of(body: Body, place_mm: tuple[float, float, float] | None = None) -> np.ndarray:
    """(3,) m: in_front of the saddle, or a place [mm] from the tail, from the centre line and out of the top."""
    if place_mm is None:
        return in_front(body)
    if not (len(place_mm) == 3 and np.isfinite(place_mm).all()):
        raise BadInput(
            f"--place-mm {place_mm}: expected three numbers: from the tail, from the centre line, out of the top"
        )
    return np.asarray(place_mm, float) / 1e3


def ready(
    body: Body,
    chosen: Sequence[Build],
    setting: Setting,
    size: float,
    store: Path,
    strings: int = 6,
    dry: int = DRY_MODES,
    around: Callable[[Body], FluidDomain] = fluid_domain,
) -> list[Heard]:
    """[Heard] of Builds with `dry` structure modes, on a mesh of some size [m]; boundary elements of all together."""
    progress, around = Progress(STEPS * len(chosen)), shared(around)
    progress.say(f"meshing at {1e3 * size:.0f} mm")
    away_from(around(chosen[0].body).surface, setting.place)
    whole = coupled_models(chosen, prepare(body, size, store, dry), progress, 1.0, around, setting.place).whole
    free = ask(whole[chosen[0].name], FREE)
    most = factors(unit_losses(free.whole, free.real_modes[1]), free.played(strings), LARGEST)
    heard = [_heard(build, ask(whole[build.name], setting.how), strings, most) for build in chosen]
    progress.close("solved")
    return heard


def _heard(build, answer, strings, most):
    """most: times each unit loss that no part explains, sized on the first build."""
    modes, radiated, shape = answer.played(strings), answer.supported.radiation, answer.real_modes[1]
    radiated = replace(radiated, pressure=radiated.pressure @ shape)
    left = {place: most[place] * loss for place, loss in unit_losses(answer.whole, shape).items()}
    return Heard(build, modes, radiated, min(modes.highest_valid, HIGHEST), left)


def away_from(surface: Boundary, place: np.ndarray) -> None:
    """BadInput unless a place lies outside the body, NEAREST or more from its surface."""
    angle = float(static_integrals(surface, place[None])[1].sum())
    near = float(np.linalg.norm(surface.centroid - place, axis=1).min())
    if abs(angle) > 2 * np.pi or near < NEAREST:
        where = "inside the body" if abs(angle) > 2 * np.pi else f"{1e3 * near:.0f} mm from it"
        raise BadInput(f"--place-mm: lies {where}; expected {1e3 * NEAREST:.0f} mm or more away from the outside")


def at_place(radiated: Radiation, low: float, high: float) -> Receiver:
    """Receiver (see sound.note_signal): pressure [Pa] at the Radiation's first point per unit velocity of each mode.

    Nothing outside the band low to high [Hz]: there are no modes, or no boundary elements, to answer for it.
    """
    assert radiated.pressure is not None
    each = np.eye(radiated.pressure.shape[2])

    def receiver(omega):
        pressure = np.zeros((len(omega), len(each)), complex)
        for k in np.flatnonzero((omega > 2 * np.pi * low) & (omega < 2 * np.pi * high)):
            pressure[k] = point_pressure(radiated, each, np.full(len(each), omega[k]))[:, 0]
        return pressure

    return receiver


def sounds(
    heard: Sequence[Heard], strings: Sequence[String], pluck: Pluck, wanted: Sequence[tuple[int, int]] = NOTES
) -> tuple[Signals, list[str]]:
    """(Signals, [names left out]) of single notes (string, fret) and of the phrase."""
    body_top = min(h.valid_to for h in heard)
    valid = lambda i, fret: i < len(strings) and all(valid_partials(strings[i], fret, h.body) for h in heard)
    places = [p for p in wanted if p[0] < len(strings)]
    items = {place_word(strings, *p): [(*p, 0.0, SECONDS)] for p in places if valid(*p)}
    left_out = [place_word(strings, *p) for p in places if not valid(*p)]
    items["phrase"] = [(s, f, BEAT * at, BEAT * beats) for s, f, at, beats in PHRASE if valid(s, f)]
    receivers = [at_place(h.radiated, LOWEST, body_top) for h in heard]
    signals = {
        item: {h.build.name: phrase(strings, h.body, pluck, notes, at) for h, at in zip(heard, receivers)}
        for item, notes in items.items()
        if notes
    }
    return signals, left_out


def place_word(strings: Sequence[String], string: int, fret: int) -> str:
    """'D3-fret-7' or 'E2-open': the file's name."""
    return f"{strings[string].name}-{f'fret-{fret}' if fret else 'open'}"


def write_items(
    out: Path,
    heard: Sequence[Heard],
    signals: Signals,
    left_out: Sequence[str],
    setting: Setting,
    pluck: Pluck,
    blind: bool = True,
) -> str:
    """Write the WAV files into the folders `named` and `blind`; returns the words about them."""
    band = (LOWEST, min(h.valid_to for h in heard))
    named = {f"{item}_{build}": s for item, both in signals.items() for build, s in both.items()}
    paths = write_wavs(out / "named", named, band=band)
    lines = [f"{h.build.name}: {h.build.label}" for h in heard]
    lines += ["", f"{'':16s} {'louder by':>10} {'peak':>10}"]
    for item, both in signals.items():
        a, b = (both[h.build.name] for h in heard)
        peak = 20 * np.log10(max(abs(a).max(), abs(b).max()) / 20e-6)
        lines.append(f"{item:16s} {louder_by(a, b):+7.1f} dB {peak:7.0f} dB")
    lines += [
        f"louder by: {heard[1].build.name} over {heard[0].build.name}, by the energy of the sound; peak: the louder one's, over 20 µPa, "
        f"plucked with {pluck.force:g} N",
        f"Computed sound pressure {heard_at(setting.place)}, {setting.how}, in free air, from {band[0]:.0f} to {band[1]:.0f} Hz only: a "
        "real guitar has more above, and a room.",
    ]
    if left_out:
        lines.append(f"left out, above {band[1]:.0f} Hz: {', '.join(left_out)}")
    lines += ["", f"wrote {len(paths)} files at one gain: {out / 'named'}"]
    if blind:
        gain = common_gain(named.values())
        for item, both in signals.items():
            write_blind(out / "blind" / item, both, band=band, gain=gain)
        lines.append(f"wrote the same without names, at the same gain, in a hidden order: {out / 'blind'}")
        lines.append(f"when you have made up your mind: rimwork listen --reveal {out / 'blind'}")
    return "\n".join(lines)


def louder_by(before: np.ndarray, after: np.ndarray) -> float:
    """dB of the energy of one signal over another's."""
    return float(10 * np.log10((after**2).sum() / (before**2).sum()))


def heard_at(place: np.ndarray) -> str:
    return f"{1e3 * place[0]:.0f} mm from the tail, {1e3 * place[1]:.0f} mm from the centre line, {1e3 * place[2]:.0f} mm out of the top"


def hidden_order(folder: str | Path) -> str:
    """The hidden order of a blind folder, or of all that lie in it, in words."""
    folder = Path(folder)
    inside = sorted(p for p in folder.iterdir() if (p / KEY).is_file()) if folder.is_dir() else []
    lines = []
    for path in inside or [folder]:
        order = ", ".join(f"{sound} is {build}" for sound, build in sorted(reveal(path).items()))
        lines.append(f"{path.name}: {order}")
    return "\n".join(lines)
