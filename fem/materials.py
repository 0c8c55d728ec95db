"""Wood as an elastic, dissipating, orthotropic material; the library of woods in woods.toml."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

Item = TypeVar("Item")
SHEAR_FACTOR = 5 / 6  # Reissner: shear stress parabolic through the thickness


@dataclass(frozen=True)
class Wood:
    """Elastic constants of a quarter-sawn board; isotropic materials use the same fields.

    L along the grain, R across it in the plane of the plate, T through the plate. nu_ij is -(strain j)/(strain i)
    under load along i. A loss factor of None means 'not known'; so does None for E_T, nu_LT, nu_RT, which only
    solid models need.
    """

    name: str
    E_L: float  # Pa
    E_R: float  # Pa
    G_LR: float  # Pa
    G_LT: float  # Pa
    G_RT: float  # Pa
    nu_LR: float
    density: float  # kg/m3
    E_T: float | None = None  # Pa
    nu_LT: float | None = None
    nu_RT: float | None = None
    loss_L: float | None = None  # loss factor of stretching along the grain
    loss_R: float | None = None  # across the grain
    loss_G: float | None = None  # in shear
    sources: dict[str, str] = field(default_factory=dict, compare=False)  # {constant: where its value comes from}

    def __post_init__(self) -> None:
        for name in ("E_L", "E_R", "G_LR", "G_LT", "G_RT", "density"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                raise ValueError(f"material '{self.name}': {name} = {value}; expected a positive number")
        if not self.nu_LR**2 < self.E_L / self.E_R:
            raise ValueError(
                f"material '{self.name}': Poisson ratio {self.nu_LR} is impossible with E_L/E_R = "
                f"{self.E_L / self.E_R:.3g}; expected less than {np.sqrt(self.E_L / self.E_R):.3g}"
            )

    @property
    def losses_known(self) -> bool:
        return None not in (self.loss_L, self.loss_R, self.loss_G)


def isotropic(name: str, E: float, nu: float, density: float, loss: float | None = None) -> Wood:
    """Wood with the constants of an isotropic material: E [Pa], nu [-], density [kg/m3]."""
    G = E / (2 * (1 + nu))
    return Wood(name, E, E, G, G, G, nu, density, E, nu, nu, loss, loss, loss)


def plane_stress_stiffness(wood: Wood) -> np.ndarray:
    """Q (3, 3) [Pa]: stresses (L, R, LR) of a thin plate from its strains. Jones, Mechanics of Composite Materials, 2.5."""
    nu_RL = wood.nu_LR * wood.E_R / wood.E_L
    c = 1 / (1 - wood.nu_LR * nu_RL)
    return np.array(
        [[c * wood.E_L, c * wood.nu_LR * wood.E_R, 0], [c * wood.nu_LR * wood.E_R, c * wood.E_R, 0], [0, 0, wood.G_LR]]
    )


def transverse_shear_stiffness(wood: Wood) -> np.ndarray:
    """(2, 2) [Pa]: mean shear stresses (LT, RT) from the shear strains, with the factor 5/6."""
    return SHEAR_FACTOR * np.diag([wood.G_LT, wood.G_RT])


def turned(wood: Wood) -> Wood:
    """The same board with the grain across: L and R exchanged (a ply laid crosswise)."""
    nu_RL = wood.nu_LR * wood.E_R / wood.E_L
    return Wood(
        wood.name, wood.E_R, wood.E_L, wood.G_LR, wood.G_RT, wood.G_LT, nu_RL, wood.density,
        wood.E_T, wood.nu_RT, wood.nu_LT, wood.loss_R, wood.loss_L, wood.loss_G, wood.sources,
    )  # fmt: skip


def lookup(name: str, table: Mapping[str, Item], what: str) -> Item:
    """table[name], or a ValueError that names the nearest right answer."""
    if name not in table:
        close = difflib.get_close_matches(name, table, n=1)
        hint = f" (did you mean '{close[0]}'?)" if close else ""
        raise ValueError(f"unknown {what} '{name}'{hint}; known: {', '.join(sorted(table))}")
    return table[name]
