"""Pictures of the body with its air: where the power goes, overlays of the builds, some of its modes."""

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch

from meshes.coupled_model import CoupledModel
from meshes.supports import FREE
from studies.common.groups import IN_RIM
from studies.common.words import shortened
from studies.drawing.mode_names import names_with_air
from studies.drawing.picture import PNG
from studies.drawing.scales import HERTZ
from studies.drawing.sheet import lettering, save_with_caption, sheet
from studies.rim.air_modes import WIDTH, boards_and_air, drawn_modes, mode_figure
from studies.rim.result import SUPPORT_CONDITIONS, AirStudy, InAir, Result
from studies.solved.power import Driven

# from below: heat in the rim (blues), in other wood (browns), in the air (greys), then what leaves the body; lighter and
# darker by turns, so that neighbours differ in a grey copy too
LOOKS = {
    "sides": ("#0b2a55", ""), "linings": ("#5f8fc4", ""), "joints": ("#27518a", ""), "blocks": ("#a9c8e8", ""),
    "back": ("#8a5a2b", ""), "top": ("#e7cfa0", ""), "braces": ("#b98746", ""), "bridge": ("#f4e6c8", ""),
    "neck": ("#a3835c", ""), "air": ("#d9d9d9", ""), "opening": ("#9a9a9a", ""), "supports": ("#ececec", "////"),
    "radiation": ("#ffffff", ""),
}  # fmt: skip
WORDS = {
    "radiation": "goes out as sound", "supports": "into what holds the body", "air": "air inside",
    "opening": "air in the soundhole", "sides": "rim: sides", "linings": "rim: linings", "joints": "rim: glue joints", "blocks": "rim: blocks",
}  # fmt: skip
STROKES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)), "-", (0, (4, 1, 1, 1, 1, 1)), (0, (1, 1)))
INK = ("0", "0.25", "0.25", "0.25", "0.6", "0.5", "0.5")
DRAWN = 6  # modes with their air


def draw(study: AirStudy, folder: Path, say: Callable[[str], None], drawn: dict[str, list[Path]]) -> None:
    """Draw the study's pictures as PNG, with captions beside them.

    drawn: {kind: [paths]}, to be filled while drawing: a fault on the way leaves what was drawn before it.
    """
    draw_level(study.fine, study.base, study.body.name, study.count, folder, say, drawn)


def draw_level(
    level: InAir, base: CoupledModel, name: str, count: int, folder: Path, say: Callable[[str], None],
    drawn: dict[str, list[Path]], formats: Sequence[str] = PNG,
) -> None:  # fmt: skip
    """Draw what a InAir's builds do with the power, and modes of the first one, `base`, with their air; name: of the instrument."""
    drawn |= {"power": [], "overlay": [], "modes": []}
    for how in SUPPORT_CONDITIONS:
        say(f"where the power goes, {how}")
        stem = folder / f"power-{how.replace(' ', '-')}"
        rows = [row for (_, held), row in level.results.items() if held == how]
        drawn["power"] += save_with_caption(power_figure(rows, how), stem, power_words(name, level, how), formats)[:1]
        stem = folder / f"overlay-{how.replace(' ', '-')}"
        drawn["overlay"] += save_with_caption(overlay_figure(rows, how), stem, overlay_words(name, how), formats)[:1]
    boards = boards_and_air(base)
    result = level.results["sheet", FREE]
    moves = names_with_air(base, result.modes, result.motion, count)
    for number in drawn_modes(result, count)[:DRAWN]:
        say(f"mode {number + 1} with its air")
        figure, caption = mode_figure(boards, result, number, moves[number])
        stem = folder / f"air-mode-{number + 1:02d}"
        drawn["modes"] += save_with_caption(figure, stem, f"{name}, {caption}", formats)[:1]


# --- where the power goes ---


