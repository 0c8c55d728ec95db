"""Fretboards of a body and figures of a few notes, kept on disk; what a range of string and rim losses does to them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fem.body_modes import BodyModes, normal_mobility, with_losses, with_more_loss
from fem.coupled_string import fall_time, valid_partials
from fem.damped_body import damped_body
from fem.fretboard import Fretboard, fretboard
from fem.radiated_sound import first_radiated, radiated_decay_time, sound_of
from fem.string_poles import plucked
from fem.strings import Pluck, String, fretted_length
from meshes.body import Assumption, Body
from meshes.coupled_model import Structure
from meshes.parts import RIM
from meshes.sheet_strings import Strung
from meshes.string_sets import StringSet
from meshes.unexplained_loss import IN_JOINTS, IN_OPENINGS, IN_WOOD, LARGEST
from studies.common.inputs import BadInput
from studies.common.kept import Kind, flat, kept, unflat
from studies.common.ranges import numbers, positive, shares
from studies.solved.power import SUMMARY

JUDGED = ("first_radiated", "early_decay_time", "decay_time")  # figures of a note, as in Fretboard
PLUCKED = (0.0, np.pi / 2)  # rad: square to the top, along it
JOINTS = ("joint_top", "joint_back")
JOINT_LOSS = (0.005, 0.1)  # of a glued joint; hardly measured
WOOD_LOSS = (0.5, 2.0)  # times the loss factors of sides, linings, blocks and bars
FEW = 5  # every fifth fret serves for ranges and flips
BALANCE = 1e-6  # a pluck's shares must sum to 1 so closely
TOP_LOSS = (0.5, 2.0)  # times the loss factors of the top: spruce lies about .005 to .02 along and across the grain
POINTS = 100  # of the log mean of the mobility


@dataclass(frozen=True)
class Playing:
    """What is played, and where results are kept."""

    strings: StringSet
    pluck: Pluck
    assumed: tuple[Assumption, ...]  # of strings and pluck
    frets: int
    store: Path
    few: tuple[tuple[int, int], ...]  # ((string, fret), ...) of the notes that serve for ranges and flips
    workers: int = 1  # processes that solve side by side

    @staticmethod
    def of(strung: Strung, frets: int, store: Path, workers: int = 1) -> "Playing":
        """Playing with its few notes chosen. BadInput where the pluck does not lie on every string at the highest fret."""
        few = tuple((i, fret) for i in range(len(strung.strings.strings)) for fret in range(0, frets + 1, FEW))
        playing = Playing(strung.strings, strung.pluck, strung.assumed, frets, store, few, workers)
        check_pluck(playing)
        return playing


def board(playing: Playing, body: BodyModes) -> Fretboard:
    """Fretboard of BodyModes. ArithmeticError if some pluck's shares do not sum to 1 within BALANCE."""
    inputs = (playing.strings.strings, playing.pluck, playing.frets, body)
    return kept(playing.store, BOARD, inputs, lambda: fretboard(inputs[0], body, playing.pluck, playing.frets))


def checked(fretted: Fretboard) -> None:
    """ArithmeticError unless every valid note's shares sum to 1, and times and energies are in range."""
    if not fretted.imbalance <= BALANCE:
        raise ArithmeticError(
            f"the shares of a pluck's energy miss a sum of 1 by {fretted.imbalance:.1g}; expected {BALANCE:g} at most: the "
            "complex modes of some note are not good enough, and no figure is given"
        )
    shares("fretboard", {part: share[fretted.valid] for part, share in fretted.share.items()}, BALANCE, whole=False)
    numbers("fretboard", {"frequency": fretted.frequency, "decay_time": fretted.decay_time[fretted.valid]})
    positive("fretboard", {"frequency": fretted.frequency, "decay_time": fretted.decay_time, "energy": fretted.energy})


def few_notes(
    playing: Playing, body: BodyModes, strings: Sequence[String] | None = None, angle: float | None = None
) -> np.ndarray:
    """(JUDGED, k) figures of the few notes of a Playing; nan where not valid.

    strings, angle [rad] of the pluck: in place of the set's own.
    """
    strings = strings or playing.strings.strings
    pluck = playing.pluck if angle is None else replace(playing.pluck, angle=angle)

    def one(place, reduced):
        i, fret = place
        if not valid_partials(strings[i], fret, body):
            return (np.nan,) * len(JUDGED)
        ringing = plucked(strings[i], i, fret, reduced, pluck)
        sound = sound_of(ringing)
        return first_radiated(sound), 6 * radiated_decay_time(sound, 10.0), fall_time(ringing, 60.0)

    def all_few():
        reduced = damped_body(body)
        return np.array([one(place, reduced) for place in playing.few]).T

    return kept(playing.store, FEW_NOTES, (strings, pluck, playing.few, body), all_few)


def few_of(playing: Playing, fretted: Fretboard) -> np.ndarray:
    """few_notes of the body whose Fretboard is known."""
    return np.array([[getattr(fretted, key)[place] for place in playing.few] for key in JUDGED])


