"""How long a note lasts under changed losses, from the modes of the given ones."""

import numpy as np
import pytest
from string_cases import LOSSY, wooden_box

from fem import coupled_string
from fem.body_modes import dampings, with_losses, with_more_loss
from fem.coupled_string import couple, fall_time, fall_time_with, pluck_note
from fem.strings import Pluck


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("fret", [0, 3])
def test_no_rim_loss_by_the_slow_modes_alone(seed, fret):
    """The time to fall 60 dB under changed losses from the modes at hand, against all modes found anew."""
    body = wooden_box(24, seed, strings=1)
    for factors in ({"sides": 0.0}, {"top": 0.0}, {"sides": 3.0, "back": 0.5}):
        other = with_losses(body, factors)
        ringing = pluck_note(couple(LOSSY, 0, fret, body), Pluck())
        exact = fall_time(pluck_note(couple(LOSSY, 0, fret, other), Pluck()), 60.0)
        assert fall_time_with(ringing, sum(dampings(other).values()), 60.0) == pytest.approx(exact, rel=1e-8)
        assert abs(exact / fall_time(ringing, 60.0) - 1) > 1e-6


def test_no_rim_loss_where_the_slow_modes_do_not_settle(monkeypatch):
    body = wooden_box()
    other = with_losses(body, {"top": 0.0})
    monkeypatch.setattr(coupled_string, "SETTLING", 0)
    ringing = pluck_note(couple(LOSSY, 0, 0, body), Pluck())
    exact = fall_time(pluck_note(couple(LOSSY, 0, 0, other), Pluck()), 60.0)
    assert fall_time_with(ringing, sum(dampings(other).values()), 60.0) == pytest.approx(exact, rel=1e-8)


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
