"""The sustain study on a coarse oval box, broken off once on the way: energy, counterfactual, verdicts, flips, words."""

import io
import shutil
from dataclasses import replace
from types import SimpleNamespace

import box_cases as cases
import numpy as np
import pytest
from string_cases import wooden_box

from fem.strings import Pluck
from meshes.build import mesh_body
from meshes.coupled_model import fluid_domain
from meshes.sheet_strings import Strung, strung
from meshes.string_sets import string_set
from meshes.supports import FIRMER, FREE, LAP, PLAYED, SOFTER
from meshes.unexplained_loss import IN_JOINTS, IN_OPENINGS, IN_WOOD, LARGEST
from studies.common.inputs import BadInput
from studies.common.progress import Progress
from studies.solved import dry as solved_dry
from studies.solved import outside as solved_outside
from studies.sustain import compare as sustain_compare
from studies.sustain import drying as sustain_drying
from studies.sustain import fretboards as sustain_boards
from studies.sustain import question as sustain
from studies.sustain import solve as sustain_solve
from studies.sustain.flip import find_flip
from studies.sustain.fretboards import JUDGED, Playing, board, checked, few_notes, times_rim
from studies.sustain.result import MESH, PLAYER, PLUCK, RIM_LOSSES, STRING_LOSSES, UNEXPLAINED, WOOD
from studies.sustain.rule import CANNOT_TELL, NO_DIFFERENCE
from studies.sustain.shares import named_support, why
from studies.sustain.thresholds import DECIDING
from studies.sustain.verdict import judged, verdict_of
from studies.sustain.words import outside_check
from studies.sustain.words import text as made_text
from studies.sweep import scatter as drawn_wood

CHOSEN = ("sheet", "solid_laminated")
FRETS = 3


def scattered(names):
    """A Scatter stand-in: three draws of two notes that move all builds alike, but for 2 % of the last draw."""
    times = np.ones((3, len(names), 2, 2)) * np.array([8.0, 10.0, 12.0])[:, None, None, None]
    times[2, 1:] *= 1.02
    return SimpleNamespace(
        builds=names,
        holdings=(FREE, LAP),
        **dict.fromkeys(JUDGED, times),
        words=("three draws of the wood",),
    )


def broken_off(names):
    raise KeyboardInterrupt


def twice(*args, **kwargs):
    raise AssertionError("computed a second time")


@pytest.fixture(scope="module")
def playing(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sustain")
    body = cases.oval(folder)
    return Playing.of(strung(body), FRETS, folder / "rows")


@pytest.fixture(scope="module")
def study(playing):
    """Stopped with Ctrl-C when the boards are done; what was computed before that may not be computed again."""
    body = cases.oval(playing.store.parent)
    coarse = lambda b: fluid_domain(b, 300.0, 0.06, 0.09)
    run = lambda wood: sustain.play_builds(body, playing, 0.08, 14, wood, Progress(1, io.StringIO()), CHOSEN, coarse)
    with pytest.raises(KeyboardInterrupt):
        run(broken_off)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(solved_dry, "solve_dry", twice)
        patch.setattr(solved_outside, "outside", twice)
        patch.setattr(sustain_boards, "fretboard", twice)
        return run(scattered)


def test_processes_side_by_side_find_the_same(study, playing, tmp_path):
    for file in playing.store.iterdir():
        if file.name.startswith(("dry-", "outside-", "drying-")):
            shutil.copy(file, tmp_path)
    body = cases.oval(tmp_path)
    coarse = lambda b: fluid_domain(b, 300.0, 0.06, 0.09)
    two = replace(playing, store=tmp_path, workers=2)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sustain_boards, "fretboard", twice)  # in this process
        other = sustain.play_builds(body, two, 0.08, 14, scattered, Progress(1, io.StringIO()), CHOSEN, coarse)
    for key, played in study.played.items():
        for which in ("board", "rough", "no_rim_loss"):
            mine, its = getattr(played, which), getattr(other.played[key], which)
            assert its.decay_time == pytest.approx(mine.decay_time, rel=1e-9, nan_ok=True)
    for key, c in study.compared.items():
        assert other.compared[key].flip == c.flip
        for measure, j in c.judged.items():
            its = other.compared[key].judged[measure]
            assert its.doubts.keys() == j.doubts.keys() and (its.low, its.high) == pytest.approx(
                (j.low, j.high), rel=1e-9
            )
    assert other.no_rim_low == pytest.approx(study.no_rim_low) and other.top_damping == study.top_damping


