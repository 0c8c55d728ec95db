"""Checks of a build sheet that need more than one key; each gives Mistakes in the maker's words and mm."""

from itertools import pairwise

import numpy as np

from meshes.outline import distance, inside, waist_of
from meshes.sheet_errors import Mistake

REBATE_MOST = 0.8  # of the wood that a rebate may cut away
CUT_MOST = 0.8  # of a block's measure that a cut or a hole may take
EDGE = 5.0  # mm: a brace may be drawn this far past the side; the hole and the bridge keep this far from it
MEASURES = (
    "length_mm",
    "lower_bout_width_mm",
    "lower_bout_place_mm",
    "waist_width_mm",
    "waist_place_mm",
    "upper_bout_width_mm",
    "upper_bout_place_mm",
)
DRAWINGS = ("half_outline_csv", "full_outline_csv")


def mistake(file, key, value, allowed, hint=""):
    """Mistake with a number shown in mm, or any text."""
    return Mistake(file, key, value if isinstance(value, str) else f"{value:.4g}", allowed, hint)


def check_measures(file, shape):
    """Mistakes where the table [body], a dict of the keys given, has neither all measures nor one drawing."""
    drawings = [key for key in DRAWINGS if key in shape]
    measures = [key for key in MEASURES if key in shape]
    if len(drawings) > 1 or (drawings and measures):
        extra = (drawings + measures)[1]
        return [
            mistake(file, f"body.{extra}", "given", f"only body.{drawings[0]}", "measures or one drawing, not both")
        ]
    if drawings:
        return []
    missing = [key for key in MEASURES if key not in shape]
    return [mistake(file, f"body.{key}", "nothing given", "a length", "this measure is needed") for key in missing]


def check_shape(file, shape):
    """Mistakes in the measures of the plan shape (all of them present)."""
    found = []
    order = ["lower_bout_place_mm", "waist_place_mm", "upper_bout_place_mm", "length_mm"]
    for low, high in pairwise(order):
        if getattr(shape, low) >= getattr(shape, high):
            found.append(
                mistake(file, f"body.{low}", getattr(shape, low), f"less than {high} = {getattr(shape, high):g} mm",
                        "places are distances from the tail")
            )  # fmt: skip
    for bout in ("lower_bout_width_mm", "upper_bout_width_mm"):
        if shape.waist_width_mm >= getattr(shape, bout):
            text = f"less than {bout} = {getattr(shape, bout):g} mm"
            found.append(mistake(file, "body.waist_width_mm", shape.waist_width_mm, text, "widths are full widths"))
    for flat, bout in (("flat_tail_mm", "lower_bout_width_mm"), ("flat_neck_mm", "upper_bout_width_mm")):
        if getattr(shape, flat) >= 0.8 * getattr(shape, bout):
            text = f"less than 0.8 x {bout} = {0.8 * getattr(shape, bout):g} mm"
            found.append(mistake(file, f"body.{flat}", getattr(shape, flat), text))
    return found


def check_whole(file, sheet, outline):
    """Mistakes between the tables of a filled sheet (defaults.fill), its plan shape being sound; outline in m."""
    checks = (
        check_soundhole, check_heights, check_sides, check_braces, check_bridge, check_linings, check_joints,
        check_blocks, check_side_bars, check_neck, check_strings,
    )  # fmt: skip
    return [m for check in checks for m in check(file, sheet, outline)]


def clearance(outline, points):
    """Distance [mm] of points [mm] to the side; negative outside the body."""
    return 1e3 * distance(outline, 1e-3 * np.asarray(points, float))


def check_soundhole(file, sheet, outline):
    """The hole is narrower than the waist and lies inside the outline."""
    hole = sheet.soundhole
    waist = waist_of(outline)
    if waist is not None and hole.diameter_mm >= 2e3 * waist[1]:
        allowed = f"less than the waist, {2e3 * waist[1]:.0f} mm wide"
        return [mistake(file, "soundhole.diameter_mm", hole.diameter_mm, allowed, "it is a diameter")]
    room = clearance(outline, [(hole.place_mm, hole.offset_mm)])[0]
    if room < hole.diameter_mm / 2 + EDGE:
        if room <= EDGE:
            allowed = f"a place inside the body, 0 to {1e3 * outline.length:.0f} mm from the tail"
            return [mistake(file, "soundhole.place_mm", hole.place_mm, allowed)]
        return [
            mistake(file, "soundhole.diameter_mm", hole.diameter_mm, f"at most {2 * (room - EDGE):.0f} mm there",
                    "the hole crosses the outline")
        ]  # fmt: skip
    return []


