"""Does the printed mesh error hold the true one? Solves example and made-up sheets at several sizes and keeps what was found.

    PYTHONPATH=. python tests/mesh_coverage.py [SHEET ...]    # solves what mesh_coverage.json lacks; a minute or two a sheet
    PYTHONPATH=. python tests/mesh_coverage.py --table        # writes the table of docs/verification.md

Of every sheet its own build and another one: in cubic elements on the mesh that is asked about, in the richer space, on
longer edges, and on meshes of half and a third of the size. From the last two the true value is extrapolated, once for an
error of the first order and once for one of the second; it is taken half way between, half their distance being its own
uncertainty. 'coarse', of 1.5 times the size, tells what twice the difference of two sizes would have held.

The estimate was chosen on CHOSEN_ON; what holds on PROVEN_ON had no part in that.
"""

import copy
import json
import platform
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy
import skfem
from scipy.optimize import linear_sum_assignment

from fem.model import Model, assemble
from fem.richer import quartic
from fem.woods import library
from meshes.body import Body
from meshes.build import mesh_body
from meshes.open_rim import mesh_open_rim
from meshes.sheet import body_of, read_tables
from meshes.source_hash import source_hash
from studies.common.builds import Build, builds, complete_linings
from studies.common.mesh_error import OF_SHARE, OF_TAP, SAME, change_error, difference_error, mesh_error, mode_errors
from studies.common.pairing import Followed, as_one, followed, nearest_nodes, sampled_mac
from studies.rim.dry import rim_share
from studies.rim.dry_words import of_impulse
from studies.solved.dry import SPARE, Row, solve_dry, solve_richer
from studies.squeeze.solve import solve_squeezed

KEPT = Path(__file__).with_suffix(".json")
PAGE = Path(__file__).parents[1] / "docs" / "verification.md"
BEGIN, END = "<!-- coverage: begin; written by tests/mesh_coverage.py -->", "<!-- coverage: end -->"
MADE_BY = (
    "fem.richer",
    "fem.energies",
    "fem.statics",
    "meshes.build",
    "meshes.open_rim",
    "meshes.parts",
    "meshes.saddle",
)
SIZE, COUNT = 0.045, 20  # m, modes
CHOSEN_ON, PROVEN_ON = ("hazel", "linnet"), ("medlar", "dunnock", *(f"varied {k}" for k in range(1, 9)))
PLAN = ("length_mm", "place_mm", "_width_mm", "flat_", "diameter_mm", "from_mm", "to_mm", "saddle_mm", "places_mm")
TOP_WOODS = ("sitka_spruce", "engelmann_spruce", "norway_spruce", "western_redcedar")
BACK_WOODS = ("indian_rosewood", "honduras_mahogany", "sugar_maple", "black_walnut")
SPACES = ("fine", "richer", "faceted")
BAND = (80.0, 400.0)  # Hz
LOAD = 2.0  # kg


def sheet(name: str) -> Body:
    """Body of an example sheet, or of 'varied k': Hazel (k odd) or Linnet with measures, woods and braces drawn from the seed k."""
    if not name.startswith("varied"):
        return body_of(read_tables(Path(f"meshes/bodies/{name}.toml")), name, Path(), library())
    number = int(name.split()[1])
    raw = copy.deepcopy(read_tables(Path(f"meshes/bodies/{'hazel' if number % 2 else 'linnet'}.toml")))
    random = np.random.default_rng(number)
    draw = random.uniform
    plan, deep, dome = draw(0.8, 1.08), draw(0.85, 1.15), draw(0.6, 1.6)
    for table in ("body", "soundhole", "bridge", "bridge_plate", "brace", "side_bars"):
        for part in raw[table] if isinstance(raw.get(table), list) else [raw.get(table, {})]:
            scale(part, plan, PLAN)
    raw["body"]["waist_width_mm"] *= draw(0.95, 1.08)
    for key in raw["heights"]:
        scale(raw["heights"], dome if "radius" in key else deep, (key,))
    for plate in ("top", "back", "sides"):
        scale(raw[plate], draw(0.85, 1.2), ("thickness_mm",))
    for brace in raw["brace"]:
        brace["height_mm"] *= draw(0.8, 1.25)
        brace["width_mm"] *= draw(0.85, 1.2)
    if number % 3 == 0:  # one of the braces of the top less
        on_top = [k for k, brace in enumerate(raw["brace"]) if brace["plate"] == "top"]
        del raw["brace"][on_top[-1]]
    raw["top"]["wood"] = str(random.choice(TOP_WOODS))
    raw["back"]["wood"] = raw["sides"]["wood"] = str(random.choice(BACK_WOODS))
    raw["neck"]["heel_depth_mm"] *= min(deep, 1.0)
    raw["neck"]["tongue_mm"] *= min(plan, 1.0)
    for key in ("cut_width_mm", "cut_depth_mm", "cut_height_mm"):
        raw["neck_block"].pop(key, None)
    for place in ("lining_top", "lining_back"):
        raw[place]["height_mm"] *= draw(0.8, 1.2)
        if number % 4 >= 2 and raw[place]["kind"] == "kerfed":
            raw[place]["kind"] = "reversed_kerfed"
    return body_of(raw, name, Path(), library())


