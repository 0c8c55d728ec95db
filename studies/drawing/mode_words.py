"""Plain words for a mode shape: which areas of top and back move, which way against each other, and what the neck does."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fem.elements import Space
from fem.mesh import ShellMesh, part_of
from studies.drawing.features import outer_loops, peaks
from studies.drawing.field import Field

NECK_LEADS = 1.5  # times the plates' motion: from here on a mode is named after the neck
ALONE = 5.0  # times the plates' motion: from here on only the neck is described
BY_FAR = 50.0  # from here on the plates are called still even where the box moves as a whole
AS_A_WHOLE = 0.75  # part of the plates' motion that a rigid motion of the box explains: then it is called one
CARRIED = 0.5  # part of the rim's motion that a rigid motion of it explains: then the plates' motion is told beside it
OUTWARD = {"top": 1.0, "back": -1.0}  # along z
FELT = 0.15  # of the plates' furthest place: a rigid motion of the rim that is smaller stays in the words
COUNTS = 0.36  # of the furthest place of a plate: areas that move less are left out of the words
FAINT = 0.25  # of the furthest place of both plates: a plate that moves less is not described
APART = 0.17  # of the extent: areas closer than this, along or across, stand in one row
STILL = "plates hardly move"
ONE = "swells as one"
SPINE = 0.1  # of the neck's half width: what counts as its middle
NUMBER = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def neck_alone(mesh: ShellMesh) -> np.ndarray:
    """Indices of the neck's triangles, without those where its heel and tongue are glued to other parts; may be none."""
    groups = [(part_of(region) == "neck", s.triangles) for region, s in mesh.surfaces.items()]
    neck, rest = (np.unique(np.concatenate([[], *(t for own, t in groups if own is which)])) for which in (True, False))
    return np.setdiff1d(neck, rest).astype(int)


def neck_motion(space: Space, shape_column: np.ndarray) -> dict[str, float]:
    """Largest displacement of the neck by the way it moves, {'bends sideways': ...}; {} without a neck."""
    neck = neck_alone(space.mesh)
    if not len(neck):
        return {}
    nodes = np.unique(space.basis.dofs.element_dofs[:, neck])
    aside = np.abs(space.points[nodes, 1])
    u = np.abs(shape_column.reshape(-1, 6)[nodes, :3])
    _, y, z = u[aside <= aside.min() + SPINE * np.ptp(aside)].max(axis=0)
    return {"bends sideways": y, "bends up and down": z, "twists": u[:, 2].max() - z}


def plain_label(space: Space, fields: dict[str, Field], shape_column: np.ndarray, largest: float) -> str:
    """Plain words for a mode with {plate: Field}: 'top and back swell together, the back further',
    'back: lower half against upper half', 'neck twists; box rocks from side to side'.
    """
    neck = neck_motion(space, shape_column)
    lead = max(neck.values(), default=0.0) / largest if largest > 0 else 0.0
    plates = _as_one_box(fields) if lead < BY_FAR else ""
    if not plates and lead < ALONE:
        own = beside_the_rim(fields)
        plates = plate_words(own, largest if own is fields else max(f.largest for f in own.values()))
    plates = plates or STILL
    return f"neck {max(neck, key=lambda way: neck[way])}; {plates}" if lead > NECK_LEADS else plates


def beside_the_rim(fields: dict[str, Field]) -> dict[str, Field]:
    """The Fields of a box's top and back without the rigid motion of the rim between them: what the plates do on their own.

    A box that hangs free rocks against its plates. The Fields as they are where the rim bends more than it is carried, or
    hardly moves.
    """
    if set(fields) != set(OUTWARD):
        return fields
    edges = {name: outer_loops(f)[0] for name, f in fields.items()}
    centre = np.mean(np.concatenate([fields[name].points[edge] for name, edge in edges.items()]), axis=0)
    A = np.concatenate([_rigid(fields[name].points[edge] - centre) for name, edge in edges.items()])
    u = np.concatenate([fields[name].displacement[edge].ravel() for name, edge in edges.items()])
    fit = np.linalg.lstsq(A, u, rcond=None)[0]
    if not u @ u > 0 or np.sum((A @ fit) ** 2) < CARRIED * (u @ u):
        return fields
    carried = {name: (_rigid(f.points - centre) @ fit).reshape(-1, 3) for name, f in fields.items()}
    if max(np.abs(u[:, 2]).max() for u in carried.values()) < FELT * max(f.largest for f in fields.values()):
        return fields
    own = {name: f.displacement - carried[name] for name, f in fields.items()}
    return {n: replace(f, displacement=own[n], value=OUTWARD[n] * own[n][:, 2]) for n, f in fields.items()}


