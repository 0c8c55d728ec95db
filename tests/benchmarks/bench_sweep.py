"""Rows a minute of a sweep, how well two workers share it, and the error observed on check rows; prints Markdown.

    python tests/benchmarks/bench_sweep.py [--mesh-size-mm 60] [--samples 2048] [--sustain lap] [--scale-rows 100000] [--out DIR]

The plan varies sections and materials alone; 30 modes, shares by part, basis of 200 at most. Time is counted from the first
row on, once the reduced model stands; CPU seconds a row tell what a machine without other work would do. --scale-rows puts so
many rows into a store (those computed, repeated under other keys) and times page and CSV. --sustain plucks 12 notes of every
variant with air and radiation, hung free, on the lap or both, and tells where the time goes.
"""

import argparse
import os
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
PLAN = """
name = "Benchmark"
sheet = "hazel.toml"
mesh_size_mm = {size}
modes = 30
outputs = {outputs}
[design]
samples = {samples}
[rim]
builds = ["sheet", "solid_laminated"]
[[factor]]
name = "top thickness"
keys = ["top.thickness_mm"]
from = 2.6
to = 3.2
[[factor]]
name = "loss of the joints"
keys = ["joint_top.loss_factor", "joint_back.loss_factor"]
from = 0.005
to = 0.1
[[factor]]
name = "side bars"
keys = ["side_bars.thickness_mm"]
from = 1
to = 5
[[scatter]]
name = "wood of the braces"
boards = ["top_braces", "back_braces"]
[accuracy]
cells = 8
estimate = {estimate}
full_share = 1
{sustain}
"""
HELD = {"hung": ["hung free"], "lap": ["on the lap"], "both": ["hung free", "on the lap"]}


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--mesh-size-mm", type=float, default=60)
    options.add_argument("--samples", type=int, default=2048)
    options.add_argument("--estimate", type=float, default=0.02)
    options.add_argument("--scale-rows", type=int, default=0)
    options.add_argument("--sustain", choices=HELD)
    options.add_argument("--checks", type=int, default=10)
    options.add_argument("--out")
    given = options.parse_args()
    out = Path(given.out or tempfile.mkdtemp())
    out.mkdir(parents=True, exist_ok=True)
    plan = out / "bench.toml"
    outputs, sustain = ["frequencies", "shares"], ""
    if given.sustain:
        outputs, sustain = [*outputs, "sustain"], f"[sustain]\nheld = {HELD[given.sustain]}"
    plan.write_text(
        PLAN.format(
            size=given.mesh_size_mm, samples=given.samples, estimate=given.estimate, outputs=outputs, sustain=sustain
        )
    )
    sweep, kit, sheet, variants = prepared(plan, out)
    print("\n".join(kit.words) + "\n")
    print("| workers | rows | s | rows a minute | CPU ms a variant | workers busy |\n|---|---|---|---|---|---|")
    rate = {}
    for workers in (1, 2):
        rows, seconds, cpu, busy = timed(kit, sheet, variants, workers)
        rate[workers] = 60 * rows / seconds
        print(f"| {workers} | {rows} | {seconds:.1f} | {rate[workers]:.0f} | {cpu:.1f} | {busy:.0%} |", flush=True)
    print(f"\ntwo workers against one: {rate[2] / rate[1] / 2:.2f} efficient")
    if given.sustain:
        where_time_goes(kit, sheet, variants)
    errors(kit, sheet, variants, given.checks)
    if given.scale_rows:
        scale(sweep, kit, sheet, variants, out, given.scale_rows)


def prepared(plan, out):
    from studies.sweep.design import variants
    from studies.sweep.engine import Here
    from studies.sweep.kit import sheet_print
    from studies.sweep.log import Log
    from studies.sweep.plan import read_plan
    from studies.sweep.prepare import ready_kit
    from studies.sweep.solve import compute_cells

    sweep = read_plan(plan)
    found = variants(sweep.plan)
    log = Log()
    kit = ready_kit(sweep, found, out, lambda pieces: compute_cells(Here(), pieces, log), log.say)
    return sweep, kit, sheet_print(sweep), found