def scale(table: dict, by: float, keys: tuple[str, ...]) -> None:
    """Multiply the numbers of a table whose keys hold one of some words."""
    for key, value in table.items():
        if any(word in key for word in keys) and not isinstance(value, str):
            table[key] = (np.array(value) * by).tolist()


# --- solving ---


def solved(name: str, size: float) -> dict:
    """{build: {level: figures}} of the sheet's own build and another one of a sheet, 'squeeze' and 'seconds' beside; size [m]."""
    body = complete_linings(sheet(name))[0]
    every = [b for b in builds(body) if b.stiffness == 1]
    pair = every[0], every[1 + sum(map(ord, name)) % (len(every) - 1)]
    found: dict = {"other": pair[1].name, pair[0].name: {}, pair[1].name: {}, "seconds": {}}
    cubic = assemble(mesh_body(body, size))
    rows = [solve_dry(build, cubic, COUNT + SPARE) for build in pair]
    asked, points = rows[0].found.shape[:, :COUNT], cubic.space.points
    for level, model in levels(cubic, body, size):
        began = time.process_time()
        for build, fine in zip(pair, rows):
            if level == "fine":
                row = fine
            elif level == "richer":
                row = solve_richer(build, model, cubic.space, fine.found)
            else:
                row = solve_dry(build, model, COUNT + SPARE)
            here = model.space.points
            if len(here) < len(points):
                criterion = sampled_mac(asked, row.found.shape, nearest_nodes(points, here))
            else:
                criterion = sampled_mac(row.found.shape, asked, nearest_nodes(here, points)).T
            found[build.name][level] = figures(row, own_pairs(criterion))
            if build.is_base and level in ("richer", "faceted"):
                found[build.name][level]["criterion"] = criterion.round(2).tolist()
        found["seconds"][level] = round(time.process_time() - began, 1)
    found["squeeze"] = {}
    for level, times, degree in (("fine", 1, 3), ("richer", 1, 4), ("faceted", 2, 4), ("coarse", 1.5, 3), ("half", 0.5, 3), ("third", 1 / 3, 3)):  # fmt: skip
        mesh = mesh_open_rim(body, min(times, 1) * size, max(times, 1))
        found["squeeze"][level] = squeezes(pair, body, mesh, degree)
    return found


def levels(cubic: Model, body: Body, size: float) -> Iterator[tuple[str, Model]]:
    """(level, its Model), one after the other."""
    yield "fine", cubic
    yield "richer", quartic(cubic.space.mesh)
    yield "faceted", quartic(mesh_body(body, size, 2))
    yield "coarse", assemble(mesh_body(body, 1.5 * size))
    yield "half", assemble(mesh_body(body, size / 2))
    yield "third", assemble(mesh_body(body, size / 3))


def own_pairs(criterion: np.ndarray) -> tuple[list[int], list[float]]:
    """(partner, criterion) of each mode asked about (rows), whether alike or not."""
    a, b = linear_sum_assignment(-criterion)
    return b.tolist(), criterion[a, b].round(3).tolist()


def figures(row: Row, pairs: tuple[list[int], list[float]]) -> dict:
    """What is asked of a level; the modes in order of those of the sheet's own build that they are paired with."""
    at, criterion = pairs
    told = {
        "assurance": criterion,
        "frequency": row.found.frequency[at],
        "stored": rim_share(row.split.strain_share)[at],
    }
    if row.losses is not None:
        told |= {
            "heat": rim_share(row.split.dissipated_share)[at],
            "decay": 2.2 / (row.found.frequency * row.split.loss_factor)[at],
        }
        told |= {"tap": of_impulse(row, COUNT), "level": level_db(row)}
    return {key: np.asarray(v).round(9).tolist() if not isinstance(v, dict) else v for key, v in told.items()}


