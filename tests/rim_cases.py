"""A rim study with air put together by hand: powers, sounds and modes as written here, no solving of boxes."""

from pathlib import Path
from types import SimpleNamespace

import box_cases as cases
import numpy as np

from fem.response import FREQUENCIES
from meshes.unexplained_loss import IN_JOINTS, IN_OPENINGS, IN_WOOD
from studies.common.builds import builds, complete_linings
from studies.common.groups import GROUPS, IN_RIM
from studies.common.inputs import Source
from studies.rim.result import SUPPORT_CONDITIONS, WHOLE_RIM, AirStudy, InAir
from studies.solved.power import Driven


def driven(rim, peak, louder=0.0):
    """Driven with one peak [Hz]; `rim` of the power to the sides, a third to sound, that louder by so many dB."""
    share = {g: np.full(len(FREQUENCIES), 0.0) for g in GROUPS}
    share |= {"sides": rim + 0 * FREQUENCIES, "radiation": 1 / 3 + 0 * FREQUENCIES, "supports": 0.1 + 0 * FREQUENCIES}
    share["top"] = 1 - sum(share.values())
    mobility = 0.01j * FREQUENCIES / (peak**2 - FREQUENCIES**2 + 0.03j * peak**2) * peak
    return Driven(
        FREQUENCIES, mobility, share, np.abs(mobility) * 10 ** (louder / 10), 0.1 + 0 * FREQUENCIES, 1e-12, 700.0
    )


def level(rows, size, off, louder=None):
    """InAir of builds; louder: {build: dB}, else each a little louder than the one before."""
    results = {}
    for k, build in enumerate(rows):
        for how, held in zip(SUPPORT_CONDITIONS, (0.0, 0.01)):
            sound = (louder or {}).get(build.name, 0.0)
            results[build.name, how] = SimpleNamespace(
                build=build, rim_g=400.0 + 20 * k, driven=driven(0.08 - 0.01 * k + off + held, 200.0 + k * (not louder), sound),
                dry_hz=np.arange(100.0, 300.0, 10), tap=None,
            )  # fmt: skip
    return InAir(size, 10_000, results, np.ones(1))


def air_by_hand(folder, chosen=None, louder=None):
    """AirStudy of the oval box's builds, or of those chosen; louder: {build: dB of sound against the sheet's own}."""
    body, _ = complete_linings(cases.oval(folder))
    rows = tuple(b for b in builds(body) if chosen is None or b.name in chosen)
    one = {"rim": 0.05, "supports": 0.2, "radiated_w": 1.0}
    sensitivity = {
        (how, part, times): {**one, "rim": 0.05 * times, "radiated_w": 1.2 - 0.1 * times}
        for how in SUPPORT_CONDITIONS for part in (*IN_RIM, WHOLE_RIM) for times in (0.0, 0.5, 1.0, 2.0)
    }  # fmt: skip
    unexplained = {
        (b.name, how, place): {**one, "rim": 0.04 + 0.01 * k, "radiated_w": (0.9 - 0.1 * k) * 10 ** ((louder or {}).get(b.name, 0.0) / 10)}
        for b in rows for how in SUPPORT_CONDITIONS for k, place in enumerate((IN_WOOD, IN_JOINTS, IN_OPENINGS))
    }  # fmt: skip
    return AirStudy(
        body, rows, level(rows, 0.04, 0.0, louder), level(rows[:1], 0.04, 0.001, louder),
        level(rows[:1], 0.08, 0.0018, louder),  # 2 x 0.1 + 1.25 x 0.08: 0.3 points
        None, 3, {1 / 3: one, 3.0: one}, {"bare": one, "thick": one}, sensitivity, unexplained, 0.7,
        source=Source(Path("oval.toml"), "abc"),
    )  # fmt: skip


def modes_by_hand(study, count=4):
    """Rows as air_page.per_mode tells them, of figures as wide as any."""
    for how in SUPPORT_CONDITIONS:
        for build in study.builds:
            for k in range(count):
                yield {
                    "how": how, "build": build.name, "mode": k + 1, "assurance": 1.0, "judged_with": "",
                    "frequency_hz": 100.5 * (k + 1), "frequency_error_hz": 12.3, "shift_percent": -10.25,
                    "loss_factor": 0.0123, "heat_in_rim": 0.123, "heat_in_rim_error": 0.023, "radiated_share": 0.5,
                    "supports_share": 0.2, "air_share": 0.3, "shift_error_percent": 0.1,
                    "moves": "air resonance; top and back swell together, the back in three areas",
                }  # fmt: skip
