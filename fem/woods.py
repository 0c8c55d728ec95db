"""The library of woods: reads woods.toml, fills gaps by named rules only, and says which values were so filled.

Handbook ratios are to E_L; E_L is 1.10 x the printed static MOE, which has shear in it (Wood Handbook FPL-GTR-282,
ch. 5); never add it to a modulus from a dynamic plate test. A quarter-sawn board: L, R in the plane, T through it.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, overload

import numpy as np

from fem.materials import Wood, lookup
from fem.plywood import Ply, homogenised, rotary_cut

SHEAR_IN_MOE = 1.10  # E_L / MOE, Wood Handbook FPL-GTR-282, ch. 5
# volume from FIBRE_SATURATION to dry over the green specific gravity, Wood Handbook, ch. 4 (from memory)
SHRINKAGE = 0.265
FIBRE_SATURATION = 30.0  # % moisture at which shrinkage begins, Wood Handbook, ch. 4 (from memory)
RATIOS = ("E_R", "E_T", "G_LR", "G_LT", "G_RT")  # printed as ratios to E_L
POISSON = ("nu_LR", "nu_LT", "nu_RT")
LOSSES = ("loss_L", "loss_R", "loss_G")
NEEDED = ("density", "E_L", *RATIOS, *POISSON)
DRAWN = 5  # normal draws that make another board, see scattered


@dataclass(frozen=True)
class Value:
    """A number in SI units, its source in words, and its range where one is known."""

    number: float
    source: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Entry:
    """One wood of the file as printed, before any gap is filled.

    values: {a constant of Wood, 'E_R/E_L' and so on, MOE, MOE_green, specific_gravity, specific_gravity_green,
    intersection_percent, moisture_percent, loss_L_over_trend, loss_L_measured: Value}. fill: names of the rules that may fill its gaps.
    """

    name: str
    title: str
    values: dict[str, Value]
    fill: tuple[str, ...] = ()
    note: str = ""

    @overload
    def number(self, key: str, default: float) -> float: ...

    @overload
    def number(self, key: str, default: None = None) -> float | None: ...

    def number(self, key: str, default: float | None = None) -> float | None:
        return self.values[key].number if key in self.values else default


@cache
def read_table() -> dict[str, Any]:
    """The parsed woods.toml."""
    return tomllib.loads(Path(__file__).with_name("woods.toml").read_text(encoding="utf-8"))


@cache
def entry(name: str) -> Entry:
    """The printed values of one wood as an Entry; ValueError with the nearest name for an unknown wood."""
    raw = lookup(name, read_table()["wood"], "wood")
    values = {
        _constant(key): _value(key, item) for key, item in raw.items() if isinstance(item, list) and key != "fill"
    }
    return Entry(name, raw["title"], values, tuple(raw.get("fill", ())), raw.get("note", ""))


def _constant(key: str) -> str:
    """Key of the file -> name of the constant: E_R is printed as a ratio, E_R_GPa as itself."""
    return f"{key}/E_L" if key in RATIOS else key.removesuffix("_GPa").removesuffix("_kg_m3")


def _value(key: str, item: Sequence[Any]) -> Value:
    """Value from [number, source] or [number, source, low, high]."""
    number, source, *limits = item
    unit = 1e9 if key.endswith("_GPa") else 1
    return Value(float(number) * unit, read_table()["source"].get(source, source), *(x * unit for x in limits))


def to_wood(entry: Entry) -> Wood:
    """Wood from an Entry: the handbook's conversions, then the entry's own rules for what is missing.

    Raises ValueError that says which constants are missing and filled by no rule.
    """
    known = constants(entry)
    missing = [key for key in NEEDED if key not in known]
    if missing:
        raise ValueError(
            f"wood '{entry.name}' ({entry.title}) is incomplete: no value for {', '.join(missing)}, and no rule that "
            f"would fill it; known: {', '.join(known) or 'nothing'}. Measure a plate of it, or choose another wood"
        )
    numbers = {key: known[key].number for key in (*NEEDED, *LOSSES) if key in known}
    return Wood(entry.name, **numbers, sources={key: known[key].source for key in numbers})


def constants(entry: Entry) -> dict[str, Value]:
    """{constant of Wood: Value} of all that is printed, derived, or filled by the entry's rules."""
    v = entry.values
    known = {key: value for key, value in v.items() if key in (*NEEDED, *LOSSES)}
    if "MOE" in v:
        known.setdefault("E_L", Value(SHEAR_IN_MOE * v["MOE"].number, f"{v['MOE'].source}; MOE + 10 % for its shear"))
    for key in RATIOS:
        if f"{key}/E_L" in v and "E_L" in known:
            ratio = v[f"{key}/E_L"]
            known.setdefault(key, Value(ratio.number * known["E_L"].number, ratio.source))
    density = _density(entry, entry.number("moisture_percent", 12.0))
    if density:
        known.setdefault("density", density)
    for name in entry.fill:
        rule = lookup(name, read_table()["rule"], "rule")
        known = _by_rule(rule, known, v.get("loss_L_over_trend")) | known
    return known