def _rigid(points):
    """(3 n, 6) displacements of points (n, 3): three shifts, three turns."""
    turns = np.cross(np.eye(3)[:, None], points)
    return np.concatenate([np.tile(np.eye(3), (len(points), 1)), turns.reshape(3, -1).T], axis=1)


def plate_words(fields: dict[str, Field], largest: float) -> str:
    """What the plates do, the one that moves further first; a plate that hardly moves is said to."""
    ordered = sorted(fields, key=lambda name: -fields[name].largest)
    moving = [name for name in ordered if fields[name].largest >= FAINT * largest]
    areas = {name: words for name in moving if (words := _areas(fields[name], largest))}
    if not areas:
        return STILL
    first = next(iter(areas))
    if len(areas) == 2 and set(areas.values()) == {ONE}:
        one, other = (f.value[np.argmax(np.abs(f.value))] > 0 for f in fields.values())
        return (
            f"{' and '.join(fields)} {'swell together' if one == other else 'move the same way'}, the {first} further"
        )
    if len(areas) == 2 and len(set(areas.values())) == 1:
        return f"{' and '.join(fields)}: {areas[first]}"
    words = "; ".join(f"{name} {ONE}" if own == ONE else f"{name}: {own}" for name, own in areas.items())
    still = [name for name in ordered if name not in areas]
    return f"{words}; {still[0]} hardly moves" if still else words


def _areas(field, largest):
    """Words for the areas of one plate that move far; '' where none does."""
    at = peaks(field, largest)
    at = at[np.abs(field.value[at]) >= COUNTS * field.largest]
    if len(at) < 2:
        return ONE if len(at) else ""
    up = field.value[at] > 0
    place = field.points[at, :2] / np.max(np.ptp(field.points[:, :2], axis=0))
    along, across = (_rows(place[:, axis]) for axis in (0, 1))
    if len(at) == 2:
        return _pair(along == 2, across == 2, "and" if up[0] == up[1] else "against")
    n = NUMBER[len(at)] if len(at) < len(NUMBER) else str(len(at))
    if across == 1 or along == 1:
        return f"{n} areas {'one behind the other' if across == 1 else 'side by side'}"
    grid = f", {NUMBER[along]} along by {NUMBER[across]} across" if len(at) == along * across else ""
    return f"{n} areas{grid}"


def _pair(along, across, how):
    if along and across:
        return f"two areas slantwise, one {'with' if how == 'and' else how} the other"
    one, other = ("bass half", "treble half") if across else ("lower half", "upper half")
    return f"{one} {how} {other}{' together' if how == 'and' else ''}"


def _rows(place):
    """How many groups places (k,) on a line fall into, a gap of APART between them."""
    return min(1 + int(np.sum(np.diff(np.sort(place)) > APART)), len(NUMBER) - 1)


def _as_one_box(fields):
    """'box rocks end to end' or 'box rocks from side to side' where both plates move so; '' elsewhere."""
    if set(fields) != set(OUTWARD):
        return ""
    points = np.concatenate([f.points for f in fields.values()])
    z = np.concatenate([f.displacement[:, 2] for f in fields.values()])
    rigid = np.column_stack([np.ones(len(points)), points[:, 0] - points[:, 0].mean(), points[:, 1]])
    fit = np.linalg.lstsq(rigid, z, rcond=None)[0]
    if not z @ z > 0 or 1 - np.sum((z - rigid @ fit) ** 2) / (z @ z) < AS_A_WHOLE:
        return ""
    whole, end, side = np.abs(fit) * [1.0, *np.ptp(points[:, :2], axis=0) / 2]
    if whole > max(end, side):
        return "box moves to and fro as a whole"
    return "box rocks end to end" if end > side else "box rocks from side to side"


def distinct(labels: Sequence[str]) -> list[str]:
    """Labels of modes in order, those that stand more than once numbered: no two captions are alike."""
    many, seen, numbered = Counter(labels), Counter[str](), []
    for label in labels:
        seen[label] += 1
        numbered.append(label if many[label] == 1 else f"{label} ({_nth(seen[label])} of its kind)")
    return numbered


def _nth(n):
    return ("first", "second", "third", "fourth", "fifth", "sixth")[n - 1] if n <= 6 else f"{n}th"
