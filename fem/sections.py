"""Sections of parts: laminates, beams and joints as coefficients f_i of the unit terms K_i, M_i.

K(p) = sum_i f_i(p) K_i, where K_i is made from strains alone (forms.py) and f_i is an entry of the part's own
stiffness: A_ij, B_ij, D_ij of a laminate, EA, EI, GJ of a beam, k of a joint. Losses are further coefficients of the
same terms: g_i = sum of loss factor times the stiffness that stretching along or across the grain, or shear, carries.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from fem.bar_forms import RECTANGLE, SHEAR, Form, moments, torsion
from fem.forms import corner_entries
from fem.materials import Wood, plane_stress_stiffness, transverse_shear_stiffness

RIGID_TRANSLATION = 1e11  # N/m per m of seam: a glue line of .1 mm, 6 mm wide, has 1e11 or so
RIGID_ROTATION = 1e6  # N per rad
ENTRIES = (*(letter + ij for letter in "ABD" for ij in ("11", "12", "22", "66")), "S55", "S44")
TAPER = np.linspace(0.1, 1, 40)  # of the height of a beam, at which its torsion is fitted
TORSION_FIT = np.linalg.pinv(TAPER[:, None] ** [1, 2, 3])


@dataclass(frozen=True)
class Section:
    """Coefficients of the unit terms of one family: 'shell', 'beam' or 'seam' (see forms.py for the kinds)."""

    family: str
    stiffness: dict[str, float]  # {kind: f}
    mass: dict[str, float]  # {kind: f}
    # {'along', 'across', 'shear', 'joint', 'corner': {kind: g}}; None: not known
    losses: dict[str, dict[str, float]] | None


Sections = Mapping[str, Section]  # {region: Section}


@dataclass(frozen=True)
class Layer:
    """One ply: grain along the part's grain, or across it."""

    wood: Wood
    thickness: float  # m
    middle: float = 0.0  # m, from the reference surface along the normal
    across: bool = False


def laminate(layers: Iterable[Layer]) -> Section:
    """Section of a shell from its layers: A, B, D about the reference surface, transverse shear S, mass moments.

    Jones, Mechanics of Composite Materials, ch. 4; N = A eps + B kappa, M = B eps + D kappa.
    """
    layers = list(layers)
    moments = np.array([_moments(layer) for layer in layers]).reshape(-1, 3)  # without layers: everything is zero
    plies = np.array([_ply(layer.wood, layer.across) for layer in layers]).reshape(-1, 4 * 6)
    integrals = (moments.T @ plies).reshape(3, 4, 6)  # of z^0, z^1, z^2 times each of a ply's rows
    in_plane, transverse = integrals[..., :4].swapaxes(0, 1).reshape(4, 12), integrals[0, :, 4:]
    entries = [dict(zip(ENTRIES, row)) for row in np.hstack([in_plane, transverse]).tolist()]
    known = all(layer.wood.losses_known for layer in layers)
    mass = np.array([layer.wood.density for layer in layers]) @ moments
    return Section(
        family="shell",
        stiffness=entries[0],
        mass=dict(zip(("m0", "m1", "m2"), mass.tolist())),
        losses=dict(zip(("along", "across", "shear"), entries[1:])) if known else None,
    )


@lru_cache(maxsize=256)
def _ply(wood: Wood, crosswise: bool) -> np.ndarray:
    """Q11, Q12, Q22, Q66 and the shear stiffnesses along and across, then what of them dissipates, by loss factor (4, 6).

    The energy sigma' S sigma / 2 is split by the diagonal of the compliance S; q q' / E_L with q the first row of Q is
    what stretching along the grain carries. The Poisson part is left over and is taken as lossless, unless the material
    has one loss factor for everything: then all that it stores dissipates alike. Rows: all, along, across, shear.
    crosswise: the ply's L lies along the part's axis 2.
    """
    (Q11, Q12, _), (_, Q22, _), (_, _, Q66) = plane_stress_stiffness(wood).tolist()
    stiffness = np.array([Q11, Q12, Q22, Q66, *np.diag(transverse_shear_stiffness(wood))])
    along = np.array([Q11 * Q11, Q11 * Q12, Q12 * Q12, 0, 0, 0]) / wood.E_L
    across = np.array([Q12 * Q12, Q12 * Q22, Q22 * Q22, 0, 0, 0]) / wood.E_R
    shear = stiffness * [0, 0, 0, 1, 1, 1]
    if wood.loss_L == wood.loss_R == wood.loss_G:
        poisson = stiffness - along - across - shear
        along, across = along + poisson / 2, across + poisson / 2
    losses = along * (wood.loss_L or 0), across * (wood.loss_R or 0), shear * (wood.loss_G or 0)
    rows = np.array([stiffness, *losses])
    return rows[:, [2, 1, 0, 3, 5, 4]] if crosswise else rows


