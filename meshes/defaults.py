"""What a build sheet leaves out: defaults computed from what it does say, each listed as an Assumption."""

from collections.abc import Mapping

from meshes.body import Assumption
from meshes.measured import MeasuredTable
from meshes.outline import Outline, distance, point_at, where_x
from meshes.sheet_errors import unit_of
from meshes.sheet_fields import BraceTable, EndTable, JointTable, LiningTable, NeckTable, Shape, Sheet, SidesTable
from meshes.sheet_types import Table

COMMON = "assumed: common practice, no source"
FRETS_TO_BODY = 14
SADDLE_IN_BRIDGE = 3.0  # mm from the bridge's middle to the saddle line
NEAR_SIDE = 20.0  # mm; a brace end drawn nearer to the side than this is meant to run to it
LADDER = "assumed bar"  # first words of the names of braces that the sheet does not list
LADDER_BACK = (0.16, 0.38, 0.62, 0.84)  # places of the back's bars as parts of the body length
MODEL = "assumed: a simplification of the model"
FRETS = 20  # of the fingerboard
TONGUE_GAP = 3.0  # mm between the tongue's end and the soundhole
REBATE = (1.5, 6.0)  # mm inward and down
EDGE_WIDTH = 60.0  # mm
SIDE_LEFT = 0.3  # of the side's thickness, at least, behind an assumed rebate
HARDLY_KNOWN = {
    "loss_factor": "assumed, hardly measured: 0.005 to 0.1 are possible",
    "sheet_version": "assumed: sheet_version not given, read as 1",
    "rod": MODEL,
}
UNSAID = {"name", "offset_mm", "braced", "included", "section"}


def stated_defaults(table: Table, prefix: str = "") -> list[Assumption]:
    """Assumptions (list) for the plain defaults that a table of the sheet (and the tables in it) falls back on."""
    assumed = []
    for name in type(table).model_fields:
        value, key = getattr(table, name), f"{prefix}{name}"
        if isinstance(value, Table):
            assumed += stated_defaults(value, f"{key}.") if _matters(value) else []
        elif isinstance(value, list):
            for number, entry in enumerate(value, 1):
                label = f"'{entry.name}'" if hasattr(entry, "name") else number
                assumed += stated_defaults(entry, f"{key} {label}.") if isinstance(entry, Table) else []
        elif (
            isinstance(value, MeasuredTable)
            or value is None
            or isinstance(value, dict)
            or name in table.model_fields_set | UNSAID
        ):
            continue
        elif _used(table, name):
            assumed.append(Assumption(key, _text(key, value), HARDLY_KNOWN.get(name, COMMON)))
    return assumed


def _matters(table: Table) -> bool:
    return getattr(table, "included", True)


def _used(table: Table, name: str) -> bool:
    """Whether a field has any effect: a solid lining has no kerf, single sides no inner layer."""
    if isinstance(table, EndTable):
        return False
    if isinstance(table, NeckTable) and name.startswith("rod_"):
        return table.rod != "none" and not (table.rod == "round" and name == "rod_height_mm")
    if isinstance(table, SidesTable) and name.startswith("inner_"):
        return table.inner_thickness_mm is not None
    kind = getattr(table, "kind", None)
    if name in ("kerf_spacing_mm", "kerf_width_mm", "web_mm"):
        return kind in ("kerfed", "reversed_kerfed")
    if name in ("laminations", "lamination_thickness_mm"):
        return kind == "solid_laminated"
    if name == "glue_shear_GPa":
        return isinstance(table, LiningTable) and kind == "solid_laminated" and table.glue_line_mm is not None
    if isinstance(table, JointTable) and name == "binding_wood":
        return 0 not in (table.rebate_width_mm, table.rebate_height_mm)
    if isinstance(table, NeckTable) and name == "heel_length_mm":
        return table.heel_depth_mm != 0
    if isinstance(table, Shape) and name.startswith("flat_"):
        return table.length_mm is not None
    if name in ("width_mm", "thickness_mm", "wood") and hasattr(table, "places_mm"):
        return bool(table.places_mm)
    return not (kind == "none" and name != "kind")


