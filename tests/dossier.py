"""Writes the table of docs/verification.md from what the tests recorded.

uv run pytest --dossier docs/_build/dossier.json && uv run python tests/dossier.py docs/_build/dossier.json
"""

import json
import sys
from pathlib import Path

import numpy as np

PAGE = Path(__file__).parents[1] / "docs" / "verification.md"
THIN = "\u202f"  # number and sign stay on one line
BEGIN, END = "<!-- dossier: begin; written by tests/dossier.py -->", "<!-- dossier: end -->"
TITLES = {
    "test_plates.py": "Flat plates",
    "test_shells.py": "Shells",
    "test_beams.py": "Beams",
    "test_eigen.py": "Beams as strips of shell",
    "test_statics.py": "Static loads",
    "test_prestress.py": "Pre-stress",
    "test_moisture.py": "Moisture",
    "test_materials.py": "Materials",
    "test_woods.py": "Woods",
    "test_plate_fit.py": "Constants of a board from its taps",
    "test_kerf_cell.py": "Linings",
    "test_joint_section.py": "The joint of plate and rim",
    "test_carving.py": "Carved braces and plates",
    "test_neck.py": "The neck",
    "test_air.py": "Enclosed air",
    "test_cavity.py": "The air of the example bodies",
    "test_radiation.py": "Radiation",
    "test_air_outside.py": "Air outside a guitar, beside another program",
    "test_flesh.py": "The player's flesh",
    "test_side_ports.py": "Side ports",
    "test_response.py": "Response to a drive",
    "test_coupled_model.py": "The body with air and sound",
    "test_strings.py": "Strings",
    "test_string_sets.py": "Sets of strings",
    "test_decay.py": "Decay",
    "test_fretboard.py": "Notes of the fretboard",
    "test_rule.py": "Hearing",
    "test_sustain.py": "Sustain",
    "test_foreign.py": "Foreign meshes",
    "test_modes_contract.py": "The command `rimwork modes`",
}


def error(row):
    """Largest error (a text): relative to each reference, or as it stands where a reference is 0."""
    reference, computed = np.array(row["reference"]), np.array(row["computed"])
    if np.any(reference == 0):
        return f"{np.abs(computed - reference).max():.1e} {row['unit']}".strip()
    worst = 100 * np.abs(computed / reference - 1).max()
    return f"below 0.001{THIN}%" if worst < 1e-3 else f"{_digits(worst, 2)}{THIN}%"


def _digits(x, n):
    """x with n digits, never in powers of ten."""
    return np.format_float_positional(x, n, unique=False, fractional=False, trim="-")


def values(numbers, unit=""):
    """Up to six values with five digits; of longer lists the first five and their count."""
    shown = [f"{x:.5g}" for x in (numbers if len(numbers) <= 6 else numbers[:5])]
    more = f" … ({len(numbers)} values)" if len(numbers) > 6 else ""
    return (", ".join(shown) + more + f" {unit}").strip()


def table(rows):
    """Markdown of all rows, a section for each test file."""
    cell = lambda text: text.replace("|", "\\|")
    lines = []
    unknown = {row["file"] for row in rows} - set(TITLES)
    for file in [*TITLES, *sorted(unknown)]:
        here = [row for row in rows if row["file"] == file]
        if not here:
            continue
        lines += [f"### {TITLES.get(file, file)}", "", f"`tests/{file}`", ""]
        lines += ["| case | source | reference | computed | error |", "|---|---|---|---|---|"]
        for row in here:
            cells = (
                row["case"],
                row["source"],
                values(row["reference"], row["unit"]),
                values(row["computed"]),
                error(row),
            )
            lines.append("| " + " | ".join(map(cell, cells)) + " |")
        lines.append("")
    return "\n".join(lines)


def rendered(page, rows):
    """The page with the table of these rows in place of the one between its marks."""
    before, rest = page.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n\n{table(rows)}\n{END}{after}"


def main(*files):
    """Render recorded rows into the page; where two files hold rows of the same tests, those of the later one count."""
    rows = {}
    for file in files:
        found = json.loads(Path(file).read_text(encoding="utf-8"))
        rows |= {name: [row for row in found if row["file"] == name] for name in {row["file"] for row in found}}
    rows = [row for name in sorted(rows) for row in rows[name]]
    PAGE.write_text(rendered(PAGE.read_text(encoding="utf-8"), rows), encoding="utf-8")
    return f"{len(rows)} cases written to {PAGE.relative_to(PAGE.parents[1])}"


if __name__ == "__main__":
    print(main(*sys.argv[1:]))
