"""The mesh error: what its formulas say by hand, which modes are judged as one, and where it is not determined."""

import numpy as np
import pytest

from studies.common.mesh_error import (
    BY_CHANCE,
    ELEMENTS,
    FLOOR,
    IN_EDGES,
    IN_ELEMENTS,
    LONGER,
    OF_MODE,
    OF_SHARE,
    OF_TAP,
    change_error,
    difference_error,
    found_of_modes,
    mesh_error,
    mode_errors,
    of_modes,
    with_errors,
    with_found_errors,
)
from studies.common.pairing import as_one, followed

HERTZ = np.array([100.0, 200.0, 204.0, 400.0])
APART = np.eye(4, 6)  # criterion of four modes with six others: each is found again
MIXED = np.array([[1, 0, 0, 0, 0, 0], [0, 0.5, 0.5, 0, 0, 0], [0, 0.45, 0.55, 0, 0, 0], [0, 0, 0, 1, 0, 0]])


def test_elements_and_edges_are_told_apart():
    assert mesh_error(7.3, 7.0, 7.0) == pytest.approx(0.3 * ELEMENTS)
    assert mesh_error(7.0, 7.0, 7.4) == pytest.approx(0.4 * LONGER)
    assert mesh_error(7.3, 7.0, 7.4) == pytest.approx(0.3 * ELEMENTS + 0.4 * LONGER)
    assert mesh_error(7.0, 7.3, 6.9) == pytest.approx(0.3 * ELEMENTS + 0.4 * LONGER)  # no sign cancels


def test_a_first_order_error_of_the_edges_is_held():
    """Error e on the mesh, 2 e on edges twice as long: their difference is all that is left."""
    exact, e = 7.0, 0.4
    assert mesh_error(exact + e, exact + e, exact + 2 * e) == pytest.approx(1.25 * e)


def test_a_change_keeps_a_part_of_the_error():
    assert change_error(2.0, 100.0, 10.0) == pytest.approx(2 * (OF_SHARE + 0.1))
    assert change_error(2.0, 100.0, -10.0, OF_MODE) == pytest.approx(2 * (OF_MODE + 0.1))
    assert change_error(2.0, 100.0, 500.0) == change_error(2.0, 0.0, 1.0) == 2.0  # never more than all
    assert change_error(2.0, 100.0, 0.0) == 0.0


def test_the_error_of_a_difference_is_that_of_what_is_not_shared():
    own = 100.0, 99.0, 99.5
    shared = 110.0, 109.0, 109.5
    assert difference_error(own, shared, 2.0) == pytest.approx(BY_CHANCE * 2)
    other = 110.0, 108.7, 109.4
    assert difference_error(own, other, 2.0) == pytest.approx(IN_ELEMENTS * 0.3 + IN_EDGES * 0.2 + BY_CHANCE * 2)
    assert difference_error(own, own, 2.0) == 0.0


def test_figures_of_a_build_solved_in_all_spaces():
    own, other = ([{"heat": h} for h in three] for three in ((0.10, 0.09, 0.08), (0.12, 0.10, 0.09)))
    told = with_found_errors(other, own)
    error = mesh_error(0.10, 0.09, 0.08)
    assert told["heat_change_error"] == pytest.approx(IN_ELEMENTS * 0.01 + BY_CHANCE * error)
    assert told["heat_error"] == pytest.approx(error + told["heat_change_error"])
    assert with_found_errors(own, own) == {"heat": 0.10, "heat_error": pytest.approx(error), "heat_change_error": 0.0}


def test_figures_of_a_build_borrow_the_errors_of_the_sheets_own():
    own, errors = {"heat": 0.1}, {"heat": 0.02}
    assert with_errors(own, own, errors) == {"heat": 0.1, "heat_error": 0.02, "heat_change_error": 0.0}
    assert with_errors({"heat": 0.11}, own, errors)["heat_change_error"] == pytest.approx(0.02 * OF_TAP)
    told = with_errors({"heat": 0.11}, own, errors, 0.5)
    assert told["heat_change_error"] == pytest.approx(0.02 * 0.6)
    assert told["heat_error"] == pytest.approx(0.02 + told["heat_change_error"])


# --- modes ---


