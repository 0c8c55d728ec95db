"""Checks of what is carved: sections and heights of braces, thinned plates, patches; in plain words and mm."""

import numpy as np

from meshes.outline import Outline
from meshes.sheet_errors import Mistake
from meshes.sheet_fields import BraceTable, Hole, PatchTable, Sheet
from meshes.sheet_rim_checks import clearance, mistake

CLEAR = 5.0  # mm: a patch keeps this far from the side, a place of a map may lie this far outside
ROUND_OFF = 1e-3  # mm, of what is given in inches in one place and in mm in another


def check_section(file: str, key: str, brace: BraceTable) -> list[Mistake]:
    """The cap fits the brace, and only a brace with a cap has one."""
    mistakes = []
    if brace.section == "rectangular" and brace.cap_mm is not None:
        allowed = "section = 'rounded', 'parabolic' or 'gabled' with it"
        mistakes.append(mistake(file, f"{key}.cap_mm", brace.cap_mm, allowed))
    if brace.section != "gabled" and brace.top_width_mm is not None:
        mistakes.append(mistake(file, f"{key}.top_width_mm", brace.top_width_mm, "section = 'gabled' with it"))
    if brace.section != "rectangular" and brace.cap_mm > brace.height_mm:
        mistakes.append(mistake(file, f"{key}.cap_mm", brace.cap_mm, f"at most height_mm = {brace.height_mm:g} mm"))
    if brace.section == "gabled" and brace.top_width_mm > brace.width_mm:
        allowed = f"at most width_mm = {brace.width_mm:g} mm"
        mistakes.append(mistake(file, f"{key}.top_width_mm", brace.top_width_mm, allowed))
    return mistakes


def check_profile(file: str, key: str, brace: BraceTable) -> list[Mistake]:
    """Pairs of place and height run along the brace and stay within its height."""
    if not brace.height_profile_mm:
        return []
    name = f"{key}.height_profile_mm"
    places, heights = np.array(brace.height_profile_mm).T
    length = float(np.hypot(*np.subtract(brace.to_mm, brace.from_mm)))
    if len(places) < 2 or (np.diff(places) < 1).any():
        return [
            mistake(file, name, str(places.tolist()), "two or more places, each at least 1 mm after the one before")
        ]
    if places[-1] > length + 1:
        return [mistake(file, name, float(places[-1]), f"places from 0 to the length drawn, {length:.0f} mm")]
    if heights.max() > brace.height_mm + ROUND_OFF:
        return [mistake(file, name, float(heights.max()), f"heights up to height_mm = {brace.height_mm:g} mm")]
    return []


def check_plates(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """A plate is thinned to an edge, and its map lies on it."""
    mistakes = []
    for name in ("top", "back"):
        plate = getattr(sheet, name)
        if plate.edge_width_mm is not None and plate.edge_thickness_mm is None:
            mistakes.append(mistake(file, f"{name}.edge_width_mm", plate.edge_width_mm, "edge_thickness_mm with it"))
        places = [(x, y) for x, y, _ in plate.thickness_map_mm]
        if len(set(places)) < len(places):
            mistakes.append(mistake(file, f"{name}.thickness_map_mm", "one place twice", "each place once"))
        for place in places:
            if clearance(outline, [place])[0] < -CLEAR:
                allowed = "places on the plate [from the tail, from the centre line, thickness]"
                mistakes.append(mistake(file, f"{name}.thickness_map_mm", str(list(place)), allowed))
    return mistakes


def check_patches(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """A patch is a ring on the top or a strip, under a name of its own, inside the outline."""
    mistakes = []
    names = [patch.name for patch in sheet.patch]
    for i, patch in enumerate(sheet.patch):
        key = f"patch {i + 1} ({patch.name})"
        if patch.name in names[:i]:
            mistakes.append(mistake(file, f"{key}.name", f"'{patch.name}'", "a name that no other patch has"))
        given = [value is not None for value in (patch.around_soundhole_mm, patch.from_mm, patch.to_mm, patch.width_mm)]
        if given == [True, False, False, False]:
            mistakes += _check_ring(file, key, patch, sheet.soundhole, outline)
        elif given == [False, True, True, True]:
            mistakes += _check_strip(file, key, patch, outline)
        else:
            mistakes.append(mistake(file, key, "its place", "around_soundhole_mm, or from_mm, to_mm and width_mm"))
    return mistakes


def _check_ring(file: str, key: str, patch: PatchTable, hole: Hole, outline: Outline) -> list[Mistake]:
    if patch.plate != "top":
        return [mistake(file, f"{key}.plate", "'back'", "'top': the soundhole is there")]
    wide = patch.around_soundhole_mm or 0.0
    room = clearance(outline, [(hole.place_mm, hole.offset_mm)])[0] - hole.diameter_mm / 2 - 2 * CLEAR
    if wide > room:
        return [mistake(file, f"{key}.around_soundhole_mm", wide, f"at most {room:.0f} mm there")]
    return []


def _check_strip(file: str, key: str, patch: PatchTable, outline: Outline) -> list[Mistake]:
    assert patch.from_mm is not None and patch.to_mm is not None and patch.width_mm is not None
    start, end = np.array(patch.from_mm), np.array(patch.to_mm)
    length = np.linalg.norm(end - start)
    if length < 5:
        return [mistake(file, f"{key}.to_mm", str(list(patch.to_mm)), "at least 5 mm from from_mm")]
    across = patch.width_mm / 2 * (end - start)[::-1] * [-1, 1] / length
    edges = np.concatenate([np.linspace(start + side, end + side, 9) for side in (across, -across)])
    if clearance(outline, edges).min() < CLEAR:
        allowed = f"a strip that keeps {CLEAR:g} mm from the side"
        return [mistake(file, f"{key}.to_mm", str(list(patch.to_mm)), allowed)]
    return []
