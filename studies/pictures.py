"""Mode pictures fit for print: plan views, a contact sheet, a few in perspective, and a caption beside each."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fem.mesh import part_of
from studies import perspective, system_check
from studies.mode_features import peaks
from studies.mode_field import Field, field_on, phase, same_phase, sampler, turned
from studies.plan_picture import (
    BANDS,
    FULL_WIDTH,
    THEMES,
    contact_figure,
    on_true_curves,
    plan_figure,
    plate_plan,
    save,
)

TOP_DECIDES = 0.2  # the top sets the sign of a mode unless it moves less than this part of the furthest moved plate
NECK_LEADS = 1.5  # times the plates' motion: from here on a mode is named after the neck
CONTACT_SUBDIVIDE = 3  # the contact sheet is small


@dataclass(frozen=True)
class Caption:
    """What a reader must know of a picture beside its frequency."""

    build: str  # 'Hazel, kerfed linings'
    held: str = "free, nothing holds it"
    source: str = "computed"  # or 'measured'
    air: str = "dry (without air)"
    mesh_error: object = None  # part of the frequency [-]: one number, or one a mode; None where not estimated
    credit: str = "Computed with Rimwork"


@dataclass(frozen=True)
class Mode:
    """One mode ready to be drawn."""

    number: int  # from 1
    frequency: float  # Hz
    fields: dict  # {'top' or 'back': Field}
    largest: float  # displacement of full colour
    sign: float  # +1 or -1, already applied to the fields
    label: str
    remarks: tuple  # sentences for the caption


def draw_modes(
    space, mesh, body, frequency, shape, folder, labels=None, captions=None, count=12, *,
    perspectives=3, width_mm=FULL_WIDTH, reference=None, say=lambda text: None,
):  # fmt: skip
    """Draws the first `count` modes into a folder and returns the paths of pictures and captions.

    space, mesh: fem.elements.Space and its ShellMesh; body: the Body they came from, None for a foreign mesh, of which
    a plan is drawn only where surface groups are named 'top' (facing +z) or 'back' (facing -z).
    frequency (n,) Hz, shape (dofs, n). labels: plain words for each mode, from the shape if None.
    captions: a Caption.
    perspectives: how many modes are also drawn in perspective. width_mm: of a plan view in print, at 300 dpi.
    reference: shape (dofs, n) of the build to compare with, paired column by column; gives the sign and the scale.
    say: called with a few words before each step. A lack of OpenGL is told through `say` and in the caption.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    captions = captions or Caption(build=body.name if body else "shell mesh")
    names = plates_of(mesh)
    boards = {name: _sampler(space, mesh.surfaces[name].triangles, body) for name in names}
    modes = [
        _mode(space, boards, k, frequency, shape, labels, reference) for k in range(min(count, len(frequency)))
    ]  # fmt: skip
    paths = []
    if names:
        plans = {name: plate_plan(name, board, body) for name, board in boards.items()}
        for mode in modes:
            say(f"plan view of mode {mode.number} of {len(modes)}")
            paths += _plan_pictures(mode, plans, folder, width_mm, captions, body)
        say("contact sheet")
        paths += _contact_sheet(space, mesh, body, modes, plans, shape, folder, captions)
    chosen = [m for m in modes if not m.label.startswith("neck")][:perspectives]
    return paths + _perspectives(space, mesh, body, chosen, shape, reference, folder, width_mm, captions, say)


def plates_of(mesh):
    """Names of the surface groups that can be shown in plan: 'top' facing +z, 'back' facing -z."""
    facing = {"top": 0.9, "back": -0.9}
    normals = {name: mesh.normal[mesh.surfaces[name].triangles, 2] for name in facing if name in mesh.surfaces}
    return [name for name, n in normals.items() if np.mean(n) * np.sign(facing[name]) > abs(facing[name])]


def box_of(mesh):
    """Indices of the triangles that are shown in perspective: all but the neck."""
    return np.setdiff1d(np.arange(len(mesh.triangles)), neck_alone(mesh))


