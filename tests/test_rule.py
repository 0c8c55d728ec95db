"""The rule that turns changes and doubts into words: thresholds as published, and made pairs whose truth is known."""

from types import SimpleNamespace

import numpy as np
import pytest

from studies.sustain import doubts, rule
from studies.sustain.fretboards import JUDGED
from studies.sustain.result import MESH, RIM_LOSSES, WOOD
from studies.sustain.rule import AUDIBLE, CANNOT_TELL, NO_DIFFERENCE
from studies.sustain.thresholds import DECIDING, EARLY, LATE, LEVEL, LIMITS, PLAYERS
from studies.sustain.verdict import judged, mesh_that_tells, notes_word, single_notes, whole_word

HOLDINGS = ("hung free", "on the lap")
FREQUENCY = 82.4 * 2 ** ((np.array([0, 5, 10, 15, 19, 24])[:, None] + np.arange(9)) / 12)  # (strings, frets + 1) Hz
DRAWS, DRAWN, FEW = 12, 12, 15
THRESHOLD = {key: np.log(high) for key, (_, high) in LIMITS.items()}  # upward, natural logarithm


# --- thresholds ---


def test_thresholds_are_the_published_ones(literature, record):
    for t in DECIDING:
        case = literature[f"heard_{t.measure.name.replace(' ', '_')}"]
        found = [10 * np.log10(v) if t.measure.decibel else 100 * (v - 1) for v in t.ends]
        record(f"threshold of hearing, {t.measure.words}", case["source"], case["value"], found)
        assert found == pytest.approx(case["value"], abs=case["tolerance"])
        assert t.decides and all((t.source, t.listeners, t.method, t.stimulus, t.read))
    assert tuple(LIMITS) == JUDGED and not PLAYERS.decides


def test_changes_are_told_in_the_unit_of_their_measure():
    assert (LEVEL.told(10**0.05), EARLY.told(0.95), LATE.told(1.4)) == ("+0.5 dB", "−5.0 %", "+40.0 %")
    assert (LEVEL.span(10**-0.1, 10**0.1), LATE.span(0.75, 1.4)) == ("±1.0 dB", "−25.0 to +40.0 %")


# --- words ---


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0.8, 1.3, 0),
        (0.75, 1.4, 0),
        (0.5, 0.7, -1),
        (1.5, 1.6, 1),
        (0.7, 0.8, np.nan),
        (1.3, 1.5, np.nan),
        (0.5, 2, np.nan),
    ],
)
def test_the_side_of_a_bar(low, high, expected):
    assert np.array_equal(rule.side(low, high, LIMITS["decay_time"]), np.array(float(expected)), equal_nan=True)
    assert np.isnan(rule.side(np.nan, np.nan, (0.5, 2.0)))


@pytest.mark.parametrize(
    ("sides", "word"),
    [
        ([[0, 0, 0], [0, 0, 0]], NO_DIFFERENCE),
        ([[0, 1, 0], [0, 1, 0]], AUDIBLE),
        ([[np.nan, -1, 0], [0, -1, np.nan]], AUDIBLE),  # doubts of one measure do not hide what another tells
        ([[0, np.nan, 0], [0, 0, 0]], CANNOT_TELL),  # but they forbid to say that nothing is heard
        ([[0, 1, 0], [0, 0, 0]], CANNOT_TELL),  # heard one way to hold it, not the other
        ([[0, 1, 0], [0, -1, 0]], CANNOT_TELL),  # heard each way, in opposite directions
        ([[0, 1, 0], [1, 0, 0]], CANNOT_TELL),  # heard each way, but by another measure
    ],
)  # fmt: skip
def test_measures_and_holdings_are_joined(sides, word):
    assert rule.joined(np.array(sides, float)) == word


