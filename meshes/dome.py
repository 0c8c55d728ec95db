"""Middle surfaces of top and back from side heights and doming radii, and what had to give way to reconcile them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshes.body import Body, Surface, back_height, side_height, surface_height, top_height
from meshes.outline import Outline, point_at

WARN_MISMATCH = 1e-3  # m between a side height given and the one built
WARN_DEEPEST = 20e-3  # m between the deepest place named and the one built


@dataclass(frozen=True)
class Reconciled:
    """How the heights of the sheet and the doming of the back agree."""

    mismatch: dict[str, float]  # {place: height built - height given} [m]
    exact_radius: float | None  # radius along the body that would meet all heights [m]; inf flat, negative hollow
    deepest: float  # x where the body is deepest on the centre line [m]
    depth: float  # the depth there [m]
    deepest_named: float | None  # x that the maker named [m]
    radius_for_named: float | None  # radius that would put the deepest place there, ends kept [m]; None if none would


def curvature(radius: float | None) -> float:
    """1/R [1/m]; None or inf means flat."""
    return 0.0 if radius is None else 1 / radius


def fit_top(outline: Outline, radius: float | None) -> Surface:
    """Surface of a top domed with `radius` [m] (None: flat), its edge at z = 0 on average along the rim."""
    s = np.linspace(0, outline.perimeter, 400, endpoint=False)
    x, y = point_at(outline, s).T
    cap = Surface(0.0, 0.0, outline.length / 2, curvature(radius), curvature(radius))
    return Surface(-float(np.mean(surface_height(cap, x, y))), 0.0, cap.centre, cap.along, cap.across)


def fit_back(
    heights: Sequence[tuple[str, float, float, float]],
    top: Surface,
    along: float | None,
    across: float | None,
    centre: float,
) -> Surface:
    """Surface of the back: a plane, sloping along the body, plus a cap of the radii `along`, `across` [m].

    heights: (place, x, y, side height) [m]; the plane is their least-squares fit: two heights are met exactly, three as
    well as the radius allows. `centre` [m] is where the cap is written about; a plane and a cap of given curvature
    give the same surface for any centre, so the heights alone decide where the body is deepest.
    """
    _, x, y, height = (np.array(column) for column in zip(*heights, strict=True))
    cap = Surface(0.0, 0.0, centre, -curvature(along), -curvature(across))
    rest = surface_height(top, x, y) - height - surface_height(cap, x, y)
    level, slope = np.linalg.lstsq(np.column_stack([np.ones_like(x), x - centre]), rest, rcond=None)[0]
    return Surface(float(level), float(slope), centre, cap.along, cap.across)


def reconcile(body: Body) -> Reconciled:
    """Reconciled: the surfaces built against the heights given and the deepest place named."""
    place, x, y, given = (np.array(column) for column in zip(*body.heights, strict=True))
    error = side_height(body, x, y) - given
    line = np.linspace(0, body.outline.length, 2001)
    depth = top_height(body, line, 0) - back_height(body, line, 0)
    i = int(np.argmax(depth))
    return Reconciled(
        dict(zip(place.tolist(), error.tolist(), strict=True)),
        exact_radius(body),
        float(line[i]),
        float(depth[i]),
        body.back_deepest,
        _radius_for(body, body.back_deepest),
    )


def exact_radius(body: Body) -> float | None:
    """Radius of the back along the body [m] that meets three heights; the ratio of the radii is kept. None for two."""
    if len(body.heights) < 3:
        return None
    _, x, y, height = (np.array(column) for column in zip(*body.heights, strict=True))
    back = body.back_surface
    ratio = back.across / back.along if back.along else 1.0
    matrix = np.column_stack([np.ones_like(x), x, (x**2 + ratio * y**2) / 2])
    bend = np.linalg.lstsq(matrix, top_height(body, x, y) - height, rcond=None)[0][2]
    return np.inf if abs(bend) < 1e-6 else 1 / float(bend)


def _radius_for(body: Body, named: float | None) -> float | None:
    """Radius [m] that puts the deepest place at x = named with the end heights kept, or None."""
    if named is None:
        return None
    (_, x0, _, h0), (_, x1, _, h1) = body.heights[0], body.heights[-1]
    slope = (h1 - h0) / (x1 - x0)
    offset = named - (x0 + x1) / 2
    bend = slope / offset - body.top_surface.along if offset and slope else None
    return 1 / bend if bend is not None and bend > 0 else None


def shallowest(body: Body) -> float:
    """Smallest distance [m] between top and back on the rim and the centre line."""
    x, y = np.vstack([body.outline.points, [(x, 0.0) for x in np.linspace(0, body.outline.length, 51)]]).T
    return float(np.min(side_height(body, x, y)))


def warnings(body: Body) -> list[str]:
    """Warnings (list of texts) where heights and doming contradict each other."""
    fit = reconcile(body)
    texts = []
    worst = max(fit.mismatch, key=lambda place: abs(fit.mismatch[place]))
    if abs(fit.mismatch[worst]) > WARN_MISMATCH:
        parts = ", ".join(
            f"{place} {f'{1e3 * error:+.1f}'.replace('-', '−')} mm" for place, error in fit.mismatch.items()
        )
        texts.append(
            f"heights and back radius contradict each other; built minus given: {parts}. "
            f"The plane under the dome is the least-squares compromise. {_radius_advice(fit.exact_radius)}"
        )
    if fit.deepest_named is not None and abs(fit.deepest - fit.deepest_named) > WARN_DEEPEST:
        radius = fit.radius_for_named
        advice = (
            f"a back radius of {1e3 * radius:.0f} mm would put it there"
            if radius
            else "no back radius would put it there with these end heights"
        )
        texts.append(
            f"the body is deepest {1e3 * fit.deepest:.0f} mm from the tail, not at {1e3 * fit.deepest_named:.0f} "
            f"mm as named: the end heights and the back radius decide it; {advice}"
        )
    return texts


def _radius_advice(radius: float | None) -> str:
    if radius is None:
        return ""
    if np.isinf(radius):
        return "A flat back would meet all heights."
    if radius < 0:
        return "No radius meets all heights: they ask for a hollow back."
    return f"A back radius of {1e3 * radius:.0f} mm would meet all heights."
