"""Shares of stored and moving energy, heat and loss factors, against derivatives and against states known by hand."""

from dataclasses import replace

import numpy as np
import pytest
import shell_cases as cases
from shell_cases import LOSSY, SPRUCE, STEEL

from fem.eigen import modes
from fem.energies import energies, loss_factor_without, masses
from fem.materials import Wood, isotropic
from fem.model import assemble, weights
from fem.sections import Layer, beam, joint, laminate, scaled

HARD = Wood("hard", 13e9, 1.8e9, 1.4e9, 1.1e9, 0.4e9, 0.36, 750.0, loss_L=0.009, loss_R=0.017, loss_G=0.02)
SECTIONS = {
    "top": laminate([Layer(LOSSY, 0.003, 0.0005)]),
    "back": laminate([Layer(HARD, 0.0025)]),
    "sides": laminate([Layer(HARD, 0.002), Layer(LOSSY, 0.004, 0.003, across=True)]),
    "rib": beam(LOSSY, 0.008, 0.014, 0.0015),
}


@pytest.fixture(scope="module")
def box():
    return assemble(cases.folded_box(0.4, 0.3, 0.09, 4))


@pytest.fixture(scope="module")
def found(box):
    return modes(box, weights(SECTIONS), 6, tolerance=1e-9)


@pytest.fixture(scope="module")
def shares(box, found):
    return energies(box, SECTIONS, found.shape)


def test_shares_sum_to_one(shares):
    for share in (
        shares.strain_share,
        shares.kinetic_share,
        shares.dissipated_share,
        shares.dissipated_share_by_channel,
    ):
        assert np.abs(sum(share.values()) - 1).max() < 1e-12
    assert set(shares.strain_share) == {"top", "back", "sides", "rib"}


def log_derivative(box, change, step=1e-3):
    """d ln omega^2 / d ln f by central differences; change(factor) -> sections."""
    high, low = (modes(box, weights(change(1 + s)), 6, tolerance=1e-9).frequency for s in (step, -step))
    return (np.log(high**2) - np.log(low**2)) / (np.log1p(step) - np.log1p(-step))


@pytest.mark.parametrize("part", ["top", "sides", "rib"])
def test_shares_are_the_derivatives_of_the_frequencies(box, shares, part):
    """Rayleigh: strain share = d ln omega^2/d ln K_part, kinetic share = -d ln omega^2/d ln M_part."""
    stiffer = log_derivative(box, lambda f: SECTIONS | {part: scaled(SECTIONS[part], stiffness=f)})
    heavier = log_derivative(box, lambda f: SECTIONS | {part: scaled(SECTIONS[part], mass=f)})
    assert shares.strain_share[part] == pytest.approx(stiffer, abs=2e-5)
    assert shares.kinetic_share[part] == pytest.approx(-heavier, abs=2e-5)


def turned_up(wood, channel, f):
    """The wood with 1/S_LL, 1/S_RR or all G multiplied by f, every other entry of its compliance kept."""
    if channel == "along":
        return replace(wood, E_L=f * wood.E_L, nu_LR=f * wood.nu_LR)  # nu_LR/E_L is the cross compliance
    if channel == "across":
        return replace(wood, E_R=f * wood.E_R)
    return replace(wood, G_LR=f * wood.G_LR, G_LT=f * wood.G_LT, G_RT=f * wood.G_RT)


LOSS = {"along": "loss_L", "across": "loss_R", "shear": "loss_G"}


@pytest.mark.parametrize("channel", LOSS)
def test_heat_of_each_channel_is_the_derivative_by_its_compliance(box, found, channel):
    """Loss along the grain alone: eta_n = eta_L d ln omega^2/d ln E_L at fixed cross compliance; the same for R and G.

    This is the compliance split: s_L^2/E_L, s_R^2/E_R and t^2/G dissipate, -2 nu_LR s_L s_R/E_L does not.
    """
    only = replace(SPRUCE, loss_L=0.0, loss_R=0.0, loss_G=0.0)
    only = replace(only, **{LOSS[channel]: 0.02})

    def sections(f):
        wood = turned_up(only, channel, f)
        return {
            "top": laminate([Layer(wood, 0.003, 0.0005)]),
            "back": laminate([Layer(wood, 0.0025)]),
            "sides": laminate([Layer(wood, 0.002), Layer(wood, 0.004, 0.003, across=True)]),
        }

    model = assemble(cases.folded_box(0.4, 0.3, 0.09, 4, braces=False))
    shape = modes(model, weights(sections(1.0)), 6, tolerance=1e-9).shape
    eta = energies(model, sections(1.0), shape).loss_factor
    assert eta == pytest.approx(0.02 * log_derivative(model, sections), abs=2e-6)


