"""The sustain study on a coarse oval box, broken off once on the way: energy, counterfactual, verdicts, flips, words."""

import io
import shutil
from dataclasses import replace
from types import SimpleNamespace

import box_cases as cases
import numpy as np
import pytest
from string_cases import wooden_box

from fem.body_modes import with_losses
from fem.strings import Pluck
from meshes.build import mesh_body
from meshes.coupled_model import fluid_domain
from meshes.sheet_strings import Strung, strung
from meshes.string_sets import string_set
from meshes.supports import FREE, LAP
from meshes.unexplained_loss import IN_JOINTS, IN_OPENINGS, IN_WOOD, LARGEST
from studies.common.inputs import BadInput
from studies.common.progress import Progress
from studies.solved import dry as solved_dry
from studies.solved import outside as solved_outside
from studies.sustain import drying as sustain_drying
from studies.sustain import fretboards as sustain_boards
from studies.sustain import question as sustain
from studies.sustain.fretboards import Playing, board, checked, decay_times, times_rim
from studies.sustain.hearing import AUDIBLE, CANNOT_TELL, NO_DIFFERENCE, TOLERANCES
from studies.sustain.result import MESH, PLAYER, RIM_LOSSES, STRING_LOSSES, UNEXPLAINED, WOOD
from studies.sustain.verdict import (
    find_flip,
    judged,
    mesh_uncertainty,
    named_support,
    paired_wood,
    range_uncertainty,
    wood_uncertainty,
    word_with_losses,
)
from studies.sustain.words import outside_check
from studies.sweep import scatter as drawn_wood

CHOSEN = ("sheet", "solid_laminated")
FRETS = 3
QUIET = {MESH: (0.99, 1.01), RIM_LOSSES: (0.995, 1.005)}


