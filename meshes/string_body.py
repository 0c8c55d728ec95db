"""The sounding body as its strings meet it: BodyModes with the motion at saddle height and at the nut."""

import numpy as np

from fem.body_modes import BodyModes, radiation_factor
from fem.interpolate import normal_displacement
from fem.radiation import resistance_at
from fem.response import ModalModel
from meshes.body import Body, top_height
from meshes.coupled_model import CoupledModel, Structure, real_modes

SADDLE_SPREAD, NUT_SPREAD = 0.054, 0.037  # m from the first to the last string; common practice, no source


def string_body(coupled: CoupledModel, supported: ModalModel, strings: int = 6) -> BodyModes:
    """BodyModes of the held body for `strings` strings, the first one on the bass side.

    The saddle moves at the strings' height, carried along rigidly by the top under it, so that the bridge's turning
    enters; the nut is carried by the neck's end. Without a neck the nut stands still. Losses between real modes.
    """
    omega, X = real_modes(coupled, supported)
    turn = lambda group: {part: X.T @ A @ X for part, A in group.items()}
    assert supported.radiation is not None
    R = resistance_at(supported.radiation, omega)
    radiated = radiation_factor(np.einsum("ia,wij,jb->wab", X, R, X, optimize=True))
    saddle, nut = string_ends(coupled.structure, strings)
    n = len(coupled.structure.frequency)
    moved = lambda rows: np.einsum("sna,nm->sma", rows, X[:n])
    return BodyModes(
        omega,
        turn(supported.loss),
        moved(saddle),
        moved(nut),
        radiated,
        turn(supported.viscous),
        coupled.structure.valid_to,
    )


def string_ends(structure: Structure, strings: int) -> tuple[np.ndarray, np.ndarray]:
    """Motion (strings, n, 3) at the saddle and at the nut of each structure mode."""
    saddle, nut = string_places(structure.body, strings)
    at_saddle = _moved(structure, "top", saddle)
    return at_saddle, np.zeros_like(at_saddle) if nut is None else _moved(structure, "neck", nut)


def string_places(body: Body, strings: int) -> tuple[np.ndarray, np.ndarray | None]:
    """Places (strings, 3) [m] where strings bear on the saddle, which the top carries, and on the nut, which the neck
    carries; None for the nut of a body without a neck.
    """
    b, x = body.bridge, body.bridge.saddle_x
    across = np.linspace(0.5, -0.5, strings) if strings > 1 else np.zeros(1)
    y = b.centre[1] + SADDLE_SPREAD * across
    height = top_height(body, x, y) + body.top.thickness / 2 + b.saddle_height
    saddle = np.column_stack([np.full(strings, x), y, height])
    if body.neck is None:
        return saddle, None
    end = np.full(strings, body.outline.length + body.neck.length)
    return saddle, np.column_stack([end, NUT_SPREAD * across, np.full(strings, body.neck.fingerboard_thickness)])


def _moved(structure: Structure, part: str, points: np.ndarray) -> np.ndarray:
    axes = np.repeat(np.eye(3), len(points), axis=0)
    rows = normal_displacement(structure.space, (part,), np.tile(points, (3, 1)), axes) @ structure.shape
    return np.moveaxis(rows.reshape(3, len(points), -1), 0, -1)
