"""Decays read from recordings: synthesised notes of known decay, one slope and two, spoilt in the ways that happen."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.io import wavfile
from string_cases import LOSSY, wooden_box

from fem.coupled_string import couple, pluck_note, velocity
from fem.radiated_sound import radiated_later
from fem.strings import Pluck, fundamental
from studies.common.inputs import BadInput
from studies.notes.measured import RANGES, beside_computed, computed_decay, in_band, read_file, words
from studies.notes.question import held, one, read_notes, read_take

RATE = 16000


def note(decays, f=110.0, seconds=6.0, silence=0.5, noise=1e-5, seed=1):
    """(n,) eight partials that die together as a sum of exponentials [(T60 s, dB)], after a silence, in white noise."""
    t = np.arange(int(seconds * RATE)) / RATE
    envelope = np.sqrt(sum(10 ** (dB / 10) * np.exp(-2 * 6.9078 * t / T) for T, dB in decays))
    tone = sum(np.sin(2 * np.pi * k * f * t + k * k) / k for k in range(1, 9))
    draw = np.random.default_rng(seed)
    x = np.concatenate([np.zeros(int(silence * RATE)), envelope * tone])
    return x / abs(x).max() + noise * draw.standard_normal(len(x))


def written(folder, signal, name="take.wav"):
    wavfile.write(folder / name, RATE, np.round(25000 * np.clip(signal, -1.2, 1.2)).astype(np.int16))
    return folder / name


def test_one_slope_is_read_in_every_range(tmp_path):
    """3 s by construction; 1 %: 80 dB above the noise, the filter and 10 ms blocks move nothing."""
    found = read_file(written(tmp_path, note([(3.0, 0.0)])), "A2")
    assert {k: v for k, v in found.decay.items()} == pytest.approx(dict.fromkeys(RANGES, 3.0), rel=0.01)
    assert found.fundamental == pytest.approx(110.0, abs=0.2) and abs(found.cents) < 4
    assert found.warnings == ()
    assert found.seconds == pytest.approx(6.0, abs=0.1)


def test_two_slopes_are_kept_apart(tmp_path):
    """A fast part over a slow one 20 dB lower, by hand: energy still to come is E_1 e^{-a1 t}/a1 + E_2 e^{-a2 t}/a2, so the
    slow one lies only 20 - 10 log(5/0.8) dB below; its line is read at the end, to 3 %.
    """
    found = read_file(written(tmp_path, note([(0.8, 0.0), (5.0, -20.0)], seconds=8.0)), "A2")
    assert found.decay["end"] == pytest.approx(5.0, rel=0.03)
    assert found.decay["start"] < 1.4 and 1.4 < found.decay["main"] < 5.0
    exact = lambda t: 0.8 * np.exp(-2 * 6.9078 * t / 0.8) + 0.01 * 5.0 * np.exp(-2 * 6.9078 * t / 5.0)
    for key, value in found.decay.items():
        assert value == pytest.approx(computed_decay(exact, RANGES[key]), rel=0.03)
    assert "two slopes" in words(found)


def test_noise_is_taken_off_or_the_range_refused(tmp_path):
    """50 dB above the noise: the main range stays within 3 %, the end is not read. 25 dB: nothing, and it says why."""
    found = read_file(written(tmp_path, note([(3.0, 0.0)], noise=1.2e-3)), "A2")
    assert found.decay["main"] == pytest.approx(3.0, rel=0.03)
    assert found.decay["end"] is None
    loud = read_file(written(tmp_path, note([(3.0, 0.0)], noise=2.5e-2)), "A2")
    assert loud.main == (None, None)
    assert any("no decay is read" in w for w in loud.warnings)


def test_a_cut_recording_is_told_and_not_read_too_short(tmp_path):
    """Ends 30 dB down; the tail is added as it falls, so -5 to -25 is right to 3 % even so."""
    found = read_file(written(tmp_path, note([(4.0, 0.0)], seconds=2.4)), "A2")
    assert any("let it ring out" in w for w in found.warnings)
    assert found.decay["short"] == pytest.approx(4.0, rel=0.03)


def test_automatic_gain_is_noticed(tmp_path):
    """A compressor of ratio 4 over 25 dB, and a gain that creeps up after the note."""
    x = note([(3.0, 0.0)])
    t = np.arange(len(x)) / RATE - 0.5
    level = -60 * t.clip(0) / 3.0
    pressed = x * 10 ** (np.where(level > -25, -0.75 * (level + 25), 0.0) / 20)
    found = read_file(written(tmp_path, pressed / abs(pressed).max()), "A2")
    assert any("compressor" in w for w in found.warnings)
    creeping = x + 1e-4 * np.random.default_rng(4).standard_normal(len(x)) * np.where(t > 0, 4.0, 1.0)
    found = read_file(written(tmp_path, creeping), "A2")
    assert any("noise after the note is louder" in w for w in found.warnings)


@pytest.mark.parametrize(
    ("signal", "told"),
    [
        (np.clip(1.6 * note([(3.0, 0.0)]), -1, 1), "clipped"),
        (np.concatenate([note([(1.0, 0.0)], seconds=2.0), note([(3.0, 0.0)])]), "2 notes in one file"),
        (note([(3.0, 0.0)], f=146.8), "sounds like D3, not A2"),
    ],
)
def test_what_is_wrong_with_a_recording_is_told(tmp_path, signal, told):
    found = read_file(written(tmp_path, signal), "A2")
    assert any(told in w for w in found.warnings), found.warnings
    assert "beware: " in words(found)


def test_bad_input_is_refused_in_plain_words(tmp_path):
    path = written(tmp_path, note([(3.0, 0.0)]))
    with pytest.raises(ValueError, match=r"note 'H2'.*such as E2"):
        read_file(path, "H2")
    with pytest.raises(ValueError, match="no such file"):
        read_file(tmp_path / "nought.wav", "A2")
    with pytest.raises(ValueError, match="too near 120 Hz"):
        read_file(path, "A2", highest=120.0)
    steady = np.sin(2 * np.pi * 110 * np.arange(4 * RATE) / RATE)
    with pytest.raises(ValueError, match="no plucked note found"):
        read_file(written(tmp_path, steady), "A2")


def test_a_computed_note_recorded_is_read_as_computed(tmp_path):
    """The sound of a coupled note in one direction of radiation, written as WAV: the file's decay against the closed form
    of the same sound in the same band. 3 %: the filter's skirts let some of the body's own modes through.
    """
    body = wooden_box()
    one = replace(body, radiation=body.radiation[:, :1])
    ringing = pluck_note(couple(LOSSY, 0, 0, one), Pluck())
    rows = np.zeros((len(ringing.coupled.omega), 1))
    rows[: len(one.omega)] = one.radiation
    t = np.arange(0, 8, 1 / RATE)
    sound = velocity(ringing, t, rows)[:, 0]
    sound = np.concatenate([np.zeros(RATE // 2), sound / abs(sound).max()])
    sound = sound + 1e-5 * np.random.default_rng(0).standard_normal(len(sound))
    name = {146: "D3"}[int(fundamental(LOSSY))]
    found = read_file(written(tmp_path, sound), name, highest=650.0)
    rows = {r.range: r for r in beside_computed(found, radiated_later(in_band(ringing, found.band)))}
    assert rows["main"].measured == pytest.approx(rows["main"].computed, rel=0.03)
    assert "measured over computed" in words(found, rows.values())
    whole, low, high = (radiated_later(in_band(ringing, b))(0.0)[0] for b in ((0, 1e6), (100, 200), (200, 1e6)))
    assert whole == pytest.approx(radiated_later(ringing)(0.0)[0]) and 0 < low < whole and 0 < high < whole
    assert low + high == pytest.approx(whole, rel=0.1)  # but for what both bands' motions do together, and below 100 Hz


def test_measured_and_computed_stand_side_by_side_in_one_band(tmp_path):
    """The band ends where the computed modes end; a note above them is read alone."""
    path = written(tmp_path, note([(3.0, 0.0)], f=146.4))
    read = read_file(path, "D3", 1000.0)
    told = one("D3", path, [LOSSY], (0, 0), wooden_box(highest=600.0), Pluck(), read)
    assert "measured over computed" in told and "to 5" in told.splitlines()[0]
    high = one("D3", path, [LOSSY], (0, 20), wooden_box(highest=400.0), Pluck(), read)
    assert "not computed: the note lies above" in high and "computed –" not in high


def test_takes_are_read_and_wrong_ones_refused(tmp_path):
    path = written(tmp_path, note([(3.0, 0.0)], f=110 * 2 ** (5 / 12)))
    assert read_take(f"A2+5={path}") == ("A2+5", path)
    told = read_notes([f"A2+5={path}"])
    assert "A2+5 at 146." in told and "Always: automatic gain" in told
    for wrong, words_ in (
        ("E2", "NOTE=FILE"),
        ("=x.wav", "NOTE=FILE"),
        ("E2+x=x.wav", "string and a fret"),
        ("E2=no.wav", "no such file"),
    ):
        with pytest.raises(BadInput, match=words_):
            read_take(wrong)
    with pytest.raises(BadInput, match="no recording given"):
        read_notes([])
    with pytest.raises(BadInput, match="'lap', 'free' or 'played'"):
        held("table")
