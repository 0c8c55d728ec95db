"""The plate-to-rim joint: statics, hand formulas, the model's own corner against a solid one, and what a rebate does."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp

from fem.forms import CORNER_ANGLES
from fem.materials import Wood, isotropic
from fem.mesh import InterfaceSpring, ShellMesh, Surface, unit_normals
from fem.model import assemble, weights
from fem.sections import Layer, Section, joint, laminate
from fem.sections import corner as corner_section
from fem.solid import solid_losses
from meshes import joint_section
from meshes.joint_geometry import LAND, JointGeometry, at_grain
from meshes.joint_section import (
    Corner,
    beyond,
    corner,
    glue_area,
    joint_tables,
    positive,
    side_behind_rebate,
    split,
    to_corner,
    wood_behind_rebate,
)
from meshes.joint_shell import shell_compliance, shell_sections
from meshes.joint_solid import (
    FINE,
    GLUE,
    GLUE_LINE,
    IN_GLUE,
    _woods,
    ends,
    plate_bending,
    section_solid,
    solid_compliance,
    solve_corner,
)
from meshes.kerf_cell import KerfCell, lining_terms
from meshes.land import land_section

MM = 1e-3
COARSE = 0.4 * MM
# Like sugar maple, Honduras mahogany, Sitka spruce of the Wood Handbook FPL-GTR-282, ch. 5; losses for the test only
MAPLE = Wood("maple", 13.9e9, 1.83e9, 1.54e9, 0.873e9, 0.2e9, 0.424, 700, 0.9e9, 0.476, 0.774, 0.01, 0.03, 0.02)
MAHOGANY = Wood(
    "mahogany", 11.3e9, 1.21e9, 0.748e9, 0.974e9, 0.317e9, 0.314, 543, 0.725e9, 0.533, 0.6, 0.008, 0.025, 0.02
)
SPRUCE = Wood("spruce", 11.9e9, 0.93e9, 0.76e9, 0.73e9, 0.036e9, 0.372, 448, 0.51e9, 0.467, 0.435, 0.005, 0.02, 0.016)
PLASTIC = isotropic("plastic binding", 2.2e9, 0.38, 1200, 0.05)
KERFED = KerfCell(2.2 * MM, MAPLE, 6 * MM, 14 * MM, MAHOGANY, 8 * MM, 1 * MM, 1.2 * MM)
SOLID = replace(KERFED, web=6 * MM)
LINED = JointGeometry(SOLID, 2.8 * MM, SPRUCE, 0.0, 1.7 * MM, 6 * MM, MAPLE)
BARE = JointGeometry(SOLID, 2.8 * MM, SPRUCE, 0.0, lined=False)


REVERSED = replace(KERFED, kerf_side="side")
WHOLE = replace(LINED, rebate_width=0.0, rebate_height=0.0, binding_wood=None)
HINGE = replace(BARE, rebate_width=1.7 * MM, rebate_height=6 * MM)  # .5 mm of side left behind an open rebate


@pytest.fixture(scope="module", autouse=True)
def own_cache(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RIMWORK_CACHE", str(tmp_path_factory.mktemp("cache")))
        yield


def at_corner(geometry, beyond, fine=COARSE):
    """Solid minus shell, loads moved to the corner, for pieces cut `beyond` thicknesses from it."""
    A, B = ends(geometry, beyond)
    move = np.eye(4)
    move[3, 2] = -A
    return (
        move.T
        @ (solid_compliance(geometry, fine, beyond)[0].sum(axis=0) - sum(shell_compliance(geometry, A, B)))
        @ move
    )


# --- the shells' corner, and what must not matter ---


def test_shell_corner_by_hand():
    """Two cantilevers in a row, grain along the edge: textbook beam formulas with plane strain along the edge.

    The plate has 1 + 9 E_L/E_R times its bending stiffness on the land, ten times G_LR h, and 9 times its larger shear stiffness
    more. .3 %: the rotation of the shells about their normals holds on a little at the corner.
    """
    A, B = 20 * MM, 12 * MM
    w, h, s, t = SPRUCE, 2.8 * MM, MAPLE, 2.2 * MM
    in_plane = 1 - w.nu_LR**2 * w.E_R / w.E_L
    D, D_L = (E / in_plane * h**3 / 12 for E in (w.E_R, w.E_L))
    S, S_land = 5 / 6 * w.G_RT * h, 5 / 6 * h * (w.G_RT + 9 * w.G_LT)
    Es = s.E_R / (1 - s.nu_LR**2 * s.E_R / s.E_L)
    Ds = Es * t**3 / 12
    plate, rim = shell_compliance(BARE, A, B)
    b, on_land = A - LAND, D + 9 * D_L
    assert plate_bending(BARE) == pytest.approx(D)
    assert plate[3, 3] == pytest.approx(LAND / on_land + b / D, rel=3e-3)
    assert plate[2, 3] == pytest.approx((A**2 - b**2) / 2 / on_land + b**2 / 2 / D, rel=3e-3)
    by_shear = LAND / S_land + b / S
    assert plate[2, 2] == pytest.approx((A**3 - b**3) / 3 / on_land + b**3 / 3 / D + by_shear, rel=3e-3)
    assert plate[0, 0] == pytest.approx(LAND / (10 * w.G_LR * h) + b / (w.G_LR * h), rel=3e-3)
    assert plate[1, 1] == pytest.approx(A * in_plane / (w.E_R * h), rel=3e-3)
    assert rim[3, 3] == pytest.approx(B / Ds, rel=3e-3)
    assert rim[2, 3] == pytest.approx(A * B / Ds, rel=3e-3)
    assert rim[1, 3] == pytest.approx(-(B**2) / (2 * Ds), rel=3e-3)
    assert rim[0, 0] == pytest.approx(B / (s.G_LR * t), rel=3e-3)


@pytest.mark.parametrize("degrees", [0, 45, 90])
def test_joint_does_not_depend_on_where_the_pieces_are_cut(degrees):
    """Saint-Venant: plate and side as shells must take over exactly what the solid does, off the grain too.

    Tolerance: 1 % of the compliance of the pieces, which grows with their length while the joint's must not.
    """
    geometry = at_grain(LINED, np.radians(degrees))
    near, far = at_corner(geometry, 2.5), at_corner(geometry, 5)
    pieces = np.diag(sum(shell_compliance(geometry, *ends(geometry))))
    assert np.diag(far) / pieces == pytest.approx(np.diag(near) / pieces, abs=0.01)
    assert near == pytest.approx(near.T, rel=1e-6, abs=1e-9 * abs(near).max())


def test_grain_to_the_left_and_to_the_right_mirror():
    left, right = (at_corner(replace(LINED, grain_angle=angle), 2.5) for angle in (0.5, -0.5))
    assert np.diag(left) == pytest.approx(np.diag(right), rel=1e-3)  # the strip's triangles are not mirrored
    assert (
        left[0, 3] == pytest.approx(-right[0, 3], rel=1e-3) and abs(left[0, 3]) > 1e-9
    )  # sliding along the edge turns


def test_rolling_shear_of_the_corner_of_a_side_without_lining():
    """The square where plate and side overlap carries the moment in shear, as the panel zone of a steel frame's corner.

    6/5 1/(G_RT h t): 6/5 for a parabolic spread, as in a beam. 15 %: the corner's own spread is not that of a beam.
    Only the difference between two G_RT is compared: shells know nothing of it.
    """
    soft, stiff = (replace(BARE, plate_wood=replace(SPRUCE, G_RT=G)) for G in (30e6, 90e6))
    found = at_corner(soft, 2.5)[3, 3] - at_corner(stiff, 2.5)[3, 3]
    assert found == pytest.approx(1.2 * (1 / 30e6 - 1 / 90e6) / (2.8 * MM * 2.2 * MM), rel=0.15)


# --- the model's corner against the solid ---


def strip(geometry, found, width=0.03, cells=2):
    """Compliance (4, 4) at the plate's cut end of the regions as build and joints make them, springs and all, per length.

    Plate and side have nodes of their own at the corner; the strip is periodic along the edge.
    """
    A, B = ends(geometry)
    low = geometry.rim.lining_height if geometry.lined else 8 * MM
    t, runs = np.linspace(0, width, cells + 1), ([0, LAND, *([A] if A > LAND + 1e-9 else [])], [-B, -low, 0])
    nodes, triangles, grids = [], [], []
    for run, place in zip(runs, (lambda x, s: (x, s, 0 * s), lambda x, s: (x, 0 * s, s))):
        x, s = np.meshgrid(t, np.array(run), indexing="ij")
        k = np.arange(x.size).reshape(x.shape) + sum(map(len, nodes))
        nodes.append(np.column_stack([v.ravel() for v in place(x, s)]))
        a, b, c, d = (v.ravel() for v in (k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]))
        pairs = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
        triangles.append(pairs)
        grids.append(k)
    of_plate = len(triangles[0])
    nodes, triangles = np.concatenate(nodes), np.concatenate(triangles)
    middle = nodes[triangles].mean(axis=1)
    number = np.arange(len(triangles))
    along, angle = np.array([1.0, 0, 0]), geometry.grain_angle
    on = {"top": (number < of_plate, (np.cos(angle), np.sin(angle), 0)), "sides": (number >= of_plate, along)}
    on["top/land"] = (number < of_plate) & (middle[:, 1] < LAND), along
    if geometry.lined:
        on["lining"] = (number >= of_plate) & (middle[:, 2] > -low), along
    surfaces = {r: Surface(np.flatnonzero(at), np.tile(d, (at.sum(), 1))) for r, (at, d) in on.items()}
    edge = lambda grid, column: np.column_stack([grid[:-1, column], grid[1:, column]])
    plate, side = edge(grids[0], 0), edge(grids[1], -1)
    spring = InterfaceSpring(plate, side, np.tile([0.0, 1, 0], (cells, 2, 1)), np.full(cells, angle))
    springs = dict.fromkeys(("glue", "of plate", "of rim"), spring)
    edges = {"end": edge(grids[0], -1), "foot": edge(grids[1], 0)}
    normal = unit_normals(nodes, triangles)
    assert (normal[:of_plate, 2] > 0.99).all() and (normal[of_plate:, 1] < -0.99).all()  # outward
    model = assemble(ShellMesh(nodes, triangles, normal, surfaces, {}, springs, edges))

    rim = geometry.rim
    parts = {"top": laminate([Layer(geometry.plate_wood, geometry.plate_thickness)])}
    parts["sides"] = laminate([Layer(rim.side_wood, rim.side_thickness)])
    parts["top/land"] = land_section(geometry.plate_wood, geometry.plate_thickness)
    terms = lining_terms(rim).stiffness
    parts["lining"] = Section(
        "shell", {k: -f if k[0] == "B" else f for k, f in terms.items()}, {}, {}
    )  # z is outward here
    parts |= {region: corner_section(k, 0.0, "joint") for region, k in zip(springs, found.stiffness())}
    about = {kind: joint().stiffness[kind] for kind in ("ca", "cb")}
    parts["glue"] = replace(parts["glue"], stiffness=parts["glue"].stiffness | about)
    parts = {r: s for r, s in parts.items() if r in {*surfaces, *springs}}

    points, space = model.space.points, model.space
    piece = np.zeros(len(points))
    piece[np.unique(space.basis.dofs.element_dofs[:, :of_plate])] = 1
    place = [tuple(row) for row in np.round(np.column_stack([1e6 * points[:, 1:], piece])).astype(int)]
    first = {place[i]: i for i in np.flatnonzero(points[:, 0] < 1e-9)}
    master = [first[place[i]] if points[i, 0] > width - 1e-9 else i for i in range(len(points))]
    unknown = (6 * np.array(master)[:, None] + np.arange(6)).ravel()
    tie = sp.csr_array((np.ones(model.size), (np.arange(model.size), unknown)), (model.size, model.size))
    F = np.zeros((model.size, 4))
    _, phi, _, weight, _ = space.edge_fields(edges["end"], 4)
    for load in range(4):
        np.add.at(F[:, load], 6 * space.edge_nodes(edges["end"]) + load, weight @ phi / width)
    held = [6 * space.edge_nodes(edges["foot"]).ravel() + c for c in range(6)]
    held = unknown[np.concatenate([*held, 6 * space.edge_nodes(edges["end"]).ravel() + 4])]
    free = np.setdiff1d(unknown, held)
    K, F = (tie.T @ model.matrix("K", weights(parts)) @ tie).tocsc(), tie.T @ F
    u = np.zeros_like(F)
    u[free] = sp.linalg.splu(K[free][:, free]).solve(F[free])
    return width * F.T @ u


LININGS = {"kerfed": KERFED, "reversed": REVERSED, "solid": SOLID}
CASES = [(name, rebated, angle) for name in LININGS for rebated in (False, True) for angle in CORNER_ANGLES]


@pytest.mark.parametrize("plate", ["top", "back"])
@pytest.mark.parametrize("name, rebated, degrees", CASES)
def test_the_models_corner_yields_as_the_solid_does(name, rebated, degrees, plate, record):
    """Plate, land, side, lining and springs as the model has them, against a solid with boxes of half the size: moment, shear,
    inward and along-edge load and their couplings, over the solid's own compliances.

    1 %: .3 % for boxes of .4 mm in place of .1 and less (coarse here, for time); the rest is the shells' own mesh.
    """
    geometry = at_grain(replace(LINED if rebated else WHOLE, rim=LININGS[name]), np.radians(degrees))
    if plate == "back":
        geometry = replace(geometry, plate_wood=MAPLE, plate_thickness=2.5 * MM)
    found = corner(geometry, COARSE)
    assert found.clipped < 0.001
    solid = solid_compliance(geometry, COARSE / 2)[0].sum(axis=0)
    size = np.sqrt(np.outer(np.diag(solid), np.diag(solid)))
    model = strip(geometry, found)
    if plate == "top" and rebated:
        record(
            f"joint of plate and rim, {name} lining, grain at {degrees} degrees",
            "own: orthotropic solid elements; along the edge, inward, out of the plate, moment",
            np.diag(solid),
            np.diag(model),
            "m2/N, 1/N",
        )
    assert np.abs(model - solid).max(where=size > 0, initial=0) >= 0
    assert model / size == pytest.approx(solid / size, abs=0.01)


@pytest.mark.parametrize("degrees", [-45, 22.5, 67.5])
def test_between_the_angles_the_corner_is_near_the_solid(degrees):
    """3 % of the solid's compliances; sliding along the edge 20 %: that is 3 mm of plate in shear along the edge.

    -45: grain to the other side, couplings change sign.
    """
    geometry = at_grain(LINED, np.radians(degrees))
    solid = solid_compliance(geometry, COARSE)[0].sum(axis=0)
    size = np.sqrt(np.outer(np.diag(solid), np.diag(solid)))
    off = (strip(geometry, corner(geometry, COARSE)) - solid) / size
    assert abs(off[0, 0]) < 0.2
    off[0, 0] = 0
    assert np.abs(off).max() < (0.01 if degrees == -45 else 0.03)


def test_without_the_springs_the_corner_is_stiffer_than_the_solid_in_every_load():
    """So that no spring need be negative; and the springs are a good part of it: dropped, the test above fails."""
    for geometry in (LINED, WHOLE, replace(LINED, rim=KERFED, plate_wood=MAPLE)):
        for degrees in CORNER_ANGLES:
            remainder = at_corner(at_grain(geometry, np.radians(degrees)), 2.5)
            size = np.sqrt(np.diag(solid_at_corner(at_grain(geometry, np.radians(degrees)))))
            assert np.linalg.eigvalsh(remainder / np.outer(size, size)).min() > -1e-3
            assert (np.diag(remainder) / size**2).max() > 0.3


def solid_at_corner(geometry, fine=COARSE):
    move = to_corner(geometry)
    return move.T @ solid_compliance(geometry, fine)[0].sum(axis=0) @ move


def test_land_does_not_ask_what_the_lining_is():
    """Other rims, same land: only the springs are weighed anew."""
    lands = [
        shell_sections(g)["plate/land"]
        for g in (LINED, BARE, replace(LINED, rim=KERFED), replace(LINED, rebate_width=0.0))
    ]
    assert all(land == lands[0] for land in lands)
    assert not lands[0].mass and set(lands[0].stiffness) == {"D22", "S44", "S55", "A66"}  # nothing in stretch


def test_boxes_are_fine_enough():
    """Against half and a quarter of the size: the whole corner .2 %, the tractions on the glue line 5 %, then .8 %: converging."""
    for geometry in (LINED, BARE, at_grain(LINED, np.pi / 2)):
        coarse, fine, finest = (solid_compliance(geometry, size)[0] for size in (FINE, FINE / 2, FINE / 4))
        assert np.diag(coarse.sum(axis=0)) == pytest.approx(np.diag(finest.sum(axis=0)), rel=2e-3)
        moved = [np.diag(to_corner(geometry).T @ glue[0] @ to_corner(geometry)) for glue in (coarse, fine, finest)]
        assert moved[0] == pytest.approx(moved[2], rel=0.05)
        assert moved[1] == pytest.approx(moved[2], rel=0.012)


def test_a_side_without_lining_is_softer_than_the_solid_in_one_direction_and_says_so():
    """Inward, grain square to the edge: the plate lies upon the side's end, the shell begins at its middle. 4 %, told."""
    found = corner(BARE, COARSE)
    assert 0.02 < found.clipped < 0.06
    assert f"{100 * found.clipped:.1f} % softer" in found.words()
    assert corner(LINED, COARSE).clipped < 1e-3 and "softer" not in corner(LINED, COARSE).words()


