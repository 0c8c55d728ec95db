"""Where a force from the strings meets the top: the saddle's middle."""

import numpy as np
import scipy.sparse as sp

from fem.elements import Space
from fem.interpolate import BasisSpace, normal_displacement
from meshes.body import Body, top_height


def saddle_rows(body: Body, space: Space | BasisSpace) -> sp.csr_array | np.ndarray:
    """(1, size) displacement out of the top at the saddle's middle, per unit of each unknown; times 1 N the load there.

    By the top's own shape functions, wherever the nodes lie. With a BasisSpace per unit of each of its coordinates.
    """
    x, y = body.bridge.saddle_x, body.bridge.centre[1]
    return normal_displacement(space, ("top",), np.array([[x, y, float(top_height(body, x, y))]]), np.eye(3)[2:])


def saddle_load(body: Body, space: Space | BasisSpace) -> np.ndarray:
    """(dofs,) 1 N out of the top at the saddle's middle."""
    return saddle_rows(body, space).T @ np.ones(1)