def level_db(row: Row) -> float:
    """dB of the mean square mobility at the saddle within BAND."""
    w = 2 * np.pi * np.geomspace(*BAND, 2000)[:, None]
    w_n = 2 * np.pi * row.found.frequency
    Y = np.sum(1j * w * row.bridge**2 / (w_n**2 * (1 + 1j * row.split.loss_factor) - w**2), axis=1)
    return float(10 * np.log10(np.mean(np.abs(Y) ** 2)))


def squeezes(pair: tuple[Build, Build], body: Body, mesh, degree: int) -> dict:
    """{build: {'state press': mm}} of the open rim."""
    model = quartic(mesh) if degree == 4 else assemble(mesh)
    return {
        b.name: {" ".join(k): 1e3 * v for k, v in solve_squeezed(b, model, body, LOAD).deflection.items()} for b in pair
    }


# --- judging ---


@dataclass(frozen=True)
class Case:
    """A figure of a sheet with its printed error, beside the true error and how well that is known."""

    sheet: str
    kind: str  # 'frequency', 'stored', ...
    change: bool  # of the difference of another build from the sheet's own
    figure: float
    printed: float  # nan: not determined
    true: float
    unsure: float  # of the true error
    before: float  # twice the difference of two sizes; nan of a change

    @property
    def inside(self) -> bool:
        return self.true <= self.printed + self.unsure

    @property
    def inside_before(self) -> bool:
        return self.true <= self.before + self.unsure


def reference(half: float, third: float) -> tuple[float, float]:
    """(value, its uncertainty) extrapolated from half and a third of the size."""
    first, second = (third + (third - half) / (1.5**order - 1) for order in (1, 2))
    return (first + second) / 2, abs(first - second) / 2


def judged(kept: dict, name: str) -> Iterator[Case]:
    """Cases of a sheet."""
    found = kept[name]
    own, other = found["sheet"], found[found["other"]]
    at, frequency = ("richer", "faceted"), np.array(own["fine"]["frequency"])
    modes = followed([np.array(own[level]["criterion"]) for level in at], frequency)
    alone = np.bincount(modes.group)[modes.group] == 1
    same = ~alone | (np.array(other["fine"]["assurance"]) >= SAME)
    for kind in ("frequency", "decay", "stored", "heat"):
        share = kind in ("stored", "heat")
        mine, theirs = ({level: of_modes_in_order(v, kind, modes) for level, v in b.items()} for b in (own, other))
        printed = mode_errors(
            [mine["fine"], *(by_number(mine[level], modes, n) for n, level in enumerate(at))], modes, share
        )
        for k in range(COUNT):
            if not share or modes.group[k] == k:  # what is told as one counts once
                pick = lambda levels, k=k: {level: float(v[k]) for level, v in levels.items()}
                yield from both(name, kind, pick(mine), pick(theirs), printed[k], same=bool(same[k]))
    for kind in own["fine"]["tap"]:
        mine, theirs = ({level: v["tap"][kind] for level, v in b.items()} for b in (own, other))
        yield from both(name, "tap", mine, theirs, printed_of(mine))
    mine, theirs = ({level: v["level"] for level, v in b.items()} for b in (own, other))
    yield from both(name, "level", mine, theirs, printed_of(mine), OF_TAP, shift=True)
    for press in found["squeeze"]["fine"]["sheet"]:
        mine, theirs = (
            {level: v[b][press] for level, v in found["squeeze"].items()} for b in ("sheet", found["other"])
        )
        yield from both(name, "squeeze", mine, theirs, printed_of(mine), OF_SHARE)


def printed_of(values: dict[str, float]) -> float:
    """mesh_error of {level: value}."""
    return mesh_error(values["fine"], values["richer"], values["faceted"])


def of_modes_in_order(told: dict, kind: str, modes: Followed) -> np.ndarray:
    """(COUNT,) figures of a level: close modes as they rise, or their mean; of the decay its inverse, which has one."""
    values = 1 / np.array(told[kind]) if kind == "decay" else np.array(told[kind])
    if kind in ("stored", "heat", "decay"):
        return as_one(values, modes.group)
    for first in np.unique(modes.group):
        some = modes.group == first
        values[some] = np.sort(values[some])
    return values


