"""Dry modes of one build on one mesh, with energies by part, solved once and kept."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from fem.eigen import Modes, modes
from fem.elements import Space
from fem.energies import Energies, energies, masses
from fem.modal_losses import modal_stiffness, modal_stiffness_and_losses
from fem.model import Model, weights
from fem.richer import richer_modes
from meshes.saddle import saddle_load
from meshes.string_places import string_loads
from studies.common.builds import Build, physical
from studies.common.kept import Arrays, Kind, flat, kept, unflat
from studies.common.mesh_error import Levels, on_levels
from studies.common.progress import Progress
from studies.common.ranges import in_order, numbers, positive, shares
from studies.solved.level import Level

SOURCE = ("studies.solved.dry", "studies.common.builds")  # that computes a row: a build makes its own sections
SPARE = 6  # modes solved for beyond those compared: partners may lie higher


@dataclass(frozen=True)
class Row:
    """One build solved on one mesh."""

    build: Build
    found: Modes
    split: Energies
    mass: dict[str, float]  # {part: kg}
    bridge: np.ndarray  # (n,) normal displacement of each mode at the saddle's middle [kg^-1/2]
    stiffness: dict[str, np.ndarray]  # {part: (n, n)} Phi' K_part Phi [rad2/s2]
    losses: dict[str, np.ndarray] | None  # {part: (n, n)} Phi' (eta K)_part Phi [rad2/s2]; None: not known


def first_modes(row: Row, count: int) -> Row:
    """The Row with its first modes alone."""
    cut = lambda parts: parts and {part: v[:count] for part, v in parts.items()}
    square = lambda parts: parts and {part: A[:count, :count] for part, A in parts.items()}
    m, s = row.found, row.split
    found = Modes(m.frequency[:count], m.shape[:, :count].copy(), m.residual[:count], m.rigid_frequency)
    split = replace(
        s, strain_share=cut(s.strain_share), kinetic_share=cut(s.kinetic_share), dissipated_share=cut(s.dissipated_share),
        dissipated_share_by_channel=cut(s.dissipated_share_by_channel), loss_factor=None if s.loss_factor is None else s.loss_factor[:count],
    )  # fmt: skip
    return replace(
        row, found=found, split=split, bridge=row.bridge[:count], stiffness=square(row.stiffness), losses=square(row.losses)
    )  # fmt: skip


def solve_dry(build: Build, model: Model, count: int, strung: bool = True) -> Row:
    """Row of a build on a model. strung: with the residual attachment modes of its strings."""
    loads = string_loads(build.body, model.space) if strung else None
    return row_of(build, model, modes(model, weights(build.sections()), count, loads=loads))


def solve_richer(build: Build, model: Model, space: Space, found: Modes, strung: bool = True) -> Row:
    """As solve_dry on a richer Model than the Space, on the same triangles, where its modes were found."""
    loads = string_loads(build.body, model.space) if strung else None
    return row_of(build, model, richer_modes(model, weights(build.sections()), space, found, loads))


def row_of(build: Build, model: Model, found: Modes) -> Row:
    """Row of a build from its modes on a model."""
    sections = build.sections()
    split = energies(model, sections, found.shape)
    bridge = saddle_load(build.body, model.space) @ found.shape
    if split.losses_unknown:
        stiffness, losses = modal_stiffness(model, sections, found.shape), None
    else:
        stiffness, losses = modal_stiffness_and_losses(model, sections, found.shape)
    return Row(build, found, split, masses(model, sections), bridge, stiffness, losses)


def stored_row(build: Build, level: Level) -> Row:
    """Row of a build on a Level, solved once: by solve_richer where the Level has a start, else by solve_dry."""
    kind = Kind("dry", SOURCE, pack, lambda arrays: unpack(arrays, build), check)
    model, count, start = level.model, level.count, level.start

    def solve() -> Row:
        if start is None:
            return solve_dry(build, model, count, level.strung)
        known = first_modes(stored_row(build, start), count)
        return solve_richer(build, model, start.model.space, known.found, level.strung)

    degrees = [at.model.space.element.maxdeg for at in (level, start) if at]
    return kept(level.store, kind, (*physical(build), count, level.strung, model.space.mesh, degrees), solve)


def dry_levels(
    builds: Sequence[Build], levels: Iterator[Level], keep: int, progress: Progress | None = None, step: float = 1.0,
    every: bool = False,
) -> Levels[Level, Row]:  # fmt: skip
    """The first `keep` modes of builds on the Levels of prepare_three, at most as many as are solved for and stored there.

    Of builds beside the sheet's own no more than that are solved for on the others than the first. step, every: as in on_levels.
    """

    cubic = next(levels)

    def solve(build: Build, level: Level, done: Sequence[Row]) -> Row:
        whole = build.is_base or level is cubic
        return first_modes(stored_row(build, level if whole else level.fewer(keep)), keep)

    return on_levels(builds, chain([cubic], levels), solve, progress, step, every)


def pack(row: Row) -> Arrays:
    """{name: array} of all in a Row but its build."""
    s = row.split
    arrays = flat({
        "modes": {k: v for k, v in vars(row.found).items() if v is not None}, "mass": {part: np.array(m) for part, m in row.mass.items()}, "strain": s.strain_share, "kinetic": s.kinetic_share,
        "heat": s.dissipated_share, "channel": s.dissipated_share_by_channel, "stiffness": row.stiffness, "losses": row.losses,
    })  # fmt: skip
    arrays |= {"bridge": row.bridge, "losses_unknown": np.array(s.losses_unknown, str)}
    return arrays if s.loss_factor is None else arrays | {"loss_factor": s.loss_factor}


def unpack(arrays: Arrays, build: Build) -> Row:
    """The Row of a build that was packed."""
    of = lambda name: unflat(arrays, name)
    split = Energies(
        of("strain"), of("kinetic"), of("heat") or None, of("channel") or None, arrays.get("loss_factor"),
        tuple(arrays["losses_unknown"].tolist()),
    )  # fmt: skip
    mass = {part: float(m) for part, m in of("mass").items()}
    return Row(build, Modes(**of("modes")), split, mass, arrays["bridge"], of("stiffness"), of("losses") or None)


def check(row: Row) -> None:
    """ArithmeticError unless a Row's numbers are in range."""
    what, s = f"modes without air of '{row.build.label}'", row.split
    in_order(what, row.found.frequency)
    numbers(
        what,
        {"shape": row.found.shape, "residual": row.found.residual, "bridge": row.bridge, "loss_factor": s.loss_factor},
    )
    numbers(what, flat({"stiffness": row.stiffness, "losses": row.losses}))
    for split in filter(None, (s.strain_share, s.kinetic_share, s.dissipated_share)):
        shares(what, split)
    positive(what, {"total_mass": sum(row.mass.values())})
