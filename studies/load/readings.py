"""Where the strings' pull is read, and what is read there."""

from collections.abc import Sequence

import numpy as np

from fem.elements import Space
from fem.interpolate import triangles_of
from meshes.body import Body
from studies.common import box_measures as box
from studies.load.result import Pull

NUT = 0.001  # m, of the strings above the fretboard at the nut
AHEAD = 0.04  # m either side of the centre line, where the top between bridge and soundhole is looked at
# A load that stays, against the same at once: EN 1995-1-1 (Eurocode 5), table 3.2, k_def = .6 of solid timber indoors, to 'as much
# again' for seasoned wood (Wood Handbook); both from memory.
CREEP = (1.6, 2.0)
WIDTH = "width/"  # before '<place>/<edge>' in the key of a change of width

# {key: (words, unit, factor from SI)}
MEASURES = {
    "bridge_rotation_deg": ("bridge leans towards the neck", "degrees", 180 / np.pi),
    "belly_mm": ("top rises behind the bridge", "mm", 1e3),
    "dip_mm": ("top sinks before the bridge", "mm", 1e3),
    "neck_block_rotation_deg": ("neck block leans in", "degrees", 180 / np.pi),
    "action_rise_mm": ("strings rise over the 12th fret", "mm", 1e3),
    "action_rise_block_mm": ("of that by the body alone, the neck kept straight", "mm", 1e3),
    "ahead_along_N_mm": ("top squeezed along the grain before the bridge", "N per mm of width", -1e-3),
    "behind_along_N_mm": ("top pulled along the grain behind the bridge", "N per mm of width", 1e-3),
}


class Places:
    """Where strings and readings are on a mesh."""

    def __init__(self, space: Space, body: Body, pulls: Sequence[Pull]) -> None:
        mesh, surfaces = space.mesh, space.mesh.surfaces
        top, bridge, hole = surfaces["top"].triangles, body.bridge, body.soundhole
        neck = triangles_of(mesh, ("neck/shaft", "neck/head"))
        self.space, self.body = space, body
        self.saddles = [box.surface_spot(space, top, *p.saddle) for p in pulls]
        self.nuts = [box.surface_spot(space, neck, *p.nut) for p in pulls]
        x_nut, x_saddle = pulls[0].nut[0], bridge.saddle_x
        scale = body.strings.scale_length if body.strings else x_nut - x_saddle
        self.x_12 = x_nut - scale / 2
        self.fret = box.surface_spot(space, np.union1d(neck, top), self.x_12, 0.0)
        self.share = (self.x_12 - x_saddle) / (x_nut - x_saddle)  # of the nut's motion in the string's at the 12th fret
        self.widths = box.rim_spots(space, body)
        self.bridge = box.nodes_on(space, "bridge")
        self.block = box.nodes_on(space, *box.regions_of(space, "neck_block"))
        rear, front = (bridge.centre[0] + s * bridge.width / 2 for s in (-1, 1))
        near, far = (hole.centre[0] + s * hole.radius for s in (-1, 1))
        nodes = box.nodes_on(space, "top")
        x = space.points[nodes, 0]
        self.behind, self.before = nodes[x < rear], nodes[(x > front) & (x < far)]
        cx, cy = mesh.nodes[mesh.triangles[top]].mean(axis=1)[:, :2].T
        middle = np.abs(cy) < AHEAD
        self.ahead_triangles = middle & (cx > front) & (cx < near)
        self.behind_triangles = middle & (cx < rear) & (cx > body.tail_block.thickness)

    def saddle_points(self) -> list[np.ndarray]:
        """(3,) m of each string at the saddle's top."""
        lift = self.body.top.thickness / 2 + self.body.bridge.saddle_height
        return [s.point + np.array([0, 0, lift]) for s in self.saddles]

    def nut_points(self) -> list[np.ndarray]:
        """(3,) m of each string at the nut."""
        assert self.body.neck is not None  # or there were no pulls
        lift = self.body.neck.fingerboard_thickness + NUT
        return [s.point + np.array([0, 0, lift]) for s in self.nuts]


def readings(places: Places, u: np.ndarray, top: np.ndarray) -> dict[str, float]:
    """{key of MEASURES, and 'width/<place>/<edge>': SI} from displacements (nodes, 3) and the top's membrane forces."""
    space, at = places.space, places.bridge
    plane = np.column_stack([np.ones(len(at)), space.points[at, :2]])
    lean = np.linalg.lstsq(plane, u[at, 2], rcond=None)[0][1]
    block = box.rigid_fit(space.points[places.block], u[places.block])
    saddle, nut = (np.mean([box.at_spot(s, u)[2] for s in spots]) for spots in (places.saddles, places.nuts))
    fret = box.at_spot(places.fret, u)[2]
    straight = [block.at(p)[2] for p in (np.mean(places.nut_points(), axis=0), places.fret.point)]
    rise = lambda at_nut, at_fret: (1 - places.share) * saddle + places.share * at_nut - at_fret
    weight = space.shell_fields[2][space.mesh.surfaces["top"].triangles]
    mean = lambda which: np.average(top[which][..., 0], weights=weight[which])
    found = {
        "bridge_rotation_deg": -lean,
        "belly_mm": u[places.behind, 2].max(),
        "dip_mm": -u[places.before, 2].min(),
        "neck_block_rotation_deg": -block.turn[1],
        "action_rise_mm": rise(nut, fret),
        "action_rise_block_mm": rise(*straight),
        "ahead_along_N_mm": mean(places.ahead_triangles),
        "behind_along_N_mm": mean(places.behind_triangles),
    }
    for place, pair in box.width_changes(places.widths, u).items():
        found |= {f"{WIDTH}{place}/{edge}": change for edge, change in zip(("top", "back"), pair)}
    return {key: float(value) for key, value in found.items()}
