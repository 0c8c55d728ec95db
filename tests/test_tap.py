"""rimwork tap: made recordings of known tones, spoilt in the ways that happen, and what is said of them."""

import json
import re
import struct
from dataclasses import replace
from pathlib import Path

import box_cases as cases
import numpy as np
import pytest
from scipy.io import wavfile
from tap_cases import RATE, recording

from fem.recordings import Recording, read_recording
from fem.taps import cut_taps
from studies.__main__ import main as command_line
from studies.common.inputs import BadInput
from studies.tap import question
from studies.tap.listen import named_take, read_stage, rooms
from studies.tap.pairs import by_chance, tone_partners
from studies.tap.result import HUM, MODE, ROOM, Computed, Tapped
from studies.tap.words import sheet_lines, tap_verdict, text

F, Q, A = [98, 108, 185, 231, 290], [30, 22, 30, 40, 50], np.array([1, 0.4, 0.9, 0.7, 0.6])
HAZEL = cases.BODIES / "hazel.toml"


def write(path, x, rate=RATE, kind=np.int16):
    scale = 1 if np.issubdtype(kind, np.floating) else np.iinfo(kind).max
    wavfile.write(path, rate, (scale * x).astype(kind))
    return path


def stage(*named):
    return [named_take(f"closed-box@{place}={path}") for place, path in named]


@pytest.fixture(scope="module")
def noisy(tmp_path_factory):
    """StageRead from two places, 20 dB, hum, 108 Hz a room's: as loud at the second place as at the first, where all else is softer."""
    folder = tmp_path_factory.mktemp("noisy")
    there = A * [1, 3, 1.1, 0.9, 1.05]
    files = [
        (name, write(folder / f"{name}.wav", recording(F, Q, a, seed=k, taps=8, gap=1.2, noise_db=20, hum=0.05)))
        for k, (name, a) in enumerate((("near", A), ("hole", there)))
    ]
    return read_stage("closed-box", stage(*files))


# ------------------------------------------------------------------ what is heard
def test_tones_at_20_db_with_hum_and_a_room(noisy):
    """f within .1 %, Q within 15 %; noise over all frequencies of the recording 20 dB below the loudest tap's peak."""
    rung = [h for h in noisy.heard if h.kind != HUM]
    assert [h.pole.frequency for h in rung] == pytest.approx(F, rel=1e-3)
    assert [h.pole.quality for h in rung] == pytest.approx(Q, rel=0.15)


def test_a_room_s_tone_is_told_and_hum_is(noisy):
    kinds = {round(h.pole.frequency): h.kind for h in noisy.heard}
    assert kinds[108] == ROOM
    assert [kinds[f] for f in (98, 185, 231, 290)] == [MODE] * 4
    assert {kinds[f] for f in (50, 100, 150)} == {HUM}
    assert any("hum or steady tones at 50.0, 100.0, 150.0 Hz" in note for note in noisy.notes)
    assert all("mains" in h.why for h in noisy.heard if h.kind == HUM)