def _text(key: str, value: float | str | bool) -> str:
    if isinstance(value, float):
        return f"{value:.4g}{unit_of((key,))}"
    return str(value)


def fill(sheet: Sheet, outline: Outline) -> tuple[Sheet, tuple[Assumption, ...]]:
    """(sheet with every left-out value filled in, Assumptions for them); outline in m, the sheet in mm."""
    notes = []
    steps = (
        _fill_heights,
        _fill_neck,
        _fill_bridge,
        _fill_linings,
        _fill_joints,
        _fill_blocks,
        _fill_ladder,
        _fill_brace_ends,
        _fill_carving,
    )
    for step in steps:
        sheet, new = step(sheet, outline)
        notes += new
    return sheet, tuple(notes)


def from_nut(scale: float, fret: int) -> float:
    """Distance of a fret from the nut, in the unit of the scale length: equal temperament."""
    return scale * (1 - 2 ** (-fret / 12))


def _set(sheet: Sheet, table: str, values: Mapping[str, float], why: str) -> tuple[Sheet, list[Assumption]]:
    """(sheet with the missing ones of values {field: value} set in a table, their Assumptions)."""
    old = getattr(sheet, table)
    new = {name: value for name, value in values.items() if getattr(old, name) is None}
    notes = [Assumption(f"{table}.{name}", _text(name, value), f"assumed: {why}") for name, value in new.items()]
    return sheet.model_copy(update={table: old.model_copy(update=new)}), notes


