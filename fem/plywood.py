"""Plywood as one equivalent wood, from its plies by laminate theory (Jones, Mechanics of Composite Materials, ch. 4).

Losses enter as complex moduli E (1 + i eta) in the compliance; Poisson's cross term is real, that is lossless.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fem.materials import Wood

CROSS_PLY = (0, 90)
Ply = tuple[Wood, float, float]  # as veneer, share of the thickness, angle [degrees]


def rotary_cut(wood: Wood) -> Wood:
    """The wood as peeled veneer: T in the plane, R through it."""
    assert wood.E_T is not None and wood.nu_LT is not None and wood.nu_RT is not None
    nu_TR = wood.nu_RT * wood.E_T / wood.E_R
    return replace(
        wood, E_R=wood.E_T, E_T=wood.E_R, G_LR=wood.G_LT, G_LT=wood.G_LR,
        nu_LR=wood.nu_LT, nu_LT=wood.nu_LR, nu_RT=nu_TR,
    )  # fmt: skip


def homogenised(name: str, plies: Sequence[Ply], bending: bool) -> Wood:
    """Equivalent Wood of a symmetric stack of plies [(Wood as veneer, share of thickness, 0 or 90 degrees)].

    bending False: constants in plane averaged over the thickness; True: those that give the laminate's flexural
    rigidities. Constants through the thickness are the same in both: all plies bear the same stress, so compliances
    are averaged. Raises ValueError for an unsymmetric stack or other angles.
    """
    if any(angle not in CROSS_PLY for _, _, angle in plies):
        raise ValueError(f"plywood '{name}': angles {[a for *_, a in plies]}; expected 0 or 90 degrees for each ply")
    if [(w.name, h, a) for w, h, a in plies] != [(w.name, h, a) for w, h, a in reversed(plies)]:
        raise ValueError(f"plywood '{name}': the stack is not symmetric about its middle; expected a symmetric one")
    share = np.array([h for _, h, _ in plies], float)
    share /= share.sum()
    z = np.concatenate([[0], np.cumsum(share)]) - 0.5
    weight = 4 * np.diff(z**3) if bending else share  # both sum to 1
    S = np.linalg.inv(sum(w * _stiffness(*ply) for w, ply in zip(weight, plies, strict=True)))
    through = _through(plies, share)
    E = 1 / S.diagonal()
    moduli = dict(zip(("E_L", "E_R", "G_LR"), map(float, E.real), strict=True))
    losses = dict(zip(("loss_L", "loss_R", "loss_G"), map(float, E.imag / E.real), strict=True))
    density = float(share @ [ply.density for ply, _, _ in plies])
    how = "bending equivalent" if bending else "thickness average"
    woods = ", ".join(sorted({ply.name for ply, _, _ in plies}))
    rule = f"estimated: {how} of {len(plies)} plies of {woods}, laminate theory, glue left out"
    return Wood(
        name,
        **moduli,
        nu_LR=float(-S[0, 1].real / S[0, 0].real),
        density=density,
        **losses,
        **through,
        sources=dict.fromkeys((*moduli, *losses, *through, "nu_LR", "density"), rule),
    )


def _stiffness(wood: Wood, _share: float, angle: float) -> np.ndarray:
    """Complex plane-stress stiffness (3, 3) of a ply, turned by 0 or 90 degrees."""
    loss = [1 + 1j * (eta or 0.0) for eta in (wood.loss_L, wood.loss_R, wood.loss_G)]
    S = np.diag(1 / (np.array([wood.E_L, wood.E_R, wood.G_LR]) * loss))
    S[0, 1] = S[1, 0] = -wood.nu_LR / wood.E_L
    Q = np.linalg.inv(S)
    return Q[np.ix_([1, 0, 2], [1, 0, 2])] if angle == 90 else Q


def _through(plies: Sequence[Ply], share: np.ndarray) -> dict[str, float]:
    """Constants that involve the normal: E_T, G_LT, G_RT, nu_LT, nu_RT, from unit stresses on the whole stack."""
    S = np.linalg.inv(sum(s * _stiffness(*ply).real for s, ply in zip(share, plies, strict=True)))
    thinning = np.zeros(2)
    for s, (wood, _, angle) in zip(share, plies, strict=True):
        stress = _stiffness(wood, s, angle).real @ S[:, :2]  # columns: unit mean stress along, across
        assert wood.nu_LT is not None and wood.nu_RT is not None
        normal = np.array([-wood.nu_LT / wood.E_L, -wood.nu_RT / wood.E_R])
        thinning += s * (normal[::-1] if angle == 90 else normal) @ stress[:2]
    turned = [angle == 90 for _, _, angle in plies]
    G_1 = [w.G_RT if t else w.G_LT for (w, _, _), t in zip(plies, turned, strict=True)]
    G_2 = [w.G_LT if t else w.G_RT for (w, _, _), t in zip(plies, turned, strict=True)]
    return {
        "E_T": float(1 / (share / [w.E_T for w, _, _ in plies]).sum()),
        "G_LT": float(1 / (share / G_1).sum()),
        "G_RT": float(1 / (share / G_2).sum()),
        "nu_LT": float(-thinning[0] / S[0, 0]),
        "nu_RT": float(-thinning[1] / S[1, 1]),
    }
