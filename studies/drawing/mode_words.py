"""Plain words for a mode shape: which areas of top and back move, which way against each other, and what the neck does.

They tell of the motion that the pictures show, that of the box as a whole included, and count areas as nodal lines part them.
"""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from fem.elements import Space
from fem.mesh import ShellMesh, part_of
from studies.drawing.features import HARDLY, Area, areas
from studies.drawing.field import Field, longest

NECK_LEADS = 1.5  # times the plates' motion: from here on a mode is named after the neck
AS_A_WHOLE = 0.75  # part of the plates' motion that a rigid motion of the box explains: then it is called one
OUTWARD = {"top": 1.0, "back": -1.0}  # along z
FAINT = 0.2  # of the furthest place of both plates: of a plate that moves less, only how far is told
# of the furthest place of a plate: areas that move so far name its motion, others stand beside it as weaker
LEADS = 0.4
APART = 0.17  # of the extent: areas closer than this, along or across, stand in one row
STILL = "plates hardly move"
ONE = "swells as one"
SPINE = 0.1  # of the neck's half width: what counts as its middle
NUMBER = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
PATTERN = "(m, n): m areas along the plate, n across it."  # for captions


@dataclass(frozen=True)
class Does:
    """What one plate does."""

    words: str  # 'rocks along its length (2, 1)'
    swells: bool = False  # one area leads
    against: str = ""  # 'edge', 'upper end', ...: what moves against the area that leads
    weaker: str = ""  # 'two weaker areas': what stands beside it


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


def still_plates(fields: dict[str, Field], furthest: float) -> tuple[str, ...]:
    """Names of the plates that move less than HARDLY of what moves furthest in the mode."""
    return tuple(name for name, f in fields.items() if not f.largest > 0 or f.largest < HARDLY * furthest)


def plain_label(space: Space, fields: dict[str, Field], shape_column: np.ndarray) -> str:
    """Plain words for a mode with {plate: Field}: 'top and back swell together (1, 1), the back further',
    'back rocks along its length (2, 1)', 'neck twists; box rocks from side to side'.
    """
    neck, largest = neck_motion(space, shape_column), max(f.largest for f in fields.values())
    still = still_plates(fields, longest(shape_column.reshape(-1, 6)[:, :3]))
    plates = plate_words(fields, still)
    if len(still) < len(fields):
        plates = _as_one_box(fields) or plates
    if max(neck.values(), default=0.0) > NECK_LEADS * largest:
        return f"neck {max(neck, key=lambda way: neck[way])}; {plates}"
    return plates


def plate_words(fields: dict[str, Field], still: Collection[str] = ()) -> str:
    """What the plates do, the one that moves further first; still: names of those that hardly move."""
    ordered = sorted((name for name in fields if name not in still), key=lambda name: -fields[name].largest)
    if not ordered:
        return STILL
    first = ordered[0]
    part = {name: fields[name].largest / fields[first].largest for name in ordered}
    does = {name: plate_does(fields[name]) for name in ordered if part[name] >= FAINT}
    rest = [f"{name} moves {100 * part[name]:.0f} % as far" for name in ordered if part[name] < FAINT]
    rest += [f"{name} hardly moves" for name in fields if name in still]
    if len(does) == 2 and all(one.swells for one in does.values()):
        told = [_both_swell(fields, does, first)]
    elif len(does) == 2 and len({one.words for one in does.values()}) == 1:
        told = [f"{' and '.join(fields)}: each {does[first].words}"]
    else:
        told = [f"{name} {one.words}" for name, one in does.items()]
    return "; ".join([*told, *rest])


