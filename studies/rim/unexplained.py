"""What the rim comparison tells with a loss that no part explains, at each place where it may sit (meshes.unexplained_loss)."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from meshes.coupled_model import CoupledModel
from meshes.string_body import string_body
from meshes.supports import FREE, with_supports
from meshes.unexplained_loss import IN_JOINTS, LARGEST, factors, unit_by_part, unit_losses
from studies.rim.result import SUPPORT_CONDITIONS
from studies.solved.power import OF_SUMMARY, air_outside, driven, summary


def with_unexplained(
    whole: Mapping[str, CoupledModel],
) -> tuple[dict[tuple[str, str, str], dict[str, float]], float]:
    """({(build, how, place): summary} with the most that may be lost at a place, in every build alike; the loss factor
    that joints and linings would have). 'sheet' sizes it.
    """
    base = whole["sheet"]
    held = with_supports(base, FREE)
    most = factors(unit_losses(base, held), string_body(base, held), LARGEST)
    found = {}
    for name, one in whole.items():
        outside, plain = air_outside(one, OF_SUMMARY), np.eye(one.coupling.c.shape[1])
        for how in SUPPORT_CONDITIONS:
            supported = with_supports(one, how)
            under = len(supported.stiffness) - len(one.drive)  # unknowns under clothing, which lose nothing of this
            for place, parts in unit_by_part(one).items():
                more = {
                    part: supported.loss.get(part, 0.0) + most[place] * np.pad(A, (0, under))
                    for part, A in parts.items()
                }
                lossy = replace(supported, loss={**supported.loss, **more})
                found[name, how, place] = summary(driven(one, lossy, plain, OF_SUMMARY, outside))
    return found, most[IN_JOINTS]
