"""Captions of mode pictures: what a reader must know beside the picture, in plain words."""

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from meshes.body import Body
from studies.drawing.features import QUIET
from studies.drawing.mode_words import ALONE, NECK_LEADS, neck_motion
from studies.drawing.sheet import BANDS

DRY = "dry (without air)"
WITH_AIR = "air-loaded (with the air inside and outside)"


@dataclass(frozen=True)
class Caption:
    """What a reader must know of a picture beside its frequency."""

    build: str  # 'Hazel, kerfed linings'
    held: str = "free, nothing holds it"
    source: str = "computed"  # or 'measured'
    air: str = DRY
    mesh_error: object = None  # part of the frequency [-]: one number, or one a mode; None where not estimated
    credit: str = "Computed with Rimwork"
    more: tuple = ()  # a further sentence for each mode

    @property
    def title(self):
        """For the head of a sheet: the build, then how it was come by."""
        return f"{self.build}\n{self.source.capitalize()}, {self.air}, {self.held}"


def of_mode(caption, k):
    """The Caption of mode k alone, its own error and further sentence; k counts from 0."""
    error = caption.mesh_error
    if error is not None and np.ndim(error):
        error = float(error[k])
    return replace(caption, mesh_error=error, more=caption.more[k : k + 1])


def caption_text(mode, caption, words):
    """The caption of one picture of a pictures.Mode."""
    own = of_mode(caption, mode.column)
    lines = [frequency_line(mode, caption), facts(caption), *own.more, *words, *mode.remarks, caption.credit + "."]
    return "\n".join(lines)


def frequency_line(mode, caption):
    """'Mode 3, 163.5 Hz (mesh error about 0.4 %): top and back swell together, the back further.'"""
    error = of_mode(caption, mode.column).mesh_error
    known = error is not None and np.isfinite(error)
    mesh = f"mesh error about {100 * error:.1f} %" if known else "mesh error not estimated"
    return f"Mode {mode.number}, {mode.frequency:.1f} Hz ({mesh}): {mode.label}."


def facts(caption):
    """One line: how it was come by, the build, how it is held."""
    return f"{caption.source.capitalize()}, {caption.air}. Build: {caption.build}. How held: {caption.held}."


def plan_words(plans: Collection[str], body: Body | None) -> list[str]:
    """Sentences on what a plan view of plates of these names shows."""
    sides = " and ".join(f"the {name} ({where})" for name, where in zip(plans, ("left", "right")))
    each = "each as seen by a reader facing it" if len(plans) > 1 else "as seen by a reader facing it"
    thin = (
        " Thin outlines: braces, blocks and bridge plate inside; the bridge and the fingerboard's end a little heavier."
    )
    return [
        f"Drawn: {sides if len(plans) > 1 else 'the ' + next(iter(plans))}, {each}, {upward(body)} upward.{thin if body else ''}",
        *scale_words(),
        f"Contours every {200 / BANDS:.0f} % of it, solid outward, dashed inward.",
        "+ and - stand where an area moves furthest.",
    ]


def upward(body):
    return "x axis" if body is None else "neck"


def scale_words():
    return [
        "Light (yellow) moves outward while dark (blue) moves inward; full scale is the furthest that a plate moves.",
        f"Bold: nodal lines, which stay at rest; left out where the plate moves less than {100 * QUIET:g} % of whatever moves most.",
    ]


def remarks(space, together, shape_column, largest):
    """Sentences on what the picture does not show; together: Field of all plates."""
    found, neck = [], neck_motion(space, shape_column)
    if neck and largest > 0 and (far := max(neck.values()) / largest) >= NECK_LEADS:
        beside = ", beside which the plates hardly move" if far >= ALONE else ""
        found.append(f"The neck moves up to {far:.0f} times as far as the plates{beside}; it is given no colour.")
    elif neck:
        found.append("The neck is part of the model; it is given no colour.")
    if np.mean(np.sum(together.displacement**2, axis=1)) > 2 * np.mean(together.value**2):
        found.append("In this mode the plates move mostly in their own plane; only motion square to them is coloured.")
    return tuple(found)
