"""What `rimwork new` writes: a commented minimal build sheet, or one of the whole sheets in starts/ to change."""

from pathlib import Path

STARTS = Path(__file__).with_name("starts")
NEW_SHEET = """\
# Build sheet. Change the measures below to your own; everything else has a default, listed as 'assumed' in each output.
# Lengths are in mm; write a key with _in instead of _mm to give inches. Places are distances from the tail along the
# centre line. 'rimwork check FILE' tells areas, masses and mistakes and draws the instrument.

sheet_version = 1
name = "My guitar"

[body]                          # plan shape; widths are full widths
length_mm = 490
lower_bout_width_mm = 380
lower_bout_place_mm = 138
waist_width_mm = 240
waist_place_mm = 298
upper_bout_width_mm = 284
upper_bout_place_mm = 402
# Instead of all these: half_outline_csv = "half.csv" (first line x_mm,half_width_mm; tail to neck) or
# full_outline_csv = "outline.csv" (first line x_mm,y_mm; once round, for a cutaway).

[heights]                       # of the side, between top and back
neck_block_mm = 95
tail_mm = 112
# waist_mm = 108                # a third height; the back is then fitted to all three
# back_radius_mm = 4500         # doming along the body, or "flat"
# back_radius_across_mm = 4500
# back_deepest_mm = 298         # where you mean the body to be deepest
# top_radius_mm = "flat"

[soundhole]
place_mm = 342                  # its centre
diameter_mm = 98

# ---- everything below may stay out; take the # away to use a line ----

# [top]
# wood = "sitka_spruce"
# thickness_mm = 2.8
# edge_thickness_mm = 2.2       # at the side, of a plate that is thinned toward it; [back] has these three keys too
# edge_width_mm = 60            # over which it comes down to that
# thickness_map_mm = [[100, 0, 2.6], [250, 0, 2.9]]   # [from the tail, from the centre line, thickness]
# grain_deg = 0                 # from the centre line
#
# [back]
# wood = "honduras_mahogany"
# thickness_mm = 2.7
#
# [sides]
# wood = "honduras_mahogany"
# thickness_mm = 2.2
# inner_wood = "honduras_mahogany"   # these two lines make the sides doubled
# inner_thickness_mm = 1.5
#
# [lining_top]                  # and [lining_back]
# kind = "kerfed"               # kerfed, reversed_kerfed, solid_laminated or none
# width_mm = 6
# height_mm = 15
# wood = "honduras_mahogany"
# kerf_spacing_mm = 8
# kerf_width_mm = 1
# web_mm = 1.2                  # wood left under the saw cut
# laminations = 3               # of a solid_laminated lining
# lamination_thickness_mm = 2   # with its glue
# glue_line_mm = 0.1            # glue behind each lamination of a solid lining
# glue_shear_GPa = 0.4
# bevel_width_mm = 3            # left at the free edge; out: not bevelled
# bevel_height_mm = 10
#
# [joint_top]                   # and [joint_back]: the binding's rebate
# rebate_width_mm = 1.5         # inward from the side's outer face; 0: no rebate
# rebate_height_mm = 6          # down from the plate's outer face
# binding_wood = "sugar_maple"  # or "none": the rebate is left open
# loss_factor = 0.02            # hardly measured: 0.005 to 0.1 are possible
#
# [neck_block]                  # and [tail_block]
# width_mm = 80                 # across the body
# thickness_mm = 45             # along the body
# wood = "honduras_mahogany"    # or birch_plywood
# grain = "toward_top"          # toward_top, along_body or across_body
# cut_width_mm = 22             # neck block: mean width of a mortise or dovetail; out: not cut
# cut_depth_mm = 16
# cut_height_mm = 75
#
# [tail_block]
# hole_mm = 12                  # for an end pin; out: no hole
#
# [side_bars]                   # upright, across the grain of the sides
# places_mm = [138, 298]
#
# A hole in a side, one table each; more than one may follow:
# [[side_port]]
# side = "bass"                 # or "treble"
# from_neck_mm = 150            # its centre from the middle of the neck, along the side; or from_tail_mm
# below_top_mm = 48             # its centre below the side's edge at the top
# diameter_mm = 36
#
# [bridge]
# saddle_mm = 202               # place of the saddle line
# length_mm = 160               # across the body
# width_mm = 30
# thickness_mm = 8
# wood = "indian_rosewood"
# mass_g = 28                   # as weighed; left out: a full block of its wood
#
# [bridge_plate]
# included = true
# thickness_mm = 2.5
# wood = "sugar_maple"
# grain_deg = 90
#
# [neck]
# included = true
# frets_to_body = 14            # or length_mm = 358, from the body to the nut
# head_mass_g = 350             # headstock with tuners
# width_mm = 56                 # at the body
# nut_width_mm = 44             # left out: as at the body
# thickness_mm = 18             # at the body, without the fingerboard
# nut_thickness_mm = 15         # left out: as at the body
# rod = "bar"                   # or "round" or "none": steel in the shaft, rod_width_mm, rod_height_mm, rod_glued = true
# heel_depth_mm = 90            # from the top's edge down the side; 0: no heel
# heel_length_mm = 35           # along the neck, where it meets the body
# tongue_mm = 84                # fingerboard glued to the top
#
# [strings]
# scale_length_mm = 645
# set = "steel"                 # or "nylon"
# pluck_place_mm = 130          # from the saddle
# pluck_width_mm = 5            # of finger or plectrum
# pluck_angle_deg = 45          # 0: away from the top, 90: along it
# pluck_force_N = 2
# Strings of your own, one table each, the lowest first; what is left out is that of the same string of the set:
# [[strings.string]]
# name = "E2"
# gauge_mm = 1.35               # or gauge_in = 0.053; the drag of the air is computed from it
# unit_mass_g_m = 10.6          # or unit_weight_lb_per_inch = 5.94e-4
# pitch_Hz = 82.4               # or tension_N, or tension_lb
# core_mm = 0.46                # core of a wound string; of a plain one its gauge
# loss_friction = 4e-4          # loss factors, each with its likely range if you know it
# loss_friction_range = [2e-4, 1e-3]
#
# Braces: one table each; without any, plain bars across the plate are assumed (braced = false under [top] or [back]
# says that there are none). Points are [from the tail, from the centre line], bass side positive.
# Or in a pattern, drawn to the side or between from_mm and to_mm; 'rimwork check' prints the braces that it stands for:
# [[bracing]]
# name = "main cross"
# plate = "top"
# pattern = "cross"             # across (at_mm, count, apart_mm), cross, fan (count, apart_deg, from_mm, to_mm, meet_mm)
# angle_deg = 96                # between the two, open to the tail;   or lattice (at_mm, count, apart_mm, angle_deg)
# below_hole_mm = 25            # from the soundhole's edge to where they cross; or at_mm
# width_mm = 8
# height_mm = 15
#
# [[brace]]
# name = "upper bar"
# plate = "top"                 # or "back"
# from_mm = [410, -140]
# to_mm = [410, 140]
# width_mm = 10
# height_mm = 14
# wood = "sitka_spruce"
# ends = { kind = "let_in", taper_mm = 40, height_mm = 4 }   # stops_short (gap_mm from the side), let_in, or free
# # from_end = { kind = "free" }                             # where one end differs
# section = "gabled"            # or rounded, parabolic; rectangular if left out
# cap_mm = 9                    # height of the sloping or round part
# top_width_mm = 2              # left on top of a gabled one
# height_profile_mm = [[0, 3], [70, 8], [140, 14], [210, 8], [280, 3]]   # [from from_mm, height]: scallops
#
# Thin wood on the inside of a plate: a ring around the soundhole, or a strip (from_mm, to_mm, width_mm).
# [[patch]]
# name = "rosette"
# plate = "top"
# thickness_mm = 1.5
# wood = "sitka_spruce"
# grain_deg = 90
# around_soundhole_mm = 20
#
# A wood of your own, or values of a library wood that you measured:
# [wood.my_spruce]
# E_along_GPa = 11.5
# E_across_GPa = 0.8
# nu_along_across = 0.4
# G_in_plane_GPa = 0.75
# G_along_normal_GPa = 0.75
# G_across_normal_GPa = 0.04
# E_normal_GPa = 0.45           # this and the next two: only for the solid models of lining and joint; may stay out
# nu_along_normal = 0.45
# nu_across_normal = 0.45
# density_kg_m3 = 410
# loss_along = 0.006            # loss factor, 1/Q
# loss_across = 0.02
# loss_shear = 0.02
# source = "my tap test, board 12"
#
# [weather]
# built_at_humidity_percent = 45
# used_at_humidity_percent = [30, 70]
# rim_gap_mm = 0
#
# What you measured on the bench stands beside the computed values in the reports ('rimwork schema' lists every key):
# [measured]
# sides_g = 310
# squeeze_load_kg = 2
# squeeze_waist_mm = 4.5
# top_tap_hz = [98, 172]         # loose top with its braces, before it is glued on
"""


def starts() -> list[str]:
    """Names of the sheets to start from."""
    return sorted(path.stem for path in STARTS.glob("*.toml"))


def new_sheet_text(like: str | None = None) -> str:
    """TOML text of a minimal sheet with every optional key as a comment, or of one of starts()."""
    return NEW_SHEET if like is None else (STARTS / f"{like}.toml").read_text(encoding="utf-8")
