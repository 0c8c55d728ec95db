"""Recordings of one stage: taps of all files together, the poles they share, and what each of these is taken for."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fem.decaying_poles import Pole, find_poles
from fem.recordings import read_recording
from fem.taps import RATE, Taps, cut_taps
from studies.common.inputs import BadInput, source_of
from studies.tap.result import HUM, MODE, ROOM, STAGES, UNSURE, Heard, StageRead, Take

RANGE = (30.0, 600.0)  # Hz
LOW_RIM = 12.0  # Hz, where an open rim's tones begin
HIGHEST_PART = 0.4  # of the slowest recording's rate
MAINS = (50.0, 60.0)  # Hz
MAINS_OFF = 0.4  # Hz
RINGS_ON = 1000.0  # Q from which on a tone is no wood
BROAD = 0.25  # loss factor from which on a pole is knock and background, no tone
SURE, SURE_HZ = 0.25, 0.003  # relative uncertainties of Q and frequency beyond which a tone is not sure
SEEN = 3  # orders at which a sure tone came back
SCATTER = 3.0  # from which on it is told that taps differ
MOVED, LEAST_MOVED = (
    3.0,
    6.0,
)  # spreads of the other tones, and dB, by which the room's level differs from theirs between places
OTHERS = 3  # tones that can outvote one


@dataclass(frozen=True)
class Given:
    """A recording as it was named: stage, microphone's place, file."""

    stage: str
    place: str
    path: Path


def read_stage(name: str, takes: Sequence[Given]) -> StageRead:
    """StageRead of a stage's recordings. BadInput names the file that cannot be read."""
    found, recorded, notes, slowest = [], [], [], np.inf
    for take in takes:
        try:
            recording = read_recording(take.path)
        except ValueError as problem:
            raise BadInput(f"{name}: {problem}") from None
        try:
            taps = cut_taps(recording)
        except ValueError as problem:
            raise BadInput(f"{name}: recording '{take.path}': {problem}") from None
        found.append(taps)
        slowest = min(slowest, recording.rate)
        recorded.append(Take(take.path.name, source_of(take.path).sha256, take.place, len(taps.start)))
        notes += [f"{take.path.name}: {note}" for note in taps.notes]
        if len(taps.start) < 3:
            notes.append(f"{take.path.name}: {len(taps.start)} taps; five or more tell how far taps differ")
    return read_taps(name, found, recorded, notes, HIGHEST_PART * slowest)


def read_taps(
    name: str, found: Sequence[Taps], takes: Sequence[Take], notes: Sequence[str] = (), highest: float = np.inf
) -> StageRead:
    """StageRead of Taps, those of each Take."""
    N = min(taps.signal.shape[1] for taps in found)
    signal = np.concatenate([taps.signal[:, :N] for taps in found])
    signal = signal - signal.mean(axis=1, keepdims=True)
    low, high = (LOW_RIM if name == "open-rim" else RANGE[0]), min(RANGE[1], highest)
    poles, stabilisation = find_poles(signal, RATE, low, high)
    poles = [pole for pole in poles if pole.loss_factor < BROAD]
    places = np.repeat([take.place for take in takes], [len(taps.signal) for taps in found])
    f, power = np.fft.rfftfreq(N, 1 / RATE), (np.abs(np.fft.rfft(signal)) ** 2).mean(axis=0)
    shown = (f >= low / 2) & (f <= high * 1.05)
    level = 10 * np.log10(power[shown] / power[shown].max() + 1e-12)
    heard = taken_for(poles, places)
    return StageRead(name, tuple(takes), heard, stabilisation, f[shown], level, (*notes, *_told(name, heard)))


def taken_for(poles: Sequence[Pole], places: np.ndarray) -> tuple[Heard, ...]:
    """Heard of each pole; places (taps,) of the microphone."""
    if not poles:
        return ()
    strength = np.array([np.sqrt(np.mean(pole.amplitude**2)) for pole in poles])
    level = 20 * np.log10(strength / strength.max())
    kinds = [_kind(pole) for pole in poles]
    wood = [k for k, (kind, _) in enumerate(kinds) if kind == MODE]
    for k, off in zip(wood, rooms([poles[k] for k in wood], places)):
        if off is not None:
            kinds[k] = ROOM, f"its level changes by {off:.0f} dB between the microphone's places, unlike the others'"
    return tuple(Heard(pole, float(db), *kind) for pole, db, kind in zip(poles, level, kinds))


