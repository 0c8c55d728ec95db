"""What do the seasons do to a box that was glued up at one humidity, and how much of it does the rim's build decide?

All wood is taken to be at rest and in balance with the air at glue-up, and in balance with other air later. Everything is
proportional to the change of moisture content, so one solution for 1 % serves every humidity. A stiffer rim holds the
plates' width better and strains them more: shown beside each other. A rim that was not flat when a plate was glued to
it (rim_gap_mm) strains them as well, once and for all.
"""

import hashlib
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fem.energies import masses
from fem.free_body import FreeBody
from fem.mesh import part_of
from fem.model import assemble, weights
from fem.moisture import ROOM, equilibrium_moisture, movement, swelling_load
from fem.prestress import gap_load, seam_points, seam_pull
from fem.sections import scaled
from meshes.body import Assumption
from meshes.build import DEFAULT_SIZE, mesh_body
from meshes.open_rim import pressed_places
from meshes.sheet import read_sheet
from meshes.swelling import movements, swelling
from studies.inputs import BadInput, existing_file, writable_folder
from studies.progress import Progress
from studies.rim_builds import COMMON, STIFFENED, builds, complete_linings
from studies.two_meshes import COARSER
from studies.weather_readings import PLATES, Places, Response

BUILT, USED = 45.0, (30.0, 70.0)  # % relative humidity, where nothing is said
DRIEST, WETTEST = 5.0, 95.0
GAP_SEAM = "joint_top"  # the plate glued on last


@dataclass(frozen=True)
class Row:
    """One rim build."""

    build: object
    mass: dict[str, float]  # {part: kg}
    moisture: Response  # for 1 % more
    gap: Response | None  # for a gap of 1 m
    closing: float | None  # N that hold the gap of 1 m shut, all round
    balance: float  # largest relative difference of work and strain energy


@dataclass(frozen=True)
class Weather:
    """Everything that the report is made from."""

    body: object
    size: float  # m
    unknowns: int
    built: float  # % relative humidity
    used: tuple[float, ...]
    temperature: float  # degrees Celsius
    rim_gap: float  # m
    rows: tuple[Row, ...]  # the sheet's own build first
    coarse: Row  # the sheet's own build on the coarser mesh
    movement: dict[str, object]  # {wood: Movement}
    ends: dict[str, list[str]]  # {plate: names of brace ends}
    places: dict[str, np.ndarray]  # {plate: (k, 2) m near its linings}
    space: object = None  # for pictures
    sheet: str = ""
    sheet_hash: str = ""

    @property
    def changes(self):
        """{used humidity: change of moisture content [%]}."""
        start = equilibrium_moisture(self.built, self.temperature)
        return {used: equilibrium_moisture(used, self.temperature) - start for used in self.used}


def main(
    sheet, out=None, size_mm=None, built_at_humidity_percent=None, used_at_humidity_percent=None, rim_gap_mm=None,
    temperature_c=ROOM, pictures=True,
):  # fmt: skip
    """Run the study on a sheet, write page, tables and pictures; returns the text to print.

    used_at_humidity_percent: one number or several. rim_gap_mm: between the highest and the lowest place of the rim's
    edge when the top was glued to it, the rim twisted.
    """
    from studies.weather_report import text, write_report

    sheet = existing_file(sheet)
    if size_mm is not None and not 5 <= size_mm <= 60:
        raise BadInput(f"--mesh-size-mm {size_mm:g}: expected between 5 and 60 mm")
    if rim_gap_mm is not None and not 0 <= rim_gap_mm <= 10:
        raise BadInput(f"--rim-gap-mm {rim_gap_mm:g}: expected between 0 and 10 mm")
    if not 0 <= temperature_c <= 45:
        raise BadInput(f"--temperature-c {temperature_c:g}: expected between 0 and 45 degrees Celsius")
    body = read_sheet(sheet)
    built, used, assumed = humidities(body, built_at_humidity_percent, used_at_humidity_percent)
    gap = body.weather.rim_gap if rim_gap_mm is None else rim_gap_mm / 1e3
    out = writable_folder(out or Path("out") / f"{sheet.stem}-weather")
    body = replace(body, assumed=body.assumed + assumed)
    study = run(body, built, used, size_mm / 1e3 if size_mm else DEFAULT_SIZE, gap, temperature_c)
    study = replace(study, sheet=str(sheet), sheet_hash=hashlib.sha256(sheet.read_bytes()).hexdigest())
    written = write_report(study, out, pictures, lambda what: print(f"drawing: {what}", file=sys.stderr))
    return text(study) + "\n\n" + "\n".join(f"wrote {path}" for path in written)


def humidities(body, built=None, used=None):
    """(built, (used, ..), Assumptions): as given, else the body's own, else BUILT and USED. BadInput out of 5 to 95 %."""
    assumed = []
    if built is None and (built := body.weather.built_at_humidity) is None:
        built = BUILT
        assumed.append(Assumption("built_at_humidity_percent", f"{BUILT:g} %", COMMON))
    if used is None and not (used := body.weather.used_at_humidity):
        used = USED
        assumed.append(Assumption("used_at_humidity_percent", " and ".join(f"{u:g} %" for u in USED), COMMON))
    used = tuple(dict.fromkeys(float(u) for u in np.atleast_1d(used)))
    for name, values in (("built-at", (built,)), ("used-at", used)):
        for value in values:
            if not DRIEST <= value <= WETTEST:
                raise BadInput(
                    f"--{name}-humidity-percent {value:g}: expected between {DRIEST:g} and {WETTEST:g} % relative humidity"
                )
    return float(built), used, tuple(assumed)


