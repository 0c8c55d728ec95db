"""Pictures of kerf cells bent along the rim and of joints turned by a moment: where the wood strains."""

from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from meshes.joint_solid import section_solid, solve_corner
from meshes.kerf_cell import solve_plate_cell

SHADES = LinearSegmentedColormap.from_list("strain", ["0.93", "0"])
PERIODS = 4
TURN = 0.10  # rad, by which the drawn strip turns over one period: much more than wood would bear


def draw_bent_linings(cells, path):
    """Draw {title: KerfCell}, each bent to the same curvature about its own neutral axis; returns the path.

    Shade: strain energy per volume, as a share of its largest value in the strip (99th percentile), square root.
    """
    figure = Figure(figsize=(10, 1.7 * len(cells) + 0.5), layout="constrained")
    axes = figure.subplots(len(cells), 2, squeeze=False)
    for row, (title, cell) in zip(axes, cells.items()):
        shaded = _draw(row, cell, title)
    for ax, text in zip(axes[-1], ("along the rim, mm", "bent, the turn made far larger than wood bears")):
        ax.set_xlabel(text)
    bar = figure.colorbar(shaded, ax=axes, shrink=0.8)
    bar.set_label("root of strain energy per volume\n(share of the largest)")
    with matplotlib.rc_context({"svg.hashsalt": "rimwork", "svg.fonttype": "none"}):
        figure.savefig(Path(path), dpi=150)
    return Path(path)


def _draw(axes, cell, title):
    body, C, _, found = solve_plate_cell(cell)
    stretch = -found.stiffness[0, 3] / found.stiffness[0, 0]  # no axial force: bending about the neutral axis
    case = np.array([stretch, 0, 0, 1, 0, 0])
    kappa = TURN / cell.kerf_spacing
    strains = found.strains @ case
    energy = np.einsum("eqs,est,eqt,eq->e", strains, C, strains, body.weight) / body.weight.sum(axis=1)
    shade = np.sqrt(np.minimum(energy / np.percentile(energy, 99), 1))
    p, D = cell.kerf_spacing, found.stiffness[3, 3] + stretch * found.stiffness[0, 3]
    flat, bent, inside = [], [], (body.middles[:, 2] > cell.side_thickness / 2)
    corners = _corners(body)
    for i in range(PERIODS):
        x, z = body.points[:, 0] + (i - PERIODS / 2) * p, body.points[:, 2]
        u = found.fluctuation @ case
        moved = np.array([x + kappa * (x * (stretch + z) + u[:, 0]), z + kappa * (-(x**2) / 2 + u[:, 2])]).T
        flat.append(1e3 * np.array([x, z]).T[corners])
        bent.append(1e3 * moved[corners])
    tone = np.where(np.tile(inside, PERIODS), "0.88", "0.55")
    straight = PolyCollection(np.concatenate(flat), facecolors=tone, edgecolors="face", linewidths=0.3)
    shaded = PolyCollection(np.concatenate(bent), array=np.tile(shade, PERIODS), cmap=SHADES, edgecolors="face")
    shaded.set(linewidths=0.3, clim=(0, 1))
    for ax, shape in zip(axes, (straight, shaded)):
        ax.add_collection(shape)
        ax.set_aspect("equal")
        ax.autoscale_view()
    axes[0].set_title(f"{title}: side dark, lining light", fontsize=9)
    axes[1].set_title(f"flexural rigidity along the rim {D:.3g} N m", fontsize=9)
    axes[0].set_ylabel("toward the\ninside, mm")
    return shaded


def _corners(body):
    """(elements, 4) nodes at the corners of quadrilaterals, in order around them."""
    vertices = body.mesh.p.T[body.mesh.t.T]  # (elements, 4, 2)
    order = {tuple(np.round(xz * 1e9).astype(int)): i for i, xz in enumerate(body.points[:, [0, 2]])}
    return np.array([[order[tuple(np.round(v * 1e9).astype(int))] for v in quad] for quad in vertices])


PART_TONES = {1: "0.55", 2: "0.85", 3: "0.97", 4: "0.25"}
PART_NAMES = {1: "side", 2: "lining", 3: "plate", 4: "binding"}


def draw_joint(geometry, path):
    """Draw the cross-section of a JointGeometry, and beside it the section turned by a moment; returns the path."""
    body, C, _, parts = section_solid(geometry)
    u = solve_corner(geometry, body, C)[0][..., 3]
    strains = body.strains(u[..., None])[..., 0]
    energy = np.einsum("eqs,est,eqt,eq->e", strains, C, strains, body.weight) / body.weight.sum(axis=1)
    quads, here = _faces(body)
    side = abs(body.points[:, 2] - body.points[:, 2].min()) < 1e-9
    still = u[:, 1:] - _rigid(body.points[:, 1:], u[:, 1:], side)
    section = 1e3 * body.points[:, 1:]
    bent = section + still * 0.15 * np.ptp(section) / abs(still).max()
    figure = Figure(figsize=(9, 5), layout="constrained")
    axes = figure.subplots(1, 2, sharex=True, sharey=True)
    tones = [PART_TONES[part] for part in parts[here]]
    axes[0].add_collection(PolyCollection(section[quads], facecolors=tones, edgecolors="face", linewidths=0.3))
    shade = np.sqrt(np.minimum(energy[here] / np.percentile(energy[here], 99), 1))
    shaded = PolyCollection(bent[quads], array=shade, cmap=SHADES, edgecolors="face", linewidths=0.3)
    shaded.set_clim(0, 1)
    axes[1].add_collection(shaded)
    for ax in axes:
        ax.set_aspect("equal")
        ax.autoscale_view()
        ax.set_xlabel("inward, mm")
    axes[0].set_ylabel("out of the plate, mm")
    axes[0].set_title("section: " + ", ".join(_legend(parts)), fontsize=9)
    axes[1].set_title("turned by a moment at the plate's end; dark: most strain", fontsize=9)
    with matplotlib.rc_context({"svg.hashsalt": "rimwork", "svg.fonttype": "none"}):
        figure.savefig(Path(path), dpi=150)
    return Path(path)


def _legend(parts):
    shades = {1: "mid grey", 2: "light grey", 3: "white", 4: "black"}
    return [f"{PART_NAMES[part]} {shades[part]}" for part in np.unique(parts)]


def _rigid(points, u, where):
    """Rigid motion in the plane that fits u best at the nodes `where`, at all points."""
    one, nil = np.ones(len(points)), np.zeros(len(points))
    modes = np.array([np.array([one, nil]).T, np.array([nil, one]).T, np.array([-points[:, 1], points[:, 0]]).T])
    weights = np.linalg.lstsq(modes[:, where].reshape(3, -1).T, u[where].ravel(), rcond=None)[0]
    return np.einsum("k,knd->nd", weights, modes)


def _faces(body):
    """Corner nodes (k, 4) of the elements that touch t = 0, in order around each face, and those elements."""
    vertices = body.mesh.p.T[body.mesh.t.T]
    here = np.flatnonzero(vertices[:, :, 0].min(axis=1) < 1e-9)
    order = {tuple(np.round(p * 1e9).astype(int)): i for i, p in enumerate(body.points)}
    quads = []
    for corners in vertices[here]:
        face = corners[corners[:, 0] < 1e-9]
        around = np.argsort(np.arctan2(*(face[:, 1:] - face[:, 1:].mean(axis=0)).T))
        quads.append([order[tuple(np.round(p * 1e9).astype(int))] for p in face[around]])
    return np.array(quads), here
