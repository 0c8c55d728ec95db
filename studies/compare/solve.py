"""One sheet solved for a comparison: with air in three spaces, which tell its mesh error, and at rest. Nothing is solved twice:
what `rimwork rim` keeps of the sheet's own build is used."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from io import StringIO
from pathlib import Path

import numpy as np

from fem.admittance import Peak
from meshes.body import Body
from meshes.coupled_model import FluidDomain, fluid_domain
from meshes.sheet_strings import strung
from meshes.supports import FREE
from meshes.unexplained_loss import LARGEST, factors, unit_losses
from studies.common.builds import Build, builds, complete_linings
from studies.common.inputs import BadInput, Given
from studies.common.mesh_error import mode_errors
from studies.common.progress import Progress
from studies.common.side_by_side import SideBySide
from studies.compare.likeness import outward_motion, places_weight
from studies.compare.result import Held, Solved, Three
from studies.drawing.mode_names import names_with_air
from studies.load.solve import load_builds, string_pulls
from studies.load.words import SHOWN, scaled
from studies.rim.air import DRIVEN, followed_in_air, result
from studies.rim.air_page import in_the_rim
from studies.rim.result import SUPPORT_CONDITIONS, Result
from studies.solved.answer import ask
from studies.solved.bridge_tap import BridgeTap
from studies.solved.coupled import STEPS, CoupledModels, coupled_models, shared
from studies.solved.dry import stored_row
from studies.solved.level import Level, dry_modes, prepare_three
from studies.solved.power import air_outside, summary, surface_mass
from studies.weather.first_screen import plate_pull
from studies.weather.readings import PLATES
from studies.weather.solve import BUILT, USED, season_builds

PROGRESS = STEPS + len(SUPPORT_CONDITIONS) * DRIVEN  # of a sheet in one space
REST = 6.0  # of progress: a sheet under its strings or in other air
ONLY = ("sheet",)  # the build that is solved
NAN = float("nan")


@dataclass(frozen=True)
class Wanted:
    """What is solved of every sheet."""

    size: float  # m
    count: int  # modes compared
    store: Path
    load: bool
    weather: bool
    air: tuple[float, tuple[float, ...]] = (BUILT, USED)  # % relative humidity: built at, used at; of all sheets alike
    around: Callable[[Body], FluidDomain] = fluid_domain


@dataclass(frozen=True)
class InOneSpace:
    """The sheet's own build in one space."""

    made: CoupledModels
    held: dict[str, Result]


def solve_sheets(given: Sequence[Given], wanted: Wanted, workers: int) -> list[tuple[Solved, dict[str, Three]]]:
    """[(Solved, figures at rest)] of sheets, several side by side where there are workers for it."""
    if workers == 1:
        progress = Progress(len(given) * progress_of(wanted))
        found = [solve_sheet(one, wanted, progress) for one in given]
        progress.close("solved")
        return found
    progress = Progress(len(given))
    with SideBySide(workers) as side:
        begun = [side.begin(_quietly, one, wanted) for one in given]
        found = []
        for one, result_of in zip(given, begun):
            progress.say(f"{one.source.path.stem}, others beside it")
            found.append(result_of())
            progress.step()
    progress.close("solved")
    return found


def _quietly(one: Given, wanted: Wanted) -> tuple[Solved, dict[str, Three]]:
    return solve_sheet(one, wanted, Progress(progress_of(wanted), StringIO()))


def progress_of(wanted: Wanted) -> float:
    return 3 * PROGRESS + REST * (wanted.load + wanted.weather)


def solve_sheet(given: Given, wanted: Wanted, progress: Progress) -> tuple[Solved, dict[str, Three]]:
    """(Solved, figures at rest) of one sheet. BadInput where some part's losses are not known."""
    body, assumed = complete_linings(given.body)
    body, name = replace(body, assumed=(*body.assumed, *assumed)), given.source.path.stem
    build = builds(body)[0]
    levels = list(prepare_three(body, wanted.size, wanted.store, dry_modes(wanted.count), True))
    progress.say(f"{name}: modes without air")
    rows = [stored_row(build, level) for level in levels]
    if unknown := rows[0].split.losses_unknown:
        raise BadInput(
            f"{given.source.path}: losses not known of {', '.join(unknown)}; expected woods with loss factors"
        )
    around = shared(wanted.around)
    spaces = [_in_one_space(build, level, progress, around) for level in levels]
    whole = spaces[0].made.whole[build.name]
    held = {how: held_one_way(spaces, build, how, wanted.count) for how in SUPPORT_CONDITIONS}
    fine = held[FREE].bodies[0]
    mass = {part: three(row.mass.get(part, 0.0) for row in rows) for part in rows[0].mass}
    solved = Solved(
        name, body, given.source, build, mass, held, places_weight(body),
        factors(held[FREE].unexplained, fine, LARGEST),
        (spaces[0].made.unknowns, spaces[1].made.unknowns, spaces[2].made.unknowns), whole.structure.valid_to,
    )  # fmt: skip
    return solved, at_rest(given.body, wanted, name, progress)


