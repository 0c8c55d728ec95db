"""Progress on standard error: what is being done, how much of it, and the time left."""

import sys
import time
from collections.abc import Callable
from typing import TextIO


class Progress:
    """Counts weighted steps; writes one line that renews itself on a terminal, one line a step elsewhere."""

    def __init__(self, total: float, out: TextIO | None = None, clock: Callable[[], float] = time.monotonic):
        self.total, self.done, self.out, self.clock = total, 0.0, out or sys.stderr, clock
        self.start = clock()

    def say(self, what: str) -> None:
        """Name the step that starts now."""
        left = "time left not known yet"
        if self.done > 0:
            left = f"{duration((self.clock() - self.start) * (self.total - self.done) / self.done)} left"
        line = f"{100 * self.done / self.total:3.0f} %  {what} ({left})"
        self.out.write(f"\r\033[K{line}" if self.out.isatty() else f"{line}\n")
        self.out.flush()

    def clear(self) -> None:
        """Make room on a terminal for other words."""
        if self.out.isatty():
            self.out.write("\r\033[K")
            self.out.flush()

    def step(self, weight: float = 1.0) -> None:
        """The step named last is done."""
        self.done = min(self.done + weight, self.total)

    def close(self, what: str = "done") -> None:
        self.done = self.total
        self.out.write(
            ("\r\033[K" if self.out.isatty() else "") + f"100 %  {what} in {duration(self.clock() - self.start)}\n"
        )


def say_drawing(what: str) -> None:
    """Say on standard error what is drawn now."""
    print(f"drawing: {what}", file=sys.stderr)


def duration(seconds: float) -> str:
    """'45 s', '3 min 20 s', '2 h 5 min'."""
    s = round(seconds)
    if s < 60:
        return f"{s} s"
    if s < 3600:
        return f"{s // 60} min {s % 60} s"
    return f"{s // 3600} h {s % 3600 // 60} min"
