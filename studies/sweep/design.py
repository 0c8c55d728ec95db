"""From a plan to its variants: grid, Latin hypercube, Sobol sequence or random draws, paired over rim builds."""

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from fem.woods import DRAWN
from studies.sweep.fields import Factor, Plan

Value = float | int | str  # of a factor
Remade = tuple[Value, ...]  # values of the factors that remake the body
Where = tuple[Remade, str]  # and a build of the rim
Coordinate = str | tuple[str, int]  # a factor, or the number of a draw of a board
CUT = ndtr(3.0)  # normal factors are cut at three standard deviations: nothing leaves the box of the basis


@dataclass(frozen=True)
class Variant:
    """One set of values. Scatter: standard normal draws for every board, as of fem.woods.scattered."""

    number: int
    sample: int  # variants of one sample differ in their rim build alone
    values: dict[str, Value]  # {factor: value as in the plan}
    draws: dict[str, np.ndarray]  # {board: (DRAWN,)}
    rim: str


def variants(plan: Plan) -> list[Variant]:
    """Every Variant of a plan, in a fixed order; the same seed gives the same ones."""
    builds = plan.rim.builds
    if plan.design.kind == "grid":
        samples = [(*point, builds) for point in _grid(plan)]
    else:
        u = _spread(plan, dimensions(plan) + (not plan.design.paired))
        samples = [(*values_at(plan, row), builds if plan.design.paired else [_pick(builds, row[-1])]) for row in u]
    rows = [(i, values, draws, rim) for i, (values, draws, rims) in enumerate(samples) for rim in rims]
    return [Variant(number, *row) for number, row in enumerate(rows)]


def dimensions(plan: Plan) -> int:
    """How many independent numbers make a sample."""
    return len(plan.factor) + sum(DRAWN * (len(s.planks) + (s.correlation < 1)) for s in plan.scatter)


def values_at(plan: Plan, u: np.ndarray) -> tuple[dict[str, Value], dict[str, np.ndarray]]:
    """(values, draws) at a point u of the unit cube."""
    values = {f.name: factor_at(f, x) for f, x in zip(plan.factor, u)}
    normal = iter(_normal(u[len(plan.factor) : dimensions(plan)]).reshape(-1, DRAWN))
    draws: dict[str, np.ndarray] = {}
    for s in plan.scatter:
        common, r = next(normal), s.correlation
        for board in s.boards:
            draws[board] = common if r == 1 else np.sqrt(r) * common + np.sqrt(1 - r) * next(normal)
    return values, draws


def factor_at(factor: Factor, u: float) -> Value:
    """Value of a factor at u in 0..1."""
    if factor.levels:
        return _pick(factor.levels, u)
    if factor.mean is not None:
        return float(factor.mean + factor.deviation * _normal(u))
    low, high = factor.range or (np.nan, np.nan)
    return float(low + u * (high - low))


def point_of(plan: Plan, variant: Variant) -> dict[Coordinate, Value]:
    """Where a variant stands: each factor by its name, each draw by (board, its number); boards of one plank count once."""
    point: dict[Coordinate, Value] = {f.name: variant.values[f.name] for f in plan.factor}
    for s in plan.scatter:
        for board, *_ in s.planks:
            point |= {(board, k): float(z) for k, z in enumerate(variant.draws[board])}
    return point


def _normal(u):
    return ndtri(1 - CUT + u * (2 * CUT - 1))


def _pick(items, u):
    return items[min(int(u * len(items)), len(items) - 1)]


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
    """[(values, no draws)] of every combination."""
    axes = [f.levels or np.linspace(f.low, f.high, f.steps).tolist() for f in plan.factor]
    return [({f.name: value for f, value in zip(plan.factor, row)}, {}) for row in product(*axes)]
