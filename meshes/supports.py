"""How the body is held: hung free on soft bands, on the lap against chest, thigh and arm, or played, a hand at the fret.

On the lap each patch is a disc of the body on deep flesh (fem/flesh.py), clothing between: the disc's mean motion along x, y and z
and its rocking about both axes in its plane, each at its own spring, dashpot and mass. What the body bends within a patch is not felt.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.body_modes import HAND, Hand
from fem.flesh import UnderDisc, under_disc
from fem.interpolate import normal_displacement
from fem.response import COVER, ModalModel, Support, held
from meshes.body import Assumption, Body, back_height, top_height
from meshes.coupled_model import CoupledModel, Structure
from meshes.outline import point_at, where_x, where_y
from meshes.string_places import FRETS, far_places

FREE, LAP, PLAYED = "hung free", "on the lap", "played"
BAND_HZ, BAND_LOSS = 2.0, 0.1  # rigid motions on the bands, and the bands' loss factor; common practice in modal tests
SHEAR_MODULUS, VISCOSITY, DENSITY = 5e3, 10.0, 1000.0  # Pa, Pa s, kg/m3 of soft flesh: assumed, from memory
SOFTER, FIRMER = 1 / 3, 3.0  # times shear modulus and viscosity: the range in which flesh is assumed to lie
# Hz at which the flesh's shear waves are frozen: resistance 13 % too large at 80, 18 % too small at 300
FLESH_HZ = 150.0
# m/Pa, how far clothing gives under pressure (2 mm at 40 kPa; thick: twice that): assumed
BARE, CLOTHING, THICK = 0.0, 5e-8, 1e-7
CLOTHING_SHEAR, CLOTHING_LOSS = 1 / 3, 0.3  # stiffness along over that under pressure, and loss factor: assumed
OTHER_PLAYERS = (  # arguments of with_supports at the ends of both ranges
    {"firmness": SOFTER},
    {"firmness": FIRMER},
    {"clothing": BARE},
    {"clothing": THICK},
)
SUPPORT_PARTS = ("bands", "chest", "thigh", "arm", COVER, HAND)
CHEST, THIGH, ARM = 0.05, 0.06, 0.04  # m, radius of a disc as large as each patch: assumed
PALM = 0.02  # m, radius of a disc as large as the fretting hand's hold on the neck: assumed


@dataclass(frozen=True)
class Patch:
    """Places of a part that rest on something together, and what that does to their mean motion along x, y and z and, with five
    values, to their slope over each of the two axes along the patch.
    """

    name: str
    part: str  # of the body
    points: np.ndarray  # (k, 3) m
    stiffness: np.ndarray  # (3,) N/m, or (5,) with N m behind
    resistance: np.ndarray  # likewise, N s/m and N m s
    mass: np.ndarray | float = 0.0  # likewise, kg and kg m2
    cover: np.ndarray | float = np.inf  # likewise, N/m and N m; inf: bare
    square: int = 2  # axis that presses into it


def free_suspension(body: Body, weight: float) -> list[Patch]:
    """Patches of soft bands at the tail, at both upper bouts and at the head, for a body of some weight [kg]."""
    k = weight * (2 * np.pi * BAND_HZ) ** 2 / 4 * np.ones(3)
    c = np.zeros(3)  # their loss is hysteretic, see hold()
    upper = where_x(body.outline, 0.8 * body.outline.length)
    places = {name: _on_side(body, [s], [0.5]) for name, s in zip("123", [0.0, *upper[[0, -1]]])}
    bands = [Patch("bands", "sides", p, k, c) for p in places.values()]
    if body.neck is None:
        return [
            *bands,
            Patch("bands", "sides", _on_side(body, where_y(body.outline, 0.0)[-1:], [0.5]), k, c),
        ]
    head = np.array([[body.outline.length + body.neck.length + body.neck.head_length / 2, 0.0, 0.0]])
    return [*bands, Patch("bands", "neck", head, k, c)]


def lap_supports(body: Body, firmness: float = 1.0, clothing: float = CLOTHING) -> list[Patch]:
    """Patches of chest (back, bass side of the lower bout), thigh (treble side of the waist) and forearm (bass rim of
    the lower bout), as a right-handed player sits. firmness: times the flesh's shear modulus and viscosity. clothing [m/Pa]: how
    far it gives under pressure.
    """
    L = body.outline.length
    bass = lambda x: float(where_x(body.outline, x * L)[-1])
    treble = lambda x: float(where_x(body.outline, x * L)[0])
    side = point_at(body.outline, bass(0.36))
    turn = np.arange(12) * np.pi * (3 - np.sqrt(5))
    disc = CHEST * np.sqrt((np.arange(12) + 0.5) / 12)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    plan = disc + np.array([side[0], max(0.0, side[1] - 1.4 * CHEST)])
    chest = np.column_stack([plan, back_height(body, *plan.T)])
    along = np.linspace(-1, 1, 7)
    thigh = _on_side(body, treble(0.6) + THIGH * along, [0.25, 0.5, 0.75])
    arm = _on_side(body, bass(0.3) + ARM * along, [0.02, 0.1])
    return [
        _disc("chest", "back", chest, CHEST, 2, firmness, clothing),
        _disc("thigh", "sides", thigh, THIGH, 1, firmness, clothing),
        _disc("arm", "sides", arm, ARM, 1, firmness, clothing),
    ]


def hand_places(body: Body, frets: int = FRETS) -> np.ndarray:
    """(frets + 1, 3) m under the shaft where the hand holds it at each fret; over the body it stays beside the heel."""
    assert body.neck is not None
    end = body.outline.length
    x = np.array([crowns[0, 0] for _, crowns in far_places(body, 1, frets)])
    x = np.maximum(x, end + body.neck.heel_length + PALM)
    depth = body.neck.at((x - end) / body.neck.length)[1]
    return np.column_stack([x, np.zeros(len(x)), float(top_height(body, end, 0.0)) - depth])


def hand_on(structure: Structure, open_strings: bool = False, firmness: float = 1.0) -> Hand | None:
    """Hand at each note's own fret, as its motions of the structure's modes; none at open strings unless wanted.

    Bare flesh as elsewhere, pressing into its disc along z.
    """
    if structure.body.neck is None:
        return None
    places = hand_places(structure.body)
    axes = np.tile(np.eye(3), (len(places), 1))
    rows = normal_displacement(structure.space, ("neck/shaft",), np.repeat(places, 3, axis=0), axes) @ structure.shape
    motion = rows.reshape(len(places), 3, -1)
    if not open_strings:
        motion[0] = 0.0
    palm, each = _flesh(PALM, firmness), [1, 1, 0]  # sliding along x and y, pressing along z
    return Hand(motion, palm.stiffness[each], palm.resistance[each], palm.mass[each])


def _flesh(radius: float, firmness: float) -> UnderDisc:
    G, mu = firmness * SHEAR_MODULUS, firmness * VISCOSITY
    return under_disc(radius, G, mu, DENSITY, 2 * np.pi * FLESH_HZ)


def _disc(
    name: str, part: str, points: np.ndarray, radius: float, square: int, firmness: float, clothing: float
) -> Patch:
    """Patch of a disc as large, pressing along the axis `square`, on clothed flesh."""
    flesh, each = _flesh(radius, firmness), np.where(np.arange(5) == square, 0, [1, 1, 1, 2, 2])
    area = np.pi * radius**2
    cover: np.ndarray | float = np.inf
    if clothing > 0:
        cover = (np.array([1.0, CLOTHING_SHEAR, radius**2 / 4]) * area / clothing)[each]
    return Patch(name, part, points, flesh.stiffness[each], flesh.resistance[each], flesh.mass[each], cover, square)


def _on_side(body: Body, arcs: Sequence[float] | np.ndarray, depths: Sequence[float]) -> np.ndarray:
    """(k, 3) m: places on the side at arc lengths [m] and at depths below the top over the side's height."""
    xy = np.repeat(point_at(body.outline, np.asarray(arcs)), len(depths), axis=0)
    top, back = top_height(body, *xy.T), back_height(body, *xy.T)
    return np.column_stack([xy, top + (back - top) * np.tile(depths, len(arcs))])


