"""Moving pictures (GIF; MP4 where ffmpeg is found): a mode over one period, and the body's motion after a pluck.

Both loop without a jump: a mode ends where it began, a pluck starts from rest and is faded to rest.
"""

import io
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from matplotlib.colors import to_rgb
from PIL import Image

from fem.coupled_string import FreeDecay
from fem.elements import Space
from meshes.body import Body
from meshes.lengths import MM_PER_INCH
from meshes.whole_file import write_whole
from studies.drawing.boards import boards_of
from studies.drawing.captions import CREDIT, PERSPECTIVE_WORDS, Caption, caption_text, scale_words, sides_words, upward
from studies.drawing.field import turned
from studies.drawing.mode_pictures import Shapes, Stage
from studies.drawing.perspective import light_steps
from studies.drawing.picture import Say, perspective_way, silent
from studies.drawing.plan import Mode, Motion, Style, plan_figure
from studies.drawing.sheet import THEMES, steps_of_colour, write_caption

FRAMES = 24  # of one period; even, so that the way back shows the pictures of the way out
PERIOD = 1.2  # s on the screen
PLAN_PIXELS, PERSPECTIVE_PIXELS = 480, 420  # wide
LARGEST = 1.5e6  # bytes of a GIF
COLOURS = 192
SHADES = (1.04, 0.98, 0.92, 0.86, 0.80)  # of the scale's steps in perspective, in light and shadow
SCREEN_DPI = 100
PLUCK_TIME, PLUCK_FRAMES, PLUCK_RATE = 0.040, 60, 12  # s of the real motion; pictures; pictures a second
FADE = 0.35  # part of a pluck's picture over which it is faded to rest at the end
NO_ENCODER = "no 'ffmpeg' on this machine: no MP4, only GIF"


@dataclass(frozen=True)
class Reel:
    """Pictures shown one after the other, each for `step` seconds, over and over."""

    pictures: tuple[Image.Image, ...]
    step: float  # s


# --- a mode ---


def parts_of_period() -> np.ndarray:
    """(FRAMES,) part of the full motion at each picture of one period: the picture after the last one is the first."""
    return np.cos(2 * np.pi * np.arange(FRAMES) / FRAMES)


def mode_reels(
    shapes: Shapes, mode: Mode, theme: str = "light", say: Say = silent
) -> tuple[dict[str, Reel], list[str]]:
    """{'plan': Reel, 'perspective': Reel} of a Mode, and sentences for its caption; arguments as draw_modes."""
    reels = {}
    say(f"mode {mode.number} moving, plan")
    if mode.motion.fields:
        boards = boards_of(shapes.space, shapes.body, 3)
        whole = boards.moving(shapes.shape[:, mode.column], mode.sign)
        at = lambda part: {name: turned(f, part) for name, f in whole.items()}
        motion = lambda part: replace(mode.motion, fields=at(part), nodes=whole)
        reels["plan"] = _period(lambda part: _plan(boards, motion(part), theme))
    draw, why = perspective_way()
    say(f"mode {mode.number} moving, in perspective")
    stage = Stage(shapes.space, shapes.body, 3)
    reels["perspective"] = _period(lambda part: _shot(draw, stage.scene(mode, shapes, part), theme))
    return reels, [*stage.words(mode, shapes), *why]


def _period(draw: Callable[[float], Image.Image]) -> Reel:
    """Reel of one period, drawn by the part of the full motion; pictures of equal parts are drawn once."""
    once = cache(draw)
    return Reel(tuple(once(round(float(part), 9) + 0.0) for part in parts_of_period()), PERIOD / FRAMES)