# --- what cannot be: a corner softer than the solid ---


def test_what_is_negative_is_refused_and_told():
    """A shell corner softer than the solid in one direction: that spring is left out, not made negative; by how much is said."""
    solid = np.zeros((3, 4, 4))
    solid[1] = np.diag([1.0, 1, 1, 4])
    parts, change = split(*beyond(solid, np.diag([0.5, 0.5, 0.5, 4.8]), np.zeros((4, 4))))
    assert np.diag(parts.sum(axis=0)) == pytest.approx([0.5, 0.5, 0.5, 0])
    assert change == pytest.approx(0.2)  # .8 over 4
    said = Corner(np.array([parts]).swapaxes(0, 1).repeat(3, 1), np.zeros((4, 3)), change, 0.004).words()
    assert "20.0 % softer" in said and "cannot be negative" in said
    assert "softer" not in Corner(np.zeros((3, 3, 4, 4)), np.zeros((4, 3)), 0.0, 0.004).words()


def test_positive_keeps_what_is_and_cuts_what_is_not():
    A = np.array([[2.0, 1], [1, 2]])
    assert positive(A) == pytest.approx(A)
    turned = np.array([[0.0, 1], [1, 0]])  # 1 along (1, 1), -1 along (1, -1)
    assert positive(turned) == pytest.approx(np.full((2, 2), 0.5))