def test_one_place_tells_no_room(noisy):
    poles = [h.pole for h in noisy.heard if h.kind != HUM]
    taps = len(poles[0].amplitude)
    assert rooms(poles, np.array(["near"] * taps)) == [None] * len(poles)
    half = np.array(["near"] * (taps // 2) + ["hole"] * (taps - taps // 2))
    assert rooms(poles[:3], half) == [None] * 3  # too few to outvote one


def test_files_of_other_rates_are_read_together(tmp_path):
    a = write(tmp_path / "a.wav", recording(F[:1], Q[:1], A[:1], taps=3, gap=1.0))
    b = write(tmp_path / "b.wav", recording(F[:1], Q[:1], A[:1], taps=3, gap=1.0, rate=16000), rate=16000)
    read = read_stage("closed-box", stage(("a", a), ("b", b)))
    assert [take.taps for take in read.takes] == [3, 3]
    assert [h.pole.frequency for h in read.modes] == pytest.approx(F[:1], rel=1e-3)


# ------------------------------------------------------------------ what is noticed
def notes(x, rate=RATE):
    return cut_taps(Recording(x, rate)).notes


def speech(seconds=0.5):
    """A voiced syllable or two at 120 Hz that swell and fade."""
    t = np.arange(int(seconds * RATE)) / RATE
    swell = np.sin(np.pi * t / seconds) ** 2 * (1 + 0.8 * np.sin(2 * np.pi * 6 * t))
    return 0.25 * swell * sum(np.sin(2 * np.pi * 120 * k * t) / k for k in range(1, 15))


def test_clean_taps_raise_no_note():
    taps = cut_taps(Recording(recording(F, Q, A), RATE))
    assert taps.notes == () and len(taps.start) == 6
    assert np.diff(taps.start) == pytest.approx(1.6, abs=0.11)


def test_speech_over_a_tap_is_told_and_cut_off():
    x = recording(F, Q, A)
    at = int(2.8 * RATE)
    x[at : at + len(speech())] += speech()
    assert any("another sound (speech" in note and "2.0 s" in note for note in notes(x))


def test_a_knock_on_something_else_is_left_out():
    x, other = recording(F, Q, A), recording([350, 520, 700], [15, 15, 15], [1, 1, 1], taps=1, gap=1.6)
    told = notes(np.concatenate([x, other[int(0.2 * RATE) :]]))
    assert any("unlike the other taps" in note for note in told)


def test_clipping_is_told(tmp_path):
    x = recording(F, Q, A)
    read = read_recording(write(tmp_path / "loud.wav", np.clip(x, -0.25, 0.25)))
    assert any("clipped" in note for note in cut_taps(read).notes)


def test_gain_that_levels_all_taps_is_told():
    """A slow automatic gain brings every tap to one level."""
    x = recording(F, Q, A)
    assert not any("equally loud" in note for note in notes(x))
    rows = np.array_split(x, range(int(1.2 * RATE), len(x), int(1.6 * RATE)))
    assert any("equally loud" in note for note in notes(np.concatenate([row / abs(row).max() for row in rows])))


def test_gain_that_follows_the_sound_is_told():
    x = recording(F, Q, A)
    fade = np.exp(-np.arange(1.2 * RATE) / (0.3 * RATE)) / (0.3 * RATE)
    level = np.fft.irfft(np.fft.rfft(abs(x), 2 * len(x)) * np.fft.rfft(fade, 2 * len(x)))[: len(x)] + 0.003
    assert any("automatic gain" in note for note in notes(x * np.minimum(0.05 / level, 20)))


def test_a_click_is_no_tap():
    x = 1e-3 * np.random.default_rng(1).standard_normal(4 * RATE)
    x[[RATE, 2 * RATE]] += 1, -0.8
    with pytest.raises(ValueError, match="a click without decay"):
        cut_taps(Recording(x, RATE))


# ------------------------------------------------------------------ bad input
def wav(rate=44100, channels=1, bits=16, form=1, data=bytes(40000), promised=None):
    """Bytes of a WAV file as the header says."""
    align = channels * bits // 8
    head = struct.pack("<IHHIIHH", 16, form, channels, rate, (rate * align) % 2**32, align, bits)
    length = len(data) if promised is None else promised
    return b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVEfmt " + head + b"data" + struct.pack("<I", length) + data


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (wav(), "silence"), (wav(rate=0), "0 samples a second; expected 2000 to 200000"), (wav(channels=0), "not a readable WAV"),
        (wav(bits=0), "not a readable WAV"), (wav(form=0x55), "MPEGLAYER3"), (wav()[:20], "not a readable WAV"),
        (wav()[:40], "not a readable WAV"), (wav()[:44], "0.00 s long"), (wav(rate=1000), "1000 samples a second"),
        (wav(data=bytes(40001)), "not a readable WAV"), (b"", "not a readable WAV"),
        (b"fLaC" + bytes(99), r"FLAC, not WAV; convert it: ffmpeg -i 'x\.bin' 'x\.wav'"),
        (bytes(4) + b"ftypM4A " + bytes(99), r"compressed \(M4A, MP4 or 3GP\), not WAV; record as WAV if you can"),
        (b"ID3" + bytes(99), r"compressed \(MP3\)"), (b"OggS" + bytes(99), "Opus"), (b"#!AMR" + bytes(99), "AMR"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_is_refused_with_its_place(tmp_path, content, words):
    path = tmp_path / "x.bin"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=words) as told:
        read_stage("open-rim", [named_take(f"open-rim={path}")])
    assert str(told.value).startswith("open-rim: recording '") and str(path) in str(told.value)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.int32, np.float32, np.float64])
