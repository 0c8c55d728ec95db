"""The sounding body as its strings meet it: BodyModes with the motion at saddle height, at the nut and at every fret."""

from dataclasses import replace

import numpy as np

from fem.body_modes import BodyModes, Hand, radiation_factor
from fem.interpolate import normal_displacement
from fem.radiation import resistance_at
from fem.response import ModalModel
from meshes.coupled_model import CoupledModel, Structure, real_modes
from meshes.string_places import far_places, saddle_places


def string_body(
    coupled: CoupledModel,
    supported: ModalModel,
    strings: int = 6,
    hand: Hand | None = None,
    known: tuple[np.ndarray, np.ndarray] | None = None,
) -> BodyModes:
    """BodyModes of the held body for `strings` strings, the first one on the bass side.

    The saddle moves at the strings' height, carried along rigidly by the top under it, so that the bridge's turning
    enters; nut and frets by neck and tongue at their crowns' height. Without a neck the nut stands still. Losses between
    real modes. hand: of the structure's modes, as supports.hand_on. known: real_modes, where they are there already.
    """
    omega, X = known or real_modes(coupled, supported)
    turn = lambda group: {part: X.T @ A @ X for part, A in group.items()}
    assert supported.radiation is not None
    R = resistance_at(supported.radiation, omega)
    radiated = radiation_factor(np.einsum("ia,wij,jb->wab", X, R, X, optimize=True))
    saddle, nut = string_ends(coupled.structure, strings)
    n = len(coupled.structure.frequency)
    moved = lambda rows: X[:n].T @ rows  # (..., n, 3)
    return BodyModes(
        omega,
        turn(supported.loss),
        moved(saddle),
        moved(nut),
        radiated,
        turn(supported.viscous),
        coupled.structure.valid_to,
        None if hand is None else replace(hand, motion=hand.motion @ X[:n]),
    )


def string_ends(structure: Structure, strings: int) -> tuple[np.ndarray, np.ndarray]:
    """Motion of each structure mode at the saddle (strings, n, 3) and at nut and frets (frets + 1, strings, n, 3).

    Of a body without a neck nothing moves at the far end: (strings, n, 3).
    """
    at_saddle = _moved(structure, "top", saddle_places(structure.body, strings))
    if structure.body.neck is None:
        return at_saddle, np.zeros_like(at_saddle)
    far = far_places(structure.body, strings)  # those on the neck, then those over the body
    on = {region: np.concatenate([p for r, p in far if r == region]) for region in dict.fromkeys(r for r, _ in far)}
    moved = np.concatenate([_moved(structure, region, places) for region, places in on.items()])
    return at_saddle, moved.reshape(len(far), strings, -1, 3)


def _moved(structure: Structure, region: str, points: np.ndarray) -> np.ndarray:
    """(points, n, 3) motion of places carried along rigidly by the nearest place of a region."""
    axes = np.repeat(np.eye(3), len(points), axis=0)
    rows = normal_displacement(structure.space, (region,), np.tile(points, (3, 1)), axes) @ structure.shape
    return np.moveaxis(rows.reshape(3, len(points), -1), 0, -1)
