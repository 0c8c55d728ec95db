"""The reduced model of a family of variants: its basis from full solves, kept; its terms merged."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fem.merged_terms import Merged, merge
from fem.mesh import ShellMesh
from fem.model import Model, assemble, weights
from fem.reduce import Greedy, greedy, reduce, smallest
from fem.sections import Section
from meshes.body import Body
from meshes.saddle import saddle_rows
from meshes.sounding_basis import saddle_bending
from studies.common.kept import Kind, kept
from studies.common.ranges import numbers
from studies.sweep.fields import Plan

SPANNING = 200  # variants that the basis, and the merging of terms, are made from
AIM = 0.7  # of the plan's tolerance, for the spanning variants: those between them are worse


@dataclass(frozen=True)
class ReducedModel:
    """A reduced model of the variants of one family."""

    model: Model
    V: np.ndarray  # (dofs, r) basis
    merged: Merged
    saddle: np.ndarray  # (r,) the basis at the saddle's middle
    words: str  # how large it is, for the log


def reduced_model(
    plan: Plan,
    body: Body,
    mesh: ShellMesh,
    sections: list[dict[str, Section]],
    folder: Path,
    say: Callable[[str], None],
) -> ReducedModel:
    """ReducedModel for variants that [{region: Section}, ...] span. The basis is kept in the folder. body: any of theirs."""
    model = assemble(mesh)
    samples = [weights(s) for s in sections]
    want = (plan.modes, AIM * plan.accuracy.estimate, plan.accuracy.basis)
    table = [[list(key), value] for w in samples for key, value in sorted(w.items())]
    also = (lambda w, modes: saddle_bending(body, model, w, modes)) if plan.plucked else None
    bent = body.bridge if plan.plucked else None
    basis = kept(folder, BASIS, (mesh, table, want, bent), lambda: greedy(model, samples, *want, say=say, also=also))
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
    return ReducedModel(model, V, merge(reduced, sections), (saddle_rows(body, model.space) @ V)[0], words)


def mixed(n: int, count: int) -> np.ndarray:
    """Sorted indices of `count` of n variants (all, where there are no more), the first among them.

    At random: even steps would leave out whole rim builds, which take turns in the order of the variants.
    """
    return np.sort(np.r_[0, 1 + np.random.default_rng(0).permutation(n - 1)[: count - 1]])


BASIS = Kind(
    "basis", ("studies.sweep.basis",), vars,
    lambda a: Greedy(a["V"], a["Z"], tuple(a["solved"].tolist()), tuple(a["worst"].tolist())),
    lambda basis: numbers("reduced basis", V=basis.V, Z=basis.Z),
)  # fmt: skip