@pytest.mark.parametrize(("channels", "rate"), [(1, 8000), (2, 44100), (8, 192000)])
def test_depths_channels_and_rates_are_read(tmp_path, kind, channels, rate):
    """The loudest channel of up to eight, 8 to 64 bits, up to 192 kHz: the same signal to within the steps of its depth."""
    t = np.arange(int(0.5 * rate)) / rate
    x = np.exp(-9 * t) * np.sin(2 * np.pi * 150 * t)
    many = 0.1 * x[:, None] * np.ones(channels)
    many[:, -1] = 0.9 * x
    data = (
        127.5 + 127 * many
        if kind == np.uint8
        else many * (np.iinfo(kind).max if np.issubdtype(kind, np.integer) else 1)
    )
    wavfile.write(tmp_path / "x.wav", rate, data.astype(kind))
    read = read_recording(tmp_path / "x.wav")
    assert read.rate == rate and read.notes == ()
    assert read.signal - read.signal.mean() == pytest.approx(0.9 * (x - x.mean()), abs=0.02)


def test_a_file_that_ends_too_early_is_read_and_told(tmp_path):
    x = (20000 * recording(F[:1], Q[:1], A[:1], taps=1)).astype("<i2").tobytes()
    (tmp_path / "x.wav").write_bytes(wav(data=x, promised=2 * len(x)))
    assert any(
        "cut off: the 2.0 s that are there are read" in note for note in read_recording(tmp_path / "x.wav").notes
    )


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("box.wav", "expected STAGE=FILE"), ("=box.wav", "expected STAGE=FILE"), ("closed-box=", "expected STAGE=FILE"),
        ("close-box=x.wav", "unknown stage 'close-box' \\(did you mean 'closed-box'"), ("bow=x.wav", "expected one of loose-top"),
    ],
)  # fmt: skip
def test_what_is_typed_wrong_is_told(typed, words):
    with pytest.raises(BadInput, match=words):
        named_take(typed)


def test_a_stage_may_be_typed_with_a_place():
    take = named_take("Closed_Box@hole=a=b.wav")
    assert (take.stage, take.place, take.path) == ("closed-box", "hole", Path("a=b.wav"))


def refused(capsys, *arguments):
    with pytest.raises(SystemExit) as stop:
        command_line(["tap", *map(str, arguments)])
    out, err = capsys.readouterr()
    assert stop.value.code == 2 and not out and len(err.splitlines()) == 1
    return err


def test_the_command_refuses_in_one_line(tmp_path, capsys):
    take = write(tmp_path / "x.wav", recording(F[:1], Q[:1], A[:1], taps=2))
    assert "no recording given; expected STAGE=FILE" in refused(capsys, HAZEL)
    assert "nought.wav: no such file" in refused(capsys, HAZEL, f"open-rim={tmp_path / 'nought.wav'}")
    assert "given twice" in refused(capsys, HAZEL, f"open-rim={take}", f"closed-box={take}")
    assert "--held bench: expected 'free' or 'lap'" in refused(capsys, HAZEL, f"open-rim={take}", "--held", "bench")
    assert "--humidity-percent 140" in refused(capsys, HAZEL, f"open-rim={take}", "--humidity-percent", "140")


# ------------------------------------------------------------------ beside the computed
def test_tones_find_their_modes_in_order():
    """A board 6 % stiffer moves all; one tone between two modes has none; a mode that does not sound is passed over."""
    modes = [100.0, 180.0, 210.0, 300.0, 400.0]
    assert tone_partners([103, 185, 216, 309, 412], modes, [None] * 5) == [0, 1, 2, 3, 4]
    assert tone_partners([103, 150, 185.4, 309], modes, [None] * 5) == [0, None, 1, 3]
    assert tone_partners([196.0], [190.0, 200.0], [0.3, 0.001]) == [0]
    assert tone_partners([196.0], [190.0, 200.0], [0.001, 0.3]) == [1]
    assert tone_partners([], modes, [None] * 5) == [] and tone_partners([100.0], [], []) == [None]


