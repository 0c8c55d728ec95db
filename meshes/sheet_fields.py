"""The keys of a build sheet, their units, ranges and defaults: the pydantic models behind the JSON schema.

Lengths are numbers in mm under keys ending in _mm; sheet.py also takes each of them under _in. A field without a
default is a measure that only the maker knows. A default is common practice, no source, and is listed as assumed.
"""

from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeAlias

from pydantic import Field

from meshes.body import BlockGrain, BraceEndKind, LiningKind
from meshes.measured import MeasuredTable
from meshes.sheet_types import (
    Angle,
    BindingName,
    Count,
    Number,
    Place,
    Point,
    Radius,
    Table,
    Text,
    WoodName,
    Words,
    YesNo,
)

SHEET_VERSION: Literal[1] = 1

# Keys that defaults.fill fills in: None where the sheet leaves them out, never in the filled sheet that is computed with
LEFT_OUT: Any = None
if TYPE_CHECKING:
    Filled: TypeAlias = float
    FilledKind: TypeAlias = BraceEndKind
else:
    Filled = Number | None
    FilledKind = BraceEndKind | None


class Shape(Table):
    """Plan shape: the maker's measures, or one drawing; places are distances from the tail along the centre line."""

    length_mm: Number | None = Field(None, ge=250, le=650, description="body length")
    lower_bout_width_mm: Number | None = Field(None, ge=150, le=550, description="full width")
    lower_bout_place_mm: Number | None = Field(None, ge=20, le=400, description="where the lower bout is widest")
    waist_width_mm: Number | None = Field(None, ge=100, le=500, description="full width")
    waist_place_mm: Number | None = Field(None, ge=50, le=500, description="where the waist is narrowest")
    upper_bout_width_mm: Number | None = Field(None, ge=120, le=500, description="full width")
    upper_bout_place_mm: Number | None = Field(None, ge=100, le=620, description="where the upper bout is widest")
    flat_tail_mm: Number = Field(40.0, ge=0, le=150, description="full width of the straight run at the tail")
    flat_neck_mm: Number = Field(60.0, ge=0, le=150, description="full width of the straight run at the neck")
    half_outline_csv: Text | None = Field(None, description="drawing instead of measures: x_mm,half_width_mm")
    full_outline_csv: Text | None = Field(None, description="drawing instead of measures: x_mm,y_mm (cutaway)")


class Heights(Table):
    """Heights of the side between top and back, and the doming of both."""

    neck_block_mm: Number = Field(ge=20, le=200, description="side height at the neck")
    waist_mm: Number | None = Field(None, ge=20, le=200, description="side height at the waist; may be left out")
    tail_mm: Number = Field(ge=20, le=200, description="side height at the tail")
    back_radius_mm: Radius = Field(4500.0, description="along the body, or 'flat'")
    back_radius_across_mm: Radius = Field(None, description="across the body, or 'flat'; default: as along")
    back_deepest_mm: Number | None = Field(None, ge=0, le=650, description="where the maker wants the body deepest")
    top_radius_mm: Radius = Field(None, description="doming of the top, or 'flat'")


class Hole(Table):
    """Round soundhole."""

    place_mm: Number = Field(ge=50, le=620, description="distance of its centre from the tail")
    offset_mm: Number = Field(0.0, ge=-150, le=150, description="its centre off the centre line, bass side positive")
    diameter_mm: Number = Field(ge=20, le=200)


class SidePortTable(Table):
    """Round hole in a side, its place measured along the side from the tail or from the neck."""

    side: Literal["bass", "treble"]
    from_tail_mm: Number | None = Field(
        None, ge=20, le=1200, description="its centre from the middle of the tail, along the side; or from_neck_mm"
    )
    from_neck_mm: Number | None = Field(
        None, ge=20, le=1200, description="its centre from the middle of the neck, along the side; or from_tail_mm"
    )
    below_top_mm: Number = Field(ge=5, le=195, description="its centre below the side's edge at the top")
    diameter_mm: Number = Field(ge=6, le=120)


