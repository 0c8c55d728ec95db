"""Time of a whole fretboard, 6 strings x (open + 20 frets), both polarisations, on a made-up body. Prints Markdown.

Run from the root of the repository: OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_fretboard.py
"""

import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from fem.body_modes import BodyModes  # noqa: E402
from fem.coupled_string import couple, dissipated, fall_time, pluck_note  # noqa: E402
from fem.fretboard import fretboard  # noqa: E402
from fem.strings import Pluck  # noqa: E402
from meshes.string_sets import string_set  # noqa: E402

CASES = [(60, 600.0, 15), (200, 1500.0, 120)]  # modes, Hz of the highest, s allowed
PARTS = 15


def made_up_body(n, highest, strings=6, seed=0):
    """n modes from 90 Hz up, evenly dense, 15 parts with full loss matrices, radiation, supports at 6 Hz."""
    draw = np.random.default_rng(seed)
    omega = 2 * np.pi * np.concatenate([[6.0], np.linspace(90, highest, n - 1)])
    factor = lambda eta, rank: draw.normal(size=(n, rank)) * omega[:, None] * np.sqrt(eta / rank)
    loss = {f"part_{i}": (lambda A: A @ A.T)(factor(0.015 / PARTS, 30)) for i in range(PARTS)}
    saddle = draw.normal(size=(strings, n, 3)) * [0.1, 0.3, 0.8]
    B = factor(0.004, 30) / np.sqrt(omega)[:, None]
    supports = np.where(omega < 100, 0.1 * omega, 0.0)
    return BodyModes(omega, loss, saddle, 0.1 * saddle[..., ::-1], B, {"supports": supports})


def seconds(work, *arguments):
    start = time.perf_counter()
    result = work(*arguments)
    return time.perf_counter() - start, result


def main():
    strings, pluck = string_set("nylon").strings, Pluck()
    print("| modes | to Hz | notes answered | s | allowed s | imbalance of the shares |")
    print("|---|---|---|---|---|---|")
    slow = False
    for n, highest, allowed in CASES:
        body = made_up_body(n, highest)
        spent, board = seconds(fretboard, strings, body, pluck)
        slow |= spent > allowed
        print(f"| {n} | {highest:.0f} | {board.valid.sum()} | {spent:.1f} | {allowed} | {board.imbalance:.0e} |")
    print("\n| one open E2 | complex modes ms | shares ms | T60 ms |\n|---|---|---|---|")
    for n, highest, _ in CASES:
        solve, coupled = seconds(couple, strings[0], 0, 0, made_up_body(n, highest))
        ringing = pluck_note(coupled, pluck)
        rest = [seconds(dissipated, ringing)[0], seconds(fall_time, ringing, 60.0)[0]]
        print(f"| {n} modes | {1e3 * solve:.0f} | {1e3 * rest[0]:.0f} | {1e3 * rest[1]:.0f} |")
    return int(slow)


if __name__ == "__main__":
    sys.exit(main())
