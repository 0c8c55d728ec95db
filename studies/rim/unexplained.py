"""What the rim comparison tells with a loss that no part explains, at each place where it may sit (meshes.unexplained_loss)."""

import numpy as np

from fem.radiation import RadiationAt
from meshes.coupled_model import CoupledModel
from meshes.supports import FREE
from meshes.unexplained_loss import LARGEST, factors, unit_by_part, unit_losses
from studies.rim.result import SUPPORT_CONDITIONS
from studies.solved.answer import ask
from studies.solved.power import power_summary


def most_unexplained(base: CoupledModel) -> dict[str, float]:
    """{place: the most that may be lost there, times its unit loss}, sized on the sheet's own build."""
    free = ask(base, FREE)
    return factors(unit_losses(base, free.real_modes[1]), free.played(), LARGEST)


def with_unexplained(
    name: str, whole: CoupledModel, most: dict[str, float], outside: RadiationAt
) -> dict[tuple[str, str, str], dict[str, float]]:
    """{(build, how, place): power_summary} of a build with most_unexplained at a place; outside: as of power_summary."""
    found = {}
    for how in SUPPORT_CONDITIONS:
        answer = ask(whole, how)
        loss = answer.supported.loss
        under = len(answer.supported.stiffness) - len(
            whole.drive
        )  # unknowns under clothing, which lose nothing of this
        for place, parts in unit_by_part(whole).items():
            more = {part: loss.get(part, 0.0) + most[place] * np.pad(A, (0, under)) for part, A in parts.items()}
            found[name, how, place] = power_summary(answer.losing({**loss, **more}), outside)
    return found
