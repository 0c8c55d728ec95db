"""What do the strings do to the box, and how much of it can the rim's build change?

The tension of each string acts on the bridge at saddle height and on the neck at the nut, along the string: a load in
balance. The body hangs free, its rigid motion taken out; everything is told as seen from the rim. Small deflections,
elastic, at once: wood creeps, so an instrument that has stood for years has moved further.
"""

import hashlib
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fem.energies import masses
from fem.free_body import FreeBody
from fem.model import assemble, weights
from fem.prestress import frequency_ratio, largest_ratio, membrane_forces
from meshes.body import Assumption
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.sheet import read_sheet
from meshes.string_sets import string_set
from studies import box_measures as box
from studies.inputs import BadInput, existing_file, writable_folder
from studies.progress import Progress
from studies.rim_builds import COMMON, builds, complete_linings
from studies.two_meshes import COARSER

DEFAULT_STRINGS = "steel"
SPREAD = (0.054, 0.038)  # m between the outer strings at saddle and nut
NUT = 0.001  # m, of the strings above the fingerboard at the nut
MODES = 6  # lowest ones whose shift is told
ROUGHLY = 1e-3  # of them: the shift of a frequency hardly feels an error of the shape
AHEAD = 0.04  # m either side of the centre line, where the top between bridge and soundhole is looked at


@dataclass(frozen=True)
class Pull:
    """One string as a load."""

    name: str
    tension: float  # N
    saddle: np.ndarray  # (3,) m
    nut: np.ndarray  # (3,) m


@dataclass(frozen=True)
class Row:
    """One rim build under the strings; SI, angles in rad, as seen from the rim."""

    build: object
    mass: dict[str, float]  # {part: kg}
    measures: dict[str, float]  # {key of MEASURES: SI}
    displacement: np.ndarray  # (nodes, 3) m
    forces: np.ndarray  # (elements, points, 3) N/m membrane forces of the top
    frequency_ratio: np.ndarray  # (MODES,) with strings over without
    bound: float | None  # largest relative change of any omega^2; the sheet's own build only
    balance: float  # relative difference of work and strain energy


# {key: (words, unit, factor from SI)}
MEASURES = {
    "bridge_rotation_deg": ("bridge leans towards the neck", "degrees", 180 / np.pi),
    "belly_mm": ("top rises behind the bridge", "mm", 1e3),
    "dip_mm": ("top sinks before the bridge", "mm", 1e3),
    "neck_block_rotation_deg": ("neck block leans in", "degrees", 180 / np.pi),
    "action_rise_mm": ("strings rise over the 12th fret", "mm", 1e3),
    "action_rise_block_mm": ("of that by the body alone, the neck kept straight", "mm", 1e3),
    "ahead_along_N_mm": ("top squeezed along the grain before the bridge", "N per mm of width", -1e-3),
    "behind_along_N_mm": ("top pulled along the grain behind the bridge", "N per mm of width", 1e-3),
}


@dataclass(frozen=True)
class Load:
    """Everything that the report is made from."""

    body: object
    size: float  # m
    unknowns: int
    pulls: tuple[Pull, ...]
    rows: tuple[Row, ...]  # the sheet's own build first
    coarse: Row  # the sheet's own build on the coarser mesh
    frequency: np.ndarray  # (MODES,) Hz of the sheet's own build without strings
    space: object = None  # for pictures
    sheet: str = ""
    sheet_hash: str = ""
    notes: tuple[str, ...] = field(default=())


