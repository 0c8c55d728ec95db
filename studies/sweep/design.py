"""From a plan to its variants: grid, Latin hypercube, Sobol sequence or random draws, paired over rim builds."""

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

CUT = ndtr(3.0)  # normal factors are cut at three standard deviations: nothing leaves the box of the basis


@dataclass(frozen=True)
class Variant:
    """One set of values. Scatter: standard normal draws (density, along, across, shear) for every board."""

    number: int
    sample: int  # variants of one sample differ in their rim build alone
    values: dict  # {factor: value as in the plan}
    draws: dict  # {board: (4,) array}
    rim: str


def variants(plan):
    """Every Variant of a plan, in a fixed order; the same seed gives the same ones."""
    if plan.design.kind == "grid":
        return _grid(plan)
    builds = plan.rim.builds
    paired = plan.design.paired
    u = _spread(plan, dimensions(plan) + (0 if paired else 1))
    found = []
    for i, row in enumerate(u):
        values, draws = values_at(plan, row)
        for rim in builds if paired else [builds[min(int(row[-1] * len(builds)), len(builds) - 1)]]:
            found.append(Variant(len(found), i, values, draws, rim))
    return found


def dimensions(plan):
    """How many independent numbers make a sample."""
    return len(plan.factor) + sum(4 * (1 if s.correlation == 1 else 1 + len(s.boards)) for s in plan.scatter)


def values_at(plan, u):
    """(values, draws) at a point u of the unit cube."""
    values = {f.name: value_at(f, x) for f, x in zip(plan.factor, u)}
    draws, k = {}, len(plan.factor)
    for s in plan.scatter:
        common, k = _normal(u[k : k + 4]), k + 4
        for board in s.boards:
            if s.correlation == 1:
                draws[board] = common
            else:
                own, k = _normal(u[k : k + 4]), k + 4
                draws[board] = np.sqrt(s.correlation) * common + np.sqrt(1 - s.correlation) * own
    return values, draws


def value_at(factor, u):
    """Value of a factor at u in 0..1."""
    if factor.levels:
        return factor.levels[min(int(u * len(factor.levels)), len(factor.levels) - 1)]
    if factor.mean is not None:
        return float(factor.mean + factor.deviation * ndtri(1 - CUT + u * (2 * CUT - 1)))
    return float(factor.low + u * (factor.high - factor.low))


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
    found = []
    for i, row in enumerate(product(*axes)):
        values = {f.name: v for f, v in zip(plan.factor, row)}
        found += [Variant(len(found) + k, i, values, {}, rim) for k, rim in enumerate(plan.rim.builds)]
    return found