def _moments(layer: Layer) -> list[float]:
    """Integrals of 1, z, z^2 through the layer [m, m2, m3]."""
    top, bottom = layer.middle + layer.thickness / 2, layer.middle - layer.thickness / 2
    return [(top**k - bottom**k) / k for k in (1, 2, 3)]


def torsion_constant(width: float | np.ndarray, height: float | np.ndarray) -> np.ndarray:
    """Saint-Venant's J [m4] of a rectangle. Roark's Formulas for Stress and Strain, table of torsion constants."""
    a, b = np.maximum(width, height), np.minimum(width, height)
    return a * b**3 * (1 / 3 - 0.21 * b / a * (1 - (b / a) ** 4 / 12))


def beam(wood: Wood, width: float, height: float, lift: float = 0.0, form: Form = RECTANGLE) -> Section:
    """Section of a beam whose underside lies `lift` from its line along `up`; a rectangle's height tapers as tau.

    With z from lift to lift + tau height, E int z^2 dA = E w (l^2 h tau + l h^2 tau^2 + h^3 tau^3 / 3): the powers of
    tau are separate kinds, so a tapered beam stays affine in its dimensions. J(tau h) is fitted by a cubic (2 % of J).
    Other forms have columns of their own in place of the powers; the line on the mesh must have the same form.
    """
    if form.kind != "rectangular":
        return _carved(wood, width, height, lift, form)
    w, h, e, k = width, height, lift, 5 / 6
    area = {1: w * h}
    first = {1: w * h * e, 2: w * h**2 / 2}
    second = {1: w * h * e**2, 2: w * h**2 * e, 3: w * h**3 / 3}
    fit = (TORSION_FIT @ torsion_constant(w, TAPER * h)).tolist()
    along = (
        {f"EA{p}": wood.E_L * a for p, a in area.items()}
        | {f"ES{p}": wood.E_L * a for p, a in first.items()}
        | {f"EI{p}": wood.E_L * a for p, a in second.items()}
        | {"EIb1": wood.E_L * h * w**3 / 12}
    )
    G_up, G_side = _beam_shear(wood)
    lever = second | {3: w * h**3 / 4}  # A times the squared distance of the middle: the shear force acts there
    shear = (
        {f"GAa{p}": k * G_side * a for p, a in area.items()}
        | {f"GS{p}": k * G_side * a for p, a in first.items()}
        | {f"GJ{p}": k * G_side * lever[p] + (G_side * G_up) ** 0.5 * fit[p - 1] for p in lever}
        | {"GAb1": k * G_up * w * h}
    )
    mass = (
        {f"m{p}": wood.density * a for p, a in area.items()}
        | {f"mS{p}": wood.density * a for p, a in first.items()}
        | {f"mI{p}": wood.density * a for p, a in second.items()}
        | {"mIb1": wood.density * h * w**3 / 12}
    )
    return _of_beam(wood, along, shear, mass)


def _of_beam(wood: Wood, along: dict[str, float], shear: dict[str, float], mass: dict[str, float]) -> Section:
    losses = None
    if wood.loss_L is not None and wood.loss_G is not None and wood.losses_known:
        losses = {
            "along": {kind: wood.loss_L * f for kind, f in along.items()},
            "shear": {kind: wood.loss_G * f for kind, f in shear.items()},
        }
    return Section("beam", along | shear, mass, losses)


