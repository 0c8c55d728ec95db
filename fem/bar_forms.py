"""Cross-section of a bar: straight flanks under a cap that is rounded, parabolic or gabled; its moments and its torsion."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

CAP_KINDS = ("rounded", "parabolic", "gabled")
SHEAR = 5 / 6  # of the area carries shear, as in a rectangle; half an ellipse has .85 or so
AREA, FIRST, SECOND, SIDEWAYS, LEVER, TORSION = 1, 2, 3, 4, 5, 6  # columns of a bar's profile, see `columns`
HEIGHTS = np.geomspace(0.04, 1, 24)  # of the full height, at which torsion is tabled
POINTS = 12  # of Gauss, in each direction of flanks and cap
DEGREES = 4, 7  # terms in x^2 and in z of the stress function


@dataclass(frozen=True)
class Form:
    """Width of a bar up its height: full along the flanks, f(u) of it at the part u = 0..1 of the cap.

    rounded: f = sqrt(1 - u^2), half an ellipse; parabolic: f = sqrt(1 - u); gabled: f = 1 - (1 - top) u. A lower bar,
    in a taper or a scallop, keeps the cap as high as it is while that fits, and then is all cap.
    """

    kind: str = "rectangular"  # or one of CAP_KINDS
    cap: float = 0.0  # height of the cap over the full height of the bar [-]
    top: float = 0.0  # width left on top over the full width [-]; gabled only
    slender: float = 1.0  # width over full height [-]; for torsion, whose run along a taper depends on it


RECTANGLE = Form()


def _cap(form: Form) -> tuple[float, float, float, float]:
    """Integrals over the cap of f, u f, u^2 f and f^3 du."""
    if form.kind == "rounded":
        return np.pi / 4, 1 / 3, np.pi / 16, 3 * np.pi / 16
    if form.kind == "parabolic":
        return 2 / 3, 4 / 15, 16 / 105, 2 / 5
    r = form.top if form.kind == "gabled" else 1.0
    return (1 + r) / 2, (1 + 2 * r) / 6, (1 + 3 * r) / 12, (1 + r + r**2 + r**3) / 4


def moments(form: Form, tau: float | np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A / w h, S / w h^2, I / w h^3 about the underside and 12 I_b / h w^3 of a bar whose height is tau times h."""
    tau = np.asarray(tau, float)
    c = np.minimum(form.cap, tau)
    s = tau - c
    a0, a1, a2, b = _cap(form)
    return (
        s + c * a0,
        s**2 / 2 + c * (s * a0 + c * a1),
        s**3 / 3 + c * (s**2 * a0 + 2 * s * c * a1 + c**2 * a2),
        s + c * b,
    )


def columns(form: Form, tau: np.ndarray) -> dict[int, np.ndarray]:
    """What each kind of a bar's terms is multiplied with where its height is tau of the full one; 1 at full height.

    A rectangle: tau, tau^2, tau^3, and tau for bending sideways. LEVER: area times the squared height of its centroid,
    where the shear force acts; a rectangle has it in SECOND, and a fit of its torsion in AREA, FIRST and SECOND.
    """
    if form.kind == "rectangular":
        return {AREA: tau, FIRST: tau**2, SECOND: tau**3, SIDEWAYS: tau}
    here, full = moments(form, tau), moments(form, 1.0)
    profile = {k: a / b for k, a, b in zip((AREA, FIRST, SECOND, SIDEWAYS), here, full)}
    twist = np.interp(tau, *_torsion_table(form)) * tau**3
    return profile | {LEVER: profile[FIRST] ** 2 / profile[AREA], TORSION: twist}


def cap_width(form: Form, u: np.ndarray) -> np.ndarray:
    """Width over the full one at the parts u = 0..1 of the cap's height."""
    return np.sqrt(_squared_width(form, u)[0])


def _squared_width(form: Form, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """f(u)^2 of the cap and its derivative."""
    if form.kind == "rounded":
        return 1 - u**2, -2 * u
    if form.kind == "parabolic":
        return 1 - u, -np.ones_like(u)
    r = form.top if form.kind == "gabled" else 1.0
    return (1 - (1 - r) * u) ** 2, -2 * (1 - r) * (1 - (1 - r) * u)


@lru_cache(maxsize=64)
def _torsion_table(form: Form) -> tuple[np.ndarray, np.ndarray]:
    """(heights, J / tau^3 there over J at full height): smooth enough to be read between."""
    tau = np.unique(np.append(HEIGHTS, form.cap).clip(HEIGHTS[0], 1))
    J = np.array([torsion(form, form.slender, 1.0, t) for t in tau])
    return tau, J / tau**3 / J[-1]


@lru_cache(maxsize=256)
def torsion(form: Form, width: float, height: float, tau: float = 1.0) -> float:
    """Saint-Venant's J [m4] where the height is tau of the full one: Ritz's method for Prandtl's stress function.

    phi = (b(z)^2 - x^2) z P(x^2, z), times (h - z) where the top is flat, vanishes all round; b is half the width.
    J = max of (2 int phi)^2 / int |grad phi|^2 (Timoshenko and Goodier, Theory of Elasticity, ch. 10): never above the
    exact value.
    """
    h, cap = tau, min(form.cap, tau)  # in units of the full height; x in units of half the width
    ratio = width / 2 / height
    g, weight = np.polynomial.legendre.leggauss(POINTS)
    z = np.concatenate([(1 + g) / 2 * (h - cap), h - cap + (1 + g) / 2 * cap])
    wz = np.concatenate([weight / 2 * (h - cap), weight / 2 * cap])
    u = ((z - (h - cap)) / cap).clip(0, 1) if cap else np.zeros_like(z)
    flat = form.kind == "rectangular" or (form.kind == "gabled" and form.top > 0)
    b2, slope = _squared_width(form, u)
    slope = np.where(z > h - cap, slope / cap, 0.0) if cap else np.zeros_like(z)
    x = np.sqrt(b2)[:, None] * g
    w = wz[:, None] * np.sqrt(b2)[:, None] * weight
    end, end_slope = (z * (h - z), h - 2 * z) if flat else (z, np.ones_like(z))
    bubble = (b2[:, None] - x**2) * end[:, None]
    bubble_x, bubble_z = (
        -2 * x * end[:, None],
        slope[:, None] * end[:, None] + (b2[:, None] - x**2) * end_slope[:, None],
    )
    phi, phi_x, phi_z = [], [], []
    for j in range(DEGREES[1]):
        Q = np.polynomial.Legendre.basis(j)
        q, dq = Q(2 * z / h - 1)[:, None], Q.deriv()(2 * z / h - 1)[:, None] * 2 / h
        for i in range(DEGREES[0]):
            p, dp = x ** (2 * i), 2 * i * x ** max(2 * i - 1, 0)
            phi.append(bubble * p * q)
            phi_x.append((bubble_x * p + bubble * dp) * q)
            phi_z.append((bubble_z * q + bubble * dq) * p)
    flatten = lambda rows: np.array(rows).reshape(len(rows), -1)
    w, X, Z = w.ravel(), flatten(phi_x), flatten(phi_z)
    K = (X * w) @ X.T / ratio + (Z * w) @ Z.T * ratio
    F = 2 * flatten(phi) @ w
    scale = 1 / np.sqrt(np.diag(K))
    solved = np.linalg.lstsq(K * scale[:, None] * scale, F * scale, rcond=1e-13)[0] * scale
    return float(F @ solved) * height**4 * ratio**2
