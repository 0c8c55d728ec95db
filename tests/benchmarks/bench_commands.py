"""What the commands cost as whole processes, beside stored figures of the same machine; prints Markdown, fails nothing.

    python tests/benchmarks/bench_commands.py [--quick] [--rows help,check] [--tests] [--store] [--reference] [--code DIR]

The linings' cells and all other kept results go into a folder of this run alone, so nothing kept before serves. Rows other
than 'rim-cells' find the cells computed, as a second command of a maker does. 'words' is when the first line of the answer
stands on standard output. The box is that of the minimal sheet without braces, bridge plate and neck (box_cases.BARE), 40
modes; its error is that of the first 20 frequencies against a fine mesh, which --reference solves anew and stores.
--store writes the figures of the rows that ran to baseline.json; --code runs another checkout.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from whole_process import ROOT, Run, machine, run

STORED = Path(__file__).with_name("baseline.json")
FINE_MM = 12.5
COMPARED, COUNT = 20, 40


@dataclass(frozen=True)
class Given:
    """Where a row runs."""

    code: Path  # the checkout
    folder: Path  # of this run alone
    reference: list[float]  # Hz, of the box on the fine mesh

    def run(self, command: list[str], kept: str = "kept", **more: str) -> Run:
        """Run with the cells in the folder 'cells'; kept: folder of other results; more: variables of the environment."""
        where = {"RIMWORK_CACHE": str(self.folder / "cells"), "RIMWORK_KEPT": str(self.folder / kept)}
        return run([sys.executable, *command], self.code, where | more)

    def command(self, name: str, *options: str, sheet: str = "meshes/bodies/hazel.toml") -> Run:
        """Run of `rimwork NAME SHEET` that finds nothing kept but cells."""
        return self.run(["-m", "studies", name, sheet, *options], kept=tempfile.mkdtemp(dir=self.folder))

    def out(self) -> tuple[str, str]:
        return "--out", tempfile.mkdtemp(dir=self.folder)

    def sheet_of_box(self) -> str:
        sys.path[:0] = [str(self.code), str(ROOT / "tests")]
        from box_cases import bare_sheet

        return str(bare_sheet(self.folder))


Row = Callable[[Given], tuple[Run, str]]  # what it took, and what else is to say


def plain(name: str, *options: str, out: bool = True) -> Row:
    return lambda given: (given.command(name, *options, *(given.out() if out else ())), "")


def box(size: float) -> Row:
    """The box from its sheet to its modes in a process that has everything imported and its cells, one thread."""

    def measured(given: Given) -> tuple[Run, str]:
        whole = given.run([__file__, "--box", str(size), given.sheet_of_box()], RIMWORK_THREADS="1")
        if whole.code:
            return whole, ""
        found = json.loads(whole.text)
        pairs = list(zip(found["frequency"][:COMPARED], given.reference))
        worst = f", worst error {max(abs(100 * (f / best - 1)) for f, best in pairs):.2f} %" if pairs else ""
        inside = Run(found["wall"], found["cpu"], whole.peak, None, 0, whole.text)
        return inside, f"{found['unknowns']} unknowns, solve {found['solve']:.2f} s{worst}"

    return measured


def box_command(given: Given) -> tuple[Run, str]:
    return given.command("modes", "--count", str(COUNT), "--mesh-size-mm", "25", sheet=given.sheet_of_box()), ""


ROWS: dict[str, Row] = {
    "help": lambda given: (given.run(["-m", "studies", "--help"]), ""),
    "rim-cells": plain("rim"),  # first of those that need cells: it leaves them for the others
    "rim": plain("rim"),
    "check": plain("check"),
    "modes": plain("modes", "--count", str(COUNT), out=False),
    "sustain": plain("sustain"),
    "box-1": box(29),
    "box-half": box(21),
    "box-modes": box_command,
    "tests": lambda given: (given.run(["-m", "pytest"]), ""),
}
TITLES = {
    "help": "`--help`",
    "rim-cells": "`rim`, cells of linings computed",
    "rim": "`rim`, cells kept",
    "check": "`check`",
    "modes": f"`modes --count {COUNT}`",
    "sustain": "`sustain`, 20 draws",
    "box-1": "box in process, within 1 %",
    "box-half": "box in process, within .5 %",
    "box-modes": "`modes` of the box, 25 mm",
    "tests": "all tests",
}
LONG = ("rim-cells", "rim", "sustain", "tests")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--rows", help=f"some of {','.join(ROWS)}")
    options.add_argument("--quick", action="store_true", help=f"without {', '.join(LONG)}")
    options.add_argument("--tests", action="store_true", help="the full test set too")
    options.add_argument("--store", action="store_true", help=f"write the figures to {STORED.name}")
    options.add_argument("--reference", action="store_true", help=f"solve the box at {FINE_MM} mm anew")
    options.add_argument("--code", type=Path, default=ROOT, help="checkout to run")
    options.add_argument("--box", nargs=2, help=argparse.SUPPRESS)
    given = options.parse_args()
    if given.box:
        print(json.dumps(in_process(float(given.box[0]), given.box[1])))
        return
    usual = [n for n in ROWS if not (given.quick and n in LONG) and n != "tests"]
    names = given.rows.split(",") if given.rows else usual
    names += ["tests"] if given.tests and "tests" not in names else []
    if unknown := set(names) - set(ROWS):
        options.error(f"--rows: {', '.join(unknown)}; expected some of {', '.join(ROWS)}")
    stored = json.loads(STORED.read_text(encoding="utf-8")) if STORED.exists() else {}
    same = stored.get("machine") == machine()
    with tempfile.TemporaryDirectory() as folder:
        place = Given(given.code.resolve(), Path(folder), stored.get("reference_hz", []))
        if given.reference:
            fine = place.run([__file__, "--box", str(FINE_MM), place.sheet_of_box()])
            stored["reference_hz"] = json.loads(fine.text)["frequency"][:COMPARED]
            place = Given(place.code, place.folder, stored["reference_hz"])
        if "rim-cells" not in names and set(names) - {"help", "tests"}:
            say("cells of the linings, not timed")
            place.run(["-c", CELLS])
        found = {}
        print(head(stored, same), flush=True)
        for name in names:
            say(name)
            took, more = ROWS[name](place)
            found[name] = figures(took)
            before = stored.get("rows", {}).get(name, {}) if same else {}
            print(line(name, took, more, before), flush=True)
    if given.store or given.reference:
        rows = (stored.get("rows", {}) if same else {}) | (found if given.store else {})
        commit = subprocess.run(
            ["git", "rev-parse", "--short", "HEAD"], cwd=given.code, capture_output=True, encoding="utf-8"
        ).stdout.strip()
        text = json.dumps(stored | {"machine": machine(), "code": commit, "rows": rows}, indent=1)
        STORED.write_text(text + "\n", encoding="utf-8")


CELLS = """
from meshes.sheet import read_sheet
from studies.common.builds import builds
for build in builds(read_sheet("meshes/bodies/hazel.toml")):
    build.sections()