def supports(structure: Structure, patches: Sequence[Patch], total: int) -> list[Support]:
    """[Support] of Patches on a Structure, for a state of `total` unknowns."""
    found, n = [], len(structure.frequency)
    for p in patches:
        k = len(p.points)
        places, axes = np.tile(p.points, (3, 1)), np.repeat(np.eye(3), k, axis=0)
        rows = normal_displacement(structure.space, (p.part,), places, axes) @ structure.shape
        motion = np.zeros((len(p.stiffness), total))
        motion[:, :n] = disc_motion(p, rows.reshape(3, k, n))
        loss = CLOTHING_LOSS if np.isfinite(p.cover).all() else 0.0
        found.append(Support(p.name, motion, p.stiffness, p.resistance, p.mass, p.cover, loss))
    return found


def disc_motion(patch: Patch, moved: np.ndarray) -> np.ndarray:
    """(3 or 5, n) motions of a Patch from those of its places, moved (3, k, n): means, then slopes fitted by least squares."""
    mean = moved.mean(axis=1)
    if len(patch.stiffness) == 3:
        return mean
    along = np.delete(patch.points - patch.points.mean(axis=0), patch.square, axis=1)
    return np.vstack([mean, np.linalg.pinv(along) @ moved[patch.square]])


def with_supports(coupled: CoupledModel, how: str, firmness: float = 1.0, clothing: float = CLOTHING) -> ModalModel:
    """ModalModel of a CoupledModel hung FREE or held on the LAP; PLAYED as on the lap, its hand joins with each note.

    firmness, clothing: as of lap_supports. On the lap, unknowns of the flesh under the clothing stand behind those of the model.
    """
    s = coupled.structure
    lap = lambda: lap_supports(s.body, firmness, clothing)
    patches = {FREE: lambda: free_suspension(s.body, s.weight), LAP: lap, PLAYED: lap}[how]()
    holding = supports(s, patches, len(coupled.drive))
    supported = held(coupled.model, holding)
    if how != FREE:
        return supported
    bands = BAND_LOSS * sum(one.motion.T @ (one.stiffness[:, None] * one.motion) for one in holding)
    return replace(supported, loss={**supported.loss, "bands": bands}, viscous=coupled.model.viscous)


