"""Which tone of a tapped plate is which: of the namings along, across, twist, the one that explains the other tones."""

from collections.abc import Mapping, Sequence
from itertools import permutations

import numpy as np

from fem.free_plate import plate_modes
from fem.materials import Wood
from fem.plate_fit import TONES, fit_newton, tap_formulas

TRIED = 8  # namings fitted in full, the most wood-like first
CAP = 0.1  # relative distance beyond which a tone counts as unexplained
PRIOR = 0.01  # weight of unlikeness to the reference wood against the spread of the other tones


def name_tones(
    frequencies: Sequence[float] | np.ndarray,
    length: float,
    width: float,
    thickness: float,
    mass: float,
    reference: Wood,
    known: Mapping[str, float] | None = None,
) -> tuple[dict[str, float], tuple[str, ...]]:
    """({tone: Hz}, warnings) of a free plate whose tones [Hz] are not yet named; sizes in m, mass in kg.

    known {tone: Hz}: tones already named. A naming is judged by how near the fitted plate's modes come to all the other
    tones, and by its likeness to the reference wood. Raises ValueError if no naming looks like wood.
    """
    known = dict(known or {})
    size = (length, width, thickness, mass)
    open_tones = [tone for tone in TONES if tone not in known]
    free = [f for f in frequencies if all(abs(f / k - 1) > 0.005 for k in known.values())]
    namings = [known | dict(zip(open_tones, pick, strict=True)) for pick in permutations(free, len(open_tones))]
    namings = [naming for naming in namings if _unlike(naming, size, reference) < 1.0]
    namings = sorted(namings, key=lambda naming: _unlike(naming, size, reference))[:TRIED]
    ranked = sorted(((_misfit(naming, frequencies, size, reference), i) for i, naming in enumerate(namings)))
    scored = [(score, namings[i]) for score, i in ranked if np.isfinite(score)]
    if not scored:
        raise ValueError(
            f"no naming of the tones {', '.join(f'{f:.1f}' for f in frequencies)} Hz as {', '.join(TONES)} looks like "
            "wood: name the tones yourself, or check sizes and weight"
        )
    best, naming = scored[0]
    notes = [
        f"tones named by the program ({', '.join(f'{t} {f:.1f} Hz' for t, f in naming.items())}): check the picture"
    ]
    if len(scored) > 1 and scored[1][0] < 1.5 * best + 0.002:
        other = ", ".join(f"{t} {f:.1f} Hz" for t, f in scored[1][1].items())
        notes.append(f"another naming fits nearly as well: {other}; find the nodal lines with tea leaves to decide")
    return naming, tuple(notes)


def _unlike(naming: Mapping[str, float], size: tuple[float, float, float, float], reference: Wood) -> float:
    """Mean square logarithm of the constants by formula over those of the reference wood; large is unlike."""
    given = tap_formulas(*size, naming, reference)
    logs = [np.log(given["E_L"] / reference.E_L)]
    logs += [np.log(given[key] / given["E_L"] * reference.E_L / getattr(reference, key)) for key in ("E_R", "G_LR")]
    return float(np.mean(np.square(logs)))


def _misfit(
    naming: Mapping[str, float],
    frequencies: Sequence[float] | np.ndarray,
    size: tuple[float, float, float, float],
    reference: Wood,
) -> float:
    """Mean distance of the other tones to the nearest mode of the fitted plate, plus the prior; inf if no fit."""
    tones = [tone for tone in TONES if tone in naming]
    try:
        wood, _ = fit_newton(np.array(size), tones, np.log([naming[t] for t in tones]), reference)
    except ValueError:
        return np.inf
    modes = plate_modes(wood, *size[:3], count=24).frequency
    others = [f for f in frequencies if f not in naming.values() and f < modes[-1]]
    distance = [min(CAP, abs(np.log(modes / f)).min()) for f in others]
    return float(np.mean(distance or [0.0])) + PRIOR * _unlike(naming, size, reference)