def _kind(pole: Pole) -> tuple[str, str]:
    """(MODE, HUM or UNSURE; why) of a pole by itself."""
    steady = pole.quality > RINGS_ON or pole.loss_factor < 2 * pole.loss_factor_uncertainty
    mains = next((m for m in MAINS if abs(pole.frequency - m * max(1, round(pole.frequency / m))) < MAINS_OFF), None)
    if steady and pole.quality > RINGS_ON / 4:
        return HUM, f"does not die away: hum of {mains:g} Hz mains" if mains else "does not die away: hum, or a whistle"
    if pole.quality_uncertainty > SURE * pole.quality or pole.frequency_uncertainty > SURE_HZ * pole.frequency:
        apart = (
            f"; taps differ {pole.scatter:.0f} times more than the noise lets them" if pole.scatter > SCATTER else ""
        )
        return (
            UNSURE,
            f"known to {100 * pole.frequency_uncertainty / pole.frequency:.1f} % only, its Q to {100 * pole.quality_uncertainty / pole.quality:.0f} %{apart}",
        )
    if pole.orders < SEEN:
        return UNSURE, "it moves when one more pole is fitted"
    return MODE, ""


def rooms(poles: Sequence[Pole], places: np.ndarray) -> list[float | None]:
    """For each pole by how much [dB] its level differs from the others' between two places, None where no more than theirs do."""
    names = list(dict.fromkeys(places.tolist()))
    told: list[float | None] = [None] * len(poles)
    if len(names) < 2 or len(poles) < OTHERS + 1:
        return told
    amplitude = np.array([pole.amplitude for pole in poles])
    level = 20 * np.log10(np.maximum(amplitude, 1e-12))
    level = level - np.median(level, axis=0)  # taps differ in strength
    base = level[:, places == names[0]].mean(axis=1)
    for name in names[1:]:
        change = level[:, places == name].mean(axis=1) - base
        for k in range(len(poles)):
            others = np.delete(change, k)
            middle = np.median(others)
            spread = 1.4826 * np.median(np.abs(others - middle))
            off = change[k] - middle
            if abs(off) > max(LEAST_MOVED, MOVED * spread) and (told[k] is None or abs(off) > abs(told[k] or 0)):
                told[k] = float(off)
    return told


def _told(name: str, heard: Sequence[Heard]) -> list[str]:
    """Notes on a stage's tones."""
    if not any(h.kind == MODE for h in heard):
        return ["no sure tone: tap harder, nearer to the microphone, in a quieter room, more often"]
    hum = [h for h in heard if h.kind == HUM]
    if hum:
        at = ", ".join(f"{h.pole.frequency:.1f}" for h in hum)
        return [
            f"hum or steady tones at {at} Hz, {-max(h.level for h in hum):.0f} dB below the strongest tone: left out"
        ]
    return []


def named_take(text: str) -> Given:
    """Given of 'closed-box=take.wav' or 'closed-box@hole=take.wav'. BadInput for anything else."""
    place, sign, path = text.partition("=")
    stage, _, microphone = place.strip().partition("@")
    stage = stage.lower().replace("_", "-")
    if not sign or not path or not stage:
        raise BadInput(f"'{text}': expected STAGE=FILE, such as closed-box=take.wav, or closed-box@hole=take.wav")
    if stage not in STAGES:
        from difflib import get_close_matches

        close = get_close_matches(stage, STAGES, n=1)
        hint = f" (did you mean '{close[0]}'?)" if close else ""
        raise BadInput(f"'{text}': unknown stage '{stage}'{hint}; expected one of {', '.join(STAGES)}")
    return Given(stage, microphone or Path(path).name, Path(path))