def assumptions() -> tuple[Assumption, ...]:
    """What is assumed of the body hung free and on the lap."""
    G, mu = SHEAR_MODULUS / 1e3, VISCOSITY
    return (
        Assumption(
            "hung free",
            f"soft bands at tail, upper bouts and head, rigid motions near {BAND_HZ:g} Hz, loss factor {BAND_LOSS:g}",
            "common practice in modal tests, no source",
        ),
        Assumption(
            "on the lap",
            f"flesh of shear modulus {G:g} kPa ({G / 3:.1f} to {3 * G:g}) and viscosity {mu:g} Pa s ({mu / 3:.1f} to {3 * mu:g}) under chest, thigh and forearm, deep and without bones, with the mass that moves with it",
            "assumed, order of magnitude from memory",
        ),
        Assumption(
            "on the lap, clothing",
            f"gives {1e9 * CLOTHING:g} um under 1 kPa (bare to {1e9 * THICK:g}), loss factor {CLOTHING_LOSS:g}",
            "assumed, no measurement found",
        ),
        Assumption(
            "on the lap, patches",
            f"chest disc of radius {1e3 * CHEST:g} mm, thigh {1e3 * THIGH:g} mm, forearm {1e3 * ARM:g} mm; no fretting hand",
            "assumed",
        ),
    )


def hand_assumptions() -> tuple[Assumption, ...]:
    """What is assumed of the fretting hand, besides what is of the lap."""
    return (
        Assumption(
            "played",
            f"on the lap, and at each fretted note's own fret a disc of bare flesh of radius {1e3 * PALM:g} mm under the neck, as soft as the player's ({SOFTER:.2g} to {FIRMER:g} times); none at open strings",
            "assumed: what a fretting hand damps is hardly measured",
        ),
    )
