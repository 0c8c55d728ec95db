"""Checks of a build sheet that need more than one key; each gives Mistakes in the maker's words and mm."""

from itertools import pairwise

import numpy as np

from meshes.outline import Outline, inside, waist_of
from meshes.sheet_body import IN_SIDE, STRETCH, real_ends
from meshes.sheet_carving_checks import check_patches, check_plates, check_profile, check_section
from meshes.sheet_errors import Mistake, TomlTable, nearest
from meshes.sheet_fields import BraceTable, Hole, Shape, Sheet
from meshes.sheet_port_checks import check_side_ports
from meshes.sheet_rim_checks import (
    check_blocks,
    check_joints,
    check_linings,
    check_neck,
    clearance,
    lowest_side,
    mistake,
)
from meshes.sheet_strings import own_set
from meshes.string_sets import set_names

SWAPPED = 50.0  # mm: a brace end drawn this far outside is likely to have its two numbers swapped
ENDS = 8.0  # mm: of a brace at each end, within which it may come near to the side
GRAZING = 0.1  # further in it leaves the side at least at this slope, until it is SHY mm away
SHY = 3.0
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


def check_measures(file: str, shape: TomlTable) -> list[Mistake]:
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


def check_shape(file: str, shape: Shape) -> list[Mistake]:
    """Mistakes in the measures of the plan shape (all of them present)."""
    mistakes = []
    order = ["lower_bout_place_mm", "waist_place_mm", "upper_bout_place_mm", "length_mm"]
    for low, high in pairwise(order):
        if getattr(shape, low) >= getattr(shape, high):
            mistakes.append(
                mistake(
                    file,
                    f"body.{low}",
                    getattr(shape, low),
                    f"less than {high} = {getattr(shape, high):g} mm",
                    "places are distances from the tail",
                )
            )
    for waist, bout in (("waist_width_mm", "lower_bout_width_mm"), ("waist_width_mm", "upper_bout_width_mm")):
        if getattr(shape, waist) >= getattr(shape, bout):
            text = f"less than {bout} = {getattr(shape, bout):g} mm"
            mistakes.append(mistake(file, f"body.{waist}", getattr(shape, waist), text, "widths are full widths"))
    for flat, bout in (("flat_tail_mm", "lower_bout_width_mm"), ("flat_neck_mm", "upper_bout_width_mm")):
        if getattr(shape, flat) >= 0.8 * getattr(shape, bout):
            text = f"less than 0.8 x {bout} = {0.8 * getattr(shape, bout):g} mm"
            mistakes.append(mistake(file, f"body.{flat}", getattr(shape, flat), text))
    return mistakes


