"""Checks of linings, joints, blocks and neck of a build sheet that need more than one key; in plain words and mm."""

from collections.abc import Sequence

import numpy as np

from meshes.defaults import from_nut
from meshes.outline import Outline, distance
from meshes.sheet_errors import Mistake
from meshes.sheet_fields import LiningTable, NeckBlockTable, NeckTable, Sheet, TailBlockTable

REBATE_LEAST = 0.5  # mm; a thinner strip is no binding, and its solid would be all slivers
REBATE_MOST = 0.8  # of the wood that a rebate may cut away
FRET_AT_BODY = 2.0  # mm that the body's edge may lie beside the fret that is told to lie there
ROD_COVER = 2.0  # mm of wood left below a neck's rod
CUT_MOST = 0.8  # of a block's measure that a cut or a hole may take


def mistake(file: str, key: str, value: float | str, allowed: str, hint: str = "") -> Mistake:
    """Mistake with a number shown in mm, or any text."""
    return Mistake(file, key, value if isinstance(value, str) else f"{value:.4g}", allowed, hint)


def lowest_side(sheet: Sheet) -> float:
    """The smallest side height given [mm]."""
    heights = sheet.heights
    return min(h for h in (heights.neck_block_mm, heights.waist_mm, heights.tail_mm) if h is not None)


def clearance(outline: Outline, points: Sequence[Sequence[float]] | np.ndarray) -> np.ndarray:
    """Distance [mm] of points [mm] to the side; negative outside the body."""
    return 1e3 * distance(outline, 1e-3 * np.asarray(points, float))


