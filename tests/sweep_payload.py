"""A payload for tests of the night's engine and store: rows from arithmetic alone, and workers that can be told to die."""

import os
import signal
import time
from pathlib import Path

import numpy as np

from studies.sweep.result import BatchResult, Check, Row


def row_of(number):
    values = np.sin(number + np.arange(3.0))
    return Row(
        f"{number:05d}", {"number": number}, "sheet", "reduced", ("sides", "top"), values, values, np.ones((2, 3)),
        np.ones((2, 3)), {"heat_in_rim": float(values[0])},
    )  # fmt: skip


class Payload:
    """Works on (kind, numbers); writes each start into a folder; a number in `deadly` kills its worker the first time."""

    def __init__(self, folder, seconds=0.01, deadly=(), always=()):
        self.folder, self.seconds, self.deadly, self.always = str(folder), seconds, set(deadly), set(always)

    def work(self, item):
        kind, numbers = item
        start = time.perf_counter()
        for n in numbers:
            with (Path(self.folder) / f"{n}").open("a") as stream:
                stream.write(f"{os.getpid()}\n")
            died = Path(self.folder) / f"{n}.died"
            if n in self.always or (n in self.deadly and not died.exists()):
                died.write_text("")
                os.kill(os.getpid(), signal.SIGKILL)
            time.sleep(self.seconds)
        rows = [row_of(n) for n in numbers if kind != "check"]
        checks = [Check(f"{n:05d}", 0.0, 0.0, 0.0, 3, 3) for n in numbers if kind == "check"]
        return BatchResult(rows, [], checks, time.perf_counter() - start, 0.0)


def computed(folder):
    """{number: how often it was begun}."""
    return {int(p.name): len(p.read_text().split()) for p in Path(folder).iterdir() if p.suffix == ""}
