"""Motions of the example guitar's outer surface that two boundary-element programs are compared on."""

import numpy as np

from fem.radiation import boundary, piston

FREQUENCY = (80.0, 160.0, 300.0, 500.0, 800.0)  # Hz


def motions(mesh):
    """(m, 4) normal velocities of an OuterSurface's triangles: a hump of the top, a rocking of the back with no net flow, the whole
    body swinging along z (the soundhole's disc with it), and the soundhole's piston.
    """
    surface = boundary(mesh.nodes, mesh.triangles)
    x, y, _ = surface.centroid.T
    hump = np.maximum(0, 1 - ((x - 0.17) ** 2 + y**2) / 0.13**2) ** 2
    on = lambda group: np.isin(np.arange(len(x)), mesh.groups[group])
    return np.column_stack(
        [
            hump * on("top"),
            hump * y / 0.13 * on("back"),
            surface.normal[:, 2],
            piston(surface, mesh.groups["soundhole"]),
        ]
    )
