"""How far does the open rim give when it is squeezed or twisted, and can a ruler tell one rim build from another?

The rim alone, before top and back are glued on: checked on the bench with a weight, a batten and a ruler. Free: a
batten as high as the side lies over it at the widest (or narrowest) place, touches its two edges and carries the
weight; half of it enters at the top edge, half at the back edge, where the linings are, and the far side rests on a
second batten. The softer side between the linings is not dented, and what the width loses is the same wherever along
the batten it is read. In its mould: the back edge is held all round in the mould's dish, free to turn; both forces
act on the open top edge. Twist: tail block in a vice, neck block resting on its middle, a batten across the neck block
with the weight on its end. The rim's own weight is in both readings and drops out. Small deflections: the load does
not turn with the rim.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fem.eigen import fixed_unknowns, modes
from fem.energies import energies, masses
from fem.model import assemble, weights
from fem.statics import deflect, pinch, spot, twist
from meshes.build import DEFAULT_SIZE
from meshes.measured import Measured, ReadingErrors
from meshes.open_rim import block_corners, mesh_open_rim, pressed_places, sections_on
from meshes.sheet import read_sheet
from studies.inputs import BadInput, existing_file, writable_folder
from studies.progress import Progress
from studies.rim_builds import builds, complete_linings
from studies.two_meshes import COARSER, mesh_error

GRAVITY = 9.80665  # m/s2
BATTEN = 0.200  # m, from the centre line to the weight that twists
COUNT = 6  # lowest modes
GAIN_HINT = "(a recorder with automatic gain levels a low rim's slow decay: switch it off)"
STATES = {"free": (), "mould": ("rim_back",)}  # and which edges are held in place, free to turn


@dataclass(frozen=True)
class Row:
    """One build of the open rim on one mesh."""

    build: object
    mass: dict[str, float]  # {part: kg}
    deflection: dict[tuple[str, str], float]  # {(state, press): m}
    outline: dict[str, np.ndarray]  # {press: (k, 2) m} how the free rim's plan shape moves, mean of both edges
    frequency: dict[str, np.ndarray]  # {state: (COUNT,) Hz}
    loss_factor: dict[str, np.ndarray | None]  # {state: (COUNT,)}; None: not known
    balance: float  # largest relative difference of work and strain energy


@dataclass(frozen=True)
class Squeeze:
    """Everything that text, tables and picture are made from."""

    body: object
    load: float  # kg
    size: float  # m
    rows: tuple[Row, ...]  # the sheet's own build first
    coarse: tuple[Row, ...]
    plan: np.ndarray  # (k, 2) m, the outline that Row.outline moves
    places: dict[str, np.ndarray]  # {press: (2, 2) m} where the outline is pressed
    errors: ReadingErrors = field(default_factory=ReadingErrors)
    measured: Measured = field(default_factory=Measured)
    tones: tuple = ()  # of the rim's recordings
    notes: tuple[str, ...] = field(default=())

    @property
    def presses(self):
        """{state: names of the presses}, in order."""
        found = {state: [] for state in STATES}
        for state, press in self.rows[0].deflection:
            found[state].append(press)
        return found


def main(
    sheet, out=None, load_kg=2.0, size_mm=None, measured=None, recordings=(), pictures=True, ruler_mm=None,
    load_error_percent=None,
):  # fmt: skip
    """Run the study on a sheet, write tables and picture, return the text to print.

    measured: a Measured, or {press: mm} under the same load, set beside the computed values. recordings: WAV files of
    the rim held in two fingers and tapped. ruler_mm, load_error_percent: the maker's reading errors.
    """
    from studies.squeeze_report import text, write_tables

    sheet = existing_file(sheet)
    _check(load_kg, "--load-kg", 0.1, 20, "kg")
    if size_mm is not None:
        _check(size_mm, "--mesh-size-mm", 5, 60, "mm")
    body = read_sheet(sheet)
    out = writable_folder(out or f"out/{sheet.stem}-squeeze")
    measured = as_measured(measured or body.measured, body, load_kg)
    errors = reading_errors(measured.errors, ruler_mm, load_error_percent)
    tones, notes = listen(recordings)
    study = run(body, load_kg, size_mm / 1e3 if size_mm else DEFAULT_SIZE, errors, measured, tones, notes)
    written = write_tables(study, out)
    if pictures:
        from studies.squeeze_picture import draw

        written += draw(study, out)
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)


def run(body, load=2.0, size=DEFAULT_SIZE, errors=None, measured=None, tones=(), notes=(), progress=None):
    """Squeeze of a body's open rim, in all builds that can be built, on two meshes of edge length `size` [m] and coarser."""
    body, assumed = complete_linings(body)
    able = [b for b in builds(body) if b.stiffness == 1]  # the stiff-rim limit cannot be built, so not measured either
    progress = progress or Progress(2 * len(able))
    solved = []
    for h in (size, COARSER * size):
        mesh = mesh_open_rim(body, h)
        model, found = assemble(mesh), []
        for build in able:
            progress.say(f"{build.label}, mesh of {1e3 * h:.0f} mm")
            found.append(solve_row(build, model, body, load))
            progress.step()
        solved.append((tuple(found), model))
    progress.close("solved")
    (rows, model), (coarse, _) = solved
    notes = (*notes, *(f"assumed: {a.key}: {a.value} ({a.source})" for a in assumed))
    places = {name: np.array([treble[0, :2], bass[0, :2]]) for name, (treble, bass) in pressed_places(body).items()}
    return Squeeze(
        body, load, size, rows, coarse, model.space.points[_ring(model.space, "rim_top"), :2], places,
        errors or ReadingErrors(), measured or Measured(),
        tuple(tones), notes,
    )  # fmt: skip


