"""The squeeze study as text for the terminal."""

from itertools import combinations

from studies.common import cautions
from studies.common.measured import beside, heard, squeeze_values, table
from studies.common.two_meshes import MESH_ERROR, mesh_error, rim_grams
from studies.common.words import bars, percent
from studies.squeeze.result import BATTEN, GRAVITY, largest_mesh_error, told_apart

SMALL = (
    0.03  # of the width: beyond it the shape changes under the load and small-deflection theory is some per cent off
)
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
    "Blocks come out too stiff: beside solid elements they let a rim give 2 % too little (bare 2.2 mm sides) to 5-15 % too "
    "little (solid linings) when squeezed, 3 to 20 % when twisted; so builds with stiff linings look a little better here "
    "than they are"
)

STATE_WORDS = {
    "free": "FREE: a batten as high as the side at either place, half of the weight at the top edge, half at the back edge; "
    f"twist: tail block in a vice, weight {1e3 * BATTEN:.0f} mm from the centre line on a batten across the neck block",
    "mould": "IN ITS MOULD: back edge held all round, free to turn; pressed at the open top edge",
}


def text(study):
    """Everything printed by the command."""
    newtons = study.load * GRAVITY
    lines = [f"{study.body.name}: the open rim under {study.load:g} kg ({newtons:.1f} N), computed", ""]
    lines += answer(study)
    for state in study.presses:
        lines += ["", STATE_WORDS[state], *deflection_table(study, state)]
    lines += ["", "Lowest modes of the open rim, Hz (loss factor)", *mode_table(study)]
    lines += ["", f"Told apart, free, by a ruler good for {1e3 * study.errors.ruler:g} mm and a load good for "
              f"{100 * study.errors.load:g} %:", *apart_table(study)]  # fmt: skip
    if rows := beside_rows(study):
        lines += ["", "Measured beside computed (the sheet's own build)", table(rows)]
    lines += [
        "",
        *(f"- {note}" for note in study.notes),
        f"{BLOCKS}.",
        f"Not modelled: {', '.join(NOT_MODELLED)}.",
        *cautions.OPEN_RIM,
    ]
    return "\n".join(lines)


def answer(study):
    """What a ruler can tell, in plain sentences."""
    pairs = list(combinations(study.rows, 2))
    hidden = [pair for pair in pairs if not told_apart(study, *pair)]
    lines = [
        f"Of {len(pairs)} pairs of builds a ruler tells {len(pairs) - len(hidden)} apart on the free rim: they differ by more "
        "than both readings can be wrong together."
    ]
    for a, b in hidden:
        press, gap, need = closest_to_apart(study, a, b)
        lines.append(
            f"- Not told apart: {short(a)} and {short(b)}. They differ most, for what can be read, in {press}: "
            f"{1e3 * gap:.2f} mm, where {1e3 * need:.2f} mm would be needed."
        )
    worst = max(abs(study.rows[0].deflection["mould", p]) for p in study.presses["mould"])
    if worst < 2 * study.errors.ruler:
        lines.append(
            f"In its mould the rim gives {1e3 * worst:.2f} mm at most: too little for a ruler, take a dial gauge."
        )
    return lines + large(study)


def large(study):
    """A line for deflections that small-deflection theory does not quite cover."""
    row, found = study.rows[0], []
    for press, (a, b) in study.places.items():
        width = abs(b[1] - a[1])
        if row.deflection["free", press] > SMALL * width:
            found.append(f"{press} ({100 * row.deflection['free', press] / width:.0f} % of the width)")
    if not found:
        return []
    return [
        f"Large deflection at {', '.join(found)}: beyond {100 * SMALL:.0f} % the shape changes under the load; a smaller load "
        "reads closer to the computed figure in proportion."
    ]


def short(row):
    """A build's label without the words for the sheet's own."""
    return row.build.label.removeprefix("as on the sheet: ")


def closest_to_apart(study, a, b):
    """(press, difference, both reading errors together) [m] of the press that comes closest to telling two rows apart."""

    def figures(press):
        one, other = (row.deflection["free", press] for row in (a, b))
        return press, abs(one - other), study.errors.of_deflection(one) + study.errors.of_deflection(other)

    return max(map(figures, study.presses["free"]), key=lambda f: f[1] / f[2])


def deflection_table(study, state):
    """Lines: build, grams, each press with the reading error; the mesh error below."""
    presses = study.presses[state]
    width = max(len(row.build.label) for row in study.rows)
    lines = [f"{'build of the rim':{width}} {'rim':>7}" + "".join(f"{press:>19}" for press in presses)]
    for row in study.rows:
        cells = (row.deflection[state, press] for press in presses)
        shown = (bars(1e3 * d, 1e3 * study.errors.of_deflection(d), 2, "mm") for d in cells)
        lines.append(f"{row.build.label:{width}} {rim_grams(row):5.0f} g" + "".join(f"{cell:>19}" for cell in shown))
    errors = "".join(f"{f'{1e3 * largest_mesh_error(study, state, press):.2f} mm':>19}" for press in presses)
    return [*lines, f"{'± is the reading error; mesh error at most':{width}} {'':7}" + errors]


def mode_table(study):
    """Lines: build, state, frequencies and loss factors."""
    width, lines = max(len(row.build.label) for row in study.rows), []
    for row in study.rows:
        for state, frequency in row.frequency.items():
            loss = row.loss_factor[state]
            cells = [f"{f:.1f}" + ("" if loss is None else f" ({loss[k]:.4f})") for k, f in enumerate(frequency)]
            lines.append(f"{row.build.label:{width}} {state:6}" + "".join(f"{cell:>16}" for cell in cells))
    off = max(
        mesh_error(1, b / a) for row, rough in zip(study.rows, study.coarse) for s in row.frequency
        for a, b in zip(row.frequency[s], rough.frequency[s])
    )  # fmt: skip
    note = " loss factors not known for some part;" if any(r.loss_factor["free"] is None for r in study.rows) else ""
    return [*lines, f"{note} mesh error at most {percent(off)}: {MESH_ERROR}".strip()]


def apart_table(study):
    """Lines: every pair of builds and the presses that tell them apart."""
    lines = []
    for a, b in combinations(study.rows, 2):
        found = told_apart(study, a, b)
        lines.append(f"  {short(a)} | {short(b)}: {', '.join(found) if found else 'NOT by a ruler'}")
    return lines


def beside_rows(study):
    """Measured deflections, weights and taps of the rim, and recorded tones, beside the sheet's own build."""
    row, measured = study.rows[0], study.measured
    computed = {key: d * measured.squeeze_load / study.load
                for key, d in squeeze_values(row.deflection, measured.squeeze_held).items()}  # fmt: skip
    computed |= {"rim_g": rim_grams(row) / 1e3, "rim_tap_hz": row.frequency["free"]}
    keep_weights = {k: v for k, v in measured.weights.items() if k == "rim_g"}
    keep_taps = {k: v for k, v in measured.taps.items() if k == "rim_tap_hz"}
    of_the_rim = type(measured)(
        keep_weights, measured.squeezes, measured.squeeze_load, measured.squeeze_held, keep_taps, study.errors
    )
    return (
        *beside(of_the_rim, computed),
        *heard(study.tones, row.frequency["free"], row.loss_factor["free"], study.errors.tap),
    )