def _in_one_space(build: Build, level: Level, progress: Progress, around: Callable[[Body], FluidDomain]) -> InOneSpace:
    made = coupled_models([build], level, progress, 1.0, around)
    mass, outside = surface_mass(made.surface, made.velocity[build.name]), air_outside(made.whole[build.name])
    held = {}
    for how in SUPPORT_CONDITIONS:
        progress.say(f"{build.body.name}: driven at the saddle, {how}")
        held[how] = result(made, build, how, mass, outside)
        progress.step(DRIVEN)
    return InOneSpace(made, held)


def held_one_way(spaces: Sequence[InOneSpace], build: Build, how: str, count: int) -> Held:
    """Held of the sheet's own build, from all spaces; the first is the one that is told."""
    own, whole = [space.held[how] for space in spaces], spaces[0].made.whole[build.name]
    fine, area = own[0], spaces[0].made.surface.area
    again = followed_in_air((own[0], own[1], own[2]), area, min(len(row.modes.frequency) for row in own))
    in_hertz = mode_errors([row.modes.frequency for row in own], again, share=False)
    of_rim = mode_errors([in_the_rim(row) for row in own], again)
    n, m = len(whole.structure.frequency), len(in_hertz)
    motion = outward_motion(build.body, spaces[0].made.model.space, whole.structure.shape) @ fine.modes.shape[:n, :m]
    strings = len(strung(build.body, None).strings.strings)
    answers = [ask(space.made.whole[build.name], how) for space in spaces]
    bodies = [answer.played(strings) for answer in answers]
    figures = {**energies_of(own), **taps_of(own)}
    return Held(
        fine.modes.frequency[:m], in_hertz, fine.modes.loss_factor[:m], in_the_rim(fine)[:m], of_rim,
        tuple(names_with_air(whole, fine.modes, fine.motion, count)), motion, figures, (bodies[0], bodies[1], bodies[2]),
        unit_losses(whole, answers[0].real_modes[1]),
    )  # fmt: skip


def three(values: Iterable[float]) -> Three:
    """Of a figure in each space."""
    a, b, c = map(float, values)
    return a, b, c


def energies_of(own: Sequence[Result]) -> dict[str, Three]:
    """{key: in each space} of where the power of a steady force goes; sound_db: of what is radiated for it."""
    found = [summary(row.driven) for row in own]
    told = {key: three(f[key] for f in found) for key in found[0]}
    return told | {"sound_db": three(10 * np.log10(f["radiated_w"]) for f in found)}


def taps_of(own: Sequence[Result]) -> dict[str, Three]:
    """{key: in each space} of what a tap at the saddle's middle shows; nan where a space shows no such peak."""
    taps = [row.tap for row in own if row.tap is not None]
    found = {"mean_level_db": three(tap.mean_level_db["middle"] for tap in taps)}
    for k in range(2):
        for key, of in PEAK.items():
            found[f"f{k + 1}_{key}"] = three(of(tap, tap.main[k]) if len(tap.main) > k else NAN for tap in taps)
    return found


PEAK: dict[str, Callable[[BridgeTap, Peak], float]] = {
    "hz": lambda tap, p: p.frequency,
    "quality": lambda tap, p: p.quality,
    "mass_g": lambda tap, p: 1e3 / abs(tap.poles.residue[1, p.pole]),
    "speed_mm_s": lambda tap, p: 1e3 * p.mobility,
}


def at_rest(body: Body, wanted: Wanted, name: str, progress: Progress) -> dict[str, Three]:
    """{key: in each space} of a body under its strings [mm, degrees] and in the driest and dampest of its airs [mm, MPa]."""
    found: dict[str, Three] = {}
    quiet = lambda: Progress(1.0, StringIO())
    if wanted.load and body.neck is not None:
        progress.say(f"{name}: under its strings")
        study = load_builds(body, string_pulls(body)[0], wanted.size, quiet(), ONLY)
        found |= {key: three(scaled(row)[key] for row in study.own) for key in SHOWN}
        progress.step(REST)
    if wanted.weather:
        progress.say(f"{name}: in other air")
        season = season_builds(body, *wanted.air, wanted.size, body.weather.rim_gap, quiet(), ONLY)
        change = season.changes[season.driest]
        found["driest_percent"] = (season.driest,) * 3
        for plate in PLATES:
            found[f"{plate}_arch_mm"] = three(1e3 * change * row.moisture.arch[plate] for row in season.own)
            found[f"{plate}_pull_mpa"] = three(1e-6 * plate_pull(season, row, plate) for row in season.own)
        progress.step(REST)
    return found
