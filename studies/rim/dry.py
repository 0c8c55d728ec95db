"""How do the low modes of the assembled box, and what its rim stores and turns to heat, change with the rim's build?

Every build changes one thing from the sheet's own, on one mesh per size; modes are paired by the modal assurance
criterion. Dry: without air, radiation and strings. A second, coarser mesh tells the mesh error.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fem.eigen import mac
from fem.model import weights
from fem.tap import tap
from meshes.body import Body
from meshes.parts import RIM
from studies.common.builds import builds, complete_linings
from studies.common.inputs import NO_SOURCE, Source
from studies.common.pairing import nearest_nodes, paired, sampled_mac
from studies.common.progress import Progress
from studies.solved.dry import SPARE, Row, dry_on_both

SOLVED, DRAWING, DRAWINGS = 6.0, 25.0, 25  # of progress: a build's dry modes; all pictures, and how many there are


@dataclass(frozen=True)
class Comparison:
    """A build beside the sheet's own; index of its partner for every mode of the base, -1 where it has none."""

    row: Row
    coarse: Row
    partner: np.ndarray  # (n,) into row's modes
    coarse_partner: np.ndarray  # (n,) into coarse's modes
    match: np.ndarray  # (n,) modal assurance criterion with the partner


@dataclass(frozen=True)
class Study:
    """Everything that the report is made from."""

    body: object
    size: float  # m
    comparisons: tuple[Comparison, ...]  # the sheet's own build first
    models: tuple  # of the finer and the coarser mesh
    unknowns: tuple[int, int]  # fine, coarse
    count: int  # modes compared
    measured: tuple = ()  # Besides: what the maker measured, and the computed value
    source: Source = NO_SOURCE


def compare_dry(
    body: Body, size: float, count: int, store: Path, progress: Progress | None = None, solved: int | None = None
) -> Study:
    """Study of a body on meshes of `size` [m] and COARSER times that; rows already in the folder `store` are used again.

    solved: how many modes to solve for and store, where another study wants more of them than this one.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=body.assumed + assumed)
    fine, coarse = dry_on_both(body, builds(body), size, count + SPARE, solved or 0, store, progress, SOLVED)
    models = fine.place[1], coarse.place[1]
    comparisons = compare(fine.rows, coarse.rows, models, count)
    return Study(body, size, comparisons, models, tuple(int(m.size) for m in models), count)


def unknown_losses(study):
    """Parts without loss factors in any build; without them no heat can be told, with air or without."""
    return tuple(dict.fromkeys(part for c in study.comparisons for part in c.row.split.losses_unknown))


def compare(fine, coarse, models, count):
    """Comparisons of solved rows: each build's modes paired with the base's first `count`, and with the coarse mesh's."""
    M = models[0].matrix("M", weights(fine[0].build.sections()))
    base = fine[0].found.shape[:, :count]
    near = nearest_nodes(*(m.space.points for m in models))
    found = []
    for row, rough in zip(fine, coarse):
        partner, match = paired(mac(M, base, row.found.shape))
        across, _ = paired(sampled_mac(row.found.shape, rough.found.shape, near))
        found.append(Comparison(row, rough, partner, np.where(partner >= 0, across[partner], -1), match))
    return tuple(found)


# --- measures ---


def rim_share(shares):
    """(n,) sum of a share over the parts of the rim; shares {part: (n,)} or None."""
    return None if shares is None else sum(shares[part] for part in RIM if part in shares)


def struck(row, count, lossless=()):
    """Tap on the saddle's middle, over the first `count` modes; None where losses are not known. Parts in `lossless` have none."""
    if row.losses is None:
        return None
    n = slice(count)
    losses = {part: H[n, n] for part, H in row.losses.items() if part not in lossless}
    stiffness = {part: K[n, n] for part, K in row.stiffness.items()}
    return tap(2 * np.pi * row.found.frequency[n], losses, stiffness, row.bridge[n])