MapPoint = tuple[Place, Place, Annotated[Number, Field(ge=0.8, le=12)]]
EDGE_WORDS = "thickness at the side of a plate that is thinned toward it; default: not thinned"
EDGE_WIDTH_WORDS = "over which it comes down to edge_thickness_mm; default: 60 mm"
MAP_WORDS = "thickness at places: [from the tail, from the centre line, thickness], read between and beyond them"


class TopTable(Table):
    """Top plate."""

    wood: WoodName = "sitka_spruce"
    thickness_mm: Number = Field(2.8, ge=1, le=8)
    edge_thickness_mm: Number | None = Field(None, ge=0.8, le=8, description=EDGE_WORDS)
    edge_width_mm: Number | None = Field(None, ge=5, le=200, description=EDGE_WIDTH_WORDS)
    thickness_map_mm: list[MapPoint] = Field([], description=MAP_WORDS)
    grain_deg: Angle = Field(0.0, description="from the centre line towards the bass side")
    braced: YesNo = Field(True, description="false: a plate without braces")


class BackTable(Table):
    """Back plate."""

    wood: WoodName = "honduras_mahogany"
    thickness_mm: Number = Field(2.7, ge=1, le=8)
    edge_thickness_mm: Number | None = Field(None, ge=0.8, le=8, description=EDGE_WORDS)
    edge_width_mm: Number | None = Field(None, ge=5, le=200, description=EDGE_WIDTH_WORDS)
    thickness_map_mm: list[MapPoint] = Field([], description=MAP_WORDS)
    grain_deg: Angle = Field(0.0, description="from the centre line towards the bass side")
    braced: YesNo = Field(True, description="false: a plate without braces")


class SidesTable(Table):
    """Sides; inner_wood and inner_thickness_mm make them doubled."""

    wood: WoodName = "honduras_mahogany"
    thickness_mm: Number = Field(2.2, ge=0.8, le=6)
    grain_deg: Angle = Field(0.0, description="from the run of the rim")
    inner_wood: WoodName | None = Field(None, description="wood of the inner layer of doubled sides")
    inner_thickness_mm: Number | None = Field(None, ge=0.4, le=6, description="inner layer of doubled sides")
    inner_grain_deg: Angle = Field(0.0, description="from the run of the rim")


class EndTable(Table):
    """One end of a brace."""

    kind: FilledKind = Field(
        LEFT_OUT, description="default: stops_short (of the side) if drawn within 20 mm of it, else free (as drawn)"
    )
    gap_mm: Filled = Field(LEFT_OUT, ge=0, le=100, description="from the side; default: lining width + 1 mm")
    taper_mm: Filled = Field(LEFT_OUT, ge=0, le=300, description="default: a quarter of the brace, 40 mm at most")
    height_mm: Filled = Field(LEFT_OUT, ge=0, le=40, description="left at the end; default: a quarter of the height")


if TYPE_CHECKING:
    FilledEnd: TypeAlias = EndTable
else:
    FilledEnd = EndTable | None


class BraceForm(Table):
    """What braces are like, wherever they run."""

    name: Text
    plate: Literal["top", "back"]
    width_mm: Number = Field(ge=2, le=60)
    height_mm: Number = Field(ge=1, le=40)
    wood: WoodName = "sitka_spruce"
    section: Literal["rectangular", "rounded", "parabolic", "gabled"] = Field(
        "rectangular", description="rounded: half an ellipse on top; gabled: sloping flanks"
    )
    cap_mm: Filled = Field(
        LEFT_OUT,
        ge=0.5,
        le=40,
        description="height of the round or sloping part; default: half the width, or everything",
    )
    top_width_mm: Filled = Field(
        LEFT_OUT, ge=0, le=60, description="left on top of a gabled brace; default: a quarter of the width"
    )
    ends: EndTable | None = Field(None, description="both ends")


