"""Surface mapping, cubic elements and quadrature: from a ShellMesh to strain operators on every part."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from skfem import Basis, MeshTri
from skfem.element import Element, ElementTriP3
from skfem.mapping import Mapping as SkfemMapping

from fem import forms
from fem.bar_forms import RECTANGLE, columns
from fem.forms import Kinds
from fem.mesh import InterfaceSpring, Line, ShellMesh, Surface


class SurfaceMapping(SkfemMapping):
    """Flat triangles in space for scikit-fem: invDF is the 2x3 pseudo-inverse, so gradients are surface gradients."""

    def __init__(self, mesh: MeshTri) -> None:
        self.mesh = mesh

    def _corners(self, tind: np.ndarray | None) -> np.ndarray:
        t = self.mesh.t if tind is None else self.mesh.t[:, tind]
        return self.mesh.doflocs[:, t]  # (3, corner, elements)

    def F(self, X: np.ndarray, tind: np.ndarray | None = None) -> np.ndarray:
        p = self._corners(tind)
        return (
            p[:, 0, :, None]
            + np.einsum("iae,aq->ieq", p[:, 1:] - p[:, :1], X if X.ndim == 2 else X[:, 0])
        )  # fmt: skip

    def DF(self, X: np.ndarray, tind: np.ndarray | None = None) -> np.ndarray:
        p = self._corners(tind)
        J = p[:, 1:] - p[:, :1]
        return np.broadcast_to(J[..., None], (*J.shape, X.shape[-1]))

    def detDF(self, X: np.ndarray, tind: np.ndarray | None = None) -> np.ndarray:
        J = self.DF(X[..., :1], tind)  # the same at all points of a flat triangle
        area = np.linalg.norm(np.cross(J[:, 0], J[:, 1], axis=0), axis=0)
        return np.broadcast_to(area, (len(area), X.shape[-1]))

    def invDF(self, X: np.ndarray, tind: np.ndarray | None = None) -> np.ndarray:
        J = self.DF(X[..., :1], tind)
        metric = np.einsum("iaeq,ibeq->eqab", J, J)
        inverse = np.einsum("eqab,ibeq->aieq", np.linalg.inv(metric), J)
        return np.broadcast_to(inverse, (*inverse.shape[:3], X.shape[-1]))


@dataclass(frozen=True)
class Space:
    """Cubic (or other Lagrange) shape functions on a ShellMesh; six unknowns for each of its `size / 6` nodes."""

    mesh: ShellMesh
    element: Element  # scikit-fem Lagrange triangle

    @cached_property
    def basis(self) -> Basis:
        p = self.element.maxdeg
        mesh = MeshTri(np.ascontiguousarray(self.mesh.nodes.T), np.ascontiguousarray(self.mesh.triangles.T))
        return Basis(mesh, self.element, mapping=SurfaceMapping(mesh), intorder=2 * p)

    @property
    def size(self) -> int:
        return 6 * self.basis.N

    @property
    def points(self) -> np.ndarray:
        """(size / 6, 3) m, places of the nodes of the shape functions."""
        return self.basis.doflocs.T

    @cached_property
    def shell_fields(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """phi (points, nodes), grad (elements, points, nodes, 3) [1/m], weight (elements, points) [m2]."""
        fields = [f[0] for f in self.basis.basis]
        phi = np.array([np.asarray(f)[0] for f in fields]).T
        grad = np.stack([f.grad for f in fields], axis=0).transpose(2, 3, 0, 1)
        return phi, np.ascontiguousarray(grad), self.basis.dx

    @cached_property
    def _facet_of(self) -> dict[tuple[int, ...], int]:
        return {tuple(f): k for k, f in enumerate(self.basis.mesh.facets.T.tolist())}

    def edge_nodes(self, edges: np.ndarray) -> np.ndarray:
        """Shape-function nodes on the given edges, in order from the first end to the second: (k, p + 1).

        ValueError if an edge is not an edge of the mesh.
        """
        try:
            facets = [self._facet_of[min(e), max(e)] for e in np.asarray(edges).tolist()]
        except KeyError as unknown:
            raise ValueError(f"mesh: {unknown.args[0]} is not an edge of any triangle") from None
        inner = self.basis.dofs.facet_dofs[:, facets].T
        inner = np.where((edges[:, 0] < edges[:, 1])[:, None], inner, inner[:, ::-1])
        ends = self.basis.dofs.nodal_dofs[0]
        return np.column_stack([ends[edges[:, 0]], inner, ends[edges[:, 1]]])

    def edge_fields(
        self, edges: np.ndarray, points: int | None = None
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """t (k, 3), phi (points, p + 1), slope (k, points, p + 1) [1/m], weight (k, points) [m], s (points,) in 0..1."""
        p = self.element.maxdeg
        x, w = np.polynomial.legendre.leggauss(points or p)
        s, w = (x + 1) / 2, w / 2
        phi, dphi = _lagrange(p, s)
        d = self.mesh.nodes[edges[:, 1]] - self.mesh.nodes[edges[:, 0]]
        length = np.linalg.norm(d, axis=1)
        return d / length[:, None], phi, dphi / length[:, None, None], w * length[:, None], s

    def nodes_of(self, name: str) -> np.ndarray:
        """Shape-function nodes of a named part or edge. ValueError for an unknown name."""
        mesh, nodes = self.mesh, []
        corner = mesh.nodes_of(name)  # raises for unknown names
        for region, surface in mesh.surfaces.items():
            if region.split("/")[0] == name:
                nodes.append(self.basis.dofs.element_dofs[:, surface.triangles].ravel())
        for region, line in mesh.lines.items():
            if region.split("/")[0] == name:
                nodes.append(self.edge_nodes(line.edges).ravel())
        if name in mesh.edges:
            nodes.append(self.edge_nodes(np.asarray(mesh.edges[name])).ravel())
        return np.unique(np.concatenate([self.basis.dofs.nodal_dofs[0, corner], *nodes]))


def space(mesh: ShellMesh, element: Element | None = None) -> Space:
    """The shape functions used throughout: cubic triangles, fully integrated (docs/theory.md defends the choice)."""
    return Space(mesh, element or ElementTriP3())


def _lagrange(p: int, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lagrange polynomials with equispaced nodes on 0..1 at s: values and derivatives, (points, p + 1)."""
    V = np.vander(np.linspace(0, 1, p + 1), increasing=True)
    C = np.linalg.inv(V)
    powers = np.arange(p + 1)
    dS = np.where(powers > 0, powers * s[:, None] ** np.maximum(powers - 1, 0), 0)
    return (s[:, None] ** powers) @ C, dS @ C


