"""Of the power that the strings put in at the bridge, how much turns to heat in the rim, how much becomes sound, and what
does the rim's build change, hung free and on the lap?

The rim comparison with the air inside and out: every build changes one thing from the sheet's own. Without strings; the
drive is a force of 1 N out of the top at the saddle's middle. A second, coarser mesh tells the mesh error.
"""

import hashlib
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fem.model import assemble
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.holding import FIRMER, FREE, LAP, SOFTER, assumptions, hold
from meshes.sheet import read_sheet
from meshes.sounding import modes_of, outside, sounding, structure_of, surroundings, velocities
from studies.air_power import driven, summary, surface_gram
from studies.inputs import BadInput, existing_file, writable_folder
from studies.progress import Progress
from studies.rim import COARSER, paired, rim_grams, stored_row
from studies.rim_builds import builds, complete_linings

HOLDINGS = (FREE, LAP)
DRY_MODES = 60  # of the example bodies: they reach 1 kHz
STEPS = 4  # of progress per build and mesh


@dataclass(frozen=True)
class Result:
    """One build, held one way, on one mesh."""

    build: object
    rim_g: float
    modes: object  # SoundingModes of the body, those of its supports left out
    motion: np.ndarray = field(repr=False)  # (m, k) complex normal velocity of the outer surface in each mode
    driven: object = field(repr=False)
    dry_hz: np.ndarray  # (n,) Hz of the dry elastic modes


@dataclass(frozen=True)
class Level:
    """Every build on one mesh."""

    size: float  # m
    unknowns: int
    results: dict  # {(build name, how): Result}
    area: np.ndarray = field(repr=False)  # (m,) m2 of the outer surface's triangles
    base: object = field(repr=False)  # Sounding of the sheet's own build


@dataclass(frozen=True)
class Study:
    """Everything that the report is made from."""

    body: object
    builds: tuple
    fine: Level
    coarse: Level
    count: int
    firmness: dict  # {times the flesh's stiffness: summary of the sheet's own build on the lap}
    sheet: str = ""
    sheet_hash: str = ""


def main(sheet, out=None, size_mm=None, count=20, pictures=True):
    """Run the study on a sheet and write page, tables and pictures; returns the summary as text."""
    from studies.rim_air_report import summary_text, write_report

    sheet = existing_file(sheet)
    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    if not 1 <= count <= 100:
        raise BadInput(f"--count {count}: expected between 1 and 100 modes")
    body = read_sheet(sheet)
    out = writable_folder(out or Path("out") / f"{sheet.stem}-rim-air")
    size = size_mm / 1e3 if size_mm else DEFAULT_SIZE
    study = run(body, size, count, max(DRY_MODES, 2 * count), out / "rows")
    study = replace(study, sheet=str(sheet), sheet_hash=hashlib.sha256(sheet.read_bytes()).hexdigest())
    pages = write_report(study, out, pictures, lambda what: print(f"drawing: {what}", file=sys.stderr))
    return summary_text(study) + "\n\n" + "\n".join(f"wrote {page}" for page in pages)


def run(body, size, count, dry, store, progress=None, chosen=None, around=surroundings):
    """Study of a body with `dry` structure modes. chosen: names of the builds, the sheet's own ('sheet') among
    them. around: Body -> Surroundings.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=(*body.assumed, *assumed, *assumptions()))
    rows = [b for b in builds(body) if chosen is None or b.name in chosen]
    progress = progress or Progress(STEPS * len(rows) * (1 + COARSER**-2))
    fine = level(body, rows, size, dry, store, progress, 1.0, around)
    coarse = level(body, rows, COARSER * size, dry, store, progress, COARSER**-2, around)
    progress.say("softer and firmer flesh")
    firmness = {how: _on_other_flesh(fine.base, how) for how in (SOFTER, FIRMER)}
    progress.close("solved")
    return Study(body, tuple(rows), fine, coarse, count, firmness)


def level(body, rows, size, dry, store, progress, weight, around=surroundings):
    """Level of builds (Build) on a mesh of one size; the boundary elements of all are solved together."""
    progress.say(f"meshing at {1e3 * size:.0f} mm")
    model = assemble(mesh_body(body, size))
    structures, arounds, columns = [], [], []
    for build in rows:
        progress.say(f"{build.label}: modes without air")
        found = stored_row(build, model, dry, store, size).found
        structures.append(structure_of(build.body, model, build.sections(), found))
        progress.step(2 * weight)
        progress.say(f"{build.label}: enclosed air")
        own = around(build.body)
        own = replace(own, surface=arounds[0].surface, groups=arounds[0].groups) if arounds else own
        arounds.append(own)
        columns.append(velocities(structures[-1], own))
        progress.step(weight)
    progress.say("air outside, all builds together")
    radiated = outside(arounds[0].surface, columns)
    results, base = {}, None
    for build, structure, own, V, R in zip(rows, structures, arounds, columns, radiated):
        progress.say(f"{build.label}: body and air together")
        whole = sounding(structure, own, R)
        base = base or whole
        gram = surface_gram(own.surface, V)
        grams_of_rim = rim_grams(stored_row(build, model, dry, store, size))
        for how in HOLDINGS:
            results[build.name, how] = result(build, whole, how, V, gram, grams_of_rim)
        progress.step(weight)
    return Level(size, int(model.size), results, arounds[0].surface.area, base)


def result(build, whole, how, V, gram, grams):
    """Result of a Sounding held one way; V (m, n) are the outer surface's velocities of its structure and openings."""
    model = hold(whole, how)
    found = modes_of(whole, model)
    keep = np.flatnonzero(found.elastic)
    pick = lambda parts: {part: v[keep] for part, v in parts.items()}
    own = replace(
        found, frequency=found.frequency[keep], loss_factor=found.loss_factor[keep], shape=found.shape[:, keep],
        potential_share=pick(found.potential_share), kinetic_share=pick(found.kinetic_share),
        loss_share=pick(found.loss_share), rigid_share=found.rigid_share[keep],
    )  # fmt: skip
    dry = whole.structure.frequency[6:-1]
    return Result(build, grams, own, V @ own.shape[: V.shape[1]], driven(whole, model, gram), dry)


def _on_other_flesh(whole, firmness):
    n = whole.coupling.c.shape[1]
    return summary(driven(whole, hold(whole, LAP, firmness), np.eye(n)))


def partners(base, other, area, count):
    """For the first `count` modes of a Result the partner in another one, -1 for none, and their assurance criterion.

    Of the outer surface's normal motion, weighted by area; complex shapes.
    """
    a, b = base.motion[:, :count], other.motion
    cross = np.abs(a.conj().T @ (area[:, None] * b)) ** 2
    size = lambda v: area @ np.abs(v) ** 2
    return paired(cross / np.outer(size(a), size(b)))