def _carved(wood: Wood, width: float, height: float, lift: float, form: Form) -> Section:
    """As beam(), for a form with a cap: moments at full height, about the underside, then about the line."""
    w, h, e, k = width, height, lift, SHEAR
    A, S, I_0, I_b = (m * unit for m, unit in zip(moments(form, 1.0), (w * h, w * h**2, w * h**3, h * w**3 / 12)))
    J = float(torsion(form, w, h))
    first = {1: A * e, 2: S}
    second = {1: A * e**2, 2: 2 * S * e, 3: I_0}
    G_up, G_side = _beam_shear(wood)
    along = {"EA1": A, "EIb1": I_b} | {f"ES{p}": a for p, a in first.items()} | {f"EI{p}": a for p, a in second.items()}
    shear = (
        {"GAa1": k * G_side * A, "GAb1": k * G_up * A}
        | {f"GS{p}": k * G_side * a for p, a in first.items()}
        | {"GJ1": k * G_side * second[1], "GJ2": k * G_side * second[2]}
        | {"GJ4": k * G_side * S**2 / A, "GJ5": (G_side * G_up) ** 0.5 * J}
    )
    mass = {"m1": A, "mIb1": I_b} | {f"mS{p}": a for p, a in first.items()} | {f"mI{p}": a for p, a in second.items()}
    by = lambda factor, kinds: {kind: float(factor * f) for kind, f in kinds.items()}
    return _of_beam(wood, by(wood.E_L, along), by(1.0, shear), by(wood.density, mass))


def _beam_shear(wood: Wood) -> tuple[float, float]:
    """G for shear in the planes of the height and of the width: a quarter-sawn brace stands with R across its width."""
    return wood.G_LT, wood.G_LR


def joint(
    translation: ArrayLike = RIGID_TRANSLATION, rotation: ArrayLike = RIGID_ROTATION, loss: float = 0.0
) -> Section:
    """Section of a seam: N/m per m for the jump along, across and out of the plate; N per rad for the rotations."""
    t, r = np.broadcast_to(translation, 3), np.broadcast_to(rotation, 3)
    stiffness = dict(zip(("kt", "ka", "kb", "ct", "ca", "cb"), map(float, (*t, *r))))
    return Section("interface", stiffness, {}, {"joint": {kind: loss * f for kind, f in stiffness.items()}})


def corner(stiffness: np.ndarray, loss: float | None, channel: str) -> Section:
    """Section of a seam whose jumps along t, a, b and about t are coupled: stiffness (angles, 4, 4) at forms.CORNER_ANGLES.

    N/m2 for displacements, N per rad for the rotation, N/m between. loss: one loss factor for all of it, or None.
    """
    kinds = {kind: float(stiffness[number, i, j]) for kind, _, number, i, j in corner_entries()}
    return Section("interface", kinds, {}, None if loss is None else {channel: {k: loss * f for k, f in kinds.items()}})


def difference(whole: Section, part: Section) -> Section:
    """Section of what `whole` has beyond `part`: a lining from side + lining minus the side alone."""

    def minus(a: Mapping[str, float], b: Mapping[str, float]) -> dict[str, float]:
        return {kind: a.get(kind, 0) - b.get(kind, 0) for kind in {**a, **b}}

    losses = None
    if whole.losses is not None and part.losses is not None:
        losses = {c: minus(whole.losses.get(c, {}), part.losses.get(c, {})) for c in {**whole.losses, **part.losses}}
    return Section(whole.family, minus(whole.stiffness, part.stiffness), minus(whole.mass, part.mass), losses)


def shifted(section: Section, distance: float) -> Section:
    """The same laminate counted from a reference surface that lies `distance` [m] below the old one along the normal.

    z grows by the distance: B' = B + d A, D' = D + 2 d B + d^2 A, and the mass moments likewise.
    """
    d = distance

    def moved(kinds: Mapping[str, float]) -> dict[str, float]:
        new = dict(kinds)
        for name in ("11", "12", "22", "66"):
            A, B, D = (kinds.get(letter + name, 0.0) for letter in "ABD")
            new |= {"B" + name: B + d * A, "D" + name: D + 2 * d * B + d**2 * A}
        return new

    m0, m1, m2 = (section.mass[k] for k in ("m0", "m1", "m2"))
    mass = {"m0": m0, "m1": m1 + d * m0, "m2": m2 + 2 * d * m1 + d**2 * m0}
    losses = section.losses and {channel: moved(kinds) for channel, kinds in section.losses.items()}
    return Section(section.family, moved(section.stiffness), mass, losses)


def scaled(section: Section, stiffness: float = 1.0, mass: float = 1.0) -> Section:
    """The section with its stiffness (and loss) and its mass multiplied: a limit case, or a trimmed weight."""

    def times(kinds: Mapping[str, float], factor: float) -> dict[str, float]:
        return {kind: factor * f for kind, f in kinds.items()}

    losses = section.losses and {channel: times(kinds, stiffness) for channel, kinds in section.losses.items()}
    return Section(section.family, times(section.stiffness, stiffness), times(section.mass, mass), losses)