def run(body, built=BUILT, used=USED, size=DEFAULT_SIZE, rim_gap=0.0, temperature=ROOM, progress=None):
    """Weather of a body for all rim builds on one mesh; each build's stiffness is factorised once.

    The sheet's own build is solved on a coarser mesh as well, which tells the mesh error.
    """
    body, assumed = complete_linings(body)
    moves = movements(body)
    guesses = tuple(
        Assumption(
            f"{wood}, moisture movement {key}", f"{100 * getattr(m, key):.3f} % per % of moisture", m.sources[key]
        )
        for wood, m in moves.items()
        for key in ("radial", "tangential")
        if m.sources[key].startswith(("assumed", "estimated", "from memory"))
    )
    body = replace(body, assumed=body.assumed + assumed + guesses)
    rows = builds(body)
    progress = progress or Progress(len(rows) + 2)
    levels = []
    for h, wanted in ((COARSER * size, rows[:1]), (size, rows)):
        progress.say(f"mesh of {1e3 * h:.0f} mm")
        model = assemble(mesh_body(body, h))
        places, found = Places(model, body), []
        progress.step(0.5)
        for build in wanted:
            progress.say(build.label)
            found.append(solve_row(build, model, places, rim_gap > 0))
            progress.step(1.0 if h == size else 0.5)
        levels.append(found)
    progress.close("solved")
    return Weather(
        body, size, int(model.size), built, used, temperature, rim_gap, tuple(levels[1]), levels[0][0], moves,
        places.end_names, places.near, model.space,
    )  # fmt: skip


# --- one build ---


def solve_row(build, model, places, with_gap):
    """Row of a build."""
    sections = build.sections()
    w = weights(sections)
    loads = [swelling_load(model, build_swelling(build))]
    gap = twist_gap(model, places.body)
    if with_gap:
        loads.append(gap_load(model, w, GAP_SEAM, gap))
    answer = FreeBody(model, w).deflect(np.column_stack(loads))
    u = answer.displacement
    free = {plate: board_movement(getattr(build.body, plate)) for plate in PLATES}
    moisture, closed, closing = places.response(u[:, 0], free), None, None
    if with_gap:
        closed = places.response(u[:, 1], dict.fromkeys(PLATES, (0.0, 0.0)))
        pull, length = seam_pull(model, w, GAP_SEAM, u[:, 1], gap)
        closing = float(np.sum(np.maximum(pull, 0) * length))
    off = float(np.max(np.abs(answer.work / answer.energy - 1)))
    return Row(build, masses(model, sections), moisture, closed, closing, off)


def build_swelling(build):
    """meshes.swelling of a build, its stiff-rim limit's sections scaled as they are in Build.sections."""
    found = swelling(build.body)
    if build.stiffness == 1:
        return found
    return {
        region: [(scaled(s, build.stiffness), e) for s, e in layers] if part_of(region) in STIFFENED else layers
        for region, layers in found.items()
    }


def board_movement(board):
    """(along, across) strain of a board per 1 % of moisture."""
    m = movement(board.wood)
    return m.along, m.radial


def free_width(board, width):
    """m by which a loose board of that width across the body widens for 1 % more moisture."""
    along, across = board_movement(board)
    return width * (along * np.sin(board.grain_angle) ** 2 + across * np.cos(board.grain_angle) ** 2)


def twist_gap(model, body):
    """(edges, points) of the rim's top edge out of flat, 1 from its lowest to its highest place, taken to be twisted.

    Two corners up, two down, as an open rim gives way most easily: (x - x0) times y, counted from the blocks' corners;
    the blocks' own ends bear flat. No plane lies nearer to the edge than z = 0. The other way round strains alike.
    """
    at, _ = seam_points(model, GAP_SEAM)
    x, y = at[..., 0], at[..., 1]
    ends = [[0.0, body.outline.length], [body.tail_block.width / 2, body.neck_block.width / 2]]
    beside = np.sign(y) * np.maximum(np.abs(y) - np.interp(x, *ends), 0)
    twist = (x - np.sum(x * y * beside) / np.sum(y * beside)) * beside
    return twist / np.ptp(twist)


# --- measures ---


def widths(body):
    """{place: m} across the body at its bouts and waist."""
    return {place: float(bass[0, 1] - treble[0, 1]) for place, (treble, bass) in pressed_places(body).items()}


def worst(study, row, plate, where, change):
    """(Pa, what) of the largest tension across the grain of a plate for a change of moisture [%], built-in stress added.

    where: 'linings' or 'ends'. The gap's stress is counted either way round. (0, '') where nothing pulls or is there.
    """
    stress = change * getattr(row.moisture.stress[plate], where)
    if row.gap is not None:
        stress = stress + study.rim_gap * np.abs(getattr(row.gap.stress[plate], where))
    if not stress.size or stress.max() <= 0:
        return 0.0, ""
    at = int(np.argmax(stress.max(axis=1)))
    if where == "ends":
        return float(stress.max()), study.ends[plate][at]
    x, y = study.places[plate][at]
    return float(stress.max()), f"{1e3 * x:.0f} mm from the tail, {1e3 * abs(y):.0f} mm {side(y)}"


def mean_pull(row, plate, change):
    """Pa across the grain near the linings of a plate, through the thickness and all round, for a change of moisture [%]."""
    return float(np.mean(change * row.moisture.stress[plate].linings))


def side(y):
    return "on the bass side" if y > 0 else "on the treble side"
