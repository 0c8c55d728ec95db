"""Sound outside a vibrating body: boundary elements on its closed surface, radiated power, pressure at points.

Collocation at the centroids of flat triangles of constant pressure and normal velocity, e^{+i omega t}, outward normals:
p/2 = int (p dG/dn - G dp/dn) dS with G = exp(-ikr)/(4 pi r) and dp/dn = -i omega rho v (Kirchhoff-Helmholtz; Pierce,
Acoustics, 1981). The static parts of the integrals (1/r and the solid angle) are exact, the smooth remainder is
taken at three points. An opening is a piston: triangles that move as one. Below the first resonance of the interior
(some 1.7 kHz where the body is 100 mm deep) no irregular frequency spoils the solution. On some 1200 triangles of a
body the resistances of what pumps air are within 1 % of their limit, of a body that swings 3 % above it (a back that rocks: 3 %
below), added mass within 3 % (tests/test_air_outside.py); power by surface
integral and by far field agree to .4 % where a thousandth of a mode's loss is sound, to 1.1 % where nearly all its flow
cancels.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg as sl

from fem.air import DENSITY, SPEED

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

FREQUENCIES = (40.0, 120.0, 220.0, 330.0, 445.0, 560.0, 680.0, 800.0, 910.0, 1000.0)  # Hz; R between them to 2 %
THREE_POINTS = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6  # degree 2, weights 1/3
BLOCK = 200  # rows of the dense matrices, or frequencies, worked on at a time


# --- the surface ---


@dataclass(frozen=True)
class Boundary:
    """Closed surface of m flat triangles; made by boundary()."""

    corners: np.ndarray  # (m, 3 corners, 3) m
    centroid: np.ndarray  # (m, 3) m
    normal: np.ndarray  # (m, 3) outward unit
    area: np.ndarray  # (m,) m2


def boundary(nodes: np.ndarray, triangles: np.ndarray) -> Boundary:
    """Boundary of nodes (n, 3) [m] and triangles (m, 3). ValueError unless it is closed and its normals point outward."""
    edges = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    there, count = np.unique(edges, axis=0, return_counts=True)
    back = np.unique(edges[:, ::-1], axis=0)
    if count.max() > 1 or there.shape != back.shape or (there != back).any():
        lone = len(set(map(tuple, there)) ^ set(map(tuple, back)))
        raise ValueError(
            f"the outer surface is not closed: {lone} edges lack a neighbour that runs the other way, "
            f"{np.sum(count > 1)} are used twice the same way; expected every edge shared by two triangles"
        )
    corners = nodes[triangles]
    a, b, c = corners.transpose(1, 0, 2)
    twice = np.cross(b - a, c - a)
    size = np.linalg.norm(twice, axis=1)
    if np.einsum("mi,mi->", twice, a) <= 0:
        raise ValueError("the outer surface's normals point inward: turn its triangles round")
    return Boundary(corners, corners.mean(axis=1), twice / size[:, None], size / 2)


def piston(surface: Boundary, triangles: np.ndarray) -> np.ndarray:
    """(m,) normal velocity of triangles (indices) that move as one with a volume velocity of 1 m3/s: an opening."""
    velocity = np.zeros(len(surface.area))
    velocity[triangles] = 1 / surface.area[triangles].sum()
    return velocity


# --- integrals of G and dG/dn over every triangle ---


def static_integrals(surface: Boundary, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """int 1/r dS [m] and the solid angle int (r.n)/r^3 dS of every triangle seen from points (p, 3); both (p, m), exact.

    A solid angle is positive where the normal points away from the point; a point on the triangle's own plane sees none.
    van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30:125 (1983); Wilton et al., IEEE Trans. Antennas Propag. 32:276
    (1984).
    """
    a, b, c = (corner[None] - points[:, None] for corner in surface.corners.transpose(1, 0, 2))
    dot = lambda u, v: np.einsum("pmi,pmi->pm", u, v)
    A, B, C = (np.sqrt(dot(v, v)) for v in (a, b, c))
    height = np.einsum("pmi,mi->pm", a, surface.normal)
    volume = 2 * surface.area * height  # a . (b x c)
    angle = 2 * np.arctan2(volume, A * B * C + dot(a, b) * C + dot(b, c) * A + dot(c, a) * B)
    on_plane = np.abs(height) < 1e-9 * np.sqrt(surface.area)
    angle[on_plane] = 0
    integral = -np.abs(height) * np.abs(angle)
    for k, (u, U, V) in enumerate(((a, A, B), (b, B, C), (c, C, A))):
        edge = surface.corners[:, (k + 1) % 3] - surface.corners[:, k]
        length = np.linalg.norm(edge, axis=1)
        outward = np.cross(edge, surface.normal) / length[:, None]
        gap = np.maximum(U + V - length, 1e-14 * length)
        integral += np.einsum("pmi,mi->pm", u, outward) * np.log((U + V + length) / gap)
    return integral, angle


@dataclass(frozen=True)
class Static:
    """What no frequency changes in the integrals over m triangles seen from p points; made by static()."""

    single: np.ndarray  # (p, m) int 1/r dS [m]
    angle: np.ndarray  # (p, m) solid angle
    distance: np.ndarray  # (3, p, m) m, to the THREE_POINTS of each triangle
    dipole: np.ndarray  # (3, p, m) 1/m, S (r.n)/(12 pi r^3) there


def static(surface: Boundary, points: np.ndarray | None = None) -> Static:
    """Static of a Boundary seen from points (p, 3), or from its own centroids; made in blocks of rows."""
    points = surface.centroid if points is None else points
    p, m = len(points), len(surface.area)
    single, angle = np.empty((p, m)), np.empty((p, m))
    distance, dipole = np.empty((3, p, m)), np.empty((3, p, m))
    for rows in _blocks(p):
        single[rows], angle[rows] = static_integrals(surface, points[rows])
        for j, weights in enumerate(THREE_POINTS):
            d = np.einsum("k,mki->mi", weights, surface.corners)[None] - points[rows, None]
            r = np.sqrt(np.einsum("pmi,pmi->pm", d, d))
            distance[j, rows] = r
            dipole[j, rows] = surface.area * np.einsum("pmi,mi->pm", d, surface.normal) / (12 * np.pi * r**3)
    return Static(single, angle, distance, dipole)


def _influence(
    surface: Boundary, seen: Static, rows: slice, k: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Re G, Im G, Re H, Im H (rows, m) of int G dS and H = int dG/dn dS at the wave number k [1/m].

    With c - i s = exp(-ikr) the smooth parts are (c - 1 - i s)/r and those of dG/dn, (1 + ikr) exp(-ikr) - 1.
    """
    G, H = seen.single[rows] / (4 * np.pi), seen.angle[rows] / (-4 * np.pi)
    G_imag, H_imag = np.zeros_like(G), np.zeros_like(H)
    for r, dipole in zip(seen.distance[:, rows], seen.dipole[:, rows]):
        kr, single = k * r, surface.area / (12 * np.pi * r)
        c, s = np.cos(kr), np.sin(kr)
        G += single * (c - 1)
        G_imag -= single * s
        H -= dipole * (c + kr * s - 1)
        H_imag -= dipole * (kr * c - s)
    return G, G_imag, H, H_imag


