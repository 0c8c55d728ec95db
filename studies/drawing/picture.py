"""Pictures ready to be drawn: what they show and their words, without the mesh and the modes that they came from.

They can be sent to another process, which then needs nothing else.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from meshes.whole_file import whole_file
from studies.common import system_check
from studies.drawing import perspective
from studies.drawing.perspective import Scene
from studies.drawing.sheet import DPI, THEMES, Theme, save, write_caption

PNG = (".png",)

Say = Callable[[str], None]
Draw = Callable[[Scene, Theme, float], np.ndarray]  # a Scene in a Theme, so many mm wide, as pixels (h, w, 3)


def silent(text: str) -> None:
    """Nobody is told."""


@dataclass(frozen=True)
class Picture:
    """A page of print, and its caption."""

    what: str  # said before it is drawn
    stem: Path  # of its files
    figure: Callable[[Theme], Figure]
    caption: str
    formats: tuple[str, ...] = PNG  # on the light page; on others as PNG, or in the first of these
    themes: tuple[str, ...] = ("light",)

    def files(self) -> list[Path]:
        """Writes it in all formats for the light page and in one for others, and the caption; returns the paths."""
        one, paths = PNG if ".png" in self.formats else self.formats[:1], []
        for name in self.themes:
            formats = self.formats if name == "light" else one
            paths += save(self.figure(THEMES[name]), f"{self.stem}{_ending(name)}", formats)
        return [*paths, write_caption(self.stem, self.caption)]


@dataclass(frozen=True)
class Shot:
    """A Scene in perspective, and its caption."""

    what: str
    stem: Path
    scene: Scene
    width_mm: float
    caption: Callable[[Sequence[str]], str]  # of sentences on what the machine lacks
    themes: tuple[str, ...] = ("light",)

    def files(self, draw: Draw, lacks: Sequence[str]) -> list[Path]:
        """Writes it as PNG in all themes, and the caption; returns the paths."""
        paths = []
        for name in self.themes:
            pixels = draw(self.scene, THEMES[name], self.width_mm)
            paths.append(save_pixels(pixels, Path(f"{self.stem}{_ending(name)}.png")))
        return [*paths, write_caption(self.stem, self.caption(lacks))]


def _ending(theme):
    return "" if theme == "light" else f"-{theme}"


def drawn_one_by_one(
    pictures: Iterable[Picture | Shot], say: Say = silent, unchecked: bool = False
) -> Iterator[list[Path]]:
    """Draws pictures in turn; the files of each. say: told a few words before each.

    A lack of OpenGL is told through `say` and in the captions of what is drawn in perspective; unchecked: only where it
    shows by a fault, for it may also end the process.
    """
    way: tuple[Draw, list[str]] | None = (perspective.draw_with_pyvista, []) if unchecked else None
    for one in pictures:
        if isinstance(one, Picture):
            say(one.what)
            yield one.files()
            continue
        way = way or perspective_way(say)
        say(one.what)
        try:
            files = one.files(*way)
        except Exception:
            if not unchecked:
                raise
            way, unchecked = perspective_way(say), False
            files = one.files(*way)
        yield files


def perspective_way(say: Say = silent) -> tuple[Draw, list[str]]:
    """The function that draws a Scene on this machine, and a sentence on what it lacks, if anything."""
    say("trying perspective pictures")
    check = system_check.works(system_check.PERSPECTIVE)
    if check.works:
        return perspective.draw_with_pyvista, []
    say(f"perspective pictures drawn by matplotlib: {check.reason}")
    return perspective.draw_with_matplotlib, [f"Drawn without a 3-D library: {check.reason.split(';')[0]}."]


def save_pixels(pixels: np.ndarray, path: Path) -> Path:
    """Writes pixels (h, w, 3) as a PNG for print; returns its path."""
    from PIL import Image

    path.parent.mkdir(parents=True, exist_ok=True)
    with whole_file(path) as stream:
        Image.fromarray(pixels).save(stream, "PNG", dpi=(DPI, DPI))
    return path