# --- measures ---


def test_a_broken_run_goes_on_where_it_stopped(study):
    assert set(study.played) == {(name, how) for name in CHOSEN for how in (FREE, LAP)}
    assert study.draws == 3 and study.wood_words == ("three draws of the wood",)


def test_unexplained_loss_is_one_property_in_every_build(study):
    """Of the sheet's own, hung free, the first resonances gain LARGEST; others by their own share of wood, joints and air."""
    own = study.played["sheet", FREE]
    f, out = own.modes.omega / (2 * np.pi), (own.modes.saddle[:, :, 2] ** 2).sum(0)
    heard = out * ((f > 50) & (f < 300))
    for place in (IN_WOOD, IN_JOINTS):
        gain = np.diag(own.unexplained[place]) / own.modes.omega**2
        assert heard @ gain / heard.sum() == pytest.approx(LARGEST)
        assert (gain > -1e-9).all() and gain.max() < (0.05 if place == IN_WOOD else 1)
    gain = np.diag(own.unexplained[IN_OPENINGS]) / own.modes.omega**2
    assert gain[(f > 50) & (f < 300)].max() == pytest.approx(LARGEST)
    assert study.unexplained_in_joints > LARGEST  # joints and linings hold a small share of the energy
    for how, ratios in study.unexplained.items():
        assert set(ratios) == {IN_WOOD, IN_JOINTS, IN_OPENINGS} and all(0.2 < r < 1.001 for r in ratios.values()), how
    solid = study.played["solid_laminated", FREE]
    per_strain = lambda p: np.diag(p.unexplained[IN_JOINTS]).sum() / np.diag(p.modes.loss["lining_top"]).sum()
    assert per_strain(solid) != pytest.approx(per_strain(own), rel=1e-3)


def test_the_energy_of_every_pluck_adds_up(study):
    for p in study.played.values():
        assert p.board.imbalance < 1e-6
        assert sum(p.share.values()) == pytest.approx(1, abs=1e-6)
        assert sum(p.rate.values()) == pytest.approx(np.mean(1 / p.board.decay_time[p.board.valid]), rel=1e-6)


def test_a_pluck_that_does_not_add_up_is_refused(study):
    own = study.own[FREE].board
    checked(own)
    wrong = replace(own, share=own.share | {"string": own.share["string"] + 2e-6})
    with pytest.raises(ArithmeticError, match="miss a sum of 1"):
        checked(wrong)


def test_without_loss_in_the_rim_nothing_turns_to_heat_there_and_the_median_note_lasts_longer(study):
    for p in study.played.values():
        assert sum(p.no_rim_loss.share[part][p.board.valid].max() for part in ("sides", "lining_top", "joint_top")) == 0
        assert p.median.no_rim_loss > 1 and p.rim > 0
        off = p.board.share["string"] > 0.9  # where the string keeps its energy to itself no rim can shorten the note
        assert (
            p.no_rim_loss.decay_time[off] >= p.board.decay_time[off] * (1 - 2e-3)
        ).all()  # a root among others shifts that much


def test_only_the_lap_takes_up_energy(study):
    assert study.own[LAP].share["supports"] > 3 * study.own[FREE].share["supports"]
    assert study.own[LAP].median.decay_time < study.own[FREE].median.decay_time


def test_a_stiffer_rim_is_told_stiffer_heavier_and_drier(study):
    own, solid = study.dry.builds.values()
    assert 0 < own.top < solid.top and study.dry.used < study.dry.built
    for how in (FREE, LAP):
        assert 1.1 < study.played["solid_laminated", how].stiffness < 10
    assert study.rim_g["solid_laminated"] > study.rim_g["sheet"] + 1


