"""The log of a sweep: one line for each step, readable in the morning, and progress on standard error."""

import sys
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TextIO

from studies.common.machine import peak_memory_mb
from studies.common.progress import duration

EVERY = 10.0  # s between two lines of progress


class Log:
    """Writes lines with the time of day to a file and to standard error; a log that cannot be written stops nothing."""

    def __init__(
        self, file: Path | None = None, out: TextIO | None = None, clock: Callable[[], float] = time.monotonic
    ):
        self.file, self.out, self.clock = file, out or sys.stderr, clock
        self.count(0)

    def say(self, text: str) -> None:
        """One line, now."""
        line = f"{datetime.now():%Y-%m-%d %H:%M:%S}  {text}"
        self.out.write(line + "\n")
        self.out.flush()
        if self.file is not None:
            try:
                with open(self.file, "a", encoding="utf-8") as stream:
                    stream.write(line + "\n")
            except OSError:
                self.file = None
                self.out.write("the log file cannot be written; lines go on here\n")

    def count(self, total: int, done: int = 0) -> None:
        """Start counting rows."""
        self.total, self.first, self.done = total, done, done
        self.start = self.last = self.clock()

    def step(self, rows: int) -> None:
        """So many rows more are safe; says so every now and then."""
        self.done += rows
        if self.clock() - self.last >= EVERY:
            self.last = self.clock()
            self.say(self.state())

    def rate(self) -> float:
        """Rows a minute since counting began."""
        spent = self.clock() - self.start
        return 60 * (self.done - self.first) / spent if spent > 0 else 0.0

    def state(self) -> str:
        """'1200 of 3072 rows (39 %), 5210 rows a minute, 22 s left, 412 MB'."""
        rate = self.rate()
        left = f"{duration(60 * (self.total - self.done) / rate)} left" if rate else "time left not known yet"
        memory = peak_memory_mb()
        share = 100 * self.done / max(1, self.total)
        return f"{self.done} of {self.total} rows ({share:.0f} %), {rate:.0f} rows a minute, {left}" + (
            f", {memory:.0f} MB at most in this process" if memory else ""
        )