@pytest.mark.parametrize("geometry", [LINED, WHOLE, HINGE, replace(LINED, rim=KERFED)])
def test_springs_are_positive_in_each_part(geometry):
    found = corner(geometry, COARSE)
    for C in found.compliance.reshape(-1, 4, 4):
        assert np.linalg.eigvalsh(C).min() > -1e-9 * abs(C).max()
    for K in found.stiffness().reshape(-1, 4, 4):
        size = np.sqrt(np.diag(K).clip(1e-300))
        assert np.linalg.eigvalsh(K / np.outer(size, size)).min() > -1e-6


def test_parts_side_by_side_store_what_they_store_in_a_row():
    """Under one force F the part i of springs K_i = K C_i K holds F' C_i F; together they are the whole."""
    found = corner(LINED, COARSE)
    C, K = found.compliance[:, 1], found.stiffness()[:, 1]
    F = np.array([1e3, -2e3, 5e2, 30.0])
    jump = np.linalg.solve(K.sum(axis=0), F)
    assert jump == pytest.approx(C.sum(axis=0) @ F, rel=1e-2)  # a rigid joint's own compliance comes on top
    assert [jump @ k @ jump for k in K[1:]] == pytest.approx([F @ c @ F for c in C[1:]], rel=1e-6)


# --- the glue line ---