def _density(entry: Entry, percent: float) -> Value | None:
    """Density [kg/m3] at a moisture content from the specific gravity; None without one. Wood Handbook, ch. 4.

    Volume shrinks by SHRINKAGE G_green from 30 % moisture to dry, in proportion, or by what the entry says.
    """
    v = entry.values
    by_volume = v["shrinkage_volumetric"].number / 100 if "shrinkage_volumetric" in v else None
    below = lambda m: 1 - min(m, FIBRE_SATURATION) / FIBRE_SATURATION
    if "specific_gravity" in v:
        G_12, source = v["specific_gravity"].number, v["specific_gravity"].source
        green = G_12 / (1 + SHRINKAGE * below(12) * G_12) if by_volume is None else G_12 * (1 - by_volume * below(12))
    elif "specific_gravity_green" in v:
        rule = "green specific gravity and mean shrinkage, Wood Handbook ch. 4, from memory"
        if by_volume is not None:
            rule = f"green specific gravity and shrinkage {100 * by_volume:g} %"
        green, source = v["specific_gravity_green"].number, f"estimated: {rule}; {v['specific_gravity_green'].source}"
    else:
        return None
    shrunk = below(percent) * (SHRINKAGE * green if by_volume is None else by_volume)
    return Value(1000 * green / (1 - shrunk) * (1 + percent / 100), f"{source}; at {percent:g} %")


def _by_rule(rule: Mapping[str, Any], known: Mapping[str, Value], over_trend: Value | None) -> dict[str, Value]:
    """{constant: Value} that a rule gives a wood of which some constants are known, marked as estimated.

    over_trend: factor on the rule's trend of the loss along the grain, None for 1.
    """
    source = f"estimated: {rule['text']}"
    given = {key: Value(rule[key][0], source, *rule[key][1:]) for key in LOSSES if key in rule}
    E_L = known.get("E_L")
    if "trend_L" in rule and E_L is not None and "density" in known:
        level, power = rule["trend_L"]
        loss = 10**level * (E_L.number / 1e6 / known["density"].number) ** power
        if over_trend is not None:
            loss, source = over_trend.number * loss, f"{source}; times {over_trend.number:g}, {over_trend.source}"
        given["loss_L"] = Value(loss, source, *(end * loss for end in rule["spread_L"]))
    if "mean_of" not in rule or E_L is None:
        return given
    for key in (*RATIOS, *POISSON):
        printed_as, unit = (f"{key}/E_L", E_L.number) if key in RATIOS else (key, 1)
        printed = [e.values[printed_as].number for e in map(entry, rule["mean_of"]) if printed_as in e.values]
        given[key] = Value(float(np.mean(printed)) * unit, source)
    return given