def main(sheet, out=None, size_mm=None, strings=None, pictures=True):
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    strings: name of a built-in set, in place of the sheet's tensions.
    """
    from studies.load_report import text, write_report

    sheet = existing_file(sheet)
    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    body = read_sheet(sheet)
    pulls, assumed = string_pulls(body, strings)
    out = writable_folder(out or Path("out") / f"{sheet.stem}-load")
    study = run(
        replace(body, assumed=body.assumed + assumed), pulls, size_mm / 1e3 if size_mm else DEFAULT_SIZE
    )  # fmt: skip
    study = replace(study, sheet=str(sheet), sheet_hash=hashlib.sha256(sheet.read_bytes()).hexdigest())
    written = write_report(study, out, pictures, lambda what: print(f"drawing: {what}", file=sys.stderr))
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)


def run(body, pulls, size=DEFAULT_SIZE, progress=None):
    """Load of a body under its string_pulls, for all rim builds on one mesh; each build's stiffness is factorised once.

    The sheet's own build is solved on a coarser mesh as well, which tells the mesh error.
    """
    body, assumed = complete_linings(body)
    body = replace(body, assumed=body.assumed + assumed)
    rows = builds(body)
    progress = progress or Progress(len(rows) + 2)
    levels = []
    for h, wanted in ((COARSER * size, rows[:1]), (size, rows)):
        progress.say(f"mesh of {1e3 * h:.0f} mm")
        model = assemble(mesh_body(body, h))
        places = Places(model.space, body, pulls)
        load, found, modes = string_load(places, pulls), [], None
        progress.step(0.5)
        for build in wanted:
            progress.say(build.label)
            row, modes = solve_row(build, model, load, places, modes)
            found.append(row)
            progress.step(1.0 if h == size else 0.5)
        levels.append(found)
    progress.close("solved")
    frequency = np.sqrt(modes[0]) / (2 * np.pi)
    return Load(
        body, size, int(model.size), tuple(pulls), tuple(levels[1]), levels[0][0], frequency, model.space
    )  # fmt: skip


# --- the load ---


def tensions(body, name=None):
    """([(name, N)] from the lowest string, Assumptions): the sheet's, or those of a built-in set.

    ValueError for an unknown set.
    """
    given = body.strings
    scale = given.scale_length if given else None
    if name is None and given and given.tension:
        return [(f"string {k}", t) for k, t in enumerate(given.tension, 1)], ()
    if name is None and given and given.own:
        return [(s.name, s.tension) for s in given.own.strings], ()
    named = name or (given.set_name if given else None)
    table = string_set(named or DEFAULT_STRINGS, scale)
    pitch = [np.sqrt(s.tension / s.mass) / (2 * s.length) for s in table.strings]
    if name is None and given and len(given.unit_mass) == len(pitch):
        found = [(s.name, m * (2 * scale * f) ** 2) for s, m, f in zip(table.strings, given.unit_mass, pitch)]
        return found, (Assumption("strings, pitch", "standard, E2 to E4", COMMON),)
    found = [(s.name, s.tension) for s in table.strings]
    if named is not None:
        return found, ()
    total = sum(t for _, t in found)
    value = f"set '{table.name}', {total:.0f} N in all; strings.tension_N or another set would say otherwise"
    return found, (Assumption("strings, tension", value, "the sheet gives none"),)


def string_pulls(body, name=None):
    """((Pull of each string), Assumptions) of a body. BadInput where there is no neck for the nut."""
    if body.neck is None:
        raise BadInput("neck.included = false: the strings need a nut to pull at; expected a neck")
    found, assumed = tensions(body, name)
    spread = [np.linspace(width / 2, -width / 2, len(found)) for width in SPREAD]
    assumed += (
        Assumption(
            "strings, spread", f"{1e3 * SPREAD[0]:g} mm at the saddle, {1e3 * SPREAD[1]:g} mm at the nut", COMMON
        ),
        Assumption("strings, above the board at the nut", f"{1e3 * NUT:g} mm", COMMON),
    )
    bridge, x_nut = body.bridge, body.outline.length + body.neck.length
    saddle = [np.array([bridge.saddle_x, bridge.centre[1] + y, 0.0]) for y in spread[0]]
    nut = [np.array([x_nut, y, 0.0]) for y in spread[1]]
    return tuple(Pull(n, t, s, e) for (n, t), s, e in zip(found, saddle, nut)), assumed


class Places:
    """Where strings and readings are on a mesh."""

    def __init__(self, space, body, pulls):
        mesh, surfaces = space.mesh, space.mesh.surfaces
        neck = np.unique(np.concatenate([surfaces[r].triangles for r in ("neck", "neck/head")]))
        board = np.union1d(neck, surfaces["top"].triangles)
        self.space, self.body = space, body
        self.saddles = [box.surface_spot(space, surfaces["top"].triangles, *p.saddle[:2]) for p in pulls]
        self.nuts = [box.surface_spot(space, neck, *p.nut[:2]) for p in pulls]
        x_nut, saddle_x = pulls[0].nut[0], body.bridge.saddle_x
        scale = body.strings.scale_length if body.strings else x_nut - saddle_x
        self.x_12 = x_nut - scale / 2
        self.fret = box.surface_spot(space, board, self.x_12, 0.0)
        self.share = (self.x_12 - saddle_x) / (x_nut - saddle_x)  # of the nut's motion in the string's at the 12th fret
        self.widths = box.rim_spots(space, body)
        x = space.points[:, 0]
        top, bridge = box.nodes_on(space, "top"), body.bridge
        front, rear = (bridge.centre[0] + s * bridge.width / 2 for s in (1, -1))
        edge = body.soundhole.centre[0] - body.soundhole.radius
        self.bridge = box.nodes_on(space, "bridge")
        self.behind, self.before = (
            top[x[top] < rear],
            top[(x[top] > front) & (x[top] < edge + 2 * body.soundhole.radius)],
        )
        self.block = box.nodes_on(space, *box.regions_of(space, "neck_block"))
        t = surfaces["top"].triangles
        cx, cy = mesh.nodes[mesh.triangles[t]].mean(axis=1)[:, :2].T
        middle = np.abs(cy) < AHEAD
        self.ahead_triangles = middle & (cx > front) & (cx < edge)
        self.behind_triangles = middle & (cx < rear) & (cx > body.tail_block.thickness)

    def saddle_points(self):
        """(3,) of each string at the saddle's top."""
        lift = self.body.top.thickness / 2 + self.body.bridge.saddle_height
        return [s.point + np.array([0, 0, lift]) for s in self.saddles]

    def nut_points(self):
        lift = self.body.neck.fingerboard_thickness + NUT
        return [s.point + np.array([0, 0, lift]) for s in self.nuts]