def neck_alone(mesh):
    """Indices of the neck's triangles, without those where its heel and tongue are glued to other parts; may be none."""
    groups = [(part_of(region) == "neck", s.triangles) for region, s in mesh.surfaces.items()]
    neck, rest = (np.unique(np.concatenate([[], *(t for own, t in groups if own is which)])) for which in (True, False))
    return np.setdiff1d(neck, rest).astype(int)


def _sampler(space, triangles, body, subdivide=4):
    found = sampler(space, triangles, subdivide)
    return found if body is None else on_true_curves(found, body)


# --- one mode ---


def _mode(space, boards, k, frequency, shape, labels, reference):
    fields = {name: field_on(board, shape[:, k]) for name, board in boards.items()}
    largest = max([f.largest for f in fields.values()], default=0.0)
    if not fields:
        return Mode(k + 1, float(frequency[k]), {}, 0.0, 0.0, labels[k] if labels else f"mode {k + 1}", ())
    sign, remarks = _sign(fields, largest), _remarks(space, fields, shape[:, k], largest)
    if reference is not None:
        base = {name: field_on(board, reference[:, k]) for name, board in boards.items()}
        largest = max(f.largest for f in base.values())
        base = turned(_together(base), _sign(base, largest))
        own = _together(fields)
        sign = 1.0 if same_phase(base, own) is own else -1.0
    fields = {name: turned(f, sign) for name, f in fields.items()}
    label = labels[k] if labels else plain_label(space, fields, shape[:, k], largest)
    return Mode(k + 1, float(frequency[k]), fields, largest, sign, label, remarks)


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


def neck_motion(space, shape_column):
    """Largest displacement of the neck by the way it moves, {'bends sideways': ...}; {} without a neck."""
    neck = neck_alone(space.mesh)
    if not len(neck):
        return {}
    nodes = np.unique(space.basis.dofs.element_dofs[:, neck])
    aside = np.abs(space.points[nodes, 1])
    u = np.abs(shape_column.reshape(-1, 6)[nodes, :3])
    _, y, z = u[aside <= aside.min() + 0.1 * np.ptp(aside)].max(axis=0)
    return {"bends sideways": y, "bends up and down": z, "twists": u[:, 2].max() - z}


def plain_label(space, fields, shape_column, largest):
    """Plain words for a mode: 'neck bends up and down', or 'top: 1 area, back: 3 areas', the areas that move as one."""
    neck = neck_motion(space, shape_column)
    if neck and max(neck.values()) > NECK_LEADS * largest:
        return f"neck {max(neck, key=neck.get)}"
    areas = {name: len(peaks(field, largest)) for name, field in fields.items()}
    return (
        ", ".join(f"{name}: {n} area{'s' if n > 1 else ''}" for name, n in areas.items() if n) or "plates hardly move"
    )


def _remarks(space, fields, shape_column, largest):
    """Sentences on what the picture does not show."""
    found, neck = [], neck_motion(space, shape_column)
    if neck and largest > 0:
        far = max(neck.values()) / largest
        much = f", and it moves up to {far:.0f} times as far as the plates" if far >= NECK_LEADS else ""
        found.append(f"The neck is part of the model but not drawn{much}.")
    own = _together(fields)
    square = np.mean(own.value**2)
    if np.mean(np.sum(own.displacement**2, axis=1)) > 2 * square:
        found.append("In this mode the plates move mostly in their own plane; only motion square to them is coloured.")
    return tuple(found)


# --- files ---


def _plan_pictures(mode, plans, folder, width_mm, caption, body):
    stem = folder / f"mode-{mode.number:02d}-plan"
    paths = save(
        plan_figure(plans, mode.fields, THEMES["light"], mode.largest, width_mm), stem, (".svg", ".pdf", ".png")
    )
    paths += save(plan_figure(plans, mode.fields, THEMES["dark"], mode.largest, width_mm), f"{stem}-dark", (".png",))
    return [*paths, _write(stem, caption_text(mode, caption, [*_plan_words(plans, body), *mode.remarks]))]


