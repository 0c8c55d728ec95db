"""Carved braces and plates: sections against the shape itself and a two-dimensional torsion solution, plates of varying
thickness against beam theory, and the sheet's keys for them."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
import scipy.sparse.linalg as sla
import shell_cases as cases
from test_beams import WOOD, Alone
from test_sheet import bar, built, mistakes_of

from fem.bar_forms import Form, columns, moments, torsion
from fem.eigen import fixed_unknowns
from fem.elements import shell_operators, space
from fem.mesh import ShellMesh, Surface
from fem.model import assemble, weights
from fem.reduce import reduce
from fem.sections import Layer, beam, laminate
from meshes.build import mesh_body
from meshes.carving import brace_heights, brace_volume, mean_thickness, section_outline, thickness_at
from meshes.describe import check_text, masses
from meshes.drawing import draw_plan
from meshes.outline import point_at, where_x
from meshes.parts import sections

W, H = 0.009, 0.014  # m
FORMS = {
    "half round": Form("rounded", 4.5 / 14, 0.0, W / H),
    "half ellipse": Form("rounded", 1.0, 0.0, W / H),
    "parabola": Form("parabolic", 0.7, 0.0, W / H),
    "gable": Form("gabled", 1.0, 0.25, W / H),
    "ridge": Form("gabled", 0.6, 0.0, W / H),
}  # fmt: skip


def width_at(form, z, width, height, full):
    """Width [m] at heights z [m] of a bar that is `height` high and `full` where it is highest, from the words of Form."""
    cap = min(form.cap * full, height)
    u = ((z - height + cap) / cap).clip(0, 1)
    shape = {"rounded": np.sqrt(1 - u**2), "parabolic": np.sqrt(1 - u), "gabled": 1 - (1 - form.top) * u}
    return width * np.where(z < height - cap, 1.0, shape[form.kind])


def counted(form, tau, n=200_000):
    """A, S, I about the underside and I_b of W x H from n slices."""
    z = (np.arange(n) + 0.5) / n * tau * H
    w, dz = width_at(form, z, W, tau * H, H), tau * H / n
    return [np.sum(w * z**k) * dz for k in (0, 1, 2)] + [np.sum(w**3) * dz / 12]


def two_dimensional_torsion(form, tau, n=240):
    """Saint-Venant's J [m4] by finite differences: laplace(phi) = -2, phi = 0 outside, J = 2 int phi; n cells upward.

    The distance to the boundary beside a node enters its difference (Shortley and Weller), so curved flanks are seen.
    """
    height = tau * H
    step = height / n
    columns_ = int(np.ceil(W / 2 / step)) + 1
    i, j = np.meshgrid(np.arange(-columns_, columns_ + 1), np.arange(1, n), indexing="ij")
    x, z = i * step, j * step
    half = width_at(form, z, W, height, H) / 2
    inside = np.abs(x) < half - 1e-9 * step
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(inside.sum())
    rows, cols, values = [], [], []
    centre = np.zeros(inside.sum())
    fine = np.linspace(0, height, 40_001)
    half_of = lambda height_: np.interp(height_, fine, width_at(form, fine, W, height, H) / 2)
    for axis, (dx, dz) in (("x", (1, 0)), ("z", (0, 1))):
        legs = []
        for sign in (-1, 1):
            neighbour = np.roll(number, (-sign * dx, -sign * dz), axis=(0, 1))
            if axis == "z":
                edge = -1 if sign > 0 else 0
                neighbour[:, edge] = -1
            leg = np.full(inside.shape, step)
            cut = inside & (neighbour < 0)
            if axis == "x":
                leg[cut] = (half - np.abs(x))[cut]
            else:
                low, high = np.zeros(cut.sum()), np.full(cut.sum(), step)
                for _ in range(40):
                    middle = (low + high) / 2
                    at = z[cut] + sign * middle
                    good = (np.abs(x[cut]) < half_of(at)) & (at > 0) & (at < height)
                    low, high = np.where(good, middle, low), np.where(good, high, middle)
                leg[cut] = np.maximum(low, 1e-6 * step)
            legs.append((leg[inside], neighbour[inside]))
        (a, na), (b, nb) = legs
        centre += 2 / (a * b)
        for leg, neighbour in ((a, na), (b, nb)):
            at = neighbour >= 0
            rows.append(np.flatnonzero(at))
            cols.append(neighbour[at])
            values.append(-2 / (leg * (a + b))[at])
    m = len(centre)
    A = sp.csc_array(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(cols))), shape=(m, m)
    ) + sp.diags_array(centre)
    return 2 * step**2 * float(sla.spsolve(A.tocsc(), np.full(m, 2.0)).sum())


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
@pytest.mark.parametrize("tau", [1.0, 0.5, 0.2])
def test_moments_are_those_of_the_shape(form, tau):
    found = [float(m) * unit for m, unit in zip(moments(form, tau), (W * H, W * H**2, W * H**3, H * W**3 / 12))]
    assert found == pytest.approx(counted(form, tau), rel=2e-6)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
@pytest.mark.parametrize("tau", [1.0, 0.6, 0.3])
def test_torsion_against_a_two_dimensional_solution(form, tau, record):
    """1.5 %: of Ritz's method and of reading its table; finite differences on 240 cells are within .5 % of a square's .1406."""
    exact = two_dimensional_torsion(form, tau)
    along_taper = float(columns(form, np.array([tau]))[6][0]) * torsion(form, W, H)
    if tau == 1:
        record(f"torsion constant, {form.kind}, cap {form.cap:.2g}", "finite differences", exact, along_taper, "m4")
    assert along_taper == pytest.approx(exact, rel=0.015)


def test_the_two_dimensional_solution_itself():
    square = Form("gabled", 1e-9, 1.0)  # Timoshenko and Goodier: .1406 a^4; Ritz's method must stay below
    wide = W / H
    assert torsion(square, 0.01, 0.01) == pytest.approx(0.1406e-8, rel=1e-3)
    triangle = Form("gabled", 1.0, 0.0)  # the equilateral one: sqrt(3) a^4 / 80
    assert torsion(triangle, 0.01, 0.01 * 3**0.5 / 2) == pytest.approx(3**0.5 * 1e-8 / 80, rel=1e-6)
    assert two_dimensional_torsion(Form("gabled", 1e-9, 1.0, wide), W / H) == pytest.approx(0.1406 * W**4, rel=5e-3)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_carved_cantilever_stretches_bends_and_twists(form):
    """Uniform, 0.4 m long, lifted: each stiffness by hand from counted moments; bending sideways too."""
    L, lift = 0.4, -0.002
    A, S, I_0, I_b = counted(form, 1.0)
    centroid = S / A
    I_c = I_0 - A * centroid**2
    rod = Alone(L, beam(WOOD, W, H, -centroid, form), form=form)
    N, P = 100.0, 0.3
    shear = L / (5 / 6 * A * 0.7e9)
    assert rod.tip([N, 0, 0, 0, 0, 0])[0] == pytest.approx(N * L / (WOOD.E_L * A), rel=1e-6)
    assert rod.tip([0, 0, P, 0, 0, 0])[2] == pytest.approx(P * (L**3 / (3 * WOOD.E_L * I_c) + shear), rel=1e-5)
    assert rod.tip([0, P, 0, 0, 0, 0])[1] == pytest.approx(P * (L**3 / (3 * WOOD.E_L * I_b) + shear), rel=1e-4)
    twist = rod.tip([0, 0, 0, 0.01, 0, 0])[3]
    assert twist == pytest.approx(0.01 * L / (0.7e9 * two_dimensional_torsion(form, 1.0)), rel=0.03)
    raised = Alone(L, beam(WOOD, W, H, lift, form), form=form).tip(
        [N, 0, 0, 0, 0, 0]
    )  # pull at the line, off the centroid
    arm = lift + centroid
    assert raised[0] == pytest.approx(N * L / WOOD.E_L * (1 / A + arm**2 / I_c), rel=1e-5)
    assert raised[2] == pytest.approx(N * arm * L**2 / (2 * WOOD.E_L * I_c), rel=1e-4)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_tapered_carved_cantilever(form):
    """Height falls to 0.3; P x^2 / EI(x) and shear integrated with counted moments; the rod lies on its own underside."""
    L, P = 0.4, 0.3
    rod = Alone(L, beam(WOOD, W, H, 0.0, form), 24, (1.0, 0.3), form=form)
    x = (np.arange(400) + 0.5) / 400 * L
    A, S, I_0, _ = np.array([counted(form, tau, 4000) for tau in 1 - 0.7 * x / L]).T
    I_c = I_0 - S**2 / A
    hand = P * np.sum((L - x) ** 2 / (WOOD.E_L * I_c) + 1 / (5 / 6 * 0.7e9 * A)) * L / 400
    assert rod.tip([0, 0, P, 0, 0, 0])[2] == pytest.approx(hand, rel=5e-3)
    x, J = (np.arange(30) + 0.5) / 30 * L, lambda tau: torsion(form, W, H, tau)
    twist = np.sum([0.01 / (0.7e9 * J(1 - 0.7 * at / L)) for at in x]) * L / 30
    assert rod.tip([0, 0, 0, 0.01, 0, 0])[3] == pytest.approx(twist, rel=0.01)


def tapered_strip(nx, to=0.5):
    """A strip 0.3 x 0.02 m whose thickness falls from 3 mm to `to` of that along x, grain along x."""
    mesh = cases.plate(0.3, 0.02, nx, 2)
    whole = mesh.surfaces["plate"]
    x = mesh.nodes[mesh.triangles[whole.triangles], 0]
    tau = 1 - (1 - to) * x / 0.3
    return ShellMesh(
        mesh.nodes, mesh.triangles, mesh.normal, {"plate": Surface(whole.triangles, whole.grain, tau)}, edges=mesh.edges
    )


@pytest.mark.parametrize("lift", [0.0, 0.0015], ids=["about its middle", "on its underside"])
def test_tapered_strip_bends_as_a_tapered_beam(lift, record):
    """Cantilever of linearly falling thickness under a tip load: P x^2 / EI(x) in closed form by quadrature; 1 %: anticlastic
    bending of a strip 15 times as long as wide."""
    t, P, L, b = 0.003, 0.2, 0.3, 0.02
    mesh = tapered_strip(20)
    model = assemble(mesh)
    K = model.matrix("K", weights({"plate": laminate([Layer(WOOD, t, lift)])}))
    fixed = fixed_unknowns(model.space, ["west"])
    nodes = model.space.nodes_of("east")
    F = np.zeros(model.size)
    F[6 * nodes + 2] = P / len(nodes)
    free = np.setdiff1d(np.arange(model.size), fixed)
    u = np.zeros(model.size)
    u[free] = sla.spsolve(K[free][:, free].tocsc(), F[free])
    x = (np.arange(20_000) + 0.5) / 20_000 * L
    h = t * (1 - 0.5 * x / L)
    hand = P * np.sum((L - x) ** 2 / (WOOD.E_L * b * h**3 / 12) + 1 / (5 / 6 * WOOD.G_LT * b * h)) * L / 20_000
    if not lift:
        record("strip thinned to half", "beam theory, integrated", hand, u[6 * nodes + 2].mean(), "m")
    assert u[6 * nodes + 2].mean() == pytest.approx(hand, rel=0.01)


def test_thinned_plate_weighs_its_mean_and_full_everywhere_is_the_plain_plate():
    whole = weights({"plate": laminate([Layer(WOOD, 0.003)])})
    step = lambda model: float(model.step @ (model.matrix("M", whole) @ model.step))
    assert step(assemble(tapered_strip(6))) == pytest.approx(450 * 0.3 * 0.02 * 0.003 * 0.75, rel=1e-9)
    full, plain = assemble(tapered_strip(6, to=1.0)), assemble(cases.plate(0.3, 0.02, 6, 2))
    for role in "KM":
        difference = full.matrix(role, whole) - plain.matrix(role, whole)
        assert abs(difference).max() < 1e-12 * abs(plain.matrix(role, whole)).max()


def test_a_plate_is_as_thick_at_each_point_as_its_corners_say():
    """Every power of the thickness over the full one at the points of quadrature, whatever way a triangle is counted."""
    mesh = tapered_strip(6)
    V = space(mesh)
    x = V.basis.global_coordinates()[0][mesh.surfaces["plate"].triangles]
    for operator in shell_operators(V, "plate", mesh.surfaces["plate"]):
        for power in (1, 2, 3):
            assert operator.profile[power] == pytest.approx((1 - 0.5 * x / 0.3) ** power, rel=1e-12)


def test_thinned_strip_turns_with_the_inertia_of_its_shape():
    """On its underside, turned about its middle line and moved sideways: rho int (h b^3/12 + b h^3/3), rho int b h^2/2."""
    model = assemble(tapered_strip(6))
    M = model.matrix("M", weights({"plate": laminate([Layer(WOOD, 0.003, 0.0015)])}))
    turn, aside = np.zeros((2, len(model.space.points), 6))
    turn[:, 2], turn[:, 3], aside[:, 1] = model.space.points[:, 1] - 0.01, 1, 1
    h, h2, h3 = 0.003 * 0.75, 0.003**2 * 7 / 12, 0.003**3 * 15 / 32  # means along it
    inertia, coupling = (a.ravel() @ (M @ turn.ravel()) for a in (turn, aside))
    assert inertia == pytest.approx(450 * 0.3 * (h * 0.02**3 / 12 + 0.02 * h3 / 3), rel=1e-6)
    assert coupling == pytest.approx(-450 * 0.3 * 0.02 * h2 / 2, rel=1e-6)


def test_reduced_terms_of_carved_parts_sum_to_the_full_ones():
    """K(p) = sum f K survives: a reduced model weighted anew equals the projection of the full one weighted anew."""
    form, mesh, rng = FORMS["gable"], tapered_strip(4), np.random.default_rng(3)
    line = cases.line_at(4, 2, 0.5, (0, 0, 1.0), (1.0, 0.4))
    line = replace(line, form=form)
    model = assemble(ShellMesh(mesh.nodes, mesh.triangles, mesh.normal, mesh.surfaces, {"rib": line}))
    V = rng.standard_normal((model.size, 8))
    reduced = reduce(model, V)
    for t, wood_times in ((0.003, 1.0), (0.002, 1.4)):
        other = beam(WOOD, wood_times * W, H, t / 2, form)
        w = weights({"plate": laminate([Layer(WOOD, t)]), "rib": other})
        for role in "KM":
            assert reduced.matrix(role, w) == pytest.approx(V.T @ (model.matrix(role, w) @ V), rel=1e-9)


# --- the sheet ---

SCALLOPED = bar(
    name="scalloped", from_mm=[120, -150], to_mm=[380, 120], section="gabled", top_width_mm=2, cap_mm=8, height_mm=15,
    height_profile_mm=[[0, 3], [70, 9], [180, 15], [260, 8], [374, 4]], ends={"kind": "free"},
)  # fmt: skip


def test_profile_is_counted_from_where_the_brace_is_drawn():
    brace = built(brace=[SCALLOPED]).braces[0]
    assert brace.form == Form("gabled", 8 / 15, 2 / 8, 8 / 15)
    found = brace_heights(brace, np.array([0.0, 0.035, 0.07, 0.18, 0.22]))
    assert 1e3 * found == pytest.approx([3, 6, 9, 15, 15 - 7 * 40 / 80], abs=1e-9)
    short = built(brace=[SCALLOPED | {"ends": {"kind": "stops_short", "gap_mm": 20}}]).braces[0]
    along = np.subtract(brace.end, brace.start) / brace.length
    moved = (np.array(short.start) - brace.start) @ along
    assert abs(moved) > 1e-3
    assert 1e3 * brace_heights(short, np.array([0.18 - moved])) == pytest.approx([15])


def test_volume_and_mesh_of_a_scalloped_brace_agree():
    body = built(brace=[SCALLOPED])
    brace = body.braces[0]
    run = (np.arange(4000) + 0.5) / 4000 * brace.length
    slices = [section_outline(brace, h) for h in brace_heights(brace, run[::20])]
    area = [abs(np.sum(p[:, 0] * np.roll(p[:, 1], -1) - np.roll(p[:, 0], -1) * p[:, 1])) / 2 for p in slices]
    assert brace_volume(brace) == pytest.approx(np.mean(area) * brace.length, rel=2e-3)
    mesh = mesh_body(body, 0.05)
    model = assemble(mesh)
    rib = {key: f for key, f in weights(sections(body)).items() if key[1] == "top_braces/scalloped"}
    assert model.step @ (model.matrix("M", rib) @ model.step) == pytest.approx(masses(body)["top_braces"], rel=2e-3)
    assert mesh.lines["top_braces/scalloped"].form == brace.form


def test_plate_thinned_toward_the_edge_and_by_a_map():
    table = {"thickness_mm": 3, "edge_thickness_mm": 2, "edge_width_mm": 50}
    body = built(top=table)
    x, y = point_at(body.outline, where_x(body.outline, 0.13)[-1])  # near the widest place: the side runs along x
    room = np.array([0.0, 0.025, 0.06])
    assert 1e3 * thickness_at(body, "top", np.column_stack([0 * room + x, y - room])) == pytest.approx(
        [2, 2.5, 3], abs=0.02
    )
    mapped = built(top={"thickness_map_mm": [[100, 0, 2.5], [300, 0, 3.5]]})
    assert 1e3 * thickness_at(mapped, "top", np.array([[0.1, 0], [0.2, 0], [0.3, 0], [0.45, 0]])) == pytest.approx(
        [2.5, 3, 3.5, 3.5]
    )
    model, w = assemble(mesh_body(body, 0.04)), weights(sections(body))
    top = {key: f for key, f in w.items() if key[1] == "top"}
    assert model.step @ (model.matrix("M", top) @ model.step) == pytest.approx(masses(body)["top"], rel=6e-3)
    assert mean_thickness(body, "top") < 2.8e-3 < mean_thickness(body, "back") + 0.2e-3


def test_maps_and_patches_lie_on_the_side_that_the_sheet_says():
    strip = {
        "name": "strip",
        "plate": "back",
        "thickness_mm": 2,
        "width_mm": 18,
        "from_mm": [100, 70],
        "to_mm": [200, 90],
    }
    body = built(top={"thickness_map_mm": [[250, -120, 2.2], [250, 120, 3.2]]}, patch=[strip])
    assert 1e3 * thickness_at(body, "top", [[0.25, -0.06], [0.25, 0.06]]) == pytest.approx([2.45, 2.95])
    mesh = mesh_body(body, 0.05)
    middle = lambda region: mesh.nodes[mesh.triangles[mesh.surfaces[region].triangles]].mean(axis=1)
    assert middle("back/strip")[:, :2].mean(axis=0) == pytest.approx([0.15, 0.08], abs=0.01)
    thick, y = 1e3 * body.top.thickness * mesh.surfaces["top"].taper.mean(axis=1), middle("top")[:, 1]
    assert thick[y > 0.05].min() > 2.7 > thick[y < -0.05].max()


def test_brace_lies_on_the_inner_face_of_a_thinned_plate():
    body = built(top={"thickness_mm": 3, "edge_thickness_mm": 2, "edge_width_mm": 200}, brace=[SCALLOPED])
    mesh = mesh_body(body, 0.05)
    line = mesh.lines["top_braces/scalloped"]
    middle = mesh.nodes[line.edges].mean(axis=1)[:, :2]
    lift = 0.0015 + line.offset @ [0, 0, -1]
    assert lift == pytest.approx(thickness_at(body, "top", middle) / 2) and lift.max() < 0.00149


def test_patches_are_weighed_meshed_and_told():
    ring = {"name": "ring", "plate": "top", "thickness_mm": 1.5, "around_soundhole_mm": 15}
    strip = {"name": "strip", "plate": "back", "thickness_mm": 2, "width_mm": 18, "from_mm": [60, 0], "to_mm": [400, 0]}
    body = built(patch=[ring, strip], top={"braced": False}, back={"braced": False})
    mesh = mesh_body(body, 0.02)
    assert {"top/ring", "back/strip"} <= set(mesh.surfaces) & set(sections(body))
    wood = body.patches[0].wood
    by_hand = (np.pi * (0.064**2 - 0.049**2) * 0.0015, 0.34 * 0.018 * 0.002)
    assert masses(body)["patches"] == pytest.approx(sum(by_hand) * wood.density, rel=1e-9)
    model, w = assemble(mesh), weights(sections(body))
    for region, volume in zip(("top/ring", "back/strip"), by_hand):
        own = {key: f for key, f in w.items() if key[1] == region}
        assert model.step @ (model.matrix("M", own) @ model.step) == pytest.approx(
            volume * wood.density, rel=0.05
        )  # facets of the hole
    layer = sections(body)["top/ring"].stiffness
    assert layer["B11"] / layer["A11"] == pytest.approx(-(body.top.thickness + 0.0015) / 2)
    assert "patch 'ring'" in check_text(body)


def test_carving_is_told_and_drawn(tmp_path):
    body = built(brace=[SCALLOPED], top={"edge_thickness_mm": 2})
    text = check_text(body)
    assert "'scalloped'" in text and "3.0, 9.0, 15.0, 8.0, 4.0 mm" in text and "top.edge_width_mm: 60 mm" in text
    plain, more = (tmp_path / name for name in ("plain.svg", "carved.svg"))
    draw_plan(built(brace=[bar()]), plain)
    draw_plan(body, more)
    assert "scalloped: 3.0 to 15.0 mm high" in more.read_text(encoding="utf-8")
    assert "mm high" not in plain.read_text(encoding="utf-8") and "Carving" not in check_text(built())


WRONG = {
    "cap without a section": ({"brace": [bar(cap_mm=4)]}, "section = 'rounded'"),
    "top of a rounded one": ({"brace": [bar(section="rounded", top_width_mm=4)]}, "section = 'gabled'"),
    "cap too high": ({"brace": [bar(section="gabled", cap_mm=20)]}, "at most height_mm = 14 mm"),
    "top too wide": ({"brace": [bar(section="gabled", top_width_mm=12)]}, "at most width_mm = 8 mm"),
    "profile too high": ({"brace": [bar(height_profile_mm=[[0, 3], [90, 18]])]}, "up to height_mm = 14 mm"),
    "profile too long": ({"brace": [bar(height_profile_mm=[[0, 3], [290, 8]])]}, "260 mm"),
    "profile backward": ({"brace": [bar(height_profile_mm=[[50, 3], [20, 8]])]}, "each at least 1 mm after"),
    "edge width alone": ({"top": {"edge_width_mm": 40}}, "edge_thickness_mm with it"),
    "map outside": ({"top": {"thickness_map_mm": [[100, 250, 2.5]]}}, "places on the plate"),
    "patch nowhere": ({"patch": [{"name": "p", "plate": "top", "thickness_mm": 2}]}, "around_soundhole_mm, or from_mm"),
    "ring on the back": (
        {"patch": [{"name": "p", "plate": "back", "thickness_mm": 2, "around_soundhole_mm": 9}]}, "the soundhole is there",
    ),
    "strip to the side": (
        {"patch": [{"name": "p", "plate": "back", "thickness_mm": 2, "width_mm": 9, "from_mm": [9, 0], "to_mm": [489, 0]}]},
        "keeps 5 mm from the side",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("tables", "told"), WRONG.values(), ids=WRONG)
def test_wrong_carving_is_told(tables, told):
    assert any(told in line for line in mistakes_of(**tables))
