"""Groups of parts that tables and pages tell energy by."""

import numpy as np

from meshes.holding import SUPPORT_PARTS
from meshes.sounding import AIR, RUBBING


def largest(shares, mode):
    """'back 62 %': the part with the largest share of a mode."""
    known = {part: v[mode] for part, v in shares.items() if v[mode] is not None}
    if not known:
        return "not known"
    part = max(known, key=known.get)
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
    "air": (AIR, RUBBING),
    "opening": ("soundhole",),
    "supports": SUPPORT_PARTS,
    "radiation": ("radiation",),
}
IN_RIM = ("sides", "linings", "joints", "blocks")


def grouped(parts):
    """{group: values} from {part: values}; every part belongs to one group, openings beside the soundhole to 'opening'."""
    of = {part: group for group, names in GROUPS.items() for part in names}
    found = dict.fromkeys(GROUPS, 0.0)
    for part, value in parts.items():
        found[of.get(part, "opening" if part.startswith("port ") else part)] += value
    size = np.shape(next(iter(parts.values())))
    return {group: value + np.zeros(size) for group, value in found.items()}
