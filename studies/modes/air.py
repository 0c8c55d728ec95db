"""What are the natural frequencies with the air inside and out, how much of each mode is air, how much is radiated?

The machine-readable contract of `rimwork modes` with air: the dry keys, and for each way to hold the body the air-loaded
modes. Without strings.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import cast

import numpy as np

from fem.model import assemble
from meshes.coupled_model import (
    FluidDomain,
    VibroacousticModes,
    velocities,
)
from meshes.supports import FREE, LAP, assumptions
from studies.common.builds import builds, complete_linings
from studies.common.files import write_json
from studies.common.groups import IN_RIM, grouped
from studies.common.inputs import BadInput, mesh_size, read_case, within, writable_file
from studies.common.kept import kept_folder
from studies.common.machine import plain, stage
from studies.modes.question import MOST_MODES, Contract, contract
from studies.solved.answer import Answer, ask
from studies.solved.bridge_tap import BridgeTap, bridge_tap, tap_json, tap_table
from studies.solved.coupled import one_coupled
from studies.solved.dry import stored_row
from studies.solved.level import DRY_MODES, Level

SPARE = 12  # dry modes solved for beyond those asked for: coupling mixes them; at least those that reach 1 kHz: see bridge_tap
MODEL = "air"


def find_modes_in_air(
    sheet: str | Path, count: int = 20, mesh_size_mm: float | None = None, json_path: str | Path | None = None
) -> Contract:
    """The contract with air; raises BadInput or ValueError for anything the user has to mend."""
    json_path = json_path and writable_file(json_path)
    within("--count", count, 1, MOST_MODES, "modes")
    size = mesh_size(mesh_size_mm)
    seconds: dict[str, float] = {}
    with stage(seconds, "read_and_mesh"):
        case = read_case(sheet, None, size)
        if case.body is None or case.size is None:
            raise BadInput(f"{sheet}: air is computed for a build sheet only; expected a file ending in .toml")
    own = builds(complete_linings(case.body)[0])[0]
    with stage(seconds, "solve_dry"):
        level = Level(assemble(case.mesh), case.size, kept_folder(Path("out") / MODEL), max(count + SPARE, DRY_MODES))
        row = stored_row(own, level)
    with stage(seconds, "with_air"):
        whole = one_coupled(own, level)
    with stage(seconds, "coupled_modes"):
        answers = {how: ask(whole, how) for how in (FREE, LAP)}
        words = {how: words_of(answer) for how, answer in answers.items()}
    with stage(seconds, "bridge_tap"):
        taps = {how: bridge_tap(answer) for how, answer in answers.items()}
    result = contract(level.model, case, row.found, row.split, row.mass, seconds)
    result = trimmed(result, count) | with_air(
        {how: answer.modes for how, answer in answers.items()}, count, words, taps
    )
    result["assumed"] = [vars(a) for a in (*case.body.assumed, *assumptions())]
    if json_path:
        write_json(json_path, result)
    return result


def trimmed(result: Contract, count: int) -> Contract:
    """The dry contract with the first `count` modes."""
    lists = {key: cast(list, result[key])[:count] for key in ("frequency_hz", "residual", "loss_factor", "moves")}
    shares = {
        key: {part: share[:count] for part, share in cast(dict, result[key]).items()}
        for key in ("strain_energy_share", "kinetic_energy_share", "heat_share")
    }
    return result | lists | shares


def words_of(answer: Answer) -> list[str]:
    """Words for each of the body's air-loaded modes, those of its supports left out."""
    from studies.drawing.mode_names import names_with_air

    whole, body = answer.whole, answer.modes.of_body
    assert isinstance(whole.around, FluidDomain)
    V = velocities(whole.structure, whole.around)
    return names_with_air(whole, body, V @ body.shape[: V.shape[1]], len(body.frequency))


def with_air(
    supported: Mapping[str, VibroacousticModes],
    count: int,
    words: Mapping[str, Sequence[str]],
    taps: Mapping[str, BridgeTap],
) -> Contract:
    """Keys of the air-loaded modes of a body hung free, and under 'held' of each support {how: VibroacousticModes}.

    words: {how: what each of the body's modes does}. taps: {how: BridgeTap}.
    """
    of = {how: as_lists(modes, count) for how, modes in supported.items()}
    for how, found in of.items():
        found |= {"coupled_moves": words[how][:count], "bridge_tap": tap_json(taps[how])}
    return {"model": MODEL, **of[FREE], "held": of}


def as_lists(found: VibroacousticModes, count: int) -> Contract:
    """The first `count` air-loaded modes of the body (not of its supports) as lists."""
    keep = np.flatnonzero(found.elastic)[:count]
    lists = lambda parts: {part: plain(v[keep]) for part, v in parts.items()}
    return {
        "coupled_frequency_hz": plain(found.frequency[keep]),
        "coupled_loss_factor": plain(found.loss_factor[keep]),
        "radiated_share": plain(found.loss_share["radiation"][keep]),
        "air_share": plain(found.air_share[keep]),
        "loss_share": lists(found.loss_share),
        "coupled_strain_energy_share": lists(found.potential_share),
        "coupled_kinetic_energy_share": lists(found.kinetic_share),
        "support_frequency_hz": plain(found.frequency[~found.elastic]),
    }


def air_table(result: Contract) -> str:
    """The air-loaded modes as a table in plain words, one block for each way to hold the body."""
    lines = []
    for how, found in cast(dict, result["held"]).items():
        lines += [
            f"With air and radiation, without strings; {how}:",
            "  mode  frequency   loss factor   is air   goes out as sound   goes into supports   heat in the rim   what moves",
        ]
        shares = grouped({part: np.array(share) for part, share in found["loss_share"].items()})
        rim = np.sum([shares[group] for group in IN_RIM], axis=0)
        words = found.get("coupled_moves", [""] * len(rim))
        for k, f in enumerate(found["coupled_frequency_hz"]):
            lines.append(
                f"  {k + 1:4d}  {f:7.1f} Hz   {found['coupled_loss_factor'][k]:11.4f}   {100 * found['air_share'][k]:4.0f} %"
                f"   {100 * found['radiated_share'][k]:15.0f} %   {100 * shares['supports'][k]:16.0f} %"
                f"   {100 * rim[k]:13.1f} %   {words[k]}".rstrip()
            )
        lines += ["", *tap_table(found["bridge_tap"], how).lines(), ""]
    return "\n".join(lines[:-1])
