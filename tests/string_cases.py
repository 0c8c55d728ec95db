"""Strings and small bodies that the tests of strings share."""

from dataclasses import replace

import numpy as np

from fem.body_modes import BodyModes
from fem.strings import String

D3 = String("D3", 0.648, 81.0, 2.25e-3, 2.5e-4)  # no loss of its own
LOSSY = replace(D3, loss_friction=2e-4, loss_air=0.8, loss_bending=0.01)


def oscillator(mass, frequency, Q, valid_to=6000.0, axis=2, nut=0.0):
    """A body of one mode that moves the saddle along one axis; nut: its motion at the nut over that at the saddle."""
    omega = 2 * np.pi * frequency
    saddle = np.zeros((1, 1, 3))
    saddle[0, 0, axis] = mass**-0.5
    return BodyModes(np.array([omega]), {"wood": np.array([omega**2 / Q])}, saddle, nut * saddle, valid_to=valid_to)


def wooden_box(n=24, seed=3, strings=1, highest=700.0):
    """A body of n modes with full loss matrices, radiation, supports, and both ends of the strings in motion."""
    draw = np.random.default_rng(seed)
    omega = 2 * np.pi * np.sort(np.concatenate([[6.0, 9.0], draw.uniform(90, highest, n - 2)]))
    part = lambda rank, eta: (lambda A: A @ A.T)(draw.normal(size=(n, rank)) * omega[:, None] * np.sqrt(eta / rank))
    saddle = draw.normal(size=(strings, n, 3)) * [0.2, 0.4, 0.9]
    nut = draw.normal(size=(strings, n, 3)) * 0.1
    B = draw.normal(size=(n, 5)) * np.sqrt(0.004 * omega / 5)[:, None]
    loss = {"top": part(n, 0.01), "sides": part(3, 0.003), "back": 0.004 * omega**2}
    return BodyModes(omega, loss, saddle, nut, B, {"supports": np.where(omega < 80, 0.1 * omega, 0.0)})
