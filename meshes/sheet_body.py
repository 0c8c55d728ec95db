"""From a checked and filled build sheet to a Body: mm, g and degrees become SI here."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fem.bar_forms import RECTANGLE, Form
from fem.materials import Wood
from meshes.body import (
    Assumption,
    Block,
    Board,
    Body,
    Brace,
    BraceEnd,
    Bridge,
    BridgePlate,
    Lining,
    Neck,
    Patch,
    PlateJoint,
    Rod,
    SideBar,
    SidePort,
    Soundhole,
    Strings,
    Weather,
)
from meshes.dome import fit_back, fit_top
from meshes.measured import measured_from
from meshes.outline import Outline, crossings, distance, last_clear, point_at, waist_of, where_x, where_y
from meshes.sheet_fields import (
    BackTable,
    BlockTable,
    BraceTable,
    BridgePlateTable,
    BridgeTable,
    EndTable,
    JointTable,
    LiningTable,
    NeckTable,
    PatchTable,
    Sheet,
    SideBarsTable,
    SidePortTable,
    SidesTable,
    StringsTable,
    TopTable,
)
from meshes.sheet_strings import own_set, pluck_given
from meshes.sheet_types import OPEN

MM, GRAM, GPA = 1e-3, 1e-3, 1e9
STRETCH = 30e-3  # m: a brace end kept further than this off the side it is drawn at is worth a warning
IN_SIDE = 1e-3  # m: nearer to the side's middle than this, an end lies in the side
HEAVY_BRIDGE = 40e-3  # kg: most bridges weigh 20 to 35 g; common practice, no source
BLOCK_CUTS = ("cut_width", "cut_depth", "cut_height", "hole")


def body_from(sheet: Sheet, outline: Outline, woods: Mapping[str, Wood], assumed: tuple[Assumption, ...]) -> Body:
    """Body from a filled sheet, its Outline [m] and {name: Wood}."""
    top_surface = fit_top(outline, _metres(sheet.heights.top_radius_mm))
    heights = _heights(sheet, outline)
    deepest = sheet.heights.back_deepest_mm
    back_surface = fit_back(
        heights,
        top_surface,
        _metres(sheet.heights.back_radius_mm),
        _metres(sheet.heights.back_radius_across_mm),
        outline.length / 2 if deepest is None else deepest * MM,
    )
    braces = [_brace(brace, outline, woods) for brace in sheet.brace]
    return Body(
        name=sheet.name,
        outline=outline,
        heights=heights,
        top_surface=top_surface,
        back_surface=back_surface,
        back_deepest=None if deepest is None else deepest * MM,
        soundhole=Soundhole(
            (sheet.soundhole.place_mm * MM, sheet.soundhole.offset_mm * MM), sheet.soundhole.diameter_mm / 2 * MM
        ),
        top=_panel(sheet.top, woods),
        back=_panel(sheet.back, woods),
        sides=_sides(sheet.sides, woods),
        braces=tuple(brace for brace, _ in braces),
        bridge=_bridge(sheet.bridge, woods),
        bridge_plate=_bridge_plate(sheet.bridge_plate, woods),
        lining_top=_lining(sheet.lining_top, woods),
        lining_back=_lining(sheet.lining_back, woods),
        joint_top=_joint(sheet.joint_top, woods),
        joint_back=_joint(sheet.joint_back, woods),
        neck_block=_block(sheet.neck_block, woods),
        tail_block=_block(sheet.tail_block, woods),
        side_bars=_side_bars(sheet.side_bars, outline, woods),
        neck=_neck(sheet.neck, woods),
        strings=_strings(sheet.strings),
        weather=Weather(
            sheet.weather.built_at_humidity_percent,
            tuple(sheet.weather.used_at_humidity_percent),
            (sheet.weather.rim_gap_mm or 0.0) * MM,
        ),
        measured=measured_from(sheet.measured),
        side_ports=tuple(
            SidePort(port_arc(port, outline), port.below_top_mm * MM, port.diameter_mm / 2 * MM, port.side)
            for port in sheet.side_port
        ),
        patches=tuple(_patch(patch, woods) for patch in sheet.patch),
        assumed=assumed,
        warnings=tuple(text for _, text in braces if text),
    )


def _metres(mm: float | None) -> float | None:
    return None if mm is None else mm * MM


def _heights(sheet: Sheet, outline: Outline) -> tuple[tuple[str, float, float, float], ...]:
    """(place, x, y, height) [m] from tail to neck."""
    (x0, y0), (x1, y1) = (point_at(outline, s).tolist() for s in (0.0, where_y(outline, 0.0)[-1]))
    waist = waist_of(outline)
    rows = [("tail", x0, y0, sheet.heights.tail_mm * MM)]
    if sheet.heights.waist_mm is not None:
        x = sheet.body.waist_place_mm * MM if sheet.body.waist_place_mm else (waist or (outline.length / 2, 0))[0]
        y = float(point_at(outline, where_x(outline, x)[-1])[1])
        rows.append(("waist", float(x), y, sheet.heights.waist_mm * MM))
    return (*rows, ("neck block", x1, y1, sheet.heights.neck_block_mm * MM))


def _panel(table: TopTable | BackTable | SidesTable, woods: Mapping[str, Wood]) -> Board:
    board = Board(woods[table.wood], table.thickness_mm * MM, np.radians(table.grain_deg))
    if isinstance(table, SidesTable):
        return board
    return replace(
        board,
        edge_thickness=_metres(table.edge_thickness_mm),
        edge_width=(table.edge_width_mm or 0.0) * MM,
        thickness_map=tuple((x * MM, y * MM, t * MM) for x, y, t in table.thickness_map_mm),
    )


def _sides(table: SidesTable, woods: Mapping[str, Wood]) -> tuple[Board, ...]:
    outer = _panel(table, woods)
    if table.inner_thickness_mm is None or table.inner_wood is None:
        return (outer,)
    return (outer, Board(woods[table.inner_wood], table.inner_thickness_mm * MM, np.radians(table.inner_grain_deg)))


def _brace(table: BraceTable, outline: Outline, woods: Mapping[str, Wood]) -> tuple[Brace, str]:
    """(Brace with its real ends, warning or '')."""
    drawn = [np.array(p) * MM for p in (table.from_mm, table.to_mm)]
    ends, real = [table.from_end, table.to_end], real_ends(table, outline)
    moved = max(np.linalg.norm(r - d) for r, d in zip(real, drawn, strict=True))
    clipped = [_in_the_side(outline, d, end) for d, end in zip(drawn, ends, strict=True)]
    warning = ""
    if any(clipped):
        cut = max(np.linalg.norm(r - d) for r, d, out in zip(real, drawn, clipped, strict=True) if out)
        warning = (
            f"brace '{table.name}' is drawn into the side with kind = 'free' and has been cut off {cut / MM:.1f} mm before "
            "its drawn end, where a brace that stops short of the lining ends; kind = 'let_in' carries it to the side"
        )
    elif moved > STRETCH:
        warning = (
            f"brace '{table.name}' is drawn {moved / MM:.0f} mm from where its end meets the side and has been moved "
            "there; kind = 'free' keeps an end where it is drawn"
        )
    finished = [BraceEnd(end.kind, end.taper_mm * MM, end.height_mm * MM) for end in ends]
    brace = Brace(
        table.name,
        table.plate,
        (float(real[0][0]), float(real[0][1])),
        (float(real[1][0]), float(real[1][1])),
        table.width_mm * MM,
        table.height_mm * MM,
        woods[table.wood],
        finished[0],
        finished[1],
        form=_form(table),
        heights=_profile(table, drawn, real),
    )
    return brace, warning


def _form(table: BraceTable) -> Form:
    if table.section == "rectangular":
        return RECTANGLE
    top = table.top_width_mm / table.width_mm if table.section == "gabled" else 0.0
    return Form(table.section, min(1.0, table.cap_mm / table.height_mm), top, table.width_mm / table.height_mm)


def _profile(table: BraceTable, drawn: list[np.ndarray], real: list[np.ndarray]) -> tuple[tuple[float, float], ...]:
    """(distance from the real start, height) [m] of the pairs that the sheet counts from where the brace is drawn."""
    along = (drawn[1] - drawn[0]) / np.linalg.norm(drawn[1] - drawn[0])
    moved = float((real[0] - drawn[0]) @ along)
    return tuple((place * MM - moved, height * MM) for place, height in table.height_profile_mm)


def _patch(table: PatchTable, woods: Mapping[str, Wood]) -> Patch:
    wood, angle = woods[table.wood], float(np.radians(table.grain_deg))
    patch = Patch(table.name, table.plate, wood, table.thickness_mm * MM, angle)
    if table.from_mm is None or table.to_mm is None or table.width_mm is None:
        return replace(patch, ring=(table.around_soundhole_mm or 0.0) * MM)
    (x0, y0), (x1, y1) = table.from_mm, table.to_mm
    return replace(patch, start=(x0 * MM, y0 * MM), end=(x1 * MM, y1 * MM), width=table.width_mm * MM)


def real_ends(table: BraceTable, outline: Outline) -> list[np.ndarray]:
    """Both plan points [m] where a brace of the filled sheet really ends."""
    drawn = [np.array(p) * MM for p in (table.from_mm, table.to_mm)]
    ends = [table.from_end, table.to_end]
    return [_real_end(outline, drawn[1 - i], drawn[i], ends[i]) for i in (0, 1)]


def _real_end(outline: Outline, other: np.ndarray, drawn: np.ndarray, end: EndTable) -> np.ndarray:
    """Plan point [m] where a brace really ends: on the side, its gap short of it, or as drawn where that is inside."""
    if end.kind == "free" and not _in_the_side(outline, drawn, end):
        return drawn
    middle = (other + drawn) / 2
    along = drawn - middle
    t, _ = crossings(outline, middle, along)
    meets = t[t > 0][0] if np.any(t > 0) else 1.0
    if end.kind == "let_in" or end.gap_mm == 0:
        return middle + meets * along
    clear = last_clear(outline, middle, along, end.gap_mm * MM, np.linspace(0, meets, 41))
    return middle + (meets if clear is None else clear) * along


def _in_the_side(outline: Outline, drawn: np.ndarray, end: EndTable) -> bool:
    """Whether a free end is drawn into the side or past it."""
    return end.kind == "free" and bool(distance(outline, drawn[None])[0] < IN_SIDE)


def _bridge(table: BridgeTable, woods: Mapping[str, Wood]) -> Bridge:
    """A full block; where the sheet gives its mass, the wood is made as heavy as that needs and stays as stiff."""
    wood = woods[table.wood]
    if table.mass_g is not None:
        volume = table.length_mm * table.width_mm * table.thickness_mm * MM**3
        sources = {**wood.sources, "density": "build sheet, bridge.mass_g"}
        wood = replace(wood, density=table.mass_g * GRAM / volume, sources=sources)
    return Bridge(
        (table.place_mm * MM, 0.0),
        table.length_mm * MM,
        table.width_mm * MM,
        table.thickness_mm * MM,
        wood,
        table.saddle_mm * MM,
        table.saddle_height_mm * MM,
    )


def heavy_bridge(sheet: Sheet, body: Body) -> tuple[str, ...]:
    """(tuple of str) of a bridge that weighs much and whose weight the sheet does not give."""
    b = body.bridge
    mass = b.length * b.width * b.thickness * b.wood.density
    if sheet.bridge.mass_g is not None or mass <= HEAVY_BRIDGE:
        return ()
    return (
        f"the bridge is computed as a full block and weighs {mass / GRAM:.0f} g so; give bridge.mass_g if yours is lighter "
        "(most weigh 20 to 35 g), or a smaller mean bridge.thickness_mm",
    )


def _bridge_plate(table: BridgePlateTable, woods: Mapping[str, Wood]) -> BridgePlate | None:
    if not table.included:
        return None
    return BridgePlate(
        (table.place_mm * MM, 0.0),
        table.length_mm * MM,
        table.width_mm * MM,
        table.thickness_mm * MM,
        woods[table.wood],
        np.radians(table.grain_deg),
    )


def _lining(table: LiningTable, woods: Mapping[str, Wood]) -> Lining:
    if table.kind == "none":
        return Lining("none")
    common = (table.kind, table.width_mm * MM, table.height_mm * MM, woods[table.wood])
    bevel_width, bevel_height = _metres(table.bevel_width_mm), _metres(table.bevel_height_mm)
    if table.kind != "solid_laminated":
        return Lining(
            *common,
            table.kerf_spacing_mm * MM,
            table.kerf_width_mm * MM,
            table.web_mm * MM,
            bevel_width=bevel_width,
            bevel_height=bevel_height,
        )
    return Lining(
        *common,
        laminations=table.laminations,
        lamination_thickness=table.lamination_thickness_mm * MM,
        bevel_width=bevel_width,
        bevel_height=bevel_height,
        glue_line=(table.glue_line_mm or 0.0) * MM,
        glue_shear=table.glue_shear_GPa * GPA,
    )


def _joint(table: JointTable, woods: Mapping[str, Wood]) -> PlateJoint:
    binding = None if table.binding_wood == OPEN else woods[table.binding_wood]
    return PlateJoint(table.rebate_width_mm * MM, table.rebate_height_mm * MM, binding, table.loss_factor)


def _block(table: BlockTable, woods: Mapping[str, Wood]) -> Block:
    cut = {key: (getattr(table, f"{key}_mm", None) or 0.0) * MM for key in BLOCK_CUTS}
    return Block(
        table.width_mm * MM, table.thickness_mm * MM, table.height_mm * MM, woods[table.wood], table.grain, **cut
    )


def _side_bars(table: SideBarsTable, outline: Outline, woods: Mapping[str, Wood]) -> tuple[SideBar, ...]:
    """One bar on either side at each place, treble side first."""
    bars = []
    for place in table.places_mm:
        arcs = where_x(outline, place * MM)
        for s in (arcs[0], arcs[-1]):
            bars.append(SideBar(float(s), place * MM, table.width_mm * MM, table.thickness_mm * MM, woods[table.wood]))
    return tuple(bars)


def port_arc(table: SidePortTable, outline: Outline) -> float:
    """Arc length of the outline [m] at a [[side_port]]'s centre; the treble side runs from 0 to the neck."""
    neck, rim = float(where_y(outline, 0.0)[-1]), float(outline.perimeter)
    treble = table.side == "treble"
    if table.from_tail_mm is not None:
        return table.from_tail_mm * MM if treble else rim - table.from_tail_mm * MM
    assert table.from_neck_mm is not None
    return neck - table.from_neck_mm * MM if treble else neck + table.from_neck_mm * MM


