"""Air outside the example guitar by a general-purpose boundary-element library: writes tests/air_outside.json.

The library is bempp-cl (Betcke & Scroggs, J. Open Source Softw. 6:2879, 2021): Galerkin, pressure linear and continuous, velocity
constant on each triangle, where the project collocates constant pressures. It is no dependency of the project:

    python -m venv /somewhere/venv && /somewhere/venv/bin/pip install bempp-cl numba scikit-fem pydantic pymetis rslab
    OMP_NUM_THREADS=1 PYTHONPATH=. /somewhere/venv/bin/python tests/reference_scripts/air_outside.py

Impedances on meshes of three sizes are written as they come; the limits are taken where they are used.
"""

import json
import sys
from pathlib import Path

import bempp_cl.api as bempp
import numpy as np
import scipy.linalg as sl
from bempp_cl.api.operators.boundary import helmholtz, sparse

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from air_outside_cases import FREQUENCY, motions  # noqa: E402

from fem.air import DENSITY, SPEED  # noqa: E402
from meshes.outer_surface import outer_surface  # noqa: E402
from meshes.sheet import read_sheet  # noqa: E402

SIZES = (0.045, 0.031, 0.022)  # m


def impedance(mesh, frequency):
    """Z (n, n) [N s/m and so on] of the motions on an OuterSurface at a frequency [Hz], e^{+i omega t}."""
    omega = 2 * np.pi * frequency
    grid = bempp.Grid(mesh.nodes.T, mesh.triangles.T.astype(np.uint32))
    linear, constant = bempp.function_space(grid, "P", 1), bempp.function_space(grid, "DP", 0)
    k = omega / SPEED
    single = helmholtz.single_layer(constant, linear, linear, k, device_interface="numba").weak_form().A
    double = helmholtz.double_layer(linear, linear, linear, k, device_interface="numba").weak_form().A
    mass = sparse.identity(linear, linear, linear).weak_form().A
    onto = sparse.identity(constant, linear, linear).weak_form().A  # int (linear) (constant) dS
    V = motions(mesh)
    # p/2 = K p - S dp/dn, e^{-i omega t} in the library: dp/dn = i omega rho v
    p = sl.solve(mass.toarray() / 2 - double, -single @ (1j * omega * DENSITY * V))
    return V.T @ (onto.T @ p.conj())


def main():
    body, meshes, found = read_sheet(ROOT / "meshes/bodies/hazel.toml"), [], []
    for size in SIZES:
        meshes.append(outer_surface(body, size))
        found.append([impedance(meshes[-1], f) for f in FREQUENCY])
        print(size, *(np.diag(z) for z in found[-1]), sep="\n", flush=True)
    Z = np.array(found)  # (sizes, frequencies, motions, motions)
    written = {
        "made_by": f"tests/reference_scripts/air_outside.py with bempp-cl {bempp.__version__}",
        "size_m": SIZES,
        "triangles": [len(mesh.triangles) for mesh in meshes],
        "frequency_hz": FREQUENCY,
        "resistance": Z.real.tolist(),
        "reactance": Z.imag.tolist(),
    }
    (ROOT / "tests/air_outside.json").write_text(json.dumps(written) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
