"""The open rim of each build, loaded; the sheet's own in a richer space and on longer edges too, which tells the mesh error."""

from collections.abc import Iterable
from dataclasses import replace
from functools import partial

import numpy as np

from fem.eigen import fixed_unknowns, modes
from fem.elements import Space
from fem.energies import energies, masses
from fem.model import Model, weights
from fem.statics import deflect, pinch, spot, twist
from fem.tap_tones import Tone
from meshes.body import Body
from meshes.measured import ReadingErrors
from meshes.open_rim import block_corners, mesh_open_rim, pressed_places, sections_on
from studies.common.builds import Build, builds, complete_linings
from studies.common.mesh_error import on_levels, spaces
from studies.squeeze.result import BATTEN, GRAVITY, STATES, Row, Squeeze, ring

COUNT = 6  # lowest modes


def squeeze_builds(
    body: Body, load: float, size: float, errors: ReadingErrors, tones: Iterable[Tone], notes: Iterable[str]
) -> Squeeze:
    """Squeeze of a body's open rim under a load [kg], in all builds that can be built, on a mesh of edge length `size` [m]."""
    body, assumed = complete_linings(body)
    able = [b for b in builds(body) if b.stiffness == 1]  # the stiff-rim limit cannot be built, so not measured either
    solve = lambda build, model, done: solve_squeezed(build, model, body, load)
    found = on_levels(able, spaces(partial(mesh_open_rim, body, size)), solve)
    models = found.fine.place, found.richer.place, found.faceted.place
    unknowns, (_, richer, faceted) = tuple(int(model.size) for model in models), found.own
    notes = (*notes, *(f"assumed: {a.key}: {a.value} ({a.source})" for a in assumed))
    body = replace(body, assumed=body.assumed + assumed)
    return Squeeze(
        body, size, unknowns, found.fine.rows, richer, faceted, models[0].space, load, errors, tuple(tones), notes
    )


def solve_squeezed(build: Build, model: Model, body: Body, load: float) -> Row:
    """Row of a build under a load [kg]."""
    space = model.space
    sections = sections_on(space.mesh, build.sections())
    w = weights(sections)
    deflection, outline, frequency, loss, off = {}, {}, {}, {}, []
    for state, support in STATES.items():
        fixed = fixed_unknowns(space, support=support)
        presses = unit_loads(space, body, state)
        answer = deflect(model, w, load * GRAVITY * np.array(list(presses.values())).T, fixed)
        for (press, unit), u in zip(presses.items(), answer.displacement.T):
            deflection[state, press] = float(unit @ u)
            if state == "free":
                outline[press] = sum(u.reshape(-1, 6)[ring(space, edge), :2] for edge in ("rim_top", "rim_back")) / 2
        off.append(np.max(np.abs(answer.work / answer.energy - 1)))
        found = modes(model, w, COUNT, fixed)
        frequency[state] = found.frequency
        loss[state] = energies(model, sections, found.shape).loss_factor
    return Row(build, masses(model, sections), deflection, outline, frequency, loss, float(max(off)))


def unit_loads(space: Space, body: Body, state: str) -> dict[str, np.ndarray]:
    """{press: (size,) load of 1 N}; the product with a displacement is what the maker reads [m]."""
    edges = space.mesh.edges
    loads = {}
    for name, (treble, bass) in pressed_places(body).items():
        top, back = (
            pinch(space, spot(space, edges[edge], treble[k]), spot(space, edges[edge], bass[k]))
            for k, edge in enumerate(("rim_top", "rim_back"))
        )
        loads[name] = (top + back) / 2 if state == "free" else top
    if state == "free":
        loads["twist"] = BATTEN * twist(space, [spot(space, edges["rim_top"], c) for c in block_corners(body)])
    return loads
