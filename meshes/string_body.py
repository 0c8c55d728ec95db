"""The sounding body as its strings meet it: BodyModes with the motion at saddle height, at the nut and at every fret."""

import numpy as np

from fem.body_modes import BodyModes, radiation_factor
from fem.interpolate import normal_displacement
from fem.radiation import resistance_at
from fem.response import ModalModel
from fem.strings import sounding_length
from meshes.body import Body, top_height
from meshes.coupled_model import CoupledModel, Structure, real_modes

FRETS = 24  # whose ends are kept
FRET_HEIGHT = 1e-3  # m, of a fret's crown, and of the nut's slots, above the fingerboard; common practice, no source
SADDLE_SPREAD, NUT_SPREAD = 0.054, 0.037  # m from the first to the last string; common practice, no source


def string_body(coupled: CoupledModel, supported: ModalModel, strings: int = 6) -> BodyModes:
    """BodyModes of the held body for `strings` strings, the first one on the bass side.

    The saddle moves at the strings' height, carried along rigidly by the top under it, so that the bridge's turning
    enters; nut and frets by neck and tongue at their crowns' height. Without a neck the nut stands still. Losses between
    real modes.
    """
    omega, X = real_modes(coupled, supported)
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
    )


def string_ends(structure: Structure, strings: int) -> tuple[np.ndarray, np.ndarray]:
    """Motion of each structure mode at the saddle (strings, n, 3) and at nut and frets (frets + 1, strings, n, 3).

    Of a body without a neck nothing moves at the far end: (strings, n, 3).
    """
    at_saddle = _moved(structure, "top", saddle_places(structure.body, strings))
    if structure.body.neck is None:
        return at_saddle, np.zeros_like(at_saddle)
    far = [_moved(structure, region, places) for region, places in far_places(structure.body, strings)]
    return at_saddle, np.stack(far)


def saddle_places(body: Body, strings: int) -> np.ndarray:
    """(strings, 3) [m] where strings bear on the saddle, which the top carries."""
    b, x = body.bridge, body.bridge.saddle_x
    y = b.centre[1] + _across(SADDLE_SPREAD, strings)
    height = top_height(body, x, y) + body.top.thickness / 2 + b.saddle_height
    return np.column_stack([np.full(strings, x), y, height])


def far_places(body: Body, strings: int, frets: int = FRETS) -> list[tuple[str, np.ndarray]]:
    """[(region that carries it, (strings, 3) [m])] where strings bear on the nut and on the crowns of frets 1 to `frets`.

    Frets are sawn from the nut by the scale length. Beyond the body the neck's strip carries them, never the heel under it
    on the side; over the body the tongue on the top does. Empty for a body without a neck.
    """
    if body.neck is None:
        return []
    n, end = body.neck, body.outline.length
    nut, saddle = end + n.length, body.bridge.saddle_x
    scale = body.strings.scale_length if body.strings else nut - saddle
    first, last = _across(NUT_SPREAD, strings), body.bridge.centre[1] + _across(SADDLE_SPREAD, strings)
    found = []
    for x in nut - scale + sounding_length(scale, np.arange(frets + 1)):
        y = first + (nut - x) / (nut - saddle) * (last - first)
        on_top = x < end
        below = top_height(body, x, y) + body.top.thickness / 2 if on_top else top_height(body, end, y)
        places = np.column_stack([np.full(strings, x), y, below + n.fingerboard_thickness + FRET_HEIGHT])
        found.append((("neck/tongue" if n.tongue else "top") if on_top else "neck/shaft", places))
    return found


def _across(spread: float, strings: int) -> np.ndarray:
    """(strings,) [m] from the first string, on the bass side, to the last."""
    return spread * (np.linspace(0.5, -0.5, strings) if strings > 1 else np.zeros(1))


def _moved(structure: Structure, region: str, points: np.ndarray) -> np.ndarray:
    """(points, n, 3) motion of places carried along rigidly by the nearest place of a region."""
    axes = np.repeat(np.eye(3), len(points), axis=0)
    rows = normal_displacement(structure.space, (region,), np.tile(points, (3, 1)), axes) @ structure.shape
    return np.moveaxis(rows.reshape(3, len(points), -1), 0, -1)