class BraceTable(BraceForm):
    """A brace as a straight line between two points [from the tail, from the centre line]."""

    from_mm: Point
    to_mm: Point
    height_profile_mm: list[tuple[Annotated[Number, Field(ge=0, le=700)], Annotated[Number, Field(ge=0.5, le=40)]]] = (
        Field([], description="[distance from from_mm, height] pairs; default: full height but for the tapers")
    )
    from_end: FilledEnd = Field(LEFT_OUT, description="the end at from_mm, where it differs")
    to_end: FilledEnd = Field(LEFT_OUT, description="the end at to_mm, where it differs")


class BracingTable(BraceForm):
    """Braces in a pattern, drawn to the side or between two places from the tail; each becomes a brace of its own."""

    pattern: Literal["across", "cross", "fan", "lattice"]
    at_mm: Place | None = Field(None, description="first one across; where a cross crosses; middle of a lattice")
    below_hole_mm: Number | None = Field(
        None, ge=0, le=200, description="crossing tailward of the soundhole's edge; or at_mm"
    )
    count: Count | None = Field(None, ge=1, le=40, description="how many, of a lattice in each direction")
    apart_mm: Number | None = Field(None, ge=5, le=300, description="from one to the next, middle to middle")
    apart_deg: Number | None = Field(None, ge=0, le=30, description="of a fan: from one to the next")
    angle_deg: Number | None = Field(
        None, ge=20, le=160, description="of cross and lattice: between the two, open to the tail"
    )
    meet_mm: Number | None = Field(
        None, ge=100, le=1200, description="of a fan: where its lines meet; default: at the neck"
    )
    from_mm: Place | None = Field(None, description="no brace reaches further to the tail; default: the side")
    to_mm: Place | None = Field(None, description="no brace reaches further to the neck; default: the side")


class BridgeTable(Table):
    """Bridge; its grain runs across the body."""

    place_mm: Filled = Field(LEFT_OUT, ge=20, le=500, description="its middle; default: 3 mm tailward of the saddle")
    length_mm: Number = Field(160.0, ge=40, le=260, description="across the body")
    width_mm: Number = Field(30.0, ge=10, le=80, description="along the body")
    thickness_mm: Number = Field(8.0, ge=2, le=20)
    wood: WoodName = "indian_rosewood"
    mass_g: Number | None = Field(None, ge=3, le=200, description="as weighed; default: a full block of its wood")
    saddle_mm: Filled = Field(LEFT_OUT, ge=20, le=500, description="saddle line; default: from the scale length")
    saddle_height_mm: Number = Field(12.0, ge=2, le=30, description="of the strings above the top")


class BridgePlateTable(Table):
    """Bridge plate under the top."""

    included: YesNo = True
    place_mm: Filled = Field(LEFT_OUT, ge=20, le=500, description="its middle; default: under the bridge")
    length_mm: Number = Field(170.0, ge=10, le=400, description="across the body")
    width_mm: Number = Field(36.0, ge=5, le=150, description="along the body")
    thickness_mm: Number = Field(2.5, ge=0.5, le=10)
    wood: WoodName = "sugar_maple"
    grain_deg: Angle = Field(90.0, description="from the centre line")


class PatchTable(Table):
    """Thin wood on the inside of a plate: a ring around the soundhole, or a strip from one point to another."""

    name: Text
    plate: Literal["top", "back"]
    thickness_mm: Number = Field(ge=0.2, le=8)
    wood: WoodName = "sitka_spruce"
    grain_deg: Angle = Field(90.0, description="from the centre line")
    around_soundhole_mm: Number | None = Field(
        None, ge=3, le=80, description="width of a ring; or from_mm, to_mm, width_mm"
    )
    from_mm: Point | None = Field(None, description="middle of a strip's end [from the tail, from the centre line]")
    to_mm: Point | None = Field(None, description="middle of its other end")
    width_mm: Number | None = Field(None, ge=3, le=120, description="of a strip")