def check_heights(file, sheet, outline):
    """The deepest place lies on the body."""
    place = sheet.heights.back_deepest_mm
    if place is not None and place >= 1e3 * outline.length:
        return [mistake(file, "heights.back_deepest_mm", place, f"less than the length {1e3 * outline.length:.0f} mm")]
    return []


def check_sides(file, sheet, outline):
    """Doubled sides have both an inner wood and an inner thickness, and grain along or square to the outer layer's."""
    sides = sheet.sides
    if (sides.inner_wood is None) == (sides.inner_thickness_mm is None):
        if sides.inner_wood is None or (sides.inner_grain_deg - sides.grain_deg) % 90 == 0:
            return []
        near = sides.grain_deg + 90 * round((sides.inner_grain_deg - sides.grain_deg) / 90)
        allowed = f"along or square to the outer layer's grain, which lies at {sides.grain_deg:g} degrees"
        return [mistake(file, "sides.inner_grain_deg", sides.inner_grain_deg, allowed, f"did you mean {near:g}?")]
    missing = "inner_wood" if sides.inner_wood is None else "inner_thickness_mm"
    return [mistake(file, f"sides.{missing}", "nothing given", "both or none of inner_wood and inner_thickness_mm")]


def check_braces(file, sheet, outline):
    """Braces lie in the body, under their names once, and their ends fit them."""
    found = []
    for plate in ("top", "back"):
        if not getattr(sheet, plate).braced and any(b.plate == plate for b in sheet.brace):
            found.append(mistake(file, f"{plate}.braced", "false", f"true, or no [[brace]] with plate = '{plate}'"))
    names = [brace.name for brace in sheet.brace]
    for i, brace in enumerate(sheet.brace):
        key = f"brace {i + 1} ({brace.name})"
        if brace.name in names[:i]:
            found.append(mistake(file, f"{key}.name", f"'{brace.name}'", "a name that no other brace has"))
        found += _check_brace(file, key, brace, sheet, outline)
    return found


def _check_brace(file, key, brace, sheet, outline):
    ends = np.array([brace.from_mm, brace.to_mm])
    length = np.linalg.norm(ends[1] - ends[0])
    if length < 20:
        return [mistake(file, f"{key}.to_mm", f"{list(brace.to_mm)}", "a point at least 20 mm from from_mm")]
    found = []
    for name, point in (("from_mm", brace.from_mm), ("to_mm", brace.to_mm)):
        gap = clearance(outline, [point])[0]
        if gap < -EDGE:
            allowed = "a point inside the outline [from the tail, from the centre line]"
            found.append(mistake(file, f"{key}.{name}", f"{list(point)}", allowed, _nearer(outline, point, gap)))
    line = ends[0] + np.linspace(0.02, 0.98, 49)[:, None] * (ends[1] - ends[0])
    if not found and clearance(outline, line).min() < -EDGE:
        found.append(mistake(file, f"{key}.to_mm", f"{list(brace.to_mm)}", "a straight line that stays in the body"))
    for name in ("from_end", "to_end"):
        if getattr(brace, name).height_mm > brace.height_mm:
            value, allowed = (getattr(brace, name).height_mm, f"at most the brace's height {brace.height_mm:g} mm")
            found.append(mistake(file, f"{key}.{name}.height_mm", value, allowed))
    tapers = brace.from_end.taper_mm + brace.to_end.taper_mm
    if tapers > length:
        found.append(mistake(file, f"{key}.ends.taper_mm", tapers, f"both together at most the length {length:.0f} mm"))
    lowest = lowest_side(sheet)
    if brace.height_mm > lowest / 2:
        found.append(mistake(file, f"{key}.height_mm", brace.height_mm, f"at most half the side, {lowest / 2:g} mm"))
    return found


def _nearer(outline, point, gap):
    """Hint for a point outside the body: the swapped point if that one is inside, else how far out it is."""
    if inside(outline, 1e-3 * np.array([point[::-1]]))[0]:
        return f"did you mean {list(point[::-1])}?"
    return f"it lies {-gap:.0f} mm outside"


def lowest_side(sheet):
    """The smallest side height given [mm]."""
    heights = sheet.heights
    return min(h for h in (heights.neck_block_mm, heights.waist_mm, heights.tail_mm) if h is not None)


def _corners(place, length, width):
    """Corners (4, 2) [mm] of a rectangle on the centre line: `length` across the body, `width` along it."""
    return [(place + a * width / 2, b * length / 2) for a in (-1, 1) for b in (-1, 1)]