def _contact_sheet(space, mesh, body, modes, plans, shape, folder, caption):
    boards = {name: _sampler(space, mesh.surfaces[name].triangles, body, CONTACT_SUBDIVIDE) for name in plans}
    plans = {name: plate_plan(name, board, body) for name, board in boards.items()}
    panels = []
    for mode in modes:
        fields = {name: turned(field_on(b, shape[:, mode.number - 1]), mode.sign) for name, b in boards.items()}
        panels.append((plans, fields, mode.largest, f"{mode.number}    {mode.frequency:.0f} Hz", mode.label))
    stem, paths = folder / "modes-contact-sheet", []
    for name, theme in THEMES.items():
        end, formats = ("", (".pdf", ".png")) if name == "light" else (f"-{name}", (".png",))
        paths += save(contact_figure(panels, theme, upward=_upward(body)), f"{stem}{end}", formats)
    lines = [
        f"The first {len(modes)} modes, each on its own colour scale.",
        *_facts(caption),
        *_plan_words(plans, body),
    ]
    lines += [_frequency(mode, caption) for mode in modes] + [caption.credit + "."]
    return [*paths, _write(stem, "\n".join(lines))]


def _perspectives(space, mesh, body, modes, shape, reference, folder, width_mm, caption, say):
    if not modes:
        return []
    say("trying perspective pictures")
    check = system_check.works(system_check.PERSPECTIVE)
    if not check.works:
        say(f"perspective pictures drawn by matplotlib: {check.reason}")
    draw = perspective.draw_with_pyvista if check.works else perspective.draw_with_matplotlib
    board, paths = _sampler(space, box_of(mesh), body), []
    for mode in modes:
        say(f"mode {mode.number} in perspective")
        own = field_on(board, shape[:, mode.number - 1])
        base = own if reference is None else field_on(board, reference[:, mode.number - 1])
        full = np.max(np.linalg.norm(base.displacement, axis=1))
        if mode.sign:
            own = turned(own, mode.sign)
        else:  # no plates that could have told
            own = same_phase(turned(base, phase(base)), own)
        drawn = perspective.scene(own, board.normal, body, mode.largest or base.largest, full)
        stem = folder / f"mode-{mode.number:02d}-perspective"
        draw(drawn, f"{stem}.png", THEMES["light"], width_mm)
        words = [f"Seen from the front, left, and from behind, right, {_upward(body)} upward. The motion is exaggerated.",
                 *_scale_words(), *mode.remarks]  # fmt: skip
        if not check.works:
            words.append(f"Drawn without a 3-D library: {check.reason.split(';')[0]}.")
        paths += [Path(f"{stem}.png"), _write(stem, caption_text(mode, caption, words))]
    return paths


# --- words ---


def caption_text(mode, caption, words):
    """The caption of one picture."""
    return "\n".join([_frequency(mode, caption), *_facts(caption), *words, caption.credit + "."])


def _frequency(mode, caption):
    error = caption.mesh_error
    if error is not None and np.ndim(error):
        error = error[mode.number - 1]
    mesh = "mesh error not estimated" if error is None else f"mesh error about {100 * error:.1f} %"
    return f"Mode {mode.number}, {mode.frequency:.1f} Hz ({mesh}): {mode.label}."


def _facts(caption):
    return [f"{caption.source.capitalize()}, {caption.air}. Build: {caption.build}. How held: {caption.held}."]


def _plan_words(plans, body):
    sides = " and ".join(f"the {name} ({where})" for name, where in zip(plans, ("left", "right")))
    each = "each as seen by a reader facing it" if len(plans) > 1 else "as seen by a reader facing it"
    thin = " Thin outlines: braces, blocks and bridge plate inside; the bridge a little heavier." if body else ""
    return [
        f"Drawn: {sides if len(plans) > 1 else 'the ' + next(iter(plans))}, {each}, {_upward(body)} upward.{thin}",
        *_scale_words(),
        f"Contours every {200 / BANDS:.0f} % of it, solid outward, dashed inward.",
        "+ and - stand where an area moves furthest.",
    ]


def _upward(body):
    return "x axis" if body is None else "neck"


def _scale_words():
    return [
        "Light (yellow) moves outward while dark (blue) moves inward; full scale is the furthest that a plate moves.",
        "Bold: nodal lines, which stay at rest; left out where the plate moves less than 1 % of full scale.",
    ]


def _write(stem, text):
    path = Path(f"{stem}.txt")
    path.write_text(text + "\n", encoding="utf-8")
    return path