class LiningTable(Table):
    """Lining between the sides and one plate."""

    kind: LiningKind = "kerfed"
    width_mm: Filled = Field(LEFT_OUT, ge=1, le=30, description="inward; default 6, or the laminations together")
    height_mm: Number = Field(15.0, ge=2, le=60)
    wood: WoodName = "honduras_mahogany"
    kerf_spacing_mm: Number = Field(8.0, ge=1.5, le=60)
    kerf_width_mm: Number = Field(1.0, ge=0.2, le=5)
    web_mm: Number = Field(1.2, ge=0.2, le=10, description="wood left under the saw cut")
    laminations: Count = Field(3, ge=1, le=12)
    lamination_thickness_mm: Number = Field(2.0, ge=0.3, le=10, description="with its glue")
    glue_line_mm: Number | None = Field(None, ge=0.01, le=1, description="glue behind each lamination; default: none")
    glue_shear_GPa: Number = Field(0.4, ge=0.001, le=5, description="shear modulus of that glue")
    bevel_width_mm: Number | None = Field(None, ge=0.5, le=30, description="left at the free edge; default: no bevel")
    bevel_height_mm: Number | None = Field(None, ge=1, le=60, description="of the bevel; default: the whole height")


class JointTable(Table):
    """Joint of a plate to the rim: rebate and binding, loss."""

    rebate_width_mm: Filled = Field(
        LEFT_OUT, ge=0, le=20, description="inward from the side's outer face, 0: no rebate; default: 1.5 or less"
    )
    rebate_height_mm: Filled = Field(
        LEFT_OUT, ge=0, le=40, description="down from the plate's outer face; default: 6 or less"
    )
    binding_wood: BindingName = Field("sugar_maple", description="what fills the rebate, or 'none': left open")
    loss_factor: Number = Field(0.02, ge=0, le=0.5, description="of the joint (1/Q); hardly measured, 0.005 to 0.1")


class BlockTable(Table):
    """Neck block or tail block; 'grain' is the direction of the fibres."""

    width_mm: Number = Field(80.0, ge=10, le=250, description="across the body")
    thickness_mm: Number = Field(20.0, ge=3, le=150, description="along the body")
    height_mm: Filled = Field(LEFT_OUT, ge=10, le=200, description="default: the side's full height")
    wood: WoodName = "honduras_mahogany"
    grain: BlockGrain = "toward_top"


class NeckBlockTable(BlockTable):
    """Neck block."""

    thickness_mm: Number = Field(45.0, ge=3, le=150, description="along the body")
    cut_width_mm: Number | None = Field(
        None, ge=2, le=120, description="mean width of a mortise or dovetail for the neck; default: no cut"
    )
    cut_depth_mm: Number | None = Field(None, ge=1, le=100, description="of that cut, along the body")
    cut_height_mm: Number | None = Field(
        None, ge=5, le=200, description="of that cut, from the top down; default: the heel's depth"
    )


class TailBlockTable(BlockTable):
    """Tail block."""

    hole_mm: Number | None = Field(None, ge=1, le=40, description="diameter of a hole for an end pin; default: no hole")


class SideBarsTable(Table):
    """Upright bars on both sides, across the side's grain."""

    places_mm: list[Annotated[Number, Field(ge=5, le=640)]] = Field([], description="distances from the tail")
    width_mm: Number = Field(10.0, ge=1, le=60, description="along the rim")
    thickness_mm: Number = Field(2.5, ge=0.5, le=15, description="inward")
    wood: WoodName = "sitka_spruce"