@dataclass(frozen=True)
class Operator:
    """Strains (or velocities) of one region from the unknowns of its elements."""

    role: str  # 'K' or 'M'
    region: str
    family: str  # 'shell', 'beam' or 'seam'
    nodes: np.ndarray  # (elements, nodes) shape-function nodes
    B: np.ndarray  # (elements, points, strains, nodes, 6)
    weight: np.ndarray  # (elements, points) m2 or m
    profile: Mapping[int, np.ndarray] | None = None  # {column: (elements, points) [-]}; None: the same everywhere

    @property
    def kinds(self) -> Kinds:
        kinds = forms.KINDS[self.role][self.family]
        return kinds if self.profile is None else {k: v for k, v in kinds.items() if v[0] in self.profile}

    def weighted(self, column: int, chunk: slice = slice(None)) -> np.ndarray:
        """(elements, points) weight times a column of the profile."""
        weight = self.weight[chunk]
        return weight if self.profile is None else weight * self.profile[column][chunk]


def shell_operators(space: Space, region: str, surface: Surface) -> Iterator[Operator]:
    """Strain and velocity operators of a surface region."""
    phi, grad, weight = space.shell_fields
    t = surface.triangles
    n, e1 = space.mesh.normal[t], surface.grain
    e2 = np.cross(n, e1)
    nodes, weight = space.basis.dofs.element_dofs[:, t].T, weight[t]
    profile = None
    if surface.taper is not None:
        x, y = space.basis.quadrature[0]
        corner = np.argsort(space.mesh.triangles[t], axis=1)  # scikit-fem counts each triangle's corners upward
        tau = np.take_along_axis(surface.taper, corner, axis=1) @ np.array([1 - x - y, x, y])
        profile = columns(RECTANGLE, tau)  # a plate gets thinner as a rectangle gets lower
    yield Operator("K", region, "shell", nodes, forms.shell_strains(e1, e2, n, phi, grad[t]), weight, profile)
    yield Operator("M", region, "shell", nodes, forms.shell_velocities(e1, e2, n, phi, len(t)), weight, profile)


def beam_operators(space: Space, region: str, line: Line) -> Iterator[Operator]:
    """Strain (reduced Gauss points: no shear locking) and velocity operators of a line region."""
    nodes = space.edge_nodes(line.edges)
    for role, extra in (("K", 0), ("M", 1)):
        t, phi, slope, weight, s = space.edge_fields(line.edges, space.element.maxdeg + extra)
        b = line.up - np.sum(line.up * t, axis=1, keepdims=True) * t
        b = b / np.linalg.norm(b, axis=1, keepdims=True)
        taper = line.taper[:, :1] * (1 - s) + line.taper[:, 1:] * s
        if role == "K":
            B = forms.beam_strains(t, b, line.offset, phi, slope)
        else:
            B = forms.beam_velocities(t, b, line.offset, phi, len(t))
        yield Operator(role, region, "beam", nodes, B, weight, columns(line.form, taper))


def interface_operators(space: Space, region: str, interface_spring: InterfaceSpring) -> Iterator[Operator]:
    """Jump operator of a seam between two runs of coincident edges.

    Its frame turns from one end of an edge to the other, and is the same in both edges that meet there: with the frame of
    each straight edge a seam that cannot turn about `a` could not turn at all where two edges meet at an angle.
    """
    nodes = np.hstack([space.edge_nodes(interface_spring.edges_a), space.edge_nodes(interface_spring.edges_b)])
    along, phi, _, weight, s = space.edge_fields(interface_spring.edges_a, space.element.maxdeg + 1)
    t, a = interface_frame(along, interface_spring.inward, s)
    columns = np.ones((1, len(t))) if interface_spring.angle is None else forms.corner_columns(interface_spring.angle)
    profile = {number: np.repeat(column[:, None], len(s), axis=1) for number, column in enumerate(columns)}
    B = forms.interface_displacements(t, a, np.cross(t, a), phi)
    yield Operator("K", region, "interface", nodes, B, weight, profile)


def interface_frame(along: np.ndarray, inward: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """t, a (k, points, 3): unit vectors along a seam and inward at s (points,) in 0..1 of its edges.

    along (k, 3) unit vectors of the edges; inward (k, 2, 3) at their ends.
    """
    a = inward[:, :1] * (1 - s)[:, None] + inward[:, 1:] * s[:, None]
    a = a / np.linalg.norm(a, axis=2, keepdims=True)
    t = along[:, None] - np.sum(along[:, None] * a, axis=2, keepdims=True) * a
    return t / np.linalg.norm(t, axis=2, keepdims=True), a
