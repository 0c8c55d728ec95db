"""Time, memory and error of `rimwork modes` on the example sheet at several mesh sizes; prints Markdown tables.

    python tests/benchmarks/bench_modes.py [--sizes 40 30 25 20] [--finest 16] [--count 40]

Time and peak memory are those of the whole process, measured from outside. The error is that of the first 20
frequencies against the finest mesh, extrapolated nowhere: that mesh has an error of its own. The limit is one
factorisation of K - sigma M and the triangular solves that the eigensolver asked for: no solver of this kind is faster.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path

from whole_process import ROOT, run

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

SHEET = ROOT / "meshes" / "bodies" / "hazel.toml"
COMPARED = 20


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--sizes", type=float, nargs="+", default=[40, 30, 25, 20], help="mm")
    options.add_argument("--finest", type=float, default=16, help="mm, the mesh that errors are counted against")
    options.add_argument("--count", type=int, default=40)
    given = options.parse_args()
    sys.path.insert(0, str(ROOT))
    with tempfile.TemporaryDirectory() as folder:
        whole_process(folder, given.sizes[0], given.count)  # fills the cache of kerf cells
        best = whole_process(folder, given.finest, given.count)[0]
        runs = {size: whole_process(folder, size, given.count) for size in given.sizes}
    print(f"`rimwork modes {SHEET.name} --count {given.count}`, whole process, one thread; error of {COMPARED} frequencies "
          f"against {given.finest:g} mm ({best['provenance']['unknowns'][0]} unknowns)\n")  # fmt: skip
    print(
        "| size mm | unknowns | time s | peak MB | worst error % | mean error % | read + mesh s | assemble s | solve s |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for size, (found, seconds, peak) in runs.items():
        error = errors(found["frequency_hz"], best["frequency_hz"])
        stages = " | ".join(f"{found['seconds'][k]:.1f}" for k in ("read_and_mesh", "assemble", "solve"))
        print(f"| {size:g} | {found['provenance']['unknowns'][0]} | {seconds:.1f} | {peak:.0f} | {max(error):.2f} | "
              f"{sum(error) / len(error):.2f} | {stages} |")  # fmt: skip
    print("\nDistance to the limit: one factorisation and the triangular solves, over the whole solve\n")
    print("| size mm | factorise s | solves | triangular solves s | solve stage s | limit / solve stage |")
    print("|---|---|---|---|---|---|")
    for size in given.sizes:
        factorise, solves, triangular, whole = limit(1e-3 * size, given.count)
        print(
            f"| {size:g} | {factorise:.2f} | {solves} | {triangular:.2f} | {whole:.2f} | {(factorise + triangular) / whole:.0%} |"
        )


def whole_process(folder, size, count):
    """(contract, seconds, peak MB) of one run in a process of its own."""
    out = Path(folder) / "out.json"
    command = [sys.executable, "-m", "studies", "modes", str(SHEET), "--count", str(count), "--mesh-size-mm", str(size)]
    took = run([*command, "--json", str(out)])
    if took.code:
        raise SystemExit(f"rimwork modes ended with {took.code}")
    return json.loads(out.read_text()), took.wall, took.peak


def errors(frequency, best):
    """Relative difference [%] of the first frequencies, in order."""
    return [100 * abs(f / b - 1) for f, b in zip(frequency[:COMPARED], best)]


def limit(size, count):
    """(seconds of the factorisation, columns solved, seconds of the triangular solves, seconds of the whole solve)."""
    from fem import eigen
    from fem.model import assemble, weights
    from meshes.build import mesh_body
    from meshes.parts import sections
    from meshes.sheet import read_sheet

    body = read_sheet(SHEET)
    model, w = assemble(mesh_body(body, size)), weights(sections(body))
    spent = {"factorise": 0.0, "triangular": 0.0, "columns": 0}
    plain = eigen.Factor

    class Timed(plain):
        def __init__(self, A):
            start = time.perf_counter()
            super().__init__(A)
            spent["factorise"] += time.perf_counter() - start
            inner = self.solve

            def solve(B):
                start = time.perf_counter()
                found = inner(B)
                spent["triangular"] += time.perf_counter() - start
                spent["columns"] += B.shape[1] if B.ndim == 2 else 1
                return found

            self.solve = solve

    eigen.Factor = Timed
    try:
        start = time.perf_counter()
        eigen.modes(model, w, count)
        whole = time.perf_counter() - start
    finally:
        eigen.Factor = plain
    return spent["factorise"], spent["columns"], spent["triangular"], whole


if __name__ == "__main__":
    main()