class NeckTable(Table):
    """Neck from the body to the nut, and headstock."""

    included: YesNo = True
    length_mm: Filled = Field(LEFT_OUT, ge=150, le=600, description="body to nut; default: frets_to_body of the scale")
    frets_to_body: Count | None = Field(None, ge=8, le=20, description="fret at the body's edge; default: 14")
    width_mm: Number = Field(50.0, ge=30, le=80, description="at the body")
    nut_width_mm: Number | None = Field(None, ge=30, le=80, description="at the nut; default: as at the body")
    thickness_mm: Number = Field(16.0, ge=8, le=35, description="at the body, without the fingerboard")
    nut_thickness_mm: Number | None = Field(
        None, ge=8, le=35, description="at the nut, without the fingerboard; default: as at the body"
    )
    rod: Literal["none", "bar", "round"] = Field("none", description="that stiffens the shaft, from body to nut")
    rod_width_mm: Number = Field(6.0, ge=1, le=20, description="of a round one the diameter")
    rod_height_mm: Number = Field(9.0, ge=1, le=20, description="of a bar")
    rod_depth_mm: Number = Field(0.0, ge=0, le=20, description="of its upper face below the fingerboard's underside")
    rod_glued: YesNo = Field(False, description="false: it slides in its slot and bends alone; true: a bar glued in")
    rod_E_GPa: Number = Field(200.0, ge=1, le=500, description="Young's modulus; default: steel")
    rod_density: Number = Field(7850.0, ge=500, le=20000, description="kg/m3; default: steel")
    wood: WoodName = "honduras_mahogany"
    fingerboard_thickness_mm: Number = Field(6.0, ge=1, le=12)
    fingerboard_wood: WoodName = "indian_rosewood"
    head_length_mm: Number = Field(180.0, ge=20, le=300)
    head_mass_g: Number = Field(350.0, ge=10, le=1500, description="headstock with tuners")
    heel_depth_mm: Filled = Field(
        LEFT_OUT,
        ge=0,
        le=200,
        description="from the top's edge down the side, 0: no heel; default: the side's full height",
    )
    heel_length_mm: Number = Field(35.0, ge=5, le=120, description="along the neck, where it meets the body")
    tongue_mm: Filled = Field(
        LEFT_OUT, ge=0, le=250, description="fingerboard glued to the top; default: 20 frets, short of the soundhole"
    )


Loss = Annotated[Number, Field(ge=0, le=0.5)]
Drag = Annotated[Number, Field(ge=0, le=20)]


class StringTable(Table):
    """One string of the maker's own; what is left out is that of the same string of `set`."""

    name: Text | None = Field(None, description="such as E2")
    gauge_mm: Number | None = Field(None, ge=0.1, le=3, description="diameter")
    unit_mass_g_m: Number | None = Field(None, ge=0.05, le=50)
    unit_weight_lb_per_inch: Number | None = Field(None, ge=3e-6, le=3e-3, description="as in tables of string makers")
    tension_N: Number | None = Field(None, ge=5, le=400)
    tension_lb: Number | None = Field(None, ge=1, le=90)
    pitch_Hz: Number | None = Field(None, ge=20, le=1500, description="of the open string, in place of the tension")
    stiffness_N_mm2: Number | None = Field(None, ge=0, le=1e5, description="bending stiffness EI of the core")
    core_mm: Number | None = Field(None, ge=0.05, le=2, description="core's diameter, in place of the stiffness")
    core_GPa: Number | None = Field(None, ge=0.5, le=250, description="core's Young's modulus; default: music wire")
    loss_friction: Loss | None = Field(None, description="loss factor of the stretched string, all frequencies alike")
    loss_friction_range: tuple[Loss, Loss] | None = Field(None, description="its lowest and highest likely value")
    loss_air_per_s: Drag | None = Field(
        None, description="loss factor times angular frequency, in place of the drag computed from gauge_mm"
    )
    loss_air_per_s_range: tuple[Drag, Drag] | None = None
    loss_bending: Loss | None = Field(None, description="loss factor of the core's bending")
    loss_bending_range: tuple[Loss, Loss] | None = None


