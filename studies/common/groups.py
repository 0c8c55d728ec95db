"""Groups of parts that tables and pages tell energy by."""

from collections.abc import Mapping, Sequence

import numpy as np

from meshes.coupled_model import AIR, VISCOUS_LOSS
from meshes.supports import SUPPORT_PARTS
from meshes.unexplained_loss import IN_OPENINGS


def largest(shares: Mapping[str, Sequence[float | None] | np.ndarray], mode: int) -> str:
    """'back 62 %': the part with the largest share of a mode."""
    known = {part: value for part, v in shares.items() if (value := v[mode]) is not None}
    if not known:
        return "not known"
    part = max(known, key=lambda part: known[part])
    return f"{part.replace('_', ' ')} {100 * known[part]:.0f} %"


GROUPS = {  # what a maker calls one thing; the rim's four stand first
    "sides": ("sides", "side_bars"),
    "linings": ("lining_top", "lining_back"),
    "joints": ("joint_top", "joint_back"),
    "blocks": ("neck_block", "tail_block"),
    "back": ("back",),
    "top": ("top",),
    "braces": ("top_braces", "back_braces"),
    "bridge": ("bridge", "bridge_plate"),
    "neck": ("neck",),
    "air": (AIR, VISCOUS_LOSS),
    "opening": ("soundhole", IN_OPENINGS),
    "supports": SUPPORT_PARTS,
    "radiation": ("radiation",),
}
IN_RIM = ("sides", "linings", "joints", "blocks")


def grouped(parts: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """{group: values} from {part: values}; every part belongs to one group, openings beside the soundhole to 'opening'."""
    of = {part: group for group, names in GROUPS.items() for part in names}
    total = {group: np.zeros(np.shape(next(iter(parts.values())))) for group in GROUPS}
    for part, value in parts.items():
        group = of.get(part, "opening" if part.startswith("port ") else part)
        total[group] = total[group] + value
    return total
