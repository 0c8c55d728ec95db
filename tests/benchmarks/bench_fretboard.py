"""Time of a whole fretboard, 6 strings x (open + 20 frets), both polarisations, on a made-up body, and of its notes by the
roots of a few coordinates beside the eigenproblem of all unknowns. Prints Markdown.

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
from fem.damped_body import damped_body  # noqa: E402
from fem.fretboard import fretboard  # noqa: E402
from fem.radiated_sound import radiated_decay_time, sound_of  # noqa: E402
from fem.string_poles import plucked  # noqa: E402
from fem.strings import Pluck  # noqa: E402
from meshes.string_sets import string_set  # noqa: E402

CASES = [(60, 600.0, 15), (120, 1100.0, 60), (200, 1500.0, 120)]  # modes, Hz of the highest, s allowed
PARTS = 15
NOTES = [(i, fret) for i in range(6) for fret in (0, 3, 5)]  # (string, fret)


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
    """(processor time of this process, the result)."""
    start = time.process_time()
    result = work(*arguments)
    return time.process_time() - start, result


def in_full(string, index, fret, reduced, pluck):
    return pluck_note(couple(string, index, fret, reduced.body, damping=reduced.damping), pluck)


def three_times(ringing, sound):
    return fall_time(ringing, 60.0), radiated_decay_time(sound, 10.0), radiated_decay_time(sound, 60.0)


def notes_table(strings, pluck):
    """Processor ms a note, mean of NOTES; once a body: its reduction."""
    print("\n| modes | once a body | poles and pluck: in full | by roots | ratio | shares | sound | three times |")
    print("|---|---|---|---|---|---|---|---|")
    for n, highest, _ in CASES:
        body, spent = made_up_body(n, highest), np.zeros(5)
        once, reduced = seconds(damped_body, body)
        for i, fret in NOTES:
            full, _ = seconds(in_full, strings[i], i, fret, reduced, pluck)
            roots, ringing = seconds(plucked, strings[i], i, fret, reduced, pluck)
            shares, _ = seconds(dissipated, ringing, reduced.parts)
            heard, sound = seconds(sound_of, ringing)
            spent += [full, roots, shares, heard, seconds(three_times, ringing, sound)[0]]
        full, roots, *rest = 1e3 * spent / len(NOTES)
        cells = [f"{x:.1f}" for x in (1e3 * once, full, roots, full / roots, *rest)]
        print(f"| {n} | {' | '.join(cells)} |")


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
    notes_table(strings, pluck)
    return int(slow)


if __name__ == "__main__":
    sys.exit(main())