class StringsTable(Table):
    """Strings, lowest string first: a set by name, or a table of the maker's own; and the pluck."""

    scale_length_mm: Number = Field(645.0, ge=400, le=900)
    set: Text | None = Field(None, description="a built-in set: steel, nylon")
    gauge_mm: list[Annotated[Number, Field(ge=0.1, le=3)]] = Field([], description="diameters")
    unit_mass_g_m: list[Annotated[Number, Field(ge=0.05, le=50)]] = []
    tension_N: list[Annotated[Number, Field(ge=5, le=400)]] = []
    string: list[StringTable] = Field([], description="the maker's own strings, one table each")
    pluck_place_mm: Number | None = Field(None, ge=5, le=400, description="from the saddle; default 130")
    pluck_width_mm: Number | None = Field(None, ge=0.1, le=40, description="of finger or plectrum; default 5")
    pluck_angle_deg: Number | None = Field(
        None, ge=0, le=90, description="0: away from the top, 90: along it; default 45"
    )
    pluck_force_N: Number | None = Field(None, ge=0.05, le=30, description="pull when it is let go; default 2")


class WeatherTable(Table):
    """Air in which the box was glued up and is used."""

    built_at_humidity_percent: Number | None = Field(None, ge=5, le=95, description="relative humidity at glue-up")
    used_at_humidity_percent: list[Annotated[Number, Field(ge=5, le=95)]] = Field(
        [], description="relative humidities in use"
    )
    rim_gap_mm: Number | None = Field(None, ge=0, le=10, description="how far the rim was from flat at glue-up")


class WoodTable(Table):
    """A wood of the maker's own, or single values of a library wood that this sheet overrides."""

    E_along_GPa: Number | None = Field(None, ge=0.05, le=400, description="Young's modulus along the grain")
    E_across_GPa: Number | None = Field(None, ge=0.005, le=400, description="across the grain, in the plate")
    nu_along_across: Number | None = Field(None, gt=-1, lt=2, description="contraction across, load along the grain")
    E_normal_GPa: Number | None = Field(None, ge=0.005, le=400, description="through the plate; solid models only")
    nu_along_normal: Number | None = Field(None, gt=-1, lt=2, description="contraction through, load along the grain")
    nu_across_normal: Number | None = Field(None, gt=-1, lt=2, description="contraction through, load across it")
    G_in_plane_GPa: Number | None = Field(None, ge=0.005, le=200)
    G_along_normal_GPa: Number | None = Field(None, ge=0.005, le=200)
    G_across_normal_GPa: Number | None = Field(None, ge=0.001, le=200)
    density_kg_m3: Number | None = Field(None, ge=50, le=9000)
    loss_along: Number | None = Field(None, ge=0, le=0.5, description="loss factor (1/Q)")
    loss_across: Number | None = Field(None, ge=0, le=0.5)
    loss_shear: Number | None = Field(None, ge=0, le=0.5)
    source: Words | None = Field(None, description="where the values come from")


class Sheet(Table):
    """A maker's build sheet."""

    sheet_version: Annotated[Literal[1], Field(description="version of the sheet's keys")] = SHEET_VERSION
    name: Text = "unnamed"
    body: Shape
    heights: Heights
    soundhole: Hole
    side_port: list[SidePortTable] = []
    top: TopTable = TopTable()
    back: BackTable = BackTable()
    sides: SidesTable = SidesTable()
    brace: list[BraceTable] = []
    bracing: list[BracingTable] = []
    patch: list[PatchTable] = []
    bridge: BridgeTable = BridgeTable()
    bridge_plate: BridgePlateTable = BridgePlateTable()
    lining_top: LiningTable = LiningTable()
    lining_back: LiningTable = LiningTable()
    joint_top: JointTable = JointTable()
    joint_back: JointTable = JointTable()
    neck_block: NeckBlockTable = NeckBlockTable()
    tail_block: TailBlockTable = TailBlockTable()
    side_bars: SideBarsTable = SideBarsTable()
    neck: NeckTable = NeckTable()
    strings: StringsTable = StringsTable()
    weather: WeatherTable = WeatherTable()
    measured: MeasuredTable = MeasuredTable()
    wood: dict[Text, WoodTable] = {}