def check_whole(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """Mistakes between the tables of a filled sheet (defaults.fill), its plan shape being sound; outline in m."""
    checks = (
        check_soundhole,
        check_heights,
        check_sides,
        check_braces,
        check_plates,
        check_patches,
        check_bridge,
        check_linings,
        check_joints,
        check_blocks,
        check_side_bars,
        check_side_ports,
        check_neck,
        check_strings,
    )
    return [m for check in checks for m in check(file, sheet, outline)]


def check_soundhole(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
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
            mistake(
                file,
                "soundhole.diameter_mm",
                hole.diameter_mm,
                f"at most {2 * (room - EDGE):.0f} mm there",
                "the hole crosses the outline",
            )
        ]
    return []


def check_heights(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """The deepest place lies on the body."""
    place = sheet.heights.back_deepest_mm
    if place is not None and place >= 1e3 * outline.length:
        return [mistake(file, "heights.back_deepest_mm", place, f"less than the length {1e3 * outline.length:.0f} mm")]
    return []


def check_sides(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
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


def check_braces(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """Braces lie in the body, under their names once, and their ends fit them."""
    mistakes = []
    for plate in ("top", "back"):
        if not getattr(sheet, plate).braced and any(b.plate == plate for b in sheet.brace):
            mistakes.append(mistake(file, f"{plate}.braced", "false", f"true, or no [[brace]] with plate = '{plate}'"))
    names = [brace.name for brace in sheet.brace]
    for i, brace in enumerate(sheet.brace):
        key = f"brace {i + 1} ({brace.name})"
        if brace.name in names[:i]:
            mistakes.append(mistake(file, f"{key}.name", f"'{brace.name}'", "a name that no other brace has"))
        mistakes += _check_brace(file, key, brace, sheet, outline)
        mistakes += check_section(file, key, brace) + check_profile(file, key, brace)
    return mistakes


def _check_brace(file: str, key: str, brace: BraceTable, sheet: Sheet, outline: Outline) -> list[Mistake]:
    ends = np.array([brace.from_mm, brace.to_mm])
    length = float(np.linalg.norm(ends[1] - ends[0]))
    if length < 20:
        return [mistake(file, f"{key}.to_mm", f"{list(brace.to_mm)}", "a point at least 20 mm from from_mm")]
    mistakes = []
    for name, point in (("from_mm", brace.from_mm), ("to_mm", brace.to_mm)):
        gap = clearance(outline, [point])[0]
        if gap < -EDGE:
            allowed = "a point inside the outline [from the tail, from the centre line]"
            mistakes.append(mistake(file, f"{key}.{name}", f"{list(point)}", allowed, _nearer(outline, point, gap)))
    if not mistakes:
        mistakes += _carried(file, key, brace, outline)
    if not mistakes and _leaves(brace, outline):
        mistakes.append(mistake(file, f"{key}.to_mm", f"{list(brace.to_mm)}", "a straight line that stays in the body"))
    if brace.plate == "top" and (bare := _over_the_hole(sheet.soundhole, ends, length)) > 0:
        allowed = f"a brace beside the soundhole: {bare:.0f} mm of it would hang over the hole"
        mistakes.append(mistake(file, f"{key}.to_mm", f"{list(brace.to_mm)}", allowed))
    for name in ("from_end", "to_end"):
        if getattr(brace, name).height_mm > brace.height_mm:
            value, allowed = (getattr(brace, name).height_mm, f"at most the brace's height {brace.height_mm:g} mm")
            mistakes.append(mistake(file, f"{key}.{name}.height_mm", value, allowed))
    tapers = brace.from_end.taper_mm + brace.to_end.taper_mm
    if tapers > length:
        mistakes.append(
            mistake(file, f"{key}.ends.taper_mm", tapers, f"both together at most the length {length:.0f} mm")
        )
    lowest = lowest_side(sheet)
    if brace.height_mm > lowest / 2:
        mistakes.append(mistake(file, f"{key}.height_mm", brace.height_mm, f"at most half the side, {lowest / 2:g} mm"))
    return mistakes


def _carried(file: str, key: str, brace: BraceTable, outline: Outline) -> list[Mistake]:
    """Mistakes of ends that are drawn far from the side which they are said to reach."""
    mistakes = []
    points = np.array([brace.from_mm, brace.to_mm])
    for i, (name, real) in enumerate(zip(("from_mm", "to_mm"), real_ends(brace, outline), strict=True)):
        moved = 1e3 * real - points[i]
        far = np.linalg.norm(moved)
        if far > 1e3 * STRETCH and moved @ (points[i] - points[1 - i]) > 0:
            near = [round(float(v)) for v in 1e3 * real]
            allowed = f"a point less than {1e3 * STRETCH:g} mm from where the brace ends at the side; this is {far:.0f} mm off"
            hint = f"did you mean {near}? {name.removesuffix('_mm')}_end.kind = 'free' keeps it where it is drawn"
            mistakes.append(mistake(file, f"{key}.{name}", f"{points[i].tolist()}", allowed, hint))
    return mistakes


def _leaves(brace: BraceTable, outline: Outline) -> bool:
    """Whether a brace runs into the side between its real ends."""
    start, end = (1e3 * point for point in real_ends(brace, outline))
    length = float(np.linalg.norm(end - start))
    if length < 2 * ENDS:
        return True
    places = np.linspace(ENDS, length - ENDS, max(3, int(length / 4)))
    room = clearance(outline, start + places[:, None] / length * (end - start))
    from_end = np.minimum(places, length - places)
    return bool((room < np.minimum(1e3 * IN_SIDE + GRAZING * (from_end - ENDS), SHY)).any())


def _over_the_hole(hole: Hole, ends: np.ndarray, length: float) -> float:
    """How much [mm] of the line between two points (2, 2) [mm] lies over the soundhole."""
    along = (ends[1] - ends[0]) / length
    to_centre = np.array([hole.place_mm, hole.offset_mm]) - ends[0]
    nearest_place = to_centre @ along
    half = np.sqrt(max((hole.diameter_mm / 2) ** 2 - (to_centre @ to_centre - nearest_place**2), 0.0))
    return max(min(nearest_place + half, length) - max(nearest_place - half, 0.0), 0.0) if half else 0.0


def _nearer(outline: Outline, point: tuple[float, float], gap: float) -> str:
    """Hint for a point outside the body: the point swapped if far out and that is inside, else how far it is out."""
    if -gap > SWAPPED and inside(outline, 1e-3 * np.array([point[::-1]]))[0]:
        return f"did you mean {list(point[::-1])}?"
    return f"it lies {-gap:.0f} mm outside"


def _corners(place: float, length: float, width: float) -> list[tuple[float, float]]:
    """Corners (4, 2) [mm] of a rectangle on the centre line: `length` across the body, `width` along it."""
    return [(place + a * width / 2, b * length / 2) for a in (-1, 1) for b in (-1, 1)]


def check_bridge(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """Bridge and bridge plate lie on the top, clear of the side and of the hole; the saddle is in the bridge."""
    mistakes: list[Mistake] = []
    hole = sheet.soundhole
    parts = [("bridge", sheet.bridge)] + ([("bridge_plate", sheet.bridge_plate)] if sheet.bridge_plate.included else [])
    for name, part in parts:
        if mistakes and part.place_mm == sheet.bridge.place_mm:
            continue  # the plate under a misplaced bridge
        if clearance(outline, _corners(part.place_mm, part.length_mm, part.width_mm)).min() < EDGE:
            allowed = f"a place where its {part.length_mm:g} x {part.width_mm:g} mm lie inside the outline"
            mistakes.append(mistake(file, f"{name}.place_mm", part.place_mm, allowed, "distance from the tail"))
        across = max(0.0, abs(hole.offset_mm) - part.length_mm / 2)
        along = max(0.0, abs(hole.place_mm - part.place_mm) - part.width_mm / 2)
        if np.hypot(along, across) < hole.diameter_mm / 2:
            mistakes.append(mistake(file, f"{name}.place_mm", part.place_mm, "a place clear of the soundhole"))
    bridge = sheet.bridge
    if abs(bridge.saddle_mm - bridge.place_mm) > bridge.width_mm / 2:
        low, high = (bridge.place_mm - bridge.width_mm / 2, bridge.place_mm + bridge.width_mm / 2)
        mistakes.append(mistake(file, "bridge.saddle_mm", bridge.saddle_mm, f"on the bridge, {low:g} to {high:g} mm"))
    return mistakes


def check_side_bars(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """Side bars lie between tail and neck."""
    length = 1e3 * outline.length
    bad = [x for x in sheet.side_bars.places_mm if x >= length - 5]
    return [mistake(file, "side_bars.places_mm", x, f"5 to {length - 5:.0f} mm from the tail") for x in bad]


def check_strings(file: str, sheet: Sheet, outline: Outline) -> list[Mistake]:
    """The lists of a string set have one length; the neck is shorter than the scale."""
    strings, neck = sheet.strings, sheet.neck
    sizes = {n: len(getattr(strings, n)) for n in ("gauge_mm", "unit_mass_g_m", "tension_N") if getattr(strings, n)}
    mistakes = []
    if len(set(sizes.values())) > 1:
        text = ", ".join(f"{name}: {count}" for name, count in sizes.items())
        mistakes.append(mistake(file, "strings", text, "the same number of strings in every list"))
    if sizes and strings.string:
        mistakes.append(
            mistake(file, "strings", f"{', '.join(sizes)} and [[strings.string]]", "the lists or the tables")
        )
    if strings.set is not None and strings.set not in set_names():
        known = f"one of: {', '.join(set_names())}"
        mistakes.append(mistake(file, "strings.set", f"'{strings.set}'", known, nearest(strings.set, set_names())))
    elif strings.string:
        try:
            own_set(strings)
        except ValueError as error:
            mistakes.append(Mistake(file, "[[strings.string]]", "", "", str(error)))
    if neck.length_mm >= strings.scale_length_mm:
        allowed = f"less than strings.scale_length_mm = {strings.scale_length_mm:g} mm"
        mistakes.append(mistake(file, "neck.length_mm", neck.length_mm, allowed, "from the body to the nut"))
    return mistakes
