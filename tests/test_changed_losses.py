"""How long a note lasts under changed losses."""

import numpy as np
import pytest
from string_cases import LOSSY, wooden_box

from fem.body_modes import dampings, with_losses, with_more_loss
from fem.coupled_string import couple, fall_time, pluck_note
from fem.damped_body import damped_body
from fem.string_poles import plucked
from fem.strings import Pluck


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("fret", [0, 3])
def test_how_long_a_note_lasts_under_changed_losses(seed, fret):
    """The time to fall 60 dB on a body reduced with other losses, against all unknowns of a body that has them."""
    body = wooden_box(24, seed, strings=1)
    given = fall_time(pluck_note(couple(LOSSY, 0, fret, body), Pluck()), 60.0)
    for factors in ({"sides": 0.0}, {"top": 0.0}, {"sides": 3.0, "back": 0.5}):
        other = with_losses(body, factors)
        exact = fall_time(pluck_note(couple(LOSSY, 0, fret, other), Pluck()), 60.0)
        changed = plucked(LOSSY, 0, fret, damped_body(body, dampings(other)), Pluck())
        assert fall_time(changed, 60.0) == pytest.approx(exact, rel=1e-8)
        assert abs(exact / given - 1) > 1e-6


def test_a_further_loss_has_a_name_of_its_own_and_moves_no_frequency():
    body = wooden_box()
    further = 0.01 * body.omega**2
    more = with_more_loss(body, "what is left", further)
    assert more.omega is body.omega and body.loss.keys() == more.loss.keys() - {"what is left"}
    added = dampings(more)["what is left"]
    assert added == pytest.approx(np.diag(0.01 * body.omega))
    with pytest.raises(ValueError, match="'top' are in this body already"):
        with_more_loss(body, "top", further)
    with pytest.raises(ValueError, match="a part cannot give energy"):
        with_more_loss(body, "what is left", -further)
