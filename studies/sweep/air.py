"""The air of a sweep with plucked notes: once for each mesh outside, once for each build of the rim inside."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.elements import Space
from fem.radiation import FREQUENCIES
from meshes.body import Body
from meshes.sounding import surroundings
from meshes.sounding_basis import Enclosed, SoundingBasis, enclosed, held_places, radiation_of
from studies.common.kept import kept
from studies.solved.outside import OUTSIDE
from studies.sweep.design import Value

AROUND_BASIS = replace(OUTSIDE, name="sound", source=("meshes.sounding_basis",))


def air_of(
    bodies: dict[tuple[tuple[Value, ...], str], Body],
    space: Space,
    V: np.ndarray,
    folder: Path,
    say: Callable[[str], None],
) -> tuple[SoundingBasis | None, dict[tuple[tuple[Value, ...], str], Enclosed]]:
    """The air of a basis V (dofs, r) on a Space, for bodies {(values, rim): Body}, one or more, of one mesh.

    The boundary elements' answer is kept in the folder. The enclosed air is that of each body; thicknesses within the plan's
    ranges are followed from there.
    """
    inside, outside = {}, None
    for name, body in bodies.items():
        say(f"enclosed air ({name[1].replace('_', ' ')})")
        around = surroundings(body)
        inside[name] = enclosed(body, space, V, around)
        if outside is None:

            def radiated(around=around):
                say("air outside, for the whole basis")
                return radiation_of(space, V, around)

            inputs = (FREQUENCIES, space.mesh, around.surface, around.groups, V)
            radiation = kept(folder, AROUND_BASIS, inputs, radiated)
            outside = SoundingBasis(held_places(body, space, V), radiation)
    return outside, inside
