"""Bodies for the tests of mesh, parts and studies: the minimal sheet with edits, and an oval box that solves fast."""

import json
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
SMALL_BLOCKS = {name: {"width_mm": 60, "thickness_mm": 20} for name in ("neck_block", "tail_block")}


def example(name):
    return read_sheet(BODIES / f"{name}.toml")


def merged(raw, tables):
    """Tables of a sheet; a dict among the new ones is merged key by key, anything else replaces."""
    raw = dict(raw)
    for table, keys in tables.items():
        raw[table] = {**raw.get(table, {}), **keys} if isinstance(keys, dict) else keys
    return raw


def guitar(**tables):
    """Body of the minimal sheet with edits."""
    return body_of(merged(tomllib.loads(new_sheet_text()), tables), "guitar.toml", Path(), library())


def drawn(folder, points, **tables):
    """Body with a whole outline through points (n, 2) [mm], once round; the CSV goes into the folder."""
    return body_of(drawn_tables(folder, points, tables), "guitar.toml", folder, library())


def drawn_tables(folder, points, tables):
    rows = [f"{x:.4f},{y:.4f}" for x, y in points]
    (folder / "outline.csv").write_text("\n".join(["x_mm,y_mm", *rows]) + "\n")
    return merged(tomllib.loads(new_sheet_text()) | {"body": {"full_outline_csv": "outline.csv"}}, tables)


def oval_points():
    """(60, 2) mm of an ellipse of 470 x 350 mm: gentle bends, so a coarse mesh is small."""
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    return np.column_stack([235 - 235 * np.cos(angle), -175 * np.sin(angle)])


def oval(folder, **tables):
    """Body: a bare box with an elliptic outline."""
    return drawn(folder, oval_points(), **merged(merged(BARE, SMALL_BLOCKS), tables))


def oval_sheet(folder, **tables):
    """Path of a sheet 'oval.toml' of the same body."""
    return written(
        drawn_tables(folder, oval_points(), merged(merged(BARE, SMALL_BLOCKS), tables)), folder / "oval.toml"
    )


def bare_sheet(folder):
    """Path of a sheet 'bare.toml': the minimal sheet's guitar without braces, bridge plate and neck."""
    return written(merged(tomllib.loads(new_sheet_text()), BARE), folder / "bare.toml")


def written(raw, path):
    """The path of a sheet, after its tables are written there."""
    lines = [f"{key} = {json.dumps(value)}" for key, value in raw.items() if not isinstance(value, dict)]
    for table, keys in raw.items():
        if isinstance(keys, dict):
            lines += [f"[{table}]", *(f"{key} = {json.dumps(value)}" for key, value in keys.items())]
    path.write_text("\n".join(lines) + "\n")
    return path


def cutaway(folder, **tables):
    """The minimal sheet's shape with a bay on the treble side of the neck; its horn is a sharp corner at HORN."""
    bass = guitar().outline.points * 1e3
    bass = bass[(bass[:, 1] > 1) & (np.r_[True, np.diff(bass[:, 0]) != 0])][::8]
    treble = bass[::-1] * [1, -1]
    treble = treble[(treble[:, 0] < 405) & (treble[:, 1] < -12)]
    turn = np.linspace(np.pi / 2, 0, 8)
    bay = np.column_stack([490 - 66 * np.sin(turn), -40 - 72 * (1 - np.cos(turn))])
    return drawn(folder, np.vstack([treble, [(415, -137), HORN], bay, bass]), **tables)


HORN = (424, -129)  # mm


def edge_counts(triangles):
    """Every edge once, lower index first (e, 2), and the number of triangles that it belongs to (e,)."""
    pairs = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    return np.unique(pairs, axis=0, return_counts=True)


def as_set(edges):
    return {tuple(sorted(pair)) for pair in np.asarray(edges).tolist()}


def shoelace(points):
    """Area of a polygon (n, 2)."""
    x, y = points.T
    return abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2


def loop_of(edges):
    """Node indices once round a closed run of edges given in any order."""
    after = {}
    for a, b in np.asarray(edges).tolist():
        after.setdefault(a, []).append(b)
        after.setdefault(b, []).append(a)
    start = min(after)
    loop, last = [start], None
    while True:
        ahead = [n for n in after[loop[-1]] if n != last]
        last = loop[-1]
        if ahead[0] == start and len(loop) > 2:
            return np.array(loop)
        loop.append(ahead[0])
