"""Sets of strings, built in (string_sets.toml) or a maker's own: mm or inches, grams or pounds in, SI String out."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from fem.materials import lookup
from fem.strings import String
from meshes.sheet_errors import TomlTable, TomlValue

Quantity = tuple[float, str, float, float]  # value in SI units, source, lowest and highest likely value

INCH, POUND, GRAVITY = 0.0254, 0.45359237, 9.80665
# {key of the file: (quantity, factor to SI)}
UNITS = {
    "scale_mm": ("scale", 1e-3),
    "scale_in": ("scale", INCH),
    "gauge_mm": ("gauge", 1e-3),
    "gauge_in": ("gauge", INCH),
    "mass_g_per_m": ("mass", 1e-3),
    "unit_weight_lb_per_in": ("mass", POUND / INCH),
    "tension_N": ("tension", 1.0),
    "tension_lbf": ("tension", POUND * GRAVITY),
    "pitch_Hz": ("pitch", 1.0),
    "stiffness_N_mm2": ("stiffness", 1e-6),
    "core_mm": ("core", 1e-3),
    "core_in": ("core", INCH),
    "core_GPa": ("core_modulus", 1e9),
    "loss_friction": ("loss_friction", 1.0),
    "loss_air_per_s": ("loss_air", 1.0),
    "loss_bending": ("loss_bending", 1.0),
}
LOSSES = ("loss_friction", "loss_air", "loss_bending")
OUT_OF_TUNE = 0.02  # relative: tension against pitch, where both are given


@dataclass(frozen=True)
class StringSet:
    """Strings from the lowest to the highest, and what is known of them."""

    name: str
    title: str
    strings: tuple[String, ...]
    least_loss: tuple[String, ...]  # every loss at the low end of its range
    most_loss: tuple[String, ...]
    sources: dict[str, str]  # {'E2 mass': source}
    assumed: tuple[str, ...]  # values that are assumed or from memory, as plain lines

    @property
    def loss_uncertain(self) -> bool:
        """True if losses are a range: then ratios between builds say more than seconds."""
        return self.least_loss != self.strings or self.most_loss != self.strings


@cache
def _table() -> TomlTable:
    return tomllib.loads(Path(__file__).with_name("string_sets.toml").read_text(encoding="utf-8"))


def set_names() -> tuple[str, ...]:
    """Names of the built-in sets."""
    return tuple(_table()["set"])


def string_set(name: str, scale: float | None = None) -> StringSet:
    """A built-in StringSet; on another scale length [m] the pitch stays and the tension follows."""
    return read_set(lookup(name, _table()["set"], "set of strings"), name, _table()["source"], scale)


def read_set(
    raw: TomlTable, name: str, sources: Mapping[str, str] | None = None, scale: float | None = None
) -> StringSet:
    """StringSet from a table as in string_sets.toml. ValueError names the string, the key and what was expected."""
    where = f"strings '{name}'"
    if not isinstance(raw.get("string"), list) or not raw["string"]:
        raise ValueError(f"{where}: no strings found; expected one table [[string]] for each, lowest first")
    head = _values({k: v for k, v in raw.items() if k not in ("title", "string")}, where, sources or {})
    if set(head) != {"scale"}:
        raise ValueError(f"{where}: expected scale_mm or scale_in, once, beside the strings; found {', '.join(raw)}")
    strings, low, high, assumed = [], [], [], []
    told: dict[str, str] = {}
    for i, item in enumerate(raw["string"], 1):
        label = item.get("name", f"string {i}")
        value = _values({k: v for k, v in item.items() if k != "name"}, f"{where}, {label}", sources or {})
        made = _string(label, value, head["scale"][0], f"{where}, {label}")
        if scale is not None:
            made = replace(made, length=scale, tension=made.tension * (scale / made.length) ** 2)
        strings.append(made)
        low.append(_lossy(made, {key: value[key][2] for key in LOSSES if key in value}))
        high.append(_lossy(made, {key: value[key][3] for key in LOSSES if key in value}))
        told |= {f"{label} {key}": v[1] for key, v in value.items()}
        assumed += [f"{label} {key}: {v[1]}" for key, v in value.items() if "assumed" in v[1] or "from memory" in v[1]]
    title = raw.get("title", name)
    return StringSet(name, title, tuple(strings), tuple(low), tuple(high), told, tuple(assumed))


def _lossy(string: String, losses: Mapping[str, float]) -> String:
    """The string with other losses {of LOSSES: value}, 0 where left out."""
    friction, air, bending = (losses.get(key, 0.0) for key in LOSSES)
    return replace(string, loss_friction=friction, loss_air=air, loss_bending=bending)


def _values(raw: TomlTable, where: str, sources: Mapping[str, str]) -> dict[str, Quantity]:
    """{quantity: (SI value, source, low, high)} from a table of keys with units."""
    values = {}
    for key, item in raw.items():
        try:
            quantity, unit = lookup(key, UNITS, "key")
        except ValueError as problem:
            raise ValueError(f"{where}: {problem}") from None
        if quantity in values:
            raise ValueError(f"{where}: {key} gives the {quantity} a second time; expected it once, in one unit")
        number, source, low, high = _item(item, f"{where}: {key}")
        if quantity not in LOSSES and not number > 0:
            raise ValueError(f"{where}: {key} = {number:g}; expected more than 0")
        source = sources.get(source, source)
        values[quantity] = (number * unit, source, low * unit, high * unit)
    return values


def _item(item: TomlValue, where: str) -> Quantity:
    """(number, source, low, high) from a number, [number, source] or [number, source, low, high]."""
    given, item = item, item if isinstance(item, list) else [item, "maker's own value"]
    numbers = [item[0], *item[2:]]
    fine = len(item) in (2, 4) and isinstance(item[1], str)
    if not fine or not all(type(x) in (int, float) and np.isfinite(x) and x >= 0 for x in numbers):
        raise ValueError(
            f"{where} = {given}; expected a number of 0 or more, [number, 'source'] or [number, 'source', low, high]"
        )
    low, high = numbers[1:] or (numbers[0], numbers[0])
    if not low <= numbers[0] <= high:
        raise ValueError(f"{where} = {given}; expected low <= number <= high")
    return numbers[0], item[1], low, high


def _string(label: str, value: Mapping[str, Quantity], scale: float, where: str) -> String:
    """String of a scale length [m]; its tension from the pitch where it is not given."""
    missing = [key for key in ("mass", *LOSSES) if key not in value and (key != "loss_air" or "gauge" not in value)]
    if missing:
        hint = ", or the gauge, from which the drag of the air is computed" if "loss_air" in missing else ""
        raise ValueError(f"{where}: no {' and no '.join(missing)}; expected a value for each{hint}")
    if "tension" not in value and "pitch" not in value:
        raise ValueError(f"{where}: expected tension_N, tension_lbf or pitch_Hz; found none of them")
    mass = value["mass"][0]
    tuned = mass * (2 * scale * value["pitch"][0]) ** 2 if "pitch" in value else value["tension"][0]
    tension = value["tension"][0] if "tension" in value else tuned
    if abs(tension / tuned - 1) > OUT_OF_TUNE:
        raise ValueError(
            f"{where}: {tension:.1f} N does not tune {mass * 1000:.3g} g/m to {value['pitch'][0]:.1f} Hz on "
            f"{scale * 1000:.0f} mm; expected {tuned:.1f} N, or leave one of the two out"
        )
    if "stiffness" in value:
        stiffness = value["stiffness"][0]
    elif "core" in value and "core_modulus" in value:
        stiffness = value["core_modulus"][0] * np.pi * value["core"][0] ** 4 / 64
    else:
        raise ValueError(f"{where}: expected stiffness_N_mm2, or core_mm (core_in) with core_GPa")
    losses = {key: value[key][0] for key in LOSSES if key in value}
    diameter = 0.0 if "loss_air" in value else value["gauge"][0]
    return String(label, scale, tension, mass, float(stiffness), **losses, diameter=diameter)
