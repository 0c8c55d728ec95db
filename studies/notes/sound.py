"""Listen: the same notes of two builds as WAV files at one common gain, plain or in a hidden order.

A note holds only the partials that the body modes answer for: above them there is silence, and the file says so.
"""

import json
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from fem.coupled_string import POLARISATIONS, couple, pluck_note, valid_partials

RATE = 44100  # 1/s
FULL = 0.89  # of full scale: -1 dB
KEY = ".order_hidden.json"
FADE = 0.02  # s at the end


def at_bridge(body, string):
    """Receiver: velocity [m/s] of the saddle away from the top. What a contact pickup hears, no sound in the room."""
    row = body.saddle[string, :, POLARISATIONS[0]]
    return lambda omega: np.broadcast_to(row, (len(omega), len(row)))


def note_signal(ringing, receiver, seconds, rate=RATE):
    """Signal (k,) of a Ringing at a receiver.

    receiver(omega (m,)) -> (m, n), complex: what arrives [Pa, or m/s] per unit velocity of each body mode, at angular
    frequencies omega; a boundary-element transfer to a microphone, or at_bridge. Each complex mode is taken at its own
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


def phrase(strings, body, pluck, notes, receiver_of, rate=RATE):
    """Signal of notes [(string, fret, start s, length s)], each ringing on until its length is over, then damped.

    receiver_of(string) -> receiver. Raises ValueError for a note above the valid frequency: it would be silence.
    """
    end = max(start + length for _, _, start, length in notes)
    signal = np.zeros(int(end * rate) + 1)
    for i, fret, start, length in notes:
        if not valid_partials(strings[i], fret, body):
            raise ValueError(
                f"string {strings[i].name}, fret {fret}: above {body.highest_valid:.0f} Hz, where body modes are missing; "
                "expected a lower note"
            )
        ringing = pluck_note(couple(strings[i], i, fret, body), pluck)
        one = note_signal(ringing, receiver_of(i), length, rate)
        one = one * np.minimum(1, (len(one) - np.arange(len(one))) / (FADE * rate))
        at = int(start * rate)
        signal[at : at + len(one)] += one
    return signal


def write_wavs(folder, signals, rate=RATE, band=None):
    """{name: path} of WAV files of signals {name: (k,)}, all at one gain so that loudness compares; and a README.

    band: (low, high) Hz that the signals answer for. Raises ValueError for silence.
    """
    gain = common_gain(signals.values())
    folder = _folder(folder)
    paths = {}
    for name, signal in signals.items():
        paths[name] = folder / f"{name}.wav"
        write_wav(paths[name], gain * signal, rate)
    (folder / "README.txt").write_text(_readme(list(signals), gain, band), encoding="utf-8")
    return paths


def write_blind(folder, signals, rate=RATE, band=None, seed=None, gain=None):
    """[path] of the same files as sound_1.wav, sound_2.wav, ... in a random order kept in a hidden file.

    seed None draws a fresh order each time. gain: of full scale per unit of the signal, common_gain of everything that is
    compared; None: these signals alone set it. Lengths are cut to the shortest, dates and sizes tell nothing.
    """
    gain = gain or common_gain(signals.values())
    folder = _folder(folder)
    order = [list(signals)[i] for i in np.random.default_rng(seed).permutation(len(signals))]
    length = min(map(len, signals.values()))
    names = [f"sound_{i}" for i in range(1, len(order) + 1)]
    for name, build in zip(names, order):
        write_wav(folder / f"{name}.wav", gain * signals[build][:length], rate)
    (folder / KEY).write_text(json.dumps(dict(zip(names, order))), encoding="utf-8")
    (folder / "README.txt").write_text(_readme(names, gain, band), encoding="utf-8")
    return [folder / f"{name}.wav" for name in names]


def reveal(folder):
    """{sound: build} of a blind folder. ValueError if it holds no hidden order."""
    path = Path(folder) / KEY
    if not path.is_file():
        raise ValueError(
            f"folder '{folder}': no hidden order ({KEY}) found; expected a folder written for blind listening"
        )
    return json.loads(path.read_text(encoding="utf-8"))


def common_gain(signals):
    """Gain at which the loudest of the signals [(k,)] just stays below full scale. ValueError for silence."""
    peak = max((abs(s).max() for s in signals), default=0.0)
    if not (np.isfinite(peak) and peak > 0):
        raise ValueError("nothing to hear: every signal is silent or not a number")
    return FULL / peak


def _folder(folder):
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def write_wav(path, signal, rate):
    """Write a signal between -1 and 1, 16 bits; path: or a file open for bytes."""
    wavfile.write(path, rate, np.round(32767 * signal).astype(np.int16))


def _readme(names, gain, band):
    heard = f"Sound is given from {band[0]:.0f} to {band[1]:.0f} Hz only; a real guitar has more above." if band else ""
    return (
        f"{len(names)} files: {', '.join(names)}\n"
        f"One gain for all ({gain:.4g} of full scale per unit of the signal): differences in loudness are the model's.\n"
        f"Computed, not recorded: one string at a time, the others damped, no room. {heard}\n"
    )
