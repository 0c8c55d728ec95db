"""How do the low modes of the assembled box, and what its rim stores and turns to heat, change with the rim's build?

Every build changes one thing from the sheet's own, on one mesh per size; modes are paired by the modal assurance
criterion. Dry: without air, radiation and strings. A second, coarser mesh tells the mesh error.
"""

import hashlib
import json
import zipfile
import zlib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from fem.eigen import Modes, mac, modes
from fem.energies import Energies, energies, masses
from fem.modal_losses import modal_losses, modal_stiffness
from fem.model import assemble, weights
from fem.tap import tap
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.parts import RIM
from meshes.sheet import read_sheet
from studies.fingerprint import fingerprint
from studies.inputs import BadInput, existing_file, writable_folder
from studies.measured_beside import beside, computed_for
from studies.modes import rimwork_version
from studies.progress import Progress
from studies.rim_builds import builds, complete_linings
from studies.two_meshes import COARSER

PAIRED = 0.5  # least modal assurance criterion of two modes called the same
SPARE = 6  # modes solved for beyond those compared: partners may lie higher
SOLVED, DRAWING, DRAWINGS = 6.0, 25.0, 25  # of progress: a build's dry modes; all pictures, and how many there are
STORE_VERSION = 3


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


@dataclass(frozen=True)
class Comparison:
    """A build beside the sheet's own; index of its partner for every mode of the base, -1 where it has none."""

    row: Row
    coarse: Row
    partner: np.ndarray  # (n,) into row's modes
    coarse_partner: np.ndarray  # (n,) into coarse's modes
    match: np.ndarray  # (n,) modal assurance criterion with the partner


def main(sheet, out=None, size_mm=None, count=20, pictures=True, air=True):
    """Run the study on a sheet and write pages, tables and pictures; returns the summary as text.

    air: with the air inside and out as well, held both ways (see rim_air.py): that page then leads, this one is beside it.
    """
    from studies.rim_air import OTHERS, PROGRESS, dry_modes
    from studies.rim_air import run as run_with_air

    sheet = existing_file(sheet)
    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    if not 1 <= count <= 100:
        raise BadInput(f"--count {count}: expected between 1 and 100 modes")
    body = read_sheet(sheet)
    out = writable_folder(out or Path("out") / f"{sheet.stem}-rim")
    size = size_mm / 1e3 if size_mm else DEFAULT_SIZE
    levels = len(builds(complete_linings(body)[0])) * (1 + COARSER**-2)
    progress = Progress(levels * (SOLVED + PROGRESS * air) + OTHERS * air + DRAWING * pictures)
    study = run(body, size, count, out / "rows", progress, dry_modes(count) if air else None)
    measured = tuple(beside(body.measured, computed_for(body, body.measured))) if body.measured else ()
    named = {"sheet": str(sheet), "sheet_hash": hashlib.sha256(sheet.read_bytes()).hexdigest(), "measured": measured}
    study = replace(study, **named)
    with_air = None
    if air and not unknown_losses(study):
        found = run_with_air(body, size, count, dry_modes(count), out / "rows", progress, models=study.models)
        with_air = replace(found, **named)
    return report(study, with_air, out, pictures, progress)


def report(study, with_air, out, pictures, progress):
    """Write the pages of a Study and of rim_air's (None: left out); returns the summary as text."""
    from studies import rim_air_report, rim_report

    def say(what):
        progress.step(DRAWING / DRAWINGS)
        progress.say(f"drawing: {what}")

    if with_air is None:
        pages = rim_report.write_report(study, out, pictures, say)
        words = rim_report.summary(study)
    else:
        if pictures:  # first all that tells the answer
            rim_report.write_report(study, out, pictures=False, beside="index.html")
        pages = rim_air_report.write_report(with_air, out, pictures, say)
        pages += rim_report.write_report(study, out, pictures, say, beside="index.html")
        words = rim_air_report.summary_text(with_air) + "\n\n" + rim_report.paragraph(study)
    progress.close("done")
    return words + "\n\n" + "\n".join(f"wrote {page}" for page in pages)


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
    sheet: str = ""
    sheet_hash: str = ""


def run(body, size, count, store, progress=None, solved=None):
    """Study of a body; rows already in the folder `store` (Path) are used again.

    solved: how many modes to solve for and store, where another study wants more of them than this one.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=body.assumed + assumed)
    wanted, sizes = count + SPARE, (size, COARSER * size)
    progress = progress or Progress(SOLVED * len(builds(body)) * (1 + COARSER**-2))
    progress.say("meshing")
    models = tuple(assemble(mesh_body(body, h)) for h in sizes)
    rows = [[], []]
    for level, (model, weight) in enumerate(zip(models, (1, COARSER**-2))):
        for build in builds(body):
            progress.say(f"{build.label}, dry, {'fine' if level == 0 else 'coarse'} mesh")
            row = stored_row(build, model, max(wanted, solved or 0), store, sizes[level])
            rows[level].append(first_modes(row, wanted))
            progress.step(SOLVED * weight)
    comparisons = compare(*rows, models, count)
    return Study(body, size, comparisons, models, tuple(int(m.size) for m in models), count)


def unknown_losses(study):
    """Parts without loss factors in any build; without them no heat can be told, with air or without."""
    return tuple(dict.fromkeys(part for c in study.comparisons for part in c.row.split.losses_unknown))


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


def solve_row(build, model, count):
    """Row of a build on a model."""
    sections = build.sections()
    found = modes(model, weights(sections), count)
    split = energies(model, sections, found.shape)
    body = build.body
    x, y, _ = model.space.points.T
    on_top = model.space.nodes_of("top")
    at = on_top[np.argmin(np.hypot(x[on_top] - body.bridge.saddle_x, y[on_top] - body.bridge.centre[1]))]
    stiffness = modal_stiffness(model, sections, found.shape)
    losses = None if split.losses_unknown else modal_losses(model, sections, found.shape)
    return Row(build, found, split, masses(model, sections), found.shape[6 * at + 2], stiffness, losses)


def stored_row(build, model, count, store, size):
    """solve_row, kept in a file named by everything that it depends on."""
    key = fingerprint(
        STORE_VERSION, rimwork_version(), build, count, model.space.mesh.nodes, model.space.mesh.triangles
    )
    file = store / f"{build.name}-{1e3 * size:g}mm-{key}.npz"
    if (row := load_row(file, build)) is None:
        row = solve_row(build, model, count)
        save_row(file, row)
    return row


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


def paired(criterion):
    """For every mode a (rows of the criterion (na, nb)): its partner b, -1 if none, and their criterion."""
    a, b = linear_sum_assignment(-criterion)
    match = criterion[a, b]
    partner = np.full(criterion.shape[0], -1)
    value = np.zeros(criterion.shape[0])
    partner[a], value[a] = np.where(match >= PAIRED, b, -1), match
    return partner, value


def nearest_nodes(fine, coarse):
    """For every coarse point (m, 3) the index of the nearest fine one (n, 3)."""
    return cKDTree(fine).query(coarse)[1]


def sampled_mac(fine, coarse, near):
    """Modal assurance criterion of displacements on two meshes, sampled at the coarse mesh's nodes."""

    def displacement(shape):
        u = shape.reshape(-1, 6, shape.shape[1])[:, :3]
        return u

    a, b = displacement(fine)[near].reshape(-1, fine.shape[1]), displacement(coarse).reshape(-1, coarse.shape[1])
    return (a.T @ b) ** 2 / np.outer(np.sum(a**2, axis=0), np.sum(b**2, axis=0))


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
