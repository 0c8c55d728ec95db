"""Reading a sweep: what matters most, and what cannot be bettered. Arrays in, numbers out."""

from dataclasses import dataclass

import numpy as np

from studies.sweep.design import Variant
from studies.sweep.plan import Sweep
from studies.sweep.result import SUMMARY
from studies.sweep.store import Store

RESAMPLES = 200
MOST_FITTED = 6000  # rows a fit and its resampling are made from
BINS = 8  # of a factor's range in a main effect
BUILD = "rim build"  # as a column beside the factors
SMALL = 0.02  # of the spread: what explains less is said to matter little


@dataclass(frozen=True)
class SweepTable:
    """The rows of a sweep as columns, n rows."""

    sample: np.ndarray  # (n,) rows of one sample share all draws
    rim: np.ndarray  # (n,) names of rim builds
    columns: dict[str, np.ndarray]  # {factor or scatter: (n, k) numbers, or (n,) words}
    outputs: dict[str, np.ndarray]  # {name of the summary: (n,) float, nan where not known}

    def __len__(self) -> int:
        return len(self.rim)


@dataclass(frozen=True)
class Effect:
    """How much of an output's spread a factor explains: alone, and with its products with others; 95 % intervals."""

    name: str
    first: float
    first_low: float
    first_high: float
    total: float
    total_low: float
    total_high: float


def sweep_table(sweep: Sweep, variants: list[Variant], keys: dict[int, str], store: Store) -> SweepTable:
    """SweepTable of the plan's rows that are in the store."""
    of_key = {keys[v.number]: v for v in variants}
    plan, summaries = sweep.plan, list(store.summaries(keys.values()))
    kept = [of_key[key] for key, *_ in summaries]
    columns = {}
    for f in plan.factor:
        values = [v.values[f.name] for v in kept]
        words = any(isinstance(v, str) for v in values)
        columns[f.name] = np.array(list(map(str, values))) if words else np.array(values, float)[:, None]
    for s in plan.scatter:
        columns[s.name] = np.array([np.concatenate([v.draws[board] for board, *_ in s.planks]) for v in kept])
    outputs = {name: np.array([summary[name] for *_, summary in summaries], float) for name in SUMMARY}
    return SweepTable(np.array([v.sample for v in kept]), np.array([rim for _, rim, *_ in summaries]), columns, outputs)


def effects(table: SweepTable, output: str) -> tuple[list[Effect], float]:
    """(Effects, largest first; share of the spread that they leave unexplained) of one output.

    Least squares on a constant, linear and square terms of each factor, one term for each build or word, and the products of
    linear terms of two factors; the variance of the terms of a factor over that of the output is its Sobol index where the
    factors are drawn independently (Sudret, Reliab. Eng. Syst. Saf. 93:964, 2008). Intervals: resampled samples.
    """
    y = table.outputs[output]
    use = np.flatnonzero(np.isfinite(y))
    if len(use) < 10 or np.ptp(y[use]) <= 1e-9 * np.abs(y[use]).max():
        return [], 0.0
    draw = np.random.default_rng(0)
    if len(use) > MOST_FITTED:
        use = np.sort(draw.choice(use, MOST_FITTED, replace=False))
    groups, A = _terms(table, use)
    y, sample = y[use], table.sample[use]
    names = list(dict.fromkeys(name for group in groups for name in group))
    best, rest = _indices(A, y, groups, names)
    ids, place = np.unique(sample, return_inverse=True)
    rows_of = np.split(np.argsort(place, kind="stable"), np.cumsum(np.bincount(place))[:-1])
    again = []
    for _ in range(RESAMPLES):
        rows = np.concatenate([rows_of[i] for i in draw.integers(len(ids), size=len(ids))])
        again.append(_indices(A[rows], y[rows], groups, names)[0])
    spread = np.stack([best, *np.percentile(again, [2.5, 97.5], axis=0)], axis=-1)  # (factors, alone and total, 3)
    return sorted((Effect(n, *values.ravel()) for n, values in zip(names, spread)), key=lambda e: -e.total), rest


