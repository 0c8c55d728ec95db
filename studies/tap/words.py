"""The taps in words: for terminal and page."""

from studies.common.table import Table
from studies.common.words import UNKNOWN, percent_change, several
from studies.tap.result import HUM, MODE, Computed, Heard, StageRead, Tapped

LABEL = "tones of taps as they were recorded, beside computed modes"
MESH_ERROR = "not estimated here: rimwork rim tells it for the closed box"
NOT_MODELLED = (
    "the strings of a strung guitar: only its body and neck are computed",
    "holes cut for electronics, a finish, what leans on the wood while it is tapped",
    "the room",
)
HOLD = {"free": "hung free", "lap": "on the lap"}
READING = (
    "± is one standard uncertainty, from the noise and from how far taps differ. It holds no "
    "hand, string or band that damped every tap alike: those are in Q. Automatic gain that shortens or lengthens all decays smoothly cannot be seen."
)
PAIRED = (
    "Tones and computed modes are paired by frequency and order, radiating modes first, not by shapes: where modes lie close together a pair may be chance. "
    "'No partner': no computed mode within 12 % once one common factor is allowed."
)
CAUTIONS = (
    "Tap with a knuckle or a soft hammer, fingers out of the way; a hammer dents spruce and hurts fingers.",
    "Strings pull with the weight of a person: damp them with cloth, keep face and eyes away from them.",
    "Repeated taps close to the ear are loud: listen to them from the recording.",
)


def tap_verdict(study: Tapped) -> str:
    """One sentence made by rule: how many tones of the last stage with a model have a partner, and how far it lies."""
    shown = next((read for read in reversed(study.stages) if read.computed), None)
    if shown is None:
        count = sum(len(read.modes) for read in study.stages)
        return f"{count} sure {'tone' if count == 1 else 'tones'} heard; nothing is computed for {several([r.stage.label for r in study.stages])}."
    pairs, chance = (
        paired_modes(shown),
        "" if shown.chance is None else f" (of as many at random {shown.chance:.1f} would)",
    )
    told = f"Of {len(shown.modes)} sure tones of the {shown.stage.label.partition(',')[0]}, {len(pairs)} have a computed partner{chance}"
    if not pairs:
        return f"{told}."
    off = [h.pole.frequency / c.frequency for h, c in pairs]
    if len(off) == 1:
        return f"{told}; it was heard {percent_change(off[0])} off the computed frequency."
    return f"{told}; they were heard {percent_change(min(off))} to {percent_change(max(off))} off the computed frequencies."


def bench_step(study: Tapped) -> str:
    """What to do next."""
    alone = [read for read in study.stages if len({take.place for take in read.takes}) < 2]
    if alone:
        name = alone[-1].name
        return (
            f"Record the {alone[-1].stage.label.partition(',')[0]} again with the microphone at a second place within 10 cm of the wood "
            f"({name}@hole=..., {name}@back=...): a tone whose level changes unlike the others' is the room's."
        )
    return "Tap again in another room, held in the same way: a tone that stays is the guitar's."


def doubt(study: Tapped) -> str:
    """What the comparison rests on."""
    return (
        "Frequencies are sure, pairs less so: they are made without shapes. Q holds what hand, bands and room took as well, "
        "and wood of one name differs by 20 % and more in stiffness. The model's own error is not known."
    )


def paired_modes(read: StageRead) -> list[tuple[Heard, Computed]]:
    """[(tone, its computed mode)]."""
    return [(h, read.computed[h.partner]) for h in read.modes if h.partner is not None]


def text(study: Tapped) -> str:
    """Everything printed by the command."""
    lines = [tap_verdict(study), "", f"Try it on the bench: {bench_step(study)}", "", f"The main doubt: {doubt(study)}"]
    for read in study.stages:
        lines += ["", *tones_table(read, study.held).lines()]
        unheard = unheard_words(read)
        lines += [unheard] if unheard else []
        lines += [f"- {note}" for note in read.notes]
    lines += ["", READING, *([PAIRED] if any(read.computed for read in study.stages) else []), air_words(study), ""]
    return "\n".join([*lines, "For the sheet's table [measured]:", "", sheet_lines(study)])