def test_doubts_stand_apart(study):
    for c in study.compared.values():
        players = {PLAYER} if c.how == LAP else set()
        for j in c.judged.values():
            assert set(j.doubts) == {MESH, WOOD, STRING_LOSSES, RIM_LOSSES, UNEXPLAINED, PLUCK} | players
            assert all(low <= j.ratio * 1.0001 and high >= j.ratio * 0.9999 for low, high in j.doubts.values())
            assert j.low <= min(low for low, _ in j.doubts.values()) * 1.0001
            # the last of three draws lies 2 % higher: deviation of 0, 0, 1 is 1/sqrt(3), t 4.303, one more draw sqrt(4/3)
            assert np.log(j.doubts[WOOD][1] / j.ratio) == pytest.approx(4.303 * np.log(1.02) * 2 / 3, rel=1e-3)
        for n in c.notes.values():
            assert (
                n.bar[n.known] >= np.max([np.broadcast_to(v, n.bar.shape)[n.known] for v in n.doubts.values()], axis=0)
            ).all()


def test_other_players_widen_the_doubt_on_the_lap(study):
    """Both builds in four other laps: another player moves the ratio, but neither builds it up nor hides it."""
    late = study.compared["solid_laminated", LAP].judged["decay_time"]
    low, high = np.log(np.array(late.doubts[PLAYER]) / late.ratio)
    assert low <= 1e-9 and high >= -1e-9 and 1e-5 < high - low < 0.2


def test_modes_are_found_again_in_the_other_build(study):
    """A stiffer rim moves the lowest modes of the box a little, and loses none of them."""
    for c in study.compared.values():
        assert (c.shifts.frequency > 60).all() and np.isfinite(c.shifts.ratio[:4]).all()
        assert (np.abs(c.shifts.ratio[:4] - 1) < 0.1).all() and (c.shifts.ratio[:4] > 0.99).all()
    for how in (FREE, LAP):
        assert (study.played["sheet", how].partner == np.arange(len(study.played["sheet", how].partner))).all()


def test_both_verdicts_follow_from_all_holdings(study):
    found = verdict_of(study, "solid_laminated")
    assert {found.whole, found.notes} <= {NO_DIFFERENCE, CANNOT_TELL, "audible difference"}
    with pytest.raises(ValueError, match="'kerfed' is not in this run"):
        verdict_of(study, "kerfed")


def test_other_boards_are_asked_for_with_the_same_strings_and_pluck(playing, monkeypatch):
    asked = []
    monkeypatch.setattr(drawn_wood, "scatter", lambda sheet, wood, *_: asked.append(wood) or "found")
    assert sustain.wood_of("mine.toml", 0, playing, "out") is None
    names = ("sheet", "reversed_kerfed", "kerfed", "doubled_sides", "stiff_limit")
    assert sustain.wood_of("mine.toml", 7, playing, "out")(names) == "found"
    (wood,) = asked
    assert (wood.builds, wood.draws) == (("sheet", "kerfed", "doubled_sides"), 7)
    assert wood.strings == playing.strings.strings and wood.pluck == playing.pluck


# --- played ---


@pytest.fixture(scope="module")
def with_neck(tmp_path_factory):
    """(Study of the box with a neck, what `compare` was given of other players: {(build, how): pairs})."""
    folder, given = tmp_path_factory.mktemp("played"), {}
    body = cases.oval(folder, neck={"included": True})
    coarse = lambda b: fluid_domain(b, 300.0, 0.06, 0.09)
    playing = replace(Playing.of(strung(body), 2, folder / "rows"), few=((0, 0), (1, 2)))

    def compare(playing, mine, own, scatter, rim_loss, players):
        given[mine.build.name, mine.how] = players
        return sustain_compare.compare(playing, mine, own, scatter, rim_loss, players)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sustain_solve, "compare", compare)
        made = sustain.play_builds(body, playing, 0.08, 14, scattered, Progress(1, io.StringIO()), CHOSEN, coarse)
    return made, given