def check_bridge(file, sheet, outline):
    """Bridge and bridge plate lie on the top, clear of the side and of the hole; the saddle is in the bridge."""
    found, hole = [], sheet.soundhole
    parts = [("bridge", sheet.bridge)] + ([("bridge_plate", sheet.bridge_plate)] if sheet.bridge_plate.included else [])
    for name, part in parts:
        if found and part.place_mm == sheet.bridge.place_mm:
            continue  # the plate under a misplaced bridge
        if clearance(outline, _corners(part.place_mm, part.length_mm, part.width_mm)).min() < EDGE:
            allowed = f"a place where its {part.length_mm:g} x {part.width_mm:g} mm lie inside the outline"
            found.append(mistake(file, f"{name}.place_mm", part.place_mm, allowed, "distance from the tail"))
        across = max(0.0, abs(hole.offset_mm) - part.length_mm / 2)
        along = max(0.0, abs(hole.place_mm - part.place_mm) - part.width_mm / 2)
        if np.hypot(along, across) < hole.diameter_mm / 2:
            found.append(mistake(file, f"{name}.place_mm", part.place_mm, "a place clear of the soundhole"))
    bridge = sheet.bridge
    if abs(bridge.saddle_mm - bridge.place_mm) > bridge.width_mm / 2:
        low, high = (bridge.place_mm - bridge.width_mm / 2, bridge.place_mm + bridge.width_mm / 2)
        found.append(mistake(file, "bridge.saddle_mm", bridge.saddle_mm, f"on the bridge, {low:g} to {high:g} mm"))
    return found


def check_linings(file, sheet, outline):
    """Linings are lower than half the side; their cuts and laminations fit their width."""
    found = []
    half = lowest_side(sheet) / 2
    for name in ("lining_top", "lining_back"):
        lining = getattr(sheet, name)
        if lining.kind == "none":
            continue
        if lining.height_mm >= half:
            allowed = f"less than half the lowest side, {half:g} mm"
            found.append(mistake(file, f"{name}.height_mm", lining.height_mm, allowed))
        found += _check_bevel(file, name, lining)
        if lining.kind == "solid_laminated":
            if (lining.glue_line_mm or 0) >= lining.lamination_thickness_mm / 2:
                allowed = f"less than half the lamination, {lining.lamination_thickness_mm / 2:g} mm"
                found.append(mistake(file, f"{name}.glue_line_mm", lining.glue_line_mm, allowed))
            total = lining.laminations * lining.lamination_thickness_mm
            if abs(lining.width_mm - total) > 0.05:
                allowed = f"laminations x lamination_thickness_mm = {total:g} mm"
                found.append(mistake(file, f"{name}.width_mm", lining.width_mm, allowed, "leave width_mm out"))
            continue
        if lining.web_mm >= lining.width_mm:
            allowed = f"less than the lining's width {lining.width_mm:g} mm"
            found.append(mistake(file, f"{name}.web_mm", lining.web_mm, allowed, "wood left under the cut"))
        if lining.kerf_width_mm >= lining.kerf_spacing_mm:
            allowed = f"less than kerf_spacing_mm = {lining.kerf_spacing_mm:g} mm"
            found.append(mistake(file, f"{name}.kerf_width_mm", lining.kerf_width_mm, allowed))
    return found


def _check_bevel(file, name, lining):
    """The bevel leaves wood at the free edge, as much as holds the web; it is no higher than the lining."""
    if lining.bevel_width_mm is None:
        if lining.bevel_height_mm is None:
            return []
        return [mistake(file, f"{name}.bevel_width_mm", "nothing given", "the width left at the free edge")]
    least = 0.1 * lining.width_mm
    if lining.kind != "solid_laminated":
        least = max(least, lining.web_mm)
    found = []
    if not least <= lining.bevel_width_mm <= lining.width_mm:
        allowed = f"{least:.3g} to {lining.width_mm:g} mm, the lining's width"
        hint = "the width that the bevel leaves at the free edge, web_mm at least"
        found.append(mistake(file, f"{name}.bevel_width_mm", lining.bevel_width_mm, allowed, hint))
    if (lining.bevel_height_mm or 0) > lining.height_mm:
        allowed = f"at most the lining's height {lining.height_mm:g} mm"
        found.append(mistake(file, f"{name}.bevel_height_mm", lining.bevel_height_mm, allowed))
    return found