def test_modes_apart_are_each_their_own():
    found = followed([APART, APART], HERTZ)
    assert found.group.tolist() == [0, 1, 2, 3] and found.seen.all()
    assert [p.tolist() for p in found.partner] == [[0, 1, 2, 3]] * 2


def test_close_modes_that_mix_in_one_space_are_judged_as_one():
    for criteria in ([MIXED, APART], [APART, MIXED]):
        found = followed(criteria, HERTZ)
        assert found.group.tolist() == [0, 1, 1, 3] and found.seen.all()


def test_modes_far_apart_are_not_judged_as_one():
    found = followed([MIXED, APART], np.array([100.0, 200.0, 260.0, 400.0]))
    assert found.group.tolist() == [0, 1, 2, 3]
    assert found.seen.tolist() == [True, False, False, True]  # half of each lies elsewhere


def test_close_modes_keep_their_order():
    """The second and third have changed places: as one they are paired as they rise."""
    found = followed([MIXED[:, [0, 2, 1, 3, 4, 5]], APART], HERTZ)
    assert found.partner[0].tolist() == [0, 1, 2, 3]


def test_a_mode_that_is_not_found_again_is_not_determined():
    lost = APART.copy()
    lost[3, 3] = 0.6
    found = followed([APART, lost], HERTZ)
    assert found.seen.tolist() == [True, True, True, False]
    errors = mode_errors([HERTZ, HERTZ + 1, HERTZ + 1], found, share=False)
    assert errors[:3] == pytest.approx(ELEMENTS) and np.isnan(errors[3])


def test_shares_of_close_modes_are_their_mean():
    """How two close modes share what they store says nothing: here it goes from one to the other, their mean stays."""
    found = followed([MIXED, APART], HERTZ)
    fine, richer = np.array([0.1, 0.02, 0.06, 0.3]), np.array([0.1, 0.06, 0.02, 0.3])
    assert as_one(fine, found.group) == pytest.approx([0.1, 0.04, 0.04, 0.3])
    assert mode_errors([fine, richer, fine], found) == pytest.approx(FLOOR * np.array([0.1, 0.04, 0.04, 0.3]))
    apart = followed([APART, APART], HERTZ)
    assert mode_errors([fine, richer, fine], apart)[1] == pytest.approx((ELEMENTS + LONGER) * 0.04 + FLOOR * 0.02)


def test_what_is_not_known_has_no_error():
    assert np.isnan(mode_errors([HERTZ, None, HERTZ], followed([APART, APART], HERTZ))).all()


def test_figures_of_the_modes_of_another_build():
    modes, errors = followed([APART, APART], HERTZ), np.array([1.0, 1.0, np.nan, 1.0])
    pairs = np.array([0, 1, 2, -1]), np.array([1.0, 0.8, 1.0, 0.0])
    found = of_modes(HERTZ + 10, pairs, HERTZ, errors, modes, share=False)
    assert found.value[:3] == pytest.approx(HERTZ[:3] + 10) and np.isnan(found.value[3])
    assert found.change_error[0] == pytest.approx(OF_MODE + 0.1)
    assert found.error[0] == pytest.approx(1 + found.change_error[0])
    assert np.isnan(found.change_error[1:]).all()  # another shape; not seen; no partner


def test_figures_of_the_modes_of_a_build_solved_in_all_spaces():
    modes, pairs = followed([APART, APART], HERTZ), (np.array([0, 1, 3, -1]), np.array([1.0, 0.8, 1.0, 0.0]))
    own = HERTZ, HERTZ - 1, HERTZ - 1
    theirs = np.array([103.0, 200.0, 210.0, 211.0]), np.array([101.7, 199.0, 209.0, 210.0]), np.full(4, 101.5)
    numbers = np.array([0, 1, 3, 2]), np.array([0, 1, 2, 3])
    found = found_of_modes(theirs, pairs, numbers, own, modes, share=False)
    assert found.value[:3].tolist() == [103.0, 200.0, 211.0] and np.isnan(found.value[3])
    assert found.change[0] == 3
    by_hand = IN_ELEMENTS * 0.3 + IN_EDGES * 0.2 + BY_CHANCE * ELEMENTS
    assert found.change_error[0] == pytest.approx(by_hand) and found.error[0] == pytest.approx(ELEMENTS + by_hand)
    assert np.isfinite(found.change_error[2]) and np.isnan(found.change_error[[1, 3]]).all()