"""


def in_process(size_mm: float, sheet: str) -> dict:
    """Seconds and frequencies of one box, from its sheet to its modes, all imported and its cells computed before."""
    from fem.eigen import modes
    from fem.model import assemble, weights
    from meshes.build import mesh_body
    from meshes.parts import sections
    from meshes.sheet import read_sheet

    sections(read_sheet(sheet))
    mesh_body(read_sheet(sheet), 0.06)  # loads the mesher
    wall, cpu = time.perf_counter(), time.process_time()
    body = read_sheet(sheet)
    model = assemble(mesh_body(body, size_mm / 1e3))
    w, before = weights(sections(body)), time.perf_counter()
    found = modes(model, w, COUNT)
    end = time.perf_counter()
    times = {"wall": end - wall, "cpu": time.process_time() - cpu, "solve": end - before}
    return times | {"unknowns": int(model.size), "frequency": found.frequency.tolist()}


def figures(took: Run) -> dict[str, float | None]:
    words = None if took.words is None else round(took.words, 2)
    return {"wall": round(took.wall, 2), "cpu": round(took.cpu, 2), "peak_mb": round(took.peak), "words": words}


def head(stored: dict, same: bool) -> str:
    here = machine()
    other = stored.get("machine")
    if same:
        beside = f"x: times the stored figure, of commit {stored.get('code', '?')}"
    elif other:
        beside = f"no ratios: the stored figures are of another machine: {', '.join(other.values())}"
    else:
        beside = "no ratios: no figures are stored"
    told = f"{here['name']} ({here['processor']}, {here['cores']} cores, bytecode {here['bytecode']}); {beside}"
    columns = "| row | wall s | processor s | peak MB | words s | wall x | processor x | peak x | words x | |"
    return f"{told}\n\n{columns}\n|{'---|' * 10}"


def line(name: str, took: Run, more: str, before: dict) -> str:
    now = figures(took)
    shown = ["-" if v is None else f"{v:.0f}" if key == "peak_mb" else f"{v:.2f}" for key, v in now.items()]
    ratio = [f"{v / before[key]:.2f}" if v is not None and before.get(key) else "" for key, v in now.items()]
    note = more if not took.code else f"ended with {took.code}"
    return f"| {TITLES[name]} | {' | '.join([*shown, *ratio])} | {note} |"


def say(what: str) -> None:
    print(f"running: {what}", file=sys.stderr)


if __name__ == "__main__":
    main()
