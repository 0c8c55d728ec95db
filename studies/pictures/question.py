"""What do the modes of a sheet's rim builds look like, dry or with air, in print and moving?

One folder of pictures and captions for each build. Modes of a build are paired with those of the sheet's own by the modal
assurance criterion: same number, same sign, same scale.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fem.body_modes import BodyModes
from fem.coupled_string import couple, pluck_note
from fem.eigen import mac
from fem.model import weights
from fem.strings import fundamental
from meshes.body import Body
from meshes.coupled_model import RIGID, fluid_domain, structure_of
from meshes.sheet_strings import strung
from meshes.string_body import string_ends
from meshes.supports import FREE, LAP
from studies.common.builds import Build, builds, complete_linings
from studies.common.inputs import BadInput, given_sheet, mesh_size, within
from studies.common.kept import kept_folder
from studies.common.mesh_error import mode_errors
from studies.common.pairing import paired
from studies.common.progress import Progress
from studies.drawing import moving as moving_picture
from studies.drawing.captions import CREDIT, WITH_AIR, Caption
from studies.drawing.mode_names import furthest, said_of_air
from studies.drawing.mode_pictures import Look, Shapes, contact_panels, draw_modes, modes_to_draw
from studies.drawing.plan import FULL_WIDTH, contact_figure
from studies.drawing.sheet import THEMES, save_with_caption
from studies.rim.air import PROGRESS, driven_on
from studies.rim.dry import followed_modes, pairs_of
from studies.rim.pictures import draw_level
from studies.solved.answer import ask
from studies.solved.coupled import coupled_models
from studies.solved.dry import SPARE, dry_levels
from studies.solved.level import dry_modes, prepare, prepare_three

FORMATS = ("png", "svg", "pdf")
HELD = {"free": FREE, "lap": LAP}
LEAVES = {"free": "", "lap": "-on-the-lap"}  # behind a build's name in that of its folder
MOVED = 3  # modes that also move, those of the neck left out
DRAWN = 4.0  # steps of progress a build takes to be drawn, beside those of its solution
STRING, FRET = 0, 0  # the lowest string, open


@dataclass(frozen=True)
class Wanted:
    """What is to be drawn, and how."""

    count: int = 12  # modes
    width_mm: float = FULL_WIDTH  # of a picture in print
    form: str = "png"  # of the plan views
    dark: bool = False  # on a dark page too
    moving: bool = False  # moving pictures too
    air: bool = False  # modes with air
    held: str = "free"  # of HELD, with air

    @property
    def look(self) -> Look:
        return Look(self.width_mm, (f".{self.form}",), ("light", "dark") if self.dark else ("light",))

    @property
    def theme(self) -> str:
        """Of what is drawn only once."""
        return self.look.themes[-1]


@dataclass(frozen=True)
class Shown:
    """One build, its modes paired with those of the sheet's own: column k belongs to mode `shapes.numbers[k]` of the sheet's."""

    build: Build
    shapes: Shapes
    caption: Caption
    pluck: Callable[[], tuple[np.ndarray, str]]  # motion (dofs, frames), words


def draw_pictures(
    sheet: Path | str, out: Path | str | None = None, size_mm: float | None = None, wanted: Wanted = Wanted(),
    names: Sequence[str] = (), progress: Progress | None = None, around: Callable = fluid_domain,
) -> str:  # fmt: skip
    """Draws the pictures and returns what was written as text. names: of the builds beside the sheet's own."""
    given, size = given_sheet(sheet), mesh_size(size_mm)
    _check(wanted)
    body = complete_linings(given.body)[0]
    chosen = chosen_builds(body, names)
    out = given.folder(out, "pictures")
    rows = kept_folder(out)
    solving = len(chosen) * PROGRESS if wanted.air else len(chosen) + 2
    progress = progress or Progress(solving + DRAWN * len(chosen))
    paths, power = [], None
    if wanted.air:
        shown, power = _with_air(
            body, chosen, prepare(body, size, rows, dry_modes(wanted.count)), wanted, progress, around
        )
    else:
        shown = _dry(body, chosen, size, wanted.count, rows, progress, around)
    for one in shown:
        say = lambda what, one=one: progress.say(f"{one.build.name}: {what}")
        paths += _draw(one, out / (one.build.name + LEAVES[wanted.held]), wanted, say)
        progress.step(DRAWN)
    if power is not None:
        level, base = power
        drawn: dict[str, list[Path]] = {}
        draw_level(level, base, body.name, wanted.count, out, progress.say, drawn, wanted.look.formats)
        paths += [path for kind in drawn.values() for path in kind]
    if len(shown) > 1:
        paths += side_by_side(shown, out, wanted)
    progress.close("drawn")
    return _told(paths, out, wanted.moving)


