"""A soft, heavy half-space that keeps its volume, under a disc: spring, dashpot and moving mass of one solution.

Force over displacement at the disc, e^{+i omega t}: F/u = M a (alpha + beta x + gamma x^2), M = G + i omega mu the complex shear
modulus, a the radius, x = i omega a sqrt(rho/M). For a sphere in unbounded flesh that law is exact (Oestreicher, JASA 23:707, 1951:
6 pi (1 + x + x^2/9)); for a disc on the surface it holds within a few per cent (docs/theory.md). alpha is the static disc
(Johnson, Contact Mechanics, 1985; Mindlin 1949 along the surface), gamma the mass of a potential flow with a free surface beside the
disc (half of Lamb, Hydrodynamics, art. 102 and 108), beta the shear waves: along the surface exactly pi, the rest fitted to the
solution by dual integral equations in tests/half_space.py.
"""

from dataclasses import dataclass

import numpy as np

ALPHA = np.array(
    [8.0, 16 / 3, 16 / 3]
)  # of the disc pressing in without rubbing, sliding while stuck, rocking (times a^2)
BETA = np.array([6.8, np.pi, 1.4])
GAMMA = np.array([4 / 3, 0.0, 8 / 45])


@dataclass(frozen=True)
class UnderDisc:
    """What a disc feels that presses into flesh, slides on it, or rocks on it, in this order."""

    stiffness: np.ndarray  # (3,) N/m, N/m, N m
    resistance: np.ndarray  # (3,) N s/m, N s/m, N m s
    mass: np.ndarray  # (3,) kg, kg, kg m2


def under_disc(radius: float, modulus: float, viscosity: float, density: float, omega: float) -> UnderDisc:
    """UnderDisc of a radius [m] on flesh of shear modulus [Pa], viscosity [Pa s] and density [kg/m3].

    Exactly the law at omega [rad/s], where the shear waves' sqrt(rho M), as dashpot and as mass, is frozen.
    """
    a, turn = radius, np.array([1.0, 1.0, radius**2])  # a slope in place of a displacement
    wave = np.sqrt(density * (modulus + 1j * omega * viscosity))  # Pa s/m
    return UnderDisc(
        turn * ALPHA * modulus * a,
        turn * (ALPHA * viscosity * a + BETA * wave.real * a**2),
        turn * (GAMMA * density * a**3 + BETA * wave.imag / omega * a**2),
    )