def _pack(fretted: Fretboard) -> dict[str, np.ndarray]:
    """{name: array} of a Fretboard."""
    return {k: v for k, v in vars(fretted).items() if k != "share"} | flat({"share": fretted.share})


def _unpack(arrays: Mapping[str, np.ndarray]) -> Fretboard:
    """The Fretboard that was packed."""
    plain = {k: v for k, v in arrays.items() if k != "highest_valid" and not k.startswith("share/")}
    return Fretboard(**plain, highest_valid=float(arrays["highest_valid"]), share=unflat(arrays, "share"))


BOARD = Kind("fretboard", ("fem.fretboard",), _pack, _unpack, checked)
FEW_NOTES = Kind(
    "few", ("studies.sustain.fretboards",), lambda figures: {"figures": figures}, lambda arrays: arrays["figures"],
    lambda figures: positive("a few notes", {"figures": figures}),
)  # fmt: skip


# --- losses of the rim, and of the top for an outside check ---


def rim_parts(body: BodyModes) -> tuple[str, ...]:
    """Names of the rim's parts that lose anything."""
    return tuple(part for part in RIM if part in body.loss)


def times_rim(body: BodyModes, factor: float) -> BodyModes:
    """With every loss of the rim multiplied; 0: the counterfactual."""
    return with_losses(body, dict.fromkeys(rim_parts(body), factor))


def rim_range(guitar: Body, body: BodyModes) -> tuple[BodyModes, BodyModes]:
    """All the rim's losses at the low end of their ranges, and all at the high end."""
    own = {part: getattr(guitar, part).loss for part in JOINTS}

    def at(joint, wood, side):
        factor = {part: joint / loss if loss else 1.0 for part, loss in own.items()}
        return with_losses(body, {part: side(1.0, factor.get(part, wood)) for part in rim_parts(body)})

    return at(JOINT_LOSS[0], WOOD_LOSS[0], min), at(JOINT_LOSS[1], WOOD_LOSS[1], max)


def with_each_unexplained(body: BodyModes, losses: Mapping[str, np.ndarray]) -> dict[str, BodyModes]:
    """{place: the body with that loss}; losses {place: (n, n)}."""
    return {place: with_more_loss(body, place, loss) for place, loss in losses.items()}


def times_top(body: BodyModes, factor: float) -> BodyModes:
    """With the losses of the top and its braces multiplied."""
    return with_losses(body, {part: factor for part in ("top", "top_braces") if part in body.loss})


def range_notes() -> tuple[Assumption, ...]:
    """The ranges as Assumptions."""
    low, high = JOINT_LOSS
    most = (
        f"0 to {LARGEST:g} of loss factor in the first resonances, {', '.join((IN_WOOD, IN_JOINTS))} or {IN_OPENINGS}"
    )
    wood = f"{WOOD_LOSS[0]:g} to {WOOD_LOSS[1]:g} times the wood's"
    why = "assumed: woods of one name differ so, and glue between laminations is not measured"
    return (
        Assumption("joints, loss factor", f"{low:g} to {high:g}", "assumed: hardly measured"),
        Assumption("sides, linings, blocks, side bars, loss factors", wood, why),
        Assumption(
            "a loss that no part explains", most, "assumed: published Q of guitars are lower, their holder not known"
        ),
    )


def rim_loss_factor(structure: Structure) -> float:
    """Mean loss factor of the rim, by the energy that each elastic dry mode of a Structure stores in it; nan if none."""
    stored = in_rim(structure, structure.stiffness)
    return in_rim(structure, structure.loss) / stored if stored > 0 else float("nan")


def in_rim(structure: Structure, modal: Mapping[str, np.ndarray]) -> float:
    """Sum over the elastic dry modes of a Structure of what modal matrices {part: (n, n)} hold in the rim, over omega^2."""
    keep = slice(6, -1)
    square = (2 * np.pi * structure.frequency[keep]) ** 2
    return sum(float(np.sum(np.diag(modal[part])[keep] / square)) for part in RIM if part in modal)


def mean_mobility(body: BodyModes) -> float:
    """Mean real part of the mobility [s/kg] away from the top, over all strings' saddles and the logarithm of frequency."""
    omega = 2 * np.pi * np.geomspace(SUMMARY[0], min(SUMMARY[1], body.highest_valid), POINTS)
    return float(normal_mobility(body, omega).real.mean())


def check_pluck(playing: Playing) -> None:
    """BadInput where the pluck does not lie on every string at the highest fret."""
    p = playing.pluck
    for s in playing.strings.strings:
        length = fretted_length(s, playing.frets)
        if not p.width / 2 < p.distance < length - p.width / 2:
            raise BadInput(
                f"strings.pluck_place_mm = {1e3 * p.distance:g}: string '{s.name}' is {1e3 * length:.0f} mm long at fret "
                f"{playing.frets}; expected a place between saddle and fret, or fewer frets (--frets)"
            )
