"""Mode pictures fit for print: plan views, a contact sheet, a few in perspective, and a caption beside each."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from studies.common import system_check
from studies.drawing import perspective
from studies.drawing.captions import (
    Caption,
    caption_text,
    facts,
    frequency_line,
    plan_words,
    remarks,
    scale_words,
    upward,
    write,
)
from studies.drawing.field import Field, field_on, phase, same_phase, sampler, turned
from studies.drawing.mode_words import distinct, neck_alone, plain_label
from studies.drawing.neck_solid import neck_solid
from studies.drawing.plan import DPI, FULL_WIDTH, THEMES, contact_figure, on_true_curves, plan_figure, plate_plan, save

TOP_DECIDES = 0.2  # the top sets the sign of a mode unless it moves less than this part of the furthest moved plate
CONTACT_SUBDIVIDE = 3  # the contact sheet is small
ALL = (".svg", ".pdf", ".png")


@dataclass(frozen=True)
class Mode:
    """One mode ready to be drawn."""

    number: int  # from 1
    column: int  # of the shapes
    frequency: float  # Hz
    fields: dict = field(repr=False)  # {'top' or 'back': Field}
    largest: float  # displacement of full colour
    furthest: float  # displacement of whatever moves most, neck and sides too
    sign: float  # +1 or -1, already applied to the fields; 0 where no plates could tell
    label: str
    remarks: tuple  # sentences for the caption


def draw_modes(
    space, mesh, body, frequency, shape, folder, labels=None, captions=None, count=12, *,
    perspectives=3, width_mm=FULL_WIDTH, reference=None, numbers=None, formats=ALL, themes=("light", "dark"),
    say=lambda text: None,
):  # fmt: skip
    """Draws the first `count` modes into a folder and returns the paths of pictures and captions.

    space, mesh: fem.elements.Space and its ShellMesh; body: the Body they came from, None for a foreign mesh, of which
    a plan is drawn only where surface groups are named 'top' (facing +z) or 'back' (facing -z).
    frequency (n,) Hz, shape (dofs, n). labels: plain words for each mode, from the shape if None.
    captions: a Caption. perspectives: how many modes are also drawn in perspective, those of the neck left out.
    width_mm: of a plan view in print, at 300 dpi. numbers: of the modes in words and file names, if not 1, 2, ...
    reference: shape (dofs, n) of the build to compare with, paired column by column; gives the sign and the scale.
    formats: of the plan views on the light page; the other themes are drawn as PNG, or in the first format.
    say: called with a few words before each step. A lack of OpenGL is told through `say` and in the caption.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    captions = captions or Caption(build=body.name if body else "shell mesh")
    modes = modes_to_draw(space, mesh, body, frequency, shape, count, labels, reference, numbers)
    boards, paths = boards_of(space, mesh, body), []
    if boards:
        plans = {name: plate_plan(name, board, body) for name, board in boards.items()}
        for mode in modes:
            say(f"plan view of mode {mode.number}")
            paths += _plan_pictures(mode, plans, folder, width_mm, captions, body, formats, themes)
        say("contact sheet")
        paths += _contact_sheet(space, mesh, body, modes, shape, folder, captions, formats, themes)
    chosen = [m for m in modes if not m.label.startswith("neck")][:perspectives]
    return paths + _perspectives(space, mesh, body, chosen, shape, reference, folder, width_mm, captions, themes, say)


def modes_to_draw(space, mesh, body, frequency, shape, count, labels=None, reference=None, numbers=None):
    """The first `count` Modes, each with words of its own; arguments as in draw_modes."""
    boards, count = boards_of(space, mesh, body), min(count, len(frequency))
    modes = [_mode(space, boards, k, frequency, shape, labels, reference, numbers) for k in range(count)]
    own = labels[:count] if labels else distinct([m.label for m in modes])
    return [Mode(**vars(m) | {"label": label}) for m, label in zip(modes, own)]


def plates_of(mesh):
    """Names of the surface groups that can be shown in plan: 'top' facing +z, 'back' facing -z."""
    facing = {"top": 0.9, "back": -0.9}
    normals = {name: mesh.normal[mesh.surfaces[name].triangles, 2] for name in facing if name in mesh.surfaces}
    return [name for name, n in normals.items() if np.mean(n) * np.sign(facing[name]) > abs(facing[name])]


def boards_of(space, mesh, body, subdivide=4):
    """{plate: Sampler} of the plates that can be shown in plan."""
    return {name: _sampler(space, mesh.surfaces[name].triangles, body, subdivide) for name in plates_of(mesh)}


def box_of(mesh):
    """Indices of the triangles that are shown in colour in perspective: all but the neck."""
    return np.setdiff1d(np.arange(len(mesh.triangles)), neck_alone(mesh))


def _sampler(space, triangles, body, subdivide=4):
    found = sampler(space, triangles, subdivide)
    return found if body is None else on_true_curves(found, body)


# --- one mode ---


def _mode(space, boards, k, frequency, shape, labels, reference, numbers=None):
    number = k + 1 if numbers is None else int(numbers[k])
    fields = {name: field_on(board, shape[:, k]) for name, board in boards.items()}
    largest = max([f.largest for f in fields.values()], default=0.0)
    motion = perspective.furthest((shape if reference is None else reference)[:, k].reshape(-1, 6)[:, :3])
    if not fields:
        label = labels[k] if labels else f"mode {number}"
        return Mode(number, k, float(frequency[k]), {}, 0.0, motion, 0.0, label, ())
    sign, said = _sign(fields, largest), remarks(space, _together(fields), shape[:, k], largest)
    label = labels[k] if labels else plain_label(space, fields, shape[:, k], largest)
    if reference is not None:
        base = {name: field_on(board, reference[:, k]) for name, board in boards.items()}
        largest = max(f.largest for f in base.values())
        base = turned(_together(base), _sign(base, largest))
        own = _together(fields)
        sign = 1.0 if same_phase(base, own) is own else -1.0
    fields = {name: turned(f, sign) for name, f in fields.items()}
    return Mode(number, k, float(frequency[k]), fields, largest, motion, sign, label, said)


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
        np.concatenate([f.triangles + n for f, n in zip(parts, start)]),
        np.concatenate([f.value for f in parts]),
        np.concatenate([f.displacement for f in parts]),
    )


