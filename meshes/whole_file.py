"""Files written whole or not at all: aside, flushed to the disk, then renamed. Everything that is kept or handed out goes through here."""

import io
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO


@contextmanager
def whole_file(path: str | Path, draft: Path | None = None) -> Iterator[IO[bytes]]:
    """A file open for bytes, which takes its name when the block has ended and all of them are on the disk.

    Where anything fails the old file stays as it was and nothing new is left. OSError names the file. A device or a pipe
    is written straight. draft: what it is called until then, for who writes it alone; else a name of its own, so that two
    may write at once.
    """
    path = Path(path)
    if path.exists() and not path.is_file():
        with path.open("wb") as stream:
            yield stream
        return
    path = path.resolve()  # of a link, the file that it leads to
    draft = draft or path.with_name(f".{os.getpid()}-{secrets.token_hex(4)}.part")
    try:
        with draft.open("w+b") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(draft, path)
    except BaseException as error:
        with suppress(OSError):
            draft.unlink()
        if isinstance(error, OSError) and error.filename in (None, str(draft)):
            raise OSError(error.errno, error.strerror or str(error), str(path)) from error
        raise


@contextmanager
def whole_text(path: str | Path) -> Iterator[IO[str]]:
    """The same for text: UTF-8, line ends as written."""
    with whole_file(path) as stream:
        text = io.TextIOWrapper(stream, encoding="utf-8", newline="")
        yield text
        text.detach()


def write_whole(path: Path, content: str | bytes) -> Path:
    """Write a text (UTF-8) or bytes whole or not at all; returns the path."""
    with whole_file(path) as stream:
        stream.write(content.encode("utf-8") if isinstance(content, str) else content)
    return path