def by_number(values: np.ndarray, modes: Followed, space: int) -> np.ndarray:
    """Values (COUNT,) in order of the sheet's own modes, put back to the numbers of their partners."""
    found = np.full(max(modes.partner[space]) + 1, np.nan)
    found[modes.partner[space]] = values
    return found


def both(
    name: str, kind: str, mine: dict[str, float], theirs: dict[str, float], printed: float, borrowed: float | None = None,
    same: bool = True, shift: bool = False,
) -> Iterator[Case]:  # fmt: skip
    """The Case of the sheet's own figure {level: value}, then that of another build's difference from it.

    borrowed: what is left of the sheet's own error in the difference; None: found for it (see mesh_error.difference_error).
    """
    fine = mine["fine"]
    true, unsure = reference(mine["half"], mine["third"])
    yield Case(name, kind, False, fine, printed, abs(fine - true), unsure, 2 * abs(fine - mine["coarse"]))
    change = {level: theirs[level] - mine[level] for level in ("fine", "coarse", "half", "third")}
    true, unsure = reference(change["half"], change["third"])
    if borrowed is None:
        left = difference_error(*(tuple(b[level] for level in SPACES) for b in (mine, theirs)), printed)
    else:
        left = change_error(printed, np.inf if shift else fine, change["fine"], borrowed)
    before = 2 * abs(change["fine"] - change["coarse"])
    yield Case(name, kind, True, change["fine"], left if same else np.nan, abs(change["fine"] - true), unsure, before)


# --- the table ---


def table(kept: dict) -> str:
    """Rows of the table of docs/verification.md."""
    head = "| figure | sheets | cases | not determined | inside | median of printed over true | inside before |"
    lines = [head, "|" + "---|" * 7]
    for words, names in (("chosen on", CHOSEN_ON), ("proven on", PROVEN_ON)):
        cases = [case for name in names if name in kept for case in judged(kept, name)]
        for change in (False, True):
            kinds = dict.fromkeys(case.kind for case in cases)
            for kind in (*kinds, "all"):
                some = [c for c in cases if c.change == change and kind in (c.kind, "all")]
                lines.append(line(f"{kind}{', build minus sheet' if change else ''}", words, some))
    return "\n".join(lines)


def with_table(page: str, kept: dict) -> str:
    """The page docs/verification.md with the table between its marks."""
    before, rest = page.split(BEGIN)
    return f"{before}{BEGIN}\n\n{table(kept)}\n\n{END}{rest.split(END)[1]}"


def line(figure: str, words: str, cases: list[Case]) -> str:
    """One row of the table."""
    told = [c for c in cases if np.isfinite(c.printed)]
    cells = (
        figure, words, str(len(told)), str(len(cases) - len(told)), f"{100 * held(told):.0f} %", f"{wide(told):.1f}",
        f"{100 * np.mean([c.inside_before for c in told]):.0f} %",
    )  # fmt: skip
    return f"| {' | '.join(cells)} |"


def held(cases: list[Case]) -> float:
    """Part of the cases whose printed error holds the true one."""
    return float(np.mean([c.inside for c in cases]))


def wide(cases: list[Case]) -> float:
    """Median of the printed over the true error."""
    return float(np.median([c.printed / max(c.true, 1e-12) for c in cases]))


def made() -> dict[str, str | float]:
    """What the kept figures were made with."""
    return {
        "source": source_hash(*MADE_BY), "size_mm": 1e3 * SIZE, "python": platform.python_version(),
        "numpy": np.__version__, "scipy": scipy.__version__, "scikit-fem": skfem.__version__,
    }  # fmt: skip


if __name__ == "__main__":
    kept = json.loads(KEPT.read_text()) if KEPT.exists() else {}
    if "--table" in sys.argv:
        PAGE.write_text(with_table(PAGE.read_text(encoding="utf-8"), kept), encoding="utf-8")
    else:
        for name in sys.argv[1:] or (*CHOSEN_ON, *PROVEN_ON):
            if name not in kept:
                began = time.process_time()
                kept[name] = solved(name, SIZE) | {"made": made()}
                rows = (f"{json.dumps(n)}: {json.dumps(v, separators=(',', ':'))}" for n, v in kept.items())
                KEPT.write_text("{\n" + ",\n".join(rows) + "\n}\n")
                print(name, f"{time.process_time() - began:.0f} s", flush=True)