def _plan(boards, motion, theme):
    """One picture in plan."""
    width = PLAN_PIXELS / SCREEN_DPI * MM_PER_INCH
    figure = plan_figure(boards.plates, motion, width, THEMES[theme], Style(marks=False))
    store = io.BytesIO()
    figure.savefig(store, dpi=2 * SCREEN_DPI, facecolor=figure.get_facecolor())
    large = Image.open(store).convert("RGB")
    return large.resize((large.width // 2, large.height // 2), Image.Resampling.BOX)


def _shot(draw, scene, theme):
    width = PERSPECTIVE_PIXELS / SCREEN_DPI * MM_PER_INCH
    return Image.fromarray(draw(scene, THEMES[theme], width, SCREEN_DPI))


# --- a pluck ---


def positions(ringing: FreeDecay, t: np.ndarray) -> np.ndarray:
    """Displacements q (N, k) of body modes and sines of a FreeDecay at times t (k,)."""
    c = ringing.coupled
    n = len(c.omega)
    z = c.states[:n] @ (ringing.amplitude[:, None] * np.exp(np.outer(c.poles, t)))
    return c.X @ (z.real / c.omega[:, None])


def pluck_times() -> tuple[np.ndarray, np.ndarray]:
    """(PLUCK_FRAMES,) s after the release, and the part of the motion that is shown then: 1, then faded to 0."""
    t = PLUCK_TIME * np.arange(PLUCK_FRAMES) / (PLUCK_FRAMES - 1)
    late = ((t / PLUCK_TIME - (1 - FADE)) / FADE).clip(0, 1)
    return t, 0.5 + 0.5 * np.cos(np.pi * late)


def pluck_shapes(ringing: FreeDecay, body_shape: np.ndarray) -> np.ndarray:
    """(dofs, PLUCK_FRAMES) m, motion of the body after a pluck, faded to rest; body_shape (dofs, n) of the body's modes."""
    t, shown = pluck_times()
    return body_shape @ positions(ringing, t)[: body_shape.shape[1]] * shown


def pluck_reels(
    space: Space, body: Body | None, motion: np.ndarray, theme: str = "light", say: Say = silent
) -> tuple[dict[str, Reel], list[str]]:
    """{'plan': Reel, 'perspective': Reel} of the motion (dofs, frames) [m], and sentences for its caption."""
    say("pluck moving, plan")
    boards = boards_of(space, body, 3)
    instants = [boards.moving(column) for column in motion.T]
    largest = max(f.largest for fields in instants for f in fields.values())
    plan = tuple(_plan(boards, Motion(fields, largest, nodes={}), theme) for fields in instants)
    say("pluck moving, in perspective")
    draw, why = perspective_way()
    stage = Stage(space, body, 2)
    scales = stage.scales(motion.T, largest)
    shots = tuple(_shot(draw, stage.still(column, scales), theme) for column in motion.T)
    reels = {"plan": Reel(plan, 1 / PLUCK_RATE), "perspective": Reel(shots, 1 / PLUCK_RATE)}
    return reels, [f"Full scale: {1e6 * largest:.2g} um.", *(sides_words(scales) if body else []), *why]


# --- files ---


def save_reel(reel: Reel, stem: Path | str) -> list[Path]:
    """Writes stem.gif, no larger than LARGEST, and stem.mp4 where ffmpeg is found; returns the paths."""
    path, pictures = Path(f"{stem}.gif"), reel.pictures
    while len(data := _gif(pictures, reel.step)) > LARGEST:
        width, height = pictures[0].size
        pictures = tuple(p.resize((round(0.85 * width), round(0.85 * height))) for p in pictures)
    write_whole(path, data)
    return [path, _mp4(reel, Path(f"{stem}.mp4"))] if encoder() else [path]


def _gif(pictures, step):
    """Bytes of a GIF that loops for ever; one palette for all pictures, so that what rests does not flicker."""
    palette = _palette(pictures[:: max(1, len(pictures) // 6)])
    plain = [p.quantize(palette=palette, dither=Image.Dither.NONE) for p in pictures]
    store, beat = io.BytesIO(), max(20, 10 * round(100 * step))  # a GIF counts in hundredths of a second
    plain[0].save(store, "GIF", save_all=True, append_images=plain[1:], duration=beat, loop=0, optimize=False)
    return store.getvalue()


def _palette(pictures):
    """Image with the palette of pictures: every tone of the scale in light and shadow, then what else is frequent."""
    strip = Image.new("RGB", (pictures[0].width, sum(p.height for p in pictures)))
    for k, picture in enumerate(pictures):
        strip.paste(picture, (0, k * picture.height))
    steps = [steps_of_colour()[:, :3], *(shade * light_steps() for shade in SHADES)]
    plain = [to_rgb(c) for theme in THEMES.values() for c in (theme.page, theme.ink)]
    own = np.rint(255 * np.concatenate([plain, *steps]).clip(0, 1)).astype(int).ravel().tolist()
    others = strip.quantize(COLOURS - len(own) // 3, method=Image.Quantize.MEDIANCUT).getpalette()
    palette = Image.new("P", (1, 1))
    palette.putpalette((own + others)[: 3 * COLOURS])
    return palette


def encoder() -> str | None:
    """Path of the ffmpeg program, or None."""
    return shutil.which("ffmpeg")


def _mp4(reel, path):
    """Writes an MP4 of eight rounds; even sides, as its encoders want them."""
    wide, high = (side // 2 * 2 for side in reel.pictures[0].size)
    command = [
        encoder(), "-y", "-loglevel", "error", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{wide}x{high}",
        "-r", f"{1 / reel.step:g}", "-i", "-", "-pix_fmt", "yuv420p",
    ]  # fmt: skip
    raw = b"".join(p.crop((0, 0, wide, high)).tobytes() for p in reel.pictures * 8)
    with tempfile.TemporaryDirectory() as folder:  # an MP4 is not written in one go
        made = Path(folder) / path.name
        subprocess.run([*command, str(made)], input=raw, check=True)
        return write_whole(path, made.read_bytes())


def save_mode(
    shapes: Shapes, mode: Mode, folder: Path, caption: Caption, theme: str = "light", say: Say = silent
) -> list[Path]:
    """Writes moving plan and perspective of a Mode with one caption; returns the paths."""
    reels, more = mode_reels(shapes, mode, theme, say)
    words = [
        f"One period in {PERIOD:g} s: {mode.frequency * PERIOD:.0f} times slower than it is. The motion is exaggerated.",
        f"In plan top and back as seen by a reader facing each, {upward(shapes.body)} upward.", PERSPECTIVE_WORDS,
        *scale_words(), *more,
    ]  # fmt: skip
    return _save(reels, folder / f"mode-{mode.number:02d}-moving", caption_text(mode, caption, words))


def save_pluck(
    space: Space, body: Body | None, motion: np.ndarray, folder: Path, caption: Caption, what: str, theme: str = "light",
    say: Say = silent,
) -> list[Path]:  # fmt: skip
    """Writes moving plan and perspective of a pluck (dofs, frames) [m] with one caption; what: words for the pluck."""
    reels, more = pluck_reels(space, body, motion, theme, say)
    shown = PLUCK_FRAMES / PLUCK_RATE
    words = [
        f"{what}: the body's motion in the first {1e3 * PLUCK_TIME:.0f} ms, shown in {shown:.1f} s, {shown / PLUCK_TIME:.0f} times slower "
        f"than it is; faded to rest in the last {FADE * shown:.1f} s, then again from rest. The motion is exaggerated.",
        PERSPECTIVE_WORDS, caption.facts, scale_words()[0], *more, CREDIT,
    ]  # fmt: skip
    return _save(reels, folder / "pluck-moving", "\n".join(words))


def _save(reels, stem, words):
    """Writes {view: Reel} and one caption; returns the paths."""
    paths = [path for view, reel in reels.items() for path in save_reel(reel, f"{stem}-{view}")]
    return [*paths, write_caption(stem, words)]