def test_a_guitar_with_a_neck_is_played_too(with_neck):
    """The third holding: the modes on the lap with a hand that no open string feels."""
    made, _ = with_neck
    assert made.holdings == (FREE, LAP, PLAYED) and "played" in {a.key for a in made.body.assumed}
    for name in CHOSEN:
        lap, played = (made.played[name, how] for how in (LAP, PLAYED))
        assert lap.modes.hand is None and not played.modes.hand.motion[0].any() and played.modes.hand.motion[1:].any()
        assert np.array_equal(lap.modes.omega, played.modes.omega) and np.array_equal(lap.partner, played.partner)
        assert np.array_equal(played.board.decay_time[:, 0], lap.board.decay_time[:, 0], equal_nan=True)
        assert np.nanmin(played.board.share["hand"][:, 1:]) > 0 == np.nanmax(played.board.share["hand"][:, 0])
        assert played.share["supports"] > lap.share["supports"]
        assert np.nanmin(played.rough.share["hand"][:, 1:]) > 0  # on the coarser mesh as well
    assert set(made.top_damping) == set(made.no_rim_low) == set(made.unexplained) == {FREE, LAP, PLAYED}
    words = " ".join(made_text(made).split())
    assert "Played: on the lap, and the hand at each note's own fret" in words and "hardly measured" in words


def test_the_players_hand_is_in_doubt_with_the_player_and_alone(with_neck):
    """Softer and firmer with the lap, as given under bare skin and thick clothes, then alone on the usual lap: times the usual spring."""
    made, given = with_neck
    assert given["solid_laminated", FREE] == () and len(given["solid_laminated", LAP]) == 4
    pairs = given["solid_laminated", PLAYED]
    for k, name in enumerate(("solid_laminated", "sheet")):
        own = made.played[name, PLAYED].modes
        springs = [pair[k].hand.stiffness / own.hand.stiffness for pair in pairs]
        assert np.array(springs) == pytest.approx(np.outer([SOFTER, FIRMER, 1, 1, SOFTER, FIRMER], np.ones(3)))
        assert all(pair[k].hand is None for pair in given["solid_laminated", LAP])
        as_usual = [np.array_equal(pair[k].omega, own.omega) for pair in pairs]
        assert as_usual == [False] * 4 + [True] * 2
        assert np.array_equal(pairs[4][k].hand.motion, own.hand.motion) and pairs[5][k].hand.mass[2] > own.hand.mass[2]
    late = made.compared["solid_laminated", PLAYED].judged["decay_time"]
    assert set(late.doubts) == set(made.compared["solid_laminated", LAP].judged["decay_time"].doubts) > {PLAYER, WOOD}


# --- why, and where it flips ---


def test_the_cause_is_told():
    before = {"radiation": 0.05, "top": 0.08, "sides": 0.02, "string": 0.10}
    told = lambda low, high, after, build="the stiffer rim": why(low, high, before, after, build)
    louder = before | {"radiation": 0.14, "sides": 0.01}
    assert told(0.6, 0.7, louder) == "the stiffer rim decays faster because it radiates more"
    quieter = before | {"sides": 0.0, "top": 0.02}
    assert told(1.45, 1.6, quieter, "it") == "it rings longer because less is turned to heat in the top"
    assert "no single part" in told(0.6, 0.7, before | {"radiation": 0.10, "top": 0.13, "sides": 0.07})
    three = before | {"radiation": 0.09, "top": 0.11, "sides": 0.05}  # 40, 30 and 30 %
    assert "no single part" in told(0.6, 0.7, three)
    assert told(0.6, 1.6, louder) == ""  # faster or slower
    assert told(1.5, 1.6, louder) == ""  # medians over notes that contradict each other
    assert told(0.6, 0.7, before) == ""


@pytest.mark.parametrize(
    ("how", "words"), [(LAP, "into the player"), (PLAYED, "into the player"), (FREE, "into the bands that hold it")]
)
def test_what_holds_the_guitar_is_called_by_its_name(how, words):
    before, after = (named_support({"supports": rate, "top": 0.3}, how) for rate in (0.2, 0.7))
    assert why(0.59, 0.61, before, after, "it") == f"it decays faster because more goes {words}"


def test_wood_that_scatters_leaves_the_word_open():
    """The same change of decay with a doubt of 1 % and with one of 40 %."""
    quiet = {MESH: (0.99, 1.01), RIM_LOSSES: (0.995, 1.005)}
    assert judged(1.0, quiet | {WOOD: (0.99, 1.01)}, "decay_time").word == NO_DIFFERENCE
    assert judged(1.0, quiet | {WOOD: (0.7, 1.4)}, "decay_time").word == CANNOT_TELL