def _neck(table: NeckTable, woods: Mapping[str, Wood]) -> Neck | None:
    if not table.included:
        return None
    return Neck(
        table.length_mm * MM,
        table.width_mm * MM,
        table.thickness_mm * MM,
        woods[table.wood],
        table.fingerboard_thickness_mm * MM,
        woods[table.fingerboard_wood],
        table.head_length_mm * MM,
        table.head_mass_g * GRAM,
        table.heel_depth_mm * MM,
        table.heel_length_mm * MM,
        table.tongue_mm * MM,
        _metres(table.nut_width_mm),
        _metres(table.nut_thickness_mm),
        _rod(table),
    )


def _rod(table: NeckTable) -> Rod | None:
    if table.rod == "none":
        return None
    round_ = table.rod == "round"
    height = (table.rod_width_mm if round_ else table.rod_height_mm) * MM
    depth = table.rod_depth_mm * MM + height / 2
    E = table.rod_E_GPa * GPA
    return Rod(table.rod_width_mm * MM, height, depth, E, table.rod_density, round_, table.rod_glued)


def _strings(table: StringsTable) -> Strings:
    return Strings(
        table.scale_length_mm * MM,
        tuple(d * MM for d in table.gauge_mm),
        tuple(m * GRAM for m in table.unit_mass_g_m),
        tuple(table.tension_N),
        table.set,
        own_set(table),
        pluck_given(table),
    )