def power_figure(rows: Sequence[Result], how: str) -> Figure:
    """Stacked shares of the input power against frequency, one panel for each build (Result)."""
    columns = 2 if len(rows) > 1 else 1
    lines = -(-len(rows) // columns)
    page = sheet(WIDTH, 12 + 52 * lines + 12)
    for k, row in enumerate(rows):
        ax = _axes(page, k % columns, columns, 12 + 52 * (k // columns), 40)
        stack(ax, row.driven)
        ax.set_title(shortened(row.build.label, 58), fontsize=7.5, loc="left", family=lettering(), pad=3)
        ax.set_ylabel("of the power put in" if k % columns == 0 else "", fontsize=7, family=lettering())
    title = f"Where the power put in at the saddle goes, with air, {how}"
    page.words(0.02 * WIDTH, page.height - 5, title, 9, "0")
    swatches: list[Artist] = [
        Swatch(facecolor=c, hatch=h, edgecolor="0", lw=0.4, label=WORDS.get(g, g)) for g, (c, h) in LOOKS.items()
    ]
    swatches.insert(len(IN_RIM), Line2D([], [], color="0", lw=1.6, label="all below: heat in the rim"))
    page.figure.legend(
        handles=swatches[::-1], loc="lower center", ncols=5, frameon=False, fontsize=7, handlelength=2.0, handleheight=1.2,
        bbox_to_anchor=(0.5, 0.5 / page.height), columnspacing=1.4, labelspacing=0.35,
    )  # fmt: skip
    return page.figure


def stack(ax: Axes, driven: Driven) -> None:
    """One panel: shares from 0 to 1 over a logarithmic frequency axis; white with a word where the modes do not reach."""
    f, known = driven.frequency, driven.frequency <= driven.valid_to
    base = np.zeros(known.sum())
    for group, (color, hatch) in LOOKS.items():
        upper = base + driven.share[group][known]
        ax.fill_between(f[known], base, upper, facecolor=color, hatch=hatch, edgecolor="0", linewidth=0.25)
        base = upper
        if group == IN_RIM[-1]:
            ax.plot(f[known], upper, color="0", lw=1.2, zorder=3)
    _log_axis(ax, f)
    ax.set_ylim(0, 1)
    ax.set_yticks([0, 0.5, 1], ["0", "50 %", "100 %"])
    _beyond(ax, driven)


# --- overlays ---


def overlay_figure(rows: Sequence[Result], how: str) -> Figure:
    """Bridge mobility and radiation efficiency of all builds, one stroke each."""
    page = sheet(WIDTH, 136.0 + 4.0 * -(-len(rows) // 3))  # a line of the legend is some 4 mm
    curves = (
        ("bridge mobility |v/F|, dB re 1 s/kg", lambda d: 20 * np.log10(np.abs(d.mobility))),
        ("radiation efficiency, dB", lambda d: 10 * np.log10(np.maximum(d.efficiency, 1e-9))),
    )
    for k, (words, value) in enumerate(curves):
        ax = _axes(page, 0, 1, 12 + 62 * k, 50)
        for row, stroke, ink in zip(rows, STROKES, INK):
            known = row.driven.frequency <= row.driven.valid_to
            label, width = shortened(row.build.label.split(":")[0], 44), 1.3 if row.build.is_base else 0.8
            f, v = row.driven.frequency[known], value(row.driven)[known]
            ax.plot(f, v, color=ink, ls=stroke, lw=width, label=label)
        _log_axis(ax, rows[0].driven.frequency)
        ax.set_ylabel(words, fontsize=7, family=lettering())
        ax.grid(True, lw=0.3, color="0.85")
        _beyond(ax, rows[0].driven)
    page.words(0.02 * WIDTH, page.height - 5, f"Builds overlaid, with air, {how}", 9, "0")
    page.figure.legend(
        *ax.get_legend_handles_labels(), loc="lower center", ncols=3, frameon=False, fontsize=6.5,
        bbox_to_anchor=(0.5, 0.005), handlelength=4,
    )  # fmt: skip
    return page.figure


def _axes(page, column, columns, down, tall):
    wide = (WIDTH - 8) / columns - 12
    ax = page.axes(15 + column * (wide + 12), page.height - down - tall, wide, tall)
    ax.tick_params(labelsize=6.5, length=2, width=0.4)
    for side in ax.spines.values():
        side.set_linewidth(0.4)
    return ax


def _log_axis(ax, frequency):
    ax.set_xscale("log")
    ax.set_xlim(frequency[0], frequency[-1])
    ax.set_xticks(HERTZ, [str(t) for t in HERTZ])
    ax.minorticks_off()
    ax.set_xlabel("Hz", fontsize=7, labelpad=0)


def _beyond(ax, driven):
    if driven.valid_to < driven.frequency[-1]:
        ax.axvspan(driven.valid_to, driven.frequency[-1], color="0.96", zorder=0)
        middle = np.sqrt(driven.valid_to * driven.frequency[-1]), np.mean(ax.get_ylim())
        ax.text(*middle, "not answered for", size=6, rotation=90, ha="center", va="center", color="0.4")


# --- words ---


def power_words(name: str, level: InAir, how: str) -> str:
    return (
        f"{name}: shares of the power that a force out of the top at the saddle's middle puts in, {how}, with air "
        "and radiation, without strings. From below: heat in the rim (sides, linings, joints, blocks), heat in the other parts "
        f"and in the air, what the supports take up, sound. Mesh {1e3 * level.size:.0f} mm; the mesh error is in the tables. "
        "Computed with Rimwork."
    )


def overlay_words(name: str, how: str) -> str:
    return (
        f"{name}: bridge mobility at the saddle's middle and radiation efficiency of the whole outer surface, {how}, "
        "with air and radiation, without strings. Computed with Rimwork."
    )
