"""What wood is this plate made of? From sizes, weight and two or three tap tones to a wood entry for a build sheet.

Tones are typed, or picked from recordings (WAV). Prints the constants with their uncertainty, the values assumed, the
computed beside the measured tones, and the one-line tap formulas beside the fit; writes a [wood.NAME] table and a
picture of the computed nodal patterns.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fem.free_plate import PlateModes, on_grid
from fem.materials import Wood
from fem.plate_fit import TONES, PlateFit, ReadingErrors, check_plate, fit_plate, nearest_wood, tap_formulas
from fem.plate_names import name_tones
from fem.recordings import read_recording
from fem.tap_tones import Tone, find_tones
from fem.woods import LOSSES, RATIOS, find, library
from meshes.whole_file import whole_file, write_whole
from studies.common.words import UNKNOWN, percent_change

if TYPE_CHECKING:
    from meshes.figures import Figure

TYPED_ERROR_HZ = 0.5
PICKED_ERROR_HZ = 0.1  # of a tone from a recording, at least
NAME = "measured_plate"
Size = tuple[float, float, float, float]  # length, width, thickness [m], mass [kg]
SHOWN = 12  # modes in table and picture, more if a fitted tone lies higher
SHEET_KEYS = {  # key of the build sheet -> (constant, unit, digits)
    "E_along_GPa": ("E_L", 1e9, 3), "E_across_GPa": ("E_R", 1e9, 4), "nu_along_across": ("nu_LR", 1, 3),
    "G_in_plane_GPa": ("G_LR", 1e9, 4), "G_along_normal_GPa": ("G_LT", 1e9, 4), "G_across_normal_GPa": ("G_RT", 1e9, 4),
    "density_kg_m3": ("density", 1, 1), "loss_along": ("loss_L", 1, 5), "loss_across": ("loss_R", 1, 5),
    "loss_shear": ("loss_G", 1, 5),
}  # fmt: skip


@dataclass(frozen=True)
class PlateStudy:
    """The fit, the tones picked from recordings, and what to show the maker."""

    fit: PlateFit
    reference: str  # wood that lent what was not measured
    tones: tuple[Tone, ...]  # picked from recordings
    other_hz: tuple[float, ...]  # measured tones that were not fitted
    warnings: tuple[str, ...]
    text: str
    toml: str
    files: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Board:
    """A free rectangular plate as it was measured; length along the grain."""

    length_mm: float
    width_mm: float
    thickness_mm: float
    mass_g: float
    along_hz: float | None = None  # tone that bends the length
    across_hz: float | None = None  # tone that bends the width
    twist_hz: float | None = None
    other_hz: tuple[float, ...] = ()  # further tones, to compare
    recordings: tuple[str | Path, ...] = ()  # WAV files of taps; a typed tone picks the nearest recorded one

    @property
    def size(self) -> Size:
        """Length, width, thickness [m], mass [kg]."""
        return 1e-3 * self.length_mm, 1e-3 * self.width_mm, 1e-3 * self.thickness_mm, 1e-3 * self.mass_g

    @property
    def typed(self) -> dict[str, float]:
        """{tone of TONES: Hz}."""
        given = zip(TONES, (self.along_hz, self.across_hz, self.twist_hz), strict=True)
        return {tone: f for tone, f in given if f is not None}


def fit_board(board: Board, wood: str | None = None, name: str = NAME, out: str | Path | None = None) -> PlateStudy:
    """PlateStudy of a Board. wood: of the library, lends what is not measured (default: the nearest). name: of the new
    wood. out: folder for files; none are written without it. ValueError for anything the maker has to mend.
    """
    if not re.fullmatch(r"[A-Za-z0-9_-]+", name):
        raise ValueError(f"name '{name}': expected letters, digits, '_' and '-' only, as in 'my_spruce_3'")
    size, typed = board.size, board.typed
    check_plate(*size, typed, fewest=0 if board.recordings else 2)
    tones, notes = _listen(board.recordings)
    reference = find(wood) if wood else _reference(size, typed)
    peaks, naming = _peaks(typed, tones, size, reference)
    reference = reference if wood else _reference(size, peaks)
    picked = {tone: t for tone, f in peaks.items() for t in tones if t.frequency == f}
    decays = {
        tone: (t.loss, max(t.loss_uncertainty or 0.0, 0.01 * t.loss))
        for tone, t in picked.items()
        if t.loss is not None
    }
    errors = ReadingErrors(frequency=PICKED_ERROR_HZ if picked and len(picked) == len(peaks) else TYPED_ERROR_HZ)
    fit = fit_plate(*size, peaks, reference, errors, decays)
    fit = replace(fit, wood=replace(fit.wood, name=name))
    others = tuple(sorted([*map(float, board.other_hz), *(t.frequency for t in tones if t not in picked.values())]))
    warnings = (*notes, *naming, *fit.warnings, *(f"{tone}: {n}" for tone, t in picked.items() for n in t.notes))
    study = PlateStudy(fit, reference.name, tuple(tones), others, warnings, "", wood_entry(fit))
    files = _write(study, Path(out), size) if out else ()
    return replace(study, text=_text(study, size, files), files=files)


def _listen(recordings: Sequence[str | Path]) -> tuple[list[Tone], list[str]]:
    """([Tone], notes) of all recordings together; of tones within 1 % the better read one stays."""
    tones: list[Tone] = []
    notes: list[str] = []
    for path in recordings:
        recording = read_recording(path)
        try:
            found, said = find_tones(recording)
        except ValueError as problem:
            raise ValueError(f"recording '{path}': {problem}") from None
        notes += [f"{Path(path).name}: {note}" for note in said]
        for tone in found:
            same = [t for t in tones if abs(t.frequency / tone.frequency - 1) < 0.01]
            better = min([*same, tone], key=lambda t: (t.loss is None, -t.level, t.frequency_uncertainty))
            tones = [t for t in tones if t not in same] + [better]
    return sorted(tones, key=lambda t: t.frequency), notes


def _reference(size: Size, typed: Mapping[str, float]) -> Wood:
    """The solid wood with measured ratios that is nearest in density, and in E_L if the tone along is typed."""
    woods = {
        name: w for name, w in library().items()
        if "plywood" not in name and not any(w.sources[key].startswith("estimated") for key in RATIOS)
    }  # fmt: skip
    density = size[3] / (size[0] * size[1] * size[2])
    along = {"along": typed["along"]} if "along" in typed else {}
    guess = tap_formulas(*size, along, woods["sitka_spruce"]).get("E_L") if along else None
    return woods[nearest_wood(density, woods, guess)]


def _peaks(
    typed: dict[str, float], tones: list[Tone], size: Size, reference: Wood
) -> tuple[dict[str, float], Sequence[str]]:
    """({tone: Hz}, warnings): typed tones moved to the recorded ones nearest, the others named by trial."""
    if not tones:
        return typed, ()
    peaks = {}
    for tone, f in typed.items():
        nearest = min(tones, key=lambda t: abs(t.frequency - f))
        if abs(nearest.frequency / f - 1) > 0.05:
            heard = ", ".join(f"{t.frequency:.1f}" for t in tones)
            raise ValueError(f"tone '{tone}' typed as {f:g} Hz is not in the recordings; heard: {heard} Hz")
        peaks[tone] = nearest.frequency
    if len(peaks) >= 2:
        return peaks, ()
    return name_tones([t.frequency for t in tones], *size, reference, peaks)


def pairs(modes: PlateModes, measured: Mapping[str, float], others: Sequence[float]) -> list[float | None]:
    """[measured Hz or None] beside each computed mode: fitted tones by name, others to the nearest mode within 8 %."""
    beside: list[float | None] = [None] * len(modes.frequency)
    for tone, f in measured.items():
        beside[modes.number(TONES[tone])] = f
    candidates = [(abs(np.log(g / f)), i, f) for f in others for i, g in enumerate(modes.frequency)]
    used = set()
    for distance, i, f in sorted(candidates):
        if distance < 0.08 and beside[i] is None and f not in used:
            beside[i] = f
            used.add(f)
    return beside


def _shown(fit: PlateFit) -> int:
    """How many modes to show."""
    return max(SHOWN, *(1 + fit.modes.number(TONES[tone]) for tone in fit.measured))


def wood_entry(fit: PlateFit) -> str:
    """[wood.NAME] table for a build sheet."""
    lines = [f"[wood.{fit.wood.name}]"]
    for key, (constant, unit, digits) in SHEET_KEYS.items():
        value = getattr(fit.wood, constant)
        if value is None:
            continue
        uncertainty = fit.uncertainty.get(constant)
        note = f"± {uncertainty / unit:.2g}" if uncertainty else ""
        note = f"{note}, assumed" if note and constant in fit.assumed else note or "assumed"
        lines.append(f"{key} = {round(value / unit, digits)}  # {note}")
    tones = ", ".join(f"{tone} {f:.1f} Hz" for tone, f in fit.measured.items())
    return "\n".join([*lines, f'source = "tap tones of a plate ({tones}); assumed: {", ".join(fit.assumed)}"', ""])


def _text(study: PlateStudy, size: Size, files: Sequence[Path]) -> str:
    """All that the maker reads, in plain words."""
    fit, wood = study.fit, study.fit.wood
    length, width, thickness, mass = (1e3 * x for x in size)
    lines = [
        f"Plate {length:g} x {width:g} x {thickness:g} mm, {mass:g} g: "
        f"{wood.density:.0f} ± {fit.uncertainty['density']:.0f} kg/m3",
        "",
        "Stiffness (GPa)         fit        ±      tap formula",
    ]
    words = {"E_L": "along the grain", "E_R": "across the grain", "G_LR": "shear in plane"}
    for key, what in words.items():
        formula = f"{fit.tap_formula[key] / 1e9:10.3f}" if key in fit.tap_formula else "         -"
        mark = "" if key in fit.fitted else "   assumed, its tone was not given"
        lines.append(f"  {what:18s} {getattr(wood, key) / 1e9:8.3f} {fit.uncertainty[key] / 1e9:8.3f} {formula}{mark}")
    lines += ["  (the formulas leave out shear through the plate and the true shape of the twist: G too low)", ""]
    air = "; measured ones hold what air and supports took as well" if any(k in fit.uncertainty for k in LOSSES) else ""
    lines += [f"Loss factors{air}"]
    for key, what in (("loss_L", "along the grain"), ("loss_R", "across the grain"), ("loss_G", "in shear")):
        value, uncertainty = getattr(wood, key), fit.uncertainty.get(key)
        known = f" {uncertainty:8.4f}" if uncertainty else "   assumed"
        shown = "not known" if value is None else f"{value:8.4f}{known}"
        lines.append(f"  {what:18s} {shown}")
    lines += ["", "Tones (Hz)   nodal lines   computed   measured   difference"]
    for i, f in enumerate(pairs(fit.modes, fit.measured, study.other_hz)[: _shown(fit)]):
        g, (p, q) = fit.modes.frequency[i], fit.modes.label[i]
        name = next((tone for tone, label in TONES.items() if f in fit.measured.values() and label == (p, q)), "")
        shown = f"{f:10.1f} {percent_change(g / f):>12}" if f else f"{UNKNOWN:>10}"
        lines.append(f"  {name:10s}   ({p}, {q})     {g:9.1f} {shown}")
    lines += ["", f"Assumed (from {study.reference}):", *(f"  {k}: {v}" for k, v in fit.assumed.items())]
    if study.warnings:
        lines += ["", "Warnings:", *(f"  {w}" for w in study.warnings)]
    lines += ["", "For the build sheet:", "", study.toml.rstrip()]
    return "\n".join([*lines, "", *(f"written: {path}" for path in files)]).rstrip()


def _write(study: PlateStudy, folder: Path, size: Size) -> tuple[Path, Path]:
    """Wood table and picture into a folder; the paths written. ValueError if it cannot be written to."""
    files = (folder / f"{study.fit.wood.name}.toml", folder / f"{study.fit.wood.name}.png")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(files[0], study.toml)
        with whole_file(files[1]) as stream:
            picture(study, size).savefig(stream, dpi=150, format="png")
    except OSError as problem:
        raise ValueError(f"cannot write to '{folder}': {problem.strerror or problem}") from None
    return files


def picture(study: PlateStudy, size: Size) -> "Figure":
    """Figure of the computed nodal patterns with computed and measured frequencies; reads in black and white."""
    from meshes.figures import Figure

    modes, length, width = study.fit.modes, 1e3 * size[0], 1e3 * size[1]
    columns, panel, count = 4, 2.5, _shown(study.fit)
    rows = -(-count // columns)
    height = panel * np.clip(width / length, 0.25, 1.6) + 0.62
    figure = Figure(figsize=(columns * (panel + 0.15), rows * height + 0.75), layout="constrained")
    grid = figure.subplots(rows, columns, squeeze=False)
    beside = pairs(modes, study.fit.measured, study.other_hz)
    for axis in grid.ravel()[count:]:
        axis.set_visible(False)
    for i, axis in zip(range(count), grid.ravel(), strict=False):
        w = on_grid(modes.deflection[i]).T
        extent = (0, length, 0, width)
        axis.contourf(abs(w) / abs(w).max(), levels=np.linspace(0, 1, 9), cmap="Greys", extent=extent, alpha=0.55)
        axis.contour(w, levels=[0], colors="black", linewidths=1.6, extent=extent)
        axis.set(xticks=[], yticks=[], aspect="equal")
        tone = next((t for t, label in TONES.items() if modes.label[i] == label and t in study.fit.measured), None)
        measured = f"measured {beside[i]:.1f} Hz" if beside[i] else "not measured"
        title = f"{modes.label[i]}  {modes.frequency[i]:.1f} Hz" + (f"  '{tone}', fitted" if tone else "")
        axis.set_title(f"{title}\n{measured}", fontsize=8, fontweight="bold" if tone else "normal")
    figure.suptitle(
        f"{study.fit.wood.name}: {length:g} x {width:g} mm free plate, grain from left to right\n"
        "lines: where the plate stands still; dark: where it moves most; (lines across the length, across the width)",
        fontsize=9,
    )
    return figure
