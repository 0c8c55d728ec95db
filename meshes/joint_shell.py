"""The corner of plate and rim as the mesh has it: a strip of shells, joined rigidly, with the plate's land.

The strip is one of the model's own elements wide and periodic along the edge, so that what it yields is what the shells of the
whole body yield there, to the last term of their strains.
"""

import numpy as np
import scipy.sparse as sp

from fem.factor import Factor
from fem.mesh import ShellMesh, Surface, part_of, unit_normals
from fem.model import Model, assemble, weights
from fem.sections import Layer, Section, Sections, laminate, shifted
from fem.solid import periodic_masters
from meshes.joint_geometry import LAND, LOADS, JointGeometry
from meshes.kerf_cell import lining_terms
from meshes.land import land_section
from meshes.linings import outward

WIDTH = 0.02  # m of the strip along the edge: any width gives the same


def shell_sections(geometry: JointGeometry) -> dict[str, Section]:
    """{region: Section} of strip_mesh: 'plate', 'plate/land', 'rim', 'rim/lining'; the side's normal points outward."""
    rim, wood, h = geometry.rim, geometry.plate_wood, geometry.plate_thickness
    side = shifted(laminate([Layer(rim.side_wood, rim.side_thickness)]), -geometry.outset)
    found = {"plate": laminate([Layer(wood, h)]), "plate/land": land_section(wood, h), "rim": side}
    if geometry.lined:
        terms = lining_terms(rim)
        found["rim/lining"] = shifted(
            Section("shell", outward(terms.stiffness), outward(terms.mass), None), -geometry.outset
        )
    return found


def strip_mesh(geometry: JointGeometry, A: float, B: float) -> ShellMesh:
    """ShellMesh of the plate from the corner to a = A and of the side down to b = -B; they share the nodes of the corner."""
    height = geometry.rim.lining_height if geometry.lined else B / 2
    corner = -geometry.outset
    along_plate = np.unique(np.round([corner, corner + LAND, max(A, corner + LAND)], 9))
    profile = [
        (corner, -B),
        (corner, -height),
        *((a, 0.0) for a in along_plate),
    ]  # (a, b) from the side's foot to the plate's end
    nodes = np.array([(t, a, b) for a, b in profile for t in (0.0, WIDTH)])
    first = 2 * np.arange(len(profile) - 1)
    triangles = np.concatenate(
        [np.column_stack([first, first + 1, first + 3]), np.column_stack([first, first + 3, first + 2])]
    )
    middle = nodes[triangles].mean(axis=1)
    plate = middle[:, 2] > -1e-9
    on = {"plate": plate, "plate/land": plate & (middle[:, 1] < corner + LAND), "rim": ~plate}
    if geometry.lined:
        on["rim/lining"] = ~plate & (middle[:, 2] > -height)
    grain = np.array([np.cos(geometry.grain_angle), np.sin(geometry.grain_angle), 0.0])
    direction = {region: np.array([1.0, 0.0, 0.0]) for region in on} | {"plate": grain}
    surfaces = {r: Surface(np.flatnonzero(at), np.tile(direction[r], (at.sum(), 1))) for r, at in on.items()}
    last = len(nodes) - 2
    edges = {"foot": np.array([[0, 1]]), "end": np.array([[last, last + 1]])}
    return ShellMesh(nodes, triangles, unit_normals(nodes, triangles), surfaces, edges=edges)


def shell_compliance(geometry: JointGeometry, A: float, B: float) -> tuple[np.ndarray, np.ndarray]:
    """(4, 4) compliances [m2/N ... 1/N] of plate and of rim in the strip, order LOADS, loads at a = A, held at b = -B."""
    model, found = assemble(strip_mesh(geometry, A, B)), shell_sections(geometry)
    u = under_loads(model, found)
    parts = ({r: s for r, s in found.items() if part_of(r) == part} for part in ("plate", "rim"))
    plate, rim = (u.T @ (model.matrix("K", weights(part)) @ u) * WIDTH for part in parts)
    return plate, rim


def under_loads(model: Model, sections: Sections) -> np.ndarray:
    """Displacements (size, 4) of a strip, periodic over WIDTH along t, under unit loads per length at the edge 'end'.

    The edge 'foot' is held. At the plate's end the rotation about a is held too: a twisting moment goes on from there.
    """
    space = model.space
    masters = periodic_masters(space.points, 0)
    unknown = (6 * masters[:, None] + np.arange(6)).ravel()
    tie = sp.csr_array((np.ones(model.size), (np.arange(model.size), unknown)))
    tie.resize(model.size, model.size)
    ends, foot = (np.asarray(space.mesh.edges[name]) for name in ("end", "foot"))
    _, phi, _, weight, _ = space.edge_fields(ends, space.element.maxdeg + 1)
    F = np.zeros((model.size, len(LOADS)))
    for load in range(len(LOADS)):  # forces along t, a, b and the moment about t are the first four of six unknowns
        np.add.at(F[:, load], 6 * space.edge_nodes(ends) + load, weight @ phi / WIDTH)
    held = np.append(6 * space.edge_nodes(foot)[..., None] + np.arange(6), 6 * space.edge_nodes(ends) + 4)
    free = np.setdiff1d(unknown, unknown[held])
    K = tie.T @ model.matrix("K", weights(sections)) @ tie
    u = np.zeros_like(F)
    u[free] = Factor(K[free][:, free]).solve((tie.T @ F)[free])
    return tie @ u