def test_glue_stores_what_the_tractions_on_it_make():
    """(s_b^2/M + (s_tb^2 + s_ab^2)/G) times the line's thickness, integrated over the joint, from the stresses."""
    for geometry in (LINED, BARE):
        body, C, parts = section_solid(geometry, FINE)
        u, _ = solve_corner(geometry, body, C, 2.5)
        at = parts == IN_GLUE
        stress = np.einsum("eij,eqjc->eqic", C[at], body.strains(u)[at])
        area = body.weight[at] / GLUE_LINE / np.ptp(body.points[:, 0])
        M = GLUE.E_L * (1 - GLUE.nu_LR) / (1 + GLUE.nu_LR) / (1 - 2 * GLUE.nu_LR)
        shear = stress[:, :, 3] ** 2 + stress[:, :, 4] ** 2
        made = GLUE_LINE * np.einsum("eq,eqc->c", area, stress[:, :, 2] ** 2 / M + shear / GLUE.G_LR)
        held = np.diag(solid_compliance(geometry, FINE)[0][0])
        assert made == pytest.approx(held, rel=1e-6)


def test_glue_under_a_push_along_the_edge_by_hand():
    """A side without lining: shear flow over the side's thickness, 1/(G_glue) line/width; 25 %: it crowds toward the plate."""
    held = solid_compliance(BARE, FINE)[0][0]
    assert held[0, 0] == pytest.approx(GLUE_LINE / (GLUE.G_LR * 2.2 * MM), rel=0.25)


