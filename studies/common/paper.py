"""A page printed to PDF by a browser, where there is one."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

from meshes.whole_file import write_whole

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "microsoft-edge", "chrome", "msedge")
CHOSEN = "RIMWORK_BROWSER"  # environment variable: path of a browser that understands the flags below; '' for none
FLAGS = ("--headless=new", "--disable-gpu", "--no-first-run", "--disable-extensions", "--no-pdf-header-footer")
A4 = "<style>@page { size: A4; }</style></head>"
PATIENCE = 60.0  # s


def browser() -> str | None:
    """Path of a browser that can print, or None."""
    chosen = os.environ.get(CHOSEN)
    return (
        shutil.which(chosen) if chosen else None if chosen == "" else next(filter(None, map(shutil.which, NAMES)), None)
    )


def printed(page: Path, find: Callable[[], str | None] = browser) -> Path | None:
    """Print a page that needs no other file to an A4 PDF beside it; None where no browser did."""
    path, pdf = find(), page.with_suffix(".pdf")
    if path is None:
        return None
    pdf.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        printed_to = Path(folder) / pdf.name
        copy = Path(folder) / page.name  # of a stated size, which would bind whoever prints the page itself
        copy.write_text(page.read_text(encoding="utf-8").replace("</head>", A4, 1), encoding="utf-8")
        # Chromium refuses it otherwise
        as_root = ("--no-sandbox",) if hasattr(os, "geteuid") and os.geteuid() == 0 else ()
        call = [path, *FLAGS, *as_root, f"--user-data-dir={folder}", f"--print-to-pdf={printed_to}", copy.as_uri()]
        try:
            subprocess.run(call, stdin=subprocess.DEVNULL, capture_output=True, timeout=PATIENCE, check=False)
        except (OSError, subprocess.TimeoutExpired):
            return None
        return write_whole(pdf, printed_to.read_bytes()) if printed_to.is_file() else None
