"""A loss that no part explains: what measured guitars lose beyond the computed parts, at three places where it may sit.

With air, hung free, the peaks of the example guitars in which box and soundhole breathe have Q of some 62 to 66 and 42 to 88; six
published guitars have 33 to 42 and 17 to 28, their holder not known (Carcagno et al., JASA 144:3533, 2018; the table was not
looked up again). So .01 to .03 of loss factor may remain, or nothing. It is added last, hysteretic, and is the same
property in every build: of the wood, of what joins the plates to the sides, or of the air in the openings.
"""

import numpy as np

from fem.body_modes import BodyModes
from meshes.coupled_model import CoupledModel

LARGEST = 0.03  # loss factor of the first resonances that may remain; the least is 0
IN_WOOD, IN_JOINTS, IN_OPENINGS = "in all the wood", "in joints and linings", "in the soundhole"
JOINTS, LININGS = ("joint_top", "joint_back"), ("lining_top", "lining_back")
RESONANCES = 50.0, 300.0  # Hz between which measured Q are published: neither the supports' motions nor many modes


def unit_by_part(coupled: CoupledModel) -> dict[str, dict[str, np.ndarray]]:
    """{place: {part: (N, N)}} hysteretic losses of a CoupledModel's unknowns: the stiffness of each part of all wood, and
    of joints and linings (a loss factor of 1 there); of the openings 1 for each volume displacement [Pa/m3].
    """
    stored, n = coupled.stored, len(coupled.structure.frequency)
    moved = np.zeros(len(coupled.drive))
    moved[n : coupled.coupling.c.shape[1]] = 1.0
    return {
        IN_WOOD: {part: stored[part] for part in coupled.structure.stiffness if part not in JOINTS},
        IN_JOINTS: {part: stored[part] for part in coupled.structure.stiffness if part in (*JOINTS, *LININGS)},
        IN_OPENINGS: {IN_OPENINGS: np.diag(moved)},
    }


def unit_losses(coupled: CoupledModel, shape: np.ndarray) -> dict[str, np.ndarray]:
    """{place: (m, m)} hysteretic losses of unit_by_part, all parts of a place together, between modes: shape (N or more, m) of real_modes."""
    X = shape[: len(coupled.drive)]  # what lies under clothing is no wood
    return {place: X.T @ sum(parts.values()) @ X for place, parts in unit_by_part(coupled).items()}


def factors(unit: dict[str, np.ndarray], body: BodyModes, loss_factor: float) -> dict[str, float]:
    """{place: times its unit loss} by which the first resonances of a body gain `loss_factor`.

    Wood, joints and linings: the mean over the modes between RESONANCES, each by its motion at the saddles squared,
    out of the top. Openings: the one mode whose air moves most. Where no mode lies there, as on a small body, the lowest above.
    """
    f = body.omega / (2 * np.pi)
    above = f >= RESONANCES[0]
    near = above & (f <= max(min(RESONANCES[1], body.highest_valid), f[above].min()))
    heard = near * (body.saddle[:, :, 2] ** 2).sum(0)
    gain = {place: np.diag(A) / body.omega**2 for place, A in unit.items()}
    mean = {place: float(heard @ gain[place] / heard.sum()) for place in (IN_WOOD, IN_JOINTS)}
    hole = np.argmax(near * np.diag(unit[IN_OPENINGS]))
    return {place: loss_factor / g for place, g in (mean | {IN_OPENINGS: float(gain[IN_OPENINGS][hole])}).items()}
