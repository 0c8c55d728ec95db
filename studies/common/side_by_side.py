"""Work that does not wait for other work, in processes of its own; in line on one core. Ctrl-C ends all of it."""

import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing import get_context
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Self, TypeVar

import psutil

from studies.common.machine import usable_cores

T = TypeVar("T")
MOST = 4  # processes
ROOM = 2e9  # B of free memory that each is to have: a mesh and all that is solved on it
THREADS = "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "RIMWORK_THREADS"


def processes() -> int:
    """How many to run side by side: one a core, MOST at most, as many as free memory has room for."""
    return max(1, min(usable_cores(), MOST, int(psutil.virtual_memory().available / ROOM)))


class SideBySide:
    """with SideBySide(2) as side: later = side.begin(function, *arguments); ...; later() is its result.

    Functions and arguments travel by pickle. With one worker the function runs in line when its result is asked for. When the
    block is left, by an error or Ctrl-C too, and when this process dies, the others end at once: what they keep on disk is
    whole or not there. tasks: after so many a process ends and gives its memory back; None: when the block is left.
    """

    def __init__(self, workers: int, tasks: int | None = None):
        self.pool: ProcessPoolExecutor | None = None
        if workers > 1:
            for name in THREADS:
                os.environ.setdefault(name, "1")  # each process has a core to itself
            context = get_context("spawn")
            self.alive, self.hold = context.Pipe(duplex=False)
            self.pool = ProcessPoolExecutor(workers, context, end_with_parent, (self.alive,), max_tasks_per_child=tasks)

    def begin(self, function: Callable[..., T], *arguments: object) -> Callable[[], T]:
        """Function () -> the result; raises what the work raised. A process that dies leaves its work to this one."""
        if self.pool is None:
            return partial(function, *arguments)
        outlive_readers()
        try:
            with unheard():
                future = self.pool.submit(function, *arguments)
        except BrokenExecutor:
            return partial(function, *arguments)

        def result() -> T:
            outlive_readers()
            try:
                return future.result()
            except BrokenExecutor:
                return function(*arguments)

        return result

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.pool is not None:
            outlive_readers()
            if kind is not None:
                self.hold.close()
            self.pool.shutdown(cancel_futures=True)
            self.hold.close()
            self.alive.close()


def outlive_readers() -> None:
    """Python lets a pipe whose reader died raise an error; gmsh.initialize lets it end the process: undone here."""
    if hasattr(signal, "SIGPIPE") and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)


@contextmanager
def unheard() -> Iterator[None]:
    """Ctrl-C waits for the end of the block and never reaches a process begun in it, where the system lets that be passed on."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def end_with_parent(alive: Connection) -> None:
    """In a new process: leave Ctrl-C to the parent, and end as soon as its side of the pipe closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        try:
            alive.recv()
        except (EOFError, OSError):
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