def test_thicker_glue_yields_more(monkeypatch):
    """Twice the line: 1.5 to 2 times its compliance, for a softer line takes peaks off; the corner as a whole hardly knows."""
    thin = solid_compliance(LINED, FINE)[0]
    monkeypatch.setattr("meshes.joint_solid.GLUE_LINE", 2 * GLUE_LINE)
    thick = solid_compliance(LINED, FINE)[0]
    assert 1.5 < thick[0, 3, 3] / thin[0, 3, 3] < 2
    assert thick[:, 3, 3].sum() == pytest.approx(thin[:, 3, 3].sum(), rel=0.01)


# --- kerfs and rebates ---


def test_kerfs_hardly_matter_to_the_joint_but_sliding():
    """The plate is glued to block after block: turned at the edge, kerfed and solid differ by less than 2 %."""
    solid, kerfed = (solid_at_corner(replace(LINED, rim=rim)) for rim in (SOLID, KERFED))
    assert 0 < kerfed[3, 3] / solid[3, 3] - 1 < 0.02
    assert kerfed[0, 0] > 1.1 * solid[0, 0]


def test_rebate_without_lining_makes_a_hinge():
    """0.5 mm of side left behind an open rebate, bent over the 3.2 mm below the plate: at least that strip alone."""
    opened, plastic, maple = (
        corner(replace(HINGE, binding_wood=binding), COARSE) for binding in (None, PLASTIC, MAPLE)
    )
    strip_alone = 3.2 * MM / (MAPLE.E_R * (0.5 * MM) ** 3 / 12)
    side = 3.2 * MM / (MAPLE.E_R * (2.2 * MM) ** 3 / 12)
    turn = lambda found: found.compliance.sum(axis=0)[0, 3, 3]
    assert turn(opened) > 0.9 * (strip_alone - side)
    assert opened.compliance[2, 0, 3, 3] > 0.9 * (strip_alone - side)  # in the rim's wood
    assert turn(opened) > 10 * max(turn(maple), turn(plastic))
    of_rim = lambda found, binding: found.losses(replace(HINGE, binding_wood=binding))[1]
    assert of_rim(plastic, PLASTIC) > of_rim(maple, MAPLE)  # a lossy binding makes a lossy corner


