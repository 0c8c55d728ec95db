"""How long does a note last on the real guitar? Decays read from recordings of single notes, beside the computed ones.

A recording is cut to the band that the computed note holds, squared, its noise taken off, and integrated backward
(Schroeder, JASA 37:409, 1965): what is left is the level of the sound still to come. Straight lines are fitted to it over
stated ranges, and the computed note is read over the same ranges. The sound of a struck or plucked body is a sum of dying
exponentials, so that its level can only bend upward; where it bends down a compressor or automatic gain is at work.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.ndimage import median_filter
from scipy.signal import butter, sosfiltfilt

from fem.coupled_string import FreeDecay
from fem.decay import level, slope_decay_time
from fem.recordings import read_recording
from studies.common.note_names import pitch, read_note
from studies.common.words import rounded, signed
from studies.notes.signal import BLOCK, decay_curve, find_fundamental, find_notes, mean_power, power_curve, read_range

RANGES = {"start": (0.0, -10.0), "main": (-5.0, -35.0), "short": (-5.0, -25.0), "end": (-30.0, -50.0)}  # dB
BELOW, ABOVE = 0.72, 6000.0  # the band: from so many times the fundamental, to so many Hz where no note was computed
BENDS_DOWN = 0.75  # the start dies this much slower than the main part: no free decay does
TWO_SLOPES = 1.4  # slowest range over the start from which on a note is said to have two slopes
RISE = 6.0  # dB
FLOOR_RISE = 6.0  # dB by which the noise after a note may stand above that before it
ALWAYS = (
    "automatic gain and 'enhanced' sound (most telephones have them on) lengthen every decay and cannot always be "
    "noticed afterwards: switch them off, and record uncompressed WAV"
)
Later = Callable[[np.ndarray], np.ndarray]  # t (k,) [s] -> energy still to be radiated after t


@dataclass(frozen=True)
class NoteRead:
    """The decay of one recorded note. Times [s] are T60 of straight lines over each range; None where it was not reached."""

    file: str
    note: str
    fundamental: float  # Hz, found in the recording
    cents: float  # off the nominal pitch
    seconds: float  # from the start of the note to the end of the recording, or to the next note
    usable: float  # dB from the note's start to the noise, or to the recording's end
    noise: bool  # whether the curve ends in noise
    band: tuple[float, float]  # Hz
    decay: dict[str, float | None]  # {name of RANGES: s}
    off: dict[str, float | None]  # rms distance from the line, dB
    warnings: tuple[str, ...]

    @property
    def main(self) -> tuple[str | None, float | None]:
        """(name, T60) of the widest range that could be read, or (None, None)."""
        return next(((k, self.decay[k]) for k in ("main", "short") if self.decay[k] is not None), (None, None))


def read_file(path: str | Path, note: str, highest: float | None = None) -> NoteRead:
    """NoteRead of the note ('E2', 'D3+5') in a WAV file, up to `highest` [Hz]. ValueError where there is nothing to read."""
    recording = read_recording(path)
    notes = find_notes(recording)
    if not notes:
        raise ValueError(f"recording '{path}': no plucked note found; expected a sharp start and some seconds of decay")
    first, last = max(notes, key=lambda span: span[1] - span[0])
    warnings = list(recording.notes)
    if len(notes) > 1:
        warnings.append(
            f"{len(notes)} notes in one file: the one at {first / recording.rate:.1f} s is read; damp the others, one note a file"
        )
    return _read(Path(path).name, recording, first, last, note, highest, warnings)


def _read(name, recording, first, last, note, highest, warnings):
    rate, nominal = recording.rate, nominal_pitch(note)
    signal = recording.signal[first:last]
    fundamental, told = find_fundamental(signal, rate, nominal)
    warnings += told
    band = (BELOW * fundamental, min(highest or ABOVE, 0.45 * rate))
    if band[1] < 1.2 * fundamental:
        raise ValueError(
            f"recording '{name}': {note} at {fundamental:.0f} Hz lies too near {band[1]:.0f} Hz, above which nothing is "
            "computed; expected a lower note"
        )
    filtered = sosfiltfilt(butter(4, band, "bandpass", fs=rate, output="sos"), recording.signal)
    before = mean_power(filtered[: max(0, first - int(0.05 * rate))], rate)
    t, power = power_curve(filtered[first:last], rate)
    peak = int(np.argmax(power[: int(0.1 / BLOCK)]))
    t, power = t[: len(t) - peak], power[peak:]
    curve, usable, floor = decay_curve(t, power)
    lines = {key: read_range(t, curve, span, usable) for key, span in RANGES.items()}
    decay, off = ({key: line[k] for key, line in lines.items()} for k in (0, 1))
    warnings += decay_doubts(decay, usable, t[-1], before, floor) + rising(power, floor)
    cents, seconds, noise = 1200 * float(np.log2(fundamental / nominal)), float(t[-1]), floor is not None
    return NoteRead(name, note, fundamental, cents, seconds, usable, noise, band, decay, off, tuple(warnings))


def nominal_pitch(note: str) -> float:
    """Frequency [Hz] of 'E2', or of 'D3+5': five frets above the open string D3. ValueError for anything else."""
    name, plus, fret = note.partition("+")
    if plus and not fret.isdigit():
        raise ValueError(f"note '{note}': cannot be read; expected a string and a fret, such as D3+5")
    return pitch(read_note(name) + (int(fret) if plus else 0))


def decay_doubts(
    decay: Mapping[str, float | None], usable: float, seconds: float, before: float | None, floor: float | None
) -> list[str]:
    """Warnings that the decay itself gives rise to."""
    told = []
    main = decay["main"] or decay["short"]
    if main is None and floor is not None:
        told.append(
            f"only {usable:.0f} dB between the note and the noise: no decay is read; record nearer, in a quieter room"
        )
    elif main is None:
        told.append(f"the recording holds the first {usable:.0f} dB of the decay only: too little for a decay time")
    elif decay["start"] is not None and BENDS_DOWN * decay["start"] > main:
        told.append(
            f"the first 10 dB die as if they took {decay['start']:.1f} s, the rest {main:.1f} s: a free note never starts slower "
            "than it ends; a compressor, limiter or automatic gain may be at work"
        )
    if before is not None and floor is not None and floor > before * 10 ** (FLOOR_RISE / 10):
        told.append("the noise after the note is louder than before it: automatic gain may have turned up")
    if floor is None and usable < 45:
        told.append(
            f"the recording ends {seconds:.1f} s after the pluck, before the note is gone: let it ring out to silence"
        )
    return told


def rising(power: np.ndarray, floor: float | None) -> list[str]:
    """Warning if the smoothed level rises again, well above the noise."""
    if len(power) < 60:
        return []
    smooth = 10 * np.log10(median_filter(power, int(0.4 / BLOCK), mode="nearest")[10:] + 1e-300)
    loud = smooth > (10 * np.log10(floor) + 10 if floor else -np.inf)
    rise = (smooth - np.minimum.accumulate(smooth))[loud].max(initial=0.0)
    if rise < RISE:
        return []
    return [f"the sound rises again by {rise:.0f} dB after its start: automatic gain, or two pitches that beat slowly"]


# --- computed beside measured ---


@dataclass(frozen=True)
class Beside:
    """One range of one note."""

    note: str
    range: str
    measured: float  # s
    computed: float | None  # s


def in_band(ringing: FreeDecay, band: tuple[float, float]) -> FreeDecay:
    """The FreeDecay with the complex modes of a band [Hz] alone: what a recording cut to that band would hold."""
    f = np.abs(ringing.coupled.poles.imag) / (2 * np.pi)
    return replace(ringing, amplitude=np.where((f >= band[0]) & (f <= band[1]), ringing.amplitude, 0))


def computed_decay(later: Later, span: tuple[float, float], longest: float = 60.0) -> float | None:
    """T60 [s] of the line through a computed level over a range, None if it lies outside `longest` seconds.

    later: as coupled_string.radiated_later gives.
    """
    end = 0.25
    while end < longest and later(np.array([end]))[0] > later(np.array([0.0]))[0] * 10 ** ((span[1] - 1) / 10):
        end *= 1.5
    t = np.linspace(0, end, 4000)
    try:
        return slope_decay_time(t, level(later(t)), *span)[0]
    except ValueError:
        return None


def beside_computed(read: NoteRead, later: Later) -> list[Beside]:
    """[Beside] of a NoteRead and a computed note's `later`, over every range that was measured."""
    return [
        Beside(read.note, key, value, computed_decay(later, RANGES[key]))
        for key, value in read.decay.items()
        if value is not None
    ]