def _check(wanted):
    within("--count", wanted.count, 1, 40, "modes")
    within("--width-mm", wanted.width_mm, 20, 400, "mm of print")
    if wanted.held not in HELD:
        raise BadInput(f"--held {wanted.held}: expected 'free' or 'lap'")
    if wanted.held != "free" and not wanted.air:
        raise BadInput(f"--held {wanted.held}: the dry box is held by nothing; expected --air beside it")
    if wanted.form not in FORMATS:
        raise BadInput(f"--format {wanted.form}: expected one of {', '.join(FORMATS)}")


def chosen_builds(body: Body, names: Sequence[str]) -> list[Build]:
    """The Builds of these names, the sheet's own first. BadInput names those that there are."""
    known = {b.name: b for b in builds(body)}
    unknown = [name for name in names if name not in known]
    if unknown:
        raise BadInput(f"--builds {unknown[0]}: expected names among {', '.join(known)}")
    return [known[name] for name in dict.fromkeys(("sheet", *names))]


def _told(paths, out, moving):
    drawn = [path for path in paths if path.suffix != ".txt"]
    what = ", ".join(f"{n} {kind[1:]}" for kind, n in sorted(Counter(path.suffix for path in drawn).items()))
    lines = [f"wrote {what}, each with a caption (.txt), into {out}"]
    lines += [f"wrote {path}" for sheet in ("contact-sheet", "side-by-side") for path in drawn if sheet in path.name]
    if moving and not moving_picture.encoder():
        lines.append(moving_picture.NO_ENCODER)
    return "\n".join(lines)


# --- solved ---


def _dry(body, chosen, size, count, rows, progress, around):
    """[Shown] of the dry box; rows that `rimwork rim` left are used again."""
    found = dry_levels(
        chosen, prepare_three(chosen[0].body, size, rows, dry_modes(count), True), count + SPARE, progress
    )
    model, base, shown = found.fine.place.model, found.fine.rows[0], []
    hertz = tuple(row.found.frequency for row in found.own)
    errors = mode_errors(hertz, followed_modes(found, count), share=False) / base.found.frequency[:count]
    for row, (partner, _) in zip(found.fine.rows, pairs_of(found.fine.rows, model, count)):
        at = np.flatnonzero(partner >= 0)
        p, f = partner[at], row.found.frequency[partner[at]]
        caption = Caption(f"{body.name}, {row.build.label}", mesh_error=errors[at], more=_beside(row.build, p, at))
        pluck = lambda row=row: _dry_pluck(row, model)
        reference = None if row.build.is_base else base.found.shape[:, at]
        shapes = Shapes(model.space, row.build.body, f, row.found.shape[:, p], None, at + 1, reference)
        shown.append(Shown(row.build, shapes, caption, pluck))
    return shown


def _beside(build, partner, at):
    """A sentence for each mode on which of the build's own it is; none for the sheet's own."""
    if build.is_base:
        return ()
    return tuple(
        f"It is mode {p + 1} of this build, the one most like mode {k + 1} of the sheet's own; sign and scale are that one's."
        for p, k in zip(partner, at)
    )


def _with_air(body, chosen, place, wanted, progress, around):
    """[Shown] of the air-loaded modes, held as wanted, and (level of what the builds do with the power, CoupledModel of the first)."""
    made, how, count = coupled_models(chosen, place, progress, 1.0, around), HELD[wanted.held], wanted.count
    level = driven_on(made, chosen, progress, 1.0)
    space, shown, base = made.model.space, [], None
    M = made.model.matrix("M", weights(chosen[0].sections()))
    for build in chosen:
        whole = made.whole[build.name]
        modes = level.results[build.name, how].modes
        q = modes.shape[: len(whole.structure.frequency)]
        shape = whole.structure.shape @ np.real(q * furthest(q))  # at the instant at which the shell moves furthest
        base = shape[:, :count] if base is None else base
        partner = np.arange(base.shape[1]) if build.is_base else paired(mac(M, base, shape))[0]
        at = np.flatnonzero(partner >= 0)
        p = partner[at]
        beside = _beside(build, p, at) or ("",) * len(at)
        more = tuple(
            f"{words} {100 * air:.0f} % of its energy is in the air; {100 * out:.0f} % of its loss goes out as sound.".strip()
            for words, air, out in zip(beside, modes.air_share[p], modes.loss_share["radiation"][p])
        )
        caption = Caption(f"{body.name}, {build.label}", how, air=WITH_AIR, more=more)
        shapes = Shapes(space, build.body, modes.frequency[p], shape[:, p])
        reference = None if build.is_base else base[:, at]
        drawn = modes_to_draw(shapes, len(p))
        labels = tuple(said_of_air(mode.label, share) for mode, share in zip(drawn, modes.air_share[p]))
        pluck = lambda whole=whole: _air_pluck(ask(whole, how))
        shapes = replace(shapes, labels=labels, numbers=at + 1, reference=reference)
        shown.append(Shown(build, shapes, caption, pluck))
    return shown, (level, made.whole[chosen[0].name])