def at_moisture(entry: Entry, percent: float) -> Wood:
    """Wood at another moisture content [%], by P = P12 (P12/Pg)^((12 - M)/(Mp - 12)) (Wood Handbook, ch. 5).

    Applied to the modulus along the grain; ratios, Poisson's ratios and losses keep their values at 12 % (said so in
    the sources). Above Mp the green value holds. Raises ValueError where no green value is held.
    """
    if not 0 <= percent <= 200:
        raise ValueError(f"moisture content {percent} %; expected 0 to 200 % of the dry weight")
    wood, P12, Pg = to_wood(entry), entry.number("MOE"), entry.number("MOE_green")
    if P12 is None or Pg is None:
        raise ValueError(f"wood '{entry.name}': no green modulus is held, so it is known at 12 % moisture only")
    Mp = entry.number("intersection_percent", 25.0)
    factor = (P12 / Pg) ** ((12 - min(percent, Mp)) / (Mp - 12))
    density = _density(entry, percent) if percent != 12 else Value(wood.density, wood.sources["density"])
    assert density is not None
    note = f"; moved to {percent:g} % moisture with MOE green {Pg / 1e9:g} GPa ({entry.values['MOE_green'].source})"
    sources = {key: text + (note if key == "E_L" else "; ratio at 12 %") for key, text in wood.sources.items()}
    stiffness = {key: getattr(wood, key) * factor for key in ("E_L", *RATIOS)}
    return replace(wood, **stiffness, density=density.number, sources=sources | {"density": density.source})


def scattered(wood: Wood, normal: Sequence[float] | np.ndarray) -> Wood:
    """Another board of the species: lognormal scatter, mean kept, of density, stiffness and losses.

    normal (DRAWN,): standard normal draws for density, along, across, shear, losses. Each stiffness is correlated with density
    (table [scatter]); given the density they vary independently (an assumption). The loss along the grain follows the trend
    of rule 'loss' from this board to the drawn one; about that all three losses scatter by one factor.
    """
    table = read_table()["scatter"]
    r = table["correlation"][0]
    z = [normal[0], *(r * normal[0] + np.sqrt(1 - r**2) * normal[i] for i in (1, 2, 3)), normal[4]]
    s = [np.sqrt(np.log1p(table[key][0] ** 2)) for key in ("density", "E_L", "E_R", "G", "loss")]
    density, along, across, shear, loss = (float(np.exp(a * b - a**2 / 2)) for a, b in zip(s, z, strict=True))
    trend = (along / density) ** read_table()["rule"]["loss"]["trend_L"][1]
    factors = {"density": density, "E_L": along, "E_R": across, "E_T": across}
    factors |= dict.fromkeys(("G_LR", "G_LT", "G_RT"), shear)
    factors |= {"loss_L": trend * loss, "loss_R": loss, "loss_G": loss}
    return replace(wood, **{k: getattr(wood, k) * f for k, f in factors.items() if getattr(wood, k) is not None})


def plies(name: str) -> list[Ply]:
    """[(Wood as rotary-cut veneer, share of the thickness, angle)] of a plywood, face to face."""
    raw = lookup(name, read_table()["plywood"], "plywood")
    count = raw.get("pattern", len(raw["plies"]))
    stack = [raw["plies"][i % len(raw["plies"])] for i in range(count)]
    return [(rotary_cut(to_wood(entry(wood))), float(share), angle) for wood, share, angle in stack]


@cache
def library() -> dict[str, Wood]:
    """{name: Wood} of the plywoods and of every wood that is complete, or is completed by its own rules."""
    woods = {}
    for name in read_table()["wood"]:
        if not set(NEEDED) - set(constants(entry(name))):
            woods[name] = to_wood(entry(name))
    for name in read_table()["plywood"]:
        woods[name] = homogenised(name, plies(name), bending=False)
        woods[f"{name}_bending"] = homogenised(f"{name}_bending", plies(name), bending=True)
    return woods


def find(name: str) -> Wood:
    """The Wood of that name; ValueError gives the nearest name, or says what an incomplete wood lacks."""
    if name in read_table()["wood"]:
        return to_wood(entry(name))
    return lookup(name, library(), "wood")


def kin(name: str) -> tuple[str, list[str]]:
    """(what kind of wood a name is, names of the library that come near): by table [kin], or by the last word of the name.

    ('', []) of a name that tells nothing. Common practice, no source.
    """
    words = re.split(r"[\s_-]+", name.strip().lower())
    table, same = read_table()["kin"], [wood for wood in library() if wood.split("_")[-1] == words[-1]]
    if same and words[-1] not in table:
        return f"a kind of {words[-1]}", same
    kind, *near = next((table[word] for word in reversed(words) if word in table), [""])
    return kind, near


def estimated(wood: Wood) -> dict[str, str]:
    """{constant: rule} of the values that no source gives for this wood: every report lists them as assumed."""
    return {key: text for key, text in wood.sources.items() if text.startswith("estimated") or "from memory" in text}