def words(read: NoteRead, rows: Iterable[Beside] = ()) -> str:
    """What was read, for the maker, warnings last."""
    depth = f"{read.usable:.0f} dB above the noise" if read.noise else f"falls by {read.usable:.0f} dB"
    lines = [
        f"{read.file}: {read.note} at {read.fundamental:.1f} Hz ({signed(read.cents, 0)} cents), {depth}, "
        f"{read.seconds:.1f} s, read from {read.band[0]:.0f} to {read.band[1]:.0f} Hz"
    ]
    computed = {row.range: row.computed for row in rows}
    for key, value in read.decay.items():
        if value is None or (key == "short" and read.decay["main"] is not None):
            continue
        start, end = RANGES[key]
        line = f"  {rounded(start, 0)} to {rounded(end, 0)} dB: {value:5.2f} s for 60 dB (off a straight line by {read.off[key]:.1f} dB)"
        if key in computed:
            time = computed[key]
            line += "; computed "
            line += "–" if time is None else f"{time:5.2f} s, measured over computed {value / time:.2f}"
        lines.append(line)
    later = [v for k, v in read.decay.items() if v is not None and k != "start"]
    if later and read.decay["start"] is not None and max(later) > TWO_SLOPES * read.decay["start"]:
        lines.append("  two slopes: the end dies slower than the start, as notes with two polarisations do")
    lines += [f"  beware: {w}" for w in read.warnings]
    return "\n".join(lines)
