"""Bodies for the tests of mesh, parts and studies: the minimal sheet with edits, and an oval box that solves fast."""

import tomllib
from pathlib import Path

import numpy as np

from fem.woods import library
from meshes.new_sheet import new_sheet_text
from meshes.sheet import body_of, read_sheet

ROOT = Path(__file__).parents[1]
BODIES = ROOT / "meshes" / "bodies"
BARE = {  # no braces, no neck: little to compute
    "top": {"braced": False},
    "back": {"braced": False},
    "neck": {"included": False},
    "bridge_plate": {"included": False},
}


def example(name):
    return read_sheet(BODIES / f"{name}.toml")


def guitar(folder=Path(), **tables):
    """Body of the minimal sheet; a table given as dict is merged key by key, anything else replaces."""
    raw = tomllib.loads(new_sheet_text())
    for table, keys in tables.items():
        raw[table] = {**raw.get(table, {}), **keys} if isinstance(keys, dict) else keys
    return body_of(raw, "guitar.toml", folder, library())


def drawn(folder, points, **tables):
    """Body with a whole outline drawn through points (n, 2) [mm], once round."""
    rows = [f"{x:.4f},{y:.4f}" for x, y in points]
    (folder / "outline.csv").write_text("\n".join(["x_mm,y_mm", *rows]) + "\n")
    raw = tomllib.loads(new_sheet_text()) | {"body": {"full_outline_csv": "outline.csv"}}
    for table, keys in tables.items():
        raw[table] = {**raw.get(table, {}), **keys} if isinstance(keys, dict) else keys
    return body_of(raw, "guitar.toml", folder, library())


def oval(folder, **tables):
    """A bare box of 470 x 350 mm with an elliptic outline: gentle bends, so a coarse mesh is small."""
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    points = np.column_stack([235 - 235 * np.cos(angle), -175 * np.sin(angle)])
    block = {"width_mm": 60, "thickness_mm": 20}
    plain = {**BARE, "neck_block": block, "tail_block": block}
    for table, keys in tables.items():
        plain[table] = {**plain.get(table, {}), **keys} if isinstance(keys, dict) else keys
    return drawn(folder, points, **plain)


def cutaway(folder, **tables):
    """The minimal sheet's shape with a bay on the treble side of the neck that ends in a sharp horn at (432, -112) mm."""
    bass = guitar().outline.points * 1e3
    bass = bass[(bass[:, 1] > 1) & (np.r_[True, np.diff(bass[:, 0]) != 0])][::8]
    treble = bass[::-1] * [1, -1]
    treble = treble[(treble[:, 0] < 405) & (treble[:, 1] < -12)]
    turn = np.linspace(0, np.pi / 2, 8)
    bay = np.column_stack([490 - 66 * np.sin(turn), -40 - 72 * (1 - np.cos(turn))])[::-1]
    lobe = np.array([[415, -137], [424, -129]])
    return drawn(folder, np.vstack([treble, lobe, bay, bass]), **tables)