def _blocks(m: int) -> list[slice]:
    return [slice(i, min(i + BLOCK, m)) for i in range(0, m, BLOCK)]


# --- pressure ---


def surface_pressure(
    surface: Boundary, fixed: Static, velocity: np.ndarray, omega: float, density: float = DENSITY, speed: float = SPEED
) -> np.ndarray:
    """Pressure (m, n) [Pa] on the surface for normal velocities (m, n) [m/s, outward] at omega [rad/s].

    velocity: the mean over each triangle (the value at its centroid serves). fixed: static(surface).
    """
    m = len(surface.area)
    A, source = np.empty((m, m), complex), np.empty((m, velocity.shape[1]), complex, order="F")
    for rows in _blocks(m):
        G, G_imag, H, H_imag = _influence(surface, fixed, rows, omega / speed)
        A.real[rows], A.imag[rows] = -H, -H_imag
        source[rows] = 1j * omega * density * _product(G, G_imag, velocity)
    A[np.diag_indices(m)] += 0.5
    factor = sl.lu_factor(A.T, overwrite_a=True, check_finite=False)  # of the transpose, which lies as LAPACK wants it
    return sl.lu_solve(factor, source, trans=1, overwrite_b=True, check_finite=False)


def _product(real: np.ndarray, imag: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """(real + i imag) @ columns; real columns take half the work."""
    if np.isrealobj(columns):
        return real @ columns + 1j * (imag @ columns)
    return (real + 1j * imag) @ columns


def pressure_at(
    surface: Boundary,
    pressure: np.ndarray,
    velocity: np.ndarray,
    points: np.ndarray,
    omega: float,
    density: float = DENSITY,
    speed: float = SPEED,
) -> np.ndarray:
    """Pressure (p, n) [Pa] at points (p, 3) outside, from surface pressures and normal velocities (m, n)."""
    return _pressure_seen(surface, pressure, velocity, static(surface, points), omega, density, speed)


def _pressure_seen(surface, pressure, velocity, seen, omega, density, speed):
    """As pressure_at, from the Static of the points."""
    found = np.empty((len(seen.single), velocity.shape[1]), complex)
    for rows in _blocks(len(found)):
        G, G_imag, H, H_imag = _influence(surface, seen, rows, omega / speed)
        found[rows] = _product(H, H_imag, pressure) + 1j * omega * density * _product(G, G_imag, velocity)
    return found


def far_pressure(
    surface: Boundary,
    pressure: np.ndarray,
    velocity: np.ndarray,
    directions: np.ndarray,
    omega: float,
    density: float = DENSITY,
    speed: float = SPEED,
) -> np.ndarray:
    """Far pressure times distance (d, n) [Pa m], the phase exp(-ikr) of the origin left out, in unit directions (d, 3)."""
    k = omega / speed
    wave = np.exp(1j * k * directions @ surface.centroid.T) * surface.area / (4 * np.pi)
    return wave @ (1j * omega * density * velocity) + (1j * k * wave * (directions @ surface.normal.T)) @ pressure


def sphere_directions(order: int = 14) -> tuple[np.ndarray, np.ndarray]:
    """Unit directions (2 order^2, 3) and their solid angles, summing to 4 pi: Gauss points by evenly spaced meridians."""
    z, weight = np.polynomial.legendre.leggauss(order)
    angle = np.pi * np.arange(2 * order) / order
    ring = np.sqrt(1 - z**2)[:, None]
    xyz = np.stack(
        [ring * np.cos(angle), ring * np.sin(angle), np.broadcast_to(z[:, None], (order, 2 * order))], axis=-1
    )
    return xyz.reshape(-1, 3), np.repeat(weight, 2 * order) * np.pi / order


def directivity(far: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Intensity over its mean over all directions (d, n) [-] from far pressures (d, n) and their solid angles (d,)."""
    intensity = np.abs(far) ** 2
    return intensity / (weights @ intensity / weights.sum())


# --- power ---


def surface_power(surface: Boundary, pressure: np.ndarray, velocity: np.ndarray) -> np.ndarray:
    """Mean radiated power (n,) [W] of amplitudes (m, n): 1/2 Re int p v* dS."""
    return 0.5 * np.real(np.einsum("m,mn,mn->n", surface.area, pressure, velocity.conj()))


def far_power(far: np.ndarray, weights: np.ndarray, density: float = DENSITY, speed: float = SPEED) -> np.ndarray:
    """Mean radiated power (n,) [W] from far pressures times distance (d, n) and their solid angles."""
    return weights @ np.abs(far) ** 2 / (2 * density * speed)


def radiation_efficiency(
    surface: Boundary, power: np.ndarray, velocity: np.ndarray, density: float = DENSITY, speed: float = SPEED
) -> np.ndarray:
    """sigma (n,) [-]: power over that of plane waves leaving the same surface at the same velocities."""
    return power / (0.5 * density * speed * (surface.area @ np.abs(velocity) ** 2))


# --- between modes, over frequency ---


@dataclass(frozen=True)
class Radiation:
    """What the air outside does to n unknowns (modes, openings): force = (R + i omega M_a) times velocity.

    Also the pressure at some points per unit velocity of each unknown, where points were given.
    """

    frequency: np.ndarray  # (k,) Hz, ascending
    resistance: np.ndarray  # (k, n, n) R, symmetric, no negative eigenvalue
    added_mass: np.ndarray  # (k, n, n) M_a, symmetric
    pressure: np.ndarray | None = None  # (k, p, n) complex
    distance: np.ndarray | None = None  # (p,) m, of the points from the middle of the surface
    speed: float = SPEED


def radiation(
    surface: Boundary,
    velocity: np.ndarray,
    frequency: Sequence[float] | np.ndarray = FREQUENCIES,
    points: np.ndarray | None = None,
    density: float = DENSITY,
    speed: float = SPEED,
    clip: bool = True,
) -> Radiation:
    """Radiation of unknowns whose unit velocities move the surface with normal velocities (m, n), at some frequencies.

    clip: set negative eigenvalues of R, errors of the elements, to zero. False where other unknowns are made from these
    first (see `clipped`).
    """
    frequency = np.sort(np.asarray(frequency, float))
    fixed, seen = static(surface), None if points is None else static(surface, points)
    R, M, at_points, weighted = [], [], [], velocity.T * surface.area
    for omega in 2 * np.pi * frequency:
        p = surface_pressure(surface, fixed, velocity, omega, density, speed)
        real, imag = weighted @ p.real, weighted @ p.imag
        R.append((real + real.T) / 2)
        M.append((imag + imag.T) / 2 / omega)
        if seen is not None:
            at_points.append(_pressure_seen(surface, p, velocity, seen, omega, density, speed))
    found = Radiation(frequency, np.array(R), np.array(M), speed=speed)
    if points is not None:
        distance = np.linalg.norm(points - surface.area @ surface.centroid / surface.area.sum(), axis=1)
        found = replace(found, pressure=np.array(at_points), distance=distance)
    return clipped(found) if clip else found


def in_basis(radiation: Radiation, T: np.ndarray) -> Radiation:
    """The Radiation of unknowns y, with the old unknowns = T y, T (n, r): other modes, or zero rows for enclosed air."""
    turn = lambda A: np.einsum("ia,kij,jb->kab", T, A, T, optimize=True)
    pressure = None if radiation.pressure is None else radiation.pressure @ T
    return replace(
        radiation, resistance=turn(radiation.resistance), added_mass=turn(radiation.added_mass), pressure=pressure
    )


def clipped(radiation: Radiation) -> Radiation:
    """The Radiation with negative eigenvalues of R set to zero at its own frequencies."""
    return replace(radiation, resistance=_without_negative(radiation.resistance))


@dataclass(frozen=True)
class RadiationAt:
    """A Radiation at w frequencies: the impedance Z = R + i omega M_a of the m unknowns that meet the air outside.

    Made by radiation_at(). Supports and losses leave it as it is.
    """

    omega: np.ndarray  # (w,) rad/s
    unknowns: np.ndarray  # (m,) indices of them among the Radiation's n
    impedance: np.ndarray = field(repr=False)  # (w, m, m) complex; Re Z symmetric, without negative eigenvalue

    def part(self, rows: slice) -> "RadiationAt":
        """The same at some of the frequencies alone."""
        return RadiationAt(self.omega[rows], self.unknowns, self.impedance[rows])


def radiation_at(radiation: Radiation, omega: float | np.ndarray) -> RadiationAt:
    """RadiationAt omega (w,) [rad/s]: R/omega^2 and M_a interpolated over frequency, negative eigenvalues of R clipped."""
    omega = np.atleast_1d(omega)
    unknowns = np.flatnonzero(radiation.resistance.any(axis=(0, 1)) | radiation.added_mass.any(axis=(0, 1)))
    own = lambda A: A[:, unknowns[:, None], unknowns]
    over = own(radiation.resistance) / ((2 * np.pi * radiation.frequency) ** 2)[:, None, None]
    added = own(radiation.added_mass)
    Z = np.empty((len(omega), len(unknowns), len(unknowns)), complex)
    for rows in _blocks(len(omega)):
        w, weights = omega[rows, None, None], _spline_weights(radiation.frequency, omega[rows])
        Z.real[rows] = w**2 * _without_negative(np.tensordot(weights, over, axes=1))
        Z.imag[rows] = w * np.tensordot(weights, added, axes=1)
    return RadiationAt(omega, unknowns, Z)


def resistance_at(radiation: Radiation, omega: float | np.ndarray) -> np.ndarray:
    """R (w, n, n) at omega (w,) [rad/s], as radiation_at gives it."""
    found, n = radiation_at(radiation, omega), radiation.resistance.shape[1]
    R = np.zeros((len(found.omega), n, n))
    R[:, found.unknowns[:, None], found.unknowns] = found.impedance.real
    return R


def added_mass_at(radiation: Radiation, omega: float | np.ndarray) -> np.ndarray:
    """M_a (w, n, n) at omega (w,) [rad/s], interpolated over frequency."""
    return np.tensordot(_spline_weights(radiation.frequency, np.atleast_1d(omega)), radiation.added_mass, axes=1)


def point_pressure(radiation: Radiation, velocity: np.ndarray, omega: np.ndarray) -> np.ndarray:
    """Pressure (w, p) [Pa] at the Radiation's points for velocities (w, n) of the unknowns at omega (w,) [rad/s].

    Interpolated without its travelling phase and its leading factor i omega, both put back.
    """
    if radiation.pressure is None:
        raise ValueError("no points were given when the radiation was computed: pass points=")
    phase = lambda w: np.exp(-1j * w[:, None] / radiation.speed * radiation.distance) * (1j * w[:, None])
    known = radiation.pressure / phase(2 * np.pi * radiation.frequency)[:, :, None]
    smooth = np.tensordot(_spline_weights(radiation.frequency, omega), known, axes=1)
    return phase(omega) * np.einsum("wpn,wn->wp", smooth, velocity)


def _spline_weights(frequency: np.ndarray, omega: np.ndarray) -> np.ndarray:
    """(w, k) weights that interpolate values at k frequencies: the cubic spline even in frequency; constant above the last."""
    if len(frequency) < 4:
        raise ValueError(f"radiation known at {len(frequency)} frequencies; expected at least 4 to interpolate between")
    return _spline(tuple(frequency.tolist()))(np.minimum(omega / (2 * np.pi), frequency[-1]))


@lru_cache(maxsize=8)
def _spline(frequency: tuple[float, ...]) -> "CubicSpline":
    """CubicSpline through the unit vectors at frequencies (k,) and, mirrored, at their negatives."""
    from scipy.interpolate import CubicSpline

    f, own = np.array(frequency), np.eye(len(frequency))
    return CubicSpline(np.append(-f[::-1], f), np.vstack([own[::-1], own]))


def _without_negative(R: np.ndarray) -> np.ndarray:
    """Symmetric matrices (w, n, n), negative eigenvalues set to zero: no mode may draw power from the sound around it.

    Those that have none are left as they are.
    """
    value, vector = np.linalg.eigh(R)
    raised = (vector * np.maximum(value, 0)[:, None]) @ vector.swapaxes(1, 2)
    return np.where((value[:, 0] < 0)[:, None, None], raised, R)
