"""Mode pictures fit for print: plan views, a contact sheet, a few in perspective, and a caption beside each."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import numpy as np

from fem.elements import Space
from meshes.body import Body
from studies.drawing.boards import Boards, boards_of, body_sampler
from studies.drawing.captions import (
    CREDIT,
    PERSPECTIVE_WORDS,
    Caption,
    caption_text,
    frequency_line,
    plan_words,
    remarks,
    scale_words,
    sides_words,
    upward,
)
from studies.drawing.field import Field, field_on, longest, phase, sign_along, turned
from studies.drawing.mode_words import distinct, neck_alone, plain_label
from studies.drawing.neck_solid import neck_solid
from studies.drawing.perspective import RIM_LEAST, Scales, Scene, Swing, perspective_scene, upright
from studies.drawing.picture import Picture, Say, Shot, drawn_one_by_one, silent
from studies.drawing.plan import FULL_WIDTH, Mode, Motion, Panel, contact_figure, plan_figure
from studies.drawing.topology import Topology

TOP_DECIDES = 0.2  # the top sets the sign of a mode unless it moves less than this part of the furthest moved plate
CONTACT_SUBDIVIDE = 3  # the contact sheet is small
ALL = (".svg", ".pdf", ".png")
STILL = Motion({}, 0.0)  # for words alone


@dataclass(frozen=True)
class Shapes:
    """Computed modes, and how they are told apart."""

    space: Space
    body: Body | None  # None: a foreign mesh, in plan where groups are named 'top' (facing +z), 'back' (facing -z)
    frequency: Sequence[float] | np.ndarray  # (n,) Hz
    shape: np.ndarray = field(repr=False)  # (dofs, n)
    labels: Sequence[str] | None = None  # plain words for each; None: from the shapes
    numbers: Sequence[int] = ()  # in words and file names; 1, 2, ... if not given
    # (dofs, n) of the build to compare with, which gives sign and scale; column by column
    reference: np.ndarray | None = field(default=None, repr=False)

    @property
    def base(self) -> np.ndarray:
        """(dofs, n) the shapes that give sign and scale."""
        return self.shape if self.reference is None else self.reference


@dataclass(frozen=True)
class Look:
    """What pictures are written as."""

    width_mm: float = FULL_WIDTH  # of a plan view in print, at 300 dpi
    formats: tuple[str, ...] = ALL  # of the plan views on the light page; other themes as PNG, or in the first of these
    themes: tuple[str, ...] = ("light", "dark")


def draw_modes(
    shapes: Shapes, folder: Path | str, caption: Caption | None = None, count: int = 12, perspectives: int = 3,
    look: Look = Look(), say: Say = silent,
) -> list[Path]:  # fmt: skip
    """Draws the first `count` modes into a folder and returns the paths of pictures and captions; arguments as below."""
    pictures = pictures_of_modes(shapes, folder, caption, count, perspectives, look)
    return [path for files in drawn_one_by_one(pictures, say) for path in files]


def pictures_of_modes(
    shapes: Shapes, folder: Path | str, caption: Caption | None = None, count: int = 12, perspectives: int = 3,
    look: Look = Look(),
) -> list[Picture | Shot]:  # fmt: skip
    """Pictures of the first `count` modes in a folder: plan views, contact sheet, perspective.

    perspectives: how many modes are also drawn in perspective, those of the neck left out.
    """
    folder, body = Path(folder), shapes.body
    caption = caption or Caption(build=body.name if body else "shell mesh")
    boards, found = boards_of(shapes.space, body), list[Picture | Shot]()
    modes = modes_to_draw(shapes, count)
    if boards.samplers:
        found += [_plan_picture(mode, boards, folder, caption, look) for mode in modes]
        found.append(_contact_sheet(shapes, modes, folder, caption, look))
    chosen = [m for m in modes if not m.label.startswith("neck")][:perspectives]
    return found + _shots(shapes, chosen, folder, caption, look)


def modes_to_draw(shapes: Shapes, count: int) -> list[Mode]:
    """The first `count` Modes, each with words of its own."""
    boards = boards_of(shapes.space, shapes.body)
    modes = [mode_of(shapes, boards, k) for k in range(min(count, len(shapes.frequency)))]
    labels = shapes.labels or distinct([m.label for m in modes])
    return [replace(m, label=label) for m, label in zip(modes, labels)]


# --- one mode ---


def mode_of(shapes: Shapes, boards: Boards, k: int) -> Mode:
    """Mode of column k; its words may be those of another."""
    number = int(shapes.numbers[k]) if len(shapes.numbers) else k + 1
    column, frequency = shapes.shape[:, k], float(shapes.frequency[k])
    fields = boards.moving(column)
    furthest = longest(shapes.base[:, k].reshape(-1, 6)[:, :3])
    if not fields:
        return Mode(number, k, frequency, Motion({}, 0.0, furthest), 0.0, f"mode {number}", ())
    own, largest = _together(fields), max(f.largest for f in fields.values())
    label = shapes.labels[k] if shapes.labels else plain_label(shapes.space, fields, column)
    said, sign = remarks(shapes.space, fields, column), _sign(fields, largest)
    if shapes.reference is not None:
        base = boards.moving(shapes.reference[:, k])
        largest = max(f.largest for f in base.values())
        sign = _sign(base, largest) * sign_along(_together(base), own)
    fields = {name: turned(f, sign) for name, f in fields.items()}
    return Mode(number, k, frequency, Motion(fields, largest, furthest), sign, label, said)


def _sign(fields, largest):
    """Sign that turns the largest displacement of the top outward, or of the back if the top hardly moves."""
    ordered = sorted(fields, key=lambda name: name != "top")
    decides = next(name for name in ordered if fields[name].largest >= TOP_DECIDES * largest)
    return phase(fields[decides])


def _together(fields):
    """All plates as one Field."""
    parts = list(fields.values())
    start = np.cumsum([0] + [len(f.points) for f in parts])
    return Field(
        np.concatenate([f.points for f in parts]),
        Topology(np.concatenate([f.triangles + n for f, n in zip(parts, start)])),
        np.concatenate([f.value for f in parts]),
        np.concatenate([f.displacement for f in parts]),
    )


# --- files ---


def _plan_picture(mode, boards, folder, caption, look):
    figure = partial(plan_figure, boards.plates, mode.motion, look.width_mm)
    words = caption_text(mode, caption, plan_words(boards.plates, boards.body))
    stem = folder / f"mode-{mode.number:02d}-plan"
    return Picture(f"plan view of mode {mode.number}", stem, figure, words, look.formats, look.themes)


def _contact_sheet(shapes, modes, folder, caption, look):
    panels = contact_panels(shapes, modes)
    drawn = plan_words(panels[0].plates, shapes.body)
    lines = [f"{len(modes)} modes, each on its own colour scale.", caption.facts, *drawn]
    lines += [*(frequency_line(mode, caption) for mode in modes), CREDIT]
    figure = partial(contact_figure, panels, upward=upward(shapes.body), title=caption.title)
    formats = tuple(f for f in look.formats if f != ".svg") or look.formats
    return Picture("contact sheet", folder / "modes-contact-sheet", figure, "\n".join(lines), formats, look.themes)


def contact_panels(shapes: Shapes, modes: Sequence[Mode]) -> list[Panel]:
    """A Panel of each Mode, coarser than a picture of its own."""
    boards = boards_of(shapes.space, shapes.body, CONTACT_SUBDIVIDE)
    panels = []
    for mode in modes:
        motion = replace(mode.motion, fields=boards.moving(shapes.shape[:, mode.column], mode.sign))
        panels.append(Panel(boards.plates, motion, f"{mode.number}    {mode.frequency:.0f} Hz", mode.label))
    return panels


def _shots(shapes, modes, folder, caption, look):
    if not modes:
        return []
    stage, found = Stage(shapes.space, shapes.body), []
    for mode in modes:
        words = [PERSPECTIVE_WORDS, *scale_words(), *stage.words(mode, shapes)]
        told = partial(_with_lacks, replace(mode, motion=STILL), caption, words)
        stem, what = folder / f"mode-{mode.number:02d}-perspective", f"mode {mode.number} in perspective"
        found.append(Shot(what, stem, stage.scene(mode, shapes), look.width_mm, told, look.themes))
    return found


def _with_lacks(mode, caption, words, lacks):
    return caption_text(mode, caption, [*words, *lacks])


class Stage:
    """Box and neck of one mesh, sampled once for many perspective pictures."""

    def __init__(self, space: Space, body: Body | None, subdivide: int = 4):
        coloured = np.setdiff1d(np.arange(len(space.mesh.triangles)), neck_alone(space.mesh))
        self.body, self.box = body, body_sampler(space, coloured, body, subdivide)
        self.neck = neck_solid(space, body)

    def scene(self, mode: Mode, shapes: Shapes, part: float = 1.0) -> Scene:
        """Scene of a Mode; part: of its motion, -1..1."""
        own, base = (field_on(self.box, s[:, mode.column]) for s in (shapes.shape, shapes.base))
        sign = mode.sign or phase(base) * sign_along(base, own)
        moved = self._swing(sign * shapes.shape[:, mode.column])
        scales = self.scales([shapes.base[:, mode.column]], mode.motion.largest)
        return perspective_scene(turned(own, sign), self.box.normal, self.body, scales, moved, part)

    def still(self, column: np.ndarray, scales: Scales) -> Scene:
        """Scene of a motion (dofs,) at one instant, on given scales; without nodal lines."""
        own = field_on(self.box, column)
        return perspective_scene(own, self.box.normal, self.body, scales, self._swing(column), nodes=False)

    def scales(self, columns: Iterable[np.ndarray], largest: float = 0.0) -> Scales:
        """Scales of motions (dofs,) together. largest: of full colour on top and back; their own, if not given."""
        side, plates, rim, furthest = upright(self.box.normal), 0.0, 0.0, 0.0
        for column in columns:
            own, swing = field_on(self.box, column), self._swing(column)
            size = np.abs(own.value)
            plates, rim = max(plates, size[~side].max(initial=0.0)), max(rim, size[side].max(initial=0.0))
            furthest = max(furthest, longest(own.displacement, *([swing.displacement] if swing else [])))
        largest = largest or plates or rim
        return Scales(largest, furthest, max(rim, RIM_LEAST * largest) if self.body else largest)

    def words(self, mode: Mode, shapes: Shapes) -> list[str]:
        """Sentences on the colours of the sides in a Mode's Scene."""
        if self.body is None:
            return []
        return sides_words(self.scales([shapes.base[:, mode.column]], mode.motion.largest))

    def _swing(self, column):
        return None if self.neck is None else Swing(self.neck, self.neck.displacement(column))
