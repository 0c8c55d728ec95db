"""The air of a sweep with plucked notes: once for each mesh outside, once for each build of the rim inside."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from fem.elements import Space
from fem.radiation import Radiation
from meshes.body import Body
from meshes.sounding import surroundings
from meshes.sounding_basis import Enclosed, SoundingBasis, enclosed, held_places, radiation_of
from studies.common.kept import fingerprint
from studies.sweep.design import Value
from studies.sweep.result import MODEL_VERSION


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
            file = folder / f"sound-{fingerprint(MODEL_VERSION, around.surface, V)}.npz"
            radiation = load_radiation(file)
            if radiation is None:
                say("air outside, for the whole basis")
                radiation = radiation_of(space, V, around)
                save_radiation(file, radiation)
            outside = SoundingBasis(held_places(body, space, V), radiation)
    return outside, inside


def save_radiation(file, found):
    """As save_basis."""
    draft = file.with_suffix(".part")
    with draft.open("wb") as stream:
        np.savez(stream, frequency=found.frequency, resistance=found.resistance, added_mass=found.added_mass)
    draft.replace(file)


def load_radiation(file):
    """The stored Radiation, or None."""
    try:
        with np.load(file) as data:
            return Radiation(data["frequency"], data["resistance"], data["added_mass"])
    except (OSError, ValueError, KeyError, EOFError):
        return None