def string_load(places, pulls):
    """(size,) of all strings together: each pulls saddle and nut towards each other along itself, in balance."""
    space = places.space
    F = np.zeros(space.size)
    for pull, a, b, p, q in zip(pulls, places.saddles, places.nuts, places.saddle_points(), places.nut_points()):
        force = pull.tension * (q - p) / np.linalg.norm(q - p)
        F += box.force_at(space, a, p, force) + box.force_at(space, b, q, -force)
    return F


# --- one build ---


def solve_row(build, model, load, places, modes=None):
    """(Row of a build, (omega^2, shapes) of the modes that its frequency shift is told for).

    modes: those of the sheet's own build, found here where they are not given; another build borrows their shapes.
    """
    sections = build.sections()
    w = weights(sections)
    body = FreeBody(model, w)
    answer = body.deflect(load)
    forces = membrane_forces(model, w, answer.displacement[:, 0])
    bound = None
    if modes is None:
        M = model.matrix("M", w)
        modes, bound = body.modes(M, MODES, ROUGHLY), largest_ratio(body, forces, M)
    u = box.seen_from_rim(model.space, answer.displacement[:, 0])
    return Row(
        build, masses(model, sections), measures(places, u, forces["top"]), u, forces["top"],
        frequency_ratio(model, forces, *modes), bound, float(np.abs(answer.work / answer.energy - 1)[0]),
    ), modes  # fmt: skip


def measures(places, u, top):
    """{key of MEASURES, and 'width/<place>/<edge>': SI} from displacements (nodes, 3) and the top's membrane forces."""
    space = places.space
    x, y, _ = space.points.T
    at = places.bridge
    lean = np.linalg.lstsq(np.column_stack([np.ones(len(at)), x[at], y[at]]), u[at, 2], rcond=None)[0][1]
    block = box.rigid_fit(space.points[places.block], u[places.block])
    saddle = np.mean([box.at_spot(s, u)[2] for s in places.saddles])
    nut = np.mean([box.at_spot(s, u)[2] for s in places.nuts])
    fret = box.at_spot(places.fret, u)[2]
    straight = [box.moved(block, p[None])[0, 2] for p in (np.mean(places.nut_points(), axis=0), places.fret.point)]
    rise = lambda at_nut, at_fret: (1 - places.share) * saddle + places.share * at_nut - at_fret
    weight = space.shell_fields[2][space.mesh.surfaces["top"].triangles]
    mean = lambda which: float(np.average(top[which][..., 0], weights=weight[which]))
    found = {
        "bridge_rotation_deg": -lean,
        "belly_mm": u[places.behind, 2].max(),
        "dip_mm": -u[places.before, 2].min(),
        "neck_block_rotation_deg": -block[1][1],
        "action_rise_mm": rise(nut, fret),
        "action_rise_block_mm": rise(*straight),
        "ahead_along_N_mm": mean(places.ahead_triangles),
        "behind_along_N_mm": mean(places.behind_triangles),
    }
    for place, pair in box.width_changes(places.widths, u).items():
        found |= {f"width/{place}/{edge}": change for edge, change in zip(("top", "back"), pair)}
    return {key: float(value) for key, value in found.items()}
