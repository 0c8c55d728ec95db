"""From the tap tones of a free rectangular plate to E_L, E_R, G_LR and the loss factors of its wood.

The three tones that depend on one constant each, nearly: 'along' (2, 0) bends the length, 'across' (0, 2) the width,
'twist' (1, 1). Newton's method on the shear-flexible free plate, so transverse shear is taken out of the result and
nothing must be added to E_L. nu_LR, G_LT/E_L and G_RT/E_L are taken from a reference wood: assumed, not measured.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fem.free_plate import PlateModes, plate_modes, stiffness_numbers
from fem.materials import Wood, lookup, plane_stress_stiffness

TONES = {"along": (2, 0), "across": (0, 2), "twist": (1, 1)}
SOUGHT = ("E_L", "E_R", "G_LR")  # each ruled by the tone at the same place of TONES
LOSSES = ("loss_L", "loss_R", "loss_G")
NU_UNCERTAINTY = 0.05  # standard uncertainty of the assumed nu_LR: spread of the handbook's woods, .29-.50
SHEAR_UNCERTAINTY = 0.3  # of the logarithm of the assumed G_LT/E_L and G_RT/E_L: as wide as their spread within spruces
COMPUTED = 24  # modes, enough to hold the tone across of a narrow plate
RATIO_UNCERTAINTY = 0.3  # of the logarithm of a ratio E_R/E_L or G_LR/E_L that no tone has measured


@dataclass(frozen=True)
class ReadingErrors:
    """Standard uncertainties of what the maker reads off; SI."""

    length: float = 0.0005  # m
    width: float = 0.0005  # m
    thickness: float = 0.00005  # m, of the mean over the plate
    mass: float = 0.0005  # kg
    frequency: float = 0.5  # Hz


@dataclass(frozen=True)
class PlateFit:
    """Result of fit_plate; {constant: value} in SI, standard uncertainties in the same units."""

    wood: Wood
    fitted: tuple[str, ...]  # constants that a tone has measured; the others of SOUGHT are assumed
    uncertainty: dict[str, float]  # of E_L, E_R, G_LR, density, and of the loss factors that were measured
    measured: dict[str, float]  # {tone: Hz}
    residual: dict[str, float]  # {tone: computed/measured - 1}
    tap_formula: dict[str, float]  # {constant: Pa} of the one-line tap-tone formulas, for comparison
    modes: PlateModes
    assumed: dict[str, str]  # {constant: value and where it comes from}
    warnings: tuple[str, ...] = field(default=())


def fit_plate(
    length: float,
    width: float,
    thickness: float,
    mass: float,
    peaks: Mapping[str, float],
    reference: Wood,
    errors: ReadingErrors | None = None,
    losses: Mapping[str, tuple[float, float]] | None = None,
) -> PlateFit:
    """PlateFit of a plate: lengths [m] (length along the grain), mass [kg], peaks {tone: Hz} of two or three TONES.

    reference: the Wood that lends what is not measured. losses: {tone: (loss factor, standard uncertainty)} from decays.
    Raises ValueError for impossible sizes or tones, and when the fit does not settle.
    """
    errors = errors or ReadingErrors()
    check_plate(length, width, thickness, mass, peaks)
    tones = [tone for tone in TONES if tone in peaks]
    size = np.array([length, width, thickness, mass])
    target = np.log([peaks[tone] for tone in tones])
    wood, modes = fit_newton(size, tones, target, reference)
    computed = _log_frequency(modes, tones)
    fitted = tuple(SOUGHT[list(TONES).index(tone)] for tone in tones)
    uncertainty = _uncertainty(size, tones, peaks, wood, reference, modes, errors)
    wood, loss_uncertainty, notes = _losses(wood, modes, losses or {}, reference)
    assumed = _assumed(wood, fitted, reference, loss_uncertainty)
    measured = {key: f"measured: tap tones of a plate, fit with {', '.join(tones)}" for key in (*fitted, "density")}
    measured |= {key: f"measured: decay of {', '.join(losses or {})}" for key in loss_uncertainty}
    return PlateFit(
        wood=replace(wood, sources={key: f"estimated: {text}" for key, text in assumed.items()} | measured),
        fitted=fitted,
        uncertainty=uncertainty | loss_uncertainty,
        measured={tone: peaks[tone] for tone in tones},
        residual=dict(zip(tones, np.expm1(computed - target).tolist(), strict=True)),
        tap_formula=tap_formulas(length, width, thickness, mass, peaks, reference),
        modes=modes,
        assumed=assumed,
        warnings=(*_warnings(modes, tones, wood), *notes),
    )


def tap_formulas(
    length: float, width: float, thickness: float, mass: float, peaks: Mapping[str, float], wood: Wood
) -> dict[str, float]:
    """{constant: Pa} by the one-line formulas: beam shapes, one term for twist, no shear (Caldersmith's form).

    E = .961 (1 - nu_LR nu_RL) rho f^2 l^4/h^2 for bending, G = .822 rho f^2 a^2 b^2/h^2 for twist: a Rayleigh bound
    with one term, so G comes out 5-10 % low.
    """
    rho = mass / (length * width * thickness)
    stiff = 1 - wood.nu_LR**2 * wood.E_R / wood.E_L
    formula = {
        "along": ("E_L", 0.961 * stiff * length**4), "across": ("E_R", 0.961 * stiff * width**4),
        "twist": ("G_LR", 0.822 * length**2 * width**2),
    }  # fmt: skip
    return {formula[tone][0]: formula[tone][1] * rho * f**2 / thickness**2 for tone, f in peaks.items()}


def nearest_wood(density: float, woods: Mapping[str, Wood], E_L: float | None = None) -> str:
    """Name of the wood of {name: Wood} nearest in density, and in E_L if known (logarithms, equal weights)."""

    def distance(name: str) -> float:
        wood = woods[name]
        along = np.log(wood.E_L / E_L) if E_L else 0.0
        return np.log(wood.density / density) ** 2 + along**2

    return min(woods, key=distance)


SLIMMEST = 20.0  # of the sides' ratio; at 27 a strip .1 mm thick leaves no figures


def check_plate(
    length: float, width: float, thickness: float, mass: float, peaks: Mapping[str, float], fewest: int = 2
) -> None:
    """Raises ValueError for sizes, weight or tones that no thin wooden plate has; SI."""
    for what, value in {"length": length, "width": width, "thickness": thickness, "mass": mass}.items():
        if not (np.isfinite(value) and value > 0):
            raise ValueError(f"{what} = {value}; expected a positive number")
    longer, shorter = max(length, width), min(length, width)
    if longer > SLIMMEST * shorter:
        raise ValueError(
            f"a plate {length * 1e3:g} x {width * 1e3:g} mm is a strip; expected sides that differ by no more than {SLIMMEST:g} times: "
            "a strip's tones tell its stiffness along the grain alone"
        )
    if thickness > shorter / 15:
        raise ValueError(
            f"a plate {length * 1e3:g} x {width * 1e3:g} mm and {thickness * 1e3:g} mm thick is no thin plate; "
            "expected a thickness below a fifteenth of the shorter side"
        )
    density = mass / (length * width * thickness)
    if not 80 < density < 1500:
        raise ValueError(
            f"weight and sizes give {density:.0f} kg/m3; wood lies between 80 and 1500: "
            f"is the thickness ({thickness * 1e3:g} mm) or the weight ({mass * 1e3:g} g) mistyped?"
        )
    for tone, f in peaks.items():
        lookup(tone, TONES, "tone")
        if not (np.isfinite(f) and f > 0):
            raise ValueError(f"tone '{tone}' = {f} Hz; expected a positive number")
    if len(peaks) < fewest:
        raise ValueError(f"tones given: {', '.join(peaks) or 'none'}; expected at least two of {', '.join(TONES)}")


def _trial(logs: np.ndarray, size: np.ndarray, reference: Wood) -> Wood:
    """Wood with exp(logs) = E_L, E_R, G_LR, the density of the plate, and the rest from the reference."""
    E_L, E_R, G_LR = (float(x) for x in np.exp(logs))
    shear = {key: getattr(reference, key) * E_L / reference.E_L for key in ("G_LT", "G_RT")}
    if reference.E_T:
        shear["E_T"] = reference.E_T * E_L / reference.E_L
    density = float(size[3] / size[:3].prod())
    return replace(reference, name="measured_plate", E_L=E_L, E_R=E_R, G_LR=G_LR, density=density, sources={}, **shear)


def _log_frequency(modes: PlateModes, tones: Sequence[str]) -> np.ndarray:
    return np.log([modes.frequency[modes.number(TONES[tone])] for tone in tones])


def _sensitivity(wood: Wood, modes: PlateModes, tones: Sequence[str]) -> np.ndarray:
    """(tones, 3): d ln f / d ln (E_L, E_R, G_LR), G_LT and G_RT following E_L; Hellmann-Feynman, exact but for the
    edge layer in the basis. Modal mass is 1, so energy @ stiffness = omega^2."""
    at, logs, step = stiffness_numbers(wood), np.log([wood.E_L, wood.E_R, wood.G_LR]), 1e-4
    size = np.array([1, 1, 1, wood.density])
    slope = [(stiffness_numbers(_trial(logs + step * e, size, wood)) - at) / step for e in np.eye(3)]
    energy = np.array([modes.energy[modes.number(TONES[tone])] for tone in tones])
    return 0.5 * energy @ np.transpose(slope) / (energy @ at)[:, None]


def fit_newton(size: np.ndarray, tones: Sequence[str], target: np.ndarray, reference: Wood) -> tuple[Wood, PlateModes]:
    """(Wood, PlateModes) whose tones are exp(target); constants without a tone keep their ratio to E_L."""
    logs = np.log([reference.E_L, reference.E_R, reference.G_LR])
    peaks = dict(zip(tones, np.exp(target), strict=True))
    length, width, thickness, mass = size
    first = tap_formulas(length, width, thickness, mass, peaks, reference)
    logs += np.log(first["E_L"] / reference.E_L) if "E_L" in first else np.log(first["E_R"] / reference.E_R)
    for i, key in enumerate(SOUGHT):
        logs[i] = np.log(first[key]) if key in first else logs[i]
    tie = _tie(tones)
    for _ in range(15):
        wood = _trial(logs, size, reference)
        modes = plate_modes(wood, length, width, thickness, COMPUTED)
        error = target - _log_frequency(modes, tones)
        if abs(error).max() < 1e-6:
            return wood, modes
        step = np.linalg.solve(_sensitivity(wood, modes, tones) @ tie, error)
        logs = logs + tie @ np.clip(step, -0.5, 0.5)
    raise ValueError(
        f"no wood has these tones on this plate (largest miss {np.expm1(abs(error).max()):.1%}): are the tones named "
        f"rightly? The tap-tone formulas give {', '.join(f'{k} {v / 1e9:.2g} GPa' for k, v in first.items())}"
    )


def _tie(tones: Sequence[str]) -> np.ndarray:
    """(3, tones): how ln(E_L, E_R, G_LR) move with the free ones; a constant without a tone follows another one."""
    free = [list(TONES).index(tone) for tone in tones]
    leader = free[0]  # E_L if measured, else E_R
    return np.array([[float(i == j or (i not in free and j == leader)) for j in free] for i in range(3)])


def _uncertainty(
    size: np.ndarray,
    tones: Sequence[str],
    peaks: Mapping[str, float],
    wood: Wood,
    reference: Wood,
    modes: PlateModes,
    errors: ReadingErrors,
) -> dict[str, float]:
    """{constant: standard uncertainty} from readings and assumed values, each varied by itself, added in squares."""
    logs = np.log([wood.E_L, wood.E_R, wood.G_LR])
    J = _sensitivity(wood, modes, tones) @ _tie(tones)
    base = _log_frequency(modes, tones)

    def moved(new_size: np.ndarray, lent: Wood) -> np.ndarray:
        length, width, thickness, _ = new_size
        changed = plate_modes(_trial(logs, new_size, lent), length, width, thickness, COMPUTED)
        return _tie(tones) @ -np.linalg.solve(J, _log_frequency(changed, tones) - base)

    readings = (errors.length, errors.width, errors.thickness, errors.mass)
    rows = [moved(size + e * step, reference) for e, step in zip(np.eye(4), readings, strict=True)]
    rows.append(moved(size, replace(reference, nu_LR=reference.nu_LR + NU_UNCERTAINTY)))
    rows += [
        moved(size, replace(reference, **{k: getattr(reference, k) * np.exp(SHEAR_UNCERTAINTY)}))
        for k in ("G_LT", "G_RT")
    ]
    rows += [
        _tie(tones) @ np.linalg.solve(J, e * errors.frequency / peaks[t]) for e, t in zip(np.eye(len(tones)), tones)
    ]
    free = [list(TONES).index(tone) for tone in tones]
    rows += [RATIO_UNCERTAINTY * np.eye(3)[i] for i in range(3) if i not in free]
    relative = np.sqrt((np.array(rows) ** 2).sum(0))
    density = np.sqrt(sum((e / x) ** 2 for e, x in zip(readings, size, strict=True)))
    values = {key: getattr(wood, key) * float(r) for key, r in zip(SOUGHT, relative, strict=True)}
    return values | {"density": wood.density * float(density)}


def loss_shares(wood: Wood, modes: PlateModes, tones: Sequence[str]) -> np.ndarray:
    """(tones, 3): share of the loss factors along, across and in shear in each tone's loss factor.

    Compliance form: bending energy of the stresses along, across and in shear; transverse shear counts with shear. The
    rest up to 1 is the lossless cross part of Poisson's ratio.
    """
    Q = plane_stress_stiffness(wood)
    shares = []
    for tone in tones:
        Q11, Q22, Q12, Q66, G_LT, G_RT = energy = modes.energy[modes.number(TONES[tone])]
        along = (Q[0, 0] ** 2 * Q11 + Q[0, 0] * Q[0, 1] * Q12 + Q[0, 1] ** 2 * Q22) / wood.E_L
        across = (Q[1, 1] ** 2 * Q22 + Q[1, 1] * Q[0, 1] * Q12 + Q[0, 1] ** 2 * Q11) / wood.E_R
        shear = stiffness_numbers(wood)[3:] @ np.array([Q66, G_LT, G_RT])
        shares.append(np.array([along, across, shear]) / (energy @ stiffness_numbers(wood)))
    return np.array(shares)


def _losses(
    wood: Wood, modes: PlateModes, losses: Mapping[str, tuple[float, float]], reference: Wood
) -> tuple[Wood, dict[str, float], tuple[str, ...]]:
    """(Wood with loss factors, {loss: standard uncertainty}, warnings) from the loss factors of the tones."""
    for tone in losses:
        lookup(tone, TONES, "tone")
    tones = [tone for tone in TONES if tone in losses]
    if not tones:
        return wood, {}, ()
    lent = [getattr(reference, key) or 0.0 for key in LOSSES]
    free = [list(TONES).index(tone) for tone in tones]
    shares = loss_shares(wood, modes, tones)
    assumed = [i for i in range(3) if i not in free]
    measured, uncertainty = np.array([losses[tone] for tone in tones]).T
    solve = np.linalg.inv(shares[:, free])
    fitted = solve @ (measured - shares[:, assumed] @ [lent[i] for i in assumed])
    values: dict[str, Any] = dict(zip((LOSSES[i] for i in free), map(float, fitted), strict=True))
    uncertainties = dict(zip(values, map(float, np.sqrt(solve**2 @ uncertainty**2)), strict=True))
    bad = [key for key, value in values.items() if value <= 0]
    notes = [
        f"{key} came out as {values[key]:.4f}: the decays do not fit together; the assumed value is kept" for key in bad
    ]
    for key in bad:
        del values[key], uncertainties[key]
    return replace(wood, **values), uncertainties, tuple(notes)


def _assumed(
    wood: Wood, fitted: Sequence[str], reference: Wood, loss_uncertainty: Mapping[str, float]
) -> dict[str, str]:
    """{constant: value in words} of all that was lent by the reference wood."""
    of = f"of {reference.name}"
    text = {"nu_LR": f"{wood.nu_LR:.3f}, {of} (uncertainty {NU_UNCERTAINTY})"}
    for key in ("G_LT", "G_RT"):
        text[key] = f"{getattr(wood, key) / wood.E_L:.4f} E_L, ratio {of}"
    for key in SOUGHT:
        if key not in fitted:
            text[key] = f"{getattr(wood, key) / 1e9:.3g} GPa, ratio {of}: its tone was not given"
    for key in ("E_T", "nu_LT", "nu_RT", *LOSSES):
        value = getattr(wood, key)
        if value is not None and key not in loss_uncertainty:
            text[key] = f"{value / 1e9:.3g} GPa, ratio {of}" if key == "E_T" else f"{value:.4g}, {of}"
    return text


ACROSS_OVER_ALONG = 0.02, 0.25  # E_R/E_L of woods: common practice, no source


def _warnings(modes: PlateModes, tones: Sequence[str], wood: Wood) -> tuple[str, ...]:
    """Warnings: tones whose shape is a mixture, and constants outside what wood is known to have."""
    notes = [
        f"tone '{tone}' is a mixture of shapes ({modes.purity[modes.number(TONES[tone])]:.0%} pure): bending along "
        "and across have nearly the same frequency; cut the plate to another length for a surer result"
        for tone in tones
        if modes.purity[modes.number(TONES[tone])] < 0.9
    ]
    f = dict(zip(tones, _log_frequency(modes, tones), strict=True))
    if {"along", "across"} <= set(f) and abs(f["along"] - f["across"]) < 0.25:
        notes.append("the tones along and across lie near each other: make sure by their nodal lines which is which")
    ratio, (least, most) = wood.E_R / wood.E_L, ACROSS_OVER_ALONG
    if {"along", "across"} <= set(f) and not least < ratio < most:
        exchanged = ratio * float(np.exp(4 * (f["along"] - f["across"])))
        if least < exchanged < most:
            notes.append(
                f"the tones along and across look exchanged: as they stand, {wood.E_L / 1e9:.3g} GPa along and "
                f"{wood.E_R / 1e9:.2g} across, E_R/E_L = {ratio:.3g}; the other way round it would be {exchanged:.2g}, as wood's is"
            )
    for what, value, low, high in (
        ("E_L", wood.E_L / 1e9, 4, 25),
        ("E_R/E_L", ratio, least, most),
        ("G_LR/E_L", wood.G_LR / wood.E_L, 0.03, 0.25),
    ):
        if not low < value < high:
            notes.append(f"{what} = {value:.3g} lies outside {low}-{high}, unusual for wood: check sizes and tones")
    return tuple(notes)
