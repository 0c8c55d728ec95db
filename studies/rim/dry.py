"""How do the low modes of the assembled box, and what its rim stores and turns to heat, change with the rim's build?

Every build changes one thing from the sheet's own, on one mesh per size; modes are paired by the modal assurance
criterion. Dry: without air, radiation and strings. A richer space and longer edges tell the mesh error.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fem.eigen import mac
from fem.impulse_response import ImpulseDecay, impulse_response
from fem.model import Model, weights
from meshes.body import Body
from meshes.parts import RIM
from studies.common.builds import builds, complete_linings
from studies.common.mesh_error import Levels, OfModes, Pairs, found_of_modes
from studies.common.pairing import Followed, assigned, followed, nearest_nodes, paired, sampled_mac
from studies.common.progress import Progress
from studies.rim.result import Comparison, DryStudy
from studies.solved.dry import SPARE, Row, dry_levels
from studies.solved.level import Level, prepare_three

SOLVED = 6.0  # of progress: a build's dry modes


def compare_dry(
    body: Body, size: float, count: int, store: Path, progress: Progress | None = None, solved: int | None = None
) -> DryStudy:
    """DryStudy of a body on a mesh of `size` [m]; rows already in the folder `store` are used again.

    solved: how many modes to solve for and store, where another study wants more of them than this one.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=body.assumed + assumed)
    levels = prepare_three(body, size, store, solved or count + SPARE, solved is not None)
    found = dry_levels(builds(body), levels, count + SPARE, progress, SOLVED, every=True)
    again, places = followed_modes(found, count), (found.fine.place, found.richer.place, found.faceted.place)
    return DryStudy(body, size, compare_levels(found, again, count), again, places, count)


def unknown_losses(study: DryStudy) -> tuple[str, ...]:
    """Parts without loss factors in any build; without them no heat can be told, with air or without."""
    return tuple(dict.fromkeys(part for c in study.comparisons for part in c.row.split.losses_unknown))


def compare_levels(found: Levels[Level, Row], again: Followed, count: int) -> tuple[Comparison, ...]:
    """Comparisons of builds solved in all spaces; again: the first `count` modes of the sheet's own in the two others."""
    pairs, rows = pairs_of(found.fine.rows, found.fine.place.model, count), zip(*(level.rows for level in found.all))
    compared = []
    for (row, richer, faceted), (partner, match) in zip(rows, pairs):
        in_two = again.partner
        if not row.build.is_base:
            in_two = tuple(assigned(c) for c in criteria(found, (richer, faceted), count))
        compared.append(Comparison(row, partner, match, richer, faceted, in_two))
    return tuple(compared)


def pairs_of(rows: Sequence[Row], model: Model, count: int) -> list[Pairs]:
    """[Pairs] of rows solved on one Model: each build's modes paired with the first `count` of the first one's."""
    M = model.matrix("M", weights(rows[0].build.sections()))
    base = rows[0].found.shape[:, :count]
    return [paired(mac(M, base, row.found.shape)) for row in rows]


def followed_modes(found: Levels[Level, Row], count: int) -> Followed:
    """Followed of the first `count` modes of the sheet's own build, in the richer space and on longer edges."""
    fine, *others = found.own
    return followed(criteria(found, others, count), fine.found.frequency[:count])


def criteria(found: Levels[Level, Row], rows: Sequence[Row], count: int) -> list[np.ndarray]:
    """Assurance criteria of the first `count` modes of the sheet's own build with those of rows in the richer space, on longer edges."""
    points, base = found.fine.place.model.space.points, found.fine.rows[0].found.shape[:, :count]
    told = []
    for row, level in zip(rows, (found.richer, found.faceted)):
        here = level.place.model.space.points
        if len(here) > len(points):
            told.append(sampled_mac(row.found.shape, base, nearest_nodes(here, points)).T)
        else:
            told.append(sampled_mac(base, row.found.shape, nearest_nodes(points, here)))
    return told


def modes_told(study: DryStudy, c: Comparison, of: Callable[[Row], np.ndarray | None], share: bool = True) -> OfModes:
    """OfModes of a figure of a build; of: Row -> its values (n,), or None; share: as in mode_errors."""
    own, values = ([of(row) for row in levels] for levels in (study.own, c.levels))
    return found_of_modes(values, c.pairs, c.numbers, own, study.followed, share)


# --- measures ---


def frequencies(row: Row) -> np.ndarray:
    """(n,) Hz."""
    return row.found.frequency


def heat_in_rim(row: Row) -> np.ndarray | None:
    """(n,) part of each mode's heat that the rim turns; None where losses are not known."""
    return rim_share(row.split.dissipated_share)


def stored_in_rim(row: Row) -> np.ndarray | None:
    """(n,) part of each mode's strain energy that lies in the rim."""
    return rim_share(row.split.strain_share)


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
