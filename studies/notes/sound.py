"""Listen: the same notes of two builds as WAV files at one common gain, plain or in a hidden order.

A note holds only the partials that the body modes answer for: above them there is silence, and the file says so.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO

import numpy as np
from scipy.io import wavfile

from fem.body_modes import BodyModes
from fem.coupled_string import FreeDecay, couple, pluck_note, valid_partials
from fem.strings import Pluck, String
from meshes.whole_file import whole_file, write_whole

RATE = 44100  # 1/s
FULL = 0.89  # of full scale: -1 dB
KEY = ".order_hidden.json"
FADE = 0.02  # s at the end

Receiver = Callable[[np.ndarray], np.ndarray]  # see note_signal
Band = tuple[float, float]  # Hz


def note_signal(ringing: FreeDecay, receiver: Receiver, seconds: float, rate: float = RATE) -> np.ndarray:
    """Signal (k,) of a FreeDecay at a receiver.

    receiver(omega (m,)) -> (m, n), complex: what arrives [Pa, or m/s] per unit velocity of each body mode, at angular
    frequencies omega; such as a boundary-element transfer to a microphone. Each complex mode is taken at its own
    frequency, which is exact for notes that decay slowly against their pitch.
    """
    c = ringing.coupled
    up = c.poles.imag > 0  # the conjugates bring the same, real poles (overdamped motions) no tone
    poles = c.poles[up]
    modal = (c.X[: c.body_size] @ c.states[len(c.omega) :, up]) * ringing.amplitude[up]
    weight = (receiver(poles.imag) * modal.T).sum(1)
    t = np.arange(int(seconds * rate)) / rate
    signal = np.zeros(len(t))
    for pole, w in zip(poles, weight):
        if abs(w) > 1e-9 * abs(weight).max() and pole.imag < np.pi * rate:
            signal += 2 * (w * np.exp(pole * t)).real
    return signal


def phrase(
    strings: Sequence[String],
    body: BodyModes,
    pluck: Pluck,
    notes: Sequence[tuple[int, int, float, float]],
    receiver: Receiver,
    rate: float = RATE,
) -> np.ndarray:
    """Signal of notes [(string, fret, start s, length s)], each ringing on until its length is over, then damped.

    receiver: as for note_signal. Raises ValueError for a note above the valid frequency: it would be silence.
    """
    end = max(start + length for _, _, start, length in notes)
    signal = np.zeros(int(end * rate) + 1)
    for i, fret, start, length in notes:
        if not valid_partials(strings[i], fret, body):
            raise ValueError(
                f"string {strings[i].name}, fret {fret}: above {body.highest_valid:.0f} Hz, where body modes are missing; "
                "expected a lower note"
            )
        one = note_signal(pluck_note(couple(strings[i], i, fret, body), pluck), receiver, length, rate)
        one = one * np.minimum(1, (len(one) - np.arange(len(one))) / (FADE * rate))
        at = int(start * rate)
        signal[at : at + len(one)] += one
    return signal


def write_wavs(folder: Path, signals: Mapping[str, np.ndarray], band: Band | None = None) -> dict[str, Path]:
    """{name: path} of WAV files of signals {name: (k,)}, all at one gain so that loudness compares; and a README.

    band: (low, high) Hz that the signals answer for. Raises ValueError for silence.
    """
    gain = common_gain(signals.values())
    return _write_files(folder, {name: gain * signal for name, signal in signals.items()}, gain, band)


def write_blind(
    folder: Path,
    signals: Mapping[str, np.ndarray],
    band: Band | None = None,
    seed: int | None = None,
    gain: float | None = None,
) -> list[Path]:
    """[path] of the same files as sound_1.wav, sound_2.wav, ... in a random order kept in a hidden file.

    seed None draws a fresh order each time. gain: of full scale per unit of the signal, common_gain of everything that is
    compared; None: these signals alone set it. Lengths are cut to the shortest, dates and sizes tell nothing.
    """
    gain = gain or common_gain(signals.values())
    builds, length = list(signals), min(map(len, signals.values()))
    order = {f"sound_{k + 1}": builds[i] for k, i in enumerate(np.random.default_rng(seed).permutation(len(builds)))}
    paths = _write_files(folder, {name: gain * signals[build][:length] for name, build in order.items()}, gain, band)
    write_whole(folder / KEY, json.dumps(order))
    return list(paths.values())


def reveal(folder: Path) -> dict[str, str]:
    """{sound: build} of a blind folder. ValueError if it holds no hidden order."""
    path = folder / KEY
    if not path.is_file():
        raise ValueError(
            f"folder '{folder}': no hidden order ({KEY}) found; expected a folder written for blind listening"
        )
    return json.loads(path.read_text(encoding="utf-8"))


def common_gain(signals: Iterable[np.ndarray]) -> float:
    """Gain at which the loudest of the signals [(k,)] just stays below full scale. ValueError for silence."""
    peak = max((abs(s).max() for s in signals), default=0.0)
    if not (np.isfinite(peak) and peak > 0):
        raise ValueError("nothing to hear: every signal is silent or not a number")
    return FULL / peak


def _write_files(folder, signals, gain, band):
    """{name: path} of WAV files of signals between -1 and 1, with a README."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = {name: folder / f"{name}.wav" for name in signals}
    for name, signal in signals.items():
        with whole_file(paths[name]) as stream:
            write_wav(stream, signal, RATE)
    write_whole(folder / "README.txt", _readme(list(signals), gain, band))
    return paths


def write_wav(path: Path | BinaryIO, signal: np.ndarray, rate: int) -> None:
    """Write a signal between -1 and 1, 16 bits; path: or a file open for bytes."""
    wavfile.write(path, rate, np.round(32767 * signal).astype(np.int16))


def _readme(names, gain, band):
    heard = f"Sound is given from {band[0]:.0f} to {band[1]:.0f} Hz only; a real guitar has more above." if band else ""
    return (
        f"{len(names)} files: {', '.join(names)}\n"
        f"One gain for all ({gain:.4g} of full scale per unit of the signal): differences in loudness are the model's.\n"
        f"Computed, not recorded: one string at a time, the others damped, no room. {heard}\n"
    )
