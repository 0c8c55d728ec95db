"""What every page is made with: one set of templates and of words for their figures, and what is told where a picture fails."""

import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import Field, dataclass
from functools import cache
from pathlib import Path
from typing import Any, ClassVar, Protocol

from jinja2 import Environment, FileSystemLoader, select_autoescape

from meshes.lengths import in_inches
from meshes.whole_file import write_whole
from studies.common import words
from studies.common.files import Plain
from studies.common.html import folded, labelled
from studies.common.inputs import Source
from studies.common.measured import shown
from studies.common.neighbours import link_neighbours


class Dataclass(Protocol):
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]


Filling = Plain | Dataclass | Callable[..., str] | Sequence["Filling"] | Mapping[str, "Filling"]


@cache
def templates() -> Environment:
    """The templates of all rooms, named from studies on, with the words for figures as filters."""
    found = Environment(
        loader=FileSystemLoader(Path(__file__).parents[1], encoding="utf-8"),
        autoescape=select_autoescape(["html", "j2"]),
        trim_blocks=True,
    )
    figures = (words.percent, words.rough_percent, words.percent_change, words.close_change, words.change,
               words.decibels, words.hertz, words.rounded, words.signed, words.capital, words.joints_would_need, shown)  # fmt: skip
    found.filters |= {figure.__name__: figure for figure in figures}
    found.filters["folded"] = folded
    found.tests["unsure"] = unsure
    return found


def rendered(template: str, filling: Mapping[str, Filling]) -> str:
    """HTML of a template, its names filled in; wide tables can become cards. Lengths in inches if those of its `source` are."""
    text = labelled(templates().get_template(template).render(filling))
    source = filling.get("source")
    return in_inches(text) if isinstance(source, Source) and source.inches else text


def write_page(path: Path, template: str, filling: Mapping[str, Filling]) -> Path:
    """Write a page, and link it with those beside it that are of the same sheet."""
    write_whole(path, rendered(template, filling))
    link_neighbours(path)
    return path


@dataclass(frozen=True)
class Written:
    """A study's files as they are written first: figures and words, without pictures."""

    files: tuple[Path, ...]  # the page first
    template: str
    filling: Mapping[str, Any]

    def again(self, pictures: Filling, fault: str) -> None:
        """Write the page again with its pictures, and what is told of a fault."""
        write_page(self.files[0], self.template, {**self.filling, "pictures": pictures, "picture_fault": fault})


def write_first(files: Sequence[Path], template: str, filling: Mapping[str, Any], none: Filling) -> Written:
    """Write the first of the files, a page, as yet with no pictures; none: what its template takes for these."""
    written = Written(tuple(files), template, filling)
    written.again(none, "")
    return written


def captioned(pictures: Iterable[Path], out: Path, lines: int | None = None) -> list[tuple[str, str]]:
    """[(place as seen from the folder `out`, its caption's first lines; None: all)] of pictures with captions beside them."""
    texts = [(p, p.with_suffix(".txt").read_text(encoding="utf-8")) for p in pictures]
    return [
        (p.relative_to(out).as_posix(), text if lines is None else "\n".join(text.splitlines()[:lines]))
        for p, text in texts
    ]


class NotDrawn(RuntimeError):
    """A picture could not be drawn by another process; its text says why."""


def drawn_or_told(draw: Callable[[], None]) -> str:
    """Calls draw(); '' or, where that fails, a sentence on it, which goes to standard error as well: figures come first."""
    try:
        draw()
    except Exception as fault:  # whatever it is, it must not cost the answer
        why = str(fault) if isinstance(fault, NotDrawn) else f"{type(fault).__name__}: {fault}"
        told = (
            f"Not all pictures could be drawn ({why}). Figures and tables do not depend on them. "
            "This is a fault of the program; please report it."
        )
        print(f"\nrimwork: {told}", file=sys.stderr)
        return told
    return ""


def unsure(value: float | None, error: float | None) -> bool:
    """Whether a figure says nothing: its mesh error is larger than the figure itself."""
    return value is not None and error is not None and error > abs(value)
