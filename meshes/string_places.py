"""Where strings bear on a body, which wood carries them there, and the forces that they put on it."""

import numpy as np

from fem.elements import Space
from fem.interpolate import BasisSpace, normal_displacement
from fem.strings import sounding_length
from meshes.body import Assumption, Body, top_height
from meshes.carving import thickness_here
from meshes.saddle import saddle_rows

FRETS = 24  # whose ends are kept
FRET_HEIGHT = 1e-3  # m, of a fret's crown, and of the nut's slots, above the fingerboard; common practice, no source
SADDLE_SPREAD, NUT_SPREAD = 0.054, 0.037  # m from the first to the last string; common practice, no source
BENT_AT = (0, 12, 20)  # frets at which the body's bending beyond its modes is kept


def saddle_places(body: Body, strings: int) -> np.ndarray:
    """(strings, 3) [m] where strings bear on the saddle, which the top carries."""
    b, x = body.bridge, body.bridge.saddle_x
    y = b.centre[1] + _across(SADDLE_SPREAD, strings)
    height = top_height(body, x, y) + thickness_here(body, "top", b.centre) / 2 + b.saddle_height
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


def string_loads(body: Body, space: Space | BasisSpace) -> np.ndarray:
    """(dofs, k): 1 N out of the top at the saddle's middle, then at nut and frets of BENT_AT out of the neck at the first
    and last string and along it, across the strings. With a BasisSpace in its coordinates.
    """
    rows = [saddle_rows(body, space)]
    ends = far_places(body, 3, FRETS)
    for fret in BENT_AT if ends else ():
        region, places = ends[fret]
        rows.append(normal_displacement(space, (region,), places[[0, 2, 1]], np.eye(3)[[2, 2, 1]]))
    return np.vstack([row if isinstance(row, np.ndarray) else row.toarray() for row in rows]).T


def assumptions() -> tuple[Assumption, ...]:
    """What is assumed of the strings' far ends."""
    return (
        Assumption("frets", f"crowns {1e3 * FRET_HEIGHT:g} mm above the fingerboard", "common practice, no source"),
        Assumption(
            "strings behind the finger", "damped by it; their mass and stiffness left out", "bounded in the docs"
        ),
    )
