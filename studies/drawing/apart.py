"""Pictures drawn by a second process while the first one goes on computing.

The second process is given Pictures alone, and ends with the first one however that ends. Not by a SideBySide: a driver of
OpenGL may end the process that draws, or hang, which must happen to no other work and never to the first process.
"""

import os
import pickle
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from studies.common.machine import usable_cores
from studies.common.page import NotDrawn
from studies.common.side_by_side import end_with_parent, outlive_readers, unheard
from studies.drawing.picture import Picture, Say, Shot, drawn_one_by_one

SAYS, FILES, FAULT, DONE = "says", "files", "fault", "done"  # what the second process tells
HANGS = 180.0  # s without a word after which the second process is taken for dead
PATIENCE = 0.2  # s between two looks: a wait without end could not be stopped by Ctrl-C everywhere

Pictures = Sequence[Picture | Shot]
Drawn = Callable[[Say], Iterator[list[Path]]]  # the files of each picture; told a few words where one has to wait


@contextmanager
def drawn_apart(pictures: Callable[[], Pictures], apart: bool = True) -> Iterator[Drawn]:
    """Begins to draw pictures() in a second process; on one processor alone, or not `apart`, they are drawn when asked for.

    What it gives waits for the files. At the end of the block, whatever ends it, the second process is gone.
    """
    process = _begun(pictures) if apart and usable_cores() > 1 else None
    if process is None:
        yield partial(_here, pictures)
        return
    try:
        yield process.files
    finally:
        process.end()


def _here(pictures, say):
    yield from drawn_one_by_one(pictures(), say)


def _begun(pictures):
    """The second process; None where something is wrong, which then shows when they are drawn here."""
    try:
        return Process(pickle.dumps(pictures(), pickle.HIGHEST_PROTOCOL))
    except Exception:
        return None


class Process:
    """A second process at work on pickled Pictures; where it dies, once, another one draws the rest and checks OpenGL first."""

    def __init__(self, pictures: bytes):
        self.pictures, self.done, self.again = pictures, 0, False
        self._start()

    def _start(self):
        outlive_readers()
        context = get_context("spawn")
        alive, self.hold = context.Pipe(duplex=False)
        self.told, tell = context.Pipe(duplex=False)
        work = self.pictures, self.done, self.again, alive, tell
        self.process = context.Process(target=_draw, args=work, daemon=True)
        with unheard():
            self.process.start()
        alive.close()
        tell.close()

    def files(self, say: Say) -> Iterator[list[Path]]:
        """The files of each picture. say: told what is drawn where one has to wait. NotDrawn for a fault there."""
        last, said, waited = "", "", 0.0
        while True:
            try:
                told: tuple[str, Any] = self.told.recv() if self.told.poll(PATIENCE) else ("", None)
            except (OSError, EOFError):
                self.process.join()
                if self.again:
                    status = self.process.exitcode
                    raise NotDrawn(f"the process that draws them ended with status {status}") from None
                self.end()
                self.again = True
                self._start()
                continue
            kind, what = told
            waited = 0.0 if kind else waited + PATIENCE
            if waited > HANGS:
                self.process.kill()
                waited = 0.0
            if kind == FILES:
                self.done += 1
                yield what
            elif kind == SAYS:
                last = what
            elif kind == FAULT:
                raise NotDrawn(what)
            elif kind == DONE:
                return
            elif last != said:
                say(said := last)

    def end(self) -> None:
        """Ends it, if it has not ended by itself."""
        self.process.kill()
        self.process.join()
        self.hold.close()
        self.told.close()


def _draw(pictures: bytes, done: int, again: bool, alive: Connection, tell: Connection) -> None:
    """In the second process: draw from picture number `done` on, and tell of it. again: another one died of them."""
    end_with_parent(alive)
    os.dup2(2, 1)  # a library's own words are no answer
    try:
        ready = pickle.loads(pictures)[done:]
        for files in drawn_one_by_one(ready, lambda what: tell.send((SAYS, what)), unchecked=not again):
            tell.send((FILES, files))
        tell.send((DONE, None))
    except Exception as fault:
        tell.send((FAULT, f"{type(fault).__name__}: {fault}"))
    sys.stderr.flush()
    os._exit(0)  # what graphics libraries do at an ordinary end is not waited for
