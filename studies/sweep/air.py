"""The air of a night with plucked notes: once for each mesh outside, once for each build of the rim inside."""

import numpy as np

from fem.radiation import Radiation
from meshes.sounding import surroundings
from meshes.sounding_basis import SoundingBasis, enclosed, held_places, radiation_of
from studies.common.kept import fingerprint


def air_of(bodies, space, V, folder, say, version):
    """(SoundingBasis, {name: Enclosed}) of a basis V (dofs, r) on a Space, for bodies {(values, rim): Body} of one mesh.

    The boundary elements' answer is kept in the folder. The enclosed air is that of each body; thicknesses within the plan's
    ranges are followed from there.
    """
    inside, basis = {}, None
    for name, body in bodies.items():
        say(f"enclosed air ({name[1].replace('_', ' ')})")
        around = surroundings(body)
        inside[name] = enclosed(body, space, V, around)
        if basis is None:
            file = folder / f"sound-{fingerprint(version, around.surface, V)}.npz"
            radiation = load_radiation(file)
            if radiation is None:
                say("air outside, for the whole basis")
                radiation = radiation_of(space, V, around)
                save_radiation(file, radiation)
            basis = SoundingBasis(held_places(body, space, V), radiation)
    return basis, inside


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
