"""Made taps: decaying sinusoids of known frequency and Q, from one end of a recording to the other or from where they ring on."""

import numpy as np

RATE = 44100


def ringing(f, Q, amplitude, *, seed=0, taps=6, seconds=1.0, rate=3000, noise_db=40.0, hum=0.0):
    """(taps, n) of free ringing, white noise up to rate / 2 that lies noise_db below the loudest sample; hum: its amplitude, in peaks."""
    rng, t = np.random.default_rng(seed), np.arange(int(seconds * rate)) / rate
    made = []
    for _ in range(taps):
        a = np.asarray(amplitude) * rng.uniform(0.7, 1.4, len(f)) * rng.uniform(0.6, 1.6)
        phase = rng.uniform(0, 2 * np.pi, len(f))
        made.append(
            sum(x * np.exp(-np.pi * g / q * t) * np.cos(2 * np.pi * g * t + p) for g, q, x, p in zip(f, Q, a, phase))
        )
    x = np.array(made)
    peak = abs(x).max()
    for order, part in ((1, 1.0), (2, 0.6), (3, 0.5)):
        x += hum * peak * part * np.cos(2 * np.pi * 50 * order * t + rng.uniform(0, 2 * np.pi, (taps, 1)))
    return x + peak * 10 ** (-noise_db / 20) * rng.standard_normal(x.shape)


def recording(f, Q, amplitude, *, seed=0, taps=6, gap=1.6, noise_db=40.0, hum=0.0, rate=RATE):
    """(n,) of taps in a row, each a sharp knock of 1 ms and what rings on; noise over all frequencies, in peaks of the loudest tap."""
    rng = np.random.default_rng(seed)
    x = np.zeros(int((0.4 + gap * taps) * rate))
    t = np.arange(len(x)) / rate
    for k in range(taps):
        start = 0.4 + gap * k + rng.uniform(-0.05, 0.05)
        s, gain = np.maximum(t - start, 0), 10 ** (rng.normal(0, 2) / 20)
        ring = sum(a * np.exp(-np.pi * g / q * s) * np.sin(2 * np.pi * g * s) for g, q, a in zip(f, Q, amplitude))
        x += gain * (t >= start) * (ring + 0.3 * np.exp(-s / 0.001) * rng.standard_normal(len(x)))
    peak = abs(x).max()
    for order, part in ((1, 1.0), (2, 0.6), (3, 0.5)):
        x += hum * peak * part * np.cos(2 * np.pi * 50 * order * t + order)
    return 0.8 * (x + peak * 10 ** (-noise_db / 20) * rng.standard_normal(len(x))) / peak
