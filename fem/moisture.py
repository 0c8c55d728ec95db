"""Moisture: how much water wood holds in air of a given humidity, how it moves with it, and what stress that leaves.

Stress in a board that would change by the free strain e0 if nothing held it: sigma = Q (eps - e0). The load that goes
with it is int B' C e0, so that a free body of one wood moves without stress. Stiffness is taken at 12 % moisture.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from fem import woods
from fem.elements import Operator
from fem.materials import Wood, plane_stress_stiffness
from fem.mesh import ShellMesh, part_of
from fem.model import Model, strains, weights
from fem.sections import Section
from fem.statics import free_strain

ROOM = 21.0  # degrees Celsius
COEFFICIENTS = {  # of the temperature [degrees Celsius]: constant, linear, square
    "W": (349, 1.29, 0.0135),
    "K": (0.805, 0.000736, -0.00000273),
    "K1": (6.27, -0.00938, -0.000303),
    "K2": (1.91, 0.0407, -0.000293),
}
REFERENCE = 10.0  # % moisture at which the printed coefficients count the dimension


@dataclass(frozen=True)
class Movement:
    """What a wood does when its moisture content changes by 1 %, and its mean strength across the grain."""

    along: float  # strain per 1 % of moisture
    radial: float
    tangential: float
    strength: float  # Pa, mean in tension across the grain at 12 % moisture
    sources: dict[str, str]  # {'along', 'radial', 'tangential', 'strength': source}


def equilibrium_moisture(humidity: float, temperature: float = ROOM) -> float:
    """Moisture content [% of the dry weight] of wood kept in air of a relative humidity [%] and temperature [C].

    Wood Handbook FPL-GTR-190, eq. (4-5): two hydrates, fitted by Simpson, Wood and Fiber 5:41 (1973). ValueError outside
    0 to 95 % and 0 to 60 C.
    """
    for name, value, low, high, unit in (
        ("relative humidity", humidity, 0, 95, "%"),
        ("temperature", temperature, 0, 60, "degrees Celsius"),
    ):
        if not low <= value <= high:
            raise ValueError(f"{name} {value:g}; expected {low} to {high} {unit}")
    W, K, K1, K2 = (a + b * temperature + c * temperature**2 for a, b, c in COEFFICIENTS.values())
    h = K * humidity / 100
    return 1800 / W * (h / (1 - h) + (K1 * h + 2 * K1 * K2 * h**2) / (1 + K1 * h + K1 * K2 * h**2))


# --- how woods move ---


@cache
def read_table() -> dict[str, Any]:
    """The parsed shrinkage.toml."""
    return tomllib.loads(Path(__file__).with_name("shrinkage.toml").read_text(encoding="utf-8"))


def from_shrinkage(percent: float) -> float:
    """Strain per 1 % of moisture from a shrinkage [%] green to ovendry, taken as proportional below fibre saturation.

    Counted on the dimension at 10 % moisture, as the printed coefficients are.
    """
    saturation = read_table()["common"]["fibre_saturation_percent"][0]
    s = percent / 100
    return s / saturation / (1 - s * (saturation - REFERENCE) / saturation)


def movement(wood: Wood) -> Movement:
    """Movement of a Wood, by its name; of a plywood from its plies; of a wood not listed the mean of common ones."""
    name = wood.name.removesuffix("_bending")
    if name in read_table()["wood"]:
        return _listed(name, wood.density)
    if name in woods.read_table()["plywood"]:
        return _plywood(name)
    names = read_table()["unknown"]["mean_of"]
    known = [_listed(n, wood.density) for n in names]
    source = f"assumed: mean of {', '.join(names)}; '{wood.name}' is not in the list of woods whose movement is known"
    keys = ("along", "radial", "tangential", "strength")
    mean = {key: float(np.mean([getattr(m, key) for m in known])) for key in keys}
    return Movement(**mean, sources=dict.fromkeys(keys, source))


def _listed(name: str, density: float) -> Movement:
    raw, table = read_table()["wood"][name], read_table()
    told = lambda source: table["source"].get(source, source)
    number, source, *_ = table["common"]["longitudinal_percent"]
    strains, sources = {"along": from_shrinkage(number)}, {"along": source}
    for key in ("radial", "tangential"):
        if key in raw:
            strains[key], sources[key] = raw[key][0], told(raw[key][1])
        else:
            percent, source = raw[f"shrinkage_{key}"]
            strains[key], sources[key] = from_shrinkage(percent), f"{told(source)}: {percent:g} % green to ovendry"
    if "across_MPa" in raw:
        strength, sources["strength"] = raw["across_MPa"][0], told(raw["across_MPa"][1])
    else:
        rule = table["strength"][raw["kind"]]
        strength, sources["strength"] = rule["factor"] * (density / 1120) ** rule["power"], rule["source"]
    return Movement(**strains, strength=1e6 * strength, sources=sources)


def _plywood(name: str) -> Movement:
    """In-plane movement of a symmetric stack of rotary-cut veneers, tangential in their plane, by laminate theory."""
    A, N, weakest = np.zeros((3, 3)), np.zeros(3), []
    through = total = 0.0
    for wood, share, angle in woods.plies(name):
        m = movement(wood)
        Q, e = plane_stress_stiffness(wood), np.array([m.along, m.tangential, 0])
        if angle == 90:
            Q, e = Q[np.ix_([1, 0, 2], [1, 0, 2])], e[[1, 0, 2]]
        A, N = A + share * Q, N + share * Q @ e
        through, total = through + share * m.radial, total + share
        weakest.append(m.strength)
    e = np.linalg.solve(A, N)
    source = "estimated: laminate theory from the plies' woods"
    return Movement(
        float(e[0]),
        float(e[1]),
        through / total,
        min(weakest),
        dict.fromkeys(("along", "radial", "tangential", "strength"), source),
    )


def swelling_strain(family: str, along: float, across: float) -> np.ndarray:
    """Strain of a shell (9,) or a beam (6,) of one wood whose free strains are `along` and `across` its first axis.

    No curvature, whatever the distance from the reference surface: a uniform strain is the same everywhere.
    """
    return np.array([along, across] + 7 * [0.0]) if family == "shell" else np.array([along] + 5 * [0.0])


def strain_along(mesh: ShellMesh, region: str, along: float, across: float) -> np.ndarray:
    """(elements, 9) strain in the axes of a region that goes with a board whose free strains are `along` and `across`.

    region: of a part whose own surface, named as the part, has the board's grain.
    """
    surface, board = mesh.surfaces[region], mesh.surfaces[part_of(region)]
    grain = np.full((len(mesh.triangles), 3), np.nan)
    grain[board.triangles] = board.grain
    c = np.sum(surface.grain * grain[surface.triangles], axis=1)
    s2 = 1 - c**2
    turn = np.sum(np.cross(surface.grain, grain[surface.triangles]) * mesh.normal[surface.triangles], axis=1)
    strain = np.zeros((len(surface.triangles), 9))
    strain[:, 0] = along * c**2 + across * s2
    strain[:, 1] = along * s2 + across * c**2
    strain[:, 2] = 2 * c * turn * (along - across)
    return strain


# --- load and stress ---


def swelling_load(model: Model, swelling: Mapping[str, Sequence[tuple[Section, np.ndarray]]]) -> np.ndarray:
    """(size,) load of parts that would take up strains of their own if nothing held them.

    swelling: {region: [(Section, strain of its family)]}, one entry for each layer of the region: together their
    sections are the region's own.
    """
    F = np.zeros(model.size)
    for region, layers in swelling.items():
        for section, strain in layers:
            F += free_strain(model, weights({region: section}), region, strain)
    return F


def stiffness_operator(model: Model, region: str) -> Operator:
    """The strain operator of a region. ValueError for a region that the model has not."""
    for op in model.operators:
        if op.role == "K" and op.region == region:
            return op
    raise ValueError(f"no region '{region}' in the model")


def laminate_stress(
    model: Model, region: str, wood: Wood, displacement: np.ndarray, free: tuple[float, float], z: float = 0.0
) -> np.ndarray:
    """(elements, points, 3) Pa along, across and in shear at a distance z [m] from the middle surface of a region.

    displacement (size,); free: (along, across) strain that the board would take up if nothing held it. z may be a
    number, outward positive.
    """
    e = strains(stiffness_operator(model, region), displacement[:, None])[..., 0]
    return (e[..., :3] + z * e[..., 3:6] - np.array([*free, 0.0])) @ plane_stress_stiffness(wood)