def timed(kit, sheet, variants, workers):
    """(rows, seconds, CPU ms of the workers for each variant, share of the time that they were busy); the rows go into a fresh store as in a sweep."""
    from studies.sweep.engine import open_engine
    from studies.sweep.solve import Pace
    from studies.sweep.store import Store
    from studies.sweep.variant import Solver

    engine = open_engine(workers)
    try:
        with tempfile.TemporaryDirectory() as folder, Store(folder) as store:
            solver, pace = Solver(kit, sheet), Pace("reduced", variants)
            list(
                engine.run(solver, [("reduced", variants[:1])] * workers)
            )  # the payload is there, the modules are loaded
            start, done, inside, cpu, tried = time.perf_counter(), 0, 0.0, 0.0, 0
            for (_, batch), result in engine.run(solver, pace):
                store.add(result.rows)
                pace.learn(len(batch), result.seconds)
                done += len(result.rows)
                inside, cpu, tried = inside + result.seconds, cpu + result.cpu, tried + len(batch)
            seconds = time.perf_counter() - start
            return done, seconds, 1e3 * cpu / tried, inside / (workers * seconds)
    finally:
        engine.close()


def errors(kit, sheet, variants, count=10):
    """Worst errors of randomly chosen rows against full solves."""
    import numpy as np

    from studies.sweep.variant import Solver
    from studies.sweep.words import decay_errors

    solver = Solver(kit, sheet)
    chosen = np.random.default_rng(0).permutation(len(variants))[:count]
    checks = [solver.check(variants[i]) for i in sorted(chosen)]
    print(f"{len(checks)} check rows: frequency {100 * max(c.frequency_error for c in checks):.4f} %, strain share "
          f"{100 * max(c.strain_error for c in checks):.2f} points, heat share {100 * max(c.heat_error for c in checks):.2f} points, "
          f"modes missed in {sum(c.modes_below != c.modes_expected for c in checks)}{decay_errors(checks)}")  # fmt: skip


def where_time_goes(kit, sheet, variants, count=20):
    """CPU ms of a row by stage, from the profiler (which adds some)."""
    import cProfile
    import pstats

    from studies.sweep.variant import Solver

    solver, profile = Solver(kit, sheet), cProfile.Profile(time.process_time)
    solver.reduced(variants[0])
    profile.enable()
    for variant in variants[1 : 1 + count]:
        solver.reduced(variant)
    profile.disable()
    stats = {name: spent for (_, _, name), (_, _, _, spent, _) in pstats.Stats(profile).stats.items()}
    stages = (
        "reduced", "sections_of", "weigh", "solve", "structure_in", "sounding_in", "hold", "string_body", "damped_body",
        "plucked", "fall_time", "dissipated",
    )  # fmt: skip
    print("\n| stage | CPU ms a row |\n|---|---|")
    for name in stages:
        print(f"| {name} | {1e3 * stats.get(name, 0.0) / count:.1f} |")


def scale(sweep, kit, sheet, variants, out, count):
    """Times page and CSV of a store of `count` rows, and tells its size and this process's memory."""
    from studies.sweep.design import variants as all_variants
    from studies.sweep.page import write_sweep_page
    from studies.sweep.store import Store
    from studies.sweep.tables import write_csv
    from studies.sweep.variant import Solver

    large = replace(sweep, plan=sweep.plan.model_copy(update={"design": sweep.plan.design.model_copy(update={"samples": count // 2})}))  # fmt: skip
    rows = Solver(kit, sheet).work(("reduced", variants[:200])).rows
    keys = {v.number: f"{v.number:016d}" for v in all_variants(large.plan)}
    folder = out / "scale"
    with Store(folder) as store:
        start = time.perf_counter()
        for k in range(0, len(keys), 200):
            store.add([replace(rows[i % len(rows)], key=keys[k + i], rim="solid_laminated" if i % 2 else "sheet") for i in range(min(200, len(keys) - k))])  # fmt: skip
        filled = time.perf_counter() - start
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
        start = time.perf_counter()
        write_sweep_page(large, keys, store, folder)
        page = time.perf_counter() - start
        start = time.perf_counter()
        write_csv(store.rows(keys.values()), large.plan, folder / "night.csv")
        table = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(f"{len(keys)} rows: filled in {filled:.0f} s, page {page:.1f} s, CSV {table:.0f} s, store "
          f"{(folder / 'night.sqlite').stat().st_size / 1e6:.0f} MB, peak memory {before:.0f} -> {after:.0f} MB")  # fmt: skip


if __name__ == "__main__":
    main()
