"""The four example guitars beside what was published of others and what is common: writes a table of docs/verification.md.

uv run python tests/guitars.py

Figures of guitars whose dimensions are not published are reported, never gated: nothing is tuned to them.
"""

import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fem.eigen import fixed_unknowns, modes
from fem.model import assemble, weights
from fem.statics import deflect
from meshes.build import mesh_body
from meshes.coupled_model import coupled_model_of
from meshes.describe import masses
from meshes.parts import sections
from meshes.saddle import saddle_load
from meshes.sheet import read_sheet
from meshes.string_places import string_loads
from meshes.supports import FREE, LAP
from studies.common.builds import builds, complete_linings
from studies.load.readings import CREEP, Places
from studies.load.solve import solve_loaded, string_load, string_pulls
from studies.load.words import scaled
from studies.solved.answer import ask
from studies.solved.bridge_tap import PLACES, BridgeTap, bridge_tap
from studies.solved.level import DRY_MODES

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "verification.md"
BEGIN, END = "<!-- guitars: begin; written by tests/guitars.py -->", "<!-- guitars: end -->"
SHEETS = ("medlar", "dunnock", "hazel", "linnet")
SIZE = 0.045  # m
FURTHER = 350.0  # Hz up to which further peaks are told
WEIGHED = {  # {what: parts}
    "top": ("top", "top_braces", "bridge_plate", "patches"),
    "back": ("back", "back_braces"),
    "rim": ("sides", "lining_top", "lining_back", "neck_block", "tail_block", "side_bars"),
}
NONE_FOUND = "none found"


@dataclass(frozen=True)
class Guitar:
    """What is told of one sheet, SI."""

    name: str
    steel: bool
    tap: dict[str, BridgeTap]  # {how: tapped at the saddle}
    stiffness: float  # N/m at the saddle's middle, the sides' upper edge held in place
    lean: float  # degrees, the bridge towards the neck as the strings are tuned up
    mass: dict[str, float]  # kg: WEIGHED, 'body' (all but the neck) and 'whole'


def solved(name: str) -> Guitar:
    """The Guitar of a sheet."""
    body, _ = complete_linings(read_sheet(ROOT / "meshes" / "bodies" / f"{name}.toml"))
    model, parts = assemble(mesh_body(body, SIZE)), sections(body)
    w, load = weights(parts), saddle_load(body, model.space)
    dry = modes(model, w, DRY_MODES, loads=string_loads(body, model.space))
    whole = coupled_model_of(body, model, parts, dry)
    tap = {how: bridge_tap(ask(whole, how)) for how in (FREE, LAP)}
    pressed = deflect(model, w, load, fixed_unknowns(model.space, support=("rim_top",))).displacement[:, 0]
    pulls, _ = string_pulls(body)
    places = Places(model.space, body, pulls)
    pulled = solve_loaded(builds(body)[0], model, string_load(places, pulls), places)
    mass = masses(body)
    told = {what: sum(mass.get(part, 0.0) for part in of) for what, of in WEIGHED.items()}
    told |= {"body": sum(mass.values()) - mass["neck"], "whole": sum(mass.values())}
    steel = body.strings is not None and body.strings.set_name == "steel"
    return Guitar(body.name, steel, tap, float(1 / (load @ pressed)), scaled(pulled)["bridge_rotation_deg"], told)


# --- the table ---


def beside(low: float, high: float, band: Sequence[float] | None, digits: int = 0) -> str:
    """The range from low to high, and how it lies to a band: by how much all of it is outside, within, or across an end."""
    ends = [f"{x:.{digits}f}".replace("-", "−") for x in (low, high)]
    text = " to ".join(dict.fromkeys(ends))
    if band is None:
        return text
    if high < band[0]:
        return f"{text} ({100 * (1 - high / band[0]):.0f} % below)"
    if low > band[1]:
        return f"{text} ({100 * (low / band[1] - 1):.0f} % above)"
    return f"{text} ({'within' if band[0] <= low and high <= band[1] else 'partly within'})"


def table(guitars: Sequence[Guitar], literature: dict) -> str:
    """Markdown: a column for each Guitar, the last one published or common."""
    steel, common = literature["steel_string_guitars"], literature["common_guitars"]
    rows = [("strings", ["steel" if g.steel else "nylon" for g in guitars], "")]

    def row(what, cell, band=None, of="", only_steel=True, digits=0):
        pick = lambda g: band if band and (g.steel or not only_steel) else None
        told = f"{band[0]:g} to {band[1]:g}, {of}" if band else NONE_FOUND
        rows.append((what, [beside(*cell(g), pick(g), digits) for g in guitars], told))

    for k, (hertz, quality) in enumerate(zip(steel["value"], steel["quality"])):
        for how in (FREE, LAP):
            of = lambda value, k=k, how=how: lambda g: [value(g.tap[how].main[k])] * 2
            row(f"F{k + 1} {how}, Hz", of(lambda p: p.frequency), hertz, "steel (a)", digits=1)
            row(f"its Q {how}", of(lambda p: p.quality), quality, "steel (a)")
            row(f"its effective mass {how}, g", of(lambda p: 1e3 * p.effective_mass))
    known = lambda t: [p for p in t.peaks["middle"] if p not in t.main and t.main[0].frequency < p.frequency < FURTHER]
    cells = [", ".join(f"{p.frequency:.0f}" for p in known(g.tap[FREE])) or "–" for g in guitars]
    rows.append((f"further peaks {FREE} up to {FURTHER:.0f} Hz", cells, NONE_FOUND))
    both = lambda value: lambda g: sorted(value(g.tap[how]) for how in (LAP, FREE))
    for place in PLACES:
        what = f"mean level 80 to 1000 Hz, {place}, dB re 1 s/kg"
        row(what, both(lambda t, place=place: t.mean_level_db[place]), digits=1)
    row("stiffness at the saddle, kN/m", lambda g: [1e-3 * g.stiffness] * 2)
    row("bridge leans as the strings are tuned up, degrees", lambda g: [g.lean] * 2, digits=2)
    aged = lambda g: [g.lean * times for times in CREEP]
    row("lean after years of creep, degrees", aged, common["lean_after_creep"], "steel (b)", digits=2)
    for what, words in (
        ("top", "braced top"),
        ("back", "braced back"),
        ("rim", "rim"),
        ("body", "all without the neck"),
    ):
        row(f"{words}, g", lambda g, what=what: [1e3 * g.mass[what]] * 2, common[what], "(b)", only_steel=False)
    row("whole, g", lambda g: [1e3 * g.mass["whole"]] * 2)
    lines = [
        "| | " + " | ".join(g.name for g in guitars) + " | published or common |",
        "|---" * (len(guitars) + 2) + "|",
    ]
    lines += [f"| {what} | {' | '.join(cells)} | {told} |" for what, cells, told in rows]
    notes = f"(a) {steel['source']}; {steel['place']}. (b) {common['source']}."
    return "\n".join([*lines, "", notes])


def rendered(page: str, text: str) -> str:
    """The page with this text in place of the one between its marks."""
    before, rest = page.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n\n{text}\n\n{END}{after}"


def main() -> str:
    literature = tomllib.loads((ROOT / "tests" / "literature.toml").read_text(encoding="utf-8"))
    guitars = []
    for name in SHEETS:
        guitars.append(solved(name))
        print(name, "solved", file=sys.stderr)
    PAGE.write_text(rendered(PAGE.read_text(encoding="utf-8"), table(guitars, literature)), encoding="utf-8")
    return f"{len(guitars)} guitars written to {PAGE.relative_to(ROOT)}"


if __name__ == "__main__":
    print(main())
