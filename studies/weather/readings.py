"""Where and what is read of a box that the weather moves: widths, arches, stress across the grain near rim and braces."""

import numpy as np

from fem.model import Model
from fem.moisture import laminate_stress
from meshes.body import Body
from meshes.open_rim import pressed_places
from studies.common import box_measures as box
from studies.weather.result import Response, Stress, board_movement

PLATES = ("top", "back")


class Places:
    """Where readings are on a mesh."""

    def __init__(self, model: Model, body: Body) -> None:
        space = model.space
        self.model, self.space, self.body = model, space, body
        self.widths = box.rim_spots(space, body)
        self.triangles = {plate: space.mesh.surfaces[plate].triangles for plate in PLATES}
        patches = lambda plate, places: box.Patches(space, self.triangles[plate], places)
        self.linings = {plate: patches(plate, box.near_linings(body, plate)) for plate in PLATES}
        self.ends = {plate: patches(plate, box.brace_ends(body, plate)[1]) for plate in PLATES}
        x = next(iter(pressed_places(body).values()))[0][0, 0]  # the widest place
        self.crown = {plate: box.surface_spot(space, self.triangles[plate], x, 0.0) for plate in PLATES}

    def response(self, displacement: np.ndarray, moisture: float) -> Response:
        """Response to a displacement (size,) with so many % more moisture, of which free movement costs no stress."""
        u = box.seen_from_rim(self.space, displacement)
        stress = {plate: self._stress(plate, displacement, moisture) for plate in PLATES}
        return Response(u, box.width_changes(self.widths, u), self._arch(u), stress)

    def _stress(self, plate: str, displacement: np.ndarray, moisture: float) -> Stress:
        board = getattr(self.body, plate)
        along, across = board_movement(board)
        free = moisture * along, moisture * across
        faces = [
            laminate_stress(self.model, plate, board.wood, displacement, free, z)[..., 1]
            for z in (board.thickness / 2, -board.thickness / 2)
        ]
        nodal = lambda face: box.nodal(self.space, self.triangles[plate], face)
        readings = self.linings[plate].mean, self.ends[plate].mean, nodal
        return Stress(*(np.column_stack([read(face) for face in faces]) for read in readings))

    def _arch(self, u: np.ndarray) -> dict[str, float]:
        """{plate: m} by which the plate's crown rises, outward, over its own edge."""
        rises = {}
        for plate, crown in self.crown.items():
            edge = np.unique(self.space.edge_nodes(self.space.mesh.edges[f"rim_{plate}"]))
            of_edge = box.rigid_fit(self.space.points[edge], u[edge]).at(crown.point)
            rises[plate] = (1 if plate == "top" else -1) * float((box.at_spot(crown, u) - of_edge)[2])
        return rises