# --- plucked ---


def _plucked(body, modes, shape):
    """(motion (dofs, frames) [m], words) of the lowest open string plucked on BodyModes of shapes (dofs, n)."""
    plucked = strung(body)
    lowest, pluck = plucked.strings.strings[STRING], plucked.pluck
    ringing = pluck_note(couple(lowest, STRING, FRET, modes), pluck)
    words = (
        f"The lowest string, open ({fundamental(lowest):.0f} Hz), plucked with {pluck.force:g} N "
        f"{1e3 * pluck.distance:.0f} mm from the saddle"
    )
    return moving_picture.pluck_shapes(ringing, shape), words


def _air_pluck(answer):
    s = answer.whole.structure
    modes = answer.played(len(strung(s.body).strings.strings))
    return _plucked(s.body, modes, s.shape @ answer.real_modes[1][: len(s.frequency)])


def _dry_pluck(row, model):
    """The elastic modes alone: nothing holds the body, and its rigid motion is left out."""
    s = structure_of(row.build.body, model, row.build.sections(), row.found)
    keep = slice(RIGID, RIGID + len(row.found.frequency))
    saddle, nut = (end[..., keep, :] for end in string_ends(s, len(strung(s.body).strings.strings)))
    loss = {part: H[keep, keep] for part, H in s.loss.items()}
    modes = BodyModes(2 * np.pi * s.frequency[keep], loss, saddle, nut, valid_to=s.valid_to)
    motion, words = _plucked(s.body, modes, s.shape[:, keep])
    return motion, f"{words}, on a body without air whose motion as a whole is left out"


# --- drawn ---


def _draw(one, folder, wanted, say):
    shapes, caption = one.shapes, one.caption
    paths = draw_modes(shapes, folder, caption, wanted.count, look=wanted.look, say=say)
    if not wanted.moving:
        return paths
    modes = modes_to_draw(shapes, wanted.count)
    for mode in [m for m in modes if not m.label.startswith("neck")][:MOVED]:
        paths += moving_picture.save_mode(shapes, mode, folder, caption, wanted.theme, say)
    motion, words = one.pluck()
    caption = replace(caption, mesh_error=None, more=())
    return paths + moving_picture.save_pluck(
        shapes.space, shapes.body, motion, folder, caption, words, wanted.theme, say
    )  # fmt: skip


def side_by_side(shown: Sequence[Shown], out: Path, wanted: Wanted) -> list[Path]:
    """One sheet of the modes that all builds have, the builds of a mode one beside the other, on the scale of the first."""
    common = [k for k in shown[0].shapes.numbers if all(k in one.shapes.numbers for one in shown)]
    columns = []
    for one in shown:
        modes = modes_to_draw(one.shapes, len(one.shapes.numbers))
        panels = contact_panels(one.shapes, [m for m in modes if m.number in common])
        name = one.build.name.replace("_", " ")
        columns.append([replace(p, label=f"{name}: {p.label}") for p in panels])
    ordered = [panel for row in zip(*columns) for panel in row]
    first, side = shown[0].caption, len(shown) * max(1, round(4 / len(shown)))
    title = f"{first.build.split(',')[0]}: the same modes of {len(shown)} rim builds\n{first.title.splitlines()[1]}; one sign and one scale for each mode"
    figure = contact_figure(ordered, THEMES[wanted.theme], max(180.0, 45.0 * side), side, title=title)
    words = [title.replace("\n", ". ") + ".", *(f"{one.build.name}: {one.build.label}." for one in shown)]
    words.append(CREDIT)
    return save_with_caption(figure, out / "builds-side-by-side", "\n".join(words), wanted.look.formats)
