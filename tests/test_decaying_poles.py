"""Poles of made taps, whose frequencies and Q are known: near pairs, noise and hum, and whether the uncertainties are right."""

import numpy as np
import pytest
from tap_cases import ringing

from fem.decaying_poles import bands, find_poles

RATE = 3000


def found(taps, low=30.0, high=600.0):
    return [pole for pole in find_poles(taps, RATE, low, high)[0] if pole.quality < 1000]


def test_poles_at_40_db_a_near_pair_among_them():
    """f within .1 %, Q within 5 %, noise 40 dB below the peak; 185 and 188.7 Hz are 2 % apart at Q 30, nearer than their width."""
    f, Q = [98, 185, 188.7, 231, 290, 412], [30, 30, 30, 40, 50, 60]
    poles = found(ringing(f, Q, [1, 0.8, 0.7, 0.5, 0.4, 0.4]))
    assert [p.frequency for p in poles] == pytest.approx(f, rel=1e-3)
    assert [p.quality for p in poles] == pytest.approx(Q, rel=0.05)
    assert all(p.orders >= 3 for p in poles)


def test_hum_stands_aside():
    """Three lines of mains a fifth as loud as the taps: poles that do not decay, one of them 2 Hz beside a tone."""
    poles, _ = find_poles(ringing([98, 185], [30, 40], [1, 0.8], hum=0.2), RATE, 30, 250)
    steady = [p.frequency for p in poles if p.quality > 1000]
    assert steady == pytest.approx([50, 100, 150], abs=0.05)
    rung = [p for p in poles if p.quality < 1000]
    assert [p.frequency for p in rung] == pytest.approx([98, 185], rel=1e-3)
    assert [p.quality for p in rung] == pytest.approx([30, 40], rel=0.05)


def test_nothing_is_found_in_noise():
    noise = np.random.default_rng(4).standard_normal((4, RATE))
    assert found(noise) == []


def test_scatter_of_taps_widens_the_bars():
    """Taps whose tone wanders by .2 % are not one tone: the bar holds it, where the noise alone would not."""
    taps = np.concatenate(
        [ringing([f], [30], [1], seed=k, taps=1) for k, f in enumerate((100, 100.2, 99.8, 100.1, 99.9))]
    )
    pole = min(found(taps, 60, 180), key=lambda p: abs(p.frequency - 100))
    assert pole.scatter > 3
    steady = min(found(ringing([100], [30], [1], taps=5), 60, 180), key=lambda p: abs(p.frequency - 100))
    assert steady.scatter == 1 and pole.frequency_uncertainty > 3 * steady.frequency_uncertainty


@pytest.mark.parametrize("highest", [40.0, 95.0, 125.0, 600.0])
def test_bands_fill_the_range(highest):
    edges = bands(30.0, highest)
    assert edges[0][0] == 30 and edges[-1][1] == highest
    assert all(a[1] == b[0] for a, b in zip(edges, edges[1:])) and min(b - a for a, b in edges) >= min(10, highest - 30)


def off_in_uncertainties(count):
    """(cases, 4) frequency and loss factor of two poles off the truth, in their uncertainties; how many other poles were found."""
    rows, others = [], 0
    for seed in range(count):
        rng = np.random.default_rng(1000 + seed)
        low = rng.uniform(75, 85)
        f, Q = [low, low * rng.uniform(1.08, 1.3)], rng.uniform(20, 50, 2)
        noise = rng.uniform(20, 40)
        poles = found(ringing(f, Q, [1, rng.uniform(0.4, 1)], seed=seed, taps=3, seconds=0.5, noise_db=noise), 60, 125)
        near = [min(poles, key=lambda p: abs(p.frequency - g)) for g in f]
        others += len(poles) - 2
        rows.append(
            [(p.frequency - g) / p.frequency_uncertainty for p, g in zip(near, f)]
            + [(p.loss_factor - 1 / q) / p.loss_factor_uncertainty for p, q in zip(near, Q)]
        )
    return np.array(rows), others


def covered(count, slack):
    """1.96 standard uncertainties hold the truth in 95 % of cases, within `slack`; no pole is made up."""
    off, others = off_in_uncertainties(count)
    assert others == 0
    for part in (off[:, :2], off[:, 2:]):
        assert np.mean(np.abs(part) < 1.96) == pytest.approx(0.95, abs=slack)
        assert part.std() == pytest.approx(1, abs=2 * slack)


def test_uncertainties_are_right():
    """40 cases, 80 poles: chance alone moves 95 % by 2.4 points; 7 are three times that."""
    covered(40, 0.07)


@pytest.mark.slow
def test_uncertainties_are_right_in_hundreds():
    """300 cases, 600 poles: chance alone moves 95 % by .9 points."""
    covered(300, 0.025)
