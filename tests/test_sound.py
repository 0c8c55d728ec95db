"""Sound files: the signal of a note, one gain for all, a hidden order."""

import json

import numpy as np
import pytest
from scipy.io import wavfile
from string_cases import LOSSY, wooden_box

from fem.coupled_string import couple, energy, pluck_note, velocity
from fem.strings import Pluck
from studies.notes.sound import KEY, note_signal, phrase, reveal, write_blind, write_wavs


def at_bridge(body, string):
    """Receiver: velocity [m/s] of the saddle away from the top."""
    row = body.saddle[string, :, 2]
    return lambda omega: np.broadcast_to(row, (len(omega), len(row)))


@pytest.fixture(scope="module")
def note():
    return pluck_note(couple(LOSSY, 0, 2, wooden_box()), Pluck())


def test_signal_at_the_bridge_is_the_saddles_velocity(note):
    body = note.coupled.body
    row = np.zeros(len(note.coupled.omega))
    row[: len(body.omega)] = body.saddle[0, :, 2]
    t = np.arange(4000) / 8000
    assert note_signal(note, at_bridge(body, 0), 0.5, rate=8000) == pytest.approx(
        velocity(note, t, row), abs=1e-7 * abs(velocity(note, t, row)).max()
    )


def test_a_receiver_may_delay_and_weigh_each_frequency(note):
    """A pure delay of 3 ms: exp(-i omega tau) at each mode's own frequency moves the signal, to within the decay in 3 ms."""
    at, tau = at_bridge(note.coupled.body, 0), 0.003
    late = lambda omega: at(omega) * np.exp(-1j * omega * tau)[:, None]
    plain, delayed = (note_signal(note, r, 0.6, rate=8000) for r in (at, late))
    late_part, plain_part = delayed[2424:], plain[2400:-24]  # from 0.3 s on: the body's own fast modes are gone
    assert np.linalg.norm(late_part - plain_part) < 0.05 * np.linalg.norm(plain_part)


def test_files_share_one_gain_and_hide_their_order(tmp_path, note):
    loud = note_signal(note, at_bridge(note.coupled.body, 0), 0.2)
    signals = {"kerfed": loud, "solid": 0.5 * loud}
    paths = write_wavs(tmp_path / "open", signals, band=(80, 700))
    data = {name: wavfile.read(path)[1].astype(float) for name, path in paths.items()}
    assert abs(data["kerfed"]).max() == pytest.approx(0.89 * 32767, abs=1)
    assert data["solid"] == pytest.approx(0.5 * data["kerfed"], abs=1)
    assert "80 to 700 Hz only" in (tmp_path / "open" / "README.txt").read_text()
    orders = set()
    for seed in range(12):
        blind = write_blind(tmp_path / f"blind{seed}", signals, seed=seed)
        assert [path.name for path in blind] == ["sound_1.wav", "sound_2.wav"]
        shown = [p.name for p in (tmp_path / f"blind{seed}").iterdir() if not p.name.startswith(".")]
        assert not any("kerfed" in (tmp_path / f"blind{seed}" / n).read_bytes().decode("latin1") for n in shown)
        order = reveal(tmp_path / f"blind{seed}")
        heard = {name: abs(wavfile.read(tmp_path / f"blind{seed}" / f"{name}.wav")[1]).max() for name in order}
        assert order[max(heard, key=heard.get)] == "kerfed"
        orders.add(json.dumps(order))
    assert len(orders) == 2
    assert KEY.startswith(".")
    with pytest.raises(ValueError, match="no hidden order"):
        reveal(tmp_path)
    with pytest.raises(ValueError, match="silent"):
        write_wavs(tmp_path, {"kerfed": 0 * loud})


def test_phrase_strikes_each_note_when_it_should(note):
    body = wooden_box(strings=2)
    notes = [(0, 0, 0.0, 0.3), (1, 5, 0.2, 0.3)]
    signal = phrase([LOSSY, LOSSY], body, Pluck(), notes, at_bridge(body, 0), rate=8000)
    first = phrase([LOSSY, LOSSY], body, Pluck(), notes[:1], at_bridge(body, 0), rate=8000)
    assert len(signal) == 4001
    assert signal[:1600] == pytest.approx(first[:1600])
    assert np.abs(signal[2500:]).max() > 0
    with pytest.raises(ValueError, match=r"fret 60.*body modes are missing"):
        phrase([LOSSY, LOSSY], body, Pluck(0.01, 0.001), [(0, 60, 0.0, 0.1)], at_bridge(body, 0))
    assert energy(note, 0.0)[0] == pytest.approx(note.energy)