# States known by hand: a flat plate bent as a whole, shapes given, no solver


def bent(model, kappa):
    """(size, 1) of w = -(k11 x^2 + k22 y^2 + k12 x y)/2 with normals square to the surface."""
    x, y = model.space.points[:, :2].T
    zero = 0 * x
    w = -(kappa[0] * x**2 + kappa[1] * y**2 + kappa[2] * x * y) / 2
    th = [-kappa[1] * y - kappa[2] / 2 * x, kappa[0] * x + kappa[2] / 2 * y]
    return np.column_stack([zero, zero, w, *th, zero]).reshape(-1, 1)


def plate_loss(wood, kappa):
    model = assemble(cases.plate(0.3, 0.2, 3, 2))
    return energies(model, {"plate": laminate([Layer(wood, 0.003)])}, bent(model, kappa))


NU_RL = LOSSY.nu_LR * LOSSY.E_R / LOSSY.E_L


@pytest.mark.parametrize(
    ("kappa", "loss", "channel"),
    [
        ([1.0, -LOSSY.nu_LR, 0], LOSSY.loss_L, "along"),  # stress along the grain only
        ([-NU_RL, 1.0, 0], LOSSY.loss_R, "across"),  # stress across it only
        ([0, 0, 1.0], LOSSY.loss_G, "shear"),  # twist
    ],
)
def test_bending_along_across_and_twist_have_the_loss_of_their_constant(kappa, loss, channel):
    state = plate_loss(LOSSY, kappa)
    assert state.loss_factor == pytest.approx([loss], rel=1e-9)
    assert state.dissipated_share_by_channel[channel] == pytest.approx([1.0], rel=1e-9)


def test_bending_about_a_tilted_pair_of_axes_splits_by_the_compliance():
    """Any curvature: eta = (eta_L s_L^2/E_L + eta_R s_R^2/E_R + eta_G t^2/G)/(s' S s), s = Q kappa, S = Q^-1."""
    kappa, w = np.array([1.0, 2.0, 0.7]), LOSSY
    S = np.array([[1 / w.E_L, -w.nu_LR / w.E_L, 0], [-w.nu_LR / w.E_L, 1 / w.E_R, 0], [0, 0, 1 / w.G_LR]])
    s = np.linalg.solve(S, kappa)
    carried = np.array([w.loss_L, w.loss_R, w.loss_G]) * s**2 * np.diag(S)
    state = plate_loss(LOSSY, kappa)
    assert state.loss_factor == pytest.approx([carried.sum() / (s @ S @ s)], rel=1e-9)
    assert state.dissipated_share_by_channel["across"] == pytest.approx([carried[1] / carried.sum()], rel=1e-9)


@pytest.mark.parametrize("kappa", [[1, -0.3, 0], [0, 0, 1], [1, 1, 0], [1, -1, 0], [1, 2, 0.7]])
def test_a_material_with_one_loss_factor_has_it_in_every_state(kappa):
    state = plate_loss(isotropic("sheet", 70e9, 0.3, 2700.0, loss=0.01), np.array(kappa, float))
    assert state.loss_factor == pytest.approx([0.01], rel=1e-9)


def test_the_poisson_part_of_wood_is_lossless():
    """With s_R = r s_L in an isotropic board of three slightly unequal losses near eta_0, the lossless part counts:
    eta = eta_0 (1 + r^2)/(1 - 2 nu r + r^2): above eta_0 in a dish (r = 1), below it in a saddle (r = -1).
    """
    board = replace(isotropic("board", 70e9, 0.3, 2700.0, loss=0.01), loss_G=0.0100001)
    for kappa, factor in ([1.0, 1, 0], 1 / (1 - 0.3)), ([1.0, -1, 0], 1 / (1 + 0.3)):
        assert plate_loss(board, np.array(kappa)).loss_factor == pytest.approx([0.01 * factor], rel=1e-4)


def test_first_mode_of_a_long_plate_has_the_loss_along_the_grain():
    """A strip of 0.5 x 0.06 m bends along the grain only; 3 %: the little that its width resists."""
    model = assemble(cases.plate(0.5, 0.06, 8, 2))
    sections = {"plate": laminate([Layer(LOSSY, 0.003)])}
    state = energies(model, sections, modes(model, weights(sections), 1).shape)
    assert state.loss_factor == pytest.approx([LOSSY.loss_L], rel=0.03)


