"""The neck as a cantilever: taper in width and thickness, and a rod, against the beam's integral by hand."""

from dataclasses import replace

import box_cases as cases
import numpy as np
import pytest
from scipy.sparse.linalg import spsolve

from fem.energies import masses
from fem.interpolate import normal_displacement
from fem.model import assemble, weights
from meshes import describe
from meshes.body import Rod, top_height
from meshes.build import mesh_body
from meshes.parts import sections

STEEL = {"modulus": 200e9, "density": 7850.0}
RODS = {
    "none": None,
    "bar glued in": Rod(0.006, 0.009, 0.0055, round=False, glued=True, **STEEL),
    "round, sliding": Rod(0.006, 0.006, 0.004, round=True, glued=False, **STEEL),
}


def with_neck(**changes):
    body = cases.example("hazel")
    return replace(body, neck=replace(body.neck, heel_depth=0.0, **changes))


def bending_stiffness(neck, share):
    """EI [N m2] by hand: half an ellipse of wood under a board, and a rod, about their common centroid; by strips."""
    width = neck.width + share * ((neck.nut_width or neck.width) - neck.width)
    deep = neck.thickness + share * ((neck.nut_thickness or neck.thickness) - neck.thickness)
    z = (np.arange(4000) + 0.5) / 4000 * deep
    b = width * np.sqrt(1 - (z / deep) ** 2)
    EA, ES, EI = (neck.wood.E_L * np.sum(b * z**k) * deep / 4000 for k in range(3))
    h, E = neck.fingerboard_thickness, neck.fingerboard_wood.E_L
    EA, ES, EI = EA + E * width * h, ES - E * width * h**2 / 2, EI + E * width * h**3 / 3
    own = 0.0
    if (rod := neck.rod) is not None:
        A = rod.width * rod.height * (np.pi / 4 if rod.round else 1)
        A2 = np.pi * rod.width**4 / 64 if rod.round else rod.width * rod.height**3 / 12
        EA, ES = EA - neck.wood.E_L * A, ES - neck.wood.E_L * A * rod.depth
        EI -= neck.wood.E_L * (A2 + A * rod.depth**2)
        if rod.glued:
            EA, ES, EI = EA + rod.modulus * A, ES + rod.modulus * A * rod.depth, EI + rod.modulus * A * rod.depth**2
        own = rod.modulus * A2
    return EI + own - ES**2 / EA


def deflection(body, size=0.06):
    """m/N at the nut's middle under a force there out of the neck, all of the body held."""
    model = assemble(mesh_body(body, size))
    K = model.matrix("K", weights(sections(body)))
    end = body.outline.length
    place = np.array([[end + body.neck.length, 0.0, float(top_height(body, end, 0.0))]])
    row = normal_displacement(model.space, ("neck/shaft",), place, np.eye(3)[2:]).toarray()[0]
    held = model.space.points[:, 0] < end + 1e-4
    free = np.flatnonzero(np.repeat(~held, 6))
    return row[free] @ spsolve(K[free][:, free].tocsc(), row[free])


@pytest.mark.parametrize("rod", RODS)
@pytest.mark.parametrize(
    "taper", [{}, {"width": 0.056, "nut_width": 0.044, "thickness": 0.019, "nut_thickness": 0.014}]
)
def test_the_neck_bends_as_a_beam_with_its_taper_and_its_rod(taper, rod, record):
    """Cantilever: w = int x^2/EI dx, by hand. 4 %: shear (about 1 % of it), the root held across its width, the half ellipse
    as a layer of its stiffness alone, a taper in six steps.
    """
    body = with_neck(**taper, rod=RODS[rod])
    s, w = np.polynomial.legendre.leggauss(20)
    s, L = (s + 1) / 2, body.neck.length
    hand = np.sum(w / 2 * L**3 * (1 - s) ** 2 / [bending_stiffness(body.neck, x) for x in s])
    found = deflection(body)
    if taper and rod == "bar glued in":
        record(
            "tapered neck with a glued bar, deflection at the nut",
            "cantilever, by hand",
            1e6 * hand,
            1e6 * found,
            "um/N",
        )
    assert found == pytest.approx(hand, rel=0.04)


def test_taper_and_rod_are_told_apart():
    """The wrong end of the taper, or none, and a rod that slides or is glued, differ by far more than the 4 % above."""
    thick = {"thickness": 0.019, "nut_thickness": 0.014}
    flexible = [
        deflection(with_neck(**c)) for c in ({"thickness": 0.0165}, thick, {"thickness": 0.014, "nut_thickness": 0.019})
    ]
    assert flexible[1] < 0.9 * flexible[0] and flexible[2] > 1.1 * flexible[0]
    rod = replace(RODS["bar glued in"], depth=0.009)  # far from the neutral axis
    none, slides, held = (deflection(with_neck(rod=r)) for r in (None, replace(rod, glued=False), rod))
    assert slides < 0.95 * none and held < 0.8 * slides


@pytest.mark.parametrize("rod", RODS)
def test_a_tapered_neck_weighs_what_its_mesh_weighs(rod):
    """Trapezoids by hand are within a part in a thousand of the six steps; the mesh ends where the rim is not quite straight."""
    body = with_neck(width=0.056, nut_width=0.044, nut_thickness=0.013, rod=RODS[rod])
    model = assemble(mesh_body(body, 0.09))
    found = masses(model, sections(body))["neck"]
    assert found == pytest.approx(describe.masses(body)["neck"], rel=4e-3)
    if RODS[rod] is not None:
        r = RODS[rod]
        more = body.neck.length * r.area * (r.density - body.neck.wood.density)
        plain = replace(body, neck=replace(body.neck, rod=None))
        assert found - masses(model, sections(plain))["neck"] == pytest.approx(more, rel=0.01)