def test_a_flip_is_found_where_the_word_changes():
    word = lambda factor: "far" if factor > 4 else "near" if factor > 0.2 else "low"
    flip = find_flip(word, 0.02)
    assert (flip.word, flip.at_given) == ("far", "near") and 4 < flip.factor < 4 * 10 ** (0.5 / 16) * 1.001
    assert flip.loss_factor == pytest.approx(0.02 * flip.factor)
    assert find_flip(lambda factor: "same", 0.02) is None


def test_a_stored_board_is_the_board(tmp_path):
    body, playing = wooden_box(strings=6), Playing.of(Strung(string_set("nylon"), Pluck(), ()), 2, tmp_path)
    first, again = board(playing, body), board(playing, body)
    assert (
        np.array_equal(first.decay_time, again.decay_time, equal_nan=True)
        and first.highest_valid == again.highest_valid
    )
    assert first.share.keys() == again.share.keys()
    few = few_notes(playing, body)
    assert np.array_equal(few, few_notes(playing, body), equal_nan=True)
    for key, figures in zip(JUDGED, few):
        assert figures == pytest.approx([getattr(first, key)[place] for place in playing.few], nan_ok=True)
    louder = few_notes(playing, body, angle=0.0)[0, 0] / few[0, 0]
    assert 1.2 < louder < 2.001  # square to the top, not half way: twice where the motion along it radiates nothing
    next(tmp_path.glob("fretboard-*.npz")).write_bytes(b"broken")
    assert board(playing, body).frequency == pytest.approx(first.frequency)
    assert len(list(tmp_path.glob("fretboard-*.npz"))) == 1
    assert len({few_notes(playing, times_rim(body, f))[0, 0] for f in (0.0, 1.0, 2.0)}) == 3


# --- outside check ---


def test_damping_of_the_top(study, literature, record):
    """Half and double the top's losses: does the model, too, find no practically relevant influence?

    Read as within the threshold of the late decay. Weak: how far the tops were graded and what was measured is not told in
    the abstract, and the 5 % stated for players are not asked for.
    """
    case = literature["top_damping"]
    wide = DECIDING[2]
    for how, (half, double) in study.top_damping.items():
        record(f"top's losses halved, doubled: decay time's ratio, {how}", case["source"], [1, 1], [half, double])
        assert half > 1 > double  # the sign: less loss, longer notes
        assert wide.low < double and half < wide.high, case["source"]
    assert "Acoustics 7(1):11" in case["source"] and "Outside check" in outside_check(study)


# --- bad input ---


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"size_mm": 2}, "--mesh-size-mm 2: expected between 5 and 60"), ({"frets": 40}, "--frets 40"),
        ({"draws": 1}, "--draws 1: expected 0"), ({"modes": 3}, "--modes 3"), ({"strings": "stel"}, "steel"),
    ],
)  # fmt: skip
def test_bad_input_is_refused_before_work(given, words, tmp_path, monkeypatch):
    monkeypatch.setattr(sustain, "play_builds", twice)
    with pytest.raises(ValueError, match=words):
        sustain.compare_sustain(cases.BODIES / "hazel.toml", tmp_path, **given)
    with pytest.raises(BadInput, match="no such file"):
        sustain.compare_sustain(tmp_path / "hazle.toml")


def test_what_is_assumed_of_strings_and_pluck_is_listed(study):
    """The sheet says nothing of either."""
    told = {a.key for a in study.body.assumed}
    assert "played" not in told  # without a neck
    assert told >= {
        f"strings.{key}" for key in ("set", "pluck_place_mm", "pluck_width_mm", "pluck_angle_deg", "pluck_force_N")
    }


def test_a_pluck_beyond_the_last_fret_is_refused(playing):
    with pytest.raises(BadInput, match=r"pluck_place_mm = 300.*at fret 20"):
        sustain_boards.check_pluck(replace(playing, pluck=Pluck(distance=0.3), frets=20))


def test_drying_is_kept(study, playing, monkeypatch):
    """Asked again for the same builds on a mesh that is only a name, nothing is solved."""
    monkeypatch.setattr(sustain_drying, "solve_swollen", twice)
    mesh = mesh_body(study.builds[0].body, 0.08)
    model = SimpleNamespace(space=SimpleNamespace(mesh=mesh))
    assert sustain_drying.drying(study.body, study.builds, model, playing.store)[0] == study.dry
