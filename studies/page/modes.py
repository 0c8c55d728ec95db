"""The modes that the page shows: a Scene for the viewer and a contact sheet for print, from the sounding bodies of some builds."""

import io

import numpy as np
from matplotlib.colors import to_hex

from studies.drawing.boards import boards_of
from studies.drawing.mode_names import furthest, names_with_air
from studies.drawing.mode_pictures import CONTACT_SUBDIVIDE
from studies.drawing.plan import Motion, Panel, contact_figure
from studies.drawing.sheet import SCALE, THEMES
from studies.page.scene import Scene, aligned, motions, outward, packed, paired_shapes, surface_of
from studies.rim.air import partners

DPI = 130  # of the contact sheet
TONES = 11


def scene_of(made, results, chosen, count, size=None):
    """Scene of air-loaded modes of Builds `chosen`, the sheet's own first.

    made: Soundings; results {build name: Result} held one way; count: modes of the sheet's own at most.
    """
    base = results["sheet"]
    count = min(count, len(base.modes.frequency))
    surface = surface_of(chosen[0].body, *([] if size is None else [size]))
    pairs = {b.name: partners(base, results[b.name], made.surface.area, count)[0] for b in chosen}
    pairs["sheet"] = np.arange(count)
    parts = {b.name: (made.whole[b.name].structure, results[b.name].modes) for b in chosen}
    own = parts.pop("sheet")
    shapes = paired_shapes(surface, own, parts, pairs)
    labels = tuple(names_with_air(made.whole["sheet"], base.modes, base.motion, count))
    return Scene(surface, tuple((b.name, b.label) for b in chosen), shapes, labels)


def _columns(surface, structure, modes, count):
    """(dofs, count) real shapes of the shell at the instant at which it moves furthest, signed as in the Scene."""
    motion = motions(surface, structure, modes.shape[:, :count])
    turn = furthest(motion.reshape(-1, count)) * outward(surface, aligned(motion))
    return np.real(structure.shape @ (modes.shape[: len(structure.frequency), :count] * turn))


def contact_sheet(scene, structure, modes):
    """PNG (bytes) of the Scene's modes of the sheet's own build, top and back side by side."""
    columns = _columns(scene.surface, structure, modes, len(scene.labels))
    boards = boards_of(structure.space, structure.body, CONTACT_SUBDIVIDE)
    panels = []
    for k, (column, label) in enumerate(zip(columns.T, scene.labels), 1):
        fields = boards.moving(column)
        motion = Motion(fields, max(f.largest for f in fields.values()))
        panels.append(Panel(boards.plates, motion, f"{k}    {modes.frequency[k - 1]:.0f} Hz", label))
    return fewer_colours(png(contact_figure(panels, THEMES["light"])))


def png(figure, dpi=DPI):
    """A figure as PNG (bytes) for a page."""
    raw = io.BytesIO()
    figure.savefig(raw, dpi=dpi, format="png", facecolor=figure.get_facecolor(), pil_kwargs={"optimize": True})
    return raw.getvalue()


def fewer_colours(data, widest=None):
    """A PNG (bytes) in 256 colours, which drawings in bands of colour bear, at most `widest` pixels wide."""
    from PIL import Image

    picture, small = Image.open(io.BytesIO(data)).convert("RGB"), io.BytesIO()
    if widest and picture.width > widest:
        picture = picture.resize((widest, round(picture.height * widest / picture.width)), Image.Resampling.LANCZOS)
    picture.quantize(256, dither=Image.Dither.NONE).save(small, "png", optimize=True)
    return small.getvalue()


def viewer_data(scene, short):
    """packed(scene) with the colours of the printed pictures and short names of the builds {name: words}."""
    data = packed(scene)
    for build in data["builds"]:
        build["short"] = short.get(build["name"], build["label"])
    data["tones"] = [to_hex(SCALE(k / (TONES - 1))) for k in range(TONES)]
    return data
