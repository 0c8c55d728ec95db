"""The squeeze study as text for the terminal."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from studies.common import cautions
from studies.common.measured import Beside, beside, heard, squeeze_values, table
from studies.common.mesh_error import MESH_ERROR, mesh_error, rim_grams
from studies.common.table import Table
from studies.common.words import bars, capital, percent
from studies.squeeze.first_screen import ruler_screen
from studies.squeeze.result import BATTEN, GRAVITY, Row, Squeeze, apart, largest_mesh_error, told_apart

SMALL = 0.03  # of the width: beyond it the shape changes under the load, small-deflection theory is some per cent off
LABEL = "the open rim under a load, computed; what a ruler can read of it"
NOT_MODELLED = (
    "cracks and their stopping by the bars on the sides",
    "the risk that a block splits",
    "sealing of end grain",
    "heat and creep of glue lines",
    "springback of bent sides",
    "dents under the batten",
    "the rim's own weight (it is in both readings)",
)
BLOCKS = (
    "Where sides and linings enter a block they yield as a solid section does: beside solid elements a rim with solid linings "
    "or none gives the same within 3 % when squeezed, within 5 % when twisted; of a kerfed lining just the web is taken to reach "
    "the block"
)

STATE_WORDS = {  # {state: (heading, how it is held and pressed)}
    "free": (
        "The rim lies free", "A batten as high as the side at either place, half of the weight at the top edge, half at the back edge; "
        f"twist: tail block in a vice, weight {1e3 * BATTEN:.0f} mm from the centre line on a batten across the neck block",
    ),
    "mould": ("The rim in its mould", "Back edge held all round, free to turn; pressed at the open top edge"),
}  # fmt: skip
MEASURED = "Measured beside computed (the sheet's own build)"


def text(study: Squeeze) -> str:
    """Everything printed by the command."""
    newtons = study.load * GRAVITY
    lines = [
        ruler_screen(study).text,
        "",
        f"{study.body.name}: the open rim under {study.load:g} kg ({newtons:.1f} N), computed",
        "",
    ]
    lines += answer(study)
    for told in tables(study):
        lines += ["", *told.lines()]
    if rows := beside_rows(study):
        lines += ["", MEASURED, table(rows)]
    lines += [
        "",
        *(f"- {note}" for note in study.notes),
        f"{BLOCKS}.",
        f"Not modelled: {', '.join(NOT_MODELLED)}.",
        *cautions.OPEN_RIM,
    ]
    return "\n".join(lines)


def answer(study: Squeeze) -> list[str]:
    """What a ruler can tell, in plain sentences."""
    pairs = list(combinations(study.rows, 2))
    hidden = [pair for pair in pairs if not told_apart(study, *pair)]
    lines = [
        f"Of {len(pairs)} pairs of builds a ruler tells {len(pairs) - len(hidden)} apart on the free rim: they differ by more "
        "than both readings can be wrong together."
    ]
    for a, b in hidden:
        press, (gap, need) = max(apart(study, a, b).items(), key=lambda item: item[1][0] / item[1][1])
        lines.append(
            f"- Not told apart: {a.build.short} and {b.build.short}. They differ most, for what can be read, in {press}: "
            f"{1e3 * gap:.2f} mm, where {1e3 * need:.2f} mm would be needed."
        )
    worst = max(abs(study.rows[0].deflection["mould", press]) for press in study.presses["mould"])
    if worst < 2 * study.errors.ruler:
        lines.append(
            f"In its mould the rim gives {1e3 * worst:.2f} mm at most: too little for a ruler, take a dial gauge."
        )
    return lines + large(study)


def large(study: Squeeze) -> list[str]:
    """A line for deflections that small-deflection theory does not quite cover."""
    shares = {
        press: study.rows[0].deflection["free", press] / abs(b[1] - a[1]) for press, (a, b) in study.places.items()
    }
    beyond = [f"{press} ({100 * share:.0f} % of the width)" for press, share in shares.items() if share > SMALL]
    if not beyond:
        return []
    return [
        f"Large deflection at {', '.join(beyond)}: beyond {100 * SMALL:.0f} % the shape changes under the load; a smaller load "
        "reads closer to the computed figure in proportion."
    ]


# --- tables ---


def tables(study: Squeeze) -> list[Table]:
    """Tables for page and terminal."""
    return [*(deflection_table(study, state) for state in study.presses), mode_table(study), apart_table(study)]


def deflection_table(study: Squeeze, state: str) -> Table:
    """Build, grams, each press with the reading error; the mesh error below."""
    presses, error = study.presses[state], study.errors.of_deflection

    def cells(row: Row) -> Iterator[str]:
        deflections = (row.deflection[state, press] for press in presses)
        return (bars(1e3 * d, 1e3 * error(d), 2, "mm") for d in deflections)

    off = [mesh_error_words(largest_mesh_error(study, state, press)) for press in presses]
    rows = [(row.build.label, f"{rim_grams(row):.0f} g", *cells(row)) for row in study.rows]
    head = ("build of the rim", "rim", *presses)
    heading, told = STATE_WORDS[state]
    note = f"{told}. ± is the reading error."
    return Table(heading, head, (*rows, ("mesh error at most", "", *off)), note)


def mesh_error_words(error: float) -> str:
    """'0.03 mm' of an error [m]; '< 0.01 mm' of one that rounds to nothing, words where all meshes gave one figure."""
    if not error > 0:
        return "not determined"
    return f"{1e3 * error:.2f} mm" if 1e3 * error >= 0.005 else "< 0.01 mm"


def mode_table(study: Squeeze) -> Table:
    """Build, how it is held, frequencies and loss factors."""
    rows = []
    for row in study.rows:
        for state, frequency in row.frequency.items():
            loss = row.loss_factor[state]
            cells = [f"{f:.1f}" + ("" if loss is None else f" ({loss[k]:.4f})") for k, f in enumerate(frequency)]
            rows.append((row.build.label, state, *cells))
    off = max(
        mesh_error(1.0, b / a, c / a)
        for state in study.rows[0].frequency
        for a, b, c in zip(*(row.frequency[state] for row in study.own))
    )
    unknown = "loss factors not known for some part; " if any(r.loss_factor["free"] is None for r in study.rows) else ""
    head = ("build of the rim", "held", *(f"mode {k + 1}" for k in range(len(rows[0]) - 2)))
    note = f"{unknown}mesh error {f'at most {percent(off)}' if off else 'not determined'}: {MESH_ERROR}"
    return Table("Lowest modes of the open rim, Hz (loss factor)", head, tuple(rows), capital(note))


def apart_table(study: Squeeze) -> Table:
    """Every pair of builds and the presses that tell them apart."""
    rows = tuple(
        (a.build.short, b.build.short, ", ".join(told_apart(study, a, b)) or "NOT by a ruler")
        for a, b in combinations(study.rows, 2)
    )
    note = f"A ruler good for {1e3 * study.errors.ruler:g} mm, a load good for {100 * study.errors.load:g} %."
    return Table("Told apart by a ruler, free", ("build of the rim", "and", "told apart by"), rows, note)


def beside_rows(study: Squeeze) -> tuple[Beside, ...]:
    """Measured deflections, weights and impulse responses of the rim, and recorded tones, beside the sheet's own build."""
    row, measured = study.rows[0], study.body.measured
    frequency, loss = row.frequency["free"], row.loss_factor["free"]
    squeezed = squeeze_values(row.deflection, measured.squeeze_held)
    computed: dict[str, float | np.ndarray] = {"rim_g": rim_grams(row) / 1e3, "rim_tap_hz": frequency}
    computed |= {key: d * measured.squeeze_load / study.load for key, d in squeezed.items()}
    of_rim = lambda given: {key: value for key, value in given.items() if key in computed}
    measured = replace(measured, weights=of_rim(measured.weights), taps=of_rim(measured.taps), errors=study.errors)
    return *beside(measured, computed), *heard(study.tones, frequency, loss, study.errors.tap)
