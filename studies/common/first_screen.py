"""What a page says first, whatever it asks: one sentence made by rule, a chart of the builds, what to do on the bench, the main doubt."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from studies.common.builds import Build
from studies.common.files import Plain
from studies.common.words import grams_more, signed


@dataclass(frozen=True)
class Bar:
    """A range of one figure; all numbers in the chart's unit."""

    name: str
    dots: tuple[float, ...]  # of each way to hold the guitar
    low: float
    high: float
    told: str  # its figure in words
    sure: bool = True  # False: smaller than its error, drawn grey

    @property
    def as_json(self) -> dict[str, Plain]:
        return vars(self) | {"dots": list(self.dots)}


@dataclass(frozen=True)
class Lane:
    """A build and its bars."""

    label: str
    bars: tuple[Bar, ...]
    rim_g: float  # weight of its rim
    word: str = ""  # of the verdict, where each build has one

    @property
    def as_json(self) -> dict[str, Plain]:
        word: dict[str, Plain] = {"word": self.word} if self.word else {}
        return {"label": self.label, "rim_g": self.rim_g, **word, "bars": [bar.as_json for bar in self.bars]}


@dataclass(frozen=True)
class FirstScreen:
    """What stands above all detail, on the page, in the terminal and in the JSON."""

    verdict: str
    lanes: tuple[Lane, ...]
    chart: str  # SVG text of the lanes
    bench: str
    main_doubt: str
    own: Lane | None = None  # the sheet's own build where the lanes are changes from it
    others: Mapping[str, Plain] = field(default_factory=dict)  # for the JSON
    heads: tuple[str, str] = ("build of the rim", "rim")  # of a table's first columns: a lane, the weight of its rim

    @property
    def text(self) -> str:
        """For the terminal."""
        return "\n\n".join([self.verdict, f"Try it on the bench: {self.bench}", f"The main doubt: {self.main_doubt}"])

    @property
    def as_json(self) -> dict[str, Plain]:
        return {
            "verdict": self.verdict, "bench": self.bench, "main_doubt": self.main_doubt, **self.others,
            "builds": [lane.as_json for lane in self.lanes],
        }  # fmt: skip


def lane_label(build: Build, more: float) -> str:
    """'doubled sides (2 + 2 mm), +80 g'; more: grams beyond the sheet's own rim."""
    return f"{build.label}, {signed(more, 0)} g"


def in_sentence(build: Build, more: float, *also: str) -> str:
    """'doubled sides (80 g more, -2.0 dB)': a build in a sentence."""
    return f"{build.label.partition(' (')[0]} ({', '.join([grams_more(more), *also])})"


def with_form(deed: str) -> str:
    """The test that needs no second guitar: a deed done as it is, with a stiffer and heavier rim, with a heavier one alone."""
    return (
        f"{deed}: as it is, with a padded form strapped round the rim, with the form's weight in putty on the sides instead. "
        "If the ten differ as much among themselves, nothing was shown."
    )