def test_plate_is_clamped_inside_the_sides_middle_by_a_lining():
    """Between the side's middle and the lining's inner face; a bare side clamps it outside of where the mesh has its corner."""
    lined, bare = corner(LINED, COARSE), corner(BARE, COARSE)
    assert 2 * MM < lined.clamped < 7.1 * MM
    assert bare.clamped < 0.5 * MM
    assert f"clamped {1e3 * lined.clamped:.1f} mm inside" in lined.words()


def test_wood_left_and_glue_area_by_hand():
    kerfed = replace(LINED, rim=KERFED)
    assert side_behind_rebate(kerfed) == pytest.approx(0.5 * MM)
    assert wood_behind_rebate(kerfed) == pytest.approx((0.5 + 6 - 4.8 / 8) * MM)
    assert glue_area(kerfed) == pytest.approx((0.5 + 5.4) * MM)  # 5.9 mm2 per mm of edge
    shallow = replace(kerfed, rebate_height=2.5 * MM)  # cuts the plate's edge only
    assert side_behind_rebate(shallow) == pytest.approx(2.2 * MM)
    assert glue_area(shallow) == pytest.approx(5.9 * MM)  # binding stands where the plate's edge was
    deep = replace(LINED, rim=replace(KERFED, kerf_side="side"), rebate_width=3.2 * MM)  # 1 mm into the kerfed zone
    assert side_behind_rebate(deep) == 0
    assert wood_behind_rebate(deep) == pytest.approx((5 - 3.8 / 8) * MM)
    assert glue_area(BARE) == pytest.approx(2.2 * MM)


