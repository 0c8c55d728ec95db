"""Pre-stress: membrane and string-like strip, buckling of plates and of a column, Rayleigh's quotient and its bound."""

import numpy as np
import pytest
import scipy.linalg as sl
import scipy.sparse.linalg as spl
import shell_cases as cases

from fem.eigen import fixed_unknowns, modes
from fem.free_body import FreeBody
from fem.materials import Wood, isotropic
from fem.model import assemble, weights
from fem.prestress import frequency_ratio, geometric_stiffness, largest_ratio, membrane_forces, rayleigh
from fem.sections import Layer, beam, laminate
from fem.statics import deflect

WOOD = cases.stiff_in_shear(Wood("wood", 11e9, 0.9e9, 0.75e9, 0.7e9, 0.05e9, 0.37, 420.0))
A, B, H = 0.40, 0.25, 0.003  # m


def plate_case(grain=0.0, nx=8, ny=6, wood=WOOD, h=H):
    mesh = cases.plate(A, B, nx, ny, grain=grain, irregular=0.1)
    model, w = assemble(mesh), weights({"plate": laminate([Layer(wood, h)])})
    return model, w, cases.hard_support(model.space, A, B)


def pulled(model, w, n11, n22):
    """Membrane forces of a free plate pulled apart along x and y by edge forces [N/m]."""
    edges, F = model.space.mesh.edges, 0
    for side, axis, sign in (("east", 0, n11), ("west", 0, -n11), ("north", 1, n22), ("south", 1, -n22)):
        force = np.zeros(6)
        force[axis] = sign
        F = F + cases.edge_load(model.space, edges[side], force)
    return membrane_forces(model, w, deflect(model, w, F).displacement[:, 0])


@pytest.mark.parametrize("grain", [0, 27])
def test_membrane_forces_are_those_that_pull(grain):
    """N = the edge force, in the axes of the grain: turned by the angle of the grain (Mohr's circle, by hand)."""
    model, w, _ = plate_case(grain)
    N = pulled(model, w, 700.0, -300.0)["plate"].reshape(-1, 3)
    c, s = np.cos(np.radians(grain)), np.sin(np.radians(grain))
    hand = [700 * c**2 - 300 * s**2, 700 * s**2 - 300 * c**2, -(700 + 300) * s * c]
    assert N == pytest.approx(np.broadcast_to(hand, N.shape), abs=1e-3)


def test_pulled_plate_rings_higher(record):
    """f^2 = f0^2 + [N1 (m/a)^2 + N2 (n/b)^2]/(4 rho h): Soedel, Vibrations of Shells and Plates, initial stress. Exact.

    Modes of K + K_g, simply supported, grain at 0; .1 %: fast mesh.
    """
    model, w, fixed = plate_case()
    forces = pulled(model, w, 4000.0, 1500.0)
    K, M, Kg = model.matrix("K", w), model.matrix("M", w), geometric_stiffness(model, forces)
    free = np.setdiff1d(np.arange(model.size), fixed)
    slow = modes(model, w, 3, fixed)
    at = lambda X: X[free][:, free]
    omega2 = np.sort(spl.eigsh(at(K + Kg), 3, at(M), sigma=0.0, return_eigenvectors=False))
    orders = [(1, 1), (1, 2), (2, 1)]
    added = [(4000 * (m / A) ** 2 + 1500 * (n / B) ** 2) / (4 * WOOD.density * H) for m, n in orders]
    hand = np.sort(np.sqrt(np.sort(slow.frequency)[[0, 1, 2]] ** 2 + _in_order(slow.frequency, orders, added)))
    record(
        "plate pulled in its plane",
        "Soedel, Vibrations of Shells and Plates, initial stress",
        hand,
        np.sqrt(omega2) / (2 * np.pi),
        "Hz",
    )
    assert np.sqrt(omega2) / (2 * np.pi) == pytest.approx(hand, rel=1e-3)
    ratio = frequency_ratio(model, forces, (2 * np.pi * slow.frequency) ** 2, slow.shape)
    assert np.sort(ratio * slow.frequency) == pytest.approx(hand, rel=1e-3)


