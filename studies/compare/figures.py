"""Figures of sheets side by side, from what was solved: weights, energies, bridge tap, under strings, in dry air."""

from collections.abc import Mapping, Sequence

import numpy as np

from meshes.parts import RIM
from studies.common.mesh_error import mesh_error
from studies.compare.result import Figure, Solved, Three
from studies.load.words import HEAD, SHOWN
from studies.rim.result import SUPPORT_CONDITIONS
from studies.weather.readings import PLATES

WEIGHT, ENERGY, TAP, STRINGS, AIR = "weight", "energy", "bridge tap", "under the strings", "in dry air"
ROUND_OFF = 1e-9  # of a figure: what differs by less is the same
WEIGHED: dict[str, tuple[str, ...] | None] = {  # {words: parts}; None: all
    "whole guitar without strings": None,
    "top with braces and bridge": ("top", "top_braces", "bridge", "bridge_plate"),
    "back with braces": ("back", "back_braces"),
    "rim: sides, linings, blocks, side bars": RIM,
    "neck with head": ("neck",),
}
POWERS = {  # {words: groups of a summary}; shares of the power that a steady force puts in
    "heat in the rim": ("rim",),
    "goes out as sound": ("radiation",),
    "into what holds it": ("supports",),
    "heat in top and braces": ("top", "braces"),
    "heat in the back": ("back",),
    "soundhole and air inside": ("opening", "air"),
}
PEAKS = {"hz": ("frequency", "Hz", 1), "quality": ("Q", "", 0), "mass_g": ("effective mass", "g", 0), "speed_mm_s": ("speed for 1 N", "mm/s", 0)}  # fmt: skip


def figures_of(sheets: Sequence[Solved], rest: Sequence[Mapping[str, Three]]) -> tuple[Figure, ...]:
    """Every Figure of sheets; rest: what solve.at_rest told of each."""
    found = [_weight(sheets, words, parts) for words, parts in WEIGHED.items()]
    for how in SUPPORT_CONDITIONS:
        found += [_held(ENERGY, ("+".join(keys), words, "%", 1), sheets, how, keys) for words, keys in POWERS.items()]
        found.append(_held(ENERGY, ("sound_db", "sound for the same force", "dB", 1), sheets, how))
        found += [
            _held(TAP, (f"f{k}_{key}", f"F{k}, {words}", unit, digits), sheets, how)
            for k in (1, 2)
            for key, (words, unit, digits) in PEAKS.items()
        ]
        found.append(_held(TAP, ("mean_level_db", "mean level of the admittance", "dB", 1), sheets, how))
    return (*found, *_at_rest(rest))


def _held(group, told, sheets, how, shares=()):
    """Figure of sheets held one way; told: (key, words, unit, digits); shares: those whose sum it is, in place of its key."""
    key, *told = told
    times = 100.0 if shares else 1.0
    of = lambda s: [times * sum(s.held[how].figures[k][i] for k in shares or (key,)) for i in range(3)]
    return _figure(group, key, told, sheets, of, how)


def _at_rest(rest):
    """Those that every sheet has."""
    told = {key: (STRINGS, (words, unit, digits)) for (key, (digits, unit)), words in zip(SHOWN.items(), HEAD)}
    for plate in PLATES:
        told[f"{plate}_arch_mm"] = AIR, (f"arch of the {plate} rises (sinks: −)", "mm", 2)
        told[f"{plate}_pull_mpa"] = AIR, (f"largest pull across the grain of the {plate}", "MPa", 1)
    return [
        _figure(group, key, words, rest, lambda r, key=key: r[key])
        for key, (group, words) in told.items()
        if all(key in r for r in rest)
    ]


def _weight(sheets, words, parts):
    grams = lambda s: [
        1e3 * sum(three[i] for part, three in s.mass.items() if parts is None or part in parts) for i in range(3)
    ]
    return _figure(WEIGHT, words.split(":")[0], (words, "g", 0), sheets, grams)


def _figure(group, key, told, sheets, of, how=""):
    """Figure of what of(sheet) tells in the three spaces; told: (words, unit, digits)."""
    words, unit, digits = told
    found = [of(s) for s in sheets]
    known = lambda v: float(v) if np.isfinite(v) else None
    return Figure(
        group, key, words, unit, digits, tuple(known(three[0]) for three in found),
        tuple(known(mesh_error(*three)) for three in found), how,
    )  # fmt: skip


def same(a: float, b: float) -> bool:
    """Whether two figures differ by round-off alone."""
    return abs(a - b) <= ROUND_OFF * max(abs(a), abs(b))
