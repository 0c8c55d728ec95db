"""The modes that the page shows: a ViewerScene and a contact sheet for print, from the sounding bodies of some builds."""

import io
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.figure import Figure

from fem.elements import Space
from meshes.coupled_model import Structure, VibroacousticModes
from studies.common.builds import Build
from studies.drawing.boards import boards_of
from studies.drawing.field import longest
from studies.drawing.mode_names import furthest, names_with_air
from studies.drawing.mode_pictures import CONTACT_SUBDIVIDE
from studies.drawing.plan import Motion, Panel, contact_figure
from studies.drawing.sheet import THEMES
from studies.page.scene import ViewerScene, aligned, motions, outward, paired_shapes, surface_of
from studies.rim.air import partners
from studies.rim.result import Result
from studies.solved.coupled import CoupledModels

DPI = 130  # of the contact sheet


def scene_of(made: CoupledModels, results: Mapping[str, Result], chosen: Sequence[Build], count: int) -> ViewerScene:
    """ViewerScene of air-loaded modes of Builds `chosen`, the sheet's own first.

    results: {build name: Result}, with one support; count: modes of the sheet's own at most.
    """
    base = results["sheet"]
    count = min(count, len(base.modes.frequency))
    surface = surface_of(chosen[0].body)
    pairs = {b.name: partners(base, results[b.name], made.surface.area, count)[0] for b in chosen}
    pairs["sheet"] = np.arange(count)
    coupled = {b.name: (made.whole[b.name].structure, results[b.name].modes) for b in chosen}
    own = coupled.pop("sheet")
    shapes = paired_shapes(surface, own, coupled, pairs)
    labels = tuple(names_with_air(made.whole["sheet"], base.modes, base.motion, count))
    return ViewerScene(surface, tuple((b.name, b.label) for b in chosen), shapes, labels)


def _columns(surface, structure, modes, count):
    """(dofs, count) real shapes of the shell at the instant at which it moves furthest, signed as in the ViewerScene."""
    motion = motions(surface, structure, modes.shape[:, :count])
    turn = furthest(motion.reshape(-1, count)) * outward(surface, aligned(motion))
    return np.real(structure.shape @ (modes.shape[: len(structure.frequency), :count] * turn))


def contact_sheet(scene: ViewerScene, structure: Structure, modes: VibroacousticModes) -> bytes:
    """PNG of the ViewerScene's modes of the sheet's own build, top and back side by side."""
    columns = _columns(scene.surface, structure, modes, len(scene.labels))
    assert isinstance(structure.space, Space)  # a shell is drawn, not its coordinates in a basis
    boards = boards_of(structure.space, structure.body, CONTACT_SUBDIVIDE)
    panels = []
    for k, (column, label) in enumerate(zip(columns.T, scene.labels), 1):
        fields = boards.moving(column)
        motion = Motion(fields, max(f.largest for f in fields.values()), longest(column.reshape(-1, 6)[:, :3]))
        panels.append(Panel(boards.plates, motion, f"{k}    {modes.frequency[k - 1]:.0f} Hz", label))
    return fewer_colours(png(contact_figure(panels, THEMES["light"])))


def png(figure: Figure, dpi: float = DPI) -> bytes:
    """A figure as PNG for a page."""
    raw = io.BytesIO()
    figure.savefig(raw, dpi=dpi, format="png", facecolor=figure.get_facecolor(), pil_kwargs={"optimize": True})
    return raw.getvalue()


def fewer_colours(data: bytes, widest: int | None = None) -> bytes:
    """A PNG in 256 colours, which drawings in bands of colour bear, at most `widest` pixels wide."""
    from PIL import Image

    picture, small = Image.open(io.BytesIO(data)).convert("RGB"), io.BytesIO()
    if widest and picture.width > widest:
        picture = picture.resize((widest, round(picture.height * widest / picture.width)), Image.Resampling.LANCZOS)
    picture.quantize(256, dither=Image.Dither.NONE).save(small, "png", optimize=True)
    return small.getvalue()
