"""Captions of mode pictures: what a reader must know beside the picture, in plain words."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fem.elements import Space
from meshes.body import Body
from studies.common.words import capital
from studies.drawing.features import HARDLY, JOINED
from studies.drawing.field import Field, longest
from studies.drawing.mode_words import NECK_LEADS, PATTERN, neck_motion, still_plates
from studies.drawing.perspective import Scales
from studies.drawing.plan import Mode
from studies.drawing.sheet import BANDS

DRY = "dry (without air)"
WITH_AIR = "air-loaded (with the air inside and outside)"
CREDIT = "Computed with Rimwork."
PERSPECTIVE_WORDS = (
    "One guitar seen twice: from the front, left, with the neck up, and from behind, right, turned end over end, with the neck "
    "down; so the bass side is on the left in both. The motion is exaggerated. Fingerboard, neck, head and tuners are plain shapes."
)


@dataclass(frozen=True)
class Caption:
    """What a reader must know of pictures of computed modes beside their frequency."""

    build: str  # 'Hazel, kerfed linings'
    held: str = "free, nothing holds it"
    air: str = DRY
    # (n,) part of each frequency [-]; nan or None: not estimated
    mesh_error: Sequence[float] | np.ndarray | None = None
    more: Sequence[str] = ()  # a further sentence for each mode

    @property
    def title(self) -> str:
        """For the head of a sheet: the build, then how it was come by."""
        return f"{self.build}\nComputed, {self.air}, {self.held}"

    @property
    def facts(self) -> str:
        """One line: how it was come by, the build, how it is held."""
        return f"Computed, {self.air}. Build: {self.build}. How held: {self.held}."


def caption_text(mode: Mode, caption: Caption, words: Iterable[str]) -> str:
    """The caption of one picture of a Mode."""
    more = caption.more[mode.column : mode.column + 1]
    return "\n".join([frequency_line(mode, caption), caption.facts, *more, *words, *mode.remarks, CREDIT])


def frequency_line(mode: Mode, caption: Caption) -> str:
    """'Mode 3, 163.5 Hz (mesh error about 0.4 %): top and back swell together, the back further.'"""
    error = np.nan if caption.mesh_error is None else caption.mesh_error[mode.column]
    mesh = f"mesh error about {100 * error:.1f} %" if np.isfinite(error) else "mesh error not estimated"
    return f"Mode {mode.number}, {mode.frequency:.1f} Hz ({mesh}): {mode.label}."


def plan_words(plans: Collection[str], body: Body | None) -> list[str]:
    """Sentences on what a plan view of plates of these names shows."""
    sides = " and ".join(f"the {name} ({where})" for name, where in zip(plans, ("left", "right")))
    drawn = f"{sides}, each" if len(plans) > 1 else f"the {next(iter(plans))},"
    thin = (
        "Thin outlines: braces, blocks and bridge plate inside; the bridge and the fingerboard's end a little heavier."
    )
    return [
        f"Drawn: {drawn} as seen by a reader facing it, {upward(body)} upward.{f' {thin}' if body else ''}",
        *scale_words(),
        f"Contours every {200 / BANDS:.0f} % of it, solid outward, dashed inward.",
        "+ and - stand where an area moves furthest.",
        PATTERN,
    ]


def upward(body: Body | None) -> str:
    """What points upward on the page."""
    return "x axis" if body is None else "neck"


def scale_words() -> list[str]:
    """Sentences on colours and nodal lines."""
    return [
        "Light (yellow) moves outward while dark (blue) moves inward; full scale is the furthest that a plate moves.",
        "Bold: nodal lines, which stay at rest, judged by each plate's own furthest place; where it moves less than "
        f"{100 * JOINED:g} % of that, they are drawn smoothly between its areas.",
    ]


def sides_words(scales: Scales) -> list[str]:
    """A sentence on the colours of the sides in perspective."""
    part = f"{100 * scales.sides / scales.largest:.2g} %"
    return [f"The sides have a scale of their own: full colour there is {part} of the plates' full scale."]


def remarks(space: Space, fields: dict[str, Field], shape_column: np.ndarray) -> tuple[str, ...]:
    """Sentences on what the picture of plates {name: Field} does not show."""
    said, neck, largest = [], neck_motion(space, shape_column), max(f.largest for f in fields.values())
    if neck and largest > 0 and (far := max(neck.values()) / largest) >= NECK_LEADS:
        said.append(f"The neck moves up to {far:.0f} times as far as the plates; it is given no colour.")
    elif neck:
        said.append("The neck is part of the model; it is given no colour.")
    if still := still_plates(fields, longest(shape_column.reshape(-1, 6)[:, :3])):
        names = " and ".join(f"the {name}" for name in still)
        move = "hardly moves: it is" if len(still) == 1 else "hardly move: they are"
        least = f"{100 * HARDLY:g} % of what moves furthest in the mode"
        said.append(
            f"{capital(names)} {move} drawn at rest, without lines, where all of a plate moves less than {least}."
        )
    moving = [f for name, f in fields.items() if name not in still]
    squares = lambda of: sum(np.sum(of(f) ** 2) for f in moving)
    if squares(lambda f: f.displacement) > 2 * squares(lambda f: f.value):
        said.append("In this mode the plates move mostly in their own plane; only motion square to them is coloured.")
    return tuple(said)
