"""Error against unknowns and against time for the elements P2, P3 and P4 with full integration. Prints Markdown.

Run from the root of the repository: python tests/benchmarks/bench_elements.py [--quick]
"""

import sys
import time
from pathlib import Path

import numpy as np
from skfem.element import ElementTriP2, ElementTriP3, ElementTriP4

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import shell_cases as cases  # noqa: E402
from test_plates import navier  # noqa: E402

from fem.eigen import modes  # noqa: E402
from fem.materials import Wood  # noqa: E402
from fem.model import assemble, weights  # noqa: E402
from fem.sections import Layer, laminate  # noqa: E402

ELEMENTS = {"P2": ElementTriP2, "P3": ElementTriP3, "P4": ElementTriP4}
SIDE = Wood("side", 13e9, 1.8e9, 1.4e9, 1.1e9, 0.4e9, 0.36, 750.0)
COUNT = 12  # modes compared


def free_plate(n):
    return cases.plate(0.5, 0.4, n, n, grain=15), {"plate": laminate([Layer(cases.SPRUCE, 0.003)])}, lambda space: ()


def supported_plate(n):
    sections = {"plate": laminate([Layer(cases.SPRUCE, 0.003)])}
    return cases.plate(0.5, 0.4, n, n), sections, lambda space: cases.hard_support(space, 0.5, 0.4)


def free_cylinder(n):
    return cases.closed_tube(0.2, 0.1, 4 * n, n // 2), {"plate": laminate([Layer(SIDE, 0.0022)])}, lambda space: ()


def closed_box(n):
    plate, side = laminate([Layer(cases.SPRUCE, 0.0028)]), laminate([Layer(SIDE, 0.0022)])
    mesh = cases.folded_box(0.49, 0.385, 0.105, n, turn=np.eye(3), braces=False)
    return mesh, {"top": plate, "back": plate, "sides": side}, lambda space: ()


# {name: (case, divisions to compare, reference: function giving Hz, or divisions of the P4 run that serves as one)}
CASES = {
    "free orthotropic plate, grain at 15 degrees": (free_plate, (4, 6, 8, 12, 16), 16),
    "simply supported orthotropic plate": (
        supported_plate, (4, 6, 8, 12, 16), lambda: navier(cases.SPRUCE, 0.5, 0.4, 0.003, COUNT)
    ),
    "free cylinder (facets: the geometry is refined with the mesh)": (free_cylinder, (4, 6, 8, 12), 18),
    "closed box with sharp folds": (closed_box, (4, 6, 8, 12), 16),
}  # fmt: skip


def run(case, n, element):
    """Frequencies [Hz], unknowns, seconds of assembly, seconds of the modes."""
    mesh, sections, fixed = case(n)
    start = time.perf_counter()
    model = assemble(mesh, element=element())
    assembled = time.perf_counter()
    found = modes(model, weights(sections), COUNT, fixed(model.space))
    return found.frequency, model.size, assembled - start, time.perf_counter() - assembled


def table(case, divisions, reference):
    """Markdown rows of one case."""
    own = not callable(reference)
    true = run(case, reference, ElementTriP4)[0] if own else reference()
    note = f"P4 with {reference} divisions" if own else "Navier's solution of the shear-flexible plate"
    yield f"Reference: {note}; first mode {true[0]:.3f} Hz.\n"
    yield "| element | divisions | unknowns | worst error % | mean error % | operators s | matrices and modes s |"
    yield "|---|---|---|---|---|---|---|"
    for name, element in ELEMENTS.items():
        for n in divisions:
            found, unknowns, set_up, solve = run(case, n, element)
            error = 100 * np.abs(found / true - 1)
            yield f"| {name} | {n} | {unknowns} | {error.max():.3f} | {error.mean():.3f} | {set_up:.2f} | {solve:.2f} |"


def main():
    quick = "--quick" in sys.argv
    print(f"# Elements, {COUNT} elastic modes, wall time on this machine\n")
    for name, (case, divisions, reference) in CASES.items():
        print(f"## {name}\n")
        for line in table(
            case,
            divisions[:2] if quick else divisions,
            min(reference, 8) if quick and not callable(reference) else reference,
        ):
            print(line, flush=True)
        print()


if __name__ == "__main__":
    main()