def test_separate_doubts_add_in_squares():
    low, high = rule.combined(1.0, {"wood": (0.9, 1.1), "losses": (0.7, 1.0), "mesh": (0.999, 1.001)})
    assert low == pytest.approx(np.exp(-np.sqrt(np.log(0.9) ** 2 + np.log(0.7) ** 2 + np.log(0.999) ** 2)))
    assert high == pytest.approx(np.exp(np.sqrt(np.log(1.1) ** 2 + np.log(1.001) ** 2)))
    assert rule.combined(0.8, {}) == pytest.approx((0.8, 0.8))
    assert doubts.in_squares({"a": 0.3, "b": np.array([0.4, 0.0])}) == pytest.approx([0.5, 0.3])


def test_notes_are_heard_where_more_change_than_by_chance():
    """Of 100 notes 9 may come out changed by chance (binomial, 5 % each, 95 %: from tables); 95 unchanged ones are enough."""
    assert rule.false_alarms(100) == 9 and rule.false_alarms(0) == 0
    known = np.ones(100, bool)
    made = lambda up, open_: np.r_[np.ones(up), np.full(open_, np.nan), np.zeros(100 - up - open_)]
    sides = [rule.side_of_notes(made(*n), known) for n in ((10, 0), (10, 90), (9, 0), (5, 0), (0, 5), (0, 6))]
    assert np.array_equal(sides, [1, 1, np.nan, 0, 0, np.nan], equal_nan=True)
    assert rule.side_of_notes(-made(10, 0), known) == 1  # quieter or shorter is a change too
    assert np.isnan(rule.side_of_notes(made(0, 0), ~known))


# --- doubts ---


def test_mesh_uncertainty_is_twice_the_difference_either_way():
    low, high = doubts.mesh_uncertainty(np.full(9, 1.1), np.full(9, 1.05))
    assert (low, high) == pytest.approx((1.1 * (1.05 / 1.1) ** 2, 1.1 * (1.1 / 1.05) ** 2))
    draw = np.random.default_rng(2).normal(0, 0.1, 20001)
    low, high = doubts.mesh_uncertainty(
        np.exp(draw), np.exp(draw[::-1])
    )  # the same median by chance, every note another
    assert np.log(high / low) / 2 == pytest.approx(2 * 1.96 * 1.25 * 0.1 * 2**0.5 / 20001**0.5, rel=0.05)
    assert doubts.range_uncertainty(1.2, 1.0, [0.9, 1.05]) == pytest.approx((1.08, 1.26))


def test_a_note_that_mesh_error_agree_on_by_chance_gets_the_doubt_of_its_neighbours():
    """Notes a semitone apart: the third agrees by chance; the last one, an octave away, is alone; one is not known on one mesh."""
    frequency = 100 * 2 ** (np.array([0, 1, 2, 3, 20, 21]) / 12)
    fine = np.array([0.1, 0.1, 0.1, 0.1, 0.1, 0.3])
    coarse = np.array([0.05, 0.05, 0.1, 0.0, 0.08, np.nan])
    found = doubts.mesh_of_notes(fine, coarse, frequency)
    # twice the differences .05, .05, 0, .1; 95 % of four values lies at .85 between the third and the last
    assert found == pytest.approx([0.1, 0.1 + 0.85 * 0.1, 0.1 + 0.85 * 0.1, 0.2, 0.04, np.inf])
    assert np.isnan(doubts.mesh_of_notes(np.array([np.nan]), np.array([0.1]), np.array([100.0]))).all()


