"""The strings of a build sheet: a built-in set by name, or tables of the maker's own; how they are plucked."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.strings import Pluck
from meshes.body import Assumption, Body, Strings
from meshes.sheet_errors import TomlTable
from meshes.sheet_fields import StringsTable
from meshes.string_sets import StringSet, read_set, string_set

DEFAULT_SET = "steel"
OWN = "own"
COMMON = "common practice, no source"
BORROWED = "assumed: as in the set '{}'"
WIRE_GPA = 203.0  # music wire, 200 to 210: from memory
COMPENSATION = 0.008  # m between scale length and nut to saddle that needs no warning: the saddle stands back a little
KEYS = {  # {key of the sheet: key of a set of strings}
    "gauge_mm": "gauge_mm",
    "unit_mass_g_m": "mass_g_per_m",
    "unit_weight_lb_per_inch": "unit_weight_lb_per_in",
    "tension_N": "tension_N",
    "tension_lb": "tension_lbf",
    "pitch_Hz": "pitch_Hz",
    "stiffness_N_mm2": "stiffness_N_mm2",
    "core_mm": "core_mm",
    "core_GPa": "core_GPa",
    "loss_friction": "loss_friction",
    "loss_air_per_s": "loss_air_per_s",
    "loss_bending": "loss_bending",
}
LOSSES = {
    "loss_friction": "loss_friction",
    "loss_air_per_s": "loss_air",
    "loss_bending": "loss_bending",
}  # key: of String
MASS, TUNING = ("mass_g_per_m", "unit_weight_lb_per_in"), ("tension_N", "tension_lbf", "pitch_Hz")


def own_set(table: StringsTable) -> StringSet | None:
    """StringSet of the sheet's own [[strings.string]] tables, lowest first; None where there are none.

    table: sheet_fields.StringsTable. What a string leaves out is that of the string in the same place of the set named
    (DEFAULT_SET if none is), and listed as assumed. ValueError names the string and what was expected.
    """
    if not table.string:
        return None
    given = [
        {KEYS[k]: v for k, v in entry.model_dump(include=set(KEYS)).items() if v is not None} for entry in table.string
    ]
    for raw, entry, number in zip(given, table.string, range(1, 100)):
        for key in LOSSES:
            if (ends := getattr(entry, f"{key}_range")) is not None:
                if key not in raw:
                    raise ValueError(f"string {number}: {key}_range without {key}; expected both")
                raw[key] = [raw[key], "maker's own value", *ends]
        raw["name"] = entry.name or f"string {number}"
    return _filled(given, table.set or DEFAULT_SET, table.scale_length_mm / 1e3)


def _filled(given: Sequence[TomlTable], name: str, scale: float) -> StringSet:
    """StringSet of raw strings (list of dict, keys as in string_sets.toml); what they lack is the set's of that name."""
    lender = string_set(name, scale)
    source = BORROWED.format(name)
    for i, raw in enumerate(given):
        same = len(given) == len(lender.strings)
        if not same and not any(k in raw for k in MASS):
            raise ValueError(
                f"{raw['name']}: no unit mass; expected unit_mass_g_m, for {len(given)} strings are not as many as the "
                f"{len(lender.strings)} of the set '{name}', from which it could be borrowed"
            )
        k = i if same else _nearest(raw, lender)
        s, low, high = lender.strings[k], lender.least_loss[k], lender.most_loss[k]
        if not any(key in raw for key in MASS):
            raw["mass_g_per_m"] = [1e3 * s.mass, source]
        if same and not any(key in raw for key in TUNING):
            raw["pitch_Hz"] = [float(np.sqrt(s.tension / s.mass) / (2 * s.length)), source]
        if "core_mm" in raw and "core_GPa" not in raw:
            raw["core_GPa"] = [WIRE_GPA, "assumed: music wire, from memory"]
        if same and "stiffness_N_mm2" not in raw and "core_mm" not in raw:
            raw["stiffness_N_mm2"] = [1e6 * s.bending_stiffness, source]
        if s.diameter and "loss_air_per_s" not in raw:
            raw.setdefault("gauge_mm", [1e3 * s.diameter, source])
        for key, name_there in LOSSES.items():
            if key not in raw and not (s.diameter and key == "loss_air_per_s"):
                raw[key] = [getattr(s, name_there), source, getattr(low, name_there), getattr(high, name_there)]
    return read_set({"title": OWN, "scale_mm": 1e3 * scale, "string": given}, OWN)


def _nearest(raw: TomlTable, lender: StringSet) -> int:
    """Index of the set's string of the nearest unit mass."""
    mass = raw.get("mass_g_per_m", 0.0) / 1e3 or raw["unit_weight_lb_per_in"] * 0.45359237 / 0.0254
    return int(np.argmin([abs(np.log(s.mass / mass)) for s in lender.strings]))


@dataclass(frozen=True)
class Strung:
    """The strings of a body as they are plucked, and all that the sheet does not say of either."""

    strings: StringSet
    pluck: Pluck
    assumed: tuple[Assumption, ...]


