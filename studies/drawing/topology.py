"""Which points of a triangulation are joined to which: found once and kept with it, for all the modes drawn on it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np


@dataclass(frozen=True, eq=False)
class Topology:
    """Triangles with what follows from them alone."""

    triangles: np.ndarray  # (k, 3) indices of points

    @cached_property
    def _ends(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(edges, sides, how many triangles each edge has)."""
        a, b = np.sort(edges_of(self.triangles), axis=1).astype(np.int64).T
        reach = int(b.max(initial=0)) + 1
        key, sides, count = np.unique(a * reach + b, return_inverse=True, return_counts=True)
        return np.column_stack(np.divmod(key, reach)), sides.reshape(-1, 3), count

    @property
    def edges(self) -> np.ndarray:
        """(m, 2) points of each edge once, the lower one first, in rising order."""
        return self._ends[0]

    @property
    def sides(self) -> np.ndarray:
        """(k, 3) index of the edges of each triangle."""
        return self._ends[1]

    @property
    def boundary(self) -> np.ndarray:
        """(b, 2) edges that have a triangle on one side only."""
        return self.edges[self._ends[2] == 1]

    @cached_property
    def loops(self) -> tuple[np.ndarray, ...]:
        """The boundary as arrays of points one after the other round each loop; a closed one ends where it began."""
        points, number = np.unique(self.boundary, return_inverse=True)
        return tuple(points[chain] for chain in chains(number.reshape(-1, 2), len(points)))


def edges_of(triangles: np.ndarray) -> np.ndarray:
    """(3 k, 2) edges of triangles (k, 3), three of each in turn, in the order in which it runs through them."""
    return triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)


def chains(links: np.ndarray, n: int) -> Iterator[np.ndarray]:
    """Arrays of numbers below n that links (k, 2) join one to the next, open chains first; a closed one ends where it began."""
    near = neighbours(links, n)
    open_ends = [k for k, joined in enumerate(near) if len(joined) == 1]
    seen = np.zeros(n, bool)
    for start in [*open_ends, *range(n)]:
        if seen[start]:
            continue
        chain = [start]
        seen[start] = True
        while ahead := [k for k in near[chain[-1]] if not seen[k]]:
            chain.append(ahead[0])
            seen[ahead[0]] = True
        closed = len(chain) > 2 and start in near[chain[-1]]
        yield np.array([*chain, start] if closed else chain)


def neighbours(links: np.ndarray, n: int) -> Sequence[list[int]]:
    """[numbers that links (k, 2) join to each number below n]."""
    near: list[list[int]] = [[] for _ in range(n)]
    for a, b in links.tolist():
        near[a].append(b)
        near[b].append(a)
    return near