def tones_table(read: StageRead, held: str) -> Table:
    """Every tone of a stage with what it is taken for, and its computed mode."""
    rows = []
    for h in read.heard:
        p = h.pole
        steady = h.kind == HUM
        quality = UNKNOWN if steady else f"{p.quality:.1f} ± {max(p.quality_uncertainty, 0.05):.1f}"
        cells = [frequency_words(p.frequency, p.frequency_uncertainty), quality, f"{h.level:.0f} dB".replace("-", "−")]
        rows.append((*cells, *beside_cells(read, h)))
    taps = sum(take.taps for take in read.takes)
    title = f"{read.stage.label[:1].upper()}{read.stage.label[1:]}: {taps} taps"
    return Table(
        title,
        ("tone, Hz", "Q", "level", "computed, Hz", "its Q", "heard against computed", "what it is"),
        tuple(rows),
        about(read, held),
    )


def beside_cells(read: StageRead, h: Heard) -> tuple[str, str, str, str]:
    """Computed frequency, Q, difference, and in words what the tone is."""
    if h.kind != MODE:
        return UNKNOWN, UNKNOWN, UNKNOWN, f"{h.kind}: {h.why}"
    if h.partner is None:
        return UNKNOWN, UNKNOWN, UNKNOWN, "no partner" if read.computed else ""
    c = read.computed[h.partner]
    quality = UNKNOWN if c.loss_factor is None else f"{1 / c.loss_factor:.0f}"
    return f"{c.frequency:.1f}", quality, percent_change(h.pole.frequency / c.frequency), c.moves


def frequency_words(f: float, uncertainty: float) -> str:
    """'98.03 ± 0.02', no finer than a hundredth."""
    digits = 2 if uncertainty < 0.1 else 1
    return f"{f:.{digits}f} ± {max(uncertainty, 10.0**-digits):.{digits}f}"


def about(read: StageRead, held: str) -> str:
    """How a stage is computed, or why it is not."""
    if not read.stage.computed:
        return f"Nothing is computed for this stage: {read.stage.instead}."
    how = f", {HOLD[held]}" if read.name in ("closed-box", "strung") else ""
    return f"Computed {read.stage.computed}{how}."


def unheard_words(read: StageRead) -> str:
    """The computed modes that no tone is paired with, up to the highest tone."""
    if not read.modes or not read.computed:
        return ""
    used, top = {h.partner for h in read.heard}, read.modes[-1].pole.frequency
    alone = [f"{c.frequency:.0f}" for k, c in enumerate(read.computed) if k not in used and c.frequency < top]
    return f"Computed but not heard up to there: {', '.join(alone)} Hz." if alone else ""


def air_words(study: Tapped) -> str:
    """Temperature and humidity, or that they are wanted."""
    if study.temperature is None or study.humidity is None:
        return "Temperature and humidity were not given (--temperature-c, --humidity-percent): write them down, wood and air change with both."
    return f"Taken at {study.temperature:g} °C and {study.humidity:g} % relative humidity."


def sheet_lines(study: Tapped) -> str:
    """Lines for the table [measured] of the build sheet, with uncertainties and Q as comments."""
    lines = []
    for read in study.stages:
        if read.stage.key is None or not read.modes:
            what = "no sure tone" if read.stage.key else "the sheet has no key for it"
            lines.append(f"# {read.stage.label}: {what}")
            continue
        tones = ", ".join(f"{h.pole.frequency:.2f}" for h in read.modes)
        worst = max(h.pole.frequency_uncertainty for h in read.modes)
        qs = ", ".join(f"{h.pole.quality:.0f}" for h in read.modes)
        lines.append(f"{read.stage.key} = [{tones}]  # ± {max(worst, 0.01):.2f} Hz at most; Q {qs}")
        if read.name == "closed-box":
            lines.append(f'closed_box_held = "{study.held}"')
    return "\n".join(lines)