# The rest of the interface


def test_loss_factor_is_heat_over_stored(box, found, shares):
    """With one loss factor for all constants of all parts in pure numbers: parts' shares weigh their loss."""
    lossless_poisson = {
        r: replace(s, losses={"along": {k: eta * f for k, f in s.stiffness.items()}})
        for (r, s), eta in zip(SECTIONS.items(), (0.01, 0.02, 0.03, 0.04))
    }
    state = energies(box, lossless_poisson, found.shape)
    stored = shares.strain_share
    hand = sum(eta * stored[p] for p, eta in zip(SECTIONS, (0.01, 0.02, 0.03, 0.04)))
    assert state.loss_factor == pytest.approx(hand, rel=1e-12)
    assert state.dissipated_share["rib"] == pytest.approx(0.04 * stored["rib"] / hand, rel=1e-12)


def test_counterfactual_without_the_loss_of_some_parts(box, found, shares):
    """Same shapes, the sides and the rib without loss: a fresh computation with loss factors of zero agrees."""
    quiet = {r: dict(loss_L=0.0, loss_R=0.0, loss_G=0.0) for r in ("sides", "rib")}
    hard, lossy = replace(HARD, **quiet["sides"]), replace(LOSSY, **quiet["sides"])
    silent = SECTIONS | {
        "sides": laminate([Layer(hard, 0.002), Layer(lossy, 0.004, 0.003, across=True)]),
        "rib": beam(lossy, 0.008, 0.014, 0.0015),
    }
    hand = energies(box, silent, found.shape).loss_factor
    assert loss_factor_without(shares, ["sides", "rib"]) == pytest.approx(hand, rel=1e-10)
    assert np.all(hand < shares.loss_factor)
    assert loss_factor_without(shares, ["no such part"]) == pytest.approx(shares.loss_factor)


def test_unknown_losses_are_named_and_nothing_is_invented(box, found):
    state = energies(box, SECTIONS | {"back": laminate([Layer(SPRUCE, 0.0025)])}, found.shape)
    assert state.loss_factor is None and state.dissipated_share is None and state.dissipated_share_by_channel is None
    assert state.losses_unknown == ("back",)
    assert np.abs(sum(state.strain_share.values()) - 1).max() < 1e-12


def test_regions_of_one_part_are_added():
    mesh = cases.split_plate(0.4, 0.3, 4, 3)
    names = {"block/left": mesh.surfaces["left"], "block/right": mesh.surfaces["right"]}
    model = assemble(replace(mesh, surfaces=names))
    plate = laminate([Layer(LOSSY, 0.003)])
    sections = {"block/left": plate, "block/right": plate, "joint": joint(1e8, 1e3, loss=0.1)}
    state = energies(model, sections, modes(model, weights(sections), 4).shape)
    assert set(state.strain_share) == {"block", "joint"} and set(state.kinetic_share) == {"block"}
    assert np.all(state.strain_share["joint"] > 0)
    joint_heat = 0.1 * state.strain_share["joint"] / state.loss_factor
    assert state.dissipated_share_by_channel["joint"] == pytest.approx(joint_heat, rel=1e-9)
    assert masses(model, sections)["block"] == pytest.approx(LOSSY.density * 0.003 * 0.4 * 0.3, rel=1e-9)


def test_unit_energies_are_those_of_the_unit_terms(box, found):
    keys = {("K", "sides", "B12"), ("K", "rib", "ES2"), ("M", "rib", "mS1"), ("M", "sides", "m1")}
    for role, region, kind in keys:
        hand = np.einsum("im,im->m", found.shape, box.term(role, region, kind) @ found.shape)
        got = box.unit_energies(role, keys, found.shape)[region, kind]
        assert got == pytest.approx(hand, rel=1e-8, abs=1e-10 * np.abs(hand).max())


def test_steel_rim_stores_more_where_it_is_softer(box):
    """A share is no merit: the stored share of the sides falls as they get stiffer (both limits are zero)."""
    steel = isotropic("rim", 200e9, 0.3, STEEL.density, 0.001)
    stored = []
    for f in (0.05, 5.0):
        sections = SECTIONS | {"sides": scaled(laminate([Layer(steel, 0.002)]), stiffness=f)}
        state = energies(box, sections, modes(box, weights(sections), 1).shape)
        stored.append(state.strain_share["sides"][0])
    assert stored[1] < 0.5 * stored[0]
