"""Dry modes of one build on one mesh, with energies by part, solved once and kept."""

import json
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fem.eigen import Modes, modes
from fem.energies import Energies, energies, masses
from fem.modal_losses import modal_losses, modal_stiffness
from fem.model import Model, assemble, weights
from meshes.body import Body
from meshes.build import mesh_body
from meshes.saddle import saddle_rows
from studies.common.builds import Build
from studies.common.kept import fingerprint
from studies.common.machine import rimwork_version
from studies.common.progress import Progress
from studies.common.two_meshes import Level, on_both

SPARE = 6  # modes solved for beyond those compared: partners may lie higher
STORE_VERSION = 4


@dataclass(frozen=True)
class Row:
    """One build solved on one mesh."""

    build: object
    found: Modes
    split: Energies
    mass: dict[str, float]  # {part: kg}
    bridge: np.ndarray  # (n,) normal displacement of each mode at the saddle's middle [kg^-1/2]
    stiffness: dict[str, np.ndarray]  # {part: (n, n)} Phi' K_part Phi [rad2/s2]
    losses: dict[str, np.ndarray] | None  # {part: (n, n)} Phi' (eta K)_part Phi [rad2/s2]; None: not known


def first_modes(row, count):
    """The Row with its first modes alone."""
    cut = lambda parts: parts and {part: v[:count] for part, v in parts.items()}
    square = lambda parts: parts and {part: A[:count, :count] for part, A in parts.items()}
    m, s = row.found, row.split
    found = replace(m, frequency=m.frequency[:count], shape=m.shape[:, :count].copy(), residual=m.residual[:count])
    split = replace(
        s, strain_share=cut(s.strain_share), kinetic_share=cut(s.kinetic_share), heat_share=cut(s.heat_share),
        heat_share_by_channel=cut(s.heat_share_by_channel), loss_factor=None if s.loss_factor is None else s.loss_factor[:count],
    )  # fmt: skip
    return replace(
        row, found=found, split=split, bridge=row.bridge[:count], stiffness=square(row.stiffness), losses=square(row.losses)
    )  # fmt: skip


def solve_dry(build, model, count):
    """Row of a build on a model."""
    sections = build.sections()
    found = modes(model, weights(sections), count)
    split = energies(model, sections, found.shape)
    bridge = (saddle_rows(build.body, model.space) @ found.shape)[0]
    stiffness = modal_stiffness(model, sections, found.shape)
    losses = None if split.losses_unknown else modal_losses(model, sections, found.shape)
    return Row(build, found, split, masses(model, sections), bridge, stiffness, losses)


def stored_row(build, model, count, store, size):
    """solve_dry, kept in a file named by everything that it depends on."""
    key = fingerprint(
        STORE_VERSION, rimwork_version(), build, count, model.space.mesh.nodes, model.space.mesh.triangles
    )
    file = store / f"{build.name}-{1e3 * size:g}mm-{key}.npz"
    if (row := load_row(file, build)) is None:
        row = solve_dry(build, model, count)
        save_row(file, row)
    return row


def dry_on_both(
    body: Body, builds: Sequence[Build], size: float, keep: int, count: int, store: Path, progress: Progress | None = None,
    step: float = 1.0,
) -> tuple[Level[tuple[float, Model], Row], Level[tuple[float, Model], Row]]:  # fmt: skip
    """(finer, coarser) Level of builds, the first `keep` modes of at least `count` that are solved for and stored.

    Rows already in the folder `store` are used again. size [m] and step as in on_both.
    """
    ready = lambda h: (h, assemble(mesh_body(body, h)))
    solve = lambda build, at, done: first_modes(stored_row(build, at[1], max(count, keep), store, at[0]), keep)
    return on_both(builds, size, ready, solve, progress, step=step)


def save_row(file, row):
    """Write under another name first: a file that exists is whole."""
    file.parent.mkdir(parents=True, exist_ok=True)
    meta = {"store_version": STORE_VERSION, "mass": row.mass, "losses_unknown": row.split.losses_unknown}
    arrays = {f"modes/{k}": v for k, v in vars(row.found).items()} | {"bridge": row.bridge}
    for name in ("strain_share", "kinetic_share", "heat_share", "heat_share_by_channel"):
        arrays |= {f"{name}/{part}": v for part, v in (getattr(row.split, name) or {}).items()}
    for name in ("stiffness", "losses"):
        arrays |= {f"{name}/{part}": v for part, v in (getattr(row, name) or {}).items()}
    if row.split.loss_factor is not None:
        arrays["loss_factor"] = row.split.loss_factor
    partial = file.with_suffix(".part")
    with partial.open("wb") as stream:
        np.savez(stream, meta=json.dumps(meta), **arrays)
    partial.replace(file)


def load_row(file, build):
    """The stored Row, or None if there is none that can be read."""
    try:
        with np.load(file) as stored:
            data = {name: stored[name] for name in stored.files}
        meta = json.loads(str(data["meta"]))
        if meta["store_version"] != STORE_VERSION:
            return None

        def group(name):
            return {k.split("/", 1)[1]: v for k, v in data.items() if k.startswith(name + "/")}

        split = Energies(
            group("strain_share"), group("kinetic_share"), group("heat_share") or None,
            group("heat_share_by_channel") or None, data.get("loss_factor"), tuple(meta["losses_unknown"]),
        )  # fmt: skip
        found, stiffness, losses = Modes(**group("modes")), group("stiffness"), group("losses") or None
        return Row(build, found, split, meta["mass"], data["bridge"], stiffness, losses)
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile, zlib.error):
        return None
