"""The box of each build under its strings."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from fem.energies import masses
from fem.free_body import FreeBody
from fem.model import Model, weights
from fem.prestress import frequency_ratio, largest_ratio, membrane_forces
from meshes.body import Assumption, Body
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.string_sets import string_set
from studies.common import box_measures as box
from studies.common.builds import COMMON, Build, builds, complete_linings
from studies.common.inputs import BadInput
from studies.common.mesh_error import on_levels, spaces
from studies.common.progress import Progress
from studies.load.readings import NUT, Places, readings
from studies.load.result import Load, Pull, Row

DEFAULT_STRINGS = "steel"
SPREAD = (0.054, 0.038)  # m between the outer strings at saddle and nut
MODES = 6  # lowest ones whose shift is told
ROUGHLY = 1e-3  # of them: the shift of a frequency hardly feels an error of the shape


def load_builds(
    body: Body, pulls: Sequence[Pull], size: float = DEFAULT_SIZE, progress: Progress | None = None,
    chosen: Collection[str] | None = None,
) -> Load:  # fmt: skip
    """Load of a body under its string_pulls, for all rim builds on one mesh; each build's stiffness is factorised once.

    The sheet's own build is solved in a richer space and on longer edges as well, which tells the mesh error. chosen: names of
    the builds, 'sheet' among them; None: all.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=body.assumed + assumed)

    def ready(model: Model) -> tuple[Model, np.ndarray, Places]:
        places = Places(model.space, body, pulls)
        return model, string_load(places, pulls), places

    def solve(build: Build, place: tuple[Model, np.ndarray, Places], done: Sequence[Row]) -> Row:
        return solve_loaded(build, *place, done[0].modes if done else None)

    rows = [b for b in builds(body) if chosen is None or b.name in chosen]
    found = on_levels(rows, map(ready, spaces(partial(mesh_body, body, size))), solve, progress)
    models = [level.place[0] for level in (found.fine, found.richer, found.faceted)]
    unknowns = tuple(int(model.size) for model in models)
    _, richer, faceted = found.own
    return Load(body, size, unknowns, found.fine.rows, richer, faceted, models[0].space, tuple(pulls))


# --- the load ---


def tensions(body: Body, name: str | None = None) -> tuple[list[tuple[str, float]], tuple[Assumption, ...]]:
    """([(name, N)] from the lowest string, Assumptions): the sheet's, or those of a built-in set.

    ValueError for an unknown set.
    """
    scale = body.strings.scale_length if body.strings else None
    given = body.strings if name is None else None
    if given and given.tension:
        return [(f"string {k}", t) for k, t in enumerate(given.tension, 1)], ()
    if given and given.own:
        return [(s.name, s.tension) for s in given.own.strings], ()
    named = given.set_name if given else name
    table = string_set(named or DEFAULT_STRINGS, scale)
    if given and len(given.unit_mass) == len(table.strings):
        pitch = [np.sqrt(s.tension / s.mass) / (2 * s.length) for s in table.strings]
        found = [
            (s.name, m * (2 * given.scale_length * f) ** 2) for s, m, f in zip(table.strings, given.unit_mass, pitch)
        ]
        return found, (Assumption("strings, pitch", "standard, E2 to E4", COMMON),)
    found = [(s.name, s.tension) for s in table.strings]
    if named is not None:
        return found, ()
    total = sum(t for _, t in found)
    value = f"set '{table.name}', {total:.0f} N in all; strings.tension_N or another set would say otherwise"
    return found, (Assumption("strings, tension", value, "the sheet gives none"),)


def string_pulls(body: Body, name: str | None = None) -> tuple[tuple[Pull, ...], tuple[Assumption, ...]]:
    """((Pull of each string), Assumptions) of a body. BadInput where there is no neck for the nut."""
    if body.neck is None:
        raise BadInput("neck.included = false: the strings need a nut to pull at; expected a neck")
    strings, assumed = tensions(body, name)
    bridge, x_nut = body.bridge, body.outline.length + body.neck.length
    at_saddle, at_nut = (np.linspace(width / 2, -width / 2, len(strings)) for width in SPREAD)
    spread = "{:g} mm at the saddle, {:g} mm at the nut".format(*(1e3 * width for width in SPREAD))
    assumed += (
        Assumption("strings, spread", spread, COMMON),
        Assumption("strings, above the board at the nut", f"{1e3 * NUT:g} mm", COMMON),
    )
    return tuple(
        Pull(string, tension, np.array([bridge.saddle_x, bridge.centre[1] + y]), np.array([x_nut, y_nut]))
        for (string, tension), y, y_nut in zip(strings, at_saddle, at_nut)
    ), assumed


def string_load(places: Places, pulls: Sequence[Pull]) -> np.ndarray:
    """(size,) of all strings together: each pulls saddle and nut towards each other along itself, in balance."""
    space = places.space
    F = np.zeros(space.size)
    for pull, a, b, p, q in zip(pulls, places.saddles, places.nuts, places.saddle_points(), places.nut_points()):
        force = pull.tension * (q - p) / np.linalg.norm(q - p)
        F += box.force_at(space, a, p, force) + box.force_at(space, b, q, -force)
    return F


# --- one build ---


def solve_loaded(
    build: Build, model: Model, load: np.ndarray, places: Places, modes: tuple[np.ndarray, np.ndarray] | None = None
) -> Row:
    """Row of a build. modes: those of the sheet's own build, found here where they are not given; another build borrows their shapes."""
    sections = build.sections()
    w = weights(sections)
    body = FreeBody(model, w)
    answer = body.deflect(load)
    displacement = answer.displacement[:, 0]
    forces = membrane_forces(model, w, displacement)
    bound = None
    if modes is None:
        M = model.matrix("M", w)
        modes, bound = body.modes(M, MODES, ROUGHLY), largest_ratio(body, forces, M)
    u = box.seen_from_rim(model.space, displacement)
    return Row(
        build, masses(model, sections), readings(places, u, forces["top"]), u, forces["top"],
        frequency_ratio(model, forces, *modes), bound, float(np.abs(answer.work / answer.energy - 1)[0]), modes,
    )  # fmt: skip