def test_tones_at_random_find_partners_where_modes_are_dense():
    """Modes 3 % apart leave no tone alone; of five tones over two octaves two modes can only serve two."""
    tones = [100.0, 160.0, 220.0, 300.0, 400.0]
    assert by_chance(tones, np.geomspace(80, 500, 60), [None] * 60) == 5
    assert by_chance(tones, [120.0, 130.0], [None] * 2) < 2


def by_hand(noisy):
    """Tapped with computed modes by hand."""
    computed = tuple(
        Computed(f, 1 / 60, 0.2, words)
        for f, words in ((96, "air resonance"), (181, "swells"), (240, "rocks"), (260, "still"))
    )
    heard = tuple(
        replace(h, partner={98: 0, 185: 1, 231: 2}.get(round(h.pole.frequency))) if h.kind == MODE else h
        for h in noisy.heard
    )
    read = replace(noisy, heard=heard, computed=computed)
    return Tapped(cases.example("hazel"), (read,), "lap", 0.025)


def test_words_and_lines_for_the_sheet(noisy):
    tapped = by_hand(noisy)
    told = r"Of 4 sure tones of the closed box with its bridge, 3 have a computed partner; they were heard −3\.[6-9] % to \+2\.[0-3] % off"
    assert re.match(told, tap_verdict(tapped))
    said = text(tapped)
    assert "no partner" in said and "Computed but not heard up to there: 260 Hz." in said and "the room's?" in said
    assert "Temperature and humidity were not given" in said and "on the lap" in said
    assert "\nclosed_box_tap_hz = [98." in said and '\nclosed_box_held = "lap"' in said
    assert "16 °C and 45 %" in text(replace(tapped, temperature=16, humidity=45))


def test_lines_for_the_sheet_are_read_back(noisy, tmp_path):
    import tomllib

    from meshes.measured import MeasuredTable

    read = MeasuredTable(**tomllib.loads(sheet_lines(by_hand(noisy))))
    assert read.closed_box_tap_hz == pytest.approx((98, 185, 231, 290), rel=1e-3) and read.closed_box_held == "lap"


def test_page_and_tables(noisy, tmp_path):
    from studies.tap.page import write_report

    page, machine, table = write_report(by_hand(noisy), tmp_path)
    html = page.read_text(encoding="utf-8")
    assert html.count("<svg") == 3 and "Stabilisation" in html and "closed_box_tap_hz" in html
    data = json.loads(machine.read_text(encoding="utf-8"))
    assert data["schema_version"] == 2 and data["model"] == "tapped" and data["held"] == "lap"
    tones = data["stages"][0]["tones"]
    assert len(tones) == len(noisy.heard) == len(table.read_text(encoding="utf-8").splitlines()) - 1
    first = next(t for t in tones if t["kind"] == "mode")
    assert first["computed_hz"] == 96 and first["computed_quality"] == pytest.approx(60)
    assert data["stages"][0]["takes"][0]["place"] == "near" and len(data["stages"][0]["takes"][0]["sha256"]) == 64


def test_a_stage_without_a_model_says_so(noisy):
    read = replace(noisy, name="loose-top", computed=())
    said = text(replace(by_hand(noisy), stages=(read,)))
    assert "Nothing is computed for this stage: rimwork plate reads" in said and "no partner" not in said
    assert "# loose top, no braces: the sheet has no key for it" in said


def test_the_command_sets_an_open_rim_beside_the_dry_model(tmp_path):
    """Taps at the computed tones of the rim itself find those modes as partners, at their frequencies."""
    from studies.tap.solve import computed_modes

    sheet = cases.oval_sheet(tmp_path)
    from meshes.sheet import read_sheet

    rim = [c for c in computed_modes("open-rim", read_sheet(sheet), "free", 0.06, tmp_path) if 40 < c.frequency < 500]
    chosen = rim[:6:2]
    take = write(
        tmp_path / "rim.wav",
        recording([c.frequency for c in chosen], [50] * len(chosen), [1, 0.8, 0.6], taps=3, gap=1.0),
    )
    said = question.tap_guitar(sheet, [f"open-rim={take}"], tmp_path / "out", None, 60)
    rows = json.loads((tmp_path / "out" / "tap.json").read_text(encoding="utf-8"))["stages"][0]["tones"]
    assert [row["computed_hz"] for row in rows if row["kind"] == "mode"] == pytest.approx([c.frequency for c in chosen])
    assert "Computed dry, free" in said and "rim_tap_hz = [" in said
