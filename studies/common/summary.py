"""The answer on one sheet of paper, for the bench or a client: what the page says first, and the grams of each build."""

from pathlib import Path

from studies.common.first_screen import FirstScreen
from studies.common.inputs import Source
from studies.common.machine import rimwork_version
from studies.common.page import write_page
from studies.common.paper import printed
from studies.common.table import Table
from studies.common.words import UNKNOWN, wrote

NO_PDF = "no summary.pdf: no browser was found that prints from the command line; open {} and print it, one sheet of A4 or letter"


def write_summary(first: FirstScreen, title: str, source: Source, out: Path) -> Path:
    """Write summary.html into the folder `out`: everything is in the file."""
    origin = f"Rimwork {rimwork_version()}, {source.path.name}"
    return write_page(out / "summary.html", "common/summary.html.j2", {
        "source": source, "title": title, "told": first, "grams": grams_table(first), "origin": origin,
    })  # fmt: skip


def grams_table(first: FirstScreen) -> Table:
    """What every build of the chart weighs and changes."""
    names = [bar.name for bar in first.lanes[0].bars] if first.lanes else []
    grams = lambda lane: f"{lane.rim_g:.0f} g"
    words = ["verdict"] if any(lane.word for lane in first.lanes) else []
    own = () if first.own is None else ((first.own.label, grams(first.own), *(UNKNOWN for _ in (*names, *words))),)
    rows = (
        (lane.label, grams(lane), *(b.told for b in lane.bars), *([lane.word] if words else [])) for lane in first.lanes
    )
    return Table("", (*first.heads, *names, *words), (*own, *rows))


def print_summary(page: Path) -> str:
    """Print it to summary.pdf where there is a browser; a line that tells where it is, or how to print it."""
    pdf = printed(page)
    return wrote(pdf) if pdf else NO_PDF.format(page)