def check_joints(file, sheet, outline):
    """The rebate leaves wood behind it and under it."""
    found = []
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
            if value > most + 1e-9:
                extra = f"the {plate}'s thickness and " if spare else ""
                allowed = f"at most {most:.3g} mm: {extra}{REBATE_MOST:g} of {words}"
                found.append(mistake(file, f"joint_{plate}.{key}", value, allowed, "the rebate must leave wood behind it"))
    return found


def check_blocks(file, sheet, outline):
    """Blocks are no higher than the side and no wider than the body where they end."""
    found = []
    length = 1e3 * outline.length
    heights = {"neck_block": sheet.heights.neck_block_mm, "tail_block": sheet.heights.tail_mm}
    for name, height in heights.items():
        block = getattr(sheet, name)
        if block.height_mm > height:
            allowed = f"at most the side there, {height:g} mm"
            found.append(mistake(file, f"{name}.height_mm", block.height_mm, allowed))
        x = block.thickness_mm if name == "tail_block" else length - block.thickness_mm
        if clearance(outline, [(x, block.width_mm / 2), (x, -block.width_mm / 2)]).min() < 0:
            found.append(mistake(file, f"{name}.width_mm", block.width_mm, "a block that fits between the sides"))
    return found + _check_cut(file, sheet.neck_block) + _check_hole(file, sheet.tail_block)


def _check_cut(file, block):
    """The cut for the neck's joint has width and depth and leaves wood on all sides."""
    if (block.cut_width_mm is None) != (block.cut_depth_mm is None):
        missing = "cut_width_mm" if block.cut_width_mm is None else "cut_depth_mm"
        return [mistake(file, f"neck_block.{missing}", "nothing given", "both or none of cut_width_mm and cut_depth_mm")]
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


def _check_hole(file, block):
    limit = CUT_MOST * min(block.width_mm, block.height_mm)
    if (block.hole_mm or 0) <= limit:
        return []
    return [mistake(file, "tail_block.hole_mm", block.hole_mm, f"at most {limit:.3g} mm, {CUT_MOST:g} of the block")]


def check_neck(file, sheet, outline):
    """The heel is no deeper than the side; the tongue ends short of the soundhole."""
    if not sheet.neck.included:
        return []
    found, neck, hole = [], sheet.neck, sheet.soundhole
    if neck.heel_depth_mm > sheet.heights.neck_block_mm:
        allowed = f"at most the side there, {sheet.heights.neck_block_mm:g} mm"
        found.append(mistake(file, "neck.heel_depth_mm", neck.heel_depth_mm, allowed))
    if 0 < neck.heel_depth_mm < neck.thickness_mm:
        allowed = f"at least the neck's thickness {neck.thickness_mm:g} mm, or 0 for no heel"
        found.append(mistake(file, "neck.heel_depth_mm", neck.heel_depth_mm, allowed))
    if neck.heel_length_mm > neck.length_mm / 2:
        found.append(mistake(file, "neck.heel_length_mm", neck.heel_length_mm, "at most half the neck's length"))
    room = 1e3 * outline.length - hole.place_mm - hole.diameter_mm / 2
    beside = abs(hole.offset_mm) > hole.diameter_mm / 2 + neck.width_mm / 2
    if not beside and neck.tongue_mm > max(room, 0.0):
        allowed = f"at most {room:.0f} mm, where the soundhole begins"
        found.append(mistake(file, "neck.tongue_mm", neck.tongue_mm, allowed))
    return found


def check_side_bars(file, sheet, outline):
    """Side bars lie between tail and neck."""
    length = 1e3 * outline.length
    bad = [x for x in sheet.side_bars.places_mm if x >= length - 5]
    return [mistake(file, "side_bars.places_mm", x, f"5 to {length - 5:.0f} mm from the tail") for x in bad]


def check_strings(file, sheet, outline):
    """The lists of a string set have one length; the neck is shorter than the scale."""
    strings, neck = sheet.strings, sheet.neck
    sizes = {n: len(getattr(strings, n)) for n in ("gauge_mm", "unit_mass_g_m", "tension_N") if getattr(strings, n)}
    found = []
    if len(set(sizes.values())) > 1:
        text = ", ".join(f"{name}: {count}" for name, count in sizes.items())
        found.append(mistake(file, "strings", text, "the same number of strings in every list"))
    if neck.length_mm >= strings.scale_length_mm:
        allowed = f"less than strings.scale_length_mm = {strings.scale_length_mm:g} mm"
        found.append(mistake(file, "neck.length_mm", neck.length_mm, allowed, "from the body to the nut"))
    return found
