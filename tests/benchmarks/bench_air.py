"""Time of each step from the dry modes to the sounding body of an example sheet. Prints Markdown.

Run from the root of the repository: OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 python tests/benchmarks/bench_air.py [--mesh-size-mm 25]
Seconds are of the processor, of this process alone. `--cavity` solves the enclosed air on finer meshes as well: error below 600 Hz.
"""

import argparse
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from fem.air import cavity_modes  # noqa: E402
from fem.eigen import modes  # noqa: E402
from fem.model import assemble, weights  # noqa: E402
from meshes.build import mesh_body  # noqa: E402
from meshes.cavity import DEFAULT_SIZE, mesh_cavity  # noqa: E402
from meshes.coupled_model import coupled_model, fluid_domain, modes_of, outside, structure_of, velocities  # noqa: E402
from meshes.parts import sections  # noqa: E402
from meshes.sheet import read_sheet  # noqa: E402
from meshes.supports import FREE, with_supports  # noqa: E402


def timed(what, work, *arguments):
    start = time.process_time()
    found = work(*arguments)
    print(f"| {what} | {time.process_time() - start:.1f} |", flush=True)
    return found


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--mesh-size-mm", type=float, default=25)
    options.add_argument("--modes", type=int, default=40)
    options.add_argument("--cavity", action="store_true")
    given = options.parse_args()
    body = read_sheet(ROOT / "meshes" / "bodies" / "hazel.toml")
    parts = sections(body)
    print("| step | s |\n|---|---|")
    model = timed("mesh and assembly", lambda: assemble(mesh_body(body, given.mesh_size_mm / 1e3)))
    found = timed("modes without air", modes, model, weights(parts), given.modes)
    structure = timed("losses between modes, bending at the saddle", structure_of, body, model, parts, found)
    around = timed("enclosed air and outer surface", fluid_domain, body)
    radiated = timed(
        "boundary elements, ten frequencies", lambda: outside(around.surface, [velocities(structure, around)])[0]
    )
    whole = timed("coupling", coupled_model, structure, around, radiated)
    timed("complex modes", lambda: modes_of(whole, with_supports(whole, FREE)))
    if given.cavity:
        cavity(body)


def cavity(body):
    """Largest distance below 600 Hz of the cavity's modes at the default size from those at two thirds of it."""
    coarse, fine = (
        cavity_modes(mesh_cavity(body, size), 600.0).frequency for size in (DEFAULT_SIZE, DEFAULT_SIZE / 1.5)
    )
    n = np.count_nonzero(fine < 600)
    print(
        f"\ncavity, {n - 1} modes below 600 Hz: {100 * np.abs(coarse[1:n] / fine[1:n] - 1).max():.3f} % between two meshes"
    )


if __name__ == "__main__":
    main()