def _fill_heights(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    heights = sheet.heights
    notes = []
    if "top_radius_mm" not in heights.model_fields_set:
        notes = [Assumption("heights.top_radius_mm", "flat", COMMON)]
    if "back_radius_across_mm" in heights.model_fields_set or heights.back_radius_mm is None:
        return sheet, notes
    sheet, more = _set(sheet, "heights", {"back_radius_across_mm": heights.back_radius_mm}, "as along the body")
    return sheet, notes + more


def _fill_neck(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    frets = sheet.neck.frets_to_body or FRETS_TO_BODY
    length = from_nut(sheet.strings.scale_length_mm, frets)
    sheet, notes = _set(sheet, "neck", {"length_mm": length}, f"{frets} frets of the scale length to the body")
    notes = [] if sheet.neck.frets_to_body else notes
    sheet, heel = _set(sheet, "neck", {"heel_depth_mm": sheet.heights.neck_block_mm}, "the side's full height")
    fretboard = from_nut(sheet.strings.scale_length_mm, FRETS) - sheet.neck.length_mm
    room = outline.length * 1e3 - sheet.soundhole.place_mm - sheet.soundhole.diameter_mm / 2 - TONGUE_GAP
    why = f"{FRETS} frets, and {TONGUE_GAP:g} mm short of the soundhole; common practice, no source"
    sheet, tongue = _set(sheet, "neck", {"tongue_mm": max(0.0, min(fretboard, room))}, why)
    return sheet, notes + heel + tongue if sheet.neck.included else []


def _fill_bridge(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    saddle = outline.length * 1e3 - (sheet.strings.scale_length_mm - sheet.neck.length_mm)
    sheet, notes = _set(sheet, "bridge", {"saddle_mm": saddle}, "from the scale length and the neck length")
    place = sheet.bridge.saddle_mm - SADDLE_IN_BRIDGE
    sheet, more = _set(sheet, "bridge", {"place_mm": place}, "just tailward of the saddle; common practice, no source")
    sheet, under = _set(sheet, "bridge_plate", {"place_mm": sheet.bridge.place_mm}, "under the bridge")
    return sheet, notes + more + (under if sheet.bridge_plate.included else [])


def _fill_linings(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    notes = []
    for table in ("lining_top", "lining_back"):
        lining = getattr(sheet, table)
        solid = lining.kind == "solid_laminated"
        width = lining.laminations * lining.lamination_thickness_mm if solid else 6.0
        why = "the laminations together" if solid else "common practice, no source"
        sheet, new = _set(sheet, table, {"width_mm": width}, why)
        notes += new if lining.kind != "none" else []
        notes += _lining_notes(table, lining, sheet.sides)
    return sheet, notes


def _lining_notes(table: str, lining: LiningTable, sides: SidesTable) -> list[Assumption]:
    """Assumptions of the model of a lining that a maker may want to know."""
    texts = []
    kerfed = lining.kind in ("kerfed", "reversed_kerfed")
    if kerfed and sides.inner_wood not in (None, sides.wood):
        texts.append("the doubled side behind it counts as one board with the mean constants of its layers")
    if lining.kind != "none" and lining.bevel_width_mm is not None:
        texts.append("in the joint's solid it counts as not bevelled")
        if lining.glue_line_mm and not kerfed:
            texts.append("being bevelled, its glue lines count as having no thickness")
    return [Assumption(table, text, MODEL) for text in texts]


def _fill_joints(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    notes, side = [], sheet.sides.thickness_mm + (sheet.sides.inner_thickness_mm or 0.0)
    for plate in ("top", "back"):
        width, height = REBATE
        lining = getattr(sheet, f"lining_{plate}")
        deep = getattr(sheet, plate).thickness_mm + (lining.height_mm / 2 if lining.kind != "none" else 0.0)
        values = {
            "rebate_width_mm": min(width, (1 - SIDE_LEFT) * side),
            "rebate_height_mm": min(height, max(deep, width)),
        }
        sheet, new = _set(sheet, f"joint_{plate}", values, "common practice, no source")
        notes += new
    return sheet, notes


def _fill_blocks(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    cut = sheet.neck_block.cut_width_mm is not None and sheet.neck_block.cut_depth_mm is not None
    depth = sheet.neck_block.height_mm or sheet.heights.neck_block_mm
    deep = min(sheet.neck.heel_depth_mm or depth, depth)
    sheet, above = _set(sheet, "neck_block", {"cut_height_mm": deep}, "the heel's depth") if cut else (sheet, [])
    sheet, notes = _set(sheet, "neck_block", {"height_mm": sheet.heights.neck_block_mm}, "the side's full height")
    sheet, more = _set(sheet, "tail_block", {"height_mm": sheet.heights.tail_mm}, "the side's full height")
    return sheet, above + notes + more


def _fill_ladder(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    """Plain bars across a plate whose braces the sheet does not list and does not deny."""
    braces, notes = list(sheet.brace), []
    hole, half = sheet.soundhole.place_mm, sheet.soundhole.diameter_mm / 2
    places = {
        "top": (sheet.bridge.place_mm / 2, hole - half - 25, hole + half + 25),
        "back": tuple(part * outline.length * 1e3 for part in LADDER_BACK),
    }
    for plate in ("top", "back"):
        if getattr(sheet, plate).braced and not any(b.plate == plate for b in sheet.brace):
            bars = [_bar(outline, plate, i + 1, x) for i, x in enumerate(places[plate])]
            braces += [bar for bar in bars if bar]
            text = (
                "plain bars across, 8 x 14 mm, tapered, ending 1 mm short of the lining, at "
                + ", ".join(f"{x:.0f}" for x in places[plate])
                + " mm from the tail"
            )
            notes.append(Assumption(f"brace (plate = '{plate}')", text, COMMON))
    return sheet.model_copy(update={"brace": braces}), notes


def _bar(outline: Outline, plate: str, number: int, x: float) -> BraceTable | None:
    """BraceTable of a bar across the body at x [mm], or None where the body has no such place."""
    arcs = where_x(outline, x * 1e-3)
    if len(arcs) < 2:
        return None
    low, high = (1e3 * float(point_at(outline, s)[1]) for s in (arcs[0], arcs[-1]))
    return BraceTable(
        name=f"{LADDER} {plate} {number}", plate=plate, from_mm=(x, low), to_mm=(x, high), width_mm=8.0, height_mm=14.0
    )


def _fill_brace_ends(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    braces, notes = [], []
    for brace in sheet.brace:
        lining = sheet.lining_top if brace.plate == "top" else sheet.lining_back
        gap = (lining.width_mm if lining.kind != "none" else 0.0) + 1.0
        given = {end: getattr(brace, end) or brace.ends or EndTable() for end in ("from_end", "to_end")}
        points = {"from_end": brace.from_mm, "to_end": brace.to_mm}
        full = {end: _full_end(given[end], brace, points[end], gap, outline) for end in given}
        notes += [] if brace.name.startswith(LADDER) else _end_notes(brace.name, given, full)
        braces.append(brace.model_copy(update=full))
    return sheet.model_copy(update={"brace": braces}), notes


def _end_notes(brace: str, given: Mapping[str, EndTable], full: Mapping[str, EndTable]) -> list[Assumption]:
    """Assumptions for what a brace's ends leave out; ends that agree are told once."""
    notes = []
    for name in ("kind", "gap_mm", "taper_mm", "height_mm"):
        told = {
            end: _text(name, getattr(full[end], name))
            for end in given
            if getattr(given[end], name) is None
            and not (name == "gap_mm" and full[end].kind != "stops_short")
            and not (name in ("taper_mm", "height_mm") and full[end].taper_mm == 0)
        }
        if len(told) == 2 and len(set(told.values())) == 1:
            told = {"ends": told["to_end"]}
        notes += [Assumption(f"brace '{brace}'.{end}.{name}", text, COMMON) for end, text in told.items()]
    return notes


def _full_end(given: EndTable, brace: BraceTable, point: tuple[float, float], gap: float, outline: Outline) -> EndTable:
    """EndTable without gaps for the end drawn at `point` [mm]."""
    near = distance(outline, [(1e-3 * point[0], 1e-3 * point[1])])[0] * 1e3 < NEAR_SIDE
    length = ((brace.to_mm[0] - brace.from_mm[0]) ** 2 + (brace.to_mm[1] - brace.from_mm[1]) ** 2) ** 0.5
    default = {
        "kind": "stops_short" if near else "free",
        "gap_mm": gap,
        "taper_mm": 0.0 if brace.height_profile_mm else min(40.0, length / 4),
        "height_mm": brace.height_mm / 4,
    }
    return given.model_copy(update={name: v for name, v in default.items() if getattr(given, name) is None})


def _fill_carving(sheet: Sheet, outline: Outline) -> tuple[Sheet, list[Assumption]]:
    """Caps of braces that have one, and how far in a plate is thinned."""
    braces, notes = [], []
    for brace in sheet.brace:
        default = {}
        if brace.section != "rectangular":
            default["cap_mm"] = (
                min(brace.width_mm / 2, brace.height_mm) if brace.section == "rounded" else brace.height_mm
            )
        if brace.section == "gabled":
            default["top_width_mm"] = brace.width_mm / 4
        new = {name: value for name, value in default.items() if getattr(brace, name) is None}
        notes += [Assumption(f"brace '{brace.name}'.{name}", _text(name, value), COMMON) for name, value in new.items()]
        braces.append(brace.model_copy(update=new))
    sheet = sheet.model_copy(update={"brace": braces})
    for plate in ("top", "back"):
        if getattr(sheet, plate).edge_thickness_mm is not None:
            sheet, more = _set(sheet, plate, {"edge_width_mm": EDGE_WIDTH}, "common practice, no source")
            notes += more
    return sheet, notes
