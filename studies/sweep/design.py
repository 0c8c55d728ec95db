"""From a plan to its variants: grid, Latin hypercube, Sobol sequence or random draws, paired over rim builds."""

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from studies.sweep.fields import Factor, Plan

Value = float | int | str  # of a factor
Coordinate = str | tuple[str, int]  # a factor, or the draw 0..3 of a board
CUT = ndtr(3.0)  # normal factors are cut at three standard deviations: nothing leaves the box of the basis


@dataclass(frozen=True)
class Variant:
    """One set of values. Scatter: standard normal draws (density, along, across, shear) for every board."""

    number: int
    sample: int  # variants of one sample differ in their rim build alone
    values: dict[str, Value]  # {factor: value as in the plan}
    draws: dict[str, np.ndarray]  # {board: (4,)}
    rim: str


def variants(plan: Plan) -> list[Variant]:
    """Every Variant of a plan, in a fixed order; the same seed gives the same ones."""
    if plan.design.kind == "grid":
        return _grid(plan)
    builds = plan.rim.builds
    paired = plan.design.paired
    u = _spread(plan, dimensions(plan) + (0 if paired else 1))
    all_of: list[Variant] = []
    for i, row in enumerate(u):
        values, draws = values_at(plan, row)
        for rim in builds if paired else [builds[min(int(row[-1] * len(builds)), len(builds) - 1)]]:
            all_of.append(Variant(len(all_of), i, values, draws, rim))
    return all_of


def dimensions(plan: Plan) -> int:
    """How many independent numbers make a sample."""
    return len(plan.factor) + sum(4 * (1 if s.correlation == 1 else 1 + len(s.boards)) for s in plan.scatter)


def values_at(plan: Plan, u: np.ndarray) -> tuple[dict[str, Value], dict[str, np.ndarray]]:
    """(values, draws) at a point u of the unit cube."""
    values = {f.name: factor_at(f, x) for f, x in zip(plan.factor, u)}
    draws: dict[str, np.ndarray] = {}
    k = len(plan.factor)
    for s in plan.scatter:
        common, k = _normal(u[k : k + 4]), k + 4
        for board in s.boards:
            if s.correlation == 1:
                draws[board] = common
            else:
                own, k = _normal(u[k : k + 4]), k + 4
                draws[board] = np.sqrt(s.correlation) * common + np.sqrt(1 - s.correlation) * own
    return values, draws


def factor_at(factor: Factor, u: float) -> Value:
    """Value of a factor at u in 0..1."""
    if factor.levels:
        return factor.levels[min(int(u * len(factor.levels)), len(factor.levels) - 1)]
    if factor.mean is not None:
        return float(factor.mean + factor.deviation * ndtri(1 - CUT + u * (2 * CUT - 1)))
    low, high = factor.range or (np.nan, np.nan)
    return float(low + u * (high - low))


def point_of(plan: Plan, variant: Variant) -> dict[Coordinate, Value]:
    """Where a variant stands: each factor by its name, each draw by (board, 0..3); boards of one plank count once."""
    point: dict[Coordinate, Value] = {f.name: variant.values[f.name] for f in plan.factor}
    for s in plan.scatter:
        for board in s.boards[: 1 if s.correlation == 1 else None]:
            point |= {(board, k): float(z) for k, z in enumerate(variant.draws[board])}
    return point


def _normal(u):
    return ndtri(1 - CUT + np.asarray(u) * (2 * CUT - 1))


def _spread(plan, d):
    """(samples, d) points of the unit cube."""
    n, seed = plan.design.samples, plan.seed
    if d == 0:
        return np.zeros((1, 0))
    if plan.design.kind == "sobol":  # drawn up to a power of two, as its balance asks, then cut
        return qmc.Sobol(d, rng=seed).random_base2(int(np.ceil(np.log2(n))))[:n]
    if plan.design.kind == "latin_hypercube":
        return qmc.LatinHypercube(d, rng=seed).random(n)
    return np.random.default_rng(seed).random((n, d))


def _grid(plan):
    axes = [f.levels or np.linspace(f.low, f.high, f.steps).tolist() for f in plan.factor]
    points = [dict(zip((f.name for f in plan.factor), row)) for row in product(*axes)]
    pairs = [(i, values, rim) for i, values in enumerate(points) for rim in plan.rim.builds]
    return [Variant(number, i, values, {}, rim) for number, (i, values, rim) in enumerate(pairs)]
