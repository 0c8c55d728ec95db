"""Two builds with losses and pluck as their doubts allow: every end once, and the two pairs that are furthest from each other."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from string_cases import wooden_box
from sustain_cases import unexplained

from fem.body_modes import with_losses
from fem.coupled_string import couple, fall_time, pluck_note
from fem.radiated_sound import first_radiated, radiated_decay_time, sound_of
from fem.strings import Pluck
from meshes.sheet_strings import Strung
from meshes.string_sets import string_set
from studies.common.inputs import BadInput
from studies.notes.listen import Heard
from studies.sustain.fretboards import Playing
from studies.sustain.pairs import allowed, chosen, thresholds_apart

STRUNG = Strung(string_set("steel"), Pluck(), ())
PLACES = [(0, 0), (1, 3), (2, 0)]


def heard(name, body):
    joint = SimpleNamespace(loss=0.02)
    build = SimpleNamespace(name=name, label=name, body=SimpleNamespace(joint_top=joint, joint_back=joint))
    return Heard(build, body, None, 400.0, unexplained(body))


@pytest.fixture(scope="module")
def two():
    """One box, and the same whose sides lose eight times as much."""
    box = wooden_box(strings=6, highest=400.0)
    return heard("sheet", box), heard("other", with_losses(box, {"sides": 8}))


def test_every_end_of_every_doubt_stands_once_and_changes_one_thing(two):
    given, *ends = allowed(two, STRUNG)
    assert len({row.words for row in ends}) == len(ends) == 2 + 2 + 3 + 2
    for row in ends:
        bodies = any(h.body is not g.body for h, g in zip(row.heard, given.heard))
        assert [bodies, row.strings is not given.strings, row.pluck != given.pluck].count(True) == 1, row.words
    assert [row.pluck.angle for row in ends[-2:]] == [0, np.pi / 2]
    assert len(allowed(two, replace(STRUNG, strings=no_range(STRUNG.strings)))) == 1 + 2 + 3 + 2


def no_range(strings):
    return replace(strings, least_loss=strings.strings, most_loss=strings.strings)


def test_how_far_apart_is_counted_in_thresholds(two, tmp_path):
    """By hand for three notes: level over 1 dB, early decay over 5 %, late decay over 40 or 25 %; the largest of each, their median."""
    row = allowed(two, STRUNG)[0]
    playing = Playing(STRUNG.strings, STRUNG.pluck, (), 3, tmp_path, tuple(PLACES))
    far = []
    for i, fret in PLACES:
        figures = []
        for h in row.heard:
            ringing = pluck_note(couple(row.strings[i], i, fret, h.body), row.pluck)
            sound = sound_of(ringing)
            figures.append([first_radiated(sound), radiated_decay_time(sound, 10.0), fall_time(ringing, 60.0)])
        level, early, late = np.log(np.divide(figures[1], figures[0]))
        ends = [abs(level) / np.log(10**0.1), abs(early) / np.log(1.05 if early > 0 else 1 / 0.95)]
        far.append(max(*ends, abs(late) / np.log(1.4 if late > 0 else 1 / 0.75)))
    assert thresholds_apart(playing, row) == pytest.approx(np.median(far), rel=1e-3)


def test_the_smallest_and_the_largest_pair_are_the_ends_of_all(two, tmp_path):
    small, large, given = (chosen(pair, two, STRUNG, PLACES, tmp_path) for pair in ("smallest", "largest", "given"))
    playing = Playing(STRUNG.strings, STRUNG.pluck, (), 3, tmp_path, tuple(PLACES))
    all_of = [thresholds_apart(playing, row) for row in allowed(two, STRUNG)]
    assert (
        thresholds_apart(playing, small)
        == min(all_of)
        < thresholds_apart(playing, given)
        < max(all_of)
        == thresholds_apart(playing, large)
    )
    assert "smallest difference" in small.words and "largest difference" in large.words and "--pair" in given.words
    assert given.heard == two and given.pluck is STRUNG.pluck


def test_two_builds_that_are_one_are_never_apart(two, tmp_path):
    same = two[0], heard("other", two[0].body)
    playing = Playing(STRUNG.strings, STRUNG.pluck, (), 3, tmp_path, tuple(PLACES))
    assert thresholds_apart(playing, chosen("largest", same, STRUNG, PLACES, tmp_path)) == 0


def test_notes_above_the_modes_leave_nothing_to_choose_by(two, tmp_path):
    with pytest.raises(BadInput, match="expected lower ones"):
        chosen("largest", two, STRUNG, [(5, 20)], tmp_path)
