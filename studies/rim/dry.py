"""How do the low modes of the assembled box, and what its rim stores and turns to heat, change with the rim's build?

Every build changes one thing from the sheet's own, on one mesh per size; modes are paired by the modal assurance
criterion. Dry: without air, radiation and strings. A second, coarser mesh tells the mesh error.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.eigen import mac
from fem.impulse_response import ImpulseDecay, impulse_response
from fem.model import Model, weights
from meshes.body import Body
from meshes.parts import RIM
from studies.common.builds import builds, complete_linings
from studies.common.pairing import nearest_nodes, paired, sampled_mac
from studies.common.progress import Progress
from studies.rim.result import Comparison, DryStudy
from studies.solved.dry import SPARE, Row, dry_on_both

SOLVED = 6.0  # of progress: a build's dry modes


def compare_dry(
    body: Body, size: float, count: int, store: Path, progress: Progress | None = None, solved: int | None = None
) -> DryStudy:
    """DryStudy of a body on meshes of `size` [m] and COARSER times that; rows already in the folder `store` are used again.

    solved: how many modes to solve for and store, where another study wants more of them than this one.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=body.assumed + assumed)
    fine, coarse = dry_on_both(body, builds(body), size, count + SPARE, solved or 0, store, progress, SOLVED)
    models = fine.place[1], coarse.place[1]
    return DryStudy(body, size, compare_rows(fine.rows, coarse.rows, models, count), models, count)


def unknown_losses(study: DryStudy) -> tuple[str, ...]:
    """Parts without loss factors in any build; without them no heat can be told, with air or without."""
    return tuple(dict.fromkeys(part for c in study.comparisons for part in c.row.split.losses_unknown))


def compare_rows(
    fine: Sequence[Row], coarse: Sequence[Row], models: tuple[Model, Model], count: int
) -> tuple[Comparison, ...]:
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


def rim_share(shares: Mapping[str, np.ndarray] | None) -> np.ndarray | None:
    """(n,) sum of a share over the parts of the rim; shares {part: (n,)} or None."""
    return None if shares is None else np.sum([shares[part] for part in RIM if part in shares], axis=0)


def saddle_impulse_response(row: Row, count: int, lossless: Sequence[str] = ()) -> ImpulseDecay:
    """Tap on the saddle's middle, over the first `count` modes. Parts in `lossless` have no losses. ValueError where losses are not known."""
    if row.losses is None:
        raise ValueError(f"losses not known of {', '.join(row.split.losses_unknown)}; expected those of every part")
    n = slice(count)
    losses = {part: H[n, n] for part, H in row.losses.items() if part not in lossless}
    stiffness = {part: K[n, n] for part, K in row.stiffness.items()}
    return impulse_response(2 * np.pi * row.found.frequency[n], losses, stiffness, row.bridge[n])