def solve_row(build, model, body, load):
    """Row of a build under a load [kg]."""
    space = model.space
    sections = sections_on(space.mesh, build.sections())
    w = weights(sections)
    deflection, frequency, loss, off = {}, {}, {}, 0.0
    for state, held in STATES.items():
        fixed = fixed_unknowns(space, hold=held)
        presses = unit_loads(space, body, state)
        loads = load * GRAVITY * np.array(list(presses.values())).T
        answer = deflect(model, w, loads, fixed)
        for k, (press, unit) in enumerate(presses.items()):
            deflection[state, press] = float(unit @ answer.displacement[:, k])
        off = max(off, float(np.max(np.abs(answer.work / answer.energy - 1))))
        if state == "free":
            outline = {press: _plan_motion(space, answer.displacement[:, k]) for k, press in enumerate(presses)}
        found = modes(model, w, COUNT, fixed)
        frequency[state] = found.frequency
        loss[state] = energies(model, sections, found.shape).loss_factor
    return Row(build, masses(model, sections), deflection, outline, frequency, loss, off)


def unit_loads(space, body, state):
    """{press: (size,) load of 1 N}; the product with a displacement is what the maker reads [m]."""
    edges = space.mesh.edges
    found = {}
    for name, (treble, bass) in pressed_places(body).items():
        pairs = [
            pinch(space, spot(space, edges[edge], treble[k]), spot(space, edges[edge], bass[k]))
            for k, edge in enumerate(("rim_top", "rim_back"))
        ]
        found[name] = sum(pairs) / 2 if state == "free" else pairs[0]
    if state == "free":
        found["twist"] = BATTEN * twist(space, [spot(space, edges["rim_top"], c) for c in block_corners(body)])
    return found


def _ring(space, edge):
    """Shape-function nodes round the rim, each once, in order."""
    return space.edge_nodes(space.mesh.edges[edge])[:, :-1].ravel()


def _plan_motion(space, u):
    u = u.reshape(-1, 6)
    return (u[_ring(space, "rim_top"), :2] + u[_ring(space, "rim_back"), :2]) / 2


# --- measures ---


def told_apart(study, a, b, state="free"):
    """The presses by which a ruler tells row a from row b: they differ by more than both reading errors together."""
    found = []
    for press in study.presses[state]:
        one, other = (row.deflection[state, press] for row in (a, b))
        if abs(one - other) > study.errors.of_deflection(one) + study.errors.of_deflection(other):
            found.append(press)
    return found


def largest_mesh_error(study, state, press):
    """Largest mesh error [m] over the builds: two meshes may agree on one of them by chance."""
    return max(
        mesh_error(a.deflection[state, press], b.deflection[state, press]) for a, b in zip(study.rows, study.coarse)
    )


# --- what is given ---


def _check(value, name, low, high, unit):
    if not low <= value <= high:
        raise BadInput(f"{name} {value:g}: expected between {low:g} and {high:g} {unit}")


def as_measured(given, body, load):
    """Measured of a Measured, of {press: mm} read under `load` [kg]."""
    if isinstance(given, Measured):
        return given
    from fem.materials import lookup

    known = dict.fromkeys([*pressed_places(body), "twist"])
    for press, value in given.items():
        lookup(press, known, "measured press")
        _check(value, f"measured deflection, {press}:", 0, 200, "mm")
    return Measured(
        squeezes={press: value / 1e3 for press, value in given.items()}, squeeze_load=load, errors=body.measured.errors
    )


def reading_errors(given, ruler_mm, load_percent):
    """ReadingErrors with those replaced that are given."""
    if ruler_mm is not None:
        _check(ruler_mm, "--ruler-mm", 0.001, 5, "mm")
    if load_percent is not None:
        _check(load_percent, "--load-error-percent", 0, 30, "percent")
    return ReadingErrors(
        given.scale,
        given.ruler if ruler_mm is None else ruler_mm / 1e3,
        given.load if load_percent is None else load_percent / 100,
        given.tap,
    )


def listen(recordings):
    """(tones, notes) of WAV recordings of the rim held in two fingers and tapped; automatic gain is told in the notes."""
    from fem.taps import find_tones, read_recording

    tones, notes = [], []
    for path in [recordings] if isinstance(recordings, str | Path) else recordings:
        try:
            found, said = find_tones(read_recording(path), lowest=10.0, highest=600.0)
        except ValueError as problem:
            text = str(problem) if str(path) in str(problem) else f"{path}: {problem}"
            raise BadInput(f"{text} {GAIN_HINT}" if "tone" in text or "tap found" in text else text) from None
        tones += found
        notes += [f"{path}: {note}" for note in said]
    return tones, notes
