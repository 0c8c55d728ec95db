"""Pictures drawn by a second process while the first one goes on computing.

The second process is given Pictures alone, and ends with the first one however that ends: it watches the pipe from it.
"""

import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

from studies.common.machine import usable_cores
from studies.common.page import NotDrawn
from studies.drawing.picture import Picture, Say, Shot, drawn_one_by_one

SAYS, FILES, FAULT, DONE = "says", "files", "fault", "done"  # what the second process tells
# Ctrl-C at the terminal reaches the first process alone, which ends the second one
BY_ITSELF: dict[str, Any] = (
    {"creationflags": 0x200} if sys.platform == "win32" else {"start_new_session": True}  # CREATE_NEW_PROCESS_GROUP
)
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
        self.told: queue.Queue[tuple[str, Any]] = queue.Queue()
        self.ended, self.beginning = False, threading.Lock()
        self.process = _started()
        self.listener = threading.Thread(target=self._attend, args=(pictures,), daemon=True)
        self.listener.start()

    def _attend(self, pictures):
        """Hands the pictures over and gathers what is told."""
        done, finished = self._heard(pictures, 0)
        if not finished and self._again(done):
            _, finished = self._heard(pictures, done)
        if not finished:
            self.told.put((FAULT, f"the process that draws them ended with status {self.process.wait()}"))

    def _again(self, done):
        """Starts another process for the pictures from number `done` on; False where none is wanted any more."""
        with self.beginning:
            if not self.ended:
                _closed(self.process)
                self.process = _started(str(done))
            return not self.ended

    def _heard(self, pictures, done):
        """(how many pictures are done, whether it came to an end) after all that the process tells."""
        kind = ""
        try:
            self.process.stdin.write(pictures)
            self.process.stdin.flush()  # it stays open: where it ends, the first process is gone
            while kind not in (FAULT, DONE):
                kind, what = pickle.load(self.process.stdout)
                done += kind == FILES
                self.told.put((kind, what))
        except (OSError, EOFError, ValueError, pickle.UnpicklingError):
            return done, False
        return done, True

    def files(self, say: Say) -> Iterator[list[Path]]:
        """The files of each picture. say: told what is drawn where one has to wait. NotDrawn for a fault there."""
        last, said, waited = "", "", 0.0
        while True:
            try:
                kind, what = self.told.get(timeout=PATIENCE)
            except queue.Empty:
                if last != said:
                    say(said := last)
                waited += PATIENCE
                if waited > HANGS:
                    self.process.kill()
                    waited = 0.0
                continue
            waited = 0.0
            if kind == SAYS:
                last = what
            elif kind == FILES:
                yield what
            elif kind == FAULT:
                raise NotDrawn(what)
            else:
                return

    def end(self) -> None:
        """Ends it, if it has not ended by itself."""
        with self.beginning:
            self.ended = True
            self.process.kill()
        self.listener.join(10.0)
        _closed(self.process)


def _started(*arguments):
    command = [sys.executable, "-m", "studies.drawing.apart", *arguments]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=_environment(), **BY_ITSELF)


def _closed(process):
    process.wait()
    for pipe in (process.stdin, process.stdout):
        with suppress(OSError):
            pipe.close()


def _environment():
    """This process's environment and path; no threads, the processors are the first process's."""
    path = os.pathsep.join(folder or os.getcwd() for folder in sys.path)
    return os.environ | {"PYTHONPATH": path, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


# --- in the second process ---


def main() -> None:
    """Draw what comes in, from the number given on, tell of it, end with the first process."""
    again = sys.argv[1:]
    told = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # a library's own words must not come in between
    pictures = pickle.load(sys.stdin.buffer)[int(again[0]) if again else 0 :]
    threading.Thread(target=_end_with_the_first, daemon=True).start()

    def tell(kind: str, what: object) -> None:
        pickle.dump((kind, what), told)
        told.flush()

    try:
        for files in drawn_one_by_one(pictures, partial(tell, SAYS), unchecked=not again):
            tell(FILES, files)
        tell(DONE, None)
    except Exception as fault:
        tell(FAULT, f"{type(fault).__name__}: {fault}")
    sys.stderr.flush()
    os._exit(0)  # a thread still reads: an ordinary end would wait for it, and complain


def _end_with_the_first():
    sys.stdin.buffer.read(1)
    os._exit(1)


if __name__ == "__main__":
    main()