def strung(body: Body, name: str | None = None) -> Strung:
    """Strung of a Body; name: a built-in set in place of the sheet's. ValueError as strings_of."""
    strings, assumed = strings_of(body, name)
    return Strung(strings, pluck_of(body), assumed + pluck_assumed(body))


def strings_of(body: Body, name: str | None = None) -> tuple[StringSet, tuple[Assumption, ...]]:
    """(StringSet of a Body on its scale, Assumptions); name: a built-in set in place of the sheet's.

    ValueError for an unknown set, or where the sheet's lists do not suffice.
    """
    given = body.strings
    scale = given.scale_length if given else None
    if name is not None:
        return string_set(name, scale), ()
    if given is None:
        return string_set(DEFAULT_SET), (Assumption("strings.set", DEFAULT_SET, "the sheet says nothing of strings"),)
    if given.own is not None:
        return given.own, ()
    base = given.set_name or DEFAULT_SET
    if given.unit_mass or given.tension:
        return _from_lists(given, base), (
            Assumption("strings, stiffness and losses", f"as in the set '{base}'", "assumed"),
        )
    assumed = () if given.set_name else (Assumption("strings.set", f"'{base}'", "the sheet names no set: " + COMMON),)
    return string_set(base, scale), assumed


def _from_lists(given: Strings, base: str) -> StringSet:
    """StringSet of the sheet's lists of unit masses and tensions, the rest from a set."""
    count = max(len(given.unit_mass), len(given.tension))
    lender = string_set(base, given.scale_length)
    if count != len(lender.strings):
        raise ValueError(
            f"strings: lists of {count} strings, but the set '{base}', which lends stiffness and losses, has "
            f"{len(lender.strings)}; expected one table [[strings.string]] for each string instead of the lists"
        )
    raw: list[TomlTable] = [{"name": s.name} for s in lender.strings]
    for item, mass in zip(raw, given.unit_mass):
        item["mass_g_per_m"] = 1e3 * mass
    for item, gauge in zip(raw, given.gauge):
        item["gauge_mm"] = 1e3 * gauge
    for item, tension in zip(raw, given.tension):
        item["tension_N"] = tension
    return _filled(raw, base, given.scale_length)


def pluck_given(table: StringsTable) -> tuple[float | None, ...]:
    """(place [m], width [m], angle [rad], force [N]) of a sheet_fields.StringsTable, None where it does not say."""
    units = {"pluck_place_mm": 1e-3, "pluck_width_mm": 1e-3, "pluck_angle_deg": np.pi / 180, "pluck_force_N": 1.0}
    return tuple(None if (v := getattr(table, key)) is None else v * unit for key, unit in units.items())


def pluck_of(body: Body) -> Pluck:
    """Pluck of a Body; what the sheet does not say is fem.strings.Pluck's own."""
    said = (
        {}
        if body.strings is None
        else {k: v for k, v in zip(("distance", "width", "angle", "force"), body.strings.pluck) if v is not None}
    )
    return replace(Pluck(), **said)


def pluck_assumed(body: Body) -> tuple[Assumption, ...]:
    """Assumptions (tuple) of what the sheet does not say of the pluck."""
    p = Pluck()
    words = (
        ("pluck_place_mm", f"{1e3 * p.distance:g} mm from the saddle"),
        ("pluck_width_mm", f"{1e3 * p.width:g} mm"),
        ("pluck_angle_deg", f"{np.degrees(p.angle):g} degrees between straight up and along the top"),
        ("pluck_force_N", f"{p.force:g} N; no decay time depends on it"),
    )
    said = (None,) * 4 if body.strings is None else body.strings.pluck
    return tuple(Assumption(f"strings.{k}", v, COMMON) for (k, v), s in zip(words, said) if s is None)


def warnings(body: Body) -> tuple[str, ...]:
    """(tuple of str) where nut, saddle and scale length do not agree."""
    if body.neck is None or body.strings is None:
        return ()
    apart = body.outline.length + body.neck.length - body.bridge.saddle_x
    scale = body.strings.scale_length
    if abs(apart - scale) <= COMPENSATION:
        return ()
    return (
        f"strings.scale_length_mm = {1e3 * scale:.0f}, but nut and saddle are {1e3 * apart:.0f} mm apart (body.length_mm, "
        f"neck.length_mm, bridge.saddle_mm); {_mend(body, scale)}. As it stands the strings "
        f"are computed {1e3 * scale:.0f} mm long",
    )


def _mend(body: Body, scale: float) -> str:
    """What to change where nut and saddle do not lie a scale length [m] apart."""
    assert body.neck is not None
    place = body.outline.length + body.neck.length - scale
    bridge = body.bridge
    also = ""
    if abs(place - bridge.centre[0]) > bridge.width / 2:
        also = f" and bridge.place_mm = {1e3 * (place - bridge.saddle_x + bridge.centre[0]):.0f}"
    return f"set bridge.saddle_mm = {1e3 * place:.0f}{also} for a {1e3 * scale:.0f} mm scale, or mend the body or neck length"