def _in_order(frequency, orders, added):
    """The added squares in the order of the plate's own closed-form frequencies."""
    nu_RL = WOOD.nu_LR * WOOD.E_R / WOOD.E_L
    D = H**3 / 12 / (1 - WOOD.nu_LR * nu_RL) * np.array([WOOD.E_L, WOOD.E_R, WOOD.nu_LR * WOOD.E_R])
    D66 = WOOD.G_LR * H**3 / 12
    own = [
        D[0] * (m / A) ** 4 + 2 * (D[2] + 2 * D66) * (m * n / A / B) ** 2 + D[1] * (n / B) ** 4 for m, n in orders
    ]  # fmt: skip
    return np.array(added)[np.argsort(own)]


def test_strip_pulled_hard_is_a_string(record):
    """f = sqrt(N/(rho h)) / (2 L): a thin strip under a tension far above its bending stiffness. .5 %: what is left of EI."""
    L, b, h, N = 0.5, 0.02, 0.0004, 6000.0
    mesh = cases.plate(L, b, 16, 1)
    wood = isotropic("steel", 200e9, 0.0, 8000.0)
    model, w = assemble(mesh), weights({"plate": laminate([Layer(wood, h)])})
    pull = cases.edge_load(model.space, mesh.edges["east"], [N, 0, 0, 0, 0, 0])
    pull -= cases.edge_load(model.space, mesh.edges["west"], [N, 0, 0, 0, 0, 0])
    Kg = geometric_stiffness(model, membrane_forces(model, w, deflect(model, w, pull).displacement[:, 0]))
    fixed = fixed_unknowns(model.space, support=["west", "east"])
    free = np.setdiff1d(np.arange(model.size), fixed)
    K, M = (X[free][:, free] for X in (model.matrix("K", w) + Kg, model.matrix("M", w)))
    lowest = spl.eigsh(K, 1, M, sigma=0.0, return_eigenvectors=False)[0]
    bending = (np.pi / L) ** 2 * wood.E_L * h**2 / 12 / (N / h)
    hand = np.sqrt(N / (wood.density * h)) / (2 * L) * np.sqrt(1 + bending)
    assert bending < 0.03
    record(
        "strip pulled hard",
        "stretched string: √(N/ρh)/(2L), with what is left of EI",
        hand,
        np.sqrt(lowest) / (2 * np.pi),
        "Hz",
    )
    assert np.sqrt(lowest) / (2 * np.pi) == pytest.approx(hand, rel=5e-3)


@pytest.mark.parametrize(("grain", "n22"), [(0, 0.0), (90, 0.0), (0, 0.4)])
def test_plate_buckles(grain, n22):
    """N (m/a)^2 + r N (n/b)^2 = pi^2 [D11 (m/a)^4 + 2 (D12 + 2 D66)(mn/ab)^2 + D22 (n/b)^4], least over m, n.

    Timoshenko & Gere, Theory of Elastic Stability, ch. 9 (isotropic); Lekhnitskii, Anisotropic Plates (orthotropic).
    .6 %: fast mesh of a plate whose shear stiffness is raised a thousandfold.
    """
    model, w, fixed = plate_case(grain, 12, 9)
    forces = pulled(model, w, -1.0, -n22)
    E1, E2 = (WOOD.E_L, WOOD.E_R) if grain == 0 else (WOOD.E_R, WOOD.E_L)
    c = H**3 / 12 / (1 - WOOD.nu_LR**2 * WOOD.E_R / WOOD.E_L)
    D11, D22, D12, D66 = c * E1, c * E2, c * WOOD.nu_LR * WOOD.E_R, WOOD.G_LR * H**3 / 12
    m, n = np.meshgrid(np.arange(1, 6) / A, np.arange(1, 6) / B)
    hand = np.min(
        np.pi**2 * (D11 * m**4 + 2 * (D12 + 2 * D66) * (m * n) ** 2 + D22 * n**4) / (m**2 + n22 * n**2)
    )  # fmt: skip
    assert _buckling(model, w, forces, fixed) == pytest.approx(hand, rel=6e-3)


