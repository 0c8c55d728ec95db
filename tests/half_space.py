"""A rigid disc on an incompressible viscoelastic half-space, solved by Galerkin's method for its dual integral equations.

Tractions on the disc are sums whose Hankel transforms are spherical Bessel functions (of the static disc, 1/sqrt(1 - r^2), the first
alone); the surface is free beside it. Lengths over the radius, stresses over the complex shear modulus; kappa = omega a sqrt(rho/M).
"""

import numpy as np
from scipy.special import spherical_jn

LAST = 1500.0  # of the wave number; the rest of every integral is that of the static half-space


def disc_on_half_space(x, motion, functions=20):
    """F/(u M a), or couple/(slope M a^3), of x = i kappa, complex; motion: 'pressing' (without rubbing), 'sliding' (stuck, its cross
    motions left free), 'rocking' or 'stuck' (pressing while stuck).
    """
    node, weight = np.polynomial.legendre.leggauss(6)
    edge = np.linspace(0, LAST, int(LAST / 1.5))
    half = np.diff(edge) / 2
    k = (edge[:-1, None] + half[:, None] * (1 + node)).ravel()
    w = (half[:, None] * weight).ravel() * k
    normal, along, across, coupled = surface_flexibility(k, x)
    n = np.arange(functions)
    even, odd = spherical_jn(2 * n[:, None], k), spherical_jn(2 * n[:, None] + 1, k)
    tail = lambda S: np.outer((-1.0) ** n, (-1.0) ** n) * S[-1] * k[-1] / (2 * LAST)  # mean of sin^2 or cos^2 over k^2
    of = lambda S, a, b: (a * (S * w)) @ b.T
    work = np.zeros(functions)
    work[0] = 1.0 if motion != "rocking" else 2 / 3
    if motion == "stuck":
        off = of(coupled, even, odd)
        A = np.block([[of(normal, even, even) + tail(normal), off], [off.T, of(along, odd, odd) + tail(along)]])
        work = np.append(work, np.zeros(functions))
    else:
        S = (along + across) / 2 if motion == "sliding" else normal
        A = of(S, *(odd, odd) if motion == "rocking" else (even, even)) + tail(S)
    return (np.pi if motion == "rocking" else 2 * np.pi) * work @ np.linalg.solve(A, work)


def surface_flexibility(k, x):
    """Displacement over traction of waves k on the surface: normal, along k, across k (shear alone), and normal from along."""
    square = -(x**2)  # kappa^2
    beta = np.sqrt(k**2 - square + 0j)
    beta = np.where(beta.real < 0, -beta, beta)
    # Rayleigh's function (2 k^2 - kappa^2)^2 - 4 k^3 beta is -kappa^2 k / normal: written without its cancellation
    normal = 1 / (4 * k * beta / (k + beta) - square / k)
    return normal, beta / k * normal, 1 / beta, -square / (k + beta) ** 2 * normal
