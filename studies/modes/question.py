"""What are the natural frequencies, and where does each mode keep its energy and turn it to heat?

The machine-readable contract behind `rimwork modes`; docs/contract.md lists the keys. Dry: no air, radiation or strings.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fem.eigen import fixed_unknowns, modes
from fem.energies import energies, masses
from fem.model import assemble, weights
from studies.common.files import SCHEMA_VERSION, provenance, write_json
from studies.common.groups import largest
from studies.common.inputs import BadInput, mesh_size, read_case, writable_file, writable_folder
from studies.common.machine import peak_memory_mb, plain, stage

Contract = dict[str, object]  # what the JSON file holds, keys as in docs/contract.md
MOST_MODES = 300  # beyond, the vectors alone fill a common machine's memory


def find_modes(
    input: str | Path,
    parts: str | Path | None = None,
    count: int = 20,
    mesh_size_mm: float | None = None,
    fix: Sequence[str] = (),
    hold: Sequence[str] = (),
    json_path: str | Path | None = None,
    export: str | Path | None = None,
) -> Contract:
    """Solve for `count` elastic modes and write them; returns the dict that the JSON file holds.

    input: build sheet or foreign mesh with its parts sheet. fix, hold: names of parts or edges clamped, or held in
    place but free to turn. Raises BadInput or ValueError with one line for anything the user has to mend.
    """
    json_path = json_path and writable_file(json_path)
    export = export and writable_folder(export)
    if count < 1:
        raise BadInput(f"--count {count}: expected at least 1 mode")
    size = None if mesh_size_mm is None else mesh_size(mesh_size_mm)
    seconds = {}
    with stage(seconds, "read_and_mesh"):
        case = read_case(input, parts, size)
    with stage(seconds, "assemble"):
        model = assemble(case.mesh)
        fixed = fixed_unknowns(model.space, fix, hold)
        most = min((model.size - len(fixed)) // 12, MOST_MODES)
        if count > most:
            raise BadInput(f"--count {count}: too many for this mesh; expected at most {most}")
    with stage(seconds, "solve"):
        found = modes(model, weights(case.sections), count, fixed)
    with stage(seconds, "energies"):
        split = energies(model, case.sections, found.shape)
        mass = masses(model, case.sections)
    result = contract(model, case, found, split, mass, seconds)
    if export:
        from studies.modes.export import export_matrices, export_modes

        with stage(seconds, "export"):
            export_matrices(export, model, case)
            export_modes(export, model.space, found, result)
    if json_path:
        write_json(json_path, result)
    return result


def contract(model, case, found, split, mass, seconds):
    """The dict of the machine-readable contract; every list runs over modes."""
    from studies.drawing.mode_names import names

    count = len(found.frequency)
    parts = list(split.strain_share)
    heat = split.heat_share or {part: np.full(count, np.nan) for part in parts}
    return {
        "schema_version": SCHEMA_VERSION,
        "model": "dry",
        "body": case.body.name if case.body else None,
        "frequency_hz": plain(found.frequency),
        "residual": plain(found.residual),
        "moves": names(model.space, found.shape),
        "strain_energy_share": {part: plain(v) for part, v in split.strain_share.items()},
        "kinetic_energy_share": {part: plain(v) for part, v in split.kinetic_share.items()},
        "heat_share": {part: plain(v) for part, v in heat.items()},
        "loss_factor": [None] * count if split.loss_factor is None else plain(split.loss_factor),
        "losses_not_given_for": list(split.losses_unknown),
        "mass_kg": mass,
        "rigid_frequency_hz": plain(found.rigid_frequency),
        "assumed": [vars(a) for a in case.body.assumed] if case.body else [],
        "warnings": list(case.body.warnings) if case.body else [],
        "seconds": seconds,
        "peak_memory_mb": peak_memory_mb(),
        "provenance": provenance(case.source, [] if case.size is None else [case.size], [int(model.size)]),
    }


def modes_table(result: Contract) -> str:
    """The modes as a table in plain words."""
    lines = ["  mode  frequency   loss factor   moves most          stores most         most heat in        what moves"]
    heat_known = result["loss_factor"][0] is not None
    for k, f in enumerate(result["frequency_hz"]):
        eta = f"{result['loss_factor'][k]:.4f}" if heat_known else "not known"
        where = [largest(result[key], k) for key in ("kinetic_energy_share", "strain_energy_share", "heat_share")]
        lines.append(
            f"  {k + 1:4d}  {f:7.1f} Hz   {eta:>11}   "
            + "".join(f"{w:20s}" for w in (*where, result["moves"][k] or "")).rstrip()
        )
    return "\n".join(lines)