def test_joint_is_kept_on_disk_and_damage_is_survived(tmp_path, monkeypatch):
    monkeypatch.setenv("RIMWORK_CACHE", str(tmp_path))
    joint_tables.cache_clear()
    first = joint_tables(BARE, COARSE)["solid"]
    (file,) = tmp_path.glob("joint-*.json")
    with monkeypatch.context() as patched:
        patched.setattr(joint_section, "solid_compliance", None)  # calling it would fail
        joint_tables.cache_clear()
        assert joint_tables(BARE, COARSE)["solid"] == pytest.approx(first)
    for damage in ("", "[]", '{"solid": [[1]], "heat": 2}'):
        file.write_text(damage)
        joint_tables.cache_clear()
        assert joint_tables(BARE, COARSE)["solid"] == pytest.approx(first)


def test_losses_are_those_of_the_woods_at_the_corner():
    """By hand from the solid's stresses at one angle; a wood whose losses are not known leaves its part unknown, not the other."""
    one = at_grain(BARE, 0.0)
    shares = solid_compliance(one, COARSE)[1]
    assert (shares[[0, 2]] > 0).any(axis=1).all() and not shares[[1, 3]].any()  # no lining, no binding
    assert 0.9 < shares[2].sum() < 1.1  # the rest is Poisson's part
    body, C, parts = section_solid(one, COARSE)
    u, _ = solve_corner(one, body, C, 2.5)
    strains = body.strains(u)[parts == 3][..., 3]
    Q = sum(solid_losses(*_woods(one)[3]).values())
    weight = body.weight[parts == 3]
    energy = lambda C: np.einsum("eq,eqi,ij,eqj->", weight, strains, C, strains)
    hand = energy(Q) / energy(C[parts == 3][0])
    assert Corner(np.zeros((3, 3, 4, 4)), shares).losses(one)[0] == pytest.approx(hand, rel=1e-6)
    quiet = replace(BARE, plate_wood=replace(SPRUCE, loss_R=None))
    of_plate, of_rim = corner(BARE, COARSE).losses(quiet)
    assert of_plate is None and of_rim == pytest.approx(corner(BARE, COARSE).losses(BARE)[1])
    assert corner(quiet, COARSE).compliance == pytest.approx(corner(BARE, COARSE).compliance)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"rebate_width": 8 * MM}, "rebate_width = 8 mm; expected between 0 and 6.56 mm .the rebate must leave wood"),
        ({"plate_thickness": 28 * MM}, "plate_thickness = 28 mm"),
        ({"rebate_height": float("nan")}, "rebate_height"),
        ({"grain_angle": float("inf")}, "grain_angle"),
    ],
)
def test_impossible_joints_are_named(change, words):
    with pytest.raises(ValueError, match=words):
        replace(LINED, **change)
