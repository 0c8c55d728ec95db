"""What are the natural frequencies, and where does each mode keep its energy and turn it to heat?

The machine-readable contract behind `rimwork modes`; docs/contract.md lists the keys. Dry: no air, radiation or strings.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import cast

from fem.eigen import Modes, fixed_unknowns, modes
from fem.energies import Energies, energies, masses
from fem.model import Model, assemble, weights
from studies.common.files import SCHEMA_VERSION, Plain, provenance, write_json
from studies.common.groups import largest
from studies.common.inputs import BadInput, Case, mesh_size, read_case, writable_file, writable_folder
from studies.common.machine import peak_memory_mb, plain, stage

Contract = dict[str, Plain]  # what the JSON file holds, keys as in docs/contract.md
MOST_MODES = 300  # beyond, the vectors alone fill a common machine's memory


def find_modes(
    input: str | Path,
    parts: str | Path | None = None,
    count: int = 20,
    mesh_size_mm: float | None = None,
    fix: Sequence[str] = (),
    support: Sequence[str] = (),
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
    seconds: dict[str, float] = {}
    with stage(seconds, "read_and_mesh"):
        case = read_case(input, parts, size)
    with stage(seconds, "assemble"):
        model = assemble(case.mesh)
        fixed = fixed_unknowns(model.space, fix, support)
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


def contract(
    model: Model, case: Case, found: Modes, split: Energies, mass: dict[str, float], seconds: dict[str, float]
) -> Contract:
    """The dict of the machine-readable contract; every list runs over modes."""
    from studies.drawing.mode_names import names

    unknown = [None] * len(found.frequency)
    shares = lambda of_parts: {part: plain(share) for part, share in of_parts.items()}
    return {
        "schema_version": SCHEMA_VERSION,
        "model": "dry",
        "body": case.body.name if case.body else None,
        "frequency_hz": plain(found.frequency),
        "residual": plain(found.residual),
        "moves": names(model.space, found.shape),
        "strain_energy_share": shares(split.strain_share),
        "kinetic_energy_share": shares(split.kinetic_share),
        "heat_share": shares(split.dissipated_share)
        if split.dissipated_share
        else dict.fromkeys(split.strain_share, unknown),
        "loss_factor": unknown if split.loss_factor is None else plain(split.loss_factor),
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
    column = lambda key: cast(list, result[key])
    for k, (f, loss, moves) in enumerate(zip(*map(column, ("frequency_hz", "loss_factor", "moves"))), 1):
        eta = "not known" if loss is None else f"{loss:.4f}"
        shares = (cast(dict, result[f"{kind}_share"]) for kind in ("kinetic_energy", "strain_energy", "heat"))
        words = "".join(f"{word:20s}" for word in (*(largest(share, k - 1) for share in shares), moves or ""))
        lines.append(f"  {k:4d}  {f:7.1f} Hz   {eta:>11}   {words.rstrip()}")
    return "\n".join(lines)
