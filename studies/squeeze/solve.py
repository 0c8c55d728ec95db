"""The open rim of each build, loaded on two meshes."""

from dataclasses import replace

import numpy as np

from fem.eigen import fixed_unknowns, modes
from fem.elements import Space
from fem.energies import energies, masses
from fem.model import assemble, weights
from fem.statics import deflect, pinch, spot, twist
from meshes.build import DEFAULT_SIZE
from meshes.measured import Measured, ReadingErrors
from meshes.open_rim import block_corners, mesh_open_rim, pressed_places, sections_on
from studies.common.builds import builds, complete_linings
from studies.common.two_meshes import on_both
from studies.squeeze.result import BATTEN, GRAVITY, STATES, Row, Squeeze

COUNT = 6  # lowest modes


def squeeze_builds(body, load=2.0, size=DEFAULT_SIZE, errors=None, measured=None, tones=(), notes=(), progress=None):
    """Squeeze of a body's open rim, in all builds that can be built, on two meshes of edge length `size` [m] and coarser."""
    body, assumed = complete_linings(body)
    able = [b for b in builds(body) if b.stiffness == 1]  # the stiff-rim limit cannot be built, so not measured either
    ready = lambda h: assemble(mesh_open_rim(body, h))
    solve = lambda build, model, done: solve_squeezed(build, model, body, load)
    fine, coarse = on_both(able, size, ready, solve, progress)
    notes = (*notes, *(f"assumed: {a.key}: {a.value} ({a.source})" for a in assumed))
    places = {name: np.array([treble[0, :2], bass[0, :2]]) for name, (treble, bass) in pressed_places(body).items()}
    return Squeeze(
        replace(body, assumed=body.assumed + assumed), load, size, fine.rows, coarse.rows, plan_of(fine.place.space), places,
        errors or ReadingErrors(), measured or Measured(), tuple(tones), notes,
        (int(fine.place.size), int(coarse.place.size)),
    )  # fmt: skip


def solve_squeezed(build, model, body, load):
    """Row of a build under a load [kg]."""
    space = model.space
    sections = sections_on(space.mesh, build.sections())
    w = weights(sections)
    deflection, frequency, loss, off = {}, {}, {}, 0.0
    for state, held in STATES.items():
        fixed = fixed_unknowns(space, hold=held)
        presses = unit_loads(space, body, state)
        loads = load * GRAVITY * np.array(list(presses.values())).T
        answer = deflect(model, w, loads, fixed)
        for k, (press, unit) in enumerate(presses.items()):
            deflection[state, press] = float(unit @ answer.displacement[:, k])
        off = max(off, float(np.max(np.abs(answer.work / answer.energy - 1))))
        if state == "free":
            outline = {press: _plan_motion(space, answer.displacement[:, k]) for k, press in enumerate(presses)}
        found = modes(model, w, COUNT, fixed)
        frequency[state] = found.frequency
        loss[state] = energies(model, sections, found.shape).loss_factor
    return Row(build, masses(model, sections), deflection, outline, frequency, loss, off)


def unit_loads(space, body, state):
    """{press: (size,) load of 1 N}; the product with a displacement is what the maker reads [m]."""
    edges = space.mesh.edges
    found = {}
    for name, (treble, bass) in pressed_places(body).items():
        pairs = [
            pinch(space, spot(space, edges[edge], treble[k]), spot(space, edges[edge], bass[k]))
            for k, edge in enumerate(("rim_top", "rim_back"))
        ]
        found[name] = sum(pairs) / 2 if state == "free" else pairs[0]
    if state == "free":
        found["twist"] = BATTEN * twist(space, [spot(space, edges["rim_top"], c) for c in block_corners(body)])
    return found


def plan_of(space: Space) -> np.ndarray:
    """(k, 2) m: the rim's outline at its top edge."""
    return space.points[_ring(space, "rim_top"), :2]


def _ring(space, edge):
    """Shape-function nodes round the rim, each once, in order."""
    return space.edge_nodes(space.mesh.edges[edge])[:, :-1].ravel()


def _plan_motion(space, u):
    u = u.reshape(-1, 6)
    return (u[_ring(space, "rim_top"), :2] + u[_ring(space, "rim_back"), :2]) / 2
