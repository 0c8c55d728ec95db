"""Are the maker's own measurements where the model puts them? Measured beside computed, with the reading error."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from fem.eigen import modes
from fem.energies import masses
from fem.model import assemble, weights
from meshes.body import Body
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.measured import NOT_IN_BODY, WEIGHTS, Measured
from meshes.open_rim import mesh_loose_plate, mesh_open_rim, sections_on
from meshes.parts import sections
from studies.common.measured import squeeze_values

SPARE = 4  # computed modes beyond the measured tones, so that a mode the tap missed does no harm


def computed_for(body: Body, measured: Measured, size: float = DEFAULT_SIZE) -> dict[str, float | np.ndarray]:
    """{sheet key: kg, m or (n,) Hz} of what a Measured holds; only what was measured is computed."""
    found: dict[str, float | np.ndarray] = {}
    if measured.weights:
        found |= computed_weights(body, measured.weights, size)
    if measured.squeezes:
        from studies.common.builds import Build
        from studies.squeeze.solve import solve_squeezed

        row = solve_squeezed(Build("sheet", "", body), assemble(mesh_open_rim(body, size)), body, measured.squeeze_load)
        found |= squeeze_values(row.deflection, measured.squeeze_held)
    bare = replace(body, neck=None)
    meshes = {
        "top_tap_hz": lambda: mesh_loose_plate(body, "top", size),
        "back_tap_hz": lambda: mesh_loose_plate(body, "back", size),
        "rim_tap_hz": lambda: mesh_open_rim(body, size),
        "closed_box_tap_hz": lambda: mesh_body(bare, size),
    }
    for key, tones in measured.taps.items():
        mesh = meshes[key]()
        w = weights(sections_on(mesh, sections(bare)))
        found[key] = modes(assemble(mesh), w, len(tones) + SPARE).frequency
    return found


def computed_weights(body: Body, keys: Iterable[str], size: float) -> dict[str, float]:
    """{sheet key: kg}."""
    bare = replace(body, neck=None)
    mass = masses(assemble(mesh_body(bare, size)), sections(bare))
    groups = {key: WEIGHTS[key][0] or [p for p in mass if p not in NOT_IN_BODY] for key in keys}
    return {key: sum(mass.get(part, 0.0) for part in parts) for key, parts in groups.items()}
