"""What differs between two bodies, a line a part, in the maker's words and units: 'cross bass: height 15 -> 13 mm'."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from fem.bar_forms import Form
from fem.materials import Wood
from meshes.body import Body, Surface
from meshes.outline import Outline, waist_of
from studies.common.words import minus, percent_change

ARROW, NONE = "->", "none"
TOLD_APART = {"name", "assumed", "warnings", "measured", "outline", "top_surface", "back_surface"}  # not walked through
DIGITS = 6  # figures beyond are round-off of inches
IN_WORDS = {  # what a name says otherwise
    "arc": "place along the rim", "x": "place", "saddle_x": "saddle's place", "at_start": "first end", "at_end": "second end",
    "thickness_map": "map of thickness", "centre": "place", "start": "from", "end": "to", "rod": "truss rod", "own": "own strings",
    "set_name": "string set", "weather": "air", "heights": "heights", "form": "section", "loss": "loss factor", "hole": "hole's diameter",
    "ring": "width around the soundhole", "web": "wood left under the kerf", "cap": "cap, of its height", "back_deepest": "deepest place of the back", "at_nut": "at the nut",
}  # fmt: skip
LEFT_OUT = {"slender", "arc"}  # that others say already
ANGLES, SHARES, NUMBERS = (
    {"grain_angle"},
    {"cap", "top"},
    {"laminations", "loss", "loss_friction", "loss_bending", "nu_LR", "nu_LT", "nu_RT"},
)
OTHER_UNITS = {  # {name: (times SI, unit)}; what is not listed is a length
    "modulus": (1e-9, "GPa"), "glue_shear": (1e-9, "GPa"), "density": (1.0, "kg/m³"), "head_mass": (1e3, "g"), "tension": (1.0, "N"),
    "unit_mass": (1e3, "g/m"), "built_at_humidity": (1.0, "%"), "used_at_humidity": (1.0, "%"), "stiffness": (1.0, "N/m²"), "mass": (1e3, "g"),
    "loss_air": (1.0, "1/s"), "force": (1.0, "N"),
}  # fmt: skip
CONSTANTS = ("E_L", "E_R", "G_LR", "G_LT", "G_RT", "density", "loss_L", "loss_R", "loss_G")  # of a wood, told as ratios
LISTS = ("braces", "patches", "side_bars", "side_ports", "sides")  # of parts, paired by name or by place


def differences(a: Body, b: Body) -> list[str]:
    """Lines, one for each part that differs from a to b, or several that differ alike; empty where the two are built alike."""
    found = [*_outlines(a.outline, b.outline)]
    for plate in ("top", "back"):
        found += _domes(plate, getattr(a, f"{plate}_surface"), getattr(b, f"{plate}_surface"))
    for field in fields(Body):
        name = field.name
        if name == "heights":
            found += _heights(a, b)
        elif name not in TOLD_APART:
            found += _walk((_plain(name),), name, getattr(a, name), getattr(b, name))
    parts: dict[str, list[str]] = {}
    for (part, *inner), change in found:
        parts.setdefault(part, []).append(" ".join([*inner, change]))
    alike: dict[str, list[str]] = {}
    for part, changes in parts.items():
        alike.setdefault("; ".join(changes), []).append(part)
    return [f"{', '.join(names)}: {changes}" for changes, names in alike.items()]


Found = Iterator[tuple[tuple[str, ...], str]]


def _walk(where: tuple[str, ...], name: str, a: Any, b: Any) -> Found:
    """((names of part and measure), 'before -> after') of all that differs between two values of a field."""
    if isinstance(a, Wood) and isinstance(b, Wood):
        yield from _woods(where, a, b)
    elif name in LISTS:
        yield from _lists(where, name, a, b)
    elif is_dataclass(a) and is_dataclass(b):
        for field in fields(a):
            if field.compare and field.name not in LEFT_OUT:
                inner = getattr(a, field.name), getattr(b, field.name, None)
                words = "top, of its width" if isinstance(a, Form) and field.name == "top" else _plain(field.name)
                yield from _walk((*where, words), field.name, *inner)
    elif is_dataclass(a) or is_dataclass(b):
        if a is None or b is None:
            yield where, f"{NONE if a is None else 'there'} {ARROW} {NONE if b is None else 'there'}"
    elif not _same(a, b):
        yield where, _change(name, a, b)


def _same(a, b):
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        return np.array_equal(np.asarray(a), np.asarray(b))
    if isinstance(a, float) and isinstance(b, float):
        return bool(np.isclose(a, b, rtol=10.0**-DIGITS, atol=1e-12))
    if isinstance(a, (list, tuple)) and isinstance(b, (list, tuple)):
        return len(a) == len(b) and all(map(_same, a, b))
    return a == b


def _lists(where, name, a: Sequence[Any], b: Sequence[Any]):
    """Parts that both have, then those that only one has."""
    mine, its = _named(name, a), _named(name, b)
    for key in [*mine, *(k for k in its if k not in mine)]:
        if key in mine and key in its:
            yield from _walk((key,), "", mine[key], its[key])
        else:
            yield (key,), "gone" if key in mine else "new"


def _named(name: str, parts: Sequence[Any]) -> Mapping[str, Any]:
    """{what a maker calls it: part}: by its own name, numbered where names repeat, else by its number."""
    single = {"side_bars": "side bar", "side_ports": "side port", "sides": "side, layer"}.get(name, name)
    if name == "sides" and len(parts) == 1:
        return {"side": parts[0]}
    words = [getattr(part, "name", "") or f"{single} {k}" for k, part in enumerate(parts, 1)]
    return {w if words.count(w) == 1 else f"{w} {k}": part for k, (w, part) in enumerate(zip(words, parts), 1)}


def _woods(where, a: Wood, b: Wood):
    """Another wood by its name; the same name with other constants by their ratios."""
    if a.name != b.name:
        yield where, f"{_words(a.name)} {ARROW} {_words(b.name)}"
    elif a != b:
        pairs = [(key, getattr(a, key), getattr(b, key)) for key in CONSTANTS]
        told = [f"{key} {percent_change(new / old)}" for key, old, new in pairs if old and new and not _same(old, new)]
        yield where, f"({_words(a.name)}): {', '.join(told) or 'other constants'}"


def _change(name, a, b):
    if isinstance(a, (list, tuple)) and isinstance(b, (list, tuple)) and max(len(a), len(b)) > 2:
        told = [f"{len(values)} places" if values else NONE for values in (a, b)]
        return f"{told[0]} {ARROW} {told[1]}" if told[0] != told[1] else "changed"
    unit = _unit(name)[1]
    told = [NONE if v is None or (isinstance(v, tuple) and not v) else _value(name, v) for v in (a, b)]
    units = ["" if t == NONE or isinstance(v, (str, bool)) or not unit else f" {unit}" for t, v in zip(told, (a, b))]
    return f"{told[0]}{units[0] if units[1] == '' else ''} {ARROW} {told[1]}{units[1]}"


def _unit(name):
    if name in ANGLES:
        return 180 / np.pi, "degrees"
    if name in SHARES:
        return 100.0, "%"
    if name in NUMBERS:
        return 1.0, ""
    return OTHER_UNITS.get(name, (1e3, "mm"))


def _value(name, value):
    if isinstance(value, (str, bool)):
        return _words(str(value))
    if isinstance(value, int):
        return str(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(name, v) if v is not None else NONE for v in value) + "]"
    return minus(f"{value * _unit(name)[0]:.4g}")


def _plain(name):
    return IN_WORDS.get(name, _words(name))


def _words(name):
    return name.replace("_", " ")


# --- shape ---


def _outlines(a: Outline, b: Outline):
    """Length and widths of two plan shapes, and whether they differ where none of these does."""
    told = False
    for what, of in SHAPE.items():
        x, y = float(of(a)), float(of(b))
        if np.isfinite([x, y]).all() and abs(x - y) > 5e-5:
            told = True
            yield ("body", what), f"{1e3 * x:.4g} {ARROW} {1e3 * y:.4g} mm"
    if not told and (a.points.shape != b.points.shape or not np.allclose(a.points, b.points, atol=5e-5)):
        yield ("body", "plan shape"), f"another curve, {1e4 * a.area:.0f} {ARROW} {1e4 * b.area:.0f} cm²"


def _at_waist(outline: Outline, which: int) -> float:
    found = waist_of(outline)
    return float("nan") if found is None else (found[0], 2 * found[1])[which]


SHAPE: dict[str, Callable[[Outline], float]] = {
    "length": lambda o: o.length,
    "greatest width": lambda o: np.ptp(o.points[:, 1]),
    "place of it": lambda o: o.points[np.argmax(o.points[:, 1]), 0],
    "waist's width": lambda o: _at_waist(o, 1),
    "waist's place": lambda o: _at_waist(o, 0),
}


def _domes(plate: str, a: Surface, b: Surface):
    """Radii of a plate's dome."""
    for way, words in (("along", "radius along"), ("across", "radius across")):
        x, y = (abs(getattr(s, way)) for s in (a, b))
        if not np.isclose(x, y, rtol=1e-6, atol=1e-9):
            radius = lambda c: "flat" if c < 1e-9 else f"{1e3 / c:.4g} mm"
            yield (plate, words), f"{radius(x)} {ARROW} {radius(y)}"


def _heights(a: Body, b: Body):
    """Heights of the side, as the makers give them."""
    mine, its = ({place: height for place, _, _, height in body.heights} for body in (a, b))
    for place in dict.fromkeys([*mine, *its]):
        x, y = mine.get(place), its.get(place)
        if x is None or y is None or not _same(x, y):
            yield ("height of the side", f"at {_words(place)}"), _change("height", x, y)
