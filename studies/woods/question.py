"""Which woods are held? A list to choose from, and of a few all constants with source, range and scatter."""

from collections.abc import Sequence

from fem.woods import LOSSES, POISSON, RATIOS, Value, constants, entry, kin, library, read_table
from studies.common.inputs import BadInput
from studies.common.table import Table
from studies.common.words import UNKNOWN

IN_FULL = 3  # woods up to which all constants are told
WORDS = {
    "density": "density", "E_L": "stiffness along the grain", "E_R": "across it, in a quarter-sawn board",
    "E_T": "through the board", "G_LR": "shear in the board, what twist shows", "G_LT": "shear along, through the board",
    "G_RT": "shear across, through the board", "loss_L": "loss factor along the grain", "loss_R": "loss factor across it",
    "loss_G": "loss factor in shear", "nu_LR": "Poisson, along to across", "nu_LT": "Poisson, along to through",
    "nu_RT": "Poisson, across to through",
}  # fmt: skip
SCATTERS = {
    "density": "density",
    "E_L": "stiffness along",
    "E_R": "across",
    "G": "shear",
    "loss": "losses, all alike",
}


def list_woods(words: Sequence[str] = ()) -> str:
    """The woods whose name or title holds all words, as text; BadInput with what comes near where there is none."""
    asked = " ".join(words).lower().replace("_", " ").split()
    told = [name for name in library() if not name.endswith("_bending") and all(w in _called(name) for w in asked)]
    if not told:
        kind, near = kin("_".join(asked))
        hint = f"it is {kind}: {', '.join(near)} come near" if near else "'rimwork woods' alone lists all"
        raise BadInput(f"woods: none of the library is called '{' '.join(words)}'; {hint}")
    return "\n\n".join(["\n".join(_table(told).lines()), *(_in_full(name) for name in told if len(told) <= IN_FULL)])


def _called(name: str) -> str:
    return f"{name.replace('_', ' ')} {_title(name)}".lower()


def _title(name: str) -> str:
    return str((read_table()["wood"].get(name) or read_table()["plywood"][name])["title"])


def _table(names: Sequence[str]) -> Table:
    """Density, stiffness and loss of each wood."""
    rows = []
    for name in names:
        w = library()[name]
        estimated = [key for key, text in w.sources.items() if text.startswith("estimated")]
        loss = UNKNOWN if w.loss_L is None else f"{w.loss_L:.4f}"
        figures = f"{w.density:.0f}", f"{w.E_L / 1e9:.1f}", f"{w.E_R / 1e9:.2f}", f"{w.G_LR / 1e9:.2f}", loss
        rows.append((name, *figures, f"{len(estimated)} of {len(w.sources)}" if w.sources else UNKNOWN))
    head = "wood", "kg/m3", "along, GPa", "across", "shear", "loss along", "estimated"
    scatter = read_table()["scatter"]
    varied = ", ".join(f"{words} {100 * scatter[key][0]:.0f} %" for key, words in SCATTERS.items())
    note = (
        f"At 12 % moisture. Boards of one species scatter by much more than these digits tell: {varied} (coefficients of "
        "variation; sources with 'rimwork woods NAME'). 'estimated': constants filled by a rule. Measure your own board "
        "with 'rimwork plate'."
    )
    return Table("Woods that a build sheet may name", head, tuple(rows), note)


def _in_full(name: str) -> str:
    """All constants of a wood with range and source, and how boards scatter."""
    if name not in read_table()["wood"]:
        return f"{name}: {_title(name)}; made up of the veneers of its plies"
    held = constants(entry(name))
    lines = [f"{name}: {_title(name)}"]
    for key in ("density", "E_L", *RATIOS, *LOSSES, *POISSON):
        if key in held:
            lines.append(f"  {WORDS[key]}: {_figure(key, held[key])}; {held[key].source}")
    scatter = read_table()["scatter"]
    lines += [f"  scatter of {words}: {100 * scatter[k][0]:.0f} %; {scatter[k][1]}" for k, words in SCATTERS.items()]
    return "\n".join([*lines, *([f"  {entry(name).note}"] if entry(name).note else [])])


def _figure(key: str, value: Value) -> str:
    """'11.9 GPa', with its range where one is known."""
    scale, unit, digits = (1.0, " kg/m3", ".0f") if key == "density" else (1e9, " GPa", ".3g")
    if key in (*LOSSES, *POISSON):
        scale, unit, digits = 1.0, "", ".3g"
    ends = (
        ""
        if value.low is None or value.high is None
        else f" ({value.low / scale:{digits}} to {value.high / scale:{digits}})"
    )
    return f"{value.number / scale:{digits}}{unit}{ends}"