def check_linings(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """Linings are lower than half the side; their cuts and laminations fit their width."""
    mistakes = []
    half = lowest_side(sheet) / 2
    for name in ("lining_top", "lining_back"):
        lining = getattr(sheet, name)
        if lining.kind == "none":
            continue
        if lining.height_mm >= half:
            allowed = f"less than half the lowest side, {half:g} mm"
            mistakes.append(mistake(file, f"{name}.height_mm", lining.height_mm, allowed))
        mistakes += _check_bevel(file, name, lining)
        if lining.kind == "solid_laminated":
            if (lining.glue_line_mm or 0) >= lining.lamination_thickness_mm / 2:
                allowed = f"less than half the lamination, {lining.lamination_thickness_mm / 2:g} mm"
                mistakes.append(mistake(file, f"{name}.glue_line_mm", lining.glue_line_mm, allowed))
            total = lining.laminations * lining.lamination_thickness_mm
            if abs(lining.width_mm - total) > 0.05:
                allowed = f"laminations x lamination_thickness_mm = {total:g} mm"
                mistakes.append(mistake(file, f"{name}.width_mm", lining.width_mm, allowed, "leave width_mm out"))
            continue
        if lining.web_mm >= lining.width_mm:
            allowed = f"less than the lining's width {lining.width_mm:g} mm"
            mistakes.append(mistake(file, f"{name}.web_mm", lining.web_mm, allowed, "wood left under the cut"))
        if lining.kerf_width_mm >= lining.kerf_spacing_mm:
            allowed = f"less than kerf_spacing_mm = {lining.kerf_spacing_mm:g} mm"
            mistakes.append(mistake(file, f"{name}.kerf_width_mm", lining.kerf_width_mm, allowed))
    return mistakes


def _check_bevel(file: str, name: str, lining: LiningTable) -> list[Mistake]:
    """The bevel leaves wood at the free edge, as much as holds the web; it is no higher than the lining."""
    if lining.bevel_width_mm is None:
        if lining.bevel_height_mm is None:
            return []
        return [mistake(file, f"{name}.bevel_width_mm", "nothing given", "the width left at the free edge")]
    least = 0.1 * lining.width_mm
    if lining.kind != "solid_laminated":
        least = max(least, lining.web_mm)
    mistakes = []
    if not least <= lining.bevel_width_mm <= lining.width_mm:
        allowed = f"{least:.3g} to {lining.width_mm:g} mm, the lining's width"
        hint = "the width that the bevel leaves at the free edge, web_mm at least"
        mistakes.append(mistake(file, f"{name}.bevel_width_mm", lining.bevel_width_mm, allowed, hint))
    if (height := lining.bevel_height_mm or 0) > lining.height_mm:
        allowed = f"at most the lining's height {lining.height_mm:g} mm"
        mistakes.append(mistake(file, f"{name}.bevel_height_mm", height, allowed))
    return mistakes


def check_joints(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """The rebate leaves wood behind it and under it."""
    mistakes = []
    for plate in ("top", "back"):
        joint, lining = getattr(sheet, f"joint_{plate}"), getattr(sheet, f"lining_{plate}")
        side = sheet.sides.thickness_mm + (sheet.sides.inner_thickness_mm or 0.0)
        lined = lining.kind != "none"
        wood = {
            "rebate_width_mm": (side + lining.width_mm * lined, "side and lining together" if lined else "the side"),
            "rebate_height_mm": (lining.height_mm * lined, "the lining's height"),
        }
        for key, (whole, words) in wood.items():
            spare = getattr(sheet, plate).thickness_mm if key == "rebate_height_mm" else 0.0
            if key == "rebate_height_mm" and not lined:
                spare, whole, words = 0.0, lowest_side(sheet) / 4, "a quarter of the side"
            most, value = spare + REBATE_MOST * whole, getattr(joint, key)
            if 0 < value < REBATE_LEAST:
                allowed = f"0 for none, or at least {REBATE_LEAST:g} mm"
                mistakes.append(mistake(file, f"joint_{plate}.{key}", value, allowed))
            if value > most + 1e-9:
                extra = f"the {plate}'s thickness and " if spare else ""
                allowed = f"at most {most:.3g} mm: {extra}{REBATE_MOST:g} of {words}"
                mistakes.append(
                    mistake(file, f"joint_{plate}.{key}", value, allowed, "the rebate must leave wood behind it")
                )
    return mistakes


def check_blocks(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """Blocks are no higher than the side and no wider than the body where they end."""
    mistakes = []
    length = 1e3 * outline.length
    heights = {"neck_block": sheet.heights.neck_block_mm, "tail_block": sheet.heights.tail_mm}
    for name, height in heights.items():
        block = getattr(sheet, name)
        if block.height_mm > height:
            allowed = f"at most the side there, {height:g} mm"
            mistakes.append(mistake(file, f"{name}.height_mm", block.height_mm, allowed))
        x = block.thickness_mm if name == "tail_block" else length - block.thickness_mm
        if clearance(outline, [(x, block.width_mm / 2), (x, -block.width_mm / 2)]).min() < 0:
            mistakes.append(mistake(file, f"{name}.width_mm", block.width_mm, "a block that fits between the sides"))
    return mistakes + _check_cut(file, sheet.neck_block) + _check_hole(file, sheet.tail_block)


def _check_cut(file: str, block: NeckBlockTable) -> list[Mistake]:
    """The cut for the neck's joint has width and depth and leaves wood on all sides."""
    if (block.cut_width_mm is None) != (block.cut_depth_mm is None):
        missing = "cut_width_mm" if block.cut_width_mm is None else "cut_depth_mm"
        return [
            mistake(file, f"neck_block.{missing}", "nothing given", "both or none of cut_width_mm and cut_depth_mm")
        ]
    if block.cut_width_mm is None:
        if block.cut_height_mm is None:
            return []
        return [mistake(file, "neck_block.cut_width_mm", "nothing given", "the cut's mean width, or no cut_height_mm")]
    most = {
        "cut_width_mm": (CUT_MOST * block.width_mm, f"{CUT_MOST:g} of the block's width"),
        "cut_depth_mm": (CUT_MOST * block.thickness_mm, f"{CUT_MOST:g} of the block's thickness"),
        "cut_height_mm": (block.height_mm, "the block's height"),
    }
    return [
        mistake(file, f"neck_block.{key}", value, f"at most {limit:.3g} mm, {words}")
        for key, (limit, words) in most.items()
        if (value := getattr(block, key)) > limit + 1e-9
    ]


def _check_hole(file: str, block: TailBlockTable) -> list[Mistake]:
    limit = CUT_MOST * min(block.width_mm, block.height_mm)
    if (hole := block.hole_mm or 0) <= limit:
        return []
    return [mistake(file, "tail_block.hole_mm", hole, f"at most {limit:.3g} mm, {CUT_MOST:g} of the block")]


def _check_rod(file: str, neck: NeckTable) -> list[Mistake]:
    """The rod leaves wood below it and beside it."""
    if neck.rod == "none":
        return []
    width, thickness = (
        min(a, a if b is None else b)
        for a, b in ((neck.width_mm, neck.nut_width_mm), (neck.thickness_mm, neck.nut_thickness_mm))
    )
    height = neck.rod_width_mm if neck.rod == "round" else neck.rod_height_mm
    deep = neck.rod_depth_mm + height
    if deep > thickness - ROD_COVER:
        allowed = (
            f"with its height {height:g} mm at most {thickness - ROD_COVER:g} mm, {ROD_COVER:g} mm of wood below it"
        )
        return [mistake(file, "neck.rod_depth_mm", neck.rod_depth_mm, allowed)]
    if neck.rod_width_mm > width / 2:
        return [
            mistake(file, "neck.rod_width_mm", neck.rod_width_mm, f"at most {width / 2:g} mm, half the neck's width")
        ]
    return []


def check_neck(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """The heel is no deeper than the side; the tongue ends short of the soundhole."""
    if not sheet.neck.included:
        return []
    mistakes, neck, hole = [], sheet.neck, sheet.soundhole
    if neck.frets_to_body is not None:
        computed = from_nut(sheet.strings.scale_length_mm, neck.frets_to_body)
        if abs(neck.length_mm - computed) > FRET_AT_BODY:
            allowed = f"{computed:.4g} mm, {neck.frets_to_body} frets of the scale length, or no frets_to_body"
            mistakes.append(mistake(file, "neck.length_mm", neck.length_mm, allowed))
    if neck.heel_depth_mm > sheet.heights.neck_block_mm:
        allowed = f"at most the side there, {sheet.heights.neck_block_mm:g} mm"
        mistakes.append(mistake(file, "neck.heel_depth_mm", neck.heel_depth_mm, allowed))
    if 0 < neck.heel_depth_mm < neck.thickness_mm:
        allowed = f"at least the neck's thickness {neck.thickness_mm:g} mm, or 0 for no heel"
        mistakes.append(mistake(file, "neck.heel_depth_mm", neck.heel_depth_mm, allowed))
    if neck.heel_length_mm > neck.length_mm / 2:
        mistakes.append(mistake(file, "neck.heel_length_mm", neck.heel_length_mm, "at most half the neck's length"))
    mistakes += _check_rod(file, neck)
    room = 1e3 * outline.length - hole.place_mm - hole.diameter_mm / 2
    beside = abs(hole.offset_mm) > hole.diameter_mm / 2 + neck.width_mm / 2
    if not beside and neck.tongue_mm > max(room, 0.0):
        allowed = f"at most {room:.0f} mm, where the soundhole begins"
        mistakes.append(mistake(file, "neck.tongue_mm", neck.tongue_mm, allowed))
    return mistakes