# --- files ---


def _plan_pictures(mode, plans, folder, width_mm, caption, body, formats, themes):
    stem, paths = folder / f"mode-{mode.number:02d}-plan", []
    for name in themes:
        figure = plan_figure(plans, mode.fields, THEMES[name], mode.largest, width_mm, furthest=mode.furthest)
        paths += save(figure, f"{stem}{_ending(name)}", formats if name == "light" else _one_of(formats))
    return [*paths, *write(stem, caption_text(mode, caption, plan_words(plans, body)))]


def _ending(theme):
    return "" if theme == "light" else f"-{theme}"


def _one_of(formats):
    return (".png",) if ".png" in formats else tuple(formats[:1])


def _contact_sheet(space, mesh, body, modes, shape, folder, caption, formats, themes):
    plans, panels = contact_panels(space, mesh, body, modes, shape)
    stem, paths = folder / "modes-contact-sheet", []
    for name in themes:
        figure = contact_figure(
            panels, THEMES[name], upward=upward(body), title=caption.title, furthest=[m.furthest for m in modes]
        )  # fmt: skip
        wanted = [f for f in formats if f != ".svg"] or formats
        paths += save(figure, f"{stem}{_ending(name)}", wanted if name == "light" else _one_of(wanted))
    lines = [f"{len(modes)} modes, each on its own colour scale.", facts(caption), *plan_words(plans, body)]
    lines += [frequency_line(mode, caption) for mode in modes] + [caption.credit + "."]
    return [*paths, *write(stem, "\n".join(lines))]


def contact_panels(space, mesh, body, modes, shape):
    """{plate: Plate}, and (plates, fields, largest, heading, label) of each Mode, coarser than a picture of its own."""
    boards = boards_of(space, mesh, body, CONTACT_SUBDIVIDE)
    plans, panels = {name: plate_plan(name, board, body) for name, board in boards.items()}, []
    for mode in modes:
        fields = {name: turned(field_on(b, shape[:, mode.column]), mode.sign) for name, b in boards.items()}
        panels.append((plans, fields, mode.largest, f"{mode.number}    {mode.frequency:.0f} Hz", mode.label))
    return plans, panels


def _perspectives(space, mesh, body, modes, shape, reference, folder, width_mm, caption, themes, say):
    if not modes:
        return []
    draw, why = perspective_way(say)
    stage, paths = Stage(space, mesh, body), []
    for mode in modes:
        say(f"mode {mode.number} in perspective")
        drawn = stage.scene(mode, shape, reference)
        stem = folder / f"mode-{mode.number:02d}-perspective"
        words = [f"Seen from the front, left, and from behind, right, {upward(body)} upward. The motion is exaggerated.",
                 *scale_words(), *([why] if why else [])]  # fmt: skip
        for name in themes:
            path = Path(f"{stem}{_ending(name)}.png")
            save_pixels(draw(drawn, THEMES[name], width_mm), path)
            paths.append(path)
        paths += write(stem, caption_text(mode, caption, words))
    return paths


def perspective_way(say):
    """The function that draws a Scene on this machine, and a sentence on what it lacks, or ''."""
    say("trying perspective pictures")
    check = system_check.works(system_check.PERSPECTIVE)
    if check.works:
        return perspective.draw_with_pyvista, ""
    say(f"perspective pictures drawn by matplotlib: {check.reason}")
    return perspective.draw_with_matplotlib, f"Drawn without a 3-D library: {check.reason.split(';')[0]}."


class Stage:
    """Box and neck of one mesh, sampled once for many perspective pictures."""

    def __init__(self, space, mesh, body, subdivide=4):
        self.body, self.board = body, _sampler(space, box_of(mesh), body, subdivide)
        self.solid = neck_solid(space, body)

    def scene(self, mode, shape, reference=None, part=1.0, nodes=True):
        """perspective.Scene of a Mode; part: of its motion, -1..1."""
        own = field_on(self.board, shape[:, mode.column])
        base = (shape if reference is None else reference)[:, mode.column]
        first = own if reference is None else field_on(self.board, base)
        sign = mode.sign
        if not sign:  # no plates that could have told
            sign = 1.0 if same_phase(turned(first, phase(first)), own) is own else -1.0
        full = perspective.furthest(first.displacement, self._neck(base))
        moved = None if self.solid is None else sign * self._neck(shape[:, mode.column])
        largest = mode.largest or first.largest
        return perspective.scene(
            turned(own, sign), self.board.normal, self.body, largest, full, self.solid, moved, part, nodes
        )  # fmt: skip

    def still(self, column, largest, full):
        """perspective.Scene of a motion (dofs,) at one instant, on given scales; without nodal lines."""
        own = field_on(self.board, column)
        return perspective.scene(
            own, self.board.normal, self.body, largest, full, self.solid, self._neck(column), nodes=False
        )  # fmt: skip

    def _neck(self, column):
        return None if self.solid is None else self.solid.displacement(column)


def save_pixels(pixels, path):
    """Writes pixels (h, w, 3) as a PNG for print."""
    from PIL import Image

    Image.fromarray(pixels).save(path, dpi=(DPI, DPI))