def _both_swell(fields, does, first):
    leads = (areas(f)[0].share > 0 for f in fields.values())
    how = "swell together" if len(set(leads)) == 1 else "move the same way"
    where = {name: one.against for name, one in does.items() if one.against}
    parts = [f"the {name}'s {part}" for name, part in where.items()]
    if len(where) == 2 and len(set(where.values())) == 1:
        parts = [f"their {where[first]}s"]
    parts = [f"{' and '.join(parts)} against it"] if parts else []
    parts += [f"{one.weaker} of the {name}" for name, one in does.items() if one.weaker]
    beside = f"; {' and '.join(parts)}" if parts else ""
    pattern = "" if parts else " (1, 1)"
    return f"{' and '.join(fields)} {how}{pattern}, the {first} further{beside}"


def plate_does(field: Field) -> Does:
    """What a plate does, by its areas: all are counted, those that move far enough name it."""
    found = areas(field)
    if not found:
        return Does("moves in patches too small to tell apart")
    if len(found) == 1:
        return Does(f"{ONE} (1, 1)", True)
    lead = [area for area in found if abs(area.share) >= LEADS]
    if len(found) == 2:
        return _pair(found, len(lead) == 1, field)
    few = len(found) - len(lead)
    weaker = f"{_number(few)} weaker area{'s' if few > 1 else ''}" if few else ""
    if len(lead) == 1:
        return Does(f"swells, {weaker} beside it", True, weaker=weaker)
    words = (_pair(lead, False, field) if len(lead) == 2 else Does(_several(lead, field))).words
    return Does(f"{words}, {weaker} beside" if weaker else words)


def _pair(found: list[Area], unequal: bool, field: Field) -> Does:
    """What two areas do, the first of which leads; unequal: the other moves much less."""
    lead, other = found
    along, across = _rows(found, field)
    opposite, apart = lead.share * other.share < 0, along.max() or across.max()
    if opposite and not apart and lead.inner != other.inner:  # one lies round the other
        middle, edge = ("swells", "its edge") if lead.inner else ("moves at its edge", "its middle")
        return Does(f"{middle}, {edge} against it", lead.inner, "edge" if lead.inner else "")
    lies, end, way = _direction(lead, other, along, across)
    if not opposite:
        return Does(f"swells in two areas, one {lies} the other")
    return Does(f"swells, its {end} against it", True, end) if unequal else Does(f"rocks {way}")


def _direction(lead, other, along, across):
    """How the other area lies, which end of the plate it is, and which way the two rock, with their pattern."""
    lengthwise, sideways = (other.centre - lead.centre)[:2]
    end, side = "upper end" if lengthwise > 0 else "lower end", "bass side" if sideways > 0 else "treble side"
    if along.max() and across.max():
        return "slantwise from", f"{end} on the {side}", "slantwise"
    if across.max() or (not along.max() and abs(sideways) > abs(lengthwise)):
        return "beside", side, "across its width (1, 2)"
    return "behind", end, "along its length (2, 1)"


def _several(found, field):
    """Words for three areas and more; those that lie in rows, in and out in turn, with their pattern."""
    along, across = _rows(found, field)
    n, m, rows = len(found), along.max() + 1, across.max() + 1
    words = f"moves in {_number(n)} areas"
    cells = dict(zip(zip(along.tolist(), across.tolist()), (a.share > 0 for a in found)))
    alternate = len({up == ((i + j) % 2 == 0) for (i, j), up in cells.items()}) == 1
    if not (len(cells) == n == m * rows and alternate):
        return words
    if rows == 1 or m == 1:
        return f"{words}, one {'behind' if rows == 1 else 'beside'} the other ({m}, {rows})"
    return f"{words}, {_number(m)} along by {_number(rows)} across ({m}, {rows})"


def _rows(found, field):
    """Numbers (k,) of the rows that areas stand in, along and across; a gap of APART parts two."""
    extent = float(np.max(np.ptp(field.points[:, :2], axis=0)))
    rows = []
    for place in np.array([area.centre[:2] for area in found]).T / extent:
        order, row = np.argsort(place), np.zeros(len(found), int)
        row[order[1:]] = np.cumsum(np.diff(place[order]) > APART)
        rows.append(row)
    return rows


def _number(n):
    return NUMBER[n] if n < len(NUMBER) else str(n)


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
