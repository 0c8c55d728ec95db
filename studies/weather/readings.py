"""Where and what is read of a box that the weather moves: widths, arches, stress across the grain near rim and braces."""

from dataclasses import dataclass

import numpy as np

from fem.moisture import board_stress
from meshes.open_rim import pressed_places
from studies.common import box_measures as box

PLATES = ("top", "back")


@dataclass(frozen=True)
class Plate:
    """A plate's stress across the grain, per 1 % of moisture (or for the gap): at its faces, averaged over patches [Pa]."""

    linings: np.ndarray  # (places, 2) near the linings; outer and inner face
    ends: np.ndarray  # (brace ends, 2)
    everywhere: np.ndarray  # (nodes, 2), for pictures


@dataclass(frozen=True)
class Response:
    """The box under one cause: 1 % more moisture, or a rim gap of 1 m."""

    displacement: np.ndarray  # (nodes, 3) m, as seen from the rim
    width: dict[str, tuple[float, float]]  # {place: (top edge, back edge)} m
    arch: dict[str, float]  # {plate: m}, positive where the arch rises
    stress: dict[str, Plate]


class Places:
    """Where readings are on a mesh."""

    def __init__(self, model, body):
        self.model, self.space, self.body = model, model.space, body
        space = model.space
        self.widths = box.rim_spots(space, body)
        self.triangles = {plate: space.mesh.surfaces[plate].triangles for plate in PLATES}
        self.near = {plate: box.near_linings(body, plate) for plate in PLATES}
        self.linings = {p: box.Patches(space, self.triangles[p], self.near[p]) for p in PLATES}
        ends = {plate: box.brace_ends(body, plate) for plate in PLATES}
        self.end_names = {plate: names for plate, (names, _) in ends.items()}
        self.ends = {p: box.Patches(space, self.triangles[p], places) for p, (_, places) in ends.items()}
        x = next(iter(pressed_places(body).values()))[0][0, 0]  # the widest place
        self.crown = {plate: box.surface_spot(space, self.triangles[plate], x, 0.0) for plate in PLATES}

    def response(self, displacement, free):
        """Response to a displacement (size,); free {plate: (along, across)} strains that cost no stress."""
        u = box.seen_from_rim(self.space, displacement)
        stress = {}
        for plate in PLATES:
            board = getattr(self.body, plate)
            faces = [
                board_stress(self.model, plate, board.wood, displacement, free[plate], z)[..., 1]
                for z in (board.thickness / 2, -board.thickness / 2)
            ]
            stress[plate] = Plate(
                np.column_stack([self.linings[plate].mean(f) for f in faces]),
                np.column_stack([self.ends[plate].mean(f) for f in faces]),
                np.column_stack([box.nodal(self.space, self.triangles[plate], f) for f in faces]),
            )
        return Response(u, box.width_changes(self.widths, u), self._arch(u), stress)

    def _arch(self, u):
        """{plate: m} by which the plate's crown rises, outward, over its own edge."""
        found = {}
        for plate, crown in self.crown.items():
            edge = np.unique(self.space.edge_nodes(self.space.mesh.edges[f"rim_{plate}"]))
            of_edge = box.rigid_fit(self.space.points[edge], u[edge]).at(crown.point)
            found[plate] = (1 if plate == "top" else -1) * float((box.at_spot(crown, u) - of_edge)[2])
        return found
