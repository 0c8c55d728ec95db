"""The reduced model of a family of variants: its basis from full solves, kept; its terms merged; its air where notes are plucked."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fem.compressed_terms import Compressed, compress
from fem.elements import Space
from fem.mesh import ShellMesh
from fem.model import assemble, weights
from fem.radiation import FREQUENCIES
from fem.reduce import Greedy, greedy, reduce, smallest
from fem.sections import Section
from meshes.body import Body
from meshes.coupled_basis import CoupledBasis, Enclosed, enclosed, radiation_of, support_places
from meshes.coupled_model import fluid_domain
from meshes.saddle import saddle_rows
from meshes.string_places import string_loads
from studies.common.kept import Kind, kept
from studies.common.ranges import numbers
from studies.solved.outside import OUTSIDE
from studies.sweep.design import Where
from studies.sweep.fields import Plan

Say = Callable[[str], None]
SPANNING = 200  # variants that the basis, and the merging of terms, are made from
AIM = 0.7  # of the plan's tolerance, for the spanning variants: those between them are worse


@dataclass(frozen=True)
class ReducedModel:
    """A reduced model of the variants of one family, in a basis of r."""

    compressed: Compressed
    saddle: np.ndarray  # (r,) the basis at the saddle's middle
    words: str  # how large it is, for the log
    outside: CoupledBasis | None = None  # of sweeps with strings
    inside: dict[Where, Enclosed] = field(default_factory=dict)


def reduced_model(
    plan: Plan,
    body: Body,
    mesh: ShellMesh,
    sections: list[dict[str, Section]],
    bodies: dict[Where, Body],
    folder: Path,
    say: Say,
) -> ReducedModel:
    """ReducedModel for variants that [{region: Section}, ...] span. The basis is kept in the folder. body: any of theirs;
    bodies: those whose air it is to have.
    """
    model = assemble(mesh)
    samples = [weights(s) for s in sections]
    want = (plan.modes, AIM * plan.accuracy.estimate, plan.accuracy.basis)
    table = [[list(key), value] for w in samples for key, value in sorted(w.items())]
    loads = string_loads(body, model.space) if plan.plucked else None
    bent = (body.bridge, body.neck) if plan.plucked else None
    basis = kept(folder, BASIS, (mesh, table, want, bent), lambda: greedy(model, samples, *want, say=say, loads=loads))
    say("projecting")
    reduced = reduce(model, basis.V, basis.Z)
    whole = reduced.size
    if not plan.plucked:  # strings want more than the estimate tells
        reduced = smallest(reduced, samples, *want[:2])
    cut = f", cut to {reduced.size}" if reduced.size < whole else ""
    V = basis.V[:, : reduced.size]
    words = (
        f"reduced basis of {whole} from {len(basis.solved)} full solves of {model.size} unknowns; largest estimate "
        f"over {len(samples)} variants {min(basis.worst):.2g} (first {basis.worst[0]:.2g}){cut}"
    )
    air = air_of(bodies, model.space, V, folder, say)
    return ReducedModel(compress(reduced, sections), (saddle_rows(body, model.space) @ V)[0], words, *air)


def air_of(
    bodies: dict[Where, Body], space: Space, V: np.ndarray, folder: Path, say: Say
) -> tuple[CoupledBasis | None, dict[Where, Enclosed]]:
    """The air of a basis V (dofs, r) on a Space, for bodies of one mesh: once outside, once for each inside.

    The boundary elements' answer is kept in the folder. The enclosed air is that of each body; thicknesses within the plan's
    ranges are followed from there.
    """
    inside, outside = {}, None
    for name, body in bodies.items():
        say(f"enclosed air ({name[1].replace('_', ' ')})")
        around = fluid_domain(body)
        inside[name] = enclosed(body, space, V, around)
        if outside is None:

            def radiated(around=around):
                say("air outside, for the whole basis")
                return radiation_of(space, V, around)

            inputs = (FREQUENCIES, space.mesh, around.surface, around.groups, V)
            radiation = kept(folder, AROUND_BASIS, inputs, radiated)
            outside = CoupledBasis(support_places(body, space, V), radiation)
    return outside, inside


def mixed(n: int, count: int) -> np.ndarray:
    """Sorted indices of `count` of n variants (all, where there are no more), the first among them.

    At random: even steps would leave out whole rim builds, which take turns in the order of the variants.
    """
    return np.sort(np.r_[0, 1 + np.random.default_rng(0).permutation(n - 1)[: count - 1]])


AROUND_BASIS = replace(OUTSIDE, name="sound", source=("meshes.coupled_basis",))
BASIS = Kind(
    "basis", ("studies.sweep.basis",), vars,
    lambda a: Greedy(a["V"], a["Z"], tuple(a["solved"].tolist()), tuple(a["worst"].tolist())),
    lambda basis: numbers('reduced basis', {"V": basis.V, "Z": basis.Z}),
)  # fmt: skip
