"""Recordings of taps: the file read, and where in it the taps are; shared by all that listen to wood."""

import struct
import warnings
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
from scipy.io import wavfile
from scipy.ndimage import median_filter

BLOCK = 0.005  # s, of the level curve
SHORTEST = 0.2  # s, of a tap with its decay
LEAP = 12.0  # dB
LARGEST = 300e6  # bytes of a file: an hour and more of one channel, which no tap lasts
SLOWEST, FASTEST = 2000, 200_000  # samples a second
SIGNATURES = (  # how a file that is no WAV begins, at which byte, and what it is
    (b"fLaC", 0, "FLAC"), (b"FORM", 0, "AIFF"), (b"caff", 0, "Core Audio (CAF)"), (b"ftyp", 4, "compressed (M4A, MP4 or 3GP)"),
    (b"ID3", 0, "compressed (MP3)"), (b"\xff\xfb", 0, "compressed (MP3)"), (b"\xff\xf3", 0, "compressed (MP3)"),
    (b"\xff\xf1", 0, "compressed (AAC)"), (b"OggS", 0, "compressed (Ogg, Opus)"), (b"#!AMR", 0, "compressed (AMR)"),
    (b"\x30\x26\xb2\x75", 0, "compressed (WMA)"), (b"\x1aE\xdf\xa3", 0, "compressed (WebM)"),
)  # fmt: skip
LOSSLESS = ("FLAC", "AIFF")


@dataclass(frozen=True)
class Recording:
    """signal (n,) with full scale 1; rate [1/s]; notes for the maker."""

    signal: np.ndarray
    rate: float
    notes: tuple[str, ...] = ()


def read_recording(path: str | Path) -> Recording:
    """Recording from a WAV file; the louder channel of a stereo one. ValueError in plain words for anything else."""
    path = Path(path)
    if not path.is_file():
        raise ValueError(f"recording '{path}': no such file; expected a .wav file")
    if (size := path.stat().st_size) > LARGEST:
        raise ValueError(
            f"recording '{path}': {size / 1e6:.0f} MB; expected at most {LARGEST / 1e6:.0f}: cut out the taps or the note"
        )
    raw = path.read_bytes()
    _refuse_compressed(path, raw)
    try:
        with warnings.catch_warnings(action="ignore", category=wavfile.WavFileWarning):  # unknown chunks do no harm
            rate, data = wavfile.read(BytesIO(raw))
    except (
        ValueError,
        OSError,
        struct.error,
        NameError,
        ArithmeticError,
        MemoryError,
    ) as problem:  # scipy's, of damaged files
        raise ValueError(f"recording '{path}': not a readable WAV file ({problem}); export it as WAV, 16 bit") from None
    if not SLOWEST <= rate <= FASTEST:
        raise ValueError(f"recording '{path}': {rate} samples a second; expected {SLOWEST} to {FASTEST}, such as 48000")
    if len(data) < SHORTEST * rate:
        raise ValueError(f"recording '{path}': {len(data) / rate:.2f} s long; expected at least {SHORTEST} s")
    coarse = data.dtype == np.uint8
    scale = 1.0 if data.dtype.kind == "f" else float(2 ** (8 * data.dtype.itemsize - 1))
    data = data.astype(float) - (128 if coarse else 0)
    channels = data.reshape(len(data), -1) / scale
    signal = channels[:, (channels**2).sum(0).argmax()]
    if not np.isfinite(channels).all() or not np.ptp(signal):
        raise ValueError(f"recording '{path}': silence, or values that are no numbers; expected the sound of taps")
    return Recording(signal - signal.mean(), rate, _clipped(signal, coarse) + _cut_off(raw, len(data) / rate))


def _refuse_compressed(path: Path, raw: bytes) -> None:
    """ValueError with how to convert, for sounds that are no WAV."""
    name = next((name for start, at, name in SIGNATURES if raw[at : at + len(start)] == start), None)
    if name is None:
        return
    why = (
        "convert it" if name in LOSSLESS else "record as WAV if you can, since compression alters decays, or convert it"
    )
    raise ValueError(
        f"recording '{path}': {name}, not WAV; {why}: ffmpeg -i '{path.name}' '{path.with_suffix('.wav').name}'"
    )


def _cut_off(raw: bytes, seconds: float) -> tuple[str, ...]:
    """Note if the file ends before its header says."""
    at = raw.find(b"data", 12)
    little = raw[:4] == b"RIFF"
    promised = struct.unpack("<I" if little else ">I", raw[at + 4 : at + 8])[0]
    if (
        at < 0 or promised in (0, 2**32 - 1) or raw[:4] == b"RF64" or len(raw) - at - 8 >= promised
    ):  # 0, -1: as it streams
        return ()
    return (f"the file is cut off: the {seconds:.1f} s that are there are read",)


def _clipped(signal: np.ndarray, coarse: bool) -> tuple[str, ...]:
    """Note if three samples in a row stand at one value at the extreme, more than once; a slow wave's crest never quite does.

    In eight bits (coarse) it does, unless the value is the last there is.
    """
    if coarse and abs(signal).max() < 0.98:
        return ()
    top = abs(signal) >= 0.999 * abs(signal).max()
    still = np.abs(np.diff(signal)) <= 1e-7 * abs(signal).max()
    if np.count_nonzero(top[1:-1] & still[1:] & still[:-1]) > 2:
        return (
            "the recording is clipped: tap more softly or lower the recording level; frequencies hold, decays suffer",
        )
    return ()


def find_impulses(recording: Recording, least: float = LEAP) -> tuple[list[tuple[int, int]], tuple[str, ...]]:
    """[(start, end)] in samples of each tap with its decay, none if there is no tap, and a tuple of notes.

    A tap: the level leaps by `least` dB within 30 ms, to within 25 dB of the loudest one. A level that rises again without
    a tap means automatic gain.
    """
    block = int(BLOCK * recording.rate)
    blocks = recording.signal[: len(recording.signal) // block * block].reshape(-1, block)
    level = 10 * np.log10((blocks**2).mean(1) + 1e-14)
    padded = np.concatenate([np.full(6, level.min()), level])
    leap = level - np.array([padded[i : i + 6].max() for i in range(len(level))])
    starts: list[int] = []
    for i in np.flatnonzero((leap > least) & (level > level.max() - 25)):
        if not starts or (i - starts[-1]) * BLOCK > SHORTEST:
            starts.append(int(i))
    if not starts:
        return [], ()
    ends = [*(s - 2 for s in starts[1:]), len(level)]
    taps = [(s, e) for s, e in zip(starts, ends, strict=True) if (e - s) * BLOCK > SHORTEST]
    smooth = median_filter(level, 41)
    rise = max((smooth[e - 21] - smooth[s + 21 : e - 20].min() for s, e in taps if e - s > 60), default=0.0)
    notes = ("the sound rises again after a tap: automatic gain is on; switch it off, or loss factors are wrong",)
    return [(s * block, e * block) for s, e in taps], notes if rise > 6 else ()
