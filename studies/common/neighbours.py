"""Links between the pages of one sheet: what the commands wrote into out/SHEET-COMMAND, whichever came first."""

import re
from pathlib import Path

from meshes.whole_file import write_whole

COMMANDS = ("rim", "sustain", "weather", "load", "squeeze", "tap")  # that write index.html
_PLACE = re.compile(r"<!-- neighbours -->.*?<!-- end -->", re.S)


def link_neighbours(page: Path) -> None:
    """Let index.html in a folder SHEET-COMMAND and those beside it link to each other; any other page stays as it is."""
    stem, _, command = page.parent.absolute().name.rpartition("-")
    if page.name != "index.html" or not stem or command not in COMMANDS:
        return
    folders = {name: page.parent.absolute().parent / f"{stem}-{name}" for name in COMMANDS}
    there = [name for name, folder in folders.items() if (folder / page.name).is_file()]
    for name in there:
        links = " · ".join(f'<a href="../{stem}-{other}/{page.name}">{other}</a>' for other in there if other != name)
        _put(
            folders[name] / page.name,
            f'<nav aria-label="Of the same guitar"><p>Of the same guitar: {links}</p></nav>' if links else "",
        )


def _put(page, links):
    text = page.read_text(encoding="utf-8")
    linked = _PLACE.sub(lambda _: f"<!-- neighbours -->{links}<!-- end -->", text)
    if linked != text:
        write_whole(page, linked)