def test_boards_doubt_a_median_and_a_note():
    """Three draws by hand: medians -s, 0, s have the standard deviation s; t of two degrees is 4.303; one more draw: sqrt(4/3)."""
    s = 0.01
    times = np.ones((3, 2, 1, 4))
    times[:, 1] = np.exp(np.array([-s, 0, s]))[:, None, None]
    scatter = SimpleNamespace(builds=("sheet", "a"), holdings=("hung free",), decay_time=times)
    given = scatter, "a", "hung free", "decay_time"
    half = 4.303 * s * (4 / 3) ** 0.5
    assert doubts.wood_uncertainty(1.1, *given) == pytest.approx((1.1 * np.exp(-half), 1.1 * np.exp(half)), rel=1e-4)
    assert doubts.wood_of_notes(*given) == pytest.approx(s * 2**0.5)  # of |-s|, 0, |s| 95 %, times sqrt(4/2)
    wide = replace_of(
        scatter, builds=("sheet", "a", "b"), decay_time=np.concatenate([times, times[:, 1:] ** 3], axis=1)
    )
    assert doubts.wood_of_notes(wide, "never drawn", "hung free", "decay_time") == pytest.approx(3 * s * 2**0.5)
    assert doubts.wood_of_notes(wide, *given[1:]) == pytest.approx(s * 2**0.5)  # drawn: its own
    assert doubts.wood_uncertainty(1.1, wide, *given[1:]) == doubts.wood_uncertainty(1.1, *given)


def replace_of(namespace, **changed):
    return SimpleNamespace(**vars(namespace) | changed)


def test_losses_doubt_a_note_by_the_further_end_and_by_its_neighbours():
    """Few notes at 0, 5 and 10 semitones, the last not known; asked for at 1, 7 and 30: of the first, of the second, of both."""
    few = np.array([[0.0, 0.0, 0.0], [0.02, 0.4, np.nan], [-0.05, 0.1, 0.0]])
    at = lambda steps: 100 * 2 ** (np.array(steps) / 12)
    found = doubts.range_of_notes(few, at([0, 5, 10]), at([[1, 7, 30]]))
    assert found == pytest.approx(np.array([[0.05, 0.4, 0.05 + 0.95 * 0.35]]))


def test_a_change_that_swaps_its_sign_is_open():
    """Between meshes +8 dB and -1 dB; between boards +4 dB and -4 dB either side of +8 dB: neither is called heard."""
    db = np.log(10) / 10
    one = lambda fine, coarse, boards: single_notes(
        np.full((1, 1), fine * db),
        {
            MESH: doubts.mesh_of_notes(np.full((1, 1), fine * db), np.full((1, 1), coarse * db), FREQUENCY[:1, :1]),
            WOOD: boards * db,
        },
        "first_radiated",
    )
    assert np.isnan(one(8, -1, 0.0).side).all() and one(8, 8, 0.0).side == 1
    times = np.ones((6, 2, 1, 5))
    times[:, 1] = np.exp(db * np.array([-8, 8, -8, 8, -8, 8]))[:, None, None]
    scatter = SimpleNamespace(builds=("sheet", "a"), holdings=("hung free",), first_radiated=times)
    assert np.isnan(one(8, 8, doubts.wood_of_notes(scatter, "a", "hung free", "first_radiated") / db).side).all()


# --- made pairs ---


