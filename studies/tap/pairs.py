"""Which computed mode is which tapped tone, where no shapes are known: by frequency, by order and by how well it is heard.

Tones and modes keep their order. One common factor is allowed, as another board's stiffness or weight gives; a tone that then still
lies too far from any mode has no partner, and a mode may stay unheard.
"""

from collections.abc import Sequence

import numpy as np

SPREAD = 0.04  # of a frequency, about the common factor; common practice, no source
FARTHEST = 3.0  # spreads from which on a tone has no partner
COMMON = 0.10  # of the common factor; common practice, no source
DRAWS = 20
UNHEARD = 4.0  # most that a mode's small share of sound costs, in squared spreads


def tone_partners(tones: Sequence[float], modes: Sequence[float], radiated: Sequence[float | None]) -> list[int | None]:
    """For each tone [Hz], ascending, its mode's place or None. modes [Hz], ascending; radiated: share of each one's loss, or None."""
    if not len(tones) or not len(modes):
        return [None] * len(tones)
    loudest = max((r for r in radiated if r), default=None)
    quiet = [0.0 if loudest is None or r is None else min(UNHEARD, np.log(loudest / max(r, 1e-9))) for r in radiated]
    gap = np.log(np.asarray(tones, float)[:, None] / np.asarray(modes, float))
    best = min(
        (_aligned(((gap - shift) / SPREAD) ** 2 + np.array(quiet), (shift / COMMON) ** 2) for shift in np.arange(-0.15, 0.151, 0.01)),
        key=lambda found: found[0],
    )  # fmt: skip
    return best[1]


def by_chance(tones: Sequence[float], modes: Sequence[float], radiated: Sequence[float | None]) -> float:
    """How many of as many tones, thrown at random over the same range of log frequency, would find a mode: the mean of DRAWS throws."""
    if len(tones) < 2:
        return float("nan")
    rng, low, high = np.random.default_rng(0), float(np.log(min(tones))), float(np.log(max(tones)))
    thrown = np.sort(np.exp(rng.uniform(low, high, (DRAWS, len(tones)))), axis=1)
    return float(np.mean([sum(p is not None for p in tone_partners(row, modes, radiated)) for row in thrown]))


def _aligned(cost: np.ndarray, start: float) -> tuple[float, list[int | None]]:
    """(cost, partners) of the cheapest pairing (n, m) that keeps the order; a tone without partner costs FARTHEST squared."""
    n, m = cost.shape
    alone = FARTHEST**2
    total = np.full((n + 1, m + 1), start)
    total[1:, 0] += alone * np.arange(1, n + 1)
    for i in range(n):
        for j in range(m):
            total[i + 1, j + 1] = min(total[i, j] + cost[i, j], total[i + 1, j], total[i, j + 1] + alone)
    partners: list[int | None] = [None] * n
    i, j = n, m
    while i and j:
        if total[i, j] == total[i, j - 1]:
            j -= 1
        elif total[i, j] == total[i - 1, j - 1] + cost[i - 1, j - 1]:
            i, j = i - 1, j - 1
            partners[i] = j
        else:
            i -= 1
    return float(total[n, m]), partners
