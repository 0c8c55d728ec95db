"""Are the maker's own measurements where the model puts them? Measured beside computed, with the reading error."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.eigen import modes
from fem.energies import masses
from fem.model import assemble, weights
from meshes.body import Body
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.measured import CLOSED_BOX, NOT_IN_BODY, WEIGHTS, Measured
from meshes.open_rim import mesh_loose_plate, mesh_open_rim, sections_on
from meshes.parts import sections
from meshes.supports import FREE, LAP
from studies.common.builds import Build, builds, complete_linings
from studies.common.kept import kept_folder
from studies.common.measured import squeeze_values
from studies.solved.answer import ask
from studies.solved.coupled import one_coupled
from studies.solved.level import prepare

SPARE = 4  # computed modes beyond the measured tones, so that a mode the tap missed does no harm


def computed_for(
    body: Body, measured: Measured, size: float = DEFAULT_SIZE, store: Path | None = None
) -> dict[str, float | np.ndarray]:
    """{sheet key: kg, m or (n,) Hz} of what a Measured holds; only what was measured is computed. store: folder of kept results."""
    found: dict[str, float | np.ndarray] = {}
    if measured.weights:
        found |= computed_weights(body, measured.weights, size)
    if measured.squeezes:
        from studies.squeeze.solve import solve_squeezed

        row = solve_squeezed(Build("sheet", "", body), assemble(mesh_open_rim(body, size)), body, measured.squeeze_load)
        found |= squeeze_values(row.deflection, measured.squeeze_held)
    bare = replace(body, neck=None)
    meshes = {
        "top_tap_hz": lambda: mesh_loose_plate(body, "top", size),
        "back_tap_hz": lambda: mesh_loose_plate(body, "back", size),
        "rim_tap_hz": lambda: mesh_open_rim(body, size),
    }
    for key, tones in measured.taps.items():
        if key == CLOSED_BOX:
            found[key] = box_tones(bare, measured.box_held, size, store or kept_folder(Path("out") / "measured"))
            continue
        mesh = meshes[key]()
        w = weights(sections_on(mesh, sections(bare)))
        found[key] = modes(assemble(mesh), w, len(tones) + SPARE).frequency
    return found


def box_tones(box: Body, held: str, size: float, store: Path) -> np.ndarray:
    """(n,) Hz of a closed box with the air inside and the sound outside, hung 'free' or on the 'lap'; modes of its supports left out."""
    own = builds(complete_linings(box)[0])[0]
    return ask(one_coupled(own, prepare(box, size, store)), {"free": FREE, "lap": LAP}[held]).modes.of_body.frequency


def computed_weights(body: Body, keys: Iterable[str], size: float) -> dict[str, float]:
    """{sheet key: kg}."""
    bare = replace(body, neck=None)
    mass = masses(assemble(mesh_body(bare, size)), sections(bare))
    groups = {key: WEIGHTS[key][0] or [p for p in mass if p not in NOT_IN_BODY] for key in keys}
    return {key: sum(mass.get(part, 0.0) for part in parts) for key, parts in groups.items()}
