"""From the values and draws of a variant to its body and its build of the rim; the whole sheet is read again."""

import copy
from dataclasses import replace
from functools import cache

import numpy as np

from fem.woods import library, scattered
from meshes.body import Body
from meshes.sheet import body_of
from studies.common.builds import Build, builds, complete_linings
from studies.common.inputs import BadInput
from studies.sweep.design import Value
from studies.sweep.plan import Sweep

SINGLE = ("top", "back", "bridge", "bridge_plate", "lining_top", "lining_back", "neck_block", "tail_block", "neck")


def body_at(sweep: Sweep, values: dict[str, Value]) -> Body:
    """Body of the sheet with the factors' values written into it; factors that are not named keep the sheet's own.

    Its linings have every measure that any build needs, so that all builds share one mesh.
    """
    raw = copy.deepcopy(sweep.raw)
    for key, value in sweep.written(values).items():
        _write(raw, sweep.places[key], value)
    return complete_linings(body_of(raw, sweep.sheet.name, sweep.sheet.parent, library()))[0]


def _write(raw, place, value):
    for part in place[:-1]:
        raw = raw.setdefault(part, {}) if isinstance(raw, dict) else raw[part]
    if str(place[-1]).endswith("_mm"):
        raw.pop(place[-1].removesuffix("_mm") + "_in", None)
    raw[place[-1]] = value


def with_draws(body: Body, draws: dict[str, np.ndarray]) -> Body:
    """The body made of other boards: draws {board: (DRAWN,)} for fem.woods.scattered."""
    other = cache(lambda board, wood: scattered(wood, draws[board]))

    def redrawn(part, board):
        known = part is not None and part.wood is not None and board in draws
        return replace(part, wood=other(board, part.wood)) if known else part

    return replace(
        body,
        sides=tuple(redrawn(layer, "sides") for layer in body.sides),
        side_bars=tuple(redrawn(bar, "side_bars") for bar in body.side_bars),
        braces=tuple(redrawn(brace, f"{brace.plate}_braces") for brace in body.braces),
        **{name: redrawn(getattr(body, name), name) for name in SINGLE},
    )


def rim_build(body: Body, name: str) -> Build:
    """The Build of that name for a body from body_at. BadInput where the sheet's own rim already is that build."""
    known = {b.name: b for b in builds(body)}
    if name not in known:
        raise BadInput(
            f"rim.builds: '{name}' is what the sheet builds already, or does not apply to it; "
            f"expected some of: {', '.join(known)}"
        )
    return known[name]


def check_builds(sweep: Sweep) -> None:
    """BadInput, with the plan's file, for a build of the rim that does not apply to the base sheet."""
    body = body_at(sweep, {})
    for name in sweep.plan.rim.builds:
        try:
            rim_build(body, name)
        except BadInput as error:
            raise BadInput(f"{sweep.path}: {error}") from None
