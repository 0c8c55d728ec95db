"""What the machine that computes says of itself: version, memory, how far a step is."""

import os
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from importlib.metadata import PackageNotFoundError, version

import numpy as np


def plain(values: Iterable[float]) -> list[float | None]:
    """List of floats for JSON, None for what is not a number."""
    return [float(v) if np.isfinite(v) else None for v in values]


@contextmanager
def stage(seconds: dict[str, float], name: str) -> Iterator[None]:
    """Times a stage of the work."""
    start = time.perf_counter()
    yield
    seconds[name] = round(time.perf_counter() - start, 3)


def peak_memory_mb() -> float | None:
    """Largest resident memory of this process [MB]; None where the system does not tell."""
    try:
        import resource
    except ImportError:  # Windows
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return round(peak / (1e6 if sys.platform == "darwin" else 1e3), 1)


def usable_cores() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def rimwork_version() -> str:
    try:
        return version("rimwork")
    except PackageNotFoundError:
        return "0 (not installed)"