def _buckling(model, w, forces, fixed):
    """The least factor of the forces at which K + factor K_g is singular."""
    free = np.setdiff1d(np.arange(model.size), fixed)
    K, Kg = (X[free][:, free].tocsc() for X in (model.matrix("K", w), -geometric_stiffness(model, forces)))
    return 1 / spl.eigsh(Kg, 1, K, which="LA", Minv=_inverse(K), return_eigenvectors=False)[0]


def _inverse(K):
    lu = spl.splu(K)
    return spl.LinearOperator(K.shape, matvec=lu.solve)


def test_braced_strip_is_a_column(record):
    """P = pi^2 EI/L^2 (Euler), shared by a strip and the beam on its middle line; axial force in both counts. .5 %."""
    L, b = 0.5, 0.03
    stick = isotropic("stick", 10e9, 0.0, 500.0)
    mesh = cases.plate(L, b, 10, 2, lines={"rib": b / 2})
    sections = {"plate": laminate([Layer(stick, 0.004)]), "rib": beam(stick, 0.01, 0.004, -0.002)}
    model, w = assemble(mesh), weights(sections)
    area = {"plate": b * 0.004, "rib": 0.01 * 0.004}
    P = {name: -a / sum(area.values()) for name, a in area.items()}
    shapes = {op.region: op.weight.shape for op in model.operators if op.role == "K"}
    forces = {
        "plate": np.broadcast_to([P["plate"] / b, 0, 0], (*shapes["plate"], 3)),
        "rib": np.full((*shapes["rib"], 1), P["rib"]),
    }
    ends = fixed_unknowns(model.space, support=["west", "east"])
    loose = cases.unknowns(model.space, cases.near(0, L), (0,))  # the far end may slide
    fixed = np.setdiff1d(ends, loose)
    inertia = b * 0.004**3 / 12 + 0.01 * 0.004**3 / 12
    hand, found = np.pi**2 * stick.E_L * inertia / L**2, _buckling(model, w, forces, fixed)
    record("strip and brace as a column, buckling load", "Euler: π² EI/L²", hand, found, "N")
    assert found == pytest.approx(hand, rel=5e-3)


def test_rayleigh_needs_no_matrix():
    model, w, _ = plate_case(27, 4, 3)
    forces = pulled(model, w, 500.0, -200.0)
    shapes = np.random.default_rng(2).standard_normal((model.size, 3))
    assert rayleigh(model, forces, shapes) == pytest.approx(
        np.diag(shapes.T @ (geometric_stiffness(model, forces) @ shapes)), rel=1e-10
    )
    assert (geometric_stiffness(model, forces) != model.matrix("K", w)).shape == model.matrix("K", w).shape


def test_bound_holds_for_every_mode_and_is_reached():
    """A free plate: the largest ratio by dense eigenvalues, and no mode of K + K_g moves further than it."""
    model, w, _ = plate_case(20, 3, 2)
    forces = pulled(model, w, -90.0, 40.0)
    body, M = FreeBody(model, w), model.matrix("M", w)
    rho = largest_ratio(body, forces, M)
    K, Kg, M = (X.toarray() for X in (model.matrix("K", w), geometric_stiffness(model, forces), M))
    base = sl.null_space((M @ body.rigid).T)
    k, kg, m = (base.T @ X @ base for X in (K, Kg, M))
    assert rho == pytest.approx(np.abs(sl.eigh(kg, k, eigvals_only=True)).max(), rel=0.05)
    before, after = (np.sort(1 / sl.eigh(m, x, eigvals_only=True)[::-1][:8]) for x in (k, k + kg))
    moved = np.abs(after / before - 1).max()
    assert 0.2 * rho < moved < 1.05 * rho < 0.5