def _terms(table, use):
    """(the factors of each column (tuple), columns (n, t)) of the regression."""
    linear, groups, A = {}, [], []
    for name, column in (table.columns | {BUILD: table.rim}).items():
        x, squares = column[use], []
        if x.ndim == 1:
            on = [x == w for w in sorted(set(x))[1:]]
            linear[name] = [o - o.mean() for o in on]  # about their means, or products would take from what is alone
        else:
            spread = x.std(axis=0)
            z = ((x - x.mean(axis=0)) / np.where(spread > 0, spread, 1)).T[spread > 0]
            linear[name] = list(z)
            squares = [c**2 for c in z if len(np.unique(c)) > 2]
        A += linear[name] + squares
        groups += [(name,)] * (len(linear[name]) + len(squares))
    names = [n for n in linear if linear[n]]
    for i, a in enumerate(names):
        for b in names[:i]:
            pairs = [p * q for p in linear[a] for q in linear[b]]
            if len(A) + len(pairs) < len(use) / 4:
                A += pairs
                groups += [(b, a)] * len(pairs)
    return groups, np.array(A).T - np.mean(A, axis=1)


def _indices(A, y, groups, names):
    """((factors, 2) first-order and total indices, unexplained share)."""
    y, A = y - y.mean(), A - A.mean(axis=0)
    coefficients = np.linalg.lstsq(A, y, rcond=None)[0]
    on = {group: [i for i, g in enumerate(groups) if g == group] for group in groups}
    variance = {group: np.var(A[:, i] @ coefficients[i]) for group, i in on.items()}
    whole = np.var(y)
    indices = np.array(
        [[variance.get((n,), 0.0), sum(v for group, v in variance.items() if n in group)] for n in names]
    )  # fmt: skip
    return indices / whole, float(np.var(y - A @ coefficients) / whole)


def main_effect(table: SweepTable, name: str, output: str) -> list[tuple[float | str, float, float, float]]:
    """[(place or word, mean, 5 %, 95 %)] of an output over a factor's range; draws of wood are read by their density."""
    column, y = (table.columns | {BUILD: table.rim})[name], table.outputs[output]
    x = column if column.ndim == 1 else column[:, 0]
    if column.ndim == 1:
        parts = [(w, x == w) for w in dict.fromkeys(x)]
    elif len(levels := np.unique(x)) <= BINS:
        parts = [(float(v), x == v) for v in levels]
    else:
        edges = np.quantile(x, np.linspace(0, 1, BINS + 1))
        bins = np.clip(np.searchsorted(edges, x, side="right") - 1, 0, BINS - 1)
        parts = [(float(x[bins == b].mean()), bins == b) for b in np.unique(bins)]
    known = [(place, values) for place, on in parts if len(values := y[on & np.isfinite(y)])]
    return [(place, *map(float, (v.mean(), *np.percentile(v, [5, 95])))) for place, v in known]


def five(values: np.ndarray) -> tuple[float, ...]:
    """Median, its 95 % interval from resampling, 5 and 95 per cent of the values; nan where nothing is known."""
    values = values[np.isfinite(values)]
    if not len(values):
        return (np.nan,) * 5
    draw = np.random.default_rng(0)
    some = values if len(values) <= 2000 else draw.choice(values, 2000, replace=False)
    medians = np.median(some[draw.integers(len(some), size=(RESAMPLES, len(some)))], axis=1)
    return tuple(map(float, (np.median(values), *np.percentile(medians, [2.5, 97.5]), *np.percentile(values, [5, 95]))))


def front(x: np.ndarray, y: np.ndarray) -> list[int]:
    """Indices of the rows that no other row betters in both x and y (both: less is better), by ascending x."""
    kept, best = [], np.inf
    for i in np.lexsort((y, x)):
        if np.isfinite(x[i]) and y[i] < best:
            kept.append(int(i))
            best = y[i]
    return kept