def made(draw, effect, mesh, boards, losses):
    """{how: what Compared holds} of a pair of guitars made by hand, computed with the doubts that it declares.

    effect: true change of all notes, in thresholds, of each measure; mesh, boards, losses: standard deviations in
    thresholds. Mesh: each note's own, falls with the first power; boards: of all notes and of each; losses: of all notes
    alike, half a range wide.
    """
    held = {}
    common = draw.normal(size=(3, 2)) * boards, np.clip(draw.normal(size=3), -2, 2) * losses
    for how in HOLDINGS:
        medians, notes = {}, {}
        for k, (key, size) in enumerate(THRESHOLD.items()):
            on_mesh = size * mesh * draw.normal(size=FREQUENCY.shape)
            other = size * boards * draw.normal(size=(DRAWS, DRAWN))
            shifts = size * boards * draw.normal(size=(DRAWS, 1))
            true = size * (effect[k] + common[0][k, 0] + boards * draw.normal(size=FREQUENCY.shape) + common[1][k])
            fine, coarse = true + on_mesh, true + 1.5 * on_mesh
            times = np.ones((DRAWS, 2, 1, DRAWN))
            times[:, 1, 0] = np.exp(size * effect[k] + shifts + other)
            scatter = SimpleNamespace(builds=("sheet", "a"), holdings=(how,), **{key: times})
            few = size * (effect[k] + losses * np.array([0.0, -2.0, 2.0]))[:, None] * np.ones(FEW)
            ratio = float(np.exp(np.median(fine)))
            medians[key] = judged(ratio, {
                MESH: doubts.mesh_uncertainty(np.exp(fine), np.exp(coarse)),
                WOOD: doubts.wood_uncertainty(ratio, scatter, "a", how, key),
                RIM_LOSSES: doubts.range_uncertainty(ratio, np.exp(few[0, 0]), np.exp(few[1:, 0])),
            }, key)  # fmt: skip
            notes[key] = single_notes(fine, {
                MESH: doubts.mesh_of_notes(fine, coarse, FREQUENCY), WOOD: doubts.wood_of_notes(scatter, "a", how, key),
                RIM_LOSSES: doubts.range_of_notes(few, FREQUENCY.ravel()[:FEW], FREQUENCY),
            }, key)  # fmt: skip
        held[how] = SimpleNamespace(judged=medians, notes=notes)
    return list(held.values())


def words(cases, seed, *given):
    draw = np.random.default_rng(seed)
    pairs = [made(draw, *given) for _ in range(cases)]
    return [[of(pair) for pair in pairs] for of in (whole_word, notes_word)]


def share(found, word):
    return found.count(word) / len(found)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("mesh", "boards", "losses"), [(0.6, 0.6, 0.5), (0.1, 1.0, 0.1), (1.0, 0.1, 0.1), (0.1, 0.1, 1.0)]
)
def test_identical_pairs_are_not_heard(mesh, boards, losses):
    """Noise as large as the thresholds, of all causes and of each: at most 5 % of 150 pairs 'audible', in either verdict."""
    whole, notes = words(150, 1, np.zeros(3), mesh, boards, losses)
    assert share(whole, AUDIBLE) <= 0.05 and share(notes, AUDIBLE) <= 0.05


@pytest.mark.slow
@pytest.mark.parametrize("measure", range(3))
@pytest.mark.parametrize("way", [-1, 1])
def test_differences_of_twice_a_threshold_are_heard(measure, way):
    """Of one measure, the other two alike; doubts small enough to allow it: at least 90 % of 100 pairs 'audible'."""
    effect = np.zeros(3)
    low, high = np.log(LIMITS[JUDGED[measure]])
    effect[measure] = 2 * (high if way > 0 else low) / high
    whole, notes = words(100, 2, effect, 0.1, 0.1, 0.1)
    assert share(whole, AUDIBLE) >= 0.9 and share(notes, AUDIBLE) >= 0.9


def test_pairs_alike_beyond_doubt_are_said_to_be_alike():
    whole, notes = words(20, 3, np.zeros(3), 0.05, 0.05, 0.05)
    assert share(whole, NO_DIFFERENCE) == 1 == share(notes, NO_DIFFERENCE)


def test_the_mesh_that_would_tell():
    """Notes alike but for a mesh doubt of 4 thresholds at 40 mm: first within at 10 mm; with boards that doubt as much, by none."""
    size = {key: min(abs(np.log(ends))) for key, ends in LIMITS.items()}
    change = np.zeros(FREQUENCY.shape)
    pair = lambda boards: [
        SimpleNamespace(
            notes={key: single_notes(change, {MESH: 3.99 * size[key], WOOD: boards * size[key]}, key) for key in LIMITS}
        )
    ]
    assert notes_word(pair(0.0)) == CANNOT_TELL and mesh_that_tells(pair(0.0), 0.04) == 0.01
    assert mesh_that_tells(pair(1.1), 0.04) is None
    assert mesh_that_tells(pair(0.99), 0.04) is None  # 5 mm is the finest
