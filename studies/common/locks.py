"""One run at a time: locks that die with their process; and what is told aside while a command goes on."""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

PATIENCE = 0.2  # s between two tries for a lock
TOLD_AFTER = 20.0  # s of waiting: processes of one command wait for each other too, but never long
_told: set[Path] = set()  # folders whose trouble was told


def say_line(text: str) -> None:
    """A line on standard error, on a line of its own where progress renews itself."""
    print(("\r\033[K" if sys.stderr.isatty() else "") + text, file=sys.stderr, flush=True)


def locked(path: Path) -> BinaryIO | None:
    """An open file whose lock this process holds until it is closed or the process ends, however it ends.

    None if another one holds it. OSError where the folder takes no files or knows no locks.
    """
    file = path.open("ab+")
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if os.path.samestat(os.fstat(file.fileno()), path.stat()):  # else: deleted meanwhile by who held it
            return file
    except (BlockingIOError, PermissionError, FileNotFoundError):
        pass
    except BaseException:
        file.close()
        raise
    file.close()
    return None


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Holds the lock of a file made for it, and waits for another run that does, which it says."""
    held, waits = None, 0
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        while (held := locked(path)) is None:
            if waits == max(1, round(TOLD_AFTER / PATIENCE)):
                say_line(f"waiting for another run, which computes {path.stem} already")
            waits += 1
            time.sleep(PATIENCE)
    except OSError as error:
        trouble(path.parent, error)
    try:
        yield
    finally:
        if held is not None:
            with suppress(OSError):  # some systems delete no open file
                path.unlink()
            held.close()


def trouble(folder: Path, error: OSError) -> None:
    """Tell once for each folder that it takes no results."""
    if folder not in _told:
        _told.add(folder)
        say_line(
            f"{folder}: results cannot be kept there ({error.strerror or error}); the run goes on without keeping them"
        )
