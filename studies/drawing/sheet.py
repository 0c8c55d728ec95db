"""A page of print drawn by matplotlib: the house's colours and lettering, places in mm, files with a caption beside them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap

from meshes.figures import Figure
from meshes.lengths import MM_PER_INCH
from meshes.whole_file import whole_file, write_whole

DPI = 300
FORMATS = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}  # and what not to write: no dates
LETTERING = ("Source Sans 3", "Helvetica Neue", "Helvetica", "Arial", "Liberation Sans", "DejaVu Sans")
BANDS = 10  # steps of colour from rest to full scale

# Lightness L* climbs evenly from 28 (full inward) over 60 (rest) to 92 (full outward), blue to yellow: the pair that
# all common kinds of colour blindness tell apart. A grey copy therefore still tells in from out.
SCALE = LinearSegmentedColormap.from_list(
    "rimwork",
    ["#053e90", "#354d97", "#505d9c", "#676da0", "#7d7fa0", "#93928e", "#afa280", "#c5b480", "#dbc583", "#f0d788",
     "#ffe98d"],
)  # fmt: skip


@dataclass(frozen=True)
class Theme:
    """Colours of everything but the plates."""

    page: str
    ink: str  # outlines and words
    quiet: str  # small print


THEMES = {"light": Theme("#ffffff", "#1a1a1a", "#5a5a5a"), "dark": Theme("#14171c", "#ece9e2", "#a9a69f")}


@dataclass(frozen=True)
class Sheet:
    """A page to draw on. Lengths in mm, places from its lower left corner."""

    figure: Figure
    width: float
    height: float
    theme: Theme

    def axes(self, left: float, bottom: float, wide: float, high: float) -> Axes:
        """Axes on a rectangle of the page."""
        return self.figure.add_axes((left / self.width, bottom / self.height, wide / self.width, high / self.height))

    def words(
        self, x: float, y: float, text: str, size: float, ink: str | None = None, ha: str = "left", va: str = "center"
    ) -> None:
        """A line of words; size in points, ink as the theme's if not given."""
        place = x / self.width, y / self.height
        self.figure.text(*place, text, size=size, color=ink or self.theme.ink, family=lettering(), ha=ha, va=va)

    def colours(
        self, left: float, bottom: float, wide: float, high: float, zero: bool = True, rest: bool = True
    ) -> None:
        """The scale of colours from full inward to full outward; zero: a bold line in its middle; rest: as in steps_of_colour."""
        ax = self.axes(left, bottom, wide, high)
        ax.imshow(steps_of_colour(rest)[None], aspect="auto", extent=(-1, 1, 0, 1), zorder=2)
        if zero:
            ax.plot([0, 0], [0, 1], color="0", lw=1.2)
        ax.set_axis_off()


def sheet(width: float, height: float, theme: Theme = THEMES["light"]) -> Sheet:
    """An empty Sheet of width and height in mm."""
    return Sheet(Figure((width / MM_PER_INCH, height / MM_PER_INCH), facecolor=theme.page), width, height, theme)


def steps_of_colour(rest: bool = True) -> np.ndarray:
    """(2 BANDS, 4) colours of the steps from full inward to full outward; rest: what moves less than a step has one tone."""
    place = (np.arange(2 * BANDS) + 0.5) / (2 * BANDS)
    if rest:
        place[BANDS - 1 : BANDS + 1] = 0.5
    return SCALE(place)


def strip_of_colours(ax: Axes, steps: int, extent: tuple[float, float, float, float]) -> None:
    """The scale in so many steps of colour, on the (left, right, bottom, top) of axes."""
    ax.imshow(SCALE((np.arange(steps) + 0.5) / steps)[None], aspect="auto", extent=extent, zorder=2)


@cache
def lettering() -> str:
    """The first of LETTERING that this machine has."""
    from matplotlib.font_manager import fontManager

    present = {font.name for font in fontManager.ttflist}
    return next((name for name in LETTERING if name in present), "sans-serif")


def save(figure: Figure, stem: Path | str, formats: Sequence[str], dpi: float = DPI) -> list[Path]:
    """Writes a figure as stem + each ending; returns the paths."""
    paths = [Path(f"{stem}{ending}") for ending in formats]
    paths[0].parent.mkdir(parents=True, exist_ok=True)
    with matplotlib.rc_context({"svg.hashsalt": "rimwork", "svg.fonttype": "none"}):
        for path in paths:
            with whole_file(path) as stream:
                if path.suffix == ".png":
                    _save_png(figure, stream, dpi)
                else:
                    meta, page = FORMATS[path.suffix], figure.get_facecolor()
                    figure.savefig(stream, format=path.suffix[1:], dpi=dpi, metadata=meta, facecolor=page)
    return paths


def _save_png(figure, stream, dpi):
    """Three channels alone: nothing can be seen through a page."""
    from PIL import Image

    figure.set_dpi(dpi)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[..., :3]
    Image.fromarray(pixels).save(stream, "PNG", dpi=(dpi, dpi), compress_level=4)


def write_caption(stem: Path | str, caption: str) -> Path:
    """Writes stem.txt; returns its path."""
    return write_whole(Path(f"{stem}.txt"), caption + "\n")


def save_with_caption(
    figure: Figure, stem: Path | str, caption: str, formats: Sequence[str] = (".png", ".pdf")
) -> list[Path]:
    """Writes a figure and its caption beside it; returns the paths, the caption's last."""
    return [*save(figure, stem, formats), write_caption(stem, caption)]