def scattered(names):
    """A Scatter stand-in: three draws of two notes that move all builds alike, but for 2 % of the last draw."""
    times = np.ones((3, len(names), 2, 2)) * np.array([8.0, 10.0, 12.0])[:, None, None, None]
    times[2, 1:] *= 1.02
    return SimpleNamespace(
        builds=names,
        holdings=(FREE, LAP),
        decay_time=times,
        early_decay_time=times,
        sound_decay_time=times,
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
        assert other.compared[key].doubts.keys() == c.doubts.keys() and other.compared[key].flip == c.flip
        assert (other.compared[key].low, other.compared[key].high) == pytest.approx((c.low, c.high), rel=1e-9)
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
        assert (p.no_rim_loss.decay_time[off] >= p.board.decay_time[off] * (1 - 1e-4)).all()


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
        names = {MESH, WOOD, STRING_LOSSES, RIM_LOSSES, UNEXPLAINED} | players
        assert names == set(c.doubts) == set(c.early.doubts) == set(c.sound.doubts)
        assert all(low <= c.ratio * 1.0001 and high >= c.ratio * 0.9999 for low, high in c.doubts.values())
        assert c.low <= min(low for low, _ in c.doubts.values()) * 1.0001
        assert c.doubts[WOOD][1] / c.ratio == pytest.approx(1.02, abs=0.003)  # the last draw of three, nearly


def test_other_players_widen_the_doubt_on_the_lap(study):
    """Both builds in four other laps: another player moves the ratio, but neither builds it up nor hides it."""
    c = study.compared["solid_laminated", LAP]
    low, high = np.log(np.array(c.doubts[PLAYER]) / c.ratio)
    assert low <= 1e-9 and high >= -1e-9 and 1e-5 < high - low < 0.2


def test_mesh_uncertainty_is_twice_the_difference_either_way():
    low, high = mesh_uncertainty(np.full(9, 1.1), np.full(9, 1.05))
    assert (low, high) == pytest.approx((1.1 * (1.05 / 1.1) ** 2, 1.1 * (1.1 / 1.05) ** 2))
    draw = np.random.default_rng(2).normal(0, 0.1, 20001)
    low, high = mesh_uncertainty(np.exp(draw), np.exp(draw[::-1]))  # the same median by chance, every note another
    assert np.log(high / low) / 2 == pytest.approx(2 * 1.25 * 0.1 * 2**0.5 / 20001**0.5, rel=0.05)
    assert range_uncertainty(1.2, 1.0, [0.9, 1.05]) == pytest.approx((1.08, 1.26))


def test_other_boards_are_asked_for_with_the_same_strings_and_pluck(playing, monkeypatch):
    asked = []
    monkeypatch.setattr(drawn_wood, "scatter", lambda sheet, wood, *_: asked.append(wood) or "found")
    assert sustain.wood_of("mine.toml", 0, playing, "out") is None
    names = ("sheet", "reversed_kerfed", "kerfed", "doubled_sides", "stiff_limit")
    assert sustain.wood_of("mine.toml", 7, playing, "out")(names) == "found"
    (wood,) = asked
    assert (wood.builds, wood.draws) == (("sheet", "kerfed", "doubled_sides"), 7)
    assert wood.strings == playing.strings.strings and wood.pluck == playing.pluck


def test_a_build_that_was_not_drawn_gets_the_widest_doubt_of_those_that_were():
    """Draws of two builds: one scatters by 1 % upward, the other by 3 % downward."""
    times = np.ones((3, 3, 1, 2))
    times[2, 1], times[2, 2] = 1.01, 0.97
    scatter = SimpleNamespace(builds=("sheet", "a", "b"), holdings=(FREE,), decay_time=times)
    ends = lambda name: wood_uncertainty(1.0, scatter, name, FREE, "decay_time")
    assert ends("a") == pytest.approx((1, 1.009), abs=1e-4) and ends("b") == pytest.approx((0.973, 1), abs=1e-3)
    assert ends("c") == (ends("b")[0], ends("a")[1])
    assert paired_wood(scatter, "c", FREE) is None is paired_wood(None, "a", FREE)


def test_wood_that_scatters_leaves_the_verdict_open(study):
    """The same ratio with the draws' own doubt and with one of 8 %."""
    c = study.compared["solid_laminated", FREE]
    wide = c.doubts | {WOOD: (0.92 * c.ratio, 1.08 * c.ratio)}
    open_ = judged(c.ratio, wide, {}, {}, "")
    assert open_.verdict.word == CANNOT_TELL and WOOD in open_.decisive
    assert judged(1.0, QUIET | {WOOD: (0.99, 1.01)}, {}, {}, "").verdict.word == NO_DIFFERENCE


# --- verdicts ---


def test_all_three_words_are_reachable():
    before = {"radiation": 0.2, "joints": 0.1, "string": 0.5}
    after = before | {"radiation": 0.7}
    for ratio, word in ((1.0, NO_DIFFERENCE), (0.9, CANNOT_TELL), (0.6, AUDIBLE)):
        doubts = {name: (ratio * low, ratio * high) for name, (low, high) in QUIET.items()}
        found = judged(ratio, doubts, before, after, "the stiffer rim")
        assert found.verdict.word == word and found.low < ratio < found.high
        assert found.why == ("" if ratio == 1 else "the stiffer rim decays faster because it radiates more")


@pytest.mark.parametrize(("how", "words"), [(LAP, "into the player"), (FREE, "into the bands that hold it")])
def test_what_holds_the_guitar_is_called_by_its_name(how, words):
    before, after = (named_support({"supports": rate, "top": 0.3}, how) for rate in (0.2, 0.7))
    assert judged(0.6, {MESH: (0.59, 0.61)}, before, after, "it").why == f"it decays faster because more goes {words}"


def test_the_doubt_that_decides_is_named():
    assert judged(1.0, QUIET | {WOOD: (0.9, 1.1)}, {}, {}, "").decisive == (WOOD,)


def test_a_flip_is_found_where_the_word_changes():
    word = lambda factor: "far" if factor > 4 else "near" if factor > 0.2 else "low"
    flip = find_flip(word, 0.02)
    assert (flip.word, flip.at_given) == ("far", "near") and 4 < flip.factor < 4 * 10 ** (0.5 / 16) * 1.001
    assert flip.loss_factor == pytest.approx(0.02 * flip.factor)
    assert find_flip(lambda factor: "same", 0.02) is None


def test_the_rim_loss_at_which_the_verdict_flips(tmp_path):
    """Two bodies alike but for a part of the rim that loses forty times more in one: with less loss nobody hears it."""
    base = wooden_box(strings=6)
    body = with_losses(base, {"sides": 40.0})
    playing = Playing.of(Strung(string_set("nylon"), Pluck(), ()), 3, tmp_path)
    given = float(np.exp(np.nanmedian(np.log(decay_times(playing, body)[0] / decay_times(playing, base)[0]))))
    word = word_with_losses(playing, (body, base), given, given, {MESH: (0.999 * given, 1.001 * given)})
    assert given < 0.95 and word(1e-3) == NO_DIFFERENCE  # the bodies differ by nothing else
    flip = find_flip(word, 0.02)
    assert flip.at_given == word(1.0) != flip.word == word(flip.factor)
    nearer = flip.factor ** (1 - 0.5 / 16 / abs(np.log10(flip.factor)) * 1.01)
    assert word(nearer) == flip.at_given  # one step of the bisection nearer to 1


def test_a_stored_board_is_the_board(tmp_path):
    body, playing = wooden_box(strings=6), Playing.of(Strung(string_set("nylon"), Pluck(), ()), 2, tmp_path)
    first, again = board(playing, body), board(playing, body)
    assert (
        np.array_equal(first.decay_time, again.decay_time, equal_nan=True)
        and first.highest_valid == again.highest_valid
    )
    assert first.share.keys() == again.share.keys()
    assert np.array_equal(decay_times(playing, body), decay_times(playing, body), equal_nan=True)
    few = decay_times(playing, body)[0]
    assert few == pytest.approx([first.decay_time[place] for place in playing.few], nan_ok=True)
    next(tmp_path.glob("fretboard-*.npz")).write_bytes(b"broken")
    assert board(playing, body).frequency == pytest.approx(first.frequency)
    assert len(list(tmp_path.glob("fretboard-*.npz"))) == 1
    assert len({decay_times(playing, times_rim(body, f))[0, 0] for f in (0.0, 1.0, 2.0)}) == 3


# --- outside check ---


def test_damping_of_the_top(study, literature, record):
    """Half and double the top's losses: does the model, too, find no practically relevant influence?

    Read as within the wider tolerance of hearing. Weak: how far the tops were graded and what was measured is not told in
    the abstract, and of tolerances the narrowest (5 %) is not asked for.
    """
    case = literature["top_damping"]
    wide = TOLERANCES[0]
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
